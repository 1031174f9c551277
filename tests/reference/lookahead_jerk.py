"""Slow twin of the look-ahead under a jerk limit, from the definitions alone.

A ramp is built from the acceleration it comes to, and its speed is integrated piece by piece.
Speeds that a ramp can reach, peaks and passing times are roots, found by bracketing. A stretch is a
slice of the moves; what holds in it is looked up in the moves each time.
"""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from scipy.optimize import brentq

Floats = NDArray[np.float64]
Slice = tuple[int, int]
Pieces = list[tuple[float, Polynomial]]


def path_jerks(points: Floats, jerk: Floats) -> Floats:
    """Return (n,) jerk along each move; 0 without length."""
    found = []
    for start, end in pairwise(points):
        share = np.abs(end - start) / (math.dist(start, end) or 1.0)
        found.append(min((jerk[share > 0] / share[share > 0]).tolist(), default=0.0))
    return np.array(found)


def ramp(low: float, high: float, push: float, jerk: float) -> Pieces:
    """Return duration and speed over time of the pieces of a ramp up."""
    most = min(push, math.sqrt((high - low) * jerk))
    if most == 0:
        return []
    turn = most / jerk
    level = (high - low) / most - turn
    soft = most * turn / 2
    rising = Polynomial([low, 0, jerk / 2])
    steady = Polynomial([low + soft, most])
    easing = Polynomial([high - soft, most, -jerk / 2])
    return [(turn, rising), (level, steady), (turn, easing)]


def down(pieces: Pieces) -> Pieces:
    """Return the same ramp run backwards."""
    return [(span, speed(Polynomial([span, -1]))) for span, speed in reversed(pieces)]


def way(pieces: Pieces) -> float:
    """Return the way of some pieces."""
    return math.fsum(float(speed.integ()(span)) for span, speed in pieces)


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function is zero; an end where it is none."""
    if function(low) >= 0:
        return low
    if function(high) <= 0:
        return high
    return float(brentq(function, low, high, xtol=1e-14, rtol=1e-15))


def reach(low: float, length: float, push: float, jerk: float) -> float:
    """Return the speed gained from `low` over `length`."""
    most = low + math.sqrt(2 * push * length) + 1
    return root(lambda high: way(ramp(low, high, push, jerk)) - length, low, most)


def motion(limit: Sequence[float], enter: float, leave: float) -> Pieces:
    """Return the pieces of a stretch: length, top speed, acceleration, jerk."""
    length, top, push, jerk = limit

    def ramps(peak: float) -> tuple[Pieces, Pieces]:
        return ramp(enter, peak, push, jerk), down(ramp(leave, peak, push, jerk))

    peak = root(lambda high: sum(map(way, ramps(high))) - length, max(enter, leave), top)
    up, back = ramps(peak)
    hold = max(length - way(up) - way(back), 0.0) / peak
    return [*up, (hold, Polynomial([peak])), *back]


def duration(pieces: Pieces) -> float:
    """Return the seconds of some pieces."""
    return math.fsum(span for span, _ in pieces)


def cut(pieces: Pieces, lengths: Sequence[float]) -> tuple[list[float], list[float]]:
    """Return seconds of each move of a stretch, and the speeds at their ends."""

    def at(time: float) -> tuple[float, float]:
        gone = 0.0
        for span, speed in pieces:
            here = min(time, span)
            gone += float(speed.integ()(here))
            time -= here
            if time <= 0:
                return gone, float(speed(here))
        return gone, float(pieces[-1][1](pieces[-1][0]))

    whole = duration(pieces)
    clocks = [0.0]
    for want in np.cumsum(lengths)[:-1].tolist():
        clocks.append(root(lambda time, want=want: at(time)[0] - want, 0.0, whole))  # type: ignore[misc]
    clocks.append(whole)
    return np.diff(clocks).tolist(), [at(clock)[1] for clock in clocks[1:]]


def within(moves: Floats, corners: Floats, part: Slice) -> list[float]:
    """Return length, top speed, acceleration and jerk of a slice of the moves (n, 4)."""
    first, last = part
    rows = moves[first:last]
    tops = [*rows[:, 1], *corners[first + 1 : last]]
    return [float(rows[:, 0].sum()), min(tops), float(rows[:, 2].min()), float(rows[:, 3].min())]


def knot(moves: Floats, corners: Floats, parts: list[Slice], place: int) -> float:
    """Return the most speed before part `place`."""
    beside = [within(moves, corners, part)[1] for part in parts[max(place - 1, 0) : place + 1]]
    point = parts[place][0] if place < len(parts) else parts[-1][1]
    return float(min([corners[point], *beside]))


def joined_once(moves: Floats, corners: Floats, parts: list[Slice], like: float) -> list[Slice]:
    """Return the slices after one round from the front."""
    alone = []
    for place, part in enumerate(parts):
        length, top, push, jerk = within(moves, corners, part)
        ends = [knot(moves, corners, parts, place), knot(moves, corners, parts, place + 1)]
        alone.append(min(top, reach(max(ends), length / 2, push, jerk)) if length else 0.0)
    done = [[0]]
    for place in range(1, len(parts)):
        together = [*done[-1], place]
        first, last = parts[together[0]][0], parts[place][1]
        slow = within(moves, corners, (first, last))[1]
        still = (moves[first:last, 0] == 0).any()
        if not still and slow >= like * max(alone[one] for one in together):
            done[-1] = together
        else:
            done.append([place])
    return [(parts[run[0]][0], parts[run[-1]][1]) for run in done]


def stretches(moves: Floats, corners: Floats, like: float) -> list[Slice]:
    """Return the slices of the moves when nothing joins any more."""
    parts = [(move, move + 1) for move in range(len(moves))]
    while (fewer := joined_once(moves, corners, parts, like)) != parts:
        parts = fewer
    return parts


def look_ahead(moves: Floats, corners: Floats, parts: list[Slice]) -> list[float]:
    """Return the speeds between the slices."""
    speeds = [knot(moves, corners, parts, place) for place in range(len(parts) + 1)]
    forward = list(enumerate(parts))
    for way_on, order in ((-1, forward[::-1]), (1, forward)):
        for place, part in order:
            length, _, push, jerk = within(moves, corners, part)
            here, there = (place + 1, place) if way_on < 0 else (place, place + 1)
            if length:
                speeds[there] = min(speeds[there], reach(speeds[here], length, push, jerk))
    return speeds
