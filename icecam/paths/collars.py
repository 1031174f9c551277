"""Collars: ice left thick beside thin walls while the bulk goes, then trimmed off in thin levels.

Takes the area of the bit's centre at a level and what of it was cleared deeper before; gives the
lines that trim what stands between, from the open side towards the wall.
"""

from collections.abc import Callable, Sequence
from copy import deepcopy
from functools import cache
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from icecam.kernels.compiled import each_of
from icecam.paths.loops import SMALLEST_MM2, SMOOTH_MM, Line, Loop, Turn, marked, polygons, roomy

SHORTEST_MM: Final = 0.5
"""Shorter pieces of line lie where the open side's edge is drawn anew, and take nothing."""
LEAST_MM2: Final = 0.05
BESIDE: Final = 1.5
"""Stepovers from a line to those that open its way, which lie a stepover aside."""
NARROWEST_MM2: Final = 10.0
"""Collars smaller than this are left to finer bits."""


def without_slivers(area: BaseGeometry, core: BaseGeometry) -> BaseGeometry:
    """Return an area without what is too narrow beside the core to be trimmed; a bit stays out."""
    beside = polygons(area.difference(core.buffer(SMOOTH_MM)), 0.0)
    slivers = [part for part in beside if part.area <= NARROWEST_MM2]
    return area.difference(shapely.union_all(slivers)) if slivers else area


class Pocket(NamedTuple):
    """A pocket of the bit's centre: what of it was cleared deeper before, the collars beside that.

    core : empty if nothing of it was; then there are no collars
    """

    whole: shapely.Polygon
    core: BaseGeometry
    collars: list[shapely.Polygon]


def pockets(area: BaseGeometry, core: BaseGeometry) -> list[Pocket]:
    """Return the pockets of an area of which `core` was cleared deeper."""
    found = []
    for whole in polygons(area, SMALLEST_MM2):
        near = roomy(core.intersection(whole))
        found.append(Pocket(whole, near, [] if near.is_empty else collars(whole, near)))
    return found


def collars(area: BaseGeometry, core: BaseGeometry) -> list[shapely.Polygon]:
    """Return what of `area` was not cleared with the core, in parts that hang together."""
    return polygons(area.difference(core.buffer(SMOOTH_MM)), NARROWEST_MM2)


class Trims(NamedTuple):
    """What trims the collars of a pocket at a level.

    lines : of each collar, see `trimming`
    reachable : where the bit may go at that level, prepared
    """

    lines: list[list[Turn[Line]]]
    reachable: BaseGeometry


def trims(
    areas: Sequence[BaseGeometry], pockets: Sequence[Pocket], stepover: float
) -> list[list[Trims]]:
    """Return for each area of a level what trims the collars of each pocket there."""

    def of_level(own: tuple[BaseGeometry, Sequence[Pocket]]) -> list[Trims]:
        area, pockets = own
        edges = drawn_in(area, stepover)
        return [_of_pocket(pocket, area, edges, stepover) for pocket in pockets]

    # a geometry notes its bounds when first asked for them, so no two threads may share one
    return each_of([deepcopy((area, pockets)) for area in areas], of_level)


class Edge(NamedTuple):
    """An area of the bit's centre, and the rings along its edge with the ice to their right."""

    area: BaseGeometry
    rings: list[shapely.LineString]


Edges = Callable[[int], Edge]
"""Edges of an area drawn in by so many stepovers."""


def drawn_in(area: BaseGeometry, stepover: float) -> Edges:
    """Return the edges of an area, each worked out once for all collars."""

    @cache
    def edge(count: int) -> Edge:
        inner = area.buffer(-count * stepover, quad_segs=4) if count > 0 else area
        rings: list[shapely.LineString] = []
        for polygon in polygons(inner, LEAST_MM2):
            simple = shapely.orient_polygons(shapely.Polygon(polygon).simplify(SMOOTH_MM))
            assert isinstance(simple, shapely.Polygon)
            rings += (shapely.LineString(r.coords) for r in (simple.exterior, *simple.interiors))
        return Edge(inner, rings)

    return edge


def _of_pocket(pocket: Pocket, area: BaseGeometry, edges: Edges, stepover: float) -> Trims:
    taken = pocket.core.buffer(SMOOTH_MM)
    reachable = area.union(pocket.core).buffer(2 * SMOOTH_MM)
    shapely.prepare(reachable)
    return Trims(
        lines=[trimming(each, edges, pocket.core, taken, stepover) for each in pocket.collars],
        reachable=reachable,
    )


def trimming(
    collar: shapely.Polygon,
    edges: Edges,
    core: BaseGeometry,
    taken: BaseGeometry,
    stepover: float,
) -> list[Turn[Line]]:
    """Return the lines that trim a collar, each after those beside it on the side of the core.

    Lines run along edges drawn in by whole stepovers, the last along the edge itself. That has the
    ice to its right, so that the bit pushes a thin wall away and does not draw it in (common
    practice, no source); the others may go back as well. What lies over `taken`, the core and a
    little more, is left out. A closed line begins where it is nearest to the core.
    """
    beside = collar.buffer(2 * SMOOTH_MM)
    # what of the core lies near is enough, and found sooner in a box than in a wider collar
    opened = core.intersection(shapely.box(*collar.bounds).buffer(3 * stepover, join_style="mitre"))
    count = 1
    while edges(count).area.intersection(beside).difference(taken).area >= LEAST_MM2:
        count += 1
    turns: list[Turn[Line]] = []
    before = 0
    for n in reversed(range(count)):
        edge = edges(n)
        pieces = _along(edge.rings, beside, taken)
        opening = np.array([shapely.LineString(turn.way.points) for turn in turns[before:]])
        own = len(turns)
        for piece in pieces:
            first = before + np.flatnonzero(shapely.dwithin(piece, opening, BESIDE * stepover))
            line = marked(piece, opened, stepover)
            line = _begun_near(line, core) if piece.is_closed else line
            turns.append(Turn(line, tuple(first.tolist()), back=n > 0 and not piece.is_closed))
        before = own
        opened = opened.union(edge.area.intersection(beside))
    return turns


def _along(
    rings: Sequence[shapely.LineString], beside: BaseGeometry, taken: BaseGeometry
) -> list[shapely.LineString]:
    """Parts of rings beside a collar and not over what is taken."""
    found = []
    for ring in rings:
        line = ring.intersection(beside).difference(taken)
        parts = [part for part in shapely.get_parts(line) if part.length > 0]
        merged = shapely.line_merge(shapely.MultiLineString(parts), directed=True)
        found += [p for p in shapely.get_parts(merged) if p.length >= SHORTEST_MM]
    return found


def _begun_near(line: Line, core: BaseGeometry) -> Loop:
    near = shapely.shortest_line(shapely.LineString(line.points), core)
    x, y = shapely.get_coordinates(near)[0].tolist()
    return Loop(points=line.points, slot=line.slot).turned_to((x, y))
