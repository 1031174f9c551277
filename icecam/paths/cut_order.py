"""The order of cuts: what lies over a cut, higher than it may take at once, goes before it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.exchange import Hop
from icecam.paths.ordering import in_short_order
from icecam.paths.pieces import Pieces, joined, parted, reordered, simplified, without

STRAIGHT_MM: Final = 0.01
WHOLE: Final = 0.999
"""Upper layers lie a whole step over what is under them: so much of one is too high."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """Pieces that keep so much (mm) above the surface; most : (points,) mm one cut may take."""

    pieces: Pieces
    lift: float
    most: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """Pieces in the order of cutting; lifts : (pieces,) mm that each keeps above the surface."""

    pieces: Pieces
    lifts: Floats

    def without(self, places: Floats, radius: float) -> tuple["Cuts", NDArray[np.intp]]:
        """Return the cuts without what lies within `radius` of places (n, 3), or straight below.

        With the number of the cut that each is a part of.
        """
        left, origin = without(self.pieces, places, radius)
        return Cuts(pieces=left, lifts=self.lifts[origin]), origin


def in_order(layers: list[Layer], reach: float, start: Floats, hop: Hop) -> Cuts:
    """Return the pieces of all layers in an order that takes little time.

    A piece is cut in parts no higher than one cut may take, and cuts that lie higher than that over
    a point of it, within `reach` (mm) in plan, are made before it.

    start : (3,) mm, where the bit comes from
    """
    counts = [len(layer.pieces) for layer in layers]
    lifts = np.repeat([layer.lift for layer in layers], counts)
    whole = joined([layer.pieces for layer in layers])
    most = np.concatenate([layer.most for layer in layers]) * WHOLE
    cuts = parted(whole, most)
    order = in_short_order(cuts, reach, start, hop)
    return Cuts(
        pieces=simplified(reordered(cuts.pieces, order), STRAIGHT_MM),
        lifts=lifts[cuts.origin][order >> 1],
    )
