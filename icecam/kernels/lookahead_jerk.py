"""Speeds and times under a jerk limit: S-shaped ramps, stretches of moves, look-ahead over them.

A ramp goes from one speed to another, begins and ends without acceleration, and takes the least
time that acceleration and jerk allow: jerk up, hold the acceleration if there is time, jerk down.
Moves between which nearly the same speed is allowed are joined to a stretch, within which ramps
run on from move to move. Between stretches the speed stands still for an instant.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.lookahead import step_of

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

LIKE: Final = 0.95
"""Slowest place of a stretch over the fastest one, at least; the rest is given away."""

LENGTH: Final = 0
TOP: Final = 1
PUSH: Final = 2
JERK: Final = 3

_STEPS: Final = 100
"""More than halving needs to use up the digits of a double."""

_ROUNDING: Final = 1e-14
"""Share of a length that its sums may be off by rounding alone."""


@kernel
def fill_stretches(
    points: Floats, limits: Floats, jerk: Floats, stretches: Floats, first: int, last: int
) -> None:
    """Fill rows [first, last) of `stretches` (n, 4): length, top speed, acceleration, jerk.

    `points` is (n + 1, 3), `limits` (n, 3) as `move_limits` leaves it, `jerk` (3,) of X, Y, Z.
    """
    for move in range(first, last):
        step = step_of(points, move)
        least = np.inf if step[0] > 0.0 else 0.0
        for axis in range(3):
            part = abs(step[axis + 1])
            if part > 0.0:
                least = min(least, jerk[axis] / part)
        stretches[move, LENGTH] = limits[move, 0]
        stretches[move, TOP] = limits[move, 1]
        stretches[move, PUSH] = limits[move, 2]
        stretches[move, JERK] = least


@kernel
def ramp_seconds(rise: float, push: float, jerk: float) -> float:
    """Least time to change the speed by `rise`, not below 0."""
    if rise * jerk >= push * push:
        return float(rise / push + push / jerk)
    return float(2.0 * np.sqrt(rise / jerk))


@kernel
def ramp_length(low: float, high: float, push: float, jerk: float) -> float:
    """Way of a ramp between two speeds; a ramp is symmetric, so its mean speed is the middle."""
    return float((low + high) / 2.0 * ramp_seconds(high - low, push, jerk))


@kernel
def reach(low: float, length: float, push: float, jerk: float) -> float:
    """Speed that a ramp up from `low` has gained at the end of `length`."""
    knee = push * push / jerk
    if length * jerk >= (2.0 * low + knee) * push:
        # The ramp holds its acceleration for a while: a quadratic in what it gains.
        half = low + knee / 2.0
        rest = 2.0 * (push * length - low * knee)
        return float(low + rest / (half + np.sqrt(half * half + rest)))
    # Jerk alone: x^3 + 2 low x = length sqrt(jerk), with x the root of what it gains.
    third = 2.0 * low / 3.0
    right = length * np.sqrt(jerk) / 2.0
    one = np.cbrt(right + np.sqrt(right * right + third * third * third))
    if one == 0.0:
        return low
    two = third / one
    root = 2.0 * right / (one * one + third + two * two)
    return float(low + root * root)


@kernel
def _slope(low: float, high: float, push: float, jerk: float) -> float:
    """Growth of a ramp's length with its higher speed."""
    rise = high - low
    seconds = ramp_seconds(rise, push, jerk)
    growth = 1.0 / push if rise * jerk >= push * push else 1.0 / np.sqrt(rise * jerk)
    return float(seconds / 2.0 + (low + high) / 2.0 * growth)


@kernel
def _crest(low: float, high: float, length: float, push: float, jerk: float) -> float:
    """Speed whose ramps from `low` and from `high`, `low` <= `high`, fill `length` together."""
    rest = length - ramp_length(low, high, push, jerk)
    if rest <= _ROUNDING * length:
        return high
    # The root of the rise, as the way grows almost evenly with it; halving where Newton fails.
    least, most = 0.0, np.sqrt(reach(high, rest, push, jerk) - high)
    root = most
    for _ in range(_STEPS):
        peak = high + root * root
        over = ramp_length(low, peak, push, jerk) + ramp_length(high, peak, push, jerk) - length
        if abs(over) <= _ROUNDING * length:
            break
        if over > 0.0:
            most = root
        else:
            least = root
        slope = _slope(low, peak, push, jerk) + _slope(high, peak, push, jerk)
        guess = root - over / (2.0 * root * slope)
        root = guess if least < guess < most else (least + most) / 2.0
    return float(high + root * root)


