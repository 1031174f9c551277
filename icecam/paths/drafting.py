"""A stage planned as a draft, to know what time it will take.

A draft keeps the number, the length and the order of cuts, and how sharply they bend. It reads
heights off the grid of tips where a plan drops the bit on the sculpture, so its points may lie a
little in the ice: it is never cut.
"""

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, Heights


def read_off(tips: HeightField, points: NDArray[np.float64]) -> Heights:
    """Return the height between the four nodes round each point (n, 2), bilinear.

    Beside the grid the nearest edge counts.
    """
    g, heights = tips.grid, tips.heights
    x = np.clip((points[:, 0] - g.x0) / g.pitch, 0.0, g.nx - 1)
    y = np.clip((points[:, 1] - g.y0) / g.pitch, 0.0, g.ny - 1)
    i = np.minimum(x.astype(np.intp), max(g.nx - 2, 0))
    j = np.minimum(y.astype(np.intp), max(g.ny - 2, 0))
    i1, j1 = np.minimum(i + 1, g.nx - 1), np.minimum(j + 1, g.ny - 1)
    u, v = x - i, y - j
    below = heights[j, i] * (1 - u) + heights[j, i1] * u
    above = heights[j1, i] * (1 - u) + heights[j1, i1] * u
    between: Heights = below * (1 - v) + above * v
    return between
