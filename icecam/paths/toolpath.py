"""A toolpath: where the tip goes, how, and how fast, as arrays."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

RAPID: Final = 0
CUT: Final = 1


class Arcs(NamedTuple):
    """Runs of moves that are the chords of one arc.

    moves : (m, 2) int64, the first of each run and the one after its last
    centres : (m, 2) float64, mm in X and Y from where the arc begins; NaN in another plane
    """

    moves: NDArray[np.int64]
    centres: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Toolpath:
    """Straight moves of the bit's tip, one after the other.

    Parameters
    ----------
    start : (3,) float64, mm, where the first move begins
    ends : (n, 3) float64, mm, where each move ends
    kind : (n,) int8, `RAPID` or `CUT`
    feed : (n,) float64, mm/s along the move; NaN on rapids
    line : (n,) int32, line of the text a move was read from, counted from 1; 0 when planned
    arcs : of the text that moves were read from; None when planned, for nobody has looked for any

    Raises
    ------
    ValueError : shapes that do not match, or a coordinate or cutting feed that is no number
    """

    start: NDArray[np.float64]
    ends: NDArray[np.float64]
    kind: NDArray[np.int8]
    feed: NDArray[np.float64]
    line: NDArray[np.int32]
    arcs: Arcs | None = None

    def __post_init__(self) -> None:
        count = len(self.ends)
        shapes = {"start": (3,), "ends": (count, 3), "kind": (count,), "feed": (count,)}
        types = {"start": np.float64, "ends": np.float64, "kind": np.int8, "feed": np.float64}
        shapes["line"], types["line"] = (count,), np.int32
        for name, shape in shapes.items():
            array = np.ascontiguousarray(getattr(self, name), dtype=types[name]).view()
            if array.shape != shape:
                raise ValueError(f"toolpath {name} has shape {array.shape}, expected {shape}")
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if not (np.isfinite(self.start).all() and np.isfinite(self.ends).all()):
            raise ValueError("a toolpath holds a coordinate that is no number")
        if not (self.feed[self.kind == CUT] > 0).all():
            raise ValueError("a toolpath cuts with a feed that is not above zero")

    def __len__(self) -> int:
        return len(self.ends)

    @property
    def begins(self) -> NDArray[np.float64]:
        """(n, 3) mm, where each move begins."""
        return np.concatenate([self.start[None], self.ends[:-1]])

    @property
    def lengths(self) -> NDArray[np.float64]:
        """(n,) mm, length of each move."""
        steps: NDArray[np.float64] = np.linalg.norm(self.ends - self.begins, axis=1)
        return steps

    def moved(self, offset: tuple[float, float, float]) -> "Toolpath":
        """Return the same path, shifted by `offset` (mm)."""
        shift = np.asarray(offset, dtype=np.float64)
        if not shift.any():
            return self
        return Toolpath(
            start=self.start + shift,
            ends=self.ends + shift,
            kind=self.kind,
            feed=self.feed,
            line=self.line,
            arcs=self.arcs,
        )

    def goes_as(self, other: "Toolpath") -> bool:
        """Whether both take the same way by the same kinds of moves, at whatever feed."""
        return (
            np.array_equal(self.start, other.start)
            and np.array_equal(self.ends, other.ends)
            and np.array_equal(self.kind, other.kind)
        )

    def part(self, first: int, last: int) -> "Toolpath":
        """Return moves `first` to `last` (half-open), with the arcs that are whole in them."""
        arcs = self.arcs
        if arcs is not None:
            within = (first <= arcs.moves[:, 0]) & (arcs.moves[:, 1] <= last)
            arcs = Arcs(arcs.moves[within] - first, arcs.centres[within])
        return Toolpath(
            start=self.ends[first - 1] if first else self.start,
            ends=self.ends[first:last],
            kind=self.kind[first:last],
            feed=self.feed[first:last],
            line=self.line[first:last],
            arcs=arcs,
        )