@kernel
def peak_speed(stretches: Floats, row: int, enter: float, leave: float) -> float:
    """Highest speed, up to the top, from which a stretch still ends at `leave`."""
    length, top = stretches[row, LENGTH], stretches[row, TOP]
    push, jerk = stretches[row, PUSH], stretches[row, JERK]
    ways = ramp_length(enter, top, push, jerk) + ramp_length(leave, top, push, jerk)
    if ways <= length:
        return float(top)
    low, high = min(enter, leave), max(enter, leave)
    knee = push * push / jerk
    ends = (enter + leave) * knee - enter * enter - leave * leave - 2.0 * push * length
    peak = (np.sqrt(max(knee * knee - 2.0 * ends, 0.0)) - knee) / 2.0
    # Closed form where both ramps hold their acceleration, or both begin at the same speed.
    if peak - high >= knee:
        return float(min(peak, top))
    if low == high:
        return float(min(reach(high, length / 2.0, push, jerk), top))
    return float(min(_crest(low, high, length, push, jerk), top))


@kernel
def _bound(stretches: Floats, caps: Floats, count: int, place: int) -> float:
    """Most speed at the point before stretch `place`, by its corner and by both its neighbours."""
    bound = caps[place]
    if place < count:
        bound = min(bound, stretches[place, TOP])
    if place > 0:
        bound = min(bound, stretches[place - 1, TOP])
    return float(bound)


@kernel
def _fastest(stretches: Floats, row: int, bound: float) -> float:
    """Speed that a stretch can come to, with the faster of its ends passed at `bound`."""
    length = stretches[row, LENGTH]
    if length == 0.0:
        return 0.0
    gained = reach(bound, length / 2.0, stretches[row, PUSH], stretches[row, JERK])
    return float(min(stretches[row, TOP], gained))


@kernel
def join_stretches(stretches: Floats, caps: Floats, firsts: Indices, count: int) -> int:
    """Join neighbours once, in place, and return how many stretches are left.

    `stretches` is (n, 4), `caps` (n + 1,) most speed at the points between, `firsts` (n + 1,) the
    first move of each stretch, then the number of moves. Two are joined where the slowest place
    within, the point between them included, is not below `LIKE` of the fastest.
    """
    kept = 0
    ahead = _bound(stretches, caps, count, 1)
    held = _fastest(stretches, 0, max(_bound(stretches, caps, count, 0), ahead))
    for row in range(1, count):
        here, ahead = ahead, _bound(stretches, caps, count, row + 1)
        fastest = _fastest(stretches, row, max(here, ahead))
        slowest = min(stretches[kept, TOP], stretches[row, TOP], caps[row])
        moving = stretches[kept, LENGTH] > 0.0 and stretches[row, LENGTH] > 0.0
        if moving and slowest >= LIKE * max(held, fastest):
            stretches[kept, LENGTH] += stretches[row, LENGTH]
            stretches[kept, TOP] = slowest
            stretches[kept, PUSH] = min(stretches[kept, PUSH], stretches[row, PUSH])
            stretches[kept, JERK] = min(stretches[kept, JERK], stretches[row, JERK])
            held = max(held, fastest)
        else:
            kept += 1
            for column in range(4):
                stretches[kept, column] = stretches[row, column]
            caps[kept], firsts[kept] = caps[row], firsts[row]
            held = fastest
    caps[kept + 1], firsts[kept + 1] = caps[count], firsts[count]
    return kept + 1


@kernel
def _after(stretches: Floats, row: int, speed: float) -> float:
    """Speed at one end of a stretch when it is `speed` at the other and a ramp fills it."""
    length, push, jerk = stretches[row, LENGTH], stretches[row, PUSH], stretches[row, JERK]
    return float(reach(speed, length, push, jerk))


@kernel
def look_ahead(stretches: Floats, caps: Floats, count: int, speeds: Floats) -> None:
    """Fill `speeds` (count + 1,) between stretches, by one pass backward and one forward.

    Backward, each speed is one from which a ramp down keeps all that follow. Forward, it is also
    one that a ramp up reaches; lower than the bound, it can still brake for what follows.
    """
    ahead = np.inf
    for place in range(count, -1, -1):
        ahead = min(_bound(stretches, caps, count, place), ahead)
        speeds[place] = ahead
        if place > 0 and stretches[place - 1, LENGTH] > 0.0:
            ahead = _after(stretches, place - 1, ahead)
    for row in range(count):
        if stretches[row, LENGTH] > 0.0 and speeds[row + 1] > speeds[row]:
            speeds[row + 1] = min(speeds[row + 1], _after(stretches, row, speeds[row]))
