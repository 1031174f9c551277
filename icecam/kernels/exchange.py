"""A quicker order of pieces by exchange: stretches of it turned round or put elsewhere.

An order is a row of numbers: 2k for piece k as it is, 2k + 1 for piece k turned round; either is
the number of the end it begins at, and the same number with its last bit flipped of where it
leaves. No piece comes before one that it came behind and has to wait for.
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LONGEST_PUT = 3
"""Pieces in a row that are put elsewhere at once."""
LEAST_GAIN = 1e-6
"""Seconds; less is rounding."""
LONGEST_TURNED = 300
FARTHEST_PUT = 2000
"""Pieces in a stretch that is turned round, and that others are put behind: each has to be asked
whether it waits for the others."""

Hop = tuple[float, float, float]
"""What a way costs: pace along the surface mm/s, seconds of a rise, speed over the ice mm/s."""


@kernel
def hop_seconds(a: Floats, b: Floats, hop: Hop) -> float:
    """Seconds from a to b (3,): along the surface at a pace, or by a rise and over at a speed.

    hop : pace mm/s, seconds of a rise, speed mm/s
    """
    pace, rise, speed = hop
    dx, dy = b[0] - a[0], b[1] - a[1]
    plan = sqrt(dx * dx + dy * dy)
    return float(min((plan + abs(b[2] - a[2])) / pace, rise + plan / speed))


@kernel
def _waits(q: int, p: int, boxes: Floats, reach: float) -> bool:
    """Whether piece q may have to wait for p: within reach some of p is higher than q bears."""
    if boxes[p, 4] <= boxes[q, 5]:
        return False
    dx = max(boxes[p, 0] - boxes[q, 1], boxes[q, 0] - boxes[p, 1], 0.0)
    dy = max(boxes[p, 2] - boxes[q, 3], boxes[q, 2] - boxes[p, 3], 0.0)
    return bool(dx * dx + dy * dy <= reach * reach)


@kernel
def _may_turn(order: Ints, boxes: Floats, reach: float, i: int, j: int) -> bool:
    """Whether no piece at places i to j waits for one before it there."""
    if j - i >= LONGEST_TURNED:
        return False
    for later in range(i + 1, j + 1):
        for sooner in range(i, later):
            if _waits(order[later] >> 1, order[sooner] >> 1, boxes, reach):
                return False
    return True


@kernel
def _may_pass(order: Ints, boxes: Floats, reach: float, i: int, j: int, k: int) -> bool:
    """Whether no piece at places j to k waits for one at places i to j - 1."""
    if k - i >= FARTHEST_PUT:
        return False
    for later in range(j, k + 1):
        for sooner in range(i, j):
            if _waits(order[later] >> 1, order[sooner] >> 1, boxes, reach):
                return False
    return True


@kernel
def _may_put(
    order: Ints, boxes: Floats, reach: float, a: int, b: int, g: int, turned: bool
) -> bool:
    """Whether places a to b may be put behind place g."""
    if turned and not _may_turn(order, boxes, reach, a, b):
        return False
    if g > b:
        return _may_pass(order, boxes, reach, a, b + 1, g)
    return _may_pass(order, boxes, reach, g + 1, a, b)


@kernel
def _between(tips: Floats, hop: Hop, leave: int, begin: int) -> float:
    """Seconds from one end to another; none where there is no other, which is -1."""
    return hop_seconds(tips[leave], tips[begin], hop) if begin >= 0 else 0.0


@kernel
def _begin(order: Ints, i: int) -> int:
    return order[i] if i < len(order) else -1


@kernel
def _reverse(order: Ints, place: Ints, i: int, j: int) -> int:
    """Turn round places i to j, pieces and all; returns how many that were."""
    count = j - i + 1
    while i < j:
        order[i], order[j] = order[j] ^ 1, order[i] ^ 1
        place[order[i] >> 1], place[order[j] >> 1] = i, j
        i += 1
        j -= 1
    if i == j:
        order[i] ^= 1
    return count


@kernel
def _turning_gain(order: Ints, tips: Floats, hop: Hop, i: int, j: int) -> float:
    """Seconds saved by turning round places i to j, i > 0."""
    leave, after = order[i - 1] ^ 1, _begin(order, j + 1)
    return (
        _between(tips, hop, leave, order[i])
        + _between(tips, hop, order[j] ^ 1, after)
        - _between(tips, hop, leave, order[j] ^ 1)
        - _between(tips, hop, order[i], after)
    )


@kernel
def _putting_gain(
    order: Ints, tips: Floats, hop: Hop, a: int, b: int, g: int,
    turned: bool,
) -> float:  # fmt: skip
    """Seconds saved by putting places a to b, a > 0, behind place g, which is none of them."""
    leave, after = order[a - 1] ^ 1, _begin(order, b + 1)
    first, last = order[a], order[b] ^ 1
    saved = (
        _between(tips, hop, leave, first)
        + _between(tips, hop, last, after)
        - _between(tips, hop, leave, after)
    )
    there = _begin(order, g + 1)
    if turned:
        first, last = last, first
    return (
        saved
        + _between(tips, hop, order[g] ^ 1, there)
        - _between(tips, hop, order[g] ^ 1, first)
        - _between(tips, hop, last, there)
    )


@kernel
def _put(order: Ints, place: Ints, a: int, b: int, g: int, turned: bool) -> int:
    """Put places a to b behind place g; returns how many pieces were touched."""
    size = b - a + 1
    if g > b:
        work = _reverse(order, place, a, g) + _reverse(order, place, a, g - size)
        if not turned:
            work += _reverse(order, place, g - size + 1, g)
        return work
    work = _reverse(order, place, g + 1, b) + _reverse(order, place, g + 1 + size, b)
    if not turned:
        work += _reverse(order, place, g + 1, g + size)
    return work


@kernel
def _better(
    order: Ints, place: Ints, tips: Floats, boxes: Floats, reach: float, hop: Hop, e: int, c: int
) -> int:
    """Bring ends e and c together if a change that does so saves time; returns the work done.

    e is where its piece is left, or both are where theirs begin.
    """
    i, j = place[e >> 1], place[c >> 1]
    leaves, c_leaves = order[i] != e, order[j] != c
    if not leaves:
        low, high = min(i, j), max(i, j)
        if (
            low > 0
            and _turning_gain(order, tips, hop, low, high - 1) > LEAST_GAIN
            and _may_turn(order, boxes, reach, low, high - 1)
        ):
            return _reverse(order, place, low, high - 1)
        return 0
    if c_leaves:
        low, high = min(i, j), max(i, j)
        if _turning_gain(order, tips, hop, low + 1, high) > LEAST_GAIN and _may_turn(
            order, boxes, reach, low + 1, high
        ):
            return _reverse(order, place, low + 1, high)
    for size in range(1, LONGEST_PUT + 1):
        # pieces from c on behind e; if c is where its piece is left, those up to it, turned round
        a = j - size + 1 if c_leaves else j
        b = a + size - 1
        if a < 1 or b >= len(order) or a - 1 <= i <= b:
            continue
        if _putting_gain(order, tips, hop, a, b, i, c_leaves) > LEAST_GAIN and _may_put(
            order, boxes, reach, a, b, i, c_leaves
        ):
            return _put(order, place, a, b, i, c_leaves)
    return 0


@kernel
def exchange(
    order: Ints, tips: Floats, near: Ints, boxes: Floats, reach: float, hop: Hop, budget: int
) -> None:  # fmt: skip
    """Make an order quicker, in place; the first piece stays where it is.

    tips : (2n, 3) mm, rows 2k and 2k + 1 are the ends of piece k
    near : (2n, m) ends of other pieces near each end, the nearest first; -1 for none
    boxes : (n, 6) mm, least and greatest x and y of each piece, its greatest height, and how high
        another one within `reach` of it may be, or it has to wait
    budget : pieces that may be touched in all, after which the order is left as it is
    """
    place = np.zeros(len(order), dtype=np.int64)
    for i in range(len(order)):
        place[order[i] >> 1] = i
    left, moved = budget, True
    while moved and left > 0:
        moved = False
        for e in range(len(tips)):
            for m in range(near.shape[1]):
                c = near[e, m]
                if c < 0 or left <= 0:
                    break
                i, j = place[e >> 1], place[c >> 1]
                leaves = order[i] != e
                if not leaves and (order[j] != c or i == 0):
                    continue
                now = _begin(order, i + 1) if leaves else order[i - 1] ^ 1
                if now >= 0 and hop_seconds(tips[e], tips[c], hop) >= hop_seconds(
                    tips[e], tips[now], hop
                ):
                    break
                work = _better(order, place, tips, boxes, reach, hop, e, c)
                if work > 0:
                    moved = True
                    left -= work
