"""The order of pieces: quick to go from one to the next, and each after those too high over it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import KDTree

from icecam.kernels.compiled import begun
from icecam.kernels.exchange import Hop, exchange
from icecam.kernels.waiting import Bins, Listed, follow
from icecam.paths.pieces import Parted

NEIGHBOURS: Final = 10
"""Ends near each end that exchange looks at."""
BUDGET: Final = 200_000_000
"""Pieces that exchange may touch: about a second."""
SQUARES: Final = 2
"""Squares of the ground within reach of a piece: finer ones make it wait for fewer others."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def in_short_order(cuts: Parted, reach: float, start: Floats, hop: Hop) -> Ints:
    """Return the order (pieces,) in which cuts are made: 2k for piece k, 2k + 1 turned round.

    Where two cuts have own points within `reach` of each other, one of them higher over the other
    than the `most` of the lower one's cut, the cut of the higher comes first. Of those that wait
    for none the bit goes to the one it is soonest at; then the order is bettered by exchange until
    nothing helps or `BUDGET` is spent, which does not look at a clock, so that the same pieces
    always come in the same order.

    reach : mm in plan; start : (3,) mm, where the bit comes from
    """
    pieces = cuts.pieces
    order = np.zeros(len(pieces), dtype=np.int64)
    if len(pieces) == 0:
        return order
    tips = pieces.points[np.column_stack([pieces.starts[:-1], pieces.starts[1:] - 1]).ravel()]
    ends = np.concatenate([tips, start[None], start[None]])
    near = begun(lambda: _near(ends))
    ground = _ground(cuts, reach)
    follow(
        order, tips, ground.begins, ground.squares, ground.standing, ground.waiting, _bins(tips),
        start, hop,
    )  # fmt: skip
    boxes = np.concatenate([_boxes(cuts), np.zeros((1, 6))])
    whole = np.concatenate([[2 * len(pieces)], order])
    exchange(whole, ends, near(), boxes, reach, hop, BUDGET)
    return whole[1:]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """Squares in which pieces stand and wait, see `icecam.kernels.waiting`."""

    begins: Ints
    squares: Ints
    standing: Listed
    waiting: Listed


def _ground(cuts: Parted, reach: float) -> _Ground:
    """Lay squares over the ground and list what stands and what waits in each."""
    side = reach / SQUARES
    points = cuts.pieces.points[cuts.own]
    piece = np.repeat(np.arange(len(cuts.pieces)), np.diff(cuts.pieces.starts))[cuts.own]
    place = np.floor(points[:, :2] / side).astype(np.int64)
    place -= place.min(axis=0) - SQUARES - 1
    columns, rows = (place.max(axis=0) + SQUARES + 2).tolist()
    square = place[:, 1] * columns + place[:, 0]
    order = np.lexsort((square, piece))
    piece, square, z = piece[order], square[order], points[order, 2]
    first = np.flatnonzero((np.diff(piece, prepend=-1) != 0) | (np.diff(square, prepend=-1) != 0))
    piece, square = piece[first], square[first]
    high, low = np.maximum.reduceat(z, first), np.minimum.reduceat(z, first)
    off = np.arange(-SQUARES - 1, SQUARES + 2)
    gap = side * np.maximum(np.abs(off) - 1, 0)
    dy, dx = np.nonzero(np.hypot(gap[:, None], gap) <= reach)
    around = columns * off[dy] + off[dx]
    return _Ground(
        begins=np.searchsorted(piece, np.arange(len(cuts.pieces) + 1)),
        squares=square,
        standing=_listed(square, piece, high, np.zeros(1, dtype=np.int64), columns * rows),
        waiting=_listed(square, piece, low + cuts.most[piece], around, columns * rows),
    )


def _listed(square: Ints, piece: Ints, height: Floats, around: Ints, count: int) -> Listed:
    """List entries (n,) in `count` squares, each in all squares that lie `around` its own."""
    falling = np.argsort(-height, kind="stable")
    near = (square[falling, None] + around).ravel()
    # a table of squares with one entry in each column: its rows are listed by counting, not sorting
    entries = np.repeat(falling, len(around)), near, np.arange(len(near) + 1)
    table = sparse.csc_array(entries, shape=(count, len(near))).tocsr()
    entry = table.data
    return Listed(starts=table.indptr.astype(np.int64), pieces=piece[entry], heights=height[entry])


def _bins(tips: Floats) -> Bins:
    """Squares over all ends, with about two ends in each."""
    low, high = tips[:, :2].min(axis=0), tips[:, :2].max(axis=0)
    side = max(float(np.sqrt(np.prod(high - low + 1) / len(tips) * 2)), 1.0)
    columns, rows = (np.floor((high - low) / side).astype(np.int64) + 1).tolist()
    return Bins(x0=float(low[0]), y0=float(low[1]), side=side, columns=columns, rows=rows)


def _boxes(cuts: Parted) -> Floats:
    """Least and greatest x and y, greatest height, and the height that a piece bears (n, 6)."""
    counts = np.diff(cuts.pieces.starts)
    piece = np.repeat(np.arange(len(counts)), counts)[cuts.own]
    points = cuts.pieces.points[cuts.own]
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    low = np.minimum.reduceat(points, first)
    high = np.maximum.reduceat(points, first)
    return np.column_stack(
        [low[:, 0], high[:, 0], low[:, 1], high[:, 1], high[:, 2], low[:, 2] + cuts.most]
    )


def _near(tips: Floats) -> Ints:
    """Return ends of other pieces near each end, the nearest first; -1 for none.

    The last two are those of a piece to start from, which is near none.
    """
    _, near = KDTree(tips).query(tips, k=min(NEIGHBOURS, len(tips)), workers=-1)
    near = near.reshape(len(tips), -1)
    other = near >> 1 != np.arange(len(tips))[:, None] >> 1
    near = np.where(other & (near < len(tips) - 2), near, -1)
    return np.take_along_axis(near, np.argsort(near < 0, axis=1, kind="stable"), axis=1)
