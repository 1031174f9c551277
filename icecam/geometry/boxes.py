"""Boxes round triangles and round boxes, up to one round all: seen from above, with their tops.

Triangles are numbered along Hilbert's curve (1891), which stays nearby as it fills the plane; `FAN`
of them in a row make a box, as many boxes the next larger one.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.drop import FAN

BITS: Final = 15
"""The curve goes through 2^15 squares a side."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boxes:
    """Boxes round triangles that lie beside each other.

    order (n,) : triangles along the curve
    sides (m, 5) : west, east, south, north and top of each box, mm; the one round all comes first
    levels (k + 1,) : where the boxes of each size begin, the largest first; the n-th of a size
        holds the `FAN` from FAN n on of the next, the smallest so many triangles of `order`
    """

    order: NDArray[np.int32]
    sides: NDArray[np.float64]
    levels: NDArray[np.int64]


def boxes_of(triangles: NDArray[np.float64]) -> Boxes:
    """Put boxes round triangles (n, 9), n > 0; mm."""
    x, y, z = (triangles[:, axis::3] for axis in range(3))
    sides = np.column_stack([x.min(1), x.max(1), y.min(1), y.max(1), z.max(1)])
    middle = np.column_stack([sides[:, 0] + sides[:, 1], sides[:, 2] + sides[:, 3]])
    middle -= middle.min(axis=0)
    squares = (middle * ((2**BITS - 1) / max(float(middle.max()), 1e-9))).astype(np.int64)
    order = np.argsort(along_curve(squares, BITS), kind="stable")
    sizes = [_around(sides[order])]
    while len(sizes[-1]) > 1:
        sizes.append(_around(sizes[-1]))
    sizes.reverse()
    return Boxes(
        order=order.astype(np.int32),
        sides=np.concatenate(sizes),
        levels=np.cumsum([0, *(len(size) for size in sizes)]).astype(np.int64),
    )


def _around(sides: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a box round each `FAN` boxes in a row."""
    at = np.arange(0, len(sides), FAN)
    low, high = np.minimum.reduceat(sides, at), np.maximum.reduceat(sides, at)
    low[:, [1, 3, 4]] = high[:, [1, 3, 4]]
    return low


def along_curve(squares: NDArray[np.int64], bits: int) -> NDArray[np.int64]:
    """Return the places of squares (n, 2) along Hilbert's curve through 2^bits squares a side."""
    x, y = squares[:, 0], squares[:, 1]
    place = np.zeros(len(squares), dtype=np.int64)
    for side in (1 << bit for bit in reversed(range(bits))):
        right, up = (x & side) > 0, (y & side) > 0
        place += side * side * ((3 * right) ^ up)
        # the quarters below begin or end at a corner, so the curve in them is turned
        x, y = x & (side - 1), y & (side - 1)
        turned = right & ~up
        x, y = np.where(turned, side - 1 - x, x), np.where(turned, side - 1 - y, y)
        x, y = np.where(up, x, y), np.where(up, y, x)
    return place
