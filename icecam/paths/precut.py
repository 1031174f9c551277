"""Where roughing meets ice at a level, if the block has been cut before: no loop in air there.

Areas are those of the bit's centre, seen from above. Of a whole block each function gives back what
it was given.
"""

from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from icecam.geometry.field import HeightField
from icecam.geometry.slices import polygons_of
from icecam.paths.standing import widened

INSIDE: Final = 0.65
"""Radii inside the edge of the ice at which a bit goes along it: it takes square corners too."""
OFF_MM: Final = 0.15
"""Ice this near to where a bit ends anyway is not looked at again."""
BACK: Final = 1.5
"""Squares by which a straightened outline is drawn back; it strays up to 1.3 of them."""
LEAST_MM2: Final = 1e-3


def gone_at(before: HeightField, z: float, around: float) -> BaseGeometry:
    """Return an area in which no ice stands above `z`, in the block and in the air beside it.

    Parameters
    ----------
    before : greatest heights in squares, of the block before it is roughed
    around : mm beside the block that count as gone where its edge is
    """
    gone = before.heights <= z
    if not gone.any():
        return shapely.Polygon()
    grid, pitch = widened(before, around).grid, before.grid.pitch
    wider = np.pad(gone, (grid.nx - before.grid.nx) // 2, mode="edge")
    # steps of squares become straight lines, drawn back to where no ice stands
    straight = polygons_of(wider, grid).simplify(pitch)
    return straight.buffer(-BACK * pitch, join_style="mitre")


def meeting_ice(
    area: BaseGeometry, gone: BaseGeometry, block: tuple[float, float], radius: float
) -> BaseGeometry:
    """Return as much of `area` as a bit needs to sweep all ice that it would have swept.

    From a way inside the ice a bit takes its edge as well; tips and ribs that it does not reach
    from there are added.
    """
    if gone.is_empty:
        return area
    inner = area.difference(gone.buffer(INSIDE * radius, quad_segs=4))
    ice = shapely.box(0, 0, *block).difference(gone)
    swept = area.buffer(radius - OFF_MM).intersection(ice)
    missed = swept.difference(inner.buffer(radius - OFF_MM / 2))
    if missed.area < LEAST_MM2:
        return inner
    return shapely.union(inner, area.intersection(missed.buffer(radius, quad_segs=4)))


def open_below(
    cleared: BaseGeometry,
    area: BaseGeometry,
    met: BaseGeometry,
    gone: BaseGeometry,
    radius: float,
) -> BaseGeometry:
    """Return where the bit may go deeper: what was cleared, and where nothing stood before.

    area : what was to be cleared; met : the part of it that met ice
    """
    if gone.is_empty:
        return cleared
    return shapely.union_all([cleared, area.difference(met), gone.buffer(-radius)])
