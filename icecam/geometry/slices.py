"""Slices: what of the sculpture a plane crosses, and what stands at or above it.

Takes triangles and heights seen from above, gives closed polygons in the plane.
"""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from icecam.geometry.field import Grid, HeightField
from icecam.kernels.compiled import each_of

_NUDGE_MM = 1e-6
OVERLAP_MM = 1e-3
"""Squares overlap by this, or rounding would leave gaps without width between their rows."""


def slice_at(triangles: NDArray[np.float64], z: float) -> BaseGeometry:
    """Return the area where the plane at height `z` crosses a closed mesh.

    Parameters
    ----------
    triangles : (n, 3, 3) mm
    z : mm

    Returns
    -------
    polygons in mm; what an open mesh leaves unclosed is not in them

    Notes
    -----
    Each crossing is worked out from the lower end of its edge, so that the two triangles of an
    edge give the same point to the bit. A plane through a corner is moved by a millionth of a mm.
    Where the mesh runs through itself its outline crosses itself too; what loops enclose counts.
    """
    heights = triangles[:, :, 2]
    if (heights == z).any():
        z += _NUDGE_MM
    above = heights > z
    count = above.sum(axis=1)
    crossed = (count > 0) & (count < 3)
    if not crossed.any():
        return shapely.Polygon()
    cut, side = triangles[crossed], above[crossed]
    lone = np.argmax(side == (count[crossed] == 1)[:, None], axis=1)
    rows = np.arange(len(cut))
    apex, b, c = cut[rows, lone], cut[rows, (lone + 1) % 3], cut[rows, (lone + 2) % 3]
    segments = np.stack([_crossing(apex, b, z), _crossing(apex, c, z)], axis=1)
    lines = shapely.linestrings(segments[(segments[:, 0] != segments[:, 1]).any(axis=1)])
    merged = shapely.line_merge(shapely.multilinestrings(lines))
    if not shapely.is_ring(shapely.get_parts(merged)).all():
        merged = shapely.union_all(merged)
    area = shapely.build_area(shapely.geometrycollections(list(shapely.get_parts(merged))))
    valid: BaseGeometry = area if area.is_valid else shapely.make_valid(area)
    return valid


def _crossing(p: NDArray[np.float64], q: NDArray[np.float64], z: float) -> NDArray[np.float64]:
    """Points (n, 2) where edges p-q, (n, 3) each, pass the height z."""
    upward = (p[:, 2] < q[:, 2])[:, None]
    low, high = np.where(upward, p, q), np.where(upward, q, p)
    share = ((z - low[:, 2]) / (high[:, 2] - low[:, 2]))[:, None]
    point: NDArray[np.float64] = low[:, :2] + share * (high[:, :2] - low[:, :2])
    return point


def polygons_of(mask: NDArray[np.bool_], grid: Grid) -> BaseGeometry:
    """Return the squares round the marked nodes of a grid, joined (mm)."""
    padded = np.pad(mask, ((0, 0), (1, 1))).astype(np.int8)
    steps = np.diff(padded, axis=1)
    rows, first = np.nonzero(steps == 1)
    _, last = np.nonzero(steps == -1)
    half = grid.pitch / 2 + OVERLAP_MM
    boxes = shapely.box(
        grid.x0 + first * grid.pitch - half,
        grid.y0 + rows * grid.pitch - half,
        grid.x0 + (last - 1) * grid.pitch + half,
        grid.y0 + rows * grid.pitch + half,
    )
    return shapely.union_all(boxes)


def shadows(
    triangles: NDArray[np.float64],
    heights: HeightField,
    levels: NDArray[np.float64],
    *,
    near: float = 0.0,
) -> list[BaseGeometry]:
    """Return, for each level from the top down, the area where the sculpture stands at or above it.

    Slices joined from the top down, and what they miss because it bulges between two planes: nodes
    of `heights` (the sculpture seen from above) higher than the level and outside the slices by
    more than `near` mm.
    """
    found: list[BaseGeometry] = []
    grid, before = heights.grid, np.inf
    area: BaseGeometry = shapely.Polygon()
    slices = each_of(levels.tolist(), lambda z: slice_at(triangles, z))
    for z, crossed in zip(levels, slices, strict=True):
        area = shapely.union(area, crossed)
        # round corners are cut by chords, so what is found near is near
        close = shapely.buffer(area, near, quad_segs=4) if near > 0.0 else area
        shapely.prepare(close)
        # higher nodes are in the area, or as near as they may be, since the level above
        mask = (heights.heights > z) & (heights.heights <= before)
        before = z
        j, i = np.nonzero(mask)
        mask[j, i] = ~shapely.contains_xy(close, grid.x[i], grid.y[j])
        if mask.any():
            area = shapely.union(area, polygons_of(mask, grid))
        found.append(area)
    return found
