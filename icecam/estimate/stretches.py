"""Cutting moves joined to stretches long enough for the cells of the block to tell what they take.

A move of a fine pass is shorter than a cell, so what it takes by itself is chance. A stretch of a
few cells evens that out. A move longer than that stands alone: what is known of it is the mean over
its length and the deepest place.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.paths.toolpath import CUT, Toolpath

Floats = NDArray[np.float64]

STRETCH_CELLS: Final = 5.0
"""Cells of the block that a stretch is long, at least half of it if its figures are to count."""
UPRIGHT_MM: Final = 1e-6
"""A move that goes no farther than this, seen from above, goes straight up or down."""
ROUNDING_MM: Final = 1e-9
"""Ice less deep than this is rounding: a move back over what was cut takes none."""


class Taken(NamedTuple):
    """What the carved block says of each move, and the side of its cells; mm3, mm, 1, mm.

    removed, depth, chip : as in `icecam.prove.carving.Carved`
    """

    removed: Floats
    depth: Floats
    chip: Floats
    cell: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Cutting moves joined to stretches, and what each takes; arrays (m,).

    first, last : moves of the path, half-open; rapids lie between stretches
    upright : whether it goes straight up or down
    length, plan : mm, along the path and seen from above
    seconds : s
    removed : mm3
    depth : mm, how deep it went in the ice it took, the mean by volume
    chip : thickest chip over the chip load
    """

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    upright: NDArray[np.bool_]
    length: Floats
    plan: Floats
    seconds: Floats
    removed: Floats
    depth: Floats
    chip: Floats

    @property
    def took(self) -> NDArray[np.bool_]:
        """Whether it took ice."""
        return (self.removed > 0) & (self.depth > ROUNDING_MM) & (self.seconds > 0)


def join(path: Toolpath, seconds: Floats, taken: Taken) -> Stretches:
    """Join neighbouring cutting moves to stretches of about `STRETCH_CELLS` cells.

    A stretch ends at a rapid, at a move that is as long by itself, and where the way turns upright.
    """
    cut = path.kind == CUT
    steps = path.ends - path.begins
    length = np.where(cut, np.linalg.norm(steps, axis=1), 0.0)
    plan = np.where(cut, np.hypot(steps[:, 0], steps[:, 1]), 0.0)
    upright = plan <= UPRIGHT_MM
    goal = STRETCH_CELLS * taken.cell
    alone = length >= goal
    fresh = alone | _changed(cut) | _changed(upright) | np.concatenate([[False], alone[:-1]])
    begins = np.cumsum(length) - length
    along = begins - np.maximum.accumulate(np.where(fresh, begins, 0.0))
    first = np.flatnonzero(cut & (fresh | _changed(np.floor(along / goal))))
    ends_of_cutting = np.flatnonzero(cut & ~np.concatenate([cut[1:], [False]])) + 1
    last = ends_of_cutting[np.searchsorted(ends_of_cutting, first, side="right")]
    last = np.minimum(last, np.concatenate([first[1:], [len(path)]]))
    removed = _sums(np.where(cut, taken.removed, 0.0), first)
    deep = _sums(np.where(cut, taken.removed * taken.depth, 0.0), first)
    return Stretches(
        first=first,
        last=last,
        upright=upright[first],
        length=_sums(length, first),
        plan=_sums(plan, first),
        seconds=_sums(np.where(cut, seconds, 0.0), first),
        removed=removed,
        depth=np.divide(deep, removed, out=np.zeros(len(first)), where=removed > 0),
        chip=_most(np.where(cut, taken.chip, 0.0), first),
    )


def _changed(values: NDArray[np.bool_] | Floats) -> NDArray[np.bool_]:
    """Whether each value is another than the one before; the first always is."""
    changed = np.ones(len(values), dtype=np.bool_)
    changed[1:] = values[1:] != values[:-1]
    return changed


def _most(values: Floats, first: NDArray[np.int64]) -> Floats:
    """Greatest from each of `first` to the next; rapids hold zeros."""
    most: Floats = np.maximum.reduceat(values, first) if len(first) else np.zeros(0)
    return most


def _sums(values: Floats, first: NDArray[np.int64]) -> Floats:
    """Sum from each of `first` to the next; rapids hold zeros."""
    sums: Floats = np.add.reduceat(values, first) if len(first) else np.zeros(0)
    return sums
