"""Rows of a finishing bit over marked tips: along X, or along Y where that takes less time."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, Heights
from icecam.paths.finishing import TILTED, Need, slope_along
from icecam.paths.pieces import Pieces, joined, pieces_of
from icecam.paths.ways import Going

TURN_S: Final = 0.25
"""From the end of a row to the beginning of the next: a stop, a stepover aside, a start."""
SQUARE_MM: Final = 5.0
"""Squares of ground whose times are added up."""
AROUND_MM: Final = 20.0
"""A square goes with those around it (standard deviation): each change ends rows."""

Marks = NDArray[np.bool_]


def sweeps(
    need: Need, where: Marks, *, first_row: int, every: int, gap: float, cliff: float
) -> Pieces:
    """Rows along X over the marked tips, broken at cliffs and where the bit is not free.

    first_row, every : nodes to the first row and from row to row
    gap : mm, holes in a row up to this long are passed at feed
    cliff : mm from node to node
    """
    rows = np.arange(first_row, need.grid.ny, every)
    if len(rows) == 0:
        return pieces_of([])
    holes = max(1, round(gap / need.grid.pitch))
    row, first, last = _runs(where[rows], holes)
    # a node more at both ends, so that the bit goes on to where it takes nothing
    first, last = np.maximum(first - 1, 0), np.minimum(last + 1, need.grid.nx)
    counts = last - first
    begins = np.cumsum(counts) - counts
    j = np.repeat(rows[row], counts)
    i = np.arange(counts.sum()) - np.repeat(begins - first, counts)
    z, free = need.tips[j, i], need.free[j, i]
    fresh = np.zeros(len(i), dtype=np.bool_)
    fresh[begins] = True
    broken = fresh | ~free | ~np.roll(free, 1) | (np.abs(z - np.roll(z, 1)) > cliff)
    points = np.column_stack(
        [need.grid.x0 + i * need.grid.pitch, need.grid.y0 + j * need.grid.pitch, z]
    )
    number = np.cumsum(broken)
    long = free & (np.bincount(number)[number] > 1)
    starts = np.flatnonzero(np.diff(number[long], prepend=-1))
    return Pieces(points=points[long], starts=np.append(starts, long.sum()).astype(np.int64))


def _runs(mask: Marks, gap: int) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Row, first and last column (half-open) of the runs of marks, gaps of up to `gap` closed."""
    row, column = np.nonzero(mask)
    apart = (np.diff(row, prepend=-1) != 0) | (np.diff(column, prepend=0) > gap + 1)
    begins = np.flatnonzero(apart)
    ends = np.append(begins[1:], len(row)) - 1
    return row[begins], column[begins], column[ends[: len(begins)]] + 1


def sets_of_sweeps(
    need: Need, where: Marks, *, every: int, gap: float, cliff: float
) -> list[Pieces]:
    """Rows along X over the marked tips, in sets of which each may spare some of the next.

    Every other row; those between them; between all these, where the surface falls away across the
    rows by more than `TILTED`.

    every, gap, cliff : see `sweeps`
    """
    tilted = where & (slope_along(need.tips, need.grid.pitch, axis=0) > TILTED)
    sets = (where, 0, 2 * every), (where, every, 2 * every), (tilted, every // 2, every)
    return [
        sweeps(need, marks, first_row=first, every=apart, gap=gap, cliff=cliff)
        for marks, first, apart in sets
    ]


def quickest_sweeps(
    need: Need, where: Marks, going: Going, *, every: int, gap: float, cliff: float
) -> list[Pieces]:
    """Do the same along X or Y, whichever takes less time where they lie.

    Where both meet, rows go on for half the way from row to row, so that cusps are no higher there.
    """
    turned, marked = _changed_over(need), np.ascontiguousarray(where.T)
    more = _seconds(turned, marked, going).T - _seconds(need, where, going)
    along_y = _around(more, need.grid) < 0.0
    beyond = np.ones((1, 2 * (every // 2) + 1), dtype=np.bool_)
    in_x, in_y = (
        sets_of_sweeps(
            part, marks & ndimage.binary_dilation(own, beyond), every=every, gap=gap, cliff=cliff
        )
        for part, marks, own in ((need, where, ~along_y), (turned, marked, along_y.T))
    )
    turned_back = [replace(rows, points=rows.points[:, [1, 0, 2]]) for rows in in_y]
    return [joined(both) for both in zip(in_x, turned_back, strict=True)]


def _changed_over(need: Need) -> Need:
    """Return the same with X for Y."""
    g = need.grid
    return Need(
        grid=Grid(g.y0, g.x0, g.pitch, g.ny, g.nx),
        tips=np.ascontiguousarray(need.tips.T),
        free=np.ascontiguousarray(need.free.T),
        bite=need.bite.T,
        depth=need.depth.T,
    )


def _seconds(need: Need, where: Marks, going: Going) -> Heights:
    """Seconds that rows along X through all nodes take, in squares of the ground."""
    tips, pitch, (j, i) = need.tips, need.grid.pitch, np.nonzero(where)
    before, after = np.maximum(i - 1, 0), np.minimum(i + 1, need.grid.nx - 1)
    down, up = tips[j, i] - tips[j, before], tips[j, after] - tips[j, i]
    along = np.hypot(pitch, np.fmax(np.abs(down), np.abs(up))) / going.feed
    bumps = np.sqrt(np.abs(up - down) / going.acceleration[1])
    run = np.cumsum(~where[j, before] | (i == 0)) - 1
    turns = TURN_S / np.bincount(run)[run]
    closer = slope_along(tips, pitch, axis=0)[where] > TILTED
    # at a wall the bit stops and climbs
    seconds = (np.fmin(np.fmax(along, bumps), TURN_S) + turns) * (1 + closer)
    side = _side(need.grid)
    rows, columns = (-(-size // side) for size in where.shape)
    square = j // side * columns + i // side
    found: Heights = np.bincount(square, seconds, rows * columns).astype(np.float64)
    return found.reshape(rows, columns)


def _side(grid: Grid) -> int:
    """Nodes along the side of a square."""
    return max(1, round(SQUARE_MM / grid.pitch))


def _around(squares: Heights, grid: Grid) -> Heights:
    """Return sums over what lies around each node of a grid, of sums over squares."""
    side = _side(grid)
    smooth = ndimage.gaussian_filter(squares, AROUND_MM / (side * grid.pitch), mode="constant")
    return smooth.repeat(side, axis=0).repeat(side, axis=1)[: grid.ny, : grid.nx]
