"""Questions to the ice as it stands: where a bit is clear of it, what a bit takes at each tip."""

from math import ceil, floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.profile import Profile, height, radius_at, steepness

Floats = NDArray[np.float64]


@kernel
def clear_over_segment(
    ice: Floats, frame: tuple[float, float, float], ax: float, ay: float, bx: float, by: float,
    profile: Profile, slack: float,
) -> float:  # fmt: skip
    """Lowest tip height on the way a-b at which a profile clears the centres of all cells.

    slack : cells count as lying this much nearer to the way than their centres
    """
    x0, y0, cell = frame
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    reach = profile.radius + slack
    i0 = max(0, ceil((min(ax, bx) - reach - x0) / cell))
    i1 = min(ice.shape[1] - 1, floor((max(ax, bx) + reach - x0) / cell))
    j0 = max(0, ceil((min(ay, by) - reach - y0) / cell))
    j1 = min(ice.shape[0] - 1, floor((max(ay, by) + reach - y0) / cell))
    tip = -inf
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            if ice[j, i] <= tip:
                continue
            px, py = x0 + i * cell - ax, y0 + j * cell - ay
            t = min(max((px * dx + py * dy) / square, 0.0), 1.0) if square > 0.0 else 0.0
            ex, ey = px - t * dx, py - t * dy
            r = sqrt(ex * ex + ey * ey)
            if r <= reach:
                tip = max(tip, ice[j, i] - height(profile, max(r - slack, 0.0)))
    return tip


@kernel
def travel_heights(
    result: Floats, first: int, last: int, starts: Floats, ends: Floats, ice: Floats,
    frame: tuple[float, float, float], slack: float, parts: tuple[tuple[Profile, float], ...],
) -> None:  # fmt: skip
    """Find the lowest tip heights at which a bit clears the ice on ways (n, 2) to (n, 2).

    parts : profile of each part of the bit and its height over the tip
    """
    for n in range(first, last):
        need = -inf
        for profile, lift in parts:
            tip = clear_over_segment(
                ice, frame, starts[n, 0], starts[n, 1], ends[n, 0], ends[n, 1], profile, slack
            )
            need = max(need, tip - lift)
        result[n] = need


@kernel
def _bite(
    x: float, y: float, tip: float, top: float, ice: Floats, matters: NDArray[np.bool_],
    frame: tuple[float, float, float], stride: int, profile: Profile, least: float,
) -> tuple[float, float]:  # fmt: skip
    """Greatest thickness along the bit's normal of ice that matters, and upright of all ice.

    What is no thicker than `least` counts as none along the normal, and may upright.
    """
    x0, y0, cell = frame
    reach = radius_at(profile, top - tip)
    r0 = max(0, ceil((y - reach - y0) / cell))
    r1 = min(ice.shape[0] - 1, floor((y + reach - y0) / cell))
    c0 = max(0, ceil((x - reach - x0) / cell))
    c1 = min(ice.shape[1] - 1, floor((x + reach - x0) / cell))
    most, deep = least, 0.0
    for row in range(r0, r1 + 1, stride):
        dy = y0 + row * cell - y
        # no cell of this row takes more than this much less than it stands over the tip
        rise = height(profile, abs(dy))
        for column in range(c0, c1 + 1, stride):
            over = ice[row, column] - tip
            if over - rise <= most:
                continue
            dx = x0 + column * cell - x
            r = sqrt(dx * dx + dy * dy)
            if r > reach:
                continue
            over -= height(profile, r)
            deep = max(deep, over)
            if over > most and matters[row, column]:
                slope = steepness(profile, r)
                most = max(most, over / sqrt(1.0 + slope * slope))
    return most if most > least else 0.0, deep


