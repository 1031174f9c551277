"""Roughing: the bulk taken off level by level, in loops that widen from the middle of each pocket.

Takes the area the bit may not enter at each level and the area to be cleared; gives a toolpath.
Only the first loop of a pocket cuts a full slot; it is entered from outside the block, or down a
ramp along itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, radians, tan
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from icecam.geometry.field import HeightField
from icecam.geometry.slices import polygons_of
from icecam.kernels.compiled import each_of
from icecam.paths.collars import pockets, trims
from icecam.paths.loops import SMOOTH_MM, Line, Loop, loops, roomy
from icecam.paths.standing import Part, travel
from icecam.paths.toolpath import CUT, RAPID, Toolpath

SLOW_MM: Final = 0.5
"""Over the ice a ramp begins: zero and ice may be off by so much."""


class Level(NamedTuple):
    """A level of collars: its height, that of the level above (mm), the area of the bit's centre.

    top : mm, of the collars as they stood; below it a bit may graze one and comes down at feed
    """

    z: float
    over: float
    area: BaseGeometry
    top: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How a level is cleared: mm and mm/s.

    flat : radius within which the bit cuts at full depth; ridge : how high ice may stay between
        loops over their level
    """

    radius: float
    flat: float
    ridge: float
    stepover: float
    feed: float
    slot_feed: float
    approach: float
    ramp_deg: float
    clearance: float
    safe: float


