"""Straight moves over a curved tip surface: points added until no chord cuts below it."""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Heights
from icecam.paths.pieces import Pieces

CHORD_MM: Final = 0.015
SHORTEST_MM: Final = 0.02
"""In plan; a rise over a shorter way is a wall, and is climbed straight up on its lower side."""
ROUNDS: Final = 8


def refined(
    pieces: Pieces,
    radius: float,
    settle: Callable[[NDArray[np.float64]], Heights],
) -> Pieces:
    """Halve moves until the surface cannot rise more than `CHORD_MM` above them.

    A tip surface is nowhere rounder than the bit: over a chord of length l it rises at most
    l^2 / (8 radius). Over edges of a flat tip it has kinks, where a rise of some hundredths stays.

    Parameters
    ----------
    radius : mm, of the ball or rounded corner, 0 for none; a flat beside it does not count
    settle : gives the exact height of the tip at points (n, 3) on chords
    """
    longest = np.sqrt(8 * max(radius, 0.1) * CHORD_MM)
    points, starts = pieces.points, pieces.starts
    for _ in range(ROUNDS):
        steps = np.diff(points, axis=0)
        plan = np.linalg.norm(steps[:, :2], axis=1)
        long = (np.linalg.norm(steps, axis=1) > longest) & (plan > SHORTEST_MM)
        long[starts[1:-1] - 1] = False
        at = np.flatnonzero(long)
        if len(at) == 0:
            break
        middle = (points[at] + points[at + 1]) / 2
        middle[:, 2] = settle(middle)
        points, starts = _inserted(points, starts, at, middle)
    return _walls_climbed(Pieces(points=points, starts=starts), float(longest))


def _inserted(
    points: NDArray[np.float64],
    starts: NDArray[np.int64],
    at: NDArray[np.intp],
    new: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return the points with `new` put behind those numbered `at`."""
    return np.insert(points, at + 1, new, axis=0), starts + np.searchsorted(at, starts - 1, "left")


def _walls_climbed(pieces: Pieces, longest: float) -> Pieces:
    """Put a point over the lower end of each move that jumps up or down a wall."""
    points, starts = pieces.points, pieces.starts
    steps = np.diff(points, axis=0)
    plan = np.linalg.norm(steps[:, :2], axis=1)
    wall = (np.abs(steps[:, 2]) > longest) & (plan <= 2 * SHORTEST_MM)
    wall[starts[1:-1] - 1] = False
    at = np.flatnonzero(wall)
    if len(at) == 0:
        return pieces
    up = steps[at, 2] > 0
    corner = np.where(up[:, None], points[at], points[at + 1])
    corner[:, 2] = np.maximum(points[at, 2], points[at + 1, 2])
    points, starts = _inserted(points, starts, at, corner)
    return Pieces(points=points, starts=starts)
