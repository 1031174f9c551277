"""Key frames of the ice: the block at moments spread evenly over the cutting work.

Takes stages of a result, gives for each moment the tiles of cells that changed since the one
before. The page copies a frame and carves the moves since it by itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, inf, pi, sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField, cells
from icecam.kernels.profile import Profile
from icecam.paths.toolpath import CUT, Toolpath
from icecam.prove.carving import carve

MOST_CELLS: Final = 2_000_000
MOST_ALONG: Final = 2048
"""Cells along a side: every WebGL2 takes textures so wide."""
TILE: Final = 16
MOST_FRAMES: Final = 800
WORK: Final = 320_000
"""Cells that the page lowers between two frames, about: some 8 ms."""
LOOK: Final = 0.2
"""Work of a cell within the bit's radius that is seen to be free, over one that is lowered."""
MOST_STEPS: Final = 65_000
LEAST_STEP_MM: Final = 0.005
"""Heights are whole numbers of steps: as fine as this, unless the block is so high that there
would be more than `MOST_STEPS`."""


class Cut(NamedTuple):
    """What carving needs of a stage; depth (n,): the most a move takes off at one place, mm."""

    path: Toolpath
    cutting: Profile
    depth: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Key frames of a job.

    grid : cells of the page
    step : mm, unit of heights
    moves : (f,) int64, moves done at each frame, over all stages; the first is 0
    counts : (f,) int64, tiles that changed since the frame before; all of them in the first
    tiles : (v,) int64, which: row by row, `across` in a row
    drops : (v, TILE, TILE) uint16, steps that each cell lost since the frame before; in the first
        since the full height. Cells beyond the grid lose nothing
    takes : (n,) bool, moves that lower a cell; the page skips the others
    """

    grid: Grid
    step: float
    across: int
    moves: NDArray[np.int64]
    counts: NDArray[np.int64]
    tiles: NDArray[np.int64]
    drops: NDArray[np.uint16]
    takes: NDArray[np.bool_]


def grid_for(ice: HeightField, size: tuple[float, float, float]) -> Grid:
    """Return the proof's cells, or coarser ones if they are too many for the page."""
    x, y, _ = size
    least = max(sqrt(x * y / MOST_CELLS), max(x, y) / (MOST_ALONG - TILE))
    return ice.grid if least <= ice.grid.pitch else cells((x, y), ceil(least * 100) / 100)


def on_grid(field: HeightField, grid: Grid) -> HeightField:
    """Return a field by its nearest nodes, or as it is on its own grid."""
    if field.grid == grid:
        return field
    rows, columns = field.grid.nearest(
        *(axis.ravel() for axis in np.broadcast_arrays(grid.x[None, :], grid.y[:, None]))
    )
    return HeightField(grid=grid, heights=field.heights[rows, columns].reshape(grid.ny, grid.nx))


def key_frames(ice: HeightField, cuts: Sequence[Cut], top: float) -> Frames:
    """Carve the block once more and keep it at moments spread over the work.

    Parameters
    ----------
    ice : before the first move, on the grid of the page
    cuts : the stages, in the order they run
    top : mm, height of the block
    """
    full = min(MOST_STEPS, ceil(top / LEAST_STEP_MM))
    step = top / full
    rows, across = ceil(ice.grid.ny / TILE), ceil(ice.grid.nx / TILE)
    stored = np.full((rows * TILE, across * TILE), full, dtype=np.uint16)
    stored[: ice.grid.ny, : ice.grid.nx] = np.rint(ice.heights / step)
    drops = [_tiled(np.uint16(full) - stored)]
    tiles = [np.arange(rows * across)]
    moves = [0]
    heights = ice.heights.copy()
    takes = np.zeros(sum(len(cut.path) for cut in cuts), dtype=np.bool_)
    for done, window in _windows(heights, ice.grid, cuts, takes):
        moves.append(done)
        changed, lost = _changes(stored, heights, window, step)
        tiles.append(changed)
        drops.append(lost)
    return Frames(
        grid=ice.grid,
        step=step,
        across=across,
        moves=np.array(moves),
        counts=np.array([len(some) for some in tiles]),
        tiles=np.concatenate(tiles),
        drops=np.concatenate(drops),
        takes=takes,
    )


def _windows(
    heights: NDArray[np.float64],
    grid: Grid,
    cuts: Sequence[Cut],
    takes: NDArray[np.bool_],
) -> Iterator[tuple[int, tuple[slice, slice]]]:
    """Carve `heights` from frame to frame; gives moves done, rows and columns that may change.

    Writes to `takes` which moves lower a cell.
    """
    before = 0
    for cut, edges in zip(cuts, _edges(cuts, grid.pitch), strict=True):
        for first, last in pairwise(edges):
            part = cut.path.part(first, last)
            window = _window(part, cut.cutting.radius, grid)
            if window is not None:
                rows, columns = window
                field = HeightField(grid=grid, heights=heights).part(rows, columns)
                carved = carve(field, part, cut.cutting)
                heights[rows, columns] = carved.ice.heights
                takes[before + first : before + last] = carved.removed > 0
                yield before + last, window
        before += len(cut.path)


