"""Pieces: cuts that hang together, before they are put in order and linked."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.kernels.compiled import over_stripes
from icecam.kernels.polyline import chain, keep_points

LONGEST_SKIP = 200


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


def simplified(pieces: Pieces, tolerance: float) -> Pieces:
    """Return the pieces without the points that straight moves within `tolerance` (mm) replace."""
    keep = np.zeros(len(pieces.points), dtype=np.bool_)
    over_stripes(
        len(pieces),
        lambda first, last: keep_points(
            keep, pieces.points, pieces.starts, first, last, tolerance, LONGEST_SKIP
        ),
    )
    before = np.concatenate([[0], np.cumsum(keep)])
    return Pieces(points=pieces.points[keep], starts=before[pieces.starts])


def in_short_order(pieces: Pieces, start: tuple[float, float]) -> Pieces:
    """Return the pieces each beginning near where the one before ended, turned round if needed."""
    if len(pieces) < 2:
        return pieces
    first, last = pieces.starts[:-1], pieces.starts[1:] - 1
    tips = np.stack([pieces.points[first, :2], pieces.points[last, :2]], axis=1).reshape(-1, 2)
    low, high = tips.min(axis=0), tips.max(axis=0)
    side = max(float(np.sqrt(np.prod(high - low + 1) / len(pieces))), 1.0)
    shape = np.floor((high - low) / side).astype(np.int64) + 1
    square = np.floor((tips - low) / side).astype(np.int64)
    bins = square[:, 1] * shape[0] + square[:, 0]
    heads, nexts = _lists(bins, int(shape[0] * shape[1]))
    order = np.zeros(len(pieces), dtype=np.int64)
    turned = np.zeros(len(pieces), dtype=np.bool_)
    frame = np.array([low[0], low[1], side])
    chain(order, turned, tips, heads, nexts, frame, shape, np.array(start))
    counts = (last - first + 1)[order]
    starts = np.concatenate([[0], np.cumsum(counts)])
    offset = np.arange(starts[-1]) - np.repeat(starts[:-1], counts)
    from_end = np.repeat(turned, counts)
    begin, end = np.repeat(first[order], counts), np.repeat(last[order], counts)
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
