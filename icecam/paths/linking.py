"""Pieces joined to one toolpath: along the surface where that is quicker, else over the ice."""

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Heights
from icecam.kernels.exchange import Hop
from icecam.paths.pieces import Pieces, drawn_taut, simplified
from icecam.paths.refining import refined
from icecam.paths.resting import Rest
from icecam.paths.standing import Standing
from icecam.paths.toolpath import CUT, RAPID, Toolpath

SLOW_MM: Final = 0.5
"""The last way down to the ice goes as slowly as into it: zero and ice may be off by so much."""
STRAIGHT_MM: Final = 0.01
BUMP_MM: Final = 5.0
"""A way along the surface is taken to have bumps of this radius, which bound its speed."""

Points = NDArray[np.float64]
Bears = Callable[[Points], NDArray[np.bool_]]
"""Whether a bit in passing may take what ice there is above points (n, 3) of its tip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Going:
    """How a bit moves between cuts.

    feed, plunge, approach : mm/s, through ice; straight down into it; straight down in the open
    speed, acceleration : mm/s, mm/s2, across and upright, of rapids
    clearance : mm kept above the ice on rapids
    safe : mm, a height over everything
    pitch : mm between points of a way along the surface
    tip : mm, radius of the tip
    beside : mm in plan; on a way no longer than this the bit takes hardly more than the cuts at
        both ends do
    """

    feed: float
    plunge: float
    approach: float
    speed: tuple[float, float]
    acceleration: tuple[float, float]
    clearance: float
    safe: float
    pitch: float
    tip: float
    beside: float

    @property
    def pace(self) -> float:
        """Speed along the surface (mm/s): the feed, or what bumps allow."""
        return min(self.feed, sqrt(self.acceleration[0] * BUMP_MM))

    @property
    def hop(self) -> Hop:
        """What ways between pieces cost, before it is known how high the ice stands on them."""
        low = np.array([self.clearance])
        rise = self.rise_seconds(0 * low, low, low, 0 * low)
        return self.pace, float(rise[0]), self.speed[0]

    def rise_seconds(self, across: Heights, up: Heights, down: Heights, ice: Heights) -> Heights:
        """Seconds (n,) to rise, go across and come down (mm), the last `ice` mm through ice."""
        slow = np.clip(ice + SLOW_MM, 0.0, down)
        upright = (self.speed[1], self.acceleration[1])
        return (
            _seconds(up, *upright)
            + _seconds(across, self.speed[0], self.acceleration[0])
            + _seconds(down - slow, *upright)
            + slow / self.plunge
        )


def _seconds(way: Heights, speed: float, acceleration: float) -> Heights:
    """Seconds (n,) from rest to rest over ways (mm), closed form."""
    short = way < speed * speed / acceleration
    return np.where(short, 2 * np.sqrt(way / acceleration), way / speed + speed / acceleration)


def link(
    pieces: Pieces, lifts: Heights, standing: Standing, going: Going, rest: Rest, bears: Bears
) -> Toolpath:
    """Join pieces, in their order, to one toolpath from and to the safe height.

    lifts : (pieces,) mm that each keeps above the surface, and ways between two the lower of them
    standing : the ice before any of the pieces is cut
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
    ground = standing.down(first)
    over = np.minimum(standing.way(last[:-1], first[1:]) + going.clearance, going.safe)
    over = np.maximum(over, np.maximum(last[:-1, 2], first[1:, 2]))
    across = np.linalg.norm(first[1:, :2] - last[:-1, :2], axis=1)
    seconds = going.rise_seconds(
        across, over - last[:-1, 2], over - first[1:, 2], ground[1:] - first[1:, 2]
    )
    lower = np.minimum(lifts[:-1], lifts[1:])
    along: dict[int, Points] = {}
    for lift in np.unique(lower):
        alike = np.flatnonzero(lower == lift)
        some = last[:-1][alike], first[1:][alike], seconds[alike]
        ways = _quicker_ways(*some, going, _lifted(rest, float(lift)), bears)
        along |= {int(alike[n]): way for n, way in ways.items()}
    moves = _Moves()

    def enter(n: int, z: float) -> None:
        """Come down from height z over the beginning of piece n."""
        target = first[n]
        for low, kind, feed in (
            (ground[n] + going.clearance, RAPID, np.nan),
            (ground[n] + SLOW_MM, CUT, going.approach),
            (target[2], CUT, going.plunge if ground[n] + SLOW_MM > target[2] else going.approach),
        ):
            if max(low, target[2]) < z:
                z = float(max(low, target[2]))
                moves.add(np.array([[target[0], target[1], z]]), kind, feed)

    start = np.array([first[0, 0], first[0, 1], going.safe])
    enter(0, going.safe)
    for n in range(len(pieces)):
        if n > 0 and n - 1 in along:
            moves.add(along[n - 1], CUT, going.feed)
        elif n > 0:
            z = over[n - 1]
            here, there = last[n - 1, :2], first[n, :2]
            moves.add(np.array([[here[0], here[1], z], [there[0], there[1], z]]), RAPID, np.nan)
            enter(n, z)
        moves.add(pieces[n][1:], CUT, going.feed)
    end = pieces.points[-1]
    moves.add(np.array([[end[0], end[1], going.safe]]), RAPID, np.nan)
    return moves.path(start)


