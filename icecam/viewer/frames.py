"""Key frames of the ice: the block at moments spread evenly over the cutting work.

Takes stages of a result, gives for each moment the tiles of cells that changed since the one
before. The page copies a frame and carves the moves since it by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, inf, pi, sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField, Heights, cells
from icecam.geometry.sweeping import TILE, sweep_rows
from icecam.kernels.compiled import STRIPES, each_of
from icecam.kernels.profile import Profile
from icecam.kernels.tiles import fallen_tiles
from icecam.paths.toolpath import CUT, RAPID, Toolpath

MOST_CELLS: Final = 2_000_000
MOST_ALONG: Final = 2048
"""Cells along a side: every WebGL2 takes textures so wide."""
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
    whole = _tiled(np.uint16(full) - stored)
    spans = _spans(cuts, ice.grid)
    ways = [
        _Way(np.concatenate([path.start[None], path.ends]), path.kind == RAPID, cutting)
        for path, cutting, _ in cuts
    ]
    block = _Block(ice.grid, ice.heights.copy(), stored, step)
    edges = [rows * nth // STRIPES for nth in range(STRIPES + 1)]
    found = each_of(list(pairwise(edges)), lambda ends: _carved(block, ends, ways, spans))
    frames = list(zip(*(stripe.frames for stripe in found), strict=True))
    return Frames(
        grid=ice.grid,
        step=step,
        across=across,
        moves=np.array([0, *(span.done for span in spans)]),
        counts=np.array([len(whole), *(sum(len(part.tiles) for part in one) for one in frames)]),
        tiles=np.concatenate(
            [np.arange(rows * across), *(part.tiles for one in frames for part in one)]
        ),
        drops=np.concatenate([whole, *(part.lost for one in frames for part in one)]),
        takes=np.logical_or.reduce([stripe.takes for stripe in found]),
    )


class _Span(NamedTuple):
    """Moves from one frame to the next: those of a stage, how many are done at their end of all.

    rows, columns : first and last tile that they may change, half-open
    """

    stage: int
    first: int
    last: int
    done: int
    rows: tuple[int, int]
    columns: tuple[int, int]


class _Way(NamedTuple):
    """The way of a stage as carving takes it: points (n + 1, 3) mm, which moves cut nothing."""

    points: NDArray[np.float64]
    rapid: NDArray[np.bool_]
    cutting: Profile


class _Block(NamedTuple):
    """The block while it is carved: heights (mm), and in whole steps as last stored."""

    grid: Grid
    heights: Heights
    stored: NDArray[np.uint16]
    step: float


class _Fallen(NamedTuple):
    """Tiles that changed from one frame to the next, and steps that their cells lost."""

    tiles: NDArray[np.int64]
    lost: NDArray[np.uint16]


class _Stripe(NamedTuple):
    """What happened in some rows of tiles: at each frame, and which moves lowered a cell."""

    frames: list[_Fallen]
    takes: NDArray[np.bool_]


def _spans(cuts: Sequence[Cut], grid: Grid) -> list[_Span]:
    """Find the spans of moves that cut."""
    spans, before = [], 0
    for nth, (cut, edges) in enumerate(zip(cuts, _edges(cuts, grid.pitch), strict=True)):
        for first, last in pairwise(edges):
            window = _window(cut.path.part(first, last), cut.cutting.radius, grid)
            if window is not None:
                spans.append(_Span(nth, first, last, before + last, *window))
        before += len(cut.path)
    return spans


def _carved(
    block: _Block, rows: tuple[int, int], ways: Sequence[_Way], spans: Sequence[_Span]
) -> _Stripe:
    """Carve some rows of tiles from frame to frame; nothing beyond them is touched or looked at."""
    low, high = rows
    grid, heights, stored, step = block
    shape = stored.shape[0] // TILE, stored.shape[1] // TILE
    tops = np.full(shape, -inf)
    numbers = np.empty((high - low) * shape[1], dtype=np.int64)
    lost = np.empty((len(numbers), TILE, TILE), dtype=np.uint16)
    fallen_tiles(heights, step, TILE, (low, high, 0, shape[1]), stored, tops, numbers, lost)
    inside = low * TILE, min(high * TILE, grid.ny)
    takes = [np.zeros(len(way.rapid), dtype=np.bool_) for way in ways]
    frames = []
    for stage, first, last, _, (south, north), columns in spans:
        window = max(south, low), min(north, high)
        if window[0] >= window[1]:
            frames.append(_Fallen(numbers[:0], lost[:0]))
            continue
        points, rapid, cutting = ways[stage]
        some = points[first : last + 1], rapid[first:last]
        met = sweep_rows(heights, grid, inside, *some, cutting, tops)
        takes[stage][first:last] = met[0] > 0
        count = fallen_tiles(heights, step, TILE, (*window, *columns), stored, tops, numbers, lost)
        frames.append(_Fallen(numbers[:count].copy(), lost[:count].copy()))
    return _Stripe(frames, np.concatenate(takes))


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


def _window(
    part: Toolpath, radius: float, grid: Grid
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """Rows and columns of tiles within `radius` of the cutting moves; None if none cuts."""
    cutting = part.kind == CUT
    if not cutting.any():
        return None
    ends = np.concatenate([part.begins[cutting], part.ends[cutting]])
    low, high = ends.min(axis=0) - radius, ends.max(axis=0) + radius

    def span(first: float, last: float, origin: float, count: int) -> tuple[int, int]:
        begin = floor((first - origin) / grid.pitch / TILE)
        end = ceil(((last - origin) / grid.pitch + 1) / TILE)
        return max(0, begin), min(ceil(count / TILE), end)

    rows = span(low[1], high[1], grid.y0, grid.ny)
    columns = span(low[0], high[0], grid.x0, grid.nx)
    return (rows, columns) if rows[0] < rows[1] and columns[0] < columns[1] else None


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
