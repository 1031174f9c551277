"""What the carved block proves: cuts into the sculpture, ice left, and where.

Takes the block carved by what was read back and the sculpture; gives findings with places.
"""

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.drop import TILE as TIP_TILE
from icecam.geometry.drop import Surface, lowest_tiles, tip_heights
from icecam.geometry.field import HeightField, Heights
from icecam.geometry.profile import POINT
from icecam.kernels.closing import close_rows, thickness_rows
from icecam.kernels.compiled import begun, over_stripes
from icecam.kernels.profile import Profile

GOUGE_MM: Final = 0.05
"""A cut deeper than this into the sculpture is refused."""
RAPID_MM: Final = 0.01
"""Ice that a rapid meets deeper than this counts; less is rounding."""
WINDOW: Final = 4
AT_ONCE: Final = 2000
_RADII: Final = (0.01, 0.02, 0.03, 0.04, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0)
_DIRECTIONS: Final = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Gouge:
    """Deepest cut into the sculpture and its place in block coordinates, mm; 0 for none."""

    depth: float
    at: tuple[float, float, float] | None


Place = tuple[float, float, float]
"""x, y, z in block coordinates, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IceLeft:
    """Ice left over the sculpture, by area seen from above and weighted by slope.

    within : share of the reachable area with less than the tolerance left
    p99, worst : mm, over the reachable area; `worst_at` its place in block coordinates
    unreachable : share of the area that no bit of the rack can bring within tolerance
    hand_worst, hand_worst_at : the same of that area, which is left to the hand; 0 and None if none
    """

    within: float
    p99: float
    worst: float
    worst_at: Place
    unreachable: float
    hand_worst: float
    hand_worst_at: Place | None


def deepest_gouge(ice: HeightField, wanted: HeightField, surface: Surface) -> Gouge:
    """Return how far a carved point would have to move, in any direction, to be clear.

    A carved point is clear where it lies at or above the sculpture seen from above; the way to the
    nearest such place is searched on circles round each point that lies below. The search stops at
    single radii, so a depth is never reported less than it is, and at most 0.026 mm more while
    below 0.1 mm. Cells cut less than 0.01 mm too low, upright, count as none.
    """
    grid = ice.grid
    below = wanted.heights - ice.heights
    j, i = np.nonzero(below > GOUGE_MM / 5)
    if len(j) == 0:
        return Gouge(depth=0.0, at=None)
    bound = _gouge_bound(ice.heights, wanted.heights, j, i, grid.pitch)
    order = np.argsort(-bound, kind="stable")
    deepest, place = 0.0, 0
    for begin in range(0, len(order), AT_ONCE):
        some = order[begin : begin + AT_ONCE]
        if bound[some[0]] <= deepest:
            break
        x, y = grid.x[i[some]], grid.y[j[some]]
        depth = np.minimum(_to_clear(x, y, ice.heights[j[some], i[some]], surface), bound[some])
        worst = int(np.argmax(depth))
        if depth[worst] > deepest:
            deepest, place = float(depth[worst]), int(some[worst])
    row, column = j[place], i[place]
    at = (
        grid.x0 + float(column) * grid.pitch,
        grid.y0 + float(row) * grid.pitch,
        float(ice.heights[row, column]),
    )
    return Gouge(depth=deepest, at=at)


def _gouge_bound(
    ice: Heights, wanted: Heights, j: NDArray[np.intp], i: NDArray[np.intp], cell: float
) -> Heights:
    """Upper bound of the way to a clear place: over the centres of near cells."""
    ny, nx = ice.shape
    here = ice[j, i]
    bound = np.full(len(j), inf)
    for v in range(-WINDOW, WINDOW + 1):
        for u in range(-WINDOW, WINDOW + 1):
            near = wanted[np.clip(j + v, 0, ny - 1), np.clip(i + u, 0, nx - 1)]
            up = np.maximum(near - here, 0.0)
            np.minimum(bound, np.hypot(np.hypot(u, v) * cell, up), out=bound)
    return bound


def _to_clear(x: Heights, y: Heights, z: Heights, surface: Surface) -> Heights:
    """Shortest way found from points (n,) to where the sculpture is not above them."""
    parts = ((POINT, 0.0),)
    angles = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    best = np.maximum(tip_heights(surface, parts, np.column_stack([x, y])) - z, 0.0)
    for radius in _RADII:
        open_ = np.flatnonzero(best > radius)
        if len(open_) == 0:
            break
        px = x[open_, None] + radius * np.cos(angles)
        py = y[open_, None] + radius * np.sin(angles)
        there = tip_heights(surface, parts, np.column_stack([px.ravel(), py.ravel()]))
        up = np.maximum(there.reshape(px.shape) - z[open_, None], 0.0).min(axis=1)
        best[open_] = np.minimum(best[open_], np.hypot(radius, up))
    return best


def closed_by(
    left: Heights, wanted: HeightField, tips: HeightField, profile: Profile, enough: float
) -> Heights:
    """Return `left` lowered to what a bit leaves that goes to every one of its tips.

    tips : tip heights, inf where the bit may not go
    enough : mm over the sculpture; where so little is left, it may be less
    """
    lowered = left.copy()
    g, t = wanted.grid, tips.grid
    lows = lowest_tiles(tips.heights)
    over_stripes(
        g.ny,
        lambda first, last: close_rows(
            lowered, (g.x0, g.y0, g.pitch), first, last, wanted.heights, tips.heights,
            (t.x0, t.y0, t.pitch), lows, TIP_TILE, profile, enough,
        ),
    )  # fmt: skip
    return lowered


def thickness(ice: Heights, wanted: HeightField) -> Heights:
    """Return the thickness of ice (ny, nx) over the sculpture, NaN beside it (mm)."""
    thick = np.zeros(ice.shape)
    over_stripes(
        ice.shape[0],
        lambda first, last: thickness_rows(
            thick, first, last, ice, wanted.heights, wanted.grid.pitch, WINDOW
        ),
    )
    return thick


def ice_left(
    ice: HeightField, wanted: HeightField, reachable: Heights, tolerance: float
) -> IceLeft:
    """Sum up the ice left over the sculpture.

    reachable : heights to which the bits of the rack could have brought the ice
    """
    weighing = begun(lambda: slope_weight(wanted.heights, wanted.grid.pitch))
    seen = np.isfinite(wanted.heights)
    left = thickness(ice.heights, wanted)
    out = seen & (thickness(reachable, wanted) > tolerance)
    weight = weighing()
    ours = seen & ~out
    if not ours.any():
        ours = seen
    area, thick = weight[ours], left[ours]
    worst, worst_at = _worst(left, ours, ice)
    by_hand = _worst(left, out, ice) if out.any() else (0.0, None)
    return IceLeft(
        within=float(area[thick <= tolerance].sum() / area.sum()),
        p99=_reached(0.99, thick, area),
        worst=worst,
        worst_at=worst_at,
        unreachable=float(weight[out].sum() / weight[seen].sum()),
        hand_worst=by_hand[0],
        hand_worst_at=by_hand[1],
    )


def _reached(share: float, thick: Heights, area: Heights) -> float:
    """Least thickness (n,) that a share of the area (n,) does not exceed."""
    total, last = area.sum(), len(thick) - 1
    # that is among the few thickest, unless those are steep and have hardly any area
    high = thick >= np.partition(thick, last * 9 // 10)[last * 9 // 10]
    below = area[~high].sum()
    if below > share * total:
        high, below = np.ones_like(high), 0.0
    thick, area = thick[high], area[high]
    order = np.argsort(thick, kind="stable")
    shares = (below + np.cumsum(area[order])) / total
    return float(thick[order][min(int(np.searchsorted(shares, share)), len(order) - 1)])


def _worst(left: Heights, where: NDArray[np.bool_], ice: HeightField) -> tuple[float, Place]:
    """Most ice left over the marked cells, and its place."""
    row, column = np.unravel_index(int(np.argmax(np.where(where, left, -1.0))), left.shape)
    x, y = float(ice.grid.x[column]), float(ice.grid.y[row])
    return float(left[row, column]), (x, y, float(ice.heights[row, column]))


def slope_weight(heights: Heights, cell: float) -> Heights:
    """Area of the surface over each cell, by its flatter neighbours; 1 on the level."""
    known = np.where(np.isfinite(heights), heights, np.nan)
    steps_x = np.abs(np.diff(known, axis=1, prepend=np.nan, append=np.nan))
    steps_y = np.abs(np.diff(known, axis=0, prepend=np.nan, append=np.nan))
    gx = np.fmin(steps_x[:, :-1], steps_x[:, 1:])
    gy = np.fmin(steps_y[:-1], steps_y[1:])
    gx, gy = (np.where(np.isfinite(g), g, 0.0) / cell for g in (gx, gy))
    weight: Heights = np.sqrt(1 + gx * gx + gy * gy)
    return weight
