"""Pieces: cuts that hang together, before they are put in order and linked."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.kernels.compiled import over_stripes
from icecam.kernels.polyline import keep_points, part_marks, taut

LONGEST_SKIP: Final = 200

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Polylines: piece n is points[starts[n]:starts[n + 1]], points (m, 3) mm."""

    points: NDArray[np.float64]
    starts: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.starts) - 1

    def __getitem__(self, n: int) -> NDArray[np.float64]:
        if not 0 <= n < len(self):
            raise IndexError(n)
        return self.points[self.starts[n] : self.starts[n + 1]]


def pieces_of(polylines: Sequence[NDArray[np.float64]]) -> Pieces:
    """Return polylines (m, 3) as one record."""
    counts = [len(line) for line in polylines]
    points = np.concatenate(polylines) if polylines else np.zeros((0, 3))
    return Pieces(points=points, starts=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64))


def joined(several: Sequence[Pieces]) -> Pieces:
    """Return all pieces of several, in their order."""
    if not several:
        return pieces_of([])
    before = np.cumsum([0, *(len(pieces.points) for pieces in several)])
    starts = [pieces.starts[:-1] + at for pieces, at in zip(several, before, strict=False)]
    return Pieces(
        points=np.concatenate([pieces.points for pieces in several]),
        starts=np.concatenate([*starts, before[-1:]]),
    )


def inserted(pieces: Pieces, at: NDArray[np.intp], new: Floats) -> Pieces:
    """Return pieces with points `new` (n, 3) behind those numbered `at` (n,), in their pieces."""
    return Pieces(
        points=np.insert(pieces.points, at + 1, new, axis=0),
        starts=pieces.starts + np.searchsorted(at, pieces.starts - 1, "left"),
    )


class Parted(NamedTuple):
    """Pieces that were cut.

    own : (points,) not those that belong to a piece above and only begin or end this one
    most : (pieces,) mm that each bears over its own points; none of these is higher over another
    origin : (pieces,) of which piece it is a part
    """

    pieces: Pieces
    own: NDArray[np.bool_]
    most: Floats
    origin: NDArray[np.int64]


def parted(pieces: Pieces, most: Floats) -> Parted:
    """Return pieces cut so that each is no higher than any of its own points bears.

    A move from one to the next belongs to the lower of both, with the point at its upper end. A
    point that is left with no move of its own belongs to none.

    most : (points,) mm from the lowest to the highest point of a piece with this point
    """
    z = pieces.points[:, 2]
    marks = np.zeros(len(z), dtype=np.bool_)
    part_marks(marks, z, most, pieces.starts)
    cuts = np.flatnonzero(marks)
    # the upper of the points on both sides of a cut belongs to the piece below it as well
    rises = z[cuts] > z[cuts - 1]
    both = np.where(rises, cuts, cuts - 1)
    points = np.insert(pieces.points, cuts, pieces.points[both], axis=0)
    own = np.insert(np.ones(len(z), dtype=np.bool_), cuts, False)
    bears = np.insert(most, cuts, np.inf)
    starts = pieces.starts + np.searchsorted(cuts, pieces.starts, "left")
    begins = cuts + np.arange(len(cuts)) + rises
    origin = np.searchsorted(starts, np.sort(np.concatenate([starts[:-1], begins])), "right") - 1
    starts = np.sort(np.concatenate([starts, begins]))
    # a lone point is cut with the pieces beside it
    counts = np.diff(starts)
    kept = counts > 1
    of_kept = np.repeat(kept, counts)
    starts = np.concatenate([[0], np.cumsum(counts[kept])]).astype(np.int64)
    return Parted(
        pieces=Pieces(points=points[of_kept], starts=starts),
        own=own[of_kept],
        most=np.minimum.reduceat(bears[of_kept], starts[:-1]) if kept.any() else np.zeros(0),
        origin=origin[kept],
    )


def simplified(pieces: Pieces, tolerance: float) -> Pieces:
    """Return the pieces without the points that straight moves within `tolerance` (mm) replace."""
    keep = np.zeros(len(pieces.points), dtype=np.bool_)
    over_stripes(
        len(pieces),
        lambda first, last: keep_points(
            keep, pieces.points, pieces.starts, first, last, tolerance, LONGEST_SKIP
        ),
    )
    return _only(pieces, keep)


def drawn_taut(pieces: Pieces) -> Pieces:
    """Return pieces that run straight in plan as strings drawn taut over them from end to end."""
    keep = np.zeros(len(pieces.points), dtype=np.bool_)
    longest = int(np.diff(pieces.starts).max())
    over_stripes(
        len(pieces),
        lambda first, last: taut(
            keep, pieces.points, pieces.starts, first, last, np.zeros(longest, dtype=np.int64)
        ),
    )
    return _only(pieces, keep)


