"""Collars: ice left thick beside thin walls while the bulk goes, then trimmed off in thin levels.

Takes the area of the bit's centre at a level and what of it was cleared deeper before; gives the
lines that trim what stands between, from the open side towards the wall.
"""

from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from icecam.paths.loops import SMOOTH_MM, Line, Loop, marked, polygons

SHORTEST_MM: Final = 0.5
"""Shorter pieces of line lie where the open side's edge is drawn anew, and take nothing."""
LEAST_MM2: Final = 0.05
NARROWEST_MM2: Final = 10.0
"""Collars smaller than this are left to finer bits."""


def without_slivers(area: BaseGeometry, core: BaseGeometry) -> BaseGeometry:
    """Return an area without what is too narrow beside the core to be trimmed; a bit stays out."""
    beside = polygons(area.difference(core.buffer(SMOOTH_MM)), 0.0)
    slivers = [part for part in beside if part.area <= NARROWEST_MM2]
    return area.difference(shapely.union_all(slivers)) if slivers else area


def collars(area: BaseGeometry, core: BaseGeometry) -> list[shapely.Polygon]:
    """Return what of `area` was not cleared with the core, in parts that hang together."""
    return polygons(area.difference(core.buffer(SMOOTH_MM)), NARROWEST_MM2)


def trimming(
    collar: shapely.Polygon, area: BaseGeometry, core: BaseGeometry, stepover: float
) -> list[list[Line]]:
    """Return the lines that trim a collar, those nearest to the core first.

    Lines run along edges of `area` drawn in by whole stepovers, the last along the edge itself,
    with the ice to their right. What lies over the core is left out. A closed line begins where it
    is nearest to the core.
    """
    beside = collar.buffer(2 * SMOOTH_MM)
    opened = core.intersection(collar.buffer(3 * stepover))
    taken = core.buffer(SMOOTH_MM)
    drawn_in = [area]
    while True:
        inner = area.buffer(-len(drawn_in) * stepover, quad_segs=4)
        if inner.intersection(beside).difference(taken).area < LEAST_MM2:
            break
        drawn_in.append(inner)
    lines = []
    for whole in reversed(drawn_in):
        alike = []
        for piece in _along(whole, beside, taken):
            line = marked(piece, opened, stepover)
            alike.append(_begun_near(line, core) if piece.is_closed else line)
        lines.append(alike)
        opened = opened.union(whole.intersection(beside))
    return lines


def _along(
    area: BaseGeometry, beside: BaseGeometry, taken: BaseGeometry
) -> list[shapely.LineString]:
    """Edges of an area beside a collar and not over what is taken, the ice to the right."""
    found = []
    for polygon in polygons(area, LEAST_MM2):
        simple = shapely.orient_polygons(shapely.Polygon(polygon).simplify(SMOOTH_MM))
        assert isinstance(simple, shapely.Polygon)
        for ring in (simple.exterior, *simple.interiors):
            line = shapely.LineString(ring.coords).intersection(beside).difference(taken)
            parts = [part for part in shapely.get_parts(line) if part.length > 0]
            merged = shapely.line_merge(shapely.MultiLineString(parts), directed=True)
            found += [p for p in shapely.get_parts(merged) if p.length >= SHORTEST_MM]
    return found


def _begun_near(line: Line, core: BaseGeometry) -> Loop:
    loop = Loop(points=line.points, slot=line.slot)
    return loop.begun_at(int(np.argmin(shapely.distance(core, shapely.points(loop.points)))))
