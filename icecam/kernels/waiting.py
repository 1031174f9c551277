"""Pieces one after the other, each near where the one before ended, each after those over it.

A piece *stands* in the squares of the ground in which it lies, and *waits* in these and all squares
within reach: until nothing that stands there is higher than it bears.
"""

from math import floor, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.exchange import Hop, hop_seconds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Listed(NamedTuple):
    """Entries by square: those of square b are starts[b]:starts[b + 1], their heights falling."""

    starts: Ints
    pieces: Ints
    heights: Floats


class Bins(NamedTuple):
    """Squares in which ends are looked for: corner and side, mm; how many across and along."""

    x0: float
    y0: float
    side: float
    columns: int
    rows: int


@kernel
def _column(bins: Bins, x: float) -> int:
    return int(min(max(floor((x - bins.x0) / bins.side), 0), bins.columns - 1))


@kernel
def _row(bins: Bins, y: float) -> int:
    return int(min(max(floor((y - bins.y0) / bins.side), 0), bins.rows - 1))


@kernel
def _let_go(
    b: int, standing: Listed, stand: Ints, waiting: Listed, wait: Ints, done: NDArray[np.bool_],
    waits: Ints, free: Ints, count: int,
) -> int:  # fmt: skip
    """Let go what no longer waits in square b: its number goes behind the `count` first of `free`.

    stand, wait : how far the lists of each square have been gone through; returns the new count
    """
    while stand[b] < standing.starts[b + 1] and done[standing.pieces[stand[b]]]:
        stand[b] += 1
    top = standing.heights[stand[b]] if stand[b] < standing.starts[b + 1] else -inf
    while wait[b] < waiting.starts[b + 1] and waiting.heights[wait[b]] >= top:
        piece = waiting.pieces[wait[b]]
        wait[b] += 1
        waits[piece] -= 1
        if waits[piece] == 0:
            free[count] = piece
            count += 1
    return count


@kernel
def _quickest(
    here: Floats, tips: Floats, heads: Ints, nexts: Ints, done: NDArray[np.bool_], bins: Bins,
    hop: Hop,
) -> int:  # fmt: skip
    """Return the listed end to which the way from `here` is quickest, -1 if none is listed."""
    pace, rise, speed = hop
    ci, cj = _column(bins, here[0]), _row(bins, here[1])
    best, found = inf, -1
    for ring in range(max(bins.columns, bins.rows) + 1):
        off = max((ring - 1) * bins.side, 0.0)
        if found >= 0 and min(off / pace, rise + off / speed) > best:
            break
        for j in range(max(cj - ring, 0), min(cj + ring, bins.rows - 1) + 1):
            step = 1 if abs(j - cj) == ring else max(2 * ring, 1)
            for i in range(ci - ring, ci + ring + 1, step):
                if not 0 <= i < bins.columns:
                    continue
                b, before = j * bins.columns + i, -1
                end = heads[b]
                while end >= 0:
                    if not done[end >> 1]:
                        seconds = hop_seconds(here, tips[end], hop)
                        if seconds < best:
                            best, found = seconds, end
                        before = end
                    elif before < 0:
                        heads[b] = nexts[end]
                    else:
                        nexts[before] = nexts[end]
                    end = nexts[end]
    return found


@kernel
def follow(
    order: Ints, tips: Floats, begins: Ints, squares: Ints, standing: Listed, waiting: Listed,
    bins: Bins, start: Floats, hop: Hop,
) -> None:  # fmt: skip
    """Order pieces (n,): each the quickest to get at of those that no longer wait for another.

    order : is given the ends at which pieces begin, 2k or 2k + 1 for piece k turned round
    tips : (2n, 3) mm, rows 2k and 2k + 1 are the ends of piece k
    begins, squares : piece k stands in squares[begins[k]:begins[k + 1]]
    standing : how high pieces stand in a square; waiting : how high others there may be, for every
        piece in some square and nowhere less than how high itself stands, so none wait in a circle
    start : (3,) mm, where the bit comes from
    """
    count, let_go, listed = len(order), 0, 0
    done, free = np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.int64)
    waits = np.bincount(waiting.pieces, minlength=count)
    stand, wait = standing.starts[:-1].copy(), waiting.starts[:-1].copy()
    heads, nexts = np.full(bins.columns * bins.rows, -1), np.full(2 * count, -1)
    for b in range(len(stand)):
        let_go = _let_go(b, standing, stand, waiting, wait, done, waits, free, let_go)
    here = start
    for step in range(count):
        while listed < let_go:
            for end in (2 * free[listed], 2 * free[listed] + 1):
                b = _row(bins, tips[end, 1]) * bins.columns + _column(bins, tips[end, 0])
                nexts[end], heads[b] = heads[b], end
            listed += 1
        end = _quickest(here, tips, heads, nexts, done, bins, hop)
        order[step], here = end, tips[end ^ 1]
        done[end >> 1] = True
        for b in squares[begins[end >> 1] : begins[(end >> 1) + 1]]:
            let_go = _let_go(b, standing, stand, waiting, wait, done, waits, free, let_go)
