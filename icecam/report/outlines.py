"""What a sculpture looks like from above and from the sides, as lines to draw.

Takes triangles and heights; gives the highest and lowest point at each place along the block, and
rings of equal height. Parts that stand apart along the block have an outline each; gaps between
the highest and the lowest point are not looked for.
"""

from typing import Final, NamedTuple

import contourpy
import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, Heights

Floats = NDArray[np.float64]

MOST_CELLS: Final = 240
"""Cells along the longer side in which heights are drawn."""


class Skyline(NamedTuple):
    """Lowest and highest z (k,) of a sculpture at k places along an axis, mm."""

    along: Floats
    low: Floats
    high: Floats

    @property
    def ring(self) -> Floats:
        """(2k, 2) mm, along and z: there on the high side, back on the low one."""
        there = np.column_stack([self.along, self.high])
        back = np.column_stack([self.along, self.low])[::-1]
        return np.concatenate([there, back])


def skylines(triangles: Floats, axis: int, count: int) -> list[Skyline]:
    """Return the outline of each part of triangles (n, 3, 3) seen level across an axis.

    Parts stand apart if nothing is between them along the axis (0: X, 1: Y); each is told of at
    `count` places.
    """
    begins, ends = triangles[:, :, axis].min(axis=1), triangles[:, :, axis].max(axis=1)
    order = np.argsort(begins, kind="stable")
    reached = np.maximum.accumulate(ends[order])
    apart = np.flatnonzero(begins[order][1:] > reached[:-1]) + 1
    return [skyline(part, axis, count) for part in np.split(triangles[order], apart)]


def skyline(triangles: Floats, axis: int, count: int) -> Skyline:
    """Return the outline of triangles (n, 3, 3) seen level across an axis (0: X, 1: Y).

    Notes
    -----
    At a place along the axis the extremes of a triangle lie on its edges, so they are exact there.
    Source: geometry, no constant.
    """
    along = np.linspace(triangles[:, :, axis].min(), triangles[:, :, axis].max(), count)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    for first in range(3):
        begins, ends = triangles[:, first], triangles[:, (first + 1) % 3]
        _widen(low, high, along, begins[:, [axis, 2]], ends[:, [axis, 2]])
    return Skyline(along, low, high)


def _widen(low: Floats, high: Floats, along: Floats, begins: Floats, ends: Floats) -> None:
    """Take edges from `begins` to `ends` (n, 2) into the extremes at each place."""
    left, right = np.minimum(begins[:, 0], ends[:, 0]), np.maximum(begins[:, 0], ends[:, 0])
    first = np.searchsorted(along, left, side="left")
    count = np.searchsorted(along, right, side="right") - first
    edge = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count) + first[edge]
    a, b = begins[edge], ends[edge]
    run = b[:, 0] - a[:, 0]
    share = np.divide(along[place] - a[:, 0], run, out=np.zeros(len(run)), where=run != 0)
    z = a[:, 1] + share * (b[:, 1] - a[:, 1])
    np.minimum.at(low, place, np.where(run == 0, np.minimum(a[:, 1], b[:, 1]), z))
    np.maximum.at(high, place, np.where(run == 0, np.maximum(a[:, 1], b[:, 1]), z))


def shadow(wanted: HeightField) -> list[Floats]:
    """Return rings (n, 2) of x, y round all that the sculpture covers seen from above, mm."""
    coarse = _coarse(wanted)
    return _rings(coarse, np.isfinite(coarse.heights).astype(np.float64), 0.5, 0.0)


def bands(wanted: HeightField, count: int) -> list[list[Floats]]:
    """Return rings round what stands higher than each of `count` even steps of height, mm.

    The first step is one above the lowest place seen; the rings of `shadow` go round all.
    """
    coarse = _coarse(wanted)
    seen = np.isfinite(coarse.heights)
    low, high = coarse.heights[seen].min(), coarse.heights[seen].max()
    heights = np.where(seen, coarse.heights, low)
    levels = np.linspace(low, high, count + 2)[1:-1]
    return [_rings(coarse, heights, level, low) for level in levels] if high > low else []


def _coarse(field: HeightField) -> HeightField:
    """Take the highest of neighbouring cells together; -inf where nothing stands."""
    grid = field.grid
    step = max(1, -(-max(grid.nx, grid.ny) // MOST_CELLS))
    rows, columns = -(-grid.ny // step), -(-grid.nx // step)
    padded = np.full((rows * step, columns * step), -np.inf)
    padded[: grid.ny, : grid.nx] = np.where(np.isfinite(field.heights), field.heights, -np.inf)
    heights = padded.reshape(rows, step, columns, step).max(axis=(1, 3))
    half = (step - 1) / 2 * grid.pitch
    joined = grid._replace(
        x0=grid.x0 + half, y0=grid.y0 + half, pitch=step * grid.pitch, nx=columns, ny=rows
    )
    return HeightField(grid=joined, heights=heights)


def _rings(field: HeightField, heights: Heights, level: float, beyond: float) -> list[Floats]:
    """Return closed lines of a height; outside the block it is `beyond`, which is lower."""
    grid = field.grid
    x = np.concatenate([[grid.x[0] - grid.pitch], grid.x, [grid.x[-1] + grid.pitch]])
    y = np.concatenate([[grid.y[0] - grid.pitch], grid.y, [grid.y[-1] + grid.pitch]])
    edged = np.pad(heights, 1, constant_values=beyond)
    lines = contourpy.contour_generator(x, y, edged, line_type=contourpy.LineType.Separate)
    rings = [np.asarray(ring, dtype=np.float64) for ring in lines.lines(level)]
    return [ring for ring in rings if len(ring) > 3]
