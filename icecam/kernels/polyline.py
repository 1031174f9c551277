"""Polylines: points dropped that a straight line replaces, strings drawn taut, parts so high."""

from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@kernel
def _off_chord(points: Floats, a: int, b: int, k: int) -> float:
    """Squared distance of point k from the segment a-b."""
    ux, uy, uz = (
        points[b, 0] - points[a, 0],
        points[b, 1] - points[a, 1],
        points[b, 2] - points[a, 2],
    )
    px, py, pz = (
        points[k, 0] - points[a, 0],
        points[k, 1] - points[a, 1],
        points[k, 2] - points[a, 2],
    )
    square = ux * ux + uy * uy + uz * uz
    t = min(max((px * ux + py * uy + pz * uz) / square, 0.0), 1.0) if square > 0.0 else 0.0
    ex, ey, ez = px - t * ux, py - t * uy, pz - t * uz
    return float(ex * ex + ey * ey + ez * ez)


@kernel
def keep_points(
    keep: NDArray[np.bool_], points: Floats, starts: Ints, first: int, last: int, tolerance: float,
    longest: int,
) -> None:  # fmt: skip
    """Mark the points of polylines first..last that straight moves within `tolerance` need.

    Polyline n is points[starts[n]:starts[n + 1]] (m, 3); at most `longest` points are skipped.
    """
    for n in range(first, last):
        anchor, end = starts[n], starts[n + 1] - 1
        if end < anchor:
            continue
        keep[anchor] = True
        keep[end] = True
        while anchor < end:
            reach = anchor + 1
            while reach < end and reach - anchor < longest:
                fits = True
                for k in range(anchor + 1, reach + 1):
                    if _off_chord(points, anchor, reach + 1, k) > tolerance * tolerance:
                        fits = False
                        break
                if not fits:
                    break
                reach += 1
            keep[reach] = True
            anchor = reach


@kernel
def part_marks(marks: NDArray[np.bool_], z: Floats, most: Floats, starts: Ints) -> None:
    """Mark the points of polylines at which a part has to begin, but for their first ones.

    Each part is as long as it can be: its highest point no higher over its lowest than the least of
    `most` at its points; z, most : (n,)
    """
    for n in range(len(starts) - 1):
        low, high, bears = inf, -inf, inf
        for k in range(starts[n], starts[n + 1]):
            low, high, bears = min(low, z[k]), max(high, z[k]), min(bears, most[k])
            # a sum as where parts are put in order: rounded otherwise, one might wait for itself
            if high > low + bears:
                marks[k] = True
                low, high, bears = z[k], z[k], most[k]


@kernel
def taut(
    keep: NDArray[np.bool_], points: Floats, starts: Ints, first: int, last: int, stack: Ints
) -> None:  # fmt: skip
    """Mark the points of polylines first..last that a string drawn taut from above rests on.

    Each polyline runs straight in plan; stack : (longest polyline,) room to work in
    """
    for n in range(first, last):
        begin, end = starts[n], starts[n + 1]
        ax, ay = points[begin, 0], points[begin, 1]
        top = 0
        for k in range(begin, end):
            s = sqrt((points[k, 0] - ax) ** 2 + (points[k, 1] - ay) ** 2)
            while top >= 2:
                b, a = stack[top - 1], stack[top - 2]
                sb = sqrt((points[b, 0] - ax) ** 2 + (points[b, 1] - ay) ** 2)
                sa = sqrt((points[a, 0] - ax) ** 2 + (points[a, 1] - ay) ** 2)
                # b lies on or below the string from a to k
                rise = (points[k, 2] - points[a, 2]) * (sb - sa)
                if (points[b, 2] - points[a, 2]) * (s - sa) > rise:
                    break
                top -= 1
            stack[top] = k
            top += 1
        for m in range(top):
            keep[stack[m]] = True
