"""Speeds along a file of straight moves: limits of each move, of each corner, and look-ahead.

From the points of a path come the length, top speed and acceleration of each move, a speed for each
corner, and then, in one pass backward and one forward over the whole file, the highest speeds that
keep all of them.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Floats = NDArray[np.float64]
Lines = NDArray[np.int32]

COLLINEAR = 1e-9
"""Half a turn's sine below this is rounding of the coordinates, not a corner."""


class AxisLimits(NamedTuple):
    """Speed (3,) mm/s and acceleration (3,) mm/s2 of X, Y, Z; lines a second; mm at corners."""

    speed: Floats
    acceleration: Floats
    block_rate: float
    corner_tolerance: float


@kernel
def step_of(points: Floats, move: int) -> tuple[float, float, float, float]:
    """Return the length of a move, and the three parts of its direction (0 without length)."""
    x = points[move + 1, 0] - points[move, 0]
    y = points[move + 1, 1] - points[move, 1]
    z = points[move + 1, 2] - points[move, 2]
    length = np.sqrt(x * x + y * y + z * z)
    if length == 0.0:
        return 0.0, 0.0, 0.0, 0.0
    return length, x / length, y / length, z / length


@kernel
def of_one_line(line: Lines, move: int) -> bool:
    """Whether a move and the one before it are chords of one arc: both come from one line."""
    return bool(move > 0 and line[move] > 0 and line[move] == line[move - 1])


@kernel
def _line_length(points: Floats, line: Lines, move: int, length: float) -> float:
    """Length of all moves of the line of a move; `length` is that of the move alone."""
    begin, end = move, move + 1
    while of_one_line(line, begin):
        begin -= 1
    while end < len(line) and of_one_line(line, end):
        end += 1
    if end - begin == 1:
        return length
    whole = 0.0
    for other in range(begin, end):
        whole += step_of(points, other)[0]
    return whole


@kernel
def move_limits(
    points: Floats, feed: Floats, line: Lines, axes: AxisLimits, limits: Floats, first: int,
    last: int,
) -> None:  # fmt: skip
    """Fill rows [first, last) of `limits` (n, 3): length, top speed, acceleration of each move.

    `points` is (n + 1, 3), `feed` (n,), infinite on rapids, `line` (n,), 0 for moves without one.
    The chords of an arc are one block together.
    """
    block = 0.0
    for move in range(first, last):
        step = step_of(points, move)
        length = step[0]
        if move == first or not of_one_line(line, move):
            block = _line_length(points, line, move, length)
        top = min(feed[move], block * axes.block_rate)
        push = np.inf if length > 0.0 else 0.0
        for axis in range(3):
            part = abs(step[axis + 1])
            if part > 0.0:
                top = min(top, axes.speed[axis] / part)
                push = min(push, axes.acceleration[axis] / part)
        limits[move, 0] = length
        limits[move, 1] = top
        limits[move, 2] = push


@kernel
def arc_corner_speeds(
    points: Floats, line: Lines, axes: AxisLimits, corners: Floats, first: int, last: int
) -> None:
    """Fill entries [first, last) of `corners` (n + 1,) from the arc that rounds each corner.

    Between chords of an arc there is no corner, so the corner tolerance does not hold there. Where
    an arc meets another move, half of the whole arc is room for what rounds the corner.
    """
    for point in range(first, last):
        before = step_of(points, point - 1)
        after = step_of(points, point)
        across = 0.0
        along = 0.0
        for axis in range(1, 4):
            across += (after[axis] - before[axis]) ** 2
            along += (after[axis] + before[axis]) ** 2
        sine = np.sqrt(across) / 2.0
        cosine = np.sqrt(along) / 2.0
        shorter = min(before[0], after[0])
        if shorter == 0.0 or cosine < COLLINEAR:
            corners[point] = 0.0
        elif sine < COLLINEAR:
            corners[point] = np.inf
        else:
            # 1 - cos = sin^2 / (1 + cos) keeps the digits of small turns.
            if of_one_line(line, point):
                radius = 0.5 * shorter * cosine / sine
            else:
                ahead = _line_length(points, line, point, after[0])
                shorter = min(_line_length(points, line, point - 1, before[0]), ahead)
                by_tolerance = axes.corner_tolerance * cosine * (1.0 + cosine) / (sine * sine)
                radius = min(by_tolerance, 0.5 * shorter * cosine / sine)
            pull = np.inf
            for axis in range(3):
                one, two = before[axis + 1], after[axis + 1]
                inward = abs(two - one) / (2.0 * sine)
                onward = abs(two + one) / (2.0 * cosine)
                share = cosine * inward + sine * onward
                if one * two < 0.0:
                    # The axis turns round within the arc: its whole pull falls on it there.
                    share = np.sqrt(inward * inward + onward * onward)
                if share > 0.0:
                    pull = min(pull, axes.acceleration[axis] / share)
            corners[point] = np.sqrt(radius * pull)


@kernel
def chord_corner_speeds(
    points: Floats, axes: AxisLimits, corners: Floats, first: int, last: int
) -> None:
    """Fill entries [first, last) of `corners` (n + 1,) from the jump in axis speed alone."""
    for point in range(first, last):
        before = step_of(points, point - 1)
        after = step_of(points, point)
        square = np.inf
        if before[0] == 0.0 or after[0] == 0.0:
            square = 0.0
        for axis in range(3):
            jump = abs(after[axis + 1] - before[axis + 1])
            if jump > COLLINEAR:
                mean = (before[0] + after[0]) / 2.0
                square = min(square, axes.acceleration[axis] * mean / jump)
        corners[point] = np.sqrt(square)


@kernel
def _seconds(length: float, top: float, push: float, enter: float, leave: float) -> float:
    """Time of one move: speed up, hold, slow down; `enter` and `leave` are squares of speed."""
    peak = min(top * top, (enter + leave) / 2.0 + push * length)
    fastest = np.sqrt(peak)
    ramps = (2.0 * peak - enter - leave) / (2.0 * push)
    hold = max(length - ramps, 0.0)
    return float((2.0 * fastest - np.sqrt(enter) - np.sqrt(leave)) / push + hold / fastest)


@kernel
def look_ahead(
    limits: Floats, corners: Floats, block_seconds: float, speeds: Floats, seconds: Floats
) -> None:
    """Fill `speeds` (n + 1,) at the points and `seconds` (n,) of the moves.

    `limits` is (n, 3) as `move_limits` leaves it, `corners` (n + 1,) mm/s.
    """
    count = len(limits)
    ahead = np.inf
    for move in range(count - 1, -1, -1):
        bound = min(corners[move + 1], limits[move, 1])
        if move + 1 < count:
            bound = min(bound, limits[move + 1, 1])
        # `speeds` holds squares until the forward pass has settled them.
        speeds[move + 1] = min(bound * bound, ahead)
        ahead = speeds[move + 1] + 2.0 * limits[move, 2] * limits[move, 0]
    bound = min(corners[0], limits[0, 1])
    enter = min(bound * bound, ahead)
    speeds[0] = np.sqrt(enter)
    for move in range(count):
        length, top, push = limits[move, 0], limits[move, 1], limits[move, 2]
        if length == 0.0:
            leave = 0.0
            seconds[move] = block_seconds
        else:
            leave = min(speeds[move + 1], enter + 2.0 * push * length)
            seconds[move] = _seconds(length, top, push, enter, leave)
        speeds[move + 1] = np.sqrt(leave)
        enter = leave