def _edges(cuts: Sequence[Cut], pitch: float) -> list[list[int]]:
    """Find the moves of each stage at which frames begin and end, by even shares of the work."""
    works = [_work(cut, pitch) for cut in cuts]
    total = float(sum(work.sum() for work in works))
    share = max(WORK, total / (MOST_FRAMES - len(cuts) - 1))
    edges = []
    for work in works:
        behind = np.cumsum(work)
        inner = np.searchsorted(behind, np.arange(share, behind[-1], share)) + 1
        edges.append(np.unique([0, *inner.tolist(), len(work)]).tolist())
    return edges


def _work(cut: Cut, pitch: float) -> NDArray[np.float64]:
    """Cells that each cutting move lowers, and a share of those it looks at; 0 for rapids."""
    steps = cut.path.ends - cut.path.begins
    plan = np.hypot(steps[:, 0], steps[:, 1])
    wide, cuts = cut.cutting.radius, _reach(cut.cutting, cut.depth)
    lowered = 2 * cuts * plan + pi * cuts * cuts
    looked = 2 * wide * plan + pi * wide * wide
    work = (lowered + LOOK * looked) / pitch**2
    return np.where(cut.path.kind == CUT, work, 0.0)


def _reach(profile: Profile, depth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Axis distance at which the profile is `depth` high, at most its radius; 0 for no depth."""
    short = np.maximum(profile.corner - depth, 0.0)
    reach = profile.flat + np.sqrt(profile.corner**2 - short**2)
    if profile.flank < inf:
        over = np.maximum(depth - profile.rim_height, 0.0)
        reach = np.where(over > 0, profile.rim + over / profile.flank, reach)
    return np.where(depth > 0, np.minimum(reach, profile.radius), 0.0)


def _window(part: Toolpath, radius: float, grid: Grid) -> tuple[slice, slice] | None:
    """Rows and columns within `radius` of the cutting moves, in whole tiles; None if none cuts."""
    cutting = part.kind == CUT
    if not cutting.any():
        return None
    ends = np.concatenate([part.begins[cutting], part.ends[cutting]])
    low, high = ends.min(axis=0) - radius, ends.max(axis=0) + radius

    def span(first: float, last: float, origin: float, count: int) -> slice | None:
        begin = max(0, floor((first - origin) / grid.pitch / TILE) * TILE)
        end = min(count, ceil(((last - origin) / grid.pitch + 1) / TILE) * TILE)
        return slice(begin, end) if begin < end else None

    rows = span(low[1], high[1], grid.y0, grid.ny)
    columns = span(low[0], high[0], grid.x0, grid.nx)
    return None if rows is None or columns is None else (rows, columns)


def residues(drops: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Return what a plane through three neighbours does not foretell of tiles (v, n, n).

    The cell to the left, the one below, less the one between them, taken off each cell; 0 beside
    the tile. Counted modulo 2^16, with the sign in the lowest bit, so small either way.

    >>> residues(np.array([[[3, 5], [4, 5]]], dtype=np.uint16)).tolist()
    [[[6, 4], [2, 1]]]
    """
    rest = drops.astype(np.int16)
    rest[:, :, 1:] -= rest[:, :, :-1].copy()
    rest[:, 1:, :] -= rest[:, :-1, :].copy()
    return ((rest << 1) ^ (rest >> 15)).view(np.uint16)


def _tiled(heights: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Return whole tiles (n, TILE, TILE), row by row."""
    ny, nx = heights.shape
    parts = heights.reshape(ny // TILE, TILE, nx // TILE, TILE)
    return np.ascontiguousarray(parts.transpose(0, 2, 1, 3)).reshape(-1, TILE, TILE)


def _changes(
    stored: NDArray[np.uint16],
    heights: NDArray[np.float64],
    window: tuple[slice, slice],
    step: float,
) -> tuple[NDArray[np.int64], NDArray[np.uint16]]:
    """Tiles of the window that fell since they were stored, and by how much; stores them."""
    rows, columns = window
    down, right = ceil(rows.stop / TILE) * TILE, ceil(columns.stop / TILE) * TILE
    old = stored[rows.start : down, columns.start : right]
    new = old.copy()
    new[: rows.stop - rows.start, : columns.stop - columns.start] = np.rint(
        heights[rows, columns] / step
    )
    lost = _tiled(old - new)
    stored[rows.start : down, columns.start : right] = new
    changed = np.flatnonzero(lost.reshape(len(lost), -1).any(axis=1))
    wide = (right - columns.start) // TILE
    j, i = np.divmod(changed, wide)
    across = stored.shape[1] // TILE
    return (j + rows.start // TILE) * across + i + columns.start // TILE, lost[changed]
