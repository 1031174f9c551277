"""Exact tip surfaces: how low a bit can stand at each place without touching the sculpture.

Takes triangles, gives heights of the tip. Each facet, edge and corner is met in closed form; a
whole bit is the greatest of its parts: cutting end, shank, collet nut, spindle, each shifted by
where it begins.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.errors import MeshError
from icecam.geometry.boxes import Boxes, boxes_of
from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.profile import (
    POINT,
    cutting_end,
    cylinder_profile,
    cylinders,
    make_profile,
    thicken,
)
from icecam.job.records import Bit
from icecam.kernels.compiled import begun, over_stripes
from icecam.kernels.drop import count_bins, drop_at_points, drop_on_grid
from icecam.kernels.profile import Profile

BIN_MM: Final = 1.0
PATCH_MM: Final = 8.0
TILE: Final = 8
MOST_IN_BIN: Final = 20_000
MOST_IN_BINS: Final = 20_000_000
"""Triangles over one bin, and over all bins, each in every bin it crosses; more are slivers, and a
bit that rests on them has to look at each (half a minute a stage at the first limit, measured)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """Triangles a bit can rest on: (n, 9) mm, the highest of each patch first; boxes round them.

    boxes : gives them; nobody waits for them who does not ask
    """

    triangles: NDArray[np.float64]
    boxes: Callable[[], Boxes]


def surface_of(triangles: NDArray[np.float64], *, closed: bool = False) -> Surface:
    """Sort triangles (n, 3, 3) for dropping bits on them.

    closed : leave out facets that look down; their edges belong to facets that do not. In an open
        mesh a facet may face either way, so each is turned to look up.

    Raises
    ------
    MeshError : so many slivers that bits would take hours to rest on them
    """
    flat = np.ascontiguousarray(triangles, dtype=np.float64)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    up = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] >= 0
    flat = flat[up] if closed else np.where(up[:, None, None], flat, flat[:, [0, 2, 1]])
    low = np.array([np.min(flat[:, :, axis]) for axis in range(2)])
    flat = np.take(flat.reshape(-1, 9), _in_patches(flat, low), axis=0)
    _check_not_slivers(flat)
    return Surface(triangles=flat, boxes=cache(begun(lambda: boxes_of(flat))))


def _in_patches(triangles: NDArray[np.float64], low: NDArray[np.float64]) -> NDArray[np.intp]:
    """Order of triangles (n, 3, 3) patch by patch from a corner (2,), the highest first in each."""
    corners = [triangles[:, corner] for corner in range(3)]  # reduced at once they take far longer
    x, y = (np.minimum.reduce([corner[:, axis] for corner in corners]) for axis in range(2))
    tops = np.maximum.reduce([corner[:, 2] for corner in corners])
    column, row = np.floor((x - low[0]) / PATCH_MM), np.floor((y - low[1]) / PATCH_MM)
    patch = (row * (column.max() + 1) + column).astype(np.int64)
    # numbers of few bytes are sorted faster
    return np.lexsort((-tops, patch.astype(np.min_scalar_type(patch.max()))))


def _check_not_slivers(triangles: NDArray[np.float64]) -> None:
    """Refuse triangles that crowd in one place, or that each lie over far too many places."""
    x, y = triangles[:, 0::3], triangles[:, 1::3]
    west, south, wide, deep = x.min(), y.min(), np.ptp(x), np.ptp(y)
    side = max(BIN_MM, float(max(wide, deep)) / 4000)
    columns, rows = ceil(wide / side) + 1, ceil(deep / side) + 1
    counts = np.zeros(columns * rows, dtype=np.int64)
    count_bins(counts, west, south, side, columns, triangles)
    worst = int(np.argmax(counts))
    if counts[worst] > MOST_IN_BIN or counts.sum() > MOST_IN_BINS:
        row, column = divmod(worst, columns)
        at = f"x {west + (column + 0.5) * side:.0f}, y {south + (row + 0.5) * side:.0f} mm"
        raise MeshError(
            f"the mesh is made of slivers: {counts[worst]} triangles lie over a square of "
            f"{side:g} mm at {at} of the block, at most {MOST_IN_BIN} may; "
            "simplify it where it is sculpted, or make it anew from even triangles"
        )


