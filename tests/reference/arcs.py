"""Slow twin of the arcs: the best circle by numpy's least squares, and what an arc must keep.

Written from the definitions in complex numbers; nothing is shared with the kernel.
"""

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def centre(points: Floats) -> complex | None:
    """Centre of the circle through both ends, best by algebraic distance; None on a line.

    Unknown are the centre (a, b) and c of x^2 + y^2 = 2 a x + 2 b y + c over points and middles of
    moves, with both ends met exactly, so that one parameter is free.
    """
    flat = points[:, 0] + 1j * points[:, 1]
    both = np.concatenate([flat, (flat[1:] + flat[:-1]) / 2])
    rows = np.column_stack([2 * both.real, 2 * both.imag, np.ones(len(both))])
    right = np.abs(both) ** 2
    ends = rows[[0, len(flat) - 1]]
    exact, *_ = np.linalg.lstsq(ends, right[[0, len(flat) - 1]], rcond=None)
    free = np.linalg.svd(ends)[2][-1]
    slope = rows @ free
    if np.abs(slope).max() < 1e-9 * np.abs(rows).max():
        return None
    best = exact + free * (slope @ (right - rows @ exact)) / (slope @ slope)
    return complex(best[0], best[1])


def apart(points: Floats, middle: complex) -> float:
    """Farthest, in 3D, that an arc lies from moves, or moves from the arc, ray by ray.

    Along each ray from the centre one place of the moves and one of the arc lie; infinite if the
    moves do not turn one way. The arc rises and changes its radius evenly with the angle.
    """
    share = np.linspace(0, 1, 65)[:, None, None]
    along = points[:-1] + share * (points[1:] - points[:-1])
    places = np.concatenate([along.transpose(1, 0, 2).reshape(-1, 3), points[-1:]])
    spokes = places[:, 0] + 1j * places[:, 1] - middle
    steps = np.angle(spokes[1:] / spokes[:-1])
    if not ((steps > -1e-12).all() or (steps < 1e-12).all()):
        return math.inf
    turned = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
    radius = abs(spokes[0]) + turned * (abs(spokes[-1]) - abs(spokes[0]))
    height = points[0, 2] + turned * (points[-1, 2] - points[0, 2])
    return float(np.hypot(np.abs(spokes) - radius, places[:, 2] - height).max())


def turn(points: Floats, middle: complex) -> float:
    """Angle that points turn by around a middle, with sign."""
    spokes = points[:, 0] + 1j * points[:, 1] - middle
    return float(np.angle(spokes[1:] / spokes[:-1]).sum())
