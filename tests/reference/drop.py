"""Slow twin of the tip surfaces: the highest tip over all points of all triangles, by search.

A bit at (x, y) rests at the greatest p_z - h(|p_xy - (x, y)|) over points p. That is concave over
a triangle, so two nested searches, each narrowing an interval by nearly half, find it. Points
beyond the bit's radius cost `WALL` a mm, which keeps it concave and drives them out of question.
"""

import numpy as np
from numpy.typing import NDArray

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]

WALL = 1e12
STEPS = 32
"""0.51 ** 32 is 4e-10 of a side: the twin is at most that, times the steepness, too low."""


def _tip(solid: Solid, where: Floats, point: Floats) -> Floats:
    r = np.hypot(point[..., 0] - where[:, None, 0], point[..., 1] - where[:, None, 1])
    beyond = np.maximum(r - solid.radius, 0.0)
    return np.asarray(point[..., 2] - heights(solid, np.minimum(r, solid.radius)) - WALL * beyond)


def _highest(solid: Solid, where: Floats, a: Floats, b: Floats) -> Floats:
    """Return the highest tip over the segments a-b, (points, triangles, 3)."""
    low, high = np.zeros(a.shape[:2]), np.ones(a.shape[:2])
    best = np.maximum(_tip(solid, where, a), _tip(solid, where, b))
    for _ in range(STEPS):
        left, right = low + 0.49 * (high - low), low + 0.51 * (high - low)
        tip_left = _tip(solid, where, a + left[..., None] * (b - a))
        tip_right = _tip(solid, where, a + right[..., None] * (b - a))
        best = np.maximum(best, np.maximum(tip_left, tip_right))
        low = np.where(tip_left < tip_right, left, low)
        high = np.where(tip_left < tip_right, high, right)
    return best


def tips(solid: Solid, triangles: Floats, where: Floats) -> Floats:
    """Return tip heights at points (m, 2) over triangles (n, 3, 3); far below where none meets."""
    shape = (len(where), len(triangles), 3)
    a, b, c = (np.broadcast_to(triangles[None, :, k], shape) for k in range(3))
    low, high = np.zeros(shape[:2]), np.ones(shape[:2])

    def across(share: Floats) -> Floats:
        cut = share[..., None]
        return _highest(solid, where, a + cut * (b - a), a + cut * (c - a))

    best = np.maximum(across(low), across(high))
    for _ in range(STEPS):
        left, right = low + 0.49 * (high - low), low + 0.51 * (high - low)
        tip_left, tip_right = across(left), across(right)
        best = np.maximum(best, np.maximum(tip_left, tip_right))
        low = np.where(tip_left < tip_right, left, low)
        high = np.where(tip_left < tip_right, high, right)
    return np.asarray(best.max(axis=1))
