"""Slow twin of carving: the bit set down at many places along each move, one after the other.

Between two places a step apart the axis is within half a step of one of them, sideways and, times
the slope, in height. So the ice left stands no higher than under the places themselves, and no
lower than under places lowered by that much of a bit whose profile begins half a step further out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Between:
    """Least and greatest that a height, or a depth, can be."""

    low: Floats
    high: Floats


def _under(solid: Solid, tip: Floats, x: Floats, y: Floats, slack: float) -> Floats:
    r = np.maximum(np.hypot(x[None, :] - tip[0], y[:, None] - tip[1]) - slack, 0.0)
    lower = tip[2] + heights(solid, np.minimum(r, solid.radius))
    return np.where(r <= solid.radius, lower, np.inf)


def swept(solid: Solid, a: Floats, b: Floats, x: Floats, y: Floats, places: int = 400) -> Between:
    """Return the lowest of the bit over each cell centre (y, x) on its way from a to b."""
    level, rise = float(np.hypot(*(b - a)[:2])), abs(float(b[2] - a[2]))
    low, high = np.full((2, len(y), len(x)), np.inf)
    for share in np.linspace(0.0, 1.0, places + 1):
        tip = a + share * (b - a)
        high = np.minimum(high, _under(solid, tip, x, y, 0.0))
        lowered = tip - [0.0, 0.0, rise / places / 2]
        low = np.minimum(low, _under(solid, lowered, x, y, level / places / 2))
    return Between(low, high)


def carved(ice: Between, path: list[tuple[Between, bool]]) -> tuple[Between, Between]:
    """Return the ice left by moves (swept, whether it cuts), and the deepest ice met by each."""
    depth_low, depth_high = [], []
    for sweep, cuts in path:
        depth_low.append(max(float((ice.low - sweep.high).max()), 0.0))
        depth_high.append(max(float((ice.high - sweep.low).max()), 0.0))
        if cuts:
            low, high = np.minimum(ice.low, sweep.low), np.minimum(ice.high, sweep.high)
            ice = Between(low, high)
    return ice, Between(np.array(depth_low), np.array(depth_high))
