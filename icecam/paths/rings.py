"""Level rings: where the tip of a bit, at one height, runs round steep ice.

Lines of equal tip height are found on the grid, then each of their points is moved along its grid
edge to the exact place, so that a wall between two nodes is met and not guessed.
"""

from collections.abc import Callable, Iterator
from typing import Final

import contourpy
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, Heights
from icecam.paths.pieces import Pieces, numbers_in, pieces_of, runs_of

CLOSE_MM: Final = 0.004
"""Points of a ring are known to this, on the side away from the sculpture."""
ROUNDS: Final = 18
GAP: Final = 4
"""Points of a ring far from any mark that do not part it."""

Marks = NDArray[np.bool_]
Rest = Callable[[NDArray[np.float64]], Heights]


def rings(
    tips: Heights,
    grid: Grid,
    regions: NDArray[np.int32],
    useful: NDArray[np.bool_],
    holder: Heights,
    step: float,
    rest: Rest,
) -> Pieces:
    """Level rings of all steep regions.

    Parameters
    ----------
    tips, grid : tip heights (ny, nx), mm
    regions : number of the steep region at each node, 0 for none
    useful : nodes where the bit finds ice
    holder : lowest tip heights at which shank, nut and spindle are clear
    step : mm between levels
    rest : exact tip heights at points (n, 2)
    """
    near = ndimage.maximum_filter(useful, size=5)
    z: list[float] = []
    lines: list[NDArray[np.float64]] = []
    for number, window in enumerate(ndimage.find_objects(regions), start=1):
        if window is None:
            continue
        here = tuple(slice(max(s.start - 2, 0), s.stop + 2) for s in window)
        inside = ndimage.binary_dilation(regions[here] == number, iterations=2)
        corner = np.array([here[1].start, here[0].start])
        for level, line in _near_marks(tips[here], inside, near[here], step):
            z.append(level)
            lines.append(line + corner)
    if not lines:
        return pieces_of([])
    starts = np.concatenate([[0], np.cumsum([len(line) for line in lines])])
    nodes, heights = np.concatenate(lines), np.repeat(z, np.diff(starts))
    column, row = np.rint(nodes).astype(np.intp).T
    closed = np.zeros(len(nodes), dtype=np.bool_)
    closed[numbers_in(*runs_of(starts, near[row, column], GAP))[0]] = True
    first, last = runs_of(starts, closed & (holder[row, column] <= heights), 0)
    long = last - first > 1
    kept, starts = numbers_in(first[long], last[long])
    points = _exactly(nodes[kept], heights[kept], tips, grid, rest)
    return Pieces(points=points, starts=starts)


def needed(points: Heights, step: float, deepest: Heights, rest: Rest) -> Marks:
    """Mark the ring points (n, 3) that the ring below does not spare.

    Where a wall falls straight down, as below an overhang, a ring takes the skin over it as well:
    there one in `deepest` (n,) mm of height is enough, and one at the foot.

    step : mm between levels; rest : exact tip heights at points (n, 2)
    """
    every = np.maximum(1, (deepest / step).astype(np.int64))
    number = np.rint(points[:, 2] / step).astype(np.int64)
    foot = points[:, 2] - rest(points[:, :2]) <= step
    marks: Marks = foot | (number % every == 0)
    return marks


def _near_marks(
    tips: Heights, inside: Marks, near: Marks, step: float
) -> Iterator[tuple[float, NDArray[np.float64]]]:
    """Heights of rings of one region, and their points (n, 2) as column and row.

    Lines are drawn only so far from the marks as gaps between them are closed.
    """
    # from a marked node to the middle of a gap there are so many squares
    drawn = inside & ndimage.maximum_filter(inside & near, size=2 * (GAP // 2 + 1) + 1)
    labels, _ = ndimage.label(drawn)
    for number, here in enumerate(ndimage.find_objects(labels), start=1):
        part = labels[here] == number
        high, low = float(tips[here][part].max()), float(tips[here][part].min())
        levels = step * np.arange(np.ceil(high / step) - 1, np.floor(low / step), -1)
        if len(levels) == 0 or min(part.shape) < 2:
            continue
        drawing = contourpy.contour_generator(
            z=np.ma.masked_array(tips[here], ~part), name="serial", corner_mask=False
        )
        corner = np.array([here[1].start, here[0].start])
        for z in levels.tolist():
            for line in drawing.lines(z):
                yield z, np.asarray(line, dtype=np.float64) + corner


def _exactly(
    nodes: NDArray[np.float64],
    heights: Heights,
    tips: Heights,
    grid: Grid,
    rest: Rest,
) -> NDArray[np.float64]:
    """Points (n, 3) on the lower side of where the tip height crosses `heights`.

    nodes : (n, 2) column and row of points on grid edges; false position, the lower end kept
    """
    a, b = np.floor(nodes + 1e-9).astype(np.intp), np.ceil(nodes - 1e-9).astype(np.intp)
    at_a, at_b = tips[a[:, 1], a[:, 0]], tips[b[:, 1], b[:, 0]]
    swap = (at_a > at_b)[:, None]
    origin = np.array([grid.x0, grid.y0])
    low = origin + grid.pitch * np.where(swap, b, a)
    high = origin + grid.pitch * np.where(swap, a, b)
    under, over = np.minimum(at_a, at_b) - heights, np.maximum(at_a, at_b) - heights
    open_ = np.flatnonzero(over > 0)
    for turn in range(ROUNDS):
        # aimed at the lower side, where one step is enough if the surface is straight
        aim = under[open_] + CLOSE_MM / 2
        share = aim / np.minimum(under[open_] - over[open_], -1e-12)
        if turn % 2 == 1:
            share = np.full(len(open_), 0.5)
        point = low[open_] + np.clip(share, 0.02, 0.98)[:, None] * (high[open_] - low[open_])
        off = rest(point) - heights[open_]
        above = off > 0
        high[open_[above]], over[open_[above]] = point[above], off[above]
        low[open_[~above]], under[open_[~above]] = point[~above], off[~above]
        apart = np.linalg.norm(high[open_] - low[open_], axis=1)
        open_ = open_[(apart > CLOSE_MM) & (under[open_] < -CLOSE_MM)]
        if len(open_) == 0:
            break
    return np.column_stack([low, heights])
