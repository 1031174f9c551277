"""Times of the moves of a stretch: seven phases of constant jerk, cut where moves end."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.lookahead_jerk import (
    JERK,
    LENGTH,
    PUSH,
    peak_speed,
    ramp_length,
    ramp_seconds,
)

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

_STEPS: Final = 100
"""More than halving needs to use up the digits of a double."""

_ROUNDING: Final = 1e-15
"""Share of a way that its sums may be off by rounding alone."""


@kernel
def time_stretches(
    stretches: Floats,
    firsts: Indices,
    between: Floats,
    limits: Floats,
    block_seconds: float,
    speeds: Floats,
    seconds: Floats,
    first: int,
    last: int,
) -> None:
    """Fill `seconds` (n,) and `speeds` (n + 1,) of the moves of stretches [first, last).

    `stretches` (m, 4), `firsts` (m + 1,), `between` (m + 1,) speeds around the stretches, `limits`
    (n, 3) with the length of each move first. The speed at the very start is not written.
    """
    phases = np.zeros((7, 2))
    for row in range(first, last):
        begin, end = firsts[row], firsts[row + 1]
        enter, leave = between[row], between[row + 1]
        speeds[end] = leave
        length = stretches[row, LENGTH]
        if length == 0.0:
            seconds[begin] = block_seconds
            continue
        push, jerk = stretches[row, PUSH], stretches[row, JERK]
        peak = peak_speed(stretches, row, enter, leave)
        ways = ramp_length(enter, peak, push, jerk) + ramp_length(leave, peak, push, jerk)
        hold = max(length - ways, 0.0) / peak
        ramps = ramp_seconds(peak - enter, push, jerk) + ramp_seconds(peak - leave, push, jerk)
        seconds[begin] = ramps + hold
        if end - begin > 1:
            _ramp_phases(phases, 0, peak - enter, push, jerk)
            phases[3, 0], phases[3, 1] = hold, 0.0
            _ramp_phases(phases, 4, peak - leave, push, -jerk)
            _cut(phases, enter, limits, begin, end, speeds, seconds)


@kernel
def _ramp_phases(phases: Floats, row: int, rise: float, push: float, jerk: float) -> None:
    """Fill three rows of `phases` (7, 2), seconds and jerk; `jerk` below 0 for a ramp down."""
    size = abs(jerk)
    turn = min(push / size, np.sqrt(rise / size))
    phases[row, 0], phases[row, 1] = turn, jerk
    phases[row + 1, 0], phases[row + 1, 1] = max(rise / push - push / size, 0.0), 0.0
    phases[row + 2, 0], phases[row + 2, 1] = turn, -jerk


@kernel
def _way(speed: float, push: float, jerk: float, seconds: float) -> float:
    """Way gone at constant jerk."""
    return float(seconds * (speed + seconds * (push / 2.0 + seconds * jerk / 6.0)))


@kernel
def _seconds_to(way: float, speed: float, push: float, jerk: float, most: float) -> float:
    """Time within a phase, at most `most`, after which it has gone `way`."""
    low, high = 0.0, most
    here = min(way / speed, most) if speed > 0.0 else most
    for _ in range(_STEPS):
        over = _way(speed, push, jerk, here) - way
        if abs(over) <= _ROUNDING * way:
            break
        if over > 0.0:
            high = here
        else:
            low = here
        guess = here - over / (speed + here * (push + here * jerk / 2.0))
        here = guess if low < guess < high else (low + high) / 2.0
    return here


@kernel
def _cut(
    phases: Floats,
    enter: float,
    limits: Floats,
    begin: int,
    end: int,
    speeds: Floats,
    seconds: Floats,
) -> None:
    """Share the time of a stretch among its moves; `seconds[begin]` holds all of it before."""
    whole = seconds[begin]
    phase, clock, gone = 0, 0.0, 0.0
    speed, push = enter, 0.0
    want, told = 0.0, 0.0
    for move in range(begin, end - 1):
        want += limits[move, 0]
        span, jerk = phases[phase, 0], phases[phase, 1]
        through = _way(speed, push, jerk, span)
        while phase < 6 and gone + through < want:
            clock += span
            gone += through
            speed += span * (push + span * jerk / 2.0)
            push += span * jerk
            phase += 1
            span, jerk = phases[phase, 0], phases[phase, 1]
            through = _way(speed, push, jerk, span)
        within = _seconds_to(want - gone, speed, push, jerk, span)
        speeds[move + 1] = max(speed + within * (push + within * jerk / 2.0), 0.0)
        seconds[move] = max(clock + within - told, 0.0)
        told = clock + within
    seconds[end - 1] = max(whole - told, 0.0)
