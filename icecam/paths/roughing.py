"""Roughing: the bulk taken off level by level, in loops that widen from the middle of each pocket.

Takes the area the bit may not enter at each level and the area to be cleared; gives a toolpath.
Only the first loop of a pocket cuts a full slot; it is entered from outside the block, or down a
ramp along itself.
"""

from dataclasses import dataclass
from math import ceil, radians, tan
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from icecam.geometry.field import HeightField
from icecam.geometry.slices import polygons_of
from icecam.paths.standing import Part, travel
from icecam.paths.toolpath import CUT, RAPID, Toolpath

SMOOTH_MM: Final = 0.05
"""Loops are simplified to this."""
SMALLEST_MM2: Final = 4.0
"""Pockets with less room than this for the bit's centre are left to finer bits."""
BESIDE: Final = 1.25
"""Stepovers from the loops before, beyond which a way counts as a full slot."""
SLOW_MM: Final = 0.5
"""Over the ice a ramp begins: zero and ice may be off by so much."""
TINIEST_MM2: Final = 1e-3
"""Remains of an inner loop smaller than this are passed over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How a level is cleared: mm and mm/s."""

    radius: float
    stepover: float
    feed: float
    slot_feed: float
    approach: float
    ramp_deg: float
    clearance: float
    safe: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed line (n, 2) with its end on its beginning; `slot` (n - 1,) marks its full slots."""

    points: NDArray[np.float64]
    slot: NDArray[np.bool_]

    def begun_at(self, k: int) -> "Loop":
        """Return the loop begun, and ended, at its point k."""
        k %= len(self.slot)
        points = np.concatenate([self.points[k:-1], self.points[: k + 1]])
        return Loop(points=points, slot=np.roll(self.slot, -k))

    @property
    def reach(self) -> NDArray[np.float64]:
        """(n,) mm, how far along the loop each of its points lies."""
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])

    def with_point(self, along: float) -> "Loop":
        """Return the loop with a point so far (mm) along it, less than its length."""
        reach = self.reach
        k = int(np.searchsorted(reach, along, "left"))
        if reach[k] == along:
            return self
        share = (along - reach[k - 1]) / (reach[k] - reach[k - 1])
        point = self.points[k - 1] + share * (self.points[k] - self.points[k - 1])
        return Loop(
            points=np.insert(self.points, k, point, axis=0),
            slot=np.insert(self.slot, k, self.slot[k - 1]),
        )

    def turned_to(self, place: tuple[float, float]) -> "Loop":
        """Return the loop begun at its point nearest to `place`."""
        apart = np.linalg.norm(self.points[:-1] - np.array(place), axis=1)
        return self.begun_at(int(np.argmin(apart)))


def loops(area: BaseGeometry, stepover: float) -> list[Loop]:
    """Loops that clear `area` (of the bit's centre), each pocket from its middle outwards.

    The ice to be cut lies to the right of the way: a bit turning with the clock cuts downwards
    into it (climb cut).
    """
    found: list[Loop] = []
    for pocket in _polygons(area, 0.0):
        _clear(pocket, stepover, found)
    return found


def roomy(area: BaseGeometry) -> BaseGeometry:
    """Return the pockets of `area` that are worth entering."""
    return shapely.union_all(_polygons(area, SMALLEST_MM2))


def _clear(pocket: shapely.Polygon, stepover: float, found: list[Loop]) -> None:
    """Add the loops of one pocket: those of what lies a stepover inside it, then its own edge."""
    edge = shapely.orient_polygons(shapely.Polygon(pocket).simplify(SMOOTH_MM))
    assert isinstance(edge, shapely.Polygon)
    inner = _polygons(edge.buffer(-stepover, quad_segs=4), TINIEST_MM2)
    for part in inner:
        _clear(part, stepover, found)
    opened = shapely.union_all(inner)
    shapely.prepare(opened)
    for ring in (edge.exterior, *edge.interiors):
        found.append(_marked(ring, opened, stepover))


def _marked(ring: shapely.LinearRing, opened: BaseGeometry, stepover: float) -> Loop:
    """Return a ring as a loop, its ways marked that lie far from what the loops before opened."""
    own = shapely.get_coordinates(ring)
    points = shapely.get_coordinates(shapely.segmentize(ring, 2 * stepover))
    middles = shapely.points((points[:-1] + points[1:]) / 2)
    slot = ~np.asarray(shapely.dwithin(middles, opened, BESIDE * stepover))
    kept = np.isin(points @ [1, 1j], own @ [1, 1j])
    kept[1:-1] |= slot[1:] != slot[:-1]
    return Loop(points=points[kept], slot=slot[kept[:-1]])


def _polygons(area: BaseGeometry, least: float) -> list[shapely.Polygon]:
    """Polygons of an area, those of more than `least` mm2."""
    parts = shapely.get_parts(area)
    return [part for part in parts if isinstance(part, shapely.Polygon) and part.area > least]


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
        for loop in loops(area, self._cut.stepover):
            self._follow(loop, z, over, reachable)
        swept = area.buffer(self._cut.radius)
        shapely.prepare(swept)
        x, y = np.meshgrid(self._grid.x, self._grid.y)
        half = self._grid.pitch / 2
        inside = shapely.contains_xy(swept.buffer(-half * 1.42), x, y)
        self._heights = np.where(inside, np.minimum(self._heights, z), self._heights)
        return area

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

    def _follow(self, loop: Loop, z: float, over: float, reachable: BaseGeometry) -> None:
        """Go to a loop and once round it."""
        cut = self._cut
        if self._at is not None and self._at[2] == z:
            near = loop.turned_to(self._at[:2])
            way = shapely.LineString([self._at[:2], near.points[0]])
            if way.length <= 3 * cut.stepover and reachable.covers(way):
                self._cut_along(near, z, also_first=True)
                return
        outside = self._way_in(loop, z)
        if outside is not None:
            start, loop = outside
            self._travel(start)
            self._come_down(start, z, z)
            self._cut_along(loop, z, also_first=True)
            return
        loop = loop if self._at is None else loop.turned_to(self._at[:2])
        self._travel((float(loop.points[0, 0]), float(loop.points[0, 1])))
        self._cut_along(self._ramp(loop, z, over), z, also_first=False)

    def _cut_along(self, loop: Loop, z: float, *, also_first: bool) -> None:
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
        """Come straight down to `low`, slower from the clearance over the ice on."""
        assert self._at is not None
        for z, kind, feed in (
            (ground + self._cut.clearance, RAPID, np.nan),
            (low, CUT, self._cut.approach),
        ):
            if z < self._at[2]:
                self._add((*target, z), kind, feed)

    def _ramp(self, loop: Loop, z: float, over: float) -> Loop:
        """Come down along the loop, again and again if it is short; returns it begun at the end."""
        start = (float(loop.points[0, 0]), float(loop.points[0, 1]))
        low = over + SLOW_MM
        self._come_down(start, low, over)
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


def out_of_reach(lowest: HeightField, z: float) -> BaseGeometry:
    """Return the area where shank, nut or spindle would meet ice with the tip at `z`."""
    return polygons_of(lowest.heights > z, lowest.grid)
