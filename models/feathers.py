"""A coat of overlapping feathers on a smooth body, as a height above its surface.

Feathers are scattered over the skin at the spacing of their region; each rises from its root to
its tip, so the tips of one row lie over the roots of the next.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapes import Points, Values

NEIGHBOURS = 14  # feathers looked at for each point of the skin


@dataclass(frozen=True, slots=True, eq=False)
class Coat:
    """Feathers: middles and frames (m, 3); lengths, half widths, lifts of the tip in mm (m,)."""

    middles: Points
    along: Points
    across: Points
    lengths: Values
    widths: Values
    lifts: Values


def scatter(points: Points, spacing: Values, seed: int) -> NDArray[np.intp]:
    """Indices of points no closer to each other than their spacing, in a seeded order."""
    free = spacing > 0
    tree = cKDTree(points)
    chosen = []
    for i in np.random.default_rng(seed).permutation(len(points)):
        if free[i]:
            chosen.append(i)
            free[tree.query_ball_point(points[i], spacing[i])] = False
    return np.array(chosen, dtype=np.intp)


def heights(points: Points, coat: Coat) -> Values:
    """Height of the coat above the skin at `points`, mm; the highest feather wins."""
    near = cKDTree(coat.middles).query(points, k=NEIGHBOURS, workers=-1)[1]
    top = np.zeros(len(points))
    for pick in near.T:
        offset = points - coat.middles[pick]
        s = np.einsum("ij,ij->i", offset, coat.along[pick]) / coat.lengths[pick]
        t = np.einsum("ij,ij->i", offset, coat.across[pick]) / coat.widths[pick]
        # blade: parallel sides, then a round tip from s = 0.15 on
        edge = np.sqrt(np.clip(1.0 - (np.clip(s - 0.1, 0.0, None) / 0.4) ** 2, 0.0, 1.0))
        inside = (np.abs(t) < edge) & (s > -0.5)
        camber = 1.0 - 0.45 * (t / np.maximum(edge, 0.05)) ** 2
        shaft = 0.16 * np.exp(-((t / 0.12) ** 2))
        top = np.where(
            inside, np.maximum(top, coat.lifts[pick] * ((s + 0.5) * camber + shaft)), top
        )
    return top