def _only(pieces: Pieces, keep: NDArray[np.bool_]) -> Pieces:
    """Return the pieces with those of their points that are marked."""
    before = np.concatenate([[0], np.cumsum(keep)])
    return Pieces(points=pieces.points[keep], starts=before[pieces.starts])


def reordered(pieces: Pieces, order: NDArray[np.int64]) -> Pieces:
    """Return pieces in the order of the ends they begin at, 2k for piece k, 2k + 1 turned round."""
    first, last = pieces.starts[:-1], pieces.starts[1:] - 1
    counts = (last - first + 1)[order >> 1]
    starts = np.concatenate([[0], np.cumsum(counts)])
    offset = np.arange(starts[-1]) - np.repeat(starts[:-1], counts)
    from_end = np.repeat(order & 1 == 1, counts)
    begin, end = np.repeat(first[order >> 1], counts), np.repeat(last[order >> 1], counts)
    return Pieces(
        points=pieces.points[np.where(from_end, end - offset, begin + offset)], starts=starts
    )


def runs_of(
    starts: NDArray[np.int64], marks: NDArray[np.bool_], gap: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last (half-open) of the runs of marks in each piece, gaps of up to `gap` closed.

    starts : of the pieces, as in `Pieces`; marks (points,)

    >>> runs_of(np.array([0, 5, 8]), np.array([1, 1, 0, 1, 0, 1, 0, 1], dtype=bool), 1)
    (array([0, 5]), array([4, 8]))
    """
    marked = np.flatnonzero(marks)
    piece = np.searchsorted(starts, marked, "right")
    parted = (np.diff(marked, prepend=0) > gap + 1) | (np.diff(piece, prepend=0) != 0)
    begins = np.flatnonzero(parted)
    ends = np.append(begins[1:], len(marked)) - 1
    return marked[begins], marked[ends[: len(begins)]] + 1


def numbers_in(
    first: NDArray[np.intp], last: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.int64]]:
    """Return the numbers in half-open ranges one after the other, and where each range starts."""
    counts = last - first
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return np.arange(starts[-1]) + np.repeat(first - starts[:-1], counts), starts


def cut_out(pieces: Pieces, first: NDArray[np.intp], last: NDArray[np.intp]) -> Pieces:
    """Return those of these stretches of points, half-open, that are longer than a point."""
    long = last - first > 1
    index, starts = numbers_in(first[long], last[long])
    return Pieces(points=pieces.points[index], starts=starts)


def near_marks(
    starts: NDArray[np.int64], marks: NDArray[np.bool_], gap: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the runs of marks as `runs_of` does, with a point more each way within their piece."""
    first, last = runs_of(starts, marks, gap)
    piece = np.searchsorted(starts, first, "right")
    return np.maximum(first - 1, starts[piece - 1]), np.minimum(last + 1, starts[piece])


def where_marked(pieces: Pieces, marks: NDArray[np.bool_], gap: int) -> Pieces:
    """Return the stretches of pieces whose points are marked (points,), and a point more each way.

    gap : up to so many points without a mark do not part a stretch
    """
    return cut_out(pieces, *near_marks(pieces.starts, marks, gap))


def without(
    pieces: Pieces, places: NDArray[np.float64], radius: float
) -> tuple[Pieces, NDArray[np.intp]]:
    """Return the pieces without what lies within `radius` of places (n, 3), or straight below.

    With the number of the piece that each is a part of.
    """
    tree = KDTree(places[:, :2])
    near = tree.query_ball_point(pieces.points[:, :2], radius)
    gone = np.array(
        [
            bool(found) and z <= places[found, 2].max() + radius
            for found, z in zip(near, pieces.points[:, 2], strict=True)
        ],
        dtype=np.bool_,
    )
    first, last = runs_of(pieces.starts, ~gone, 0)
    long = last - first > 1
    origin = np.searchsorted(pieces.starts, first[long], "right") - 1
    return cut_out(pieces, first, last), origin


def at_cliffs(pieces: Pieces, cliff: float) -> Pieces:
    """Return pieces parted where they rise or fall by more than `cliff` (mm) at once."""
    cuts = np.flatnonzero(np.abs(np.diff(pieces.points[:, 2])) > cliff) + 1
    starts = np.union1d(pieces.starts, cuts)
    return cut_out(pieces, starts[:-1], starts[1:])
