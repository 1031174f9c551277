"""Pieces: cuts that hang together, before they are put in order and linked."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.kernels.compiled import over_stripes
from icecam.kernels.exchange import exchange
from icecam.kernels.polyline import chain, keep_points, taut

LONGEST_SKIP: Final = 200
NEIGHBOURS: Final = 10
"""Ends near each end that exchange looks at."""
BUDGET: Final = 200_000_000
"""Pieces that exchange may touch: about a second."""

Floats = NDArray[np.float64]
Hop = tuple[float, float, float]
"""What a way costs: pace along the surface mm/s, seconds of a rise, speed over the ice mm/s."""


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


def some_of(pieces: Pieces, wanted: NDArray[np.bool_]) -> Pieces:
    """Return the pieces that are marked (pieces,)."""
    return _in_order(pieces, 2 * np.flatnonzero(wanted))


class Parted(NamedTuple):
    """Pieces that were cut: the number of each, and of which piece it is a part; (pieces,)."""

    pieces: Pieces
    number: NDArray[np.int64]
    origin: NDArray[np.int64]


def by_height(pieces: Pieces, band: float) -> Parted:
    """Return the pieces in bands of this height (mm), the highest 0; cut where they cross.

    A piece may begin and end with a point of a band above its own.
    """
    z = pieces.points[:, 2]
    number = np.floor((z.max(initial=-np.inf) - z) / band).astype(np.int64)
    crosses = np.flatnonzero(np.diff(number) != 0) + 1
    crosses = np.setdiff1d(crosses, pieces.starts)
    # the upper of the points on both sides of a crossing belongs to the piece below it as well
    rises = number[crosses] < number[crosses - 1]
    both = np.where(rises, crosses, crosses - 1)
    points = np.insert(pieces.points, crosses, pieces.points[both], axis=0)
    number = np.insert(number, crosses, number[both])
    starts = pieces.starts + np.searchsorted(crosses, pieces.starts, "left")
    cuts = crosses + np.arange(len(crosses)) + rises
    origin = np.searchsorted(starts, np.sort(np.concatenate([starts[:-1], cuts])), "right") - 1
    starts = np.sort(np.concatenate([starts, cuts]))
    # a lone point is cut with the piece beside it
    kept = np.diff(starts) > 1
    counts = np.diff(starts)[kept]
    most = np.maximum.reduceat(number, starts[:-1]) if len(kept) else number
    return Parted(
        pieces=Pieces(
            points=points[np.repeat(kept, np.diff(starts))],
            starts=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        ),
        number=most[kept],
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


def in_short_order(pieces: Pieces, start: Floats, hop: Hop) -> Pieces:
    """Return the pieces in an order that takes little time from one to the next.

    Each begins near where the one before ended, turned round if needed; then the order is bettered
    by exchange until nothing helps or `BUDGET` is spent, which does not look at a clock, so that
    the same pieces always come in the same order.

    start : (3,) mm, where the bit comes from
    """
    if len(pieces) < 2:
        return pieces
    first, last = pieces.starts[:-1], pieces.starts[1:] - 1
    tips = np.stack([pieces.points[first], pieces.points[last]], axis=1).reshape(-1, 3)
    order = _chained(tips, start)
    tips = np.concatenate([tips, start[None], start[None]])
    order = np.concatenate([[len(tips) - 2], order])
    _, near = KDTree(tips).query(tips, k=min(NEIGHBOURS, len(tips)))
    other = near >> 1 != np.arange(len(tips))[:, None] >> 1
    near = np.where(other & (near < len(tips) - 2), near, -1)
    near = np.take_along_axis(near, np.argsort(near < 0, axis=1, kind="stable"), axis=1)
    exchange(order, tips, near, hop, BUDGET)
    return _in_order(pieces, order[1:])


def _chained(tips: Floats, start: Floats) -> NDArray[np.int64]:
    """Return the ends (2k or 2k + 1 for piece k) at which pieces begin, each next to the last."""
    count = len(tips) // 2
    low, high = tips[:, :2].min(axis=0), tips[:, :2].max(axis=0)
    side = max(float(np.sqrt(np.prod(high - low + 1) / count)), 1.0)
    shape = np.floor((high - low) / side).astype(np.int64) + 1
    square = np.floor((tips[:, :2] - low) / side).astype(np.int64)
    bins = square[:, 1] * shape[0] + square[:, 0]
    heads, nexts = _lists(bins, int(shape[0] * shape[1]))
    order = np.zeros(count, dtype=np.int64)
    turned = np.zeros(count, dtype=np.bool_)
    frame = np.array([low[0], low[1], side])
    chain(order, turned, tips, heads, nexts, frame, shape, start)
    return 2 * order + turned


def _in_order(pieces: Pieces, order: NDArray[np.int64]) -> Pieces:
    """Return pieces in the order of the ends they begin at, 2k or 2k + 1 for piece k."""
    first, last = pieces.starts[:-1], pieces.starts[1:] - 1
    counts = (last - first + 1)[order >> 1]
    starts = np.concatenate([[0], np.cumsum(counts)])
    offset = np.arange(starts[-1]) - np.repeat(starts[:-1], counts)
    from_end = np.repeat(order & 1 == 1, counts)
    begin, end = np.repeat(first[order >> 1], counts), np.repeat(last[order >> 1], counts)
    return Pieces(
        points=pieces.points[np.where(from_end, end - offset, begin + offset)], starts=starts
    )


def _lists(bins: NDArray[np.int64], count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Linked lists of entries by bin: first of each bin, next of each entry; -1 ends a list."""
    heads, nexts = np.full(count, -1), np.full(len(bins), -1)
    order = np.argsort(bins, kind="stable")
    same = bins[order[1:]] == bins[order[:-1]]
    nexts[order[:-1][same]] = order[1:][same]
    begins = np.concatenate([[True], ~same])
    heads[bins[order[begins]]] = order[begins]
    return heads.astype(np.int64), nexts.astype(np.int64)


