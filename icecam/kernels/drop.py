"""Tip surfaces: the lowest a bit can stand over a sculpture, at grid nodes or at single points.

The sculpture is a list of triangles, highest first, each a row of nine numbers x y z x y z x y z.
"""

from math import ceil, floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.profile import Profile, height, peak, radius_at, stands_over, touching_radius

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
UPRIGHT = 1e-7
"""Run over rise of an edge below which its slope would drown in rounding: it counts as upright."""
FAN = 4
"""Triangles in the smallest boxes round them, and boxes in the next larger one."""
Corners = tuple[float, float, float, float, float, float, float, float, float]
Contact = tuple[float, float, float, float, float]


@kernel
def _corners(triangles: Floats, k: int) -> Corners:
    """Nine numbers of triangle k, without a view of the array."""
    return (
        triangles[k, 0], triangles[k, 1], triangles[k, 2], triangles[k, 3], triangles[k, 4],
        triangles[k, 5], triangles[k, 6], triangles[k, 7], triangles[k, 8],
    )  # fmt: skip


@kernel
def _on_upright(
    profile: Profile, x: float, y: float, ax: float, ay: float, az: float, bx: float, by: float,
    bz: float,
) -> float:  # fmt: skip
    """Tip height of a bit at (x, y) that rests on the upper end of an upright edge."""
    ra, rb = sqrt((ax - x) ** 2 + (ay - y) ** 2), sqrt((bx - x) ** 2 + (by - y) ** 2)
    if min(ra, rb) > profile.radius:
        return -inf
    return max(az, bz) - height(profile, min(ra if az >= bz else rb, profile.radius))


@kernel
def _on_edge(
    profile: Profile, x: float, y: float, ax: float, ay: float, az: float, bx: float, by: float,
    bz: float,
) -> float:  # fmt: skip
    """Tip height of a bit at (x, y) that rests on the edge a-b; -inf if it misses."""
    ux, uy = bx - ax, by - ay
    length = sqrt(ux * ux + uy * uy)
    if length <= UPRIGHT * abs(bz - az) or length == 0.0:
        return _on_upright(profile, x, y, ax, ay, az, bx, by, bz)
    ux, uy = ux / length, uy / length
    along = (ax - x) * ux + (ay - y) * uy
    across = (ay - y) * ux - (ax - x) * uy
    slope = (bz - az) / length
    best = peak(profile, across * across, slope, along, along + length)
    return best + az - slope * along


