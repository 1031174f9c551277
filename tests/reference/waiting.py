"""Slow twin of the order in which pieces wait for what stands over them, from its definition.

An entry is a square of the ground, a piece, and a height: how high the piece stands in that
square, or how high others may stand there without that it waits for them.
"""

import numpy as np
from numpy.typing import NDArray

from tests.reference.exchange import Hop, other, seconds_between

Floats = NDArray[np.float64]
Entry = tuple[int, int, float]


def let_go(left: set[int], standing: list[Entry], waiting: list[Entry]) -> set[int]:
    """Those of the pieces left that find nothing left standing too high in any of their squares."""
    held = {
        piece
        for square, piece, bears in waiting
        for there, stands, high in standing
        if there == square and stands in left and high > bears
    }
    return left - held


def ways(pieces: set[int], here: Floats, tips: Floats, hop: Hop) -> dict[int, float]:
    """Seconds from here to both ends of some pieces, by end."""
    ends = [end for piece in sorted(pieces) for end in (2 * piece, 2 * piece + 1)]
    return {end: seconds_between(here, tips[end], hop) for end in ends}


def follow(
    tips: Floats, standing: list[Entry], waiting: list[Entry], start: Floats, hop: Hop
) -> list[int]:
    """Ends at which pieces begin: always the one soonest reached of those that wait no more."""
    here, left, order = start, set(range(len(tips) // 2)), []
    while left:
        seconds = ways(let_go(left, standing, waiting), here, tips, hop)
        order.append(min(seconds, key=lambda end: seconds[end]))
        left.remove(order[-1] // 2)
        here = tips[other(order[-1])]
    return order
