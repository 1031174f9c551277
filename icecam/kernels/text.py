"""Moves as RS-274 text, written straight into a byte buffer.

Takes the ends, kinds and feeds of moves in mm and mm/s, gives one line a move or an arc.
Coordinates are rounded to whole ticks first (a tick is the last decimal written); arcs are fitted
to ticks and everything modal is decided on ticks, so that what is compared is what is written.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.arcs import turns_left
from icecam.kernels.compiled import kernel

UNKNOWN: Final = -(2**62)
"""Ticks of a position or feed that was not written yet."""
LARGEST: Final = 99999
"""Largest coordinate and feed that is written, in the units of the text."""
LONGEST: Final = 80
"""Bytes that one line needs at most: N, G, X, Y, Z, F, blanks and the line end; an arc, with I and
J, within `ARC_FARTHEST`, `ARC_MOST_MM` and the decimals that a dialect with arcs may have."""
LAST_LINE_NUMBER: Final = 99999
"""Source: NISTIR 6556, 3.3.1."""
FEED_SLACK: Final = 1e-6
"""Ticks by which a feed may lie under a whole tick and still count as it: float noise of mm/s."""

# what `modal` holds: X, Y, Z, the motion word, F and N
_MOTION: Final = 3
_FEED: Final = 4
_NUMBER: Final = 5
MODAL_SIZE: Final = 6


class Figures(NamedTuple):
    """How numbers are written: ticks a mm and a mm/s, decimals of both, step of line numbers."""

    scale: float
    decimals: int
    feed_scale: float
    feed_decimals: int
    step: int


@kernel
def next_number(number: int, step: int) -> int:
    """Line number after `number`; starts again at `step` when five digits are used up."""
    return number + step if number + step <= LAST_LINE_NUMBER else step


@kernel
def put_number(out: NDArray[np.uint8], at: int, ticks: int, decimals: int) -> int:
    """Write `ticks` 10^-`decimals` as a plain number without trailing zeros; return the next byte.

    out : (n,) uint8
    """
    if ticks < 0:
        out[at] = 45  # -
        at += 1
        ticks = -ticks
    while decimals > 0 and ticks % 10 == 0:
        ticks //= 10
        decimals -= 1
    width, rest = 1, ticks // 10
    while rest > 0 or width <= decimals:
        width += 1
        rest //= 10
    end = at + width + (1 if decimals > 0 else 0)
    place = end - 1
    for digit in range(width):
        if digit == decimals and decimals > 0:
            out[place] = 46  # .
            place -= 1
        out[place] = 48 + ticks % 10
        ticks //= 10
        place -= 1
    return end


@kernel
def _put_word(out: NDArray[np.uint8], at: int, letter: int, ticks: int, decimals: int) -> int:
    """Write a letter, its number and a blank; return the next byte."""
    out[at] = letter
    at = put_number(out, at + 1, ticks, decimals)
    out[at] = 32
    return at + 1


@kernel
def _put_move(
    out: NDArray[np.uint8],
    at: int,
    goal: NDArray[np.int64],
    motion: int,
    feed: int,
    centre: NDArray[np.int64],
    modal: NDArray[np.int64],
    figures: Figures,
) -> int:
    """Write a move and keep what it changes in `modal`; return the next byte.

    goal : (3,) ticks; centre : (2,) ticks from the start, of an arc. An arc says X, Y, I and J
    even where they change nothing: what a missing word means is not the same everywhere.
    """
    if figures.step > 0:
        modal[_NUMBER] = next_number(modal[_NUMBER], figures.step)
        at = _put_word(out, at, 78, modal[_NUMBER], 0)  # N
    if motion != modal[_MOTION]:
        modal[_MOTION] = motion
        at = _put_word(out, at, 71, motion, 0)  # G
    for axis in range(3):
        if goal[axis] != modal[axis] or (motion > 1 and axis < 2):
            modal[axis] = goal[axis]
            at = _put_word(out, at, 88 + axis, goal[axis], figures.decimals)  # X Y Z
    if motion > 1:
        for axis in range(2):
            at = _put_word(out, at, 73 + axis, centre[axis], figures.decimals)  # I J
    if motion > 0 and feed != modal[_FEED]:
        modal[_FEED] = feed
        at = _put_word(out, at, 70, feed, figures.feed_decimals)  # F
    out[at - 1] = 10  # the line end takes the place of the last blank
    return at


@kernel
def round_moves(
    ends: NDArray[np.float64],
    kind: NDArray[np.int8],
    feed: NDArray[np.float64],
    figures: Figures,
    points: NDArray[np.int64],
    feeds: NDArray[np.int64],
    before: NDArray[np.int64],
) -> tuple[int, int]:
    """Round moves to ticks; a move that rounds to no motion is left out.

    ends : (n, 3) mm; kind : (n,) int8, 1 cuts; feed : (n,) mm/s; points : (n + 1, 3), the first row
    is where they start; feeds : (n,), 0 on rapids; before : (n + 1,), moves kept before each.
    Returns the moves kept and -1, or the first move that holds a number too large or a feed that
    rounds to nothing.
    """
    limit = float(LARGEST) * 10.0**figures.decimals
    feed_limit = float(LARGEST) * 10.0**figures.feed_decimals
    kept = 0
    for move in range(len(ends)):
        changed = False
        for axis in range(3):
            value = ends[move, axis] * figures.scale
            if not abs(value) <= limit:
                return kept, move
            points[kept + 1, axis] = int(np.rint(value))
            changed |= points[kept + 1, axis] != points[kept, axis]
        feeds[kept] = 0
        if kind[move] == 1:
            value = np.floor(feed[move] * figures.feed_scale + FEED_SLACK)
            if not 1 <= value <= feed_limit:
                return kept, move
            feeds[kept] = int(value)
        if changed:
            kept += 1
        before[move + 1] = kept
    return kept, -1


@kernel
def format_moves(
    points: NDArray[np.int64],
    feeds: NDArray[np.int64],
    spans: NDArray[np.int64],
    centres: NDArray[np.int64],
    figures: Figures,
    modal: NDArray[np.int64],
    out: NDArray[np.uint8],
) -> int:
    """Write moves as lines; return the bytes used.

    points, feeds : as `round_moves` leaves them; spans, centres : see `icecam.kernels.arcs`;
    modal : (MODAL_SIZE,) int64, kept up to date; out : (n * LONGEST,) uint8.
    """
    at, move = 0, 0
    while move < len(feeds):
        motion, last = 1 if feeds[move] > 0 else 0, move + 1
        if spans[move] > 0:
            last = move + spans[move]
            motion = 3 if turns_left(points, move, centres) else 2
        at = _put_move(out, at, points[last], motion, feeds[move], centres[move], modal, figures)
        move = last
    return at
