"""Slow twin of the bit profiles, from the definition of a bit as a solid of revolution.

Every cutting end is a core swollen by its corner radius: the core is a cylinder, or a cone that
widens upwards, with a level underside. A height is the lowest place that lies within the corner
radius of the core, found by bisection.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """Half width of the level underside, corner radius, flank angle from the axis; mm and rad."""

    flat: float
    corner: float
    taper: float
    radius: float

    def swollen(self, allowance: float) -> "Solid":
        """Return the solid with everything within `allowance` of it, its tip put at zero again."""
        return Solid(
            flat=self.flat,
            corner=self.corner + allowance,
            taper=self.taper,
            radius=self.radius + allowance,
        )


def distance_to_core(solid: Solid, r: Floats, z: Floats) -> Floats:
    """Return how far points at axis distance r, height z over the tip, lie from the core."""
    beside = np.maximum(r - solid.flat, 0.0)
    under = solid.corner - z
    sine, cosine = np.sin(solid.taper), np.cos(solid.taper)
    along = beside * sine - under * cosine
    off_flank = beside * cosine + under * sine
    off_rim = np.hypot(beside, under)
    to_flank = np.where(along >= 0.0, np.maximum(off_flank, 0.0), off_rim)
    return np.where((under <= 0.0) & (off_flank <= 0.0), 0.0, to_flank)


def heights_by_bisection(solid: Solid, r: Floats) -> Floats:
    """Return the lowest height within the corner radius of the core, r <= radius."""
    low = np.full_like(r, -1.0)
    slant = np.tan(solid.taper)
    high = solid.corner + (np.maximum(r - solid.flat, 0.0) / slant if slant > 0.0 else 0.0 * r)
    for _ in range(80):
        middle = (low + high) / 2
        inside = distance_to_core(solid, r, middle) <= solid.corner
        if solid.corner == 0.0:
            inside = (middle >= 0.0) & (r <= solid.flat + middle * slant)
        high = np.where(inside, middle, high)
        low = np.where(inside, low, middle)
    return high


def heights(solid: Solid, r: Floats) -> Floats:
    """Return the same as textbook pieces, for twins that need many heights."""
    rim = solid.flat + solid.corner * np.cos(solid.taper)
    off = np.clip(r - solid.flat, 0.0, solid.corner)
    arc = solid.corner - np.sqrt(solid.corner**2 - off**2)
    if solid.taper == 0.0:
        return arc
    flank = solid.corner * (1 - np.sin(solid.taper)) + (r - rim) / np.tan(solid.taper)
    return np.where(r <= rim, arc, flank)