def runs_of(mask: NDArray[np.bool_], gap: int) -> list[tuple[int, int]]:
    """Return half-open runs of a row of marks, gaps of up to `gap` closed.

    >>> runs_of(np.array([1, 1, 0, 1, 0, 0, 0, 1], dtype=bool), 1)
    [(0, 4), (7, 8)]
    """
    marked = np.flatnonzero(mask)
    if len(marked) == 0:
        return []
    breaks = np.flatnonzero(np.diff(marked) > gap + 1) + 1
    edges = np.concatenate([[0], breaks, [len(marked)]])
    return [(int(marked[a]), int(marked[b - 1]) + 1) for a, b in pairwise(edges)]


def where_marked(pieces: Pieces, marks: NDArray[np.bool_], gap: int) -> Pieces:
    """Return the stretches of pieces whose points are marked (points,), and a point more each way.

    gap : up to so many points without a mark do not part a stretch
    """
    lines = []
    if len(pieces) == 0:
        return pieces
    for n in np.flatnonzero(np.logical_or.reduceat(marks, pieces.starts[:-1])).tolist():
        first, last = int(pieces.starts[n]), int(pieces.starts[n + 1])
        for a, b in runs_of(marks[first:last], gap):
            line = pieces.points[max(first, first + a - 1) : min(last, first + b + 1)]
            if len(line) > 1:
                lines.append(line)
    return pieces_of(lines)


def without(pieces: Pieces, places: NDArray[np.float64], radius: float) -> Pieces:
    """Return the pieces without what lies within `radius` of places (n, 3), or straight below."""
    lines = []
    tree = KDTree(places[:, :2])
    near = tree.query_ball_point(pieces.points[:, :2], radius)
    gone = np.array(
        [
            bool(found) and z <= places[found, 2].max() + radius
            for found, z in zip(near, pieces.points[:, 2], strict=True)
        ],
        dtype=np.bool_,
    )
    for n in range(len(pieces)):
        first = int(pieces.starts[n])
        lines += [
            pieces.points[first + a : first + b]
            for a, b in runs_of(~gone[first : pieces.starts[n + 1]], 0)
            if b - a > 1
        ]
    return pieces_of(lines)


def at_cliffs(pieces: Pieces, cliff: float) -> Pieces:
    """Return pieces parted where they rise or fall by more than `cliff` (mm) at once."""
    cuts = np.flatnonzero(np.abs(np.diff(pieces.points[:, 2])) > cliff) + 1
    starts = np.union1d(pieces.starts, cuts)
    counts = np.diff(starts)
    kept = counts > 1
    return Pieces(
        points=pieces.points[np.repeat(kept, counts)],
        starts=np.concatenate([[0], np.cumsum(counts[kept])]).astype(np.int64),
    )
