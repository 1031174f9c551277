"""The block carved: each straight move of a bit lowers the heights it sweeps, in closed form."""

from math import ceil, floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.profile import Profile, advance, height, peak, radius_at, stands_over

LOWERED = 500
"""Moves after which tiles are looked at anew that fell."""
ROUNDING_MM = 1e-9
"""Ice that is no thicker is none."""
RIM = 1e-11
"""Share of the radius by which rounding may put a place on the very rim outside of it."""
TAKEN, SQUARES, DEEPEST, CONTACT, CHIP = range(5)
"""Rows of what is found for each move."""
Floats = NDArray[np.float64]
Point = tuple[float, float, float]


@kernel
def _span(
    y: float, ax: float, ay: float, ux: float, uy: float, length: float, reach: float
) -> tuple[float, float]:
    """First and last x on the line y = const within `reach` of the move seen from above.

    For short moves a little more, which costs less than to find out.
    """
    if length < 0.5 * reach:
        dy = max(min(ay, ay + length * uy) - y, y - max(ay, ay + length * uy), 0.0)
        room = reach * reach - dy * dy
        half = sqrt(room) if room >= 0.0 else -inf
        return min(ax, ax + length * ux) - half, max(ax, ax + length * ux) + half
    low, high = inf, -inf
    for end in (0.0, length):
        dy = y - (ay + end * uy)
        room = reach * reach - dy * dy
        if room >= 0.0:
            half = sqrt(room)
            low = min(low, ax + end * ux - half)
            high = max(high, ax + end * ux + half)
    dy = y - ay
    if abs(uy) > 1e-12:
        side_a = ax + (dy * ux - reach) / uy
        side_b = ax + (dy * ux + reach) / uy
        west, east = min(side_a, side_b), max(side_a, side_b)
        if abs(ux) > 1e-12:
            end_a, end_b = ax - dy * uy / ux, ax + (length - dy * uy) / ux
            west, east = max(west, min(end_a, end_b)), min(east, max(end_a, end_b))
        elif not 0.0 <= dy * uy <= length:
            west, east = inf, -inf
    elif abs(dy) <= reach:
        west, east = min(ax, ax + length * ux), max(ax, ax + length * ux)
    else:
        west, east = inf, -inf
    if west <= east:
        low, high = min(low, west), max(high, east)
    return low, high


@kernel
def _point(points: Floats, n: int) -> Point:
    """Three numbers of point n, without a view of the array."""
    return points[n, 0], points[n, 1], points[n, 2]


@kernel
def _frame_of_move(a: Point, b: Point) -> tuple[float, float, float, float, float]:
    """Direction seen from above, length seen from above, height at the start, slope."""
    dx, dy, dz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = sqrt(dx * dx + dy * dy)
    if length < 1e-9:
        return 1.0, 0.0, 0.0, min(a[2], b[2]), 0.0
    return dx / length, dy / length, length, a[2], dz / length


@kernel
def _lowest(
    profile: Profile, along: float, across: float, r2: float, length: float, slope: float
) -> float:
    """How high a profile on a move is at the lowest over a place, from where its tip begins.

    r2 : square of how near the place lies to the move seen from above, at most the radius's
    """
    if slope != 0.0:
        most = peak(profile, across * across, slope, along - length, along)
        if most > -inf:
            return slope * along - most
        # on the very rim, which only the nearest point of the move reaches
        return slope * min(max(along, 0.0), length) + height(profile, profile.radius)
    return 0.0 if r2 <= profile.flat * profile.flat else height(profile, sqrt(r2))


@kernel
def _behind(profile: Profile, slope: float) -> float:
    """How far along a move lie places from which it takes nothing, for its bit stood at its start.

    Over a place `along` the bit sinks as it leaves, at first by (along / r) dh/dr - slope a mm, and
    ever slower, for a profile is convex; r / (dh/dr) is nowhere more than what it is below.
    """
    if slope >= 0.0:
        return 0.0
    if profile.flat > 0.0:
        return -inf
    return slope * max(profile.corner, profile.radius / profile.flank)


