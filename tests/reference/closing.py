"""Slow twins of the ice left by a bit and of its thickness, from their definitions."""

import numpy as np
from numpy.typing import NDArray

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]


def closed(
    x: Floats, y: Floats, tips: Floats, tip_x: Floats, tip_y: Floats, solid: Solid
) -> Floats:
    """Lowest point over each cell centre (y, x) of a bit set down at every one of its tips."""
    left = np.full((len(y), len(x)), np.inf)
    for v, ty in enumerate(tip_y):
        for u, tx in enumerate(tip_x):
            r = np.hypot(x[None, :] - tx, y[:, None] - ty)
            under = tips[v, u] + heights(solid, np.minimum(r, solid.radius))
            left = np.minimum(left, np.where(r <= solid.radius, under, np.inf))
    return left


def thickness(ice: Floats, wanted: Floats, cell: float, window: int) -> Floats:
    """Least of the ways from the ice to the sculpture that the definition lists; NaN beside it."""
    ny, nx = ice.shape
    found = np.full(ice.shape, np.nan)
    for j, i in zip(*np.nonzero(np.isfinite(wanted)), strict=True):
        over = float(ice[j, i] - wanted[j, i])
        if over <= 0:
            found[j, i] = 0.0
            continue
        ways = [over]
        steps = []
        for before, after in (
            ((j, max(i - 1, 0)), (j, min(i + 1, nx - 1))),
            ((max(j - 1, 0), i), (min(j + 1, ny - 1), i)),
        ):
            here, sides = wanted[j, i], (wanted[before], wanted[after])
            on_crest = all(side <= here for side in sides)
            steps.append(0.0 if on_crest else min(abs(here - side) for side in sides))
        gradient = float(np.hypot(steps[0], steps[1])) / cell
        ways.append(over / float(np.hypot(1.0, gradient)))
        for v in range(max(j - window, 0), min(j + window, ny - 1) + 1):
            for u in range(max(i - window, 0), min(i + window, nx - 1) + 1):
                if np.isfinite(wanted[v, u]):
                    side = float(np.hypot(v - j, u - i)) * cell
                    ways.append(float(np.hypot(side, max(ice[j, i] - wanted[v, u], 0.0))))
        found[j, i] = min(ways)
    return found
