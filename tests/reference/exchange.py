"""Slow twin of the exchange of an order, from its definition: every way counted, every turn tried.

An order is a list of ends at which pieces begin: 2k for piece k as it is, 2k + 1 turned round.
"""

from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Hop = tuple[float, float, float]
Pairs = set[tuple[int, int]]
"""Pieces that wait, each with one that it waits for."""


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


def pairs_waiting(boxes: Floats, reach: int) -> Pairs:
    """Pieces that wait: others within reach are higher than they bear.

    boxes : (n, 6) x from, to, y from, to, all whole numbers; how high, and how high others may be

    Boxes of whole numbers lie as far apart as the nearest of their places of whole numbers.
    """
    places = [
        list(product(range(int(x0), int(x1) + 1), range(int(y0), int(y1) + 1)))
        for x0, x1, y0, y1 in boxes[:, :4]
    ]
    return {
        (q, p)
        for q, p in product(range(len(boxes)), repeat=2)
        if q != p
        and boxes[p, 4] > boxes[q, 5]
        and any(
            (ax - bx) ** 2 + (ay - by) ** 2 <= reach**2
            for (ax, ay), (bx, by) in product(places[q], places[p])
        )
    }


def waited(order: list[int], pairs: Pairs) -> Pairs:
    """Those pairs of which the one that waits comes later."""
    at = {end // 2: place for place, end in enumerate(order)}
    return {(q, p) for q, p in pairs if at[p] < at[q]}


def best_turn(order: list[int], tips: Floats, hop: Hop, pairs: Pairs) -> float:
    """Most seconds saved by any one turning that lets none come before what it waited for.

    The first piece stays.
    """
    now = total(order, tips, hop)
    choices = (
        turned(order, i, j) for i in range(1, len(order)) for j in range(i, len(order))
    )  # fmt: skip
    return max(
        (
            now - total(choice, tips, hop)
            for choice in choices
            if waited(order, pairs) <= waited(choice, pairs)
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
