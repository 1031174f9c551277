"""Polylines: points a straight line replaces dropped, and an order that keeps travel short."""

from math import floor, inf, sqrt

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
def chain(
    order: Ints, turned: NDArray[np.bool_], tips: Floats, heads: Ints, nexts: Ints, frame: Floats,
    shape: Ints, start: Floats,
) -> None:  # fmt: skip
    """Order pieces so that each begins near where the one before ended.

    tips : (2n, 2), rows 2k and 2k + 1 are both ends of piece k
    heads, nexts : lists of ends by square, -1 at their end; frame is x0, y0, side; shape is
        columns, rows
    """
    count = order.shape[0]
    done = np.zeros(count, dtype=np.bool_)
    x, y = start[0], start[1]
    columns, rows = shape[0], shape[1]
    for step in range(count):
        ci = min(max(floor((x - frame[0]) / frame[2]), 0), columns - 1)
        cj = min(max(floor((y - frame[1]) / frame[2]), 0), rows - 1)
        best, found = inf, -1
        for ring in range(max(columns, rows) + 1):
            if found >= 0 and (ring - 1) * frame[2] > sqrt(best):
                break
            for j in range(max(cj - ring, 0), min(cj + ring, rows - 1) + 1):
                step_i = 1 if abs(j - cj) == ring else max(2 * ring, 1)
                i = ci - ring
                while i <= ci + ring:
                    if 0 <= i < columns:
                        b = j * columns + i
                        before = -1
                        e = heads[b]
                        while e >= 0:
                            if done[e // 2]:
                                if before < 0:
                                    heads[b] = nexts[e]
                                else:
                                    nexts[before] = nexts[e]
                            else:
                                d = (tips[e, 0] - x) ** 2 + (tips[e, 1] - y) ** 2
                                if d < best:
                                    best, found = d, e
                                before = e
                            e = nexts[e]
                    i += step_i
        piece = found // 2
        done[piece] = True
        order[step] = piece
        turned[step] = found % 2 == 1
        other = found - 1 if found % 2 == 1 else found + 1
        x, y = tips[other, 0], tips[other, 1]


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