@kernel
def _contact(profile: Profile, t: Corners) -> Contact:
    """Where a bit touches the whole plane of a triangle.

    Returns the contact's offset from the axis and the tip's height: at (x, y) it is
    c + gx (x - t[0]) + gy (y - t[1]). The contact lies uphill of the axis where the profile is as
    steep as the plane. For a facet that looks down or sideways c is inf.
    """
    ux, uy, uz = t[3] - t[0], t[4] - t[1], t[5] - t[2]
    vx, vy, vz = t[6] - t[0], t[7] - t[1], t[8] - t[2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    level = sqrt(nx * nx + ny * ny)
    if nz <= 1e-9 * level or nz <= 0.0:
        return 0.0, 0.0, 0.0, 0.0, inf
    gx, gy = -nx / nz, -ny / nz
    if level == 0.0:
        return 0.0, 0.0, gx, gy, t[2]
    r = touching_radius(profile, level / nz)
    ox, oy = -r * nx / level, -r * ny / level
    return ox, oy, gx, gy, t[2] + gx * ox + gy * oy - height(profile, r)


@kernel
def _on_triangle(
    best: float, profile: Profile, t: Corners, contact: Contact, bound: float, x: float, y: float
) -> float:
    """Tip height of a bit at (x, y) that rests on one triangle, or `best` if that is higher.

    The bit's height over the plane is concave, so no point of the triangle beats the contact with
    the whole plane, `bound`, and if that lies outside, the best point lies on an edge facing it.
    """
    a = b = c = -1.0
    if bound < inf:
        px, py = x + contact[0], y + contact[1]
        a = (t[3] - t[0]) * (py - t[1]) - (t[4] - t[1]) * (px - t[0])
        b = (t[6] - t[3]) * (py - t[4]) - (t[7] - t[4]) * (px - t[3])
        c = (t[0] - t[6]) * (py - t[7]) - (t[1] - t[7]) * (px - t[6])
        if a >= 0.0 and b >= 0.0 and c >= 0.0:
            return bound
    if a < 0.0:
        best = max(best, _on_edge(profile, x, y, t[0], t[1], t[2], t[3], t[4], t[5]))
    if b < 0.0:
        best = max(best, _on_edge(profile, x, y, t[3], t[4], t[5], t[6], t[7], t[8]))
    if c < 0.0:
        best = max(best, _on_edge(profile, x, y, t[6], t[7], t[8], t[0], t[1], t[2]))
    return best


@kernel
def _reach_over_tiles(
    profile: Profile, top: float, box: tuple[float, float, float, float], lows: Floats, side: float
) -> float:
    """How far from its axis a bit can meet a triangle whose highest point is `top`.

    No tip within reach of the triangle's box (relative to the tiles' corner) stands lower than the
    lowest tile there, so a profile that has risen above `top` by then is out of the question.
    """
    west, east, south, north = box
    reach = profile.radius
    i0 = max(0, floor((west - reach) / side))
    i1 = min(lows.shape[1] - 1, floor((east + reach) / side))
    j0 = max(0, floor((south - reach) / side))
    j1 = min(lows.shape[0] - 1, floor((north + reach) / side))
    lowest = inf
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            lowest = min(lowest, lows[j, i])
    return radius_at(profile, top - lowest)


@kernel
def drop_on_grid(
    tips: Floats, x0: float, y0: float, pitch: float, first: int, last: int, lows: Floats,
    tile: int, triangles: Floats, profile: Profile,
) -> None:  # fmt: skip
    """Raise rows first..last of `tips` (ny, nx) to where the bit rests on the triangles (n, 9).

    Triangles come highest first, so that most of what follows is turned away by its height. `lows`
    holds lower bounds of the tips in squares of `tile` nodes.
    """
    nx = tips.shape[1]
    side = tile * pitch
    corner_x, corner_y = x0 - 0.5 * pitch, y0 - 0.5 * pitch
    for k in range(triangles.shape[0]):
        t = _corners(triangles, k)
        west, east = min(t[0], t[3], t[6]), max(t[0], t[3], t[6])
        south, north = min(t[1], t[4], t[7]), max(t[1], t[4], t[7])
        widest = profile.radius
        if north + widest < y0 + first * pitch or south - widest > y0 + (last - 1) * pitch:
            continue
        top = max(t[2], t[5], t[8])
        box = (west - corner_x, east - corner_x, south - corner_y, north - corner_y)
        reach = _reach_over_tiles(profile, top, box, lows, side)
        j0 = max(first, ceil((south - reach - y0) / pitch))
        j1 = min(last - 1, floor((north + reach - y0) / pitch))
        contact = _contact(profile, t)
        for j in range(j0, j1 + 1):
            y = y0 + j * pitch
            dy = max(south - y, y - north, 0.0)
            half = sqrt(max(reach * reach - dy * dy, 0.0))
            i0 = max(0, ceil((west - half - x0) / pitch))
            i1 = min(nx - 1, floor((east + half - x0) / pitch))
            for i in range(i0, i1 + 1):
                now = tips[j, i]
                if top <= now:
                    continue
                x = x0 + i * pitch
                bound = contact[4] + contact[2] * (x - t[0]) + contact[3] * (y - t[1])
                if bound <= now:
                    continue
                dx = max(west - x, x - east, 0.0)
                if stands_over(profile, min(dx * dx + dy * dy, widest * widest), top - now):
                    continue
                tips[j, i] = _on_triangle(now, profile, t, contact, bound, x, y)


@kernel
def count_bins(
    counts: Ints, x0: float, y0: float, size: float, columns: int, triangles: Floats
) -> None:
    """Count the triangles (n, 9) that overlap each square."""
    for k in range(triangles.shape[0]):
        t = _corners(triangles, k)
        i0 = int((min(t[0], t[3], t[6]) - x0) / size)
        i1 = int((max(t[0], t[3], t[6]) - x0) / size)
        j0 = int((min(t[1], t[4], t[7]) - y0) / size)
        j1 = int((max(t[1], t[4], t[7]) - y0) / size)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                counts[j * columns + i] += 1


@kernel
def _passes(
    best: float, profile: Profile, west: float, east: float, south: float, north: float, top: float
) -> bool:
    """Whether a bit whose tip stands at `best` clears a box; sides as seen from its axis."""
    if top <= best:
        return True
    dx, dy = max(west, -east, 0.0), max(south, -north, 0.0)
    r2 = dx * dx + dy * dy
    return r2 > profile.radius * profile.radius or stands_over(profile, r2, top - best)


@kernel
def _raised(best: float, profile: Profile, x: float, y: float, triangles: Floats, k: int) -> float:
    """Tip height of a bit at (x, y) that rests on triangle k, or `best` if that is higher."""
    t = _corners(triangles, k)
    west, east = min(t[0], t[3], t[6]) - x, max(t[0], t[3], t[6]) - x
    south, north = min(t[1], t[4], t[7]) - y, max(t[1], t[4], t[7]) - y
    if _passes(best, profile, west, east, south, north, max(t[2], t[5], t[8])):
        return best
    contact = _contact(profile, t)
    bound = contact[4] + contact[2] * (x - t[0]) + contact[3] * (y - t[1])
    return _on_triangle(best, profile, t, contact, bound, x, y) if bound > best else best


@kernel
def drop_at_point(
    best: float, guess: int, x: float, y: float, order: NDArray[np.int32], sides: Floats,
    levels: Ints, triangles: Floats, profile: Profile,
) -> tuple[float, int]:  # fmt: skip
    """Tip height at one point, at least `best`, and the triangle that the bit rests on.

    guess : the triangle that it likely rests on, from which follows at once what it clears; -1 for
        none, which is returned as well where it rests on none
    order, sides, levels : boxes in boxes, as in `icecam.geometry.boxes.Boxes`
    """
    if guess >= 0:
        found = _raised(best, profile, x, y, triangles, guess)
        guess = guess if found > best else -1
        best = found
    smallest = levels.shape[0] - 2
    level, box = 0, 0
    while True:
        b = levels[level] + box
        if b < levels[level + 1] and not _passes(
            best, profile, sides[b, 0] - x, sides[b, 1] - x, sides[b, 2] - y, sides[b, 3] - y,
            sides[b, 4],
        ):  # fmt: skip
            if level < smallest:
                level, box = level + 1, FAN * box
                continue
            for n in range(FAN * box, min(FAN * box + FAN, order.shape[0])):
                found = _raised(best, profile, x, y, triangles, order[n])
                if found > best:
                    best, guess = found, order[n]
        # on to the next box of this size, or behind the last in a larger one to what follows that
        box += 1
        while level > 0 and box % FAN == 0:
            level, box = level - 1, box // FAN
        if level == 0:
            return best, guess


@kernel
def drop_at_points(
    tips: Floats, points: Floats, first: int, last: int, order: NDArray[np.int32], sides: Floats,
    levels: Ints, triangles: Floats, profile: Profile,
) -> None:  # fmt: skip
    """Raise tips[first:last] to where the bit rests at points (n, 2).

    It is quick where each point lies near the one before.
    """
    on = -1
    for n in range(first, last):
        tips[n], on = drop_at_point(
            tips[n], on, points[n, 0], points[n, 1], order, sides, levels, triangles, profile
        )
