"""Runtime under a jerk limit: limits of moves and corners in, speeds and seconds out.

Moves are joined to stretches until none can be joined any more; look-ahead runs over stretches,
and each one's time is shared among its moves.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import over_stripes
from icecam.kernels.lookahead_jerk import fill_stretches, join_stretches, look_ahead
from icecam.kernels.lookahead_times import time_stretches

Floats = NDArray[np.float64]

_ROUNDS: Final = 20
"""Most rounds of joining; each but the last joins something, and a path rarely takes ten."""


def with_jerk(
    points: Floats, limits: Floats, jerk: Floats, corners: Floats, block_seconds: float
) -> tuple[Floats, Floats]:
    """Return speed at each point and seconds of each move, with S-shaped ramps.

    Parameters
    ----------
    points : (n + 1, 3) mm, n > 0
    limits : (n, 3) length mm, top speed mm/s, acceleration mm/s2 of each move
    jerk : (3,) mm/s3, above 0, of X, Y, Z
    corners : (n + 1,) mm/s, most speed at the points; infinite where nothing limits it
    block_seconds : s, what a move without length takes

    Returns
    -------
    (n + 1,) mm/s, (n,) s

    Notes
    -----
    Jerk along a move is the least j_k / |u_k|. A ramp from v to w under acceleration a and jerk j
    takes T = (w - v)/a + a/j if w - v >= a^2/j, else 2 sqrt((w - v)/j), over (v + w)/2 T, and is
    the least time. Acceleration is zero between stretches. Neighbours join where the slowest place
    within both stays above `LIKE` of the fastest that either could come to by itself; a stretch
    has the least speed, acceleration and jerk found in it. So the motion keeps every limit, and a
    straight line takes as long in one piece as in a thousand. It is not always the least time: a
    ramp from rest gains more over the same way than one from a crawl, and the passes take the
    highest speed they may. What rounding a corner takes in jerk is left out.
    Source: mechanics; no constant.
    """
    count = len(limits)
    stretches = np.zeros((count, 4))
    over_stripes(count, lambda a, b: fill_stretches(points, limits, jerk, stretches, a, b))
    caps, firsts = np.array(corners), np.arange(count + 1)
    for _ in range(_ROUNDS):
        before, count = count, join_stretches(stretches, caps, firsts, count)
        if count == before:
            break
    between = np.zeros(count + 1)
    look_ahead(stretches, caps, count, between)
    speeds, seconds = np.zeros(len(points)), np.zeros(len(limits))
    speeds[0] = between[0]
    over_stripes(
        count,
        lambda a, b: time_stretches(
            stretches, firsts, between, limits, block_seconds, speeds, seconds, a, b
        ),
    )
    return speeds, seconds
