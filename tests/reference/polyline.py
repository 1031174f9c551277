"""Slow twins of the polyline kernels, from their definitions."""

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def off_segment(points: Floats, a: Floats, b: Floats) -> Floats:
    """Distance of points (n, 3) from the segment a-b."""
    along = b - a
    square = float(along @ along)
    share = (
        np.clip((points - a) @ along / square, 0.0, 1.0) if square > 0 else np.zeros(len(points))
    )
    return np.asarray(np.linalg.norm(points - (a + share[:, None] * along), axis=1))


def kept(points: Floats, tolerance: float, longest: int) -> list[int]:
    """Numbers of the points kept: each move goes on while one more point would still fit."""
    found, here, end = [0], 0, len(points) - 1
    while here < end:
        there = here + 1
        while there < end and there - here < longest:
            skipped = points[here + 1 : there + 1]
            if off_segment(skipped, points[here], points[there + 1]).max() > tolerance:
                break
            there += 1
        found.append(there)
        here = there
    return found


def begins_of_parts(z: list[float], most: list[float]) -> list[int]:
    """Numbers of the points at which parts begin, each the longest that is no higher than it bears.

    The highest of its points over the lowest, by any of its points.
    """
    begins, last = [0], len(z)
    while True:
        first = begins[-1]
        fits = [
            end
            for end in range(first + 1, last + 1)
            if max(z[first:end]) <= min(z[first:end]) + min(most[first:end])
        ]
        # what does not fit does not fit with more points either
        if max(fits) == last:
            return begins
        begins.append(max(fits))


def resting_on(along: list[Fraction], up: list[Fraction]) -> list[int]:
    """Numbers of the points that a string drawn taut from above rests on, for places that rise.

    Those that lie above every chord from a point before to a point after them, and both ends.
    """
    last = len(along) - 1
    found = []
    for k in range(last + 1):
        chords = (
            up[i] + (up[j] - up[i]) * (along[k] - along[i]) / (along[j] - along[i])
            for i in range(k)
            for j in range(k + 1, last + 1)
        )
        if all(up[k] > chord for chord in chords):
            found.append(k)
    return found
