"""Ways between cuts: along the surface where that is quicker, else over the ice."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.geometry.field import Heights
from icecam.kernels.exchange import Hop
from icecam.paths.pieces import Pieces, drawn_taut, simplified
from icecam.paths.refining import refined
from icecam.paths.resting import Rest
from icecam.paths.standing import ROUNDED_MM, Standing

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terrain:
    """What ways are found over.

    standing : the ice before any of the cuts is made
    rest : where the bit rests on the sculpture; bears : where it may take the ice in passing
    """

    standing: Standing
    going: Going
    rest: Rest
    bears: Bears


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """How the bit gets to each cut.

    ground : (cuts,) mm, where it comes down on the ice at the beginning of each
    over : (cuts - 1,) mm, clear above the ice from each to the next
    along : ways (m, 3) along the surface from the cut of that number to the next, without their
        first points, where they are quicker
    """

    ground: Heights
    over: Heights
    along: Mapping[int, Points]


def find_ways(cuts: Pieces, lifts: Heights, terrain: Terrain) -> Ways:
    """Find the ways to cuts in their order.

    lifts : (cuts,) mm that each keeps above the surface, and ways between two the lower of them
    """
    begins, ends = _begins(cuts), _ends(cuts)
    ground = terrain.standing.down(begins)
    lower = np.minimum(lifts[:-1], lifts[1:])
    over, along = _between(ends[:-1], begins[1:], ground[1:], lower, terrain)
    return Ways(ground=ground, over=over, along=along)


def kept_ways(
    ways: Ways, before: Pieces, origin: NDArray[np.intp], cuts: Pieces, lifts: Heights,
    terrain: Terrain,
) -> Ways:  # fmt: skip
    """Return what `find_ways` does for cuts that are parts of others, whose ways are known.

    before : the cuts of `ways`; origin : (cuts,) of which of them each is a part, never falling
    """
    begins, ends = _begins(cuts), _ends(cuts)
    begun = (begins == _begins(before)[origin]).all(axis=1)
    ended = (ends == _ends(before)[origin]).all(axis=1)
    ground = ways.ground[origin]
    ground[~begun] = terrain.standing.down(begins[~begun])
    same = (np.diff(origin) == 1) & ended[:-1] & begun[1:]
    new = np.flatnonzero(~same)
    lower = np.minimum(lifts[new], lifts[new + 1])
    some, found = _between(ends[new], begins[new + 1], ground[new + 1], lower, terrain)
    over = np.empty(len(same))
    over[new], over[same] = some, ways.over[origin[:-1][same]]
    along = {int(new[n]): way for n, way in found.items()}
    known = zip(np.flatnonzero(same).tolist(), origin[:-1][same].tolist(), strict=True)
    along |= {n: ways.along[was] for n, was in known if was in ways.along}
    return Ways(ground=ground, over=over, along=along)


def risen(ways: Ways, cuts: Pieces, moves: Points) -> Ways:
    """Return the ways with those over the ice that would hold some of the moves along the surface.

    moves : (n, 2, 3) begins and ends as rounded for the text, n > 0
    """
    if not ways.along:
        return ways
    ends = _ends(cuts)
    lines = [np.concatenate([ends[n : n + 1], way]) for n, way in ways.along.items()]
    owner = np.repeat(list(ways.along), [len(line) for line in lines]).tolist()
    tree = KDTree(np.concatenate(lines))
    begun, ended = (
        [{owner[k] for k in at} for at in KDTree(moves[:, end]).query_ball_tree(tree, ROUNDED_MM)]
        for end in (0, 1)
    )
    gone = set[int]().union(*(here & there for here, there in zip(begun, ended, strict=True)))
    return replace(ways, along={n: way for n, way in ways.along.items() if n not in gone})


def _begins(cuts: Pieces) -> Points:
    return cuts.points[cuts.starts[:-1]]


def _ends(cuts: Pieces) -> Points:
    return cuts.points[cuts.starts[1:] - 1]


def _between(
    starts: Points, ends: Points, ground: Heights, lifts: Heights, terrain: Terrain
) -> tuple[Heights, dict[int, Points]]:
    """Heights (n,) clear of the ice from starts to ends (n, 3), and quicker ways by number.

    ground : (n,) mm, where the bit comes down on the ice at the ends
    """
    going = terrain.going
    over = np.minimum(terrain.standing.way(starts, ends) + going.clearance, going.safe)
    over = np.maximum(over, np.maximum(starts[:, 2], ends[:, 2]))
    across = np.linalg.norm(ends[:, :2] - starts[:, :2], axis=1)
    seconds = going.rise_seconds(
        across, over - starts[:, 2], over - ends[:, 2], ground - ends[:, 2]
    )
    along: dict[int, Points] = {}
    for lift in np.unique(lifts):
        alike = np.flatnonzero(lifts == lift)
        some = starts[alike], ends[alike], seconds[alike]
        ways = _quicker_ways(*some, going, _lifted(terrain.rest, float(lift)), terrain.bears)
        along |= {int(alike[n]): way for n, way in ways.items()}
    return over, along


def _lifted(rest: Rest, lift: float) -> Rest:
    return lambda points, least: rest(points, least - lift) + lift


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
