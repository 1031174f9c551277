"""Level rings: where the tip of a bit, at one height, runs round steep ice.

Lines of equal tip height are found on the grid, then each of their points is moved along its grid
edge to the exact place, so that a wall between two nodes is met and not guessed.
"""

from collections.abc import Callable
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

Rest = Callable[[NDArray[np.float64]], Heights]


def rings(
    tips: Heights,
    grid: Grid,
    regions: NDArray[np.int32],
    useful: NDArray[np.bool_],
    holder: Heights,
    step: float,
    rest: Rest,
) -> list[list[Pieces]]:
    """Rings of each steep region, region by region, level by level from the top.

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
    found = []
    for label, window in enumerate(ndimage.find_objects(regions), start=1):
        if window is None:
            continue
        rows, columns = (slice(max(s.start - 2, 0), s.stop + 2) for s in window)
        inside = ndimage.binary_dilation(regions[rows, columns] == label, iterations=2)
        if not (inside & near[rows, columns]).any():
            continue
        part = Grid(
            grid.x0 + columns.start * grid.pitch, grid.y0 + rows.start * grid.pitch,
            grid.pitch, inside.shape[1], inside.shape[0],
        )  # fmt: skip
        here = (rows, columns)
        found.append(_in_region(tips[here], part, inside, near[here], holder[here], step, rest))
    return found


def _in_region(
    tips: Heights,
    grid: Grid,
    inside: NDArray[np.bool_],
    near: NDArray[np.bool_],
    holder: Heights,
    step: float,
    rest: Rest,
) -> list[Pieces]:
    """Rings of one region by level, the highest first."""
    lines = contourpy.contour_generator(
        z=np.ma.masked_array(tips, ~inside), name="serial", corner_mask=False
    )
    high, low = float(tips[inside].max()), float(tips[inside].min())
    arcs: list[tuple[float, NDArray[np.float64]]] = []
    for z in np.arange(np.ceil(high / step) * step - step, low, -step):
        for drawn in lines.lines(float(z)):
            line = np.asarray(drawn, dtype=np.float64)
            column, row = np.rint(line).astype(np.intp).T
            clear = holder[row, column] <= z
            for first, last in runs_of(near[row, column], 4):
                arcs += [
                    (float(z), line[first + a : first + b])
                    for a, b in runs_of(clear[first:last], 0)
                    if b - a > 1
                ]
    if not arcs:
        return []
    counts = [len(arc) for _, arc in arcs]
    nodes = np.concatenate([arc for _, arc in arcs])
    exact = _exactly(nodes, np.repeat([z for z, _ in arcs], counts), tips, grid, rest)
    levels: dict[float, list[NDArray[np.float64]]] = {}
    for (z, _), end, count in zip(arcs, np.cumsum(counts), counts, strict=True):
        levels.setdefault(z, []).append(exact[end - count : end])
    return [pieces_of(levels[z]) for z in sorted(levels, reverse=True)]


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
        share = under[open_] / np.minimum(under[open_] - over[open_], -1e-12)
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
