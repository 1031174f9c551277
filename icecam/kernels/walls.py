"""How thick the standing section of a height field is: distances to the air, and walls by them.

Lengths here are in cells. The section at a height z is {heights >= z}; the outermost rows and
columns of the field must not belong to it.
"""

from math import ceil, floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Floats = NDArray[np.float64]
Cells = NDArray[np.int32]
Places = NDArray[np.int64]

FACING = 1 / (1 - 1 / sqrt(5))
"""Along a wedge that is as thick as it is long, from its tip on, the largest disc that holds the
middle of another is so many times as large: with half the angle at the tip a, tan(a) = 1/2 and
the ratio is 1 / (1 - sin(a))."""


@kernel
def distances_up_and_down(
    steps: Cells, heights: Floats, z: float, row: int, first: int, last: int
) -> None:
    """Fill columns first..last of `steps` with the cells to the nearest air above or below.

    steps : (m, nx), for rows row..row + m of heights (ny, nx); its outermost rows are air
    """
    m = steps.shape[0]
    for i in range(first, last):
        steps[0, i] = 0
        steps[m - 1, i] = 0
    for j in range(1, m - 1):
        for i in range(first, last):
            steps[j, i] = steps[j - 1, i] + 1 if heights[row + j, i] >= z else 0
    for j in range(m - 2, 0, -1):
        for i in range(first, last):
            steps[j, i] = min(steps[j, i], steps[j + 1, i] + 1)


@kernel
def square_distances(squares: Cells, steps: Cells, first: int, last: int) -> None:
    """Fill rows first..last of `squares` with the squared distance to the nearest air.

    squares, steps : (m, nx); each run of ice in a row is the lower envelope of the parabolas over
    it and over the air at both its ends (Meijster, Roerdink & Hesselink 2000)
    """
    nx = steps.shape[1]
    lowest = np.empty(nx, dtype=np.int64)
    begins = np.empty(nx, dtype=np.int64)
    for j in range(first, last):
        i = 0
        while i < nx:
            squares[j, i] = 0
            i += 1
            if i >= nx or steps[j, i] == 0:
                continue
            left = i - 1
            while steps[j, i] > 0:
                i += 1
            _envelope(squares, steps, j, left, i, lowest, begins)


@kernel
def _envelope(
    squares: Cells, steps: Cells, j: int, left: int, right: int, lowest: Places, begins: Places
) -> None:
    """Fill one row between two columns of air."""
    top = 0
    lowest[0], begins[0] = left, left
    for u in range(left + 1, right + 1):
        high = steps[j, u] * steps[j, u]
        while top >= 0:
            x, v = begins[top], lowest[top]
            if (x - v) ** 2 + steps[j, v] * steps[j, v] <= (x - u) ** 2 + high:
                break
            top -= 1
        if top < 0:
            top = 0
            lowest[0], begins[0] = u, left
            continue
        v = lowest[top]
        wins = 1 + (u * u - v * v + high - steps[j, v] * steps[j, v]) // (2 * (u - v))
        if wins <= right:
            top += 1
            lowest[top], begins[top] = u, wins
    for x in range(right - 1, left, -1):
        while begins[top] > x:
            top -= 1
        v = lowest[top]
        squares[j, x] = (x - v) ** 2 + steps[j, v] * steps[j, v]


@kernel
def mark_middles(
    marks: NDArray[np.bool_], squares: Cells, steepest: float, widest: float, first: int, last: int
) -> None:
    """Mark cells in rows first..last at which air recedes slower than `steepest` a cell.

    marks, squares : (m, nx), both outermost rows and columns air; from there the distance to the
    air grows by less than `steepest` a cell towards each of the eight neighbours
    widest : cells farther than this from air are passed over
    """
    for j in range(max(first, 1), min(last, squares.shape[0] - 1)):
        for i in range(1, squares.shape[1] - 1):
            here = squares[j, i]
            if here == 0 or here > widest * widest:
                continue
            beside = max(squares[j - 1, i], squares[j + 1, i], squares[j, i - 1], squares[j, i + 1])
            across = max(
                squares[j - 1, i - 1], squares[j - 1, i + 1],
                squares[j + 1, i - 1], squares[j + 1, i + 1],
            )  # fmt: skip
            d = sqrt(here)
            marks[j, i] = sqrt(beside) - d < steepest and sqrt(across) - d < steepest * sqrt(2.0)


@kernel
def thinnest(
    places: Places, squares: Cells, heights: Floats, row: int, z: float, least: float, speck: int,
    widest: float,
) -> tuple[float, int, int, float]:  # fmt: skip
    """Return radius, row and column of the thinnest wall's disc, and how high it stands.

    places : (n, 2) row and column in `squares` of the middles of what may be a wall, narrow first
    squares : (m, nx) squared distances to air; heights : (ny, nx), in cells too, row `row` of it
    is the first of squares; least : a wall is at least so long and high; speck : what is
    connected and spans fewer cells is none; radius inf if none is as thin as `widest`
    """
    best = floor(widest * widest) + 1
    v, u, high = -1, -1, -inf
    for nth in range(places.shape[0]):
        j, i = places[nth, 0], places[nth, 1]
        if squares[j, i] >= best:
            break
        if heights[row + j, i] - z < max(least, 2 * sqrt(squares[j, i]) - 1):
            continue
        square, b, a = _largest_holding(squares, j, i, least)
        if square == 0 or square >= best:
            continue
        stands = heights[row + b, a] - z
        if stands < max(least, 2 * sqrt(square) - 1) or not _spans(squares, j, i, speck):
            continue
        best, v, u, high = square, b, a, stands
    return sqrt(best) if v >= 0 else inf, v, u, high


@kernel
def _largest_holding(squares: Cells, j: int, i: int, least: float) -> tuple[int, int, int]:
    """Return squared radius and centre of the largest disc that holds a place.

    Radius 0 if within `least`, or within `FACING` times the place's own radius, is the centre of
    a disc more than `FACING` times as large. The narrowest disc's own centre wins ties.
    """
    most = FACING * FACING * squares[j, i]
    within = max(least * least, most)
    reach = ceil(sqrt(within))
    square, b, a = squares[j, i], j, i
    for y in range(max(0, j - reach), min(squares.shape[0], j + reach + 1)):
        for x in range(max(0, i - reach), min(squares.shape[1], i + reach + 1)):
            there = squares[y, x]
            apart = (y - j) ** 2 + (x - i) ** 2
            if there <= square or apart > within:
                continue
            if there > most:
                return 0, j, i
            if apart < there:
                square, b, a = there, y, x
    return square, b, a


@kernel
def _spans(squares: Cells, j: int, i: int, cells: int) -> bool:
    """Whether what is connected to a place, corners too, spans so many rows or columns."""
    seen = np.zeros((2 * cells + 1, 2 * cells + 1), dtype=np.bool_)
    waiting = np.empty((seen.size, 2), dtype=np.int64)
    waiting[0, 0], waiting[0, 1] = j, i
    seen[cells, cells] = True
    count, done = 1, 0
    top, bottom, left, right = j, j, i, i
    while done < count:
        y, x = waiting[done, 0], waiting[done, 1]
        done += 1
        top, bottom, left, right = min(top, y), max(bottom, y), min(left, x), max(right, x)
        if max(bottom - top, right - left) + 1 >= cells:
            return True
        for b in range(y - 1, y + 2):
            for a in range(x - 1, x + 2):
                if squares[b, a] > 0 and not seen[b - j + cells, a - i + cells]:
                    seen[b - j + cells, a - i + cells] = True
                    waiting[count, 0], waiting[count, 1] = b, a
                    count += 1
    return False