@kernel
def bites(
    bite: NDArray[np.float32], depth: NDArray[np.float32], first: int, last: int, tips: Floats,
    tip_frame: tuple[float, float, float], ice: Floats, matters: NDArray[np.bool_],
    ice_frame: tuple[float, float, float], tops: Floats, stride: int, profile: Profile,
    least: float,
) -> None:  # fmt: skip
    """How much ice thicker than `least` (mm) a bit would take at each tip of rows first..last.

    bite : greatest thickness along the bit's normal, of ice that matters
    depth : greatest thickness upright (mm), of all ice
    tops : upper bound of the ice within the bit's radius of each tip; NaN tips are passed over
    """
    tx, ty, pitch = tip_frame
    for j in range(first, last):
        for i in range(tips.shape[1]):
            if tops[j, i] - tips[j, i] > least:
                x, y = tx + i * pitch, ty + j * pitch
                bite[j, i], depth[j, i] = _bite(
                    x, y, tips[j, i], tops[j, i], ice, matters, ice_frame, stride, profile, least
                )


@kernel
def bites_at(
    bite: NDArray[np.float32], first: int, last: int, points: Floats, tops: Floats, ice: Floats,
    matters: NDArray[np.bool_], frame: tuple[float, float, float], stride: int, profile: Profile,
) -> None:  # fmt: skip
    """Ask for the same `bite` at tips first..last of points (n, 3); tops (n,) as in `bites`."""
    for n in range(first, last):
        x, y, tip = points[n, 0], points[n, 1], points[n, 2]
        if tops[n] > tip:
            bite[n] = _bite(x, y, tip, tops[n], ice, matters, frame, stride, profile, 0.0)[0]


@kernel
def _highest(
    tops: Floats, frame: tuple[float, float, float], west: float, east: float, south: float,
    north: float,
) -> float:  # fmt: skip
    """Greatest of the tops of the squares nearest to any place in a box."""
    x0, y0, side = frame
    ny, nx = tops.shape
    i0 = min(max(ceil((west - x0) / side - 0.5), 0), nx - 1)
    i1 = min(max(floor((east - x0) / side + 0.5), 0), nx - 1)
    j0 = min(max(ceil((south - y0) / side - 0.5), 0), ny - 1)
    j1 = min(max(floor((north - y0) / side + 0.5), 0), ny - 1)
    most = -inf
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            most = max(most, tops[j, i])
    return most


@kernel
def may_bite(
    found: NDArray[np.bool_], first: int, last: int, lows: Floats, highs: Floats, heights: Floats,
    least: float, tops: Floats, tops_frame: tuple[float, float, float], ice: Floats,
    matters: NDArray[np.bool_], frame: tuple[float, float, float], profile: Profile,
) -> None:  # fmt: skip
    """Mark the tips first..last that could take more than `least` (mm), as `bites` has it.

    The tip stands at heights (n,), anywhere in the box with corners `lows` and `highs` (n, 2): each
    cell is asked for where in it the axis comes nearest, for ice that the bit takes is thicker, and
    the bit's normal there more upright, the nearer to the axis.

    tops : upper bound of the ice within the bit's radius of places nearest to its squares
    """
    x0, y0, cell = frame
    for n in range(first, last):
        west, east = min(lows[n, 0], highs[n, 0]), max(lows[n, 0], highs[n, 0])
        south, north = min(lows[n, 1], highs[n, 1]), max(lows[n, 1], highs[n, 1])
        tip = heights[n]
        top = _highest(tops, tops_frame, west, east, south, north)
        if top <= tip:
            continue
        reach = radius_at(profile, top - tip)
        r0 = max(0, ceil((south - reach - y0) / cell))
        r1 = min(ice.shape[0] - 1, floor((north + reach - y0) / cell))
        c0 = max(0, ceil((west - reach - x0) / cell))
        c1 = min(ice.shape[1] - 1, floor((east + reach - x0) / cell))
        for row in range(r0, r1 + 1):
            y = y0 + row * cell
            dy = max(south - y, y - north, 0.0)
            for column in range(c0, c1 + 1):
                over = ice[row, column] - tip
                if over <= least or not matters[row, column]:
                    continue
                x = x0 + column * cell
                dx = max(west - x, x - east, 0.0)
                r = sqrt(dx * dx + dy * dy)
                if r > reach:
                    continue
                over -= height(profile, r)
                if over > least:
                    slope = steepness(profile, r)
                    if over > least * sqrt(1.0 + slope * slope):
                        found[n] = True
                        break
            if found[n]:
                break
