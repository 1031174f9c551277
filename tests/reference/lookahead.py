"""Slow twin of the look-ahead, from the definitions alone.

Speeds: the square of the speed at a point can lie above that at any other point by no more than
twice the sum of acceleration times length between them, so it is the least of all such bounds.
Time: the speed over distance is the lowest of three curves; it is split where they cross.
Corner: the arc is found by bisection on how far it passes from the corner, and the pull on each
axis by walking along it.
"""

import itertools
import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def move_limits(points: Floats, feed: Floats, speed: Floats, acceleration: Floats) -> Floats:
    """Return (n, 3): length, top speed without a block rate, acceleration of moves with length."""
    rows = []
    for start, end, wanted in zip(points[:-1], points[1:], feed, strict=True):
        length = math.dist(start, end)
        share = np.abs(end - start) / length
        moving = share > 0
        top = min(wanted, *(speed[moving] / share[moving]))
        rows.append((length, top, min(acceleration[moving] / share[moving])))
    return np.array(rows).reshape(-1, 3)


def look_ahead(limits: Floats, corners: Floats) -> Floats:
    """Return (n + 1,) speeds at the points."""
    count = len(limits)
    bound = np.minimum(
        corners, np.minimum(np.append(limits[:, 1], np.inf), np.append(np.inf, limits[:, 1]))
    )
    gained = np.append(0.0, np.cumsum(2 * limits[:, 0] * limits[:, 2]))
    squares = [
        min(bound[other] ** 2 + abs(gained[here] - gained[other]) for other in range(count + 1))
        for here in range(count + 1)
    ]
    return np.sqrt(squares)


def move_seconds(limit: Floats, enter: float, leave: float) -> float:
    """Return the time of one move, (3,) length, top speed, acceleration, from speed to speed."""
    length, top, push = limit

    def speed(way: float) -> float:
        rising = enter**2 + 2 * push * way
        falling = leave**2 + 2 * push * (length - way)
        return math.sqrt(max(min(rising, falling, top**2), 0.0))

    crossings = (
        (top**2 - enter**2) / (2 * push),
        length - (top**2 - leave**2) / (2 * push),
        length / 2 + (leave**2 - enter**2) / (4 * push),
    )
    stations = sorted({0.0, length, *(way for way in crossings if 0 < way < length)})
    # Between stations the acceleration is constant, so the mean speed is that of the two ends.
    return math.fsum(2 * (b - a) / (speed(a) + speed(b)) for a, b in itertools.pairwise(stations))


def corner_speed(
    before: Floats, corner: Floats, after: Floats, acceleration: Floats, tolerance: float
) -> float:
    """Return the speed of the largest arc at one corner; the three points are not in line."""
    if tolerance == 0:
        return 0.0
    back = (before - corner) / math.dist(before, corner)
    onward = (after - corner) / math.dist(after, corner)
    inner = math.acos(max(-1.0, min(1.0, float(back @ onward))))
    inward = (back + onward) / np.linalg.norm(back + onward)

    def radius(touch: float) -> float:
        return touch * math.tan(inner / 2)

    def gap(touch: float) -> float:
        return math.hypot(touch, radius(touch)) - radius(touch)

    low, high = 0.0, min(math.dist(before, corner), math.dist(after, corner)) / 2
    if gap(high) > tolerance:
        for _ in range(200):
            middle = (low + high) / 2
            low, high = (middle, high) if gap(middle) <= tolerance else (low, middle)
    # Seen from the corner, for an arc that touches 1 mm away; its directions are those of any size.
    centre = inward * math.hypot(1, radius(1))
    first, last = back - centre, onward - centre
    weight = np.linspace(0, 1, 4001)[:, None]
    spokes = (1 - weight) * first + weight * last
    pulls = np.abs(spokes / np.linalg.norm(spokes, axis=1)[:, None]).max(axis=0)
    with np.errstate(divide="ignore"):
        return math.sqrt(radius(high) * float(np.min(acceleration / pulls)))