def parts_of(
    bit: Bit, *, allowance: float = 0.0, spindle_body: float | None = None
) -> tuple[tuple[Profile, float], ...]:
    """Return the profiles of a bit with the height of each above the tip (mm).

    Cutting end and shank; with `spindle_body` (diameter, mm) the collet nut and the spindle too.
    """
    parts = [(thicken(cutting_end(bit), allowance), -allowance)]
    for part in cylinders(bit, spindle_body or 0.0)[: 3 if spindle_body else 1]:
        if part.name != "shank" or part.radius > cutting_end(bit).radius + 1e-9:
            parts.append((thicken(cylinder_profile(part.radius), allowance), part.base - allowance))
    return tuple(parts)


def tip_surface(
    surface: Surface,
    bit: Bit,
    grid: Grid,
    *,
    allowance: float = 0.0,
    lowest: float = -np.inf,
    spindle_body: float | None = None,
) -> HeightField:
    """Lowest tip height of a bit at each node of a grid.

    Parameters
    ----------
    allowance : mm kept between the bit and the sculpture, along the normal
    lowest : mm, no tip goes below (the floor)
    spindle_body : mm, with it the collet nut and a spindle of this diameter keep clear as well

    Returns
    -------
    mm; `lowest` where the bit meets nothing

    Notes
    -----
    A bit is axisymmetric with convex profile h; dropped at (x, y) its tip stops at the greatest
    p_z - h(|p_xy - (x, y)|) over points p of the sculpture. Exact on each triangle (geometry).
    """
    tips = np.maximum(sculpture_heights(surface, grid).heights + allowance, lowest)
    for profile, base in parts_of(bit, allowance=allowance, spindle_body=spindle_body):
        raised = tips + base
        _drop(raised, surface, profile, grid)
        np.maximum(tips, raised - base, out=tips)
    return HeightField(grid=grid, heights=tips)


def sculpture_heights(surface: Surface, grid: Grid) -> HeightField:
    """Height of the sculpture seen from above; -inf beside it (mm)."""
    heights = np.full((grid.ny, grid.nx), -np.inf)
    _drop(heights, surface, POINT, grid)
    return HeightField(grid=grid, heights=heights)


def grown_heights(surface: Surface, grid: Grid, margin: float) -> HeightField:
    """Height seen from above of a surface grown by `margin` (mm) every way; -inf beside it (mm).

    Notes
    -----
    The centre of a ball that rests on a surface keeps its radius off it (geometry).
    """
    found = sculpture_heights(surface, grid)
    if margin == 0.0:
        return found
    heights = found.heights.copy()
    ball = make_profile(flat=0.0, corner=margin, taper=0.0, radius=margin)
    _drop(heights, surface, ball, grid)
    return HeightField(grid=grid, heights=heights + margin)


def _drop(tips: Heights, surface: Surface, profile: Profile, grid: Grid) -> None:
    lows = lowest_tiles(tips)
    over_stripes(
        grid.ny,
        lambda first, last: drop_on_grid(
            tips, grid.x0, grid.y0, grid.pitch, first, last, lows, TILE, surface.triangles, profile
        ),
    )


def lowest_tiles(tips: Heights) -> Heights:
    """Return the least height in each square of `TILE` nodes."""
    ny, nx = tips.shape
    padded = np.pad(tips, ((0, -ny % TILE), (0, -nx % TILE)), constant_values=np.inf)
    tiles = padded.reshape(padded.shape[0] // TILE, TILE, -1, TILE)
    least: Heights = tiles.min(axis=(1, 3))
    return least


def tip_heights(
    surface: Surface,
    parts: tuple[tuple[Profile, float], ...],
    points: NDArray[np.float64],
    *,
    lowest: float | Heights = -np.inf,
) -> Heights:
    """Lowest tip height at single points (n, 2), mm; `parts` as `parts_of` gives them.

    lowest : mm, no tip goes below, of all or of each point (n,)
    """
    tips = np.full(len(points), lowest)
    where = np.ascontiguousarray(points, dtype=np.float64)
    for profile, base in parts:
        raised = tips + base
        _drop_at(raised, surface, profile, where)
        np.maximum(tips, raised - base, out=tips)
    return tips


def _drop_at(
    tips: Heights, surface: Surface, profile: Profile, points: NDArray[np.float64]
) -> None:
    boxes = surface.boxes()
    over_stripes(
        len(points),
        lambda first, last: drop_at_points(
            tips, points, first, last, boxes.order, boxes.sides, boxes.levels, surface.triangles,
            profile,
        ),
    )  # fmt: skip
