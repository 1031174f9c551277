"""Cuts joined to one toolpath by the ways between them."""

import numpy as np

from icecam.paths.pieces import Pieces
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.paths.ways import SLOW_MM, Going, Points, Ways


def link(cuts: Pieces, ways: Ways, going: Going) -> Toolpath:
    """Join cuts, in their order, to one toolpath from and to the safe height."""
    if len(cuts) == 0:
        return Toolpath(
            start=np.array([0.0, 0.0, going.safe]),
            ends=np.zeros((0, 3)),
            kind=np.zeros(0, dtype=np.int8),
            feed=np.zeros(0),
            line=np.zeros(0, dtype=np.int32),
        )
    begins, ends = cuts.points[cuts.starts[:-1]], cuts.points[cuts.starts[1:] - 1]
    moves = _Moves()

    def enter(n: int, z: float) -> None:
        """Come down from height z over the beginning of cut n."""
        target, ground = begins[n], ways.ground[n]
        for low, kind, feed in (
            (ground + going.clearance, RAPID, np.nan),
            (ground + SLOW_MM, CUT, going.approach),
            (target[2], CUT, going.plunge if ground + SLOW_MM > target[2] else going.approach),
        ):
            if max(low, target[2]) < z:
                z = float(max(low, target[2]))
                moves.add(np.array([[target[0], target[1], z]]), kind, feed)

    start = np.array([begins[0, 0], begins[0, 1], going.safe])
    enter(0, going.safe)
    for n in range(len(cuts)):
        if n > 0 and n - 1 in ways.along:
            moves.add(ways.along[n - 1], CUT, going.feed)
        elif n > 0:
            z = ways.over[n - 1]
            here, there = ends[n - 1, :2], begins[n, :2]
            moves.add(np.array([[here[0], here[1], z], [there[0], there[1], z]]), RAPID, np.nan)
            enter(n, z)
        moves.add(cuts[n][1:], CUT, going.feed)
    moves.add(np.array([[ends[-1, 0], ends[-1, 1], going.safe]]), RAPID, np.nan)
    return moves.path(start)


class _Moves:
    """Moves put aside until they are joined."""

    def __init__(self) -> None:
        self._ends: list[Points] = []
        self._kinds: list[tuple[int, float]] = []

    def add(self, points: Points, kind: int, feed: float) -> None:
        self._ends.append(points)
        self._kinds.append((kind, feed))

    def path(self, start: Points) -> Toolpath:
        counts = [len(points) for points in self._ends]
        return Toolpath(
            start=start,
            ends=np.concatenate(self._ends),
            kind=np.repeat(np.array([kind for kind, _ in self._kinds], dtype=np.int8), counts),
            feed=np.repeat([feed for _, feed in self._kinds], counts),
            line=np.zeros(sum(counts), dtype=np.int32),
        )
