"""Slow twin of the exchange of an order, from its definition: every way counted, every turn tried.

An order is a list of ends at which pieces begin: 2k for piece k as it is, 2k + 1 turned round.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Hop = tuple[float, float, float]


def seconds_between(a: Floats, b: Floats, hop: Hop) -> float:
    """Seconds of the quicker way: plan and height at a pace, or a rise, then plan at a speed."""
    pace, rise, speed = hop
    plan = float(np.hypot(*(b - a)[:2]))
    return min((plan + abs(float(b[2] - a[2]))) / pace, rise + plan / speed)


def other(end: int) -> int:
    """The other end of the same piece."""
    return end + 1 if end % 2 == 0 else end - 1


def total(order: list[int], tips: Floats, hop: Hop) -> float:
    """Seconds of all ways from piece to piece."""
    return sum(
        seconds_between(tips[other(before)], tips[after], hop) for before, after in pairwise(order)
    )


def turned(order: list[int], i: int, j: int) -> list[int]:
    """The order with its places i to j run through from the other side."""
    return order[:i] + [other(end) for end in order[i : j + 1][::-1]] + order[j + 1 :]


def best_turn(order: list[int], tips: Floats, hop: Hop) -> float:
    """Most seconds that any one turning saves; the first piece stays."""
    now = total(order, tips, hop)
    return max(
        (
            now - total(turned(order, i, j), tips, hop)
            for i in range(1, len(order))
            for j in range(i, len(order))
        ),
        default=0.0,
    )


def near_ends(tips: Floats, far: NDArray[np.float64]) -> NDArray[np.int64]:
    """All ends of other pieces for each end, the least `far` (2n, 2n) first."""
    rows = []
    for mine in range(len(tips)):
        others = [end for end in range(len(tips)) if end // 2 != mine // 2]
        rows.append([end for _, end in sorted((float(far[mine, end]), end) for end in others)])
    return np.array(rows, dtype=np.int64).reshape(len(tips), -1)
