"""Loops that clear an area of the bit's centre: each pocket from its middle outwards."""

from dataclasses import dataclass
from typing import Final, Generic, NamedTuple, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

SMOOTH_MM: Final = 0.05
"""Loops are simplified to this."""
SMALLEST_MM2: Final = 4.0
"""Pockets with less room than this for the bit's centre are left to finer bits."""
BESIDE: Final = 1.25
"""Stepovers from the loops before, beyond which a way counts as a full slot."""
TINIEST_MM2: Final = 1e-3
"""Remains of an inner loop smaller than this are passed over."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A way (n, 2) of the bit's centre; `slot` (n - 1,) marks its full slots."""

    points: NDArray[np.float64]
    slot: NDArray[np.bool_]

    def turned(self) -> "Line":
        """Return the way from its end to its beginning."""
        return Line(points=self.points[::-1], slot=self.slot[::-1])

    def and_back(self) -> "Loop":
        """Return the way there and back again."""
        points = np.concatenate([self.points, self.points[-2::-1]])
        return Loop(points=points, slot=np.concatenate([self.slot, self.slot[::-1]]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop(Line):
    """A closed line with its end on its beginning."""

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


Way = TypeVar("Way", bound=Line)


class Turn(NamedTuple, Generic[Way]):
    """A way, the numbers of those next to it that come first, whether it may go `back` as well."""

    way: Way
    first: tuple[int, ...]
    back: bool = False

    @property
    def starts(self) -> shapely.MultiPoint:
        """Where the way may begin."""
        return shapely.MultiPoint(self.way.points[[0, -1] if self.back else [0]])

    def begun_near(self, place: tuple[float, float]) -> Line:
        """Return the way, from its end if it may go back and that is nearer to a place."""
        first, last = np.linalg.norm(self.way.points[[0, -1]] - np.array(place), axis=1)
        return self.way.turned() if self.back and last < first else self.way


def loops(area: BaseGeometry, stepover: float, radius: float) -> list[Turn[Loop]]:
    """Loops that clear `area` (of the bit's centre), each pocket from its middle outwards.

    radius : mm, within which of a loop the bit clears

    The ice to be cut lies to the right of the way: a bit turning with the clock cuts downwards
    into it (climb cut).
    """
    found: list[Turn[Loop]] = []
    for pocket in polygons(area, 0.0):
        _clear(pocket, stepover, radius, found)
    return found


def roomy(area: BaseGeometry) -> BaseGeometry:
    """Return the pockets of `area` that are worth entering."""
    return shapely.union_all(polygons(area, SMALLEST_MM2))


def _clear(
    pocket: shapely.Polygon, stepover: float, radius: float, found: list[Turn[Loop]]
) -> list[int]:
    """Add the loops of one pocket: those of what lies a stepover inside it, then its own edge.

    Where the stepover is wider than the radius, pillars would stand in corners between both.
    Returns the numbers of the loops along its edge.
    """
    edge = shapely.orient_polygons(shapely.Polygon(pocket).simplify(SMOOTH_MM))
    assert isinstance(edge, shapely.Polygon)
    inner = polygons(edge.buffer(-stepover, quad_segs=4), TINIEST_MM2)
    inside = [n for part in inner for n in _clear(part, stepover, radius, found)]
    opened = shapely.union_all(inner)
    if stepover > radius:
        cleared = opened.buffer(radius - SMOOTH_MM, quad_segs=16)
        for pillar in polygons(edge.buffer(-radius, quad_segs=16).difference(cleared), 0.0):
            inside += _clear(pillar, stepover, radius, found)
    for ring in (edge.exterior, *edge.interiors):
        line = marked(ring, opened, stepover)
        found.append(Turn(Loop(points=line.points, slot=line.slot), tuple(inside)))
    return list(range(len(found) - 1 - len(edge.interiors), len(found)))


def marked(way: shapely.LineString, opened: BaseGeometry, stepover: float) -> Line:
    """Return a way as a line, marked where it lies far from what the ways before opened."""
    own = shapely.get_coordinates(way)
    points = shapely.get_coordinates(shapely.segmentize(way, 2 * stepover))
    middles = shapely.points((points[:-1] + points[1:]) / 2)
    shapely.prepare(opened)
    slot = ~np.asarray(shapely.dwithin(opened, middles, BESIDE * stepover))
    kept = np.isin(points @ [1, 1j], own @ [1, 1j])
    kept[1:-1] |= slot[1:] != slot[:-1]
    return Line(points=points[kept], slot=slot[kept[:-1]])


def polygons(area: BaseGeometry, least: float) -> list[shapely.Polygon]:
    """Polygons of an area, those of more than `least` mm2."""
    parts = shapely.get_parts(area)
    return [part for part in parts if isinstance(part, shapely.Polygon) and part.area > least]