def _lifted(rest: Rest, lift: float) -> Rest:
    return lambda points, least: rest(points, least - lift) + lift


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


def _quicker_ways(
    starts: Points, ends: Points, seconds: Heights, going: Going, rest: Rest, bears: Bears
) -> dict[int, Points]:
    """Ways along the surface from starts to ends (n, 3) that take no more than `seconds` (n,).

    By number, without their first points. A way counts only where the bit may take the ice in
    passing, or where it is so short that the cuts at its ends take that ice.
    """
    apart = np.linalg.norm(ends - starts, axis=1)
    near = np.flatnonzero(apart / going.pace <= seconds)
    if len(near) == 0:
        return {}
    ways = _surface_ways(starts[near], ends[near], going, rest)
    # up a wall go steps that would stop the bit at each: a string over them climbs it at once
    drawn = simplified(drawn_taut(ways), STRAIGHT_MM)
    steps = np.linalg.norm(np.diff(drawn.points, axis=0), axis=1)
    steps[drawn.starts[1:-1] - 1] = 0.0
    lengths = np.add.reduceat(np.append(steps, 0.0), drawn.starts[:-1])
    quick = lengths / going.pace <= seconds[near]
    # straight ways keep two points, and the ice between those may be thick: asked are the points
    # below the string, where there is no less
    short = np.hypot(*(ends[near] - starts[near])[:, :2].T) <= going.beside
    asked = np.repeat(quick & ~short, np.diff(ways.starts))
    borne = np.repeat(quick, np.diff(ways.starts))
    borne[asked] = bears(ways.points[asked])
    kept = np.flatnonzero(np.logical_and.reduceat(borne, ways.starts[:-1]))
    return {int(near[n]): drawn[n][1:] for n in kept.tolist()}


def _surface_ways(starts: Points, ends: Points, going: Going, rest: Rest) -> Pieces:
    """Ways between starts and ends (n, 3), drawn taut over the surface, their points close."""
    apart = np.linalg.norm(ends[:, :2] - starts[:, :2], axis=1)
    counts = np.maximum(np.ceil(apart / going.pitch).astype(np.int64), 1) + 1
    which = np.repeat(np.arange(len(starts)), counts)
    edges = np.concatenate([[0], np.cumsum(counts)])
    share = ((np.arange(edges[-1]) - edges[:-1][which]) / (counts[which] - 1))[:, None]
    points = starts[which] + share * (ends - starts)[which]

    def settle(on_chord: Points) -> Heights:
        return rest(on_chord[:, :2], on_chord[:, 2])

    points[:, 2] = settle(points)
    strings = drawn_taut(Pieces(points=points, starts=edges))
    return refined(strings, going.tip, settle)
