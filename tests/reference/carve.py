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

GAP = 1e-9
"""mm: whether a cell lies under the very rim is up to rounding."""


@dataclass(frozen=True, slots=True)
class Between:
    """Least and greatest that heights, or one figure a move, can be."""

    low: Floats
    high: Floats

    def of(self, which: NDArray[np.bool_]) -> "Between":
        """Return the bounds of some of them."""
        return Between(self.low[which], self.high[which])


@dataclass(frozen=True, slots=True)
class Move:
    """What is swept over each cell by the cutting end and by each part above it."""

    cutting: Between
    parts: list[Between]
    cuts: bool


@dataclass(frozen=True, slots=True)
class Met:
    """The ice at the end, and one figure a move.

    taken : sum of mm over cells; depth : of the ice that the cutting end meets, whether it cuts or
    not; contact : deepest ice that a part above meets
    """

    ice: Between
    taken: Between
    depth: Between
    contact: Between


def _under(solid: Solid, r: Floats) -> Floats:
    above = heights(solid, np.clip(r, 0.0, solid.radius))
    return np.where(r <= solid.radius, above, np.inf)


def swept(solid: Solid, a: Floats, b: Floats, x: Floats, y: Floats, places: int = 120) -> Between:
    """Return the lowest of the bit over each cell centre (y, x) on its way from a to b."""
    half = float(np.linalg.norm((b - a)[:2])) / places / 2
    drop = abs(float(b[2] - a[2])) / places / 2
    tips = a + np.linspace(0.0, 1.0, places + 1)[:, None] * (b - a)
    r = np.hypot(x[None, None, :] - tips[:, 0, None, None], y[:, None] - tips[:, 1, None, None])
    z = tips[:, 2, None, None]
    low = (z - drop + _under(solid, r - half - GAP)).min(axis=0)
    return Between(low, (z + _under(solid, r + GAP)).min(axis=0))


def _meeting(ice: Between, sweep: Between) -> tuple[Floats, Floats]:
    """Return how far the ice reaches into what is swept, a cell: at least, and at most."""
    return np.maximum(ice.low - sweep.high, 0.0), np.maximum(ice.high - sweep.low, 0.0)


def carved(ice: Between, moves: list[Move]) -> Met:
    """Let the moves pass one after the other; the parts meet the ice before the cut is made."""
    rows = []
    for move in moves:
        low, high = _meeting(ice, move.cutting)
        touch = [_meeting(ice, part) for part in move.parts]
        rows.append(
            (
                (low.sum(), high.sum()) if move.cuts else (0.0, 0.0),
                (low.max(), high.max()),
                (
                    max((least.max() for least, _ in touch), default=0.0),
                    max((most.max() for _, most in touch), default=0.0),
                ),
            )
        )
        if move.cuts:
            low = np.minimum(ice.low, move.cutting.low)
            ice = Between(low, np.minimum(ice.high, move.cutting.high))
    figures = np.array(rows, dtype=np.float64)
    taken, depth, contact = (Between(figures[:, k, 0], figures[:, k, 1]) for k in range(3))
    return Met(ice=ice, taken=taken, depth=depth, contact=contact)