class Rougher:
    """Carries the ice as it stands, coarsely, from level to level, and the moves so far."""

    def __init__(
        self, standing: HeightField, block: tuple[float, float], bit: tuple[Part, ...], cut: Cut
    ) -> None:
        self._heights = standing.heights.copy()
        self._grid = standing.grid
        self._block = shapely.box(0, 0, *block)
        self._bit = bit
        self._cut = cut
        self._ends: list[tuple[float, float, float]] = []
        self._kinds: list[int] = []
        self._feeds: list[float] = []
        self._at: tuple[float, float, float] | None = None
        self._begin = (0.0, 0.0, cut.safe)

    @property
    def _here(self) -> tuple[float, float]:
        return self._at[:2] if self._at else (0.0, 0.0)

    @property
    def standing(self) -> HeightField:
        """The ice as it stands now."""
        return HeightField(grid=self._grid, heights=self._heights)

    def clear(self, area: BaseGeometry, z: float, over: float) -> BaseGeometry:
        """Clear `area` of the bit's centre down to `z`; returns what of it was worth entering.

        over : mm, height to which the bit has been all over `area`, or the top of the block
        """
        area = roomy(area)
        if area.is_empty:
            return area
        reachable = area.buffer(2 * SMOOTH_MM)
        shapely.prepare(reachable)
        # loops of the level above may have kept off so far from what they were to sweep
        swept = area.buffer(-2 * SMOOTH_MM)
        turns = loops(area, self._cut.stepover, self._cut.radius)
        lines = [shapely.LineString(turn.way.points) for turn in turns]
        for n in self._in_turn(lines, [turn.first for turn in turns]):
            self._follow(turns[n].way, z, over, reachable, swept)
        self._lower([area], [z])
        return area

    def trim(self, levels: Sequence[Level], core: BaseGeometry) -> None:
        """Clear what stands beside a deeper core level by level: collar after collar.

        levels : from the top down, each area within the one above it
        core : area of the bit's centre that was cleared to the last level
        """
        beside = pockets(levels[0].area, core)
        # lines farther apart would leave pillars in corners
        apart = min(self._cut.stepover, self._cut.radius)
        by_level = trims([level.area for level in levels], beside, apart)
        for pocket, *deeper in zip(beside, *by_level, strict=True):
            if pocket.core.is_empty:
                for z, over, area, _ in levels:
                    self.clear(area.intersection(pocket.whole), z, over)
                continue
            for n in self._in_turn(pocket.collars, [()] * len(pocket.collars)):
                for level, each in zip(levels, deeper, strict=True):
                    turns = each.lines[n]
                    starts = [turn.starts for turn in turns]
                    for m in self._in_turn(starts, [turn.first for turn in turns]):
                        line = turns[m].begun_near(self._here)
                        self._enter(line, pocket.core, level, each.reachable)
        self._lower([level.area for level in levels], [level.z for level in levels])

    def _in_turn(
        self, places: Sequence[BaseGeometry], first: Sequence[tuple[int, ...]]
    ) -> Iterator[int]:
        """Yield the numbers of places, each the nearest to where the bit stands then.

        first : of each, numbers of those that come before it
        """
        there = np.array(places)
        left = np.array([len(each) for each in first])
        behind: list[list[int]] = [[] for _ in first]
        for number, each in enumerate(first):
            for sooner in each:
                behind[sooner].append(number)
        while len(able := np.flatnonzero(left == 0)):
            here = shapely.Point(self._here)
            n = int(able[np.argmin(shapely.distance(here, there[able]))])
            yield n
            left[[n, *behind[n]]] -= 1

    def _enter(self, line: Line, core: BaseGeometry, level: Level, reachable: BaseGeometry) -> None:
        """Go to a line, from the open core beside it if need be, and along it."""
        z, ground = level.z, level.top + self._cut.ridge
        if self._at is not None and self._at[2] < z:
            # where it stands all above is cut; aside, at that depth, the sculpture may stand
            self._add((self._at[0], self._at[1], z), RAPID, np.nan)
        if self._near(line.points[0], z, reachable):
            self._cut_along(line, z, also_first=True)
            return
        way = shapely.shortest_line(core, shapely.Point(line.points[0]))
        if not reachable.covers(way):
            self._travel((float(line.points[0, 0]), float(line.points[0, 1])))
            # a collar that is trimmed later may still stand here
            ramp = self._ramp(line.and_back(), z, level.over, ground)
            self._cut_along(ramp, z, also_first=False)
            return
        aside = shapely.get_coordinates(way)[0]
        place = (float(aside[0]), float(aside[1]))
        if self._at is not None and self._near(aside, self._at[2], reachable):
            self._add((*place, self._at[2]), CUT, self._cut.slot_feed)
        else:
            self._travel(place)
        self._come_down(place, z, ground)
        start = line.points[0]
        self._add((float(start[0]), float(start[1]), z), CUT, self._cut.slot_feed)
        self._cut_along(line, z, also_first=False)

    def _near(self, place: NDArray[np.float64], z: float, reachable: BaseGeometry) -> bool:
        """Whether the bit stands at `z` and so near to a place that it may go straight there."""
        if self._at is None or self._at[2] != z:
            return False
        way = shapely.LineString(np.array([self._at[:2], place]))
        return bool(way.length <= 3 * self._cut.stepover and reachable.covers(way))

    def _lower(self, areas: Sequence[BaseGeometry], heights: Sequence[float]) -> None:
        """Remember that the bit has been all over each of some areas, at what it left there."""
        x, y = np.meshgrid(self._grid.x, self._grid.y)
        half = self._grid.pitch / 2

        def swept(area: BaseGeometry) -> NDArray[np.bool_]:
            whole = area.buffer(self._cut.flat).buffer(-half * 1.42)
            return np.asarray(shapely.contains_xy(whole, x, y))

        for level, inside in zip(heights, each_of(areas, swept), strict=True):
            z = level + self._cut.ridge
            self._heights = np.where(inside, np.minimum(self._heights, z), self._heights)

    def path(self) -> Toolpath:
        """Return all moves, from the safe height and back to it."""
        if self._at is not None:
            self._add((self._at[0], self._at[1], self._cut.safe), RAPID, np.nan)
        return Toolpath(
            start=np.array(self._begin),
            ends=np.array(self._ends).reshape(-1, 3),
            kind=np.array(self._kinds, dtype=np.int8),
            feed=np.array(self._feeds),
            line=np.zeros(len(self._ends), dtype=np.int32),
        )

    def _add(self, point: tuple[float, float, float], kind: int, feed: float) -> None:
        self._ends.append(point)
        self._kinds.append(kind)
        self._feeds.append(feed)
        self._at = point

    def _follow(
        self, loop: Loop, z: float, over: float, reachable: BaseGeometry, swept: BaseGeometry
    ) -> None:
        """Go to a loop and once round it.

        swept : where the bit was down to `over` for sure
        """
        near = loop if self._at is None else loop.turned_to(self._at[:2])
        if self._near(near.points[0], z, reachable):
            self._cut_along(near, z, also_first=True)
            return
        outside = self._way_in(loop, z)
        if outside is not None:
            start, loop = outside
            self._travel(start)
            self._come_down(start, z, z)
            self._cut_along(loop, z, also_first=True)
            return
        place, ground = self._open_place(near.points[0], over, reachable, swept)
        self._travel(place)
        self._cut_along(self._ramp(near, z, over, ground), z, also_first=False)

    def _open_place(
        self, start: NDArray[np.float64], over: float, reachable: BaseGeometry, swept: BaseGeometry
    ) -> tuple[tuple[float, float], float]:
        """Where to come down for a loop that begins at `start`, and the highest ice there.

        At the edge of what was swept a rapid would graze the ice that stands beside it.
        """
        way = shapely.shortest_line(swept, shapely.Point(start))
        if way is not None and way.length < self._cut.stepover and reachable.covers(way):
            x, y = shapely.get_coordinates(way)[0].tolist()
            return (x, y), over + self._cut.ridge
        stands = travel(self.standing, self._bit, start[None], start[None])[0]
        return (float(start[0]), float(start[1])), max(over, float(stands))

    def _cut_along(self, loop: Line, z: float, *, also_first: bool) -> None:
        feeds = np.where(loop.slot, self._cut.slot_feed, self._cut.feed)
        if also_first:
            self._add((float(loop.points[0, 0]), float(loop.points[0, 1]), z), CUT, float(feeds[0]))
        for (x, y), feed in zip(loop.points[1:].tolist(), feeds.tolist(), strict=True):
            self._add((x, y, z), CUT, feed)

    def _way_in(self, loop: Loop, z: float) -> tuple[tuple[float, float], Loop] | None:
        """Find a place outside the block beside the loop, and the loop begun there.

        None if the loop is far from the edge or the place is not clear.
        """
        cut, points = self._cut, loop.points
        away = shapely.distance(self._block.exterior, shapely.points(points))
        inside = shapely.contains_xy(self._block, points)
        away = np.where(inside, away, -away)
        k = int(np.argmin(away))
        if away[k] > cut.stepover:
            return None
        edge = shapely.get_coordinates(
            shapely.shortest_line(self._block.exterior, shapely.points(points[k]))
        )[0]
        centre = shapely.get_coordinates(self._block.centroid)[0]
        outward = np.sign(edge - centre) * (
            np.isclose(edge, 0) | np.isclose(edge, np.array(self._block.bounds[2:]))
        )
        start = edge + outward * (cut.radius + cut.clearance)
        if travel(self.standing, self._bit, start[None], start[None])[0] > z:
            return None
        return (float(start[0]), float(start[1])), loop.begun_at(k)

    def _travel(self, target: tuple[float, float]) -> None:
        """Rise, and go over what stands to above `target`."""
        cut = self._cut
        if self._at is None:
            self._begin = (target[0], target[1], cut.safe)
            self._at = self._begin
            return
        here = np.array([self._at[:2]])
        high = travel(self.standing, self._bit, here, np.array([target]))[0] + cut.clearance
        z = max(min(float(high), cut.safe), self._at[2])
        self._add((self._at[0], self._at[1], z), RAPID, np.nan)
        self._add((target[0], target[1], z), RAPID, np.nan)

    def _come_down(self, target: tuple[float, float], low: float, ground: float) -> None:
        """Come straight down to the clearance over the ice, then slower to `low` at `target`."""
        assert self._at is not None
        x, y, z = self._at
        if ground + self._cut.clearance < z:
            self._add((x, y, ground + self._cut.clearance), RAPID, np.nan)
        if low < self._at[2]:
            self._add((*target, low), CUT, self._cut.approach)

    def _ramp(self, loop: Loop, z: float, over: float, ground: float) -> Loop:
        """Come down along the loop, again and again if it is short; returns it begun at the end.

        ground : mm, highest ice where the bit stands, over the loop's beginning or just beside it
        """
        start = (float(loop.points[0, 0]), float(loop.points[0, 1]))
        low = over + SLOW_MM
        self._come_down(start, low, ground)
        around = float(loop.reach[-1])
        length = (low - z) / tan(radians(self._cut.ramp_deg))
        if length < around:
            loop = loop.with_point(length)
            way, end = loop.reach[loop.reach <= length + 1e-9][1:], loop
            points = loop.points[1 : len(way) + 1]
            end = loop.begun_at(len(way))
        else:
            turns = ceil(length / around)
            length = turns * around
            way = (np.arange(turns)[:, None] * around + loop.reach[1:]).ravel()
            points, end = np.tile(loop.points[1:], (turns, 1)), loop
        heights = np.maximum(low - (low - z) * way / length, z)
        for (x, y), height in zip(points.tolist(), heights.tolist(), strict=True):
            self._add((x, y, height), CUT, self._cut.slot_feed)
        return end


def thin_left(block: BaseGeometry, cleared: BaseGeometry, width: float) -> BaseGeometry:
    """Walls thinner than `width` that clearing would leave standing free; to be cleared as well."""
    left = block.difference(cleared)
    sturdy = left.buffer(-width / 2, join_style="mitre").buffer(width / 2 + 0.5, join_style="mitre")
    thin = shapely.get_parts(left.difference(sturdy))
    return shapely.union_all(thin[shapely.distance(thin, cleared) < 1.0])


def out_of_reach(lowest: HeightField, z: float, radius: float) -> BaseGeometry:
    """Return the area where shank, nut or spindle would meet ice with the tip at `z`.

    Where its edge draws in, a disc of `radius` (mm) is rolled along it: the corners of squares
    would stop the bit at each.
    """
    # a little wider, for arcs are drawn as chords
    rounded = polygons_of(lowest.heights > z, lowest.grid).buffer(radius + SMOOTH_MM, quad_segs=16)
    return rounded.buffer(-radius, quad_segs=16)
