"""Arcs hidden in runs of straight moves: which runs one arc word can stand for, and its centre.

Takes points in whole ticks as they will be written, so that what is fitted is what is read. From
the front, each run is doubled while one arc fits it and then halved into place: a check costs as
many steps as the run has moves, so n moves cost n log n at most.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Ticks = NDArray[np.int64]

FEWEST: Final = 3
"""Moves that an arc takes the place of, at least: four points, one more than any circle takes."""
MOST_TURN: Final = 1.5 * np.pi
"""rad; well short of a full turn, where start and end coincide and the way round is in doubt."""
STEEPEST: Final = 1.0
"""Rise of a helix over its length seen from above."""


class Fit(NamedTuple):
    """What an arc must keep, all in ticks.

    tolerance : between the arc and the moves it stands for, any way
    radii : by how much its radii at start and end may differ
    least, most : radius
    farthest : coordinate of its ends
    """

    tolerance: float
    radii: float
    least: float
    most: float
    farthest: float


@kernel
def _centre(points: Ticks, first: int, last: int) -> tuple[float, float]:
    """Centre, seen from the first point, of the best circle through both ends; 0, 0 for none.

    In a frame with the ends at (-c, 0) and (c, 0) the centre is (0, t), and a point lies on the
    circle if x^2 + y^2 - c^2 = 2 y t: least squares of t, over points and middles of moves.
    """
    along_x = float(points[last, 0] - points[first, 0])
    along_y = float(points[last, 1] - points[first, 1])
    chord = np.hypot(along_x, along_y)
    if chord == 0.0:
        return 0.0, 0.0
    ux, uy, half = along_x / chord, along_y / chord, chord / 2.0
    above, below = 0.0, 0.0
    for twice in range(2 * first + 1, 2 * last):
        one, two = twice // 2, (twice + 1) // 2
        px = (points[one, 0] + points[two, 0]) / 2.0 - points[first, 0]
        py = (points[one, 1] + points[two, 1]) / 2.0 - points[first, 1]
        x, y = px * ux + py * uy - half, py * ux - px * uy
        above += y * (x * x + y * y - half * half)
        below += 2.0 * y * y
    if below == 0.0:
        return 0.0, 0.0
    rise = above / below
    return half * ux - rise * uy, half * uy + rise * ux


@kernel
def _step(points: Ticks, move: int, cx: float, cy: float) -> tuple[float, float, float, float]:
    """Angle a move turns by around a centre; distance of its end, its nearest, its length."""
    ax, ay = points[move, 0] - cx, points[move, 1] - cy
    bx, by = points[move + 1, 0] - cx, points[move + 1, 1] - cy
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    foot = min(max(-(ax * dx + ay * dy) / square, 0.0), 1.0) if square > 0.0 else 0.0
    turn = np.arctan2(ax * by - ay * bx, ax * bx + ay * by)
    near = np.hypot(ax + foot * dx, ay + foot * dy)
    return turn, np.hypot(bx, by), near, np.sqrt(square)


@kernel
def _worst_height(points: Ticks, first: int, last: int, cx: float, cy: float, turn: float) -> float:
    """Farthest that a point lies above or below the helix that rises evenly with the angle."""
    rise = float(points[last, 2] - points[first, 2])
    worst, gone = 0.0, 0.0
    for move in range(first, last):
        gone += _step(points, move, cx, cy)[0]
        height = points[move + 1, 2] - points[first, 2]
        worst = max(worst, abs(height - rise * gone / turn))
    return worst


@kernel
def _fits(points: Ticks, first: int, last: int, cx: float, cy: float, fit: Fit) -> bool:
    """Whether the arc around a centre stands for the moves from point `first` to `last`."""
    begin = np.hypot(points[first, 0] - cx, points[first, 1] - cy)
    end = np.hypot(points[last, 0] - cx, points[last, 1] - cy)
    radius, unequal = (begin + end) / 2.0, abs(begin - end)
    if unequal > fit.radii or not fit.least <= radius <= fit.most:
        return False
    side = _step(points, first, cx, cy)[0]
    turn, worst, level = 0.0, 0.0, True
    for move in range(first, last):
        step = _step(points, move, cx, cy)
        if step[0] * side <= 0.0 or abs(step[0]) > np.pi / 2:
            return False
        turn += step[0]
        worst = max(worst, abs(step[1] - radius), abs(step[2] - radius))
        if worst + unequal / 2.0 > fit.tolerance or abs(turn) > MOST_TURN:
            return False
        level &= points[move + 1, 2] == points[first, 2]
    if level:
        return True
    if abs(points[last, 2] - points[first, 2]) > STEEPEST * radius * abs(turn):
        return False
    high = _worst_height(points, first, last, cx, cy, turn)
    return bool(np.hypot(worst + unequal / 2.0, high) <= fit.tolerance)


@kernel
def _try(points: Ticks, first: int, last: int, fit: Fit) -> tuple[bool, int, int]:
    """Whether one arc stands for a run, and its centre in ticks from the first point."""
    x, y = _centre(points, first, last)
    if not abs(x) + abs(y) <= 2.0 * fit.most:
        return False, 0, 0
    i, j = int(np.rint(x)), int(np.rint(y))
    fits = _fits(points, first, last, float(points[first, 0] + i), float(points[first, 1] + j), fit)
    return fits, i, j


@kernel
def _longest(points: Ticks, first: int, last: int, fit: Fit) -> tuple[int, int, int]:
    """Last point of the longest run found from `first`, `first` if none; centre of its arc."""
    good, bad = first, last + 1
    i, j, size = 0, 0, FEWEST
    while first + size <= last:
        fits, x, y = _try(points, first, first + size, fit)
        if not fits:
            bad = first + size
            break
        good, i, j = first + size, x, y
        size *= 2
    while good > first and bad - good > 1:
        middle = (good + bad) // 2
        fits, x, y = _try(points, first, middle, fit)
        if fits:
            good, i, j = middle, x, y
        else:
            bad = middle
    return good, i, j


@kernel
def find_arcs(points: Ticks, feeds: Ticks, fit: Fit, spans: Ticks, centres: Ticks) -> int:
    """Find the runs that arcs can stand for; return how many.

    points : (n + 1, 3) ticks; feeds : (n,), 0 on rapids; spans : (n,), moves of the arc that begins
    with this move, 0 where none does; centres : (n, 2) ticks from the start of the arc. Only moves
    of one feed share an arc, and only where none lies farther out than `fit.farthest`.
    """
    first, arcs = 0, 0
    while first < len(feeds):
        last = first
        while last < len(feeds) and feeds[last] == feeds[first] and _near(points, last, fit):
            last += 1
        run_end = last
        while first + FEWEST <= run_end and feeds[first] > 0:
            good, i, j = _longest(points, first, run_end, fit)
            if good == first:
                first += 1
                continue
            spans[first] = good - first
            centres[first, 0], centres[first, 1] = i, j
            arcs += 1
            first = good
        first = max(run_end, first + 1)
    return arcs


@kernel
def turns_left(points: Ticks, first: int, centres: Ticks) -> bool:
    """Whether the arc that begins with a move turns counter-clockwise around its centre."""
    ahead_x = points[first + 1, 0] - points[first, 0]
    ahead_y = points[first + 1, 1] - points[first, 1]
    return bool(centres[first, 0] * ahead_y < centres[first, 1] * ahead_x)


@kernel
def _near(points: Ticks, move: int, fit: Fit) -> bool:
    """Whether both ends of a move lie within `fit.farthest`."""
    for point in range(move, move + 2):
        for axis in range(3):
            if abs(points[point, axis]) > fit.farthest:
                return False
    return True
