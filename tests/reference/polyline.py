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


def nearest_next(
    ends: list[tuple[Floats, Floats]], start: tuple[float, float]
) -> list[tuple[int, bool]]:
    """Pieces in the order of always going to the nearest end left, and whether each is turned."""
    here, left, found = np.array(start), set(range(len(ends))), []
    while left:
        choices = [
            (float(np.linalg.norm(end[:2] - here)), n, turned)
            for n in sorted(left)
            for turned, end in enumerate(ends[n])
        ]
        _, n, turned = min(choices)
        found.append((n, bool(turned)))
        left.remove(n)
        here = ends[n][0 if turned else 1][:2]
    return found


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
