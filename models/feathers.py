"""A coat of overlapping feathers on a smooth body, as a height above its surface.

Feathers are scattered over the skin at the spacing of their region; each rises from its root to
its tip, so the tips of one row lie over the roots of the next.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapes import Points, Values

NEIGHBOURS = 16  # feathers looked at for each point of the skin
EDGE_MM = 0.9  # over which a feather's edge falls to the one below
BARB_MM, BARB_SPACING_MM = 0.22, 2.2


@dataclass(frozen=True, slots=True, eq=False)
class Coat:
    """Feathers: middles and frames (m, 3); lengths, half widths, lifts of the tip in mm (m,).

    `groups` (m,) keeps the feathers of a wing off the flank it lies against.
    """

    middles: Points
    along: Points
    across: Points
    lengths: Values
    widths: Values
    lifts: Values
    groups: NDArray[np.intp]


def scatter(points: Points, spacing: Values, seed: int) -> NDArray[np.intp]:
    """Choose points no closer together than their spacing, in a seeded order; gives indices."""
    free = spacing > 0
    tree = cKDTree(points)
    chosen = []
    for i in np.random.default_rng(seed).permutation(len(points)):
        if free[i]:
            chosen.append(i)
            free[tree.query_ball_point(points[i], spacing[i])] = False
    return np.array(chosen, dtype=np.intp)


def heights(points: Points, groups: NDArray[np.intp], coat: Coat) -> Values:
    """Height of the coat above the skin at `points`, mm; the highest feather wins."""
    near = np.asarray(cKDTree(coat.middles).query(points, k=NEIGHBOURS, workers=-1)[1])
    top = np.zeros(len(points))
    for pick in near.T:
        offset = points - coat.middles[pick]
        long, wide = coat.lengths[pick], coat.widths[pick]
        s = np.einsum("ij,ij->i", offset, coat.along[pick]) / long
        t = np.abs(np.einsum("ij,ij->i", offset, coat.across[pick])) / wide
        # blade: parallel sides, then a round tip from s = 0.05 on
        edge = np.sqrt(np.clip(1.0 - (np.clip(s - 0.05, 0.0, None) / 0.45) ** 2, 0.0, 1.0))
        inside = np.minimum((edge - t) * wide, np.minimum(0.5 - s, s + 0.5) * long)
        rise = (s + 0.5) * (1.0 - 0.35 * t**2) + 0.14 * np.exp(-((t / 0.11) ** 2))
        barbs = BARB_MM * np.sin(2 * np.pi * (0.75 * t * wide - s * long) / BARB_SPACING_MM)
        body = coat.lifts[pick] * rise + barbs * np.clip(long / 16.0 - 0.7, 0.0, 1.0)
        body = body * np.clip(inside / EDGE_MM, 0.0, 1.0)
        top = np.where(groups == coat.groups[pick], np.maximum(top, body), top)
    return top