@kernel
def _ahead(west: float, east: float, along: float, ux: float, behind: float) -> tuple[float, float]:
    """Part of west..east that lies farther along a move than `behind`; at x = 0 it is `along`."""
    if behind == -inf:
        return west, east
    if ux > 1e-9:
        return max(west, (behind - along) / ux), east
    if ux < -1e-9:
        return west, min(east, (behind - along) / ux)
    return (west, east) if along > behind else (inf, -inf)


@kernel
def _sweep(
    ice: Floats, frame: tuple[float, float, float], first: int, last: int, a: Point, b: Point,
    lift: float, profile: Profile, reach: float, cut: bool, goes_on: bool, tops: Floats,
    tile: int, fell: NDArray[np.bool_],
) -> tuple[float, float, float, float]:  # fmt: skip
    """Sweep a profile that stands `lift` above the tip along a-b through rows first..last.

    Cuts if `cut`, and marks the tiles that `fell`; if the move `goes_on`, the profile has cut at a
    before. Cells beyond `reach` of the move have no ice above it, nor have tiles with lower `tops`.
    Returns the ice over the swept cells (sums of heights and of their squares), the deepest (mm),
    and if it cuts the most of `advance`.
    """
    x0, y0, cell = frame
    ux, uy, length, z, slope = _frame_of_move(a, b)
    reach, low = reach * (1.0 + RIM), min(a[2], b[2]) + lift
    south, north = min(a[1], b[1]) - reach, max(a[1], b[1]) + reach
    j0 = max(first, ceil((south - y0) / cell))
    j1 = min(last - 1, floor((north - y0) / cell))
    widest = profile.radius * profile.radius * (1.0 + RIM)
    behind = _behind(profile, slope) if goes_on and length > 0.0 else -inf
    taken, squares, deepest, most = 0.0, 0.0, 0.0, 0.0
    for j in range(j0, j1 + 1):
        y, row = y0 + j * cell, j // tile
        west, east = _span(y, a[0], a[1], ux, uy, length, reach)
        west, east = _ahead(west, east, (y - a[1]) * uy - a[0] * ux, ux, behind)
        if west > east:
            continue
        i0 = max(0, ceil((west - x0) / cell))
        i1 = min(ice.shape[1] - 1, floor((east - x0) / cell))
        for column in range(i0 // tile, i1 // tile + 1):
            if tops[row, column] <= low:
                continue
            before = taken
            for i in range(max(i0, column * tile), min(i1, column * tile + tile - 1) + 1):
                now = ice[j, i]
                if now <= low:
                    continue
                x = x0 + i * cell
                along = (x - a[0]) * ux + (y - a[1]) * uy
                across = (y - a[1]) * ux - (x - a[0]) * uy
                beside = max(along - length, -along, 0.0)
                r2 = across * across + beside * beside
                if r2 > widest or stands_over(profile, r2, now - low):
                    continue
                over = now - (z + lift + _lowest(profile, along, across, r2, length, slope))
                if over <= ROUNDING_MM:
                    continue
                taken += over
                squares += over * over
                deepest = max(deepest, over)
                if cut:
                    ice[j, i] -= over
                    # so far aside, no edge of a bit that does not sink advances more
                    if slope < 0.0 or across * across < widest * (1.0 - most * most):
                        most = max(most, advance(profile, along, across, now - z - lift, slope))
            if cut and taken > before:
                fell[row, column] = True
    if length == 0.0 and taken > 0.0:
        most = 1.0
    return taken, squares, deepest, most


@kernel
def _highest_near(
    nearby: Floats, part: int, side: float, x0: float, y0: float, a: Point, b: Point
) -> float:
    """Greatest of `nearby` over the move's box; (x0, y0) is the tiles' corner."""
    rows, columns = nearby.shape[1], nearby.shape[2]
    i0 = min(max(0, floor((min(a[0], b[0]) - x0) / side)), columns - 1)
    i1 = min(max(0, floor((max(a[0], b[0]) - x0) / side)), columns - 1)
    j0 = min(max(0, floor((min(a[1], b[1]) - y0) / side)), rows - 1)
    j1 = min(max(0, floor((max(a[1], b[1]) - y0) / side)), rows - 1)
    top = -inf
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            top = max(top, nearby[part, j, i])
    return top


@kernel
def _lowered(
    tops: Floats, fell: NDArray[np.bool_], ice: Floats, first: int, last: int, tile: int
) -> None:
    """Look at the tiles of rows first..last that fell, for how high their ice stands now."""
    for row in range(first // tile, (last - 1) // tile + 1):
        for column in range(tops.shape[1]):
            if not fell[row, column]:
                continue
            top = -inf
            for j in range(row * tile, min(row * tile + tile, last)):
                for i in range(column * tile, min(column * tile + tile, ice.shape[1])):
                    top = max(top, ice[j, i])
            tops[row, column], fell[row, column] = top, False


@kernel
def carve_rows(
    ice: Floats, frame: tuple[float, float, float], first: int, last: int, points: Floats,
    rapid: NDArray[np.bool_], cutting: Profile, parts: tuple[tuple[Profile, float], ...],
    nearby: Floats, tops: Floats, tile: int, results: Floats,
) -> None:  # fmt: skip
    """Carve rows first..last of `ice` (ny, nx) by moves points[n] -> points[n + 1].

    frame : x0, y0, cell
    first : whole tiles; so is `last`, or the rows end there
    rapid : (n,) moves that must not cut; they are tested, not carved
    parts : cylinders that must not touch ice: profile and height above the tip
    nearby : (1 + parts, rows, columns) of tiles: no ice within reach of the cutting end, and of
        each part, stood higher before the first of these moves
    tops : (rows, columns) of tiles: no ice in them stands higher; lowered as the ice falls
    results : (5, n): cells' ice `TAKEN` (sum of mm; 0 for rapids) and its `SQUARES`, `DEEPEST` ice
        that the cutting end met, deepest `CONTACT`, thickest `CHIP` over the chip load (0 to 1; 1
        straight down)
    """
    x0, y0, cell = frame
    side, corner_x, corner_y = tile * cell, x0 - cell / 2, y0 - cell / 2
    south_row, north_row = y0 + first * cell, y0 + (last - 1) * cell
    fell = np.zeros(tops.shape, dtype=np.bool_)
    for n in range(rapid.shape[0]):
        if n % LOWERED == LOWERED - 1:
            _lowered(tops, fell, ice, first, last, tile)
        a, b = _point(points, n), _point(points, n + 1)
        low, south, north = min(a[2], b[2]), min(a[1], b[1]), max(a[1], b[1])
        for part, (profile, lift) in enumerate(parts):
            reach = profile.radius
            if north + reach < south_row or south - reach > north_row:
                continue
            if _highest_near(nearby, 1 + part, side, corner_x, corner_y, a, b) > low + lift:
                _, _, deepest, _ = _sweep(
                    ice, frame, first, last, a, b, lift, profile, reach, False, False, tops, tile,
                    fell,
                )  # fmt: skip
                results[CONTACT, n] = max(results[CONTACT, n], deepest)
        reach = cutting.radius
        if north + reach < south_row or south - reach > north_row:
            continue
        top = _highest_near(nearby, 0, side, corner_x, corner_y, a, b)
        if top <= low:
            continue
        reach = radius_at(cutting, top - low)
        goes_on = n > 0 and not rapid[n - 1]
        taken, squares, deepest, chip = _sweep(
            ice, frame, first, last, a, b, 0.0, cutting, reach, not rapid[n], goes_on, tops, tile,
            fell,
        )  # fmt: skip
        results[DEEPEST, n] = deepest
        if not rapid[n]:
            results[TAKEN, n], results[SQUARES, n], results[CHIP, n] = taken, squares, chip
    _lowered(tops, fell, ice, first, last, tile)
