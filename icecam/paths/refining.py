"""Straight moves over a curved tip surface: points added until no chord cuts far below it.

In plan a cut keeps its way and its points rise; a level ring keeps its height and they go aside.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Heights
from icecam.paths.pieces import Pieces, inserted

CHORD_MM: Final = 0.015
SHORTEST_MM: Final = 0.02
"""In plan; a rise over a shorter way is a wall, and is climbed straight up on its lower side."""
ROUNDS: Final = 8
RING_CHORD_MM: Final = 0.04
HALVINGS: Final = 8
"""Of half a move, after which the place is known where a point of a ring is clear."""


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
    for _ in range(ROUNDS):
        steps = np.diff(pieces.points, axis=0)
        plan = np.linalg.norm(steps[:, :2], axis=1)
        long = (np.linalg.norm(steps, axis=1) > longest) & (plan > SHORTEST_MM)
        long[pieces.starts[1:-1] - 1] = False
        at = np.flatnonzero(long)
        if len(at) == 0:
            break
        middle = (pieces.points[at] + pieces.points[at + 1]) / 2
        middle[:, 2] = settle(middle)
        pieces = inserted(pieces, at, middle)
    return _walls_climbed(pieces, float(longest))


def rounded(
    rings: Pieces, radius: float, settle: Callable[[NDArray[np.float64]], Heights]
) -> Pieces:
    """Halve moves of level rings until none can cut deeper than `RING_CHORD_MM`.

    Nothing that the tip must stay out of is rounder than the tip, so a move of length l between
    points where it is clear cuts l^2 / (8 radius) deep at the most. Where the middle is not clear
    on either side, the move stays as it is.

    Parameters
    ----------
    radius : mm, of the tip in plan, more than 0
    settle : gives the exact height of the tip at points (n, 3), or of one far below more
    """
    longest = np.sqrt(8 * radius * RING_CHORD_MM)
    for _ in range(ROUNDS):
        moves = np.diff(rings.points, axis=0)
        long = np.hypot(moves[:, 0], moves[:, 1]) > longest
        long[rings.starts[1:-1] - 1] = False
        at = np.flatnonzero(long)
        middle, clear = _aside(rings.points[at] + moves[at] / 2, moves[at] / 2, settle)
        if not clear.any():
            break
        rings = inserted(rings, at[clear], middle[clear])
    return rings


def _aside(
    middle: NDArray[np.float64],
    half: NDArray[np.float64],
    settle: Callable[[NDArray[np.float64]], Heights],
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Points (n, 3) moved across `half` (n, 3), by its length at most, to where the tip is clear.

    With marks (n,) of those that are. To the side where the tip is lower.
    """
    place, clear = middle.copy(), settle(middle) <= middle[:, 2]
    at = np.flatnonzero(~clear)
    left = half[at] @ np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    ends = np.stack([middle[at] + left, middle[at] - left])
    tips = np.stack([settle(end) for end in ends])
    side = np.argmin(tips, axis=0)
    far = ends[side, np.arange(len(at))]
    open_ = tips.min(axis=0) <= far[:, 2]
    at, far, near = at[open_], far[open_], middle[at[open_]]
    for _ in range(HALVINGS):
        between = (near + far) / 2
        rests = (settle(between) <= between[:, 2])[:, None]
        near, far = np.where(rests, near, between), np.where(rests, between, far)
    place[at], clear[at] = far, True
    return place, clear


def _walls_climbed(pieces: Pieces, longest: float) -> Pieces:
    """Put a point over the lower end of each move that jumps up or down a wall."""
    points = pieces.points
    steps = np.diff(points, axis=0)
    plan = np.linalg.norm(steps[:, :2], axis=1)
    wall = (np.abs(steps[:, 2]) > longest) & (plan <= 2 * SHORTEST_MM)
    wall[pieces.starts[1:-1] - 1] = False
    at = np.flatnonzero(wall)
    if len(at) == 0:
        return pieces
    up = steps[at, 2] > 0
    corner = np.where(up[:, None], points[at], points[at + 1])
    corner[:, 2] = np.maximum(points[at, 2], points[at + 1, 2])
    return inserted(pieces, at, corner)
