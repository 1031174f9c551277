"""Level rings: where the tip of a bit, at one height, runs round steep ice.

Lines of equal tip height are found on the grid, then each of their points is moved along its grid
edge to the exact place, so that a wall between two nodes is met and not guessed.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import contourpy
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, Heights
from icecam.paths.pieces import Pieces, near_marks, numbers_in, runs_of
from icecam.paths.resting import Rest

CLOSE_MM: Final = 0.004
"""Points of a ring are known to this, on the side away from the sculpture."""
ROUNDS: Final = 18
WALL: Final = 50.0
"""Rise of the tip over way from which on it is taken to jump somewhere on it."""
GUESSED: Final = 6
"""Rounds in which the place is guessed from the tips at both ends; then ways are halved."""
GAP: Final = 4
"""Points of a ring far from any mark that do not part it."""
RING_GAP: Final = 6
"""Points of a ring that take no ice, and are passed at feed between two that do."""
ASKED: Final = 2
"""Rounds before which it is asked whether ice may be taken; afterwards little more is spared."""
CHORD_MM: Final = 0.02
"""How far a straight move from point to point of a ring may go below the tip where it rests."""

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]
Takes = Callable[[Floats, Floats, Heights], Marks]


class Found(NamedTuple):
    """Rings, and how high the tip stands where it rests at each of their points, mm.

    What lies lower than the ring below one counts as far below.
    """

    rings: Pieces
    tips: Heights


def rings(crossings: "Crossings", step: float, rest: Rest, takes: Takes) -> Found:
    """Level rings found exactly, but for what is sure to take no ice.

    Parameters
    ----------
    step : mm between levels
    rest : exact tip heights at points
    takes : whether a tip may take ice anywhere between two points (n, 2) at a height (n,); of what
        is left out no point would, and none that is nearer to one that may than `RING_GAP` and one
    """
    found = crossings
    for turn in range(ROUNDS):
        if turn < ASKED:
            found = found.some(takes(found.low, found.high, found.z))
        if not found.open.any():
            break
        found = _nearer(found, turn, 2 * step, rest)
    points = np.column_stack([found.low, found.z])
    return Found(Pieces(points=points, starts=found.starts), found.z + found.under)


def needed(points: Heights, step: float, deepest: Heights, tips: Heights) -> Marks:
    """Mark the ring points (n, 3) that the ring below does not spare.

    Where a wall falls straight down, as below an overhang, a ring takes the skin over it as well:
    there one in `deepest` (n,) mm of height is enough, and one at the foot.

    step : mm between levels; tips : exact tip heights at the points (n,)
    """
    every = np.maximum(1, (deepest / step).astype(np.int64))
    number = np.rint(points[:, 2] / step).astype(np.int64)
    marks: Marks = (points[:, 2] - tips <= step) | (number % every == 0)
    return marks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Rings whose points lie somewhere on straight ways, between where the tip is lower and higher.

    starts : of the rings, as in `Pieces`; z (points,) : their heights
    low, high (points, 2) : the ends of the ways; under, over (points,) : tips there, above z
    """

    starts: NDArray[np.int64]
    z: Heights
    low: Floats
    high: Floats
    under: Heights
    over: Heights

    @property
    def open(self) -> Marks:
        """Points that are not yet known well enough."""
        apart = np.linalg.norm(self.high - self.low, axis=1)
        marks: Marks = (apart > CLOSE_MM) & (self.under < -CLOSE_MM)
        return marks

    def some(self, marks: Marks) -> "Crossings":
        """Return the stretches with marks, with what lies between them and one point more."""
        return self.parts(*near_marks(self.starts, marks, RING_GAP))

    def parts(self, first: NDArray[np.intp], last: NDArray[np.intp]) -> "Crossings":
        """Return those of these stretches of points, half-open, that are longer than a point."""
        long = last - first > 1
        kept, starts = numbers_in(first[long], last[long])
        return Crossings(
            starts=starts,
            z=self.z[kept],
            low=self.low[kept],
            high=self.high[kept],
            under=self.under[kept],
            over=self.over[kept],
        )


def crossings_of(
    tips: Heights,
    grid: Grid,
    regions: NDArray[np.int32],
    useful: Marks,
    holder: Heights,
    step: float,
) -> Crossings:
    """Find where level rings of all steep regions cross edges of the grid.

    tips, grid : tip heights (ny, nx), mm
    regions : number of the steep region at each node, 0 for none
    useful : nodes where the bit finds ice; rings go near them alone
    holder : lowest tip heights at which shank, nut and spindle are clear
    step : mm between levels
    """
    near = ndimage.maximum_filter(useful, size=5)
    levels: list[float] = []
    lines: list[Floats] = [np.zeros((0, 2))]
    for number, window in enumerate(ndimage.find_objects(regions), start=1):
        if window is None:
            continue
        here = tuple(slice(max(s.start - 2, 0), s.stop + 2) for s in window)
        inside = ndimage.binary_dilation(regions[here] == number, iterations=2)
        corner = np.array([here[1].start, here[0].start])
        for level, line in _near_marks(tips[here], inside, near[here], step):
            levels.append(level)
            lines.append(line + corner)
    counts = [len(line) for line in lines[1:]]
    starts = np.cumsum([0, *counts])
    nodes, z = np.concatenate(lines), np.repeat(np.array(levels), counts)
    column, row = np.rint(nodes).astype(np.intp).T
    closed = np.zeros(len(nodes), dtype=np.bool_)
    closed[numbers_in(*runs_of(starts, near[row, column], GAP))[0]] = True
    a, b = np.floor(nodes + 1e-9).astype(np.intp), np.ceil(nodes - 1e-9).astype(np.intp)
    swap = (tips[a[:, 1], a[:, 0]] > tips[b[:, 1], b[:, 0]])[:, None]
    low, high = np.where(swap, b, a), np.where(swap, a, b)
    origin = np.array([grid.x0, grid.y0])
    found = Crossings(
        starts=starts,
        z=z,
        low=origin + grid.pitch * low,
        high=origin + grid.pitch * high,
        under=tips[low[:, 1], low[:, 0]] - z,
        over=tips[high[:, 1], high[:, 0]] - z,
    )
    return found.parts(*runs_of(starts, closed & (holder[row, column] <= z), 0))


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


def _nearer(found: Crossings, turn: int, deep: float, rest: Rest) -> Crossings:
    """Ask for the tip at a place on each open way: by false position, in the middle at walls.

    The lower end comes close from below, where the bit does not cut into the sculpture. How much
    lower than `deep` (mm) under the ring the tip stands does not matter.
    """
    at = np.flatnonzero(found.open)
    low, high, under, over = found.low[at], found.high[at], found.under[at], found.over[at]
    # aimed at the lower side, where one step is enough if the surface is straight
    share = (under + CLOSE_MM / 2) / np.minimum(under - over, -1e-12)
    apart = np.linalg.norm(high - low, axis=1)
    share[(over - under > WALL * apart) | (turn >= GUESSED)] = 0.5
    # every other turn not too near an end, of which the other one might never come close
    least = 0.1 if turn % 2 == 1 else 0.02
    point = low + np.clip(share, least, 1 - least)[:, None] * (high - low)
    off = rest(point, found.z[at] - deep) - found.z[at]
    above = off > 0
    ends = [each.copy() for each in (found.low, found.high, found.under, found.over)]
    ends[0][at[~above]], ends[2][at[~above]] = point[~above], off[~above]
    ends[1][at[above]], ends[3][at[above]] = point[above], off[above]
    return replace(found, low=ends[0], high=ends[1], under=ends[2], over=ends[3])
