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
SECANT = 1e-4
PLACES = 250
SCRAPE = 1e-3
"""mm: whether thinner ice is met at all is up to where the places of the twin lie."""


@dataclass(frozen=True, slots=True)
class Between:
    """Least and greatest that heights, or one figure a move, can be."""

    low: Floats
    high: Floats

    def of(self, which: NDArray[np.bool_]) -> "Between":
        """Return the bounds of some of them."""
        return Between(self.low[which], self.high[which])


@dataclass(frozen=True, slots=True)
class Touch:
    """The way of a cutting end over each cell, from far off: heights under it, and its advance.

    under : (places, y, x) mm, the lowest of the bit over the cell at each place in turn
    advance : at least and at most, the share of the way along the bit's normal over the cell
    ahead : the same of an upright side of the bit; None if it has none
    """

    under: Floats
    advance: Between
    ahead: Floats | None = None

    def at(self, ice: Floats) -> Between:
        """Return the advance where the bit first comes down to the ice over each cell."""
        touched = self.under <= ice
        first = touched.argmax(axis=0)
        before = np.maximum(first - 1, 0)[None]
        low = np.take_along_axis(self.advance.low, first[None], axis=0)[0]
        high = np.take_along_axis(self.advance.high, before, axis=0)[0]
        found = touched.any(axis=0)
        if self.ahead is not None:
            # a cell that lay beside the bit at the place before is touched by its side
            side = np.isinf(np.take_along_axis(self.under, before, axis=0)[0]) & (first > 0)
            there, then = (
                np.take_along_axis(self.ahead, place, axis=0)[0] for place in (first[None], before)
            )
            low = np.where(side, np.clip(np.minimum(there, then), 0.0, 1.0), low)
            high = np.where(side, np.clip(np.maximum(there, then), 0.0, 1.0), high)
        return Between(np.where(found, low, 0.0), np.where(found, high, 0.0))


@dataclass(frozen=True, slots=True)
class Move:
    """What is swept over each cell by the cutting end and by each part above it."""

    cutting: Between
    parts: list[Between]
    cuts: bool
    first: "Touch"


@dataclass(frozen=True, slots=True)
class Met:
    """The ice at the end, and one figure a move.

    taken : sum of mm over cells; depth : of the ice that the cutting end meets, whether it cuts or
    not; contact : deepest ice that a part above meets; chip : most of the advance of a move
    that cuts, over cells from which it takes more than `SCRAPE`; mean : depth of what a move that
    cuts takes, by volume
    """

    ice: Between
    taken: Between
    depth: Between
    contact: Between
    chip: Between
    mean: Between


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


def first_touch(solid: Solid, a: Floats, b: Floats, x: Floats, y: Floats) -> Touch:
    """Let a bit come along the line a-b from a diameter before a to b.

    The surface over a cell sinks as the bit comes; how fast, over the way, times the upright share
    of the bit's normal there, is the advance. Straight down it is taken as 1.
    """
    length = float(np.linalg.norm((b - a)[:2]))
    if length == 0.0:
        flat = np.full((1, len(y), len(x)), float(min(a[2], b[2])))
        return Touch(flat, Between(np.ones_like(flat), np.ones_like(flat)))
    u = (b - a) / length
    way = np.linspace(-2.2 * solid.radius, length, PLACES)
    tips = a + way[:, None] * u
    ahead = (x - tips[:, 0, None])[:, None, :] * u[0] + (y - tips[:, 1, None])[:, :, None] * u[1]
    r = np.hypot(x[None, None, :] - tips[:, 0, None, None], y[:, None] - tips[:, 1, None, None])
    under = tips[:, 2, None, None] + _under(solid, r)
    cosine = np.divide(ahead, r, out=np.zeros_like(r), where=r > 0)
    each = []
    for near in (r - SECANT, r):
        first = np.clip(near, 0.0, solid.radius - SECANT)
        slope = (heights(solid, first + SECANT) - heights(solid, first)) / SECANT
        sine = slope / np.hypot(1.0, slope)
        sinking = sine * cosine - u[2] * np.sqrt(1 - sine**2)
        each.append(np.clip(sinking / np.hypot(1.0, u[2]), 0.0, 1.0))
    side = cosine / np.hypot(1.0, u[2]) if solid.taper == 0.0 else None
    return Touch(under, Between(np.minimum(*each), np.maximum(*each)), side)


def _meeting(ice: Between, sweep: Between) -> tuple[Floats, Floats]:
    """Return how far the ice reaches into what is swept, a cell: at least, and at most."""
    return np.maximum(ice.low - sweep.high, 0.0), np.maximum(ice.high - sweep.low, 0.0)


def _mean(low: Floats, high: Floats) -> tuple[float, float]:
    """Return the least and greatest mean of depths by themselves, between 0 and the deepest."""
    if high.sum() == 0.0:
        return 0.0, 0.0
    most = (high**2).sum() / low.sum() if low.sum() > 0.0 else np.inf
    return float((low**2).sum() / high.sum()), float(min(most, high.max()))


def _most_advance(ice: Between, low: Floats, high: Floats, move: Move) -> tuple[float, float]:
    """Return the most advance over cells that are cut: at least, and at most."""
    if not move.cuts:
        return 0.0, 0.0
    least, most = move.first.at(ice.low), move.first.at(ice.high)
    return (
        float(np.where(low > SCRAPE, np.minimum(least.low, most.low), 0.0).max()),
        float(np.where(high > 0.0, np.maximum(least.high, most.high), 0.0).max()),
    )


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
                _most_advance(ice, low, high, move),
                _mean(low, high) if move.cuts else (0.0, 0.0),
            )
        )
        if move.cuts:
            low = np.minimum(ice.low, move.cutting.low)
            ice = Between(low, np.minimum(ice.high, move.cutting.high))
    figures = np.array(rows, dtype=np.float64)
    taken, depth, contact, chip, mean = (
        Between(figures[:, k, 0], figures[:, k, 1]) for k in range(5)
    )
    return Met(ice=ice, taken=taken, depth=depth, contact=contact, chip=chip, mean=mean)
