"""Pieces joined to one toolpath: low where the way is short, over the ice where it is not."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, Heights
from icecam.paths.pieces import Pieces
from icecam.paths.refining import refined
from icecam.paths.standing import Body, travel
from icecam.paths.toolpath import CUT, RAPID, Toolpath


@dataclass(frozen=True, slots=True, kw_only=True)
class Going:
    """How a bit moves between cuts.

    feed, plunge : mm/s
    clearance : mm kept above the ice on rapids
    safe : mm, a height over everything
    near : mm, ways up to this long are taken along the surface
    pitch : mm between points of such a way
    tip : mm, radius of the tip
    """

    feed: float
    plunge: float
    clearance: float
    safe: float
    near: float
    pitch: float
    tip: float


def link(
    pieces: Pieces,
    standing: HeightField,
    body: Body,
    going: Going,
    rest: Callable[[NDArray[np.float64]], Heights],
) -> Toolpath:
    """Join pieces, in their order, to one toolpath from and to the safe height.

    rest : gives the lowest height of the tip at points (n, 2), for ways along the surface
    """
    if len(pieces) == 0:
        return Toolpath(
            start=np.array([0.0, 0.0, going.safe]),
            ends=np.zeros((0, 3)),
            kind=np.zeros(0, dtype=np.int8),
            feed=np.zeros(0),
            line=np.zeros(0, dtype=np.int32),
        )
    first = pieces.points[pieces.starts[:-1]]
    last = pieces.points[pieces.starts[1:] - 1]
    apart = np.linalg.norm(first[1:, :2] - last[:-1, :2], axis=1)
    near = apart <= going.near
    along = _surface_ways(last[:-1][near], first[1:][near], going, rest)
    high = np.full(len(pieces) - 1, np.nan)
    high[~near] = travel(standing, body, last[:-1][~near, :2], first[1:][~near, :2])
    down = travel(standing, body, first[:, :2], first[:, :2]) + going.clearance
    ends, kinds, feeds = _Growing(), _Growing(), _Growing()

    def add(points: NDArray[np.float64], kind: int, feed: float) -> None:
        ends.parts.append(points)
        kinds.parts.append(np.full(len(points), kind, dtype=np.int8))
        feeds.parts.append(np.full(len(points), feed))

    def enter(n: int, z: float) -> None:
        """Come down from height z over the beginning of piece n."""
        target = first[n]
        low = max(min(down[n], z), target[2])
        if low < z:
            add(np.array([[target[0], target[1], low]]), RAPID, np.nan)
        if low > target[2]:
            add(target[None], CUT, going.plunge)

    start = np.array([first[0, 0], first[0, 1], going.safe])
    enter(0, going.safe)
    ways = iter(along)
    for n in range(len(pieces)):
        if n > 0 and near[n - 1]:
            add(next(ways), CUT, going.feed)
        elif n > 0:
            z = max(min(high[n - 1] + going.clearance, going.safe), last[n - 1, 2], first[n, 2])
            here, there = last[n - 1, :2], first[n, :2]
            add(np.array([[here[0], here[1], z], [there[0], there[1], z]]), RAPID, np.nan)
            enter(n, z)
        add(pieces[n][1:], CUT, going.feed)
    end = pieces.points[-1]
    add(np.array([[end[0], end[1], going.safe]]), RAPID, np.nan)
    return Toolpath(
        start=start,
        ends=np.concatenate(ends.parts),
        kind=np.concatenate(kinds.parts),
        feed=np.concatenate(feeds.parts),
        line=np.zeros(sum(len(part) for part in kinds.parts), dtype=np.int32),
    )


class _Growing:
    """Arrays put aside until they are joined."""

    def __init__(self) -> None:
        self.parts: list[NDArray[np.generic]] = []


def _surface_ways(
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
    going: Going,
    rest: Callable[[NDArray[np.float64]], Heights],
) -> list[NDArray[np.float64]]:
    """Ways between starts and ends (n, 3) without their first points, straight or over the surface.

    Where the straight way would cut into the sculpture it rests on the surface instead.
    """
    if len(starts) == 0:
        return []
    apart = np.linalg.norm(ends[:, :2] - starts[:, :2], axis=1)
    counts = np.maximum(np.ceil(apart / going.pitch).astype(np.int64), 1) + 1
    which = np.repeat(np.arange(len(starts)), counts)
    edges = np.concatenate([[0], np.cumsum(counts)])
    share = ((np.arange(edges[-1]) - edges[:-1][which]) / (counts[which] - 1))[:, None]
    points = starts[which] + share * (ends - starts)[which]

    def settle(on_chord: NDArray[np.float64]) -> Heights:
        return np.maximum(on_chord[:, 2], rest(on_chord[:, :2]))

    points[:, 2] = settle(points)
    ways = refined(Pieces(points=points, starts=edges), going.tip, settle)
    return [ways[n][1:] for n in range(len(ways))]
