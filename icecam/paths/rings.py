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
from icecam.paths.pieces import Pieces, pieces_of, runs_of

CLOSE_MM: Final = 0.004
"""Points of a ring are known to this, on the side away from the sculpture."""
ROUNDS: Final = 18

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
    levels: list[float] = []
    arcs: list[NDArray[np.float64]] = []
    for label, window in enumerate(ndimage.find_objects(regions), start=1):
        if window is None:
            continue
        here = tuple(slice(max(s.start - 2, 0), s.stop + 2) for s in window)
        inside = ndimage.binary_dilation(regions[here] == label, iterations=2)
        if not (inside & near[here]).any():
            continue
        corner = np.array([here[1].start, here[0].start])
        for z, arc in _in_region(tips[here], inside, near[here], holder[here], step):
            levels.append(z)
            arcs.append(arc + corner)
    if not arcs:
        return pieces_of([])
    counts = [len(arc) for arc in arcs]
    points = _exactly(np.concatenate(arcs), np.repeat(levels, counts), tips, grid, rest)
    return Pieces(points=points, starts=np.concatenate([[0], np.cumsum(counts)]))


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


def _in_region(
    tips: Heights,
    inside: NDArray[np.bool_],
    near: NDArray[np.bool_],
    holder: Heights,
    step: float,
) -> Iterator[tuple[float, NDArray[np.float64]]]:
    """Heights of rings of one region, and their nodes (n, 2) as column and row."""
    lines = contourpy.contour_generator(
        z=np.ma.masked_array(tips, ~inside), name="serial", corner_mask=False
    )
    high, low = float(tips[inside].max()), float(tips[inside].min())
    for z in np.arange(np.ceil(high / step) * step - step, low, -step):
        for drawn in lines.lines(float(z)):
            line = np.asarray(drawn, dtype=np.float64)
            column, row = np.rint(line).astype(np.intp).T
            clear = holder[row, column] <= z
            for first, last in runs_of(near[row, column], 4):
                for a, b in runs_of(clear[first:last], 0):
                    if b - a > 1:
                        yield float(z), line[first + a : first + b]


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
