"""The order of cuts: place by place where the ice is thick, everywhere from the top down."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.paths.pieces import Hop, Pieces, by_height, in_short_order, joined, simplified, some_of
from icecam.paths.thick import THIN, gathered

STRAIGHT_MM: Final = 0.01

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """Pieces that are cut together, lifted by so much (mm) above the surface."""

    pieces: Pieces
    lift: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Uncut:
    """Pieces before they are put in order; arrays (pieces,) but for place and deepest, (points,).

    pieces : lifted; lift : mm that each keeps above the surface
    place : number of the place at each point, `THIN` where the ice bears a whole step-down
    deepest : mm that one cut may take there
    """

    pieces: Pieces
    lift: Floats
    place: NDArray[np.int64]
    deepest: Floats


def in_order(uncut: Uncut, band: float, start: Floats, hop: Hop) -> tuple[Layer, ...]:
    """Return the pieces place after place, each in bands as high as one cut there may be.

    What meets no place comes last, in bands of `band` (mm). In a band the order is the quickest,
    but that upper layers come before what is under them.
    """
    pieces = uncut.pieces
    if len(pieces) == 0:
        return ()
    found = gathered(pieces, uncut.place)
    high = np.full(len(found.middles) + 1, np.inf)
    np.minimum.at(high, found.number, np.minimum.reduceat(uncut.deepest, pieces.starts[:-1]))
    high[THIN] = band
    done: list[Layer] = []

    def add(some: Pieces, lift: float) -> None:
        nonlocal start
        ordered = in_short_order(simplified(some, STRAIGHT_MM), start, hop)
        done.append(Layer(pieces=ordered, lift=lift))
        start = ordered.points[-1]

    for place in (*found.order(start), THIN):
        here = found.number == place
        cut = by_height(some_of(pieces, here), float(high[place]))
        lift = uncut.lift[here][cut.origin]
        for n in np.unique(cut.number):
            now = cut.number == n
            for each in np.unique(lift[now])[::-1].tolist():
                add(some_of(cut.pieces, now & (lift == each)), each)
    return tuple(done)


def uncut_of(layers: list[Layer], place: list[NDArray[np.int64]], deepest: list[Floats]) -> Uncut:
    """Return all layers as one; place, deepest : for each layer, at its points."""
    counts = [len(layer.pieces) for layer in layers]
    lifts = [layer.lift for layer in layers]
    pieces = joined([layer.pieces for layer in layers])
    up = np.repeat(lifts, [len(layer.pieces.points) for layer in layers])
    return Uncut(
        pieces=replace(pieces, points=pieces.points + np.outer(up, (0.0, 0.0, 1.0))),
        lift=np.repeat(lifts, counts),
        place=np.concatenate(place),
        deepest=np.concatenate(deepest),
    )
