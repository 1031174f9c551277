"""Toolpaths for the tests of `post`."""

from typing import Final

import numpy as np
from hypothesis import strategies as st

from icecam.paths.toolpath import CUT, RAPID, Toolpath
from post.writer import Header

CLEAR: Final = 12.5

_OFF_TIES: Final = 1.3e-8
"""mm; keeps coordinates from lying half-way between two ticks, where either is right."""
_lengths = st.one_of(
    st.floats(-900, 900, allow_nan=False).map(lambda value: round(value, 6)),
    st.sampled_from([0.0, -0.0, 0.0004, -0.0004, 1.0, 25.4, -12.7, CLEAR, 0.1 + 0.2]),
).map(lambda value: value + _OFF_TIES)
_moves = st.tuples(
    st.tuples(_lengths, _lengths, _lengths),
    st.sampled_from([RAPID, CUT]),
    st.floats(0.02, 200).map(lambda value: round(value, 4)),
)


def make(
    moves: list[tuple[tuple[float, float, float], int, float]],
    start: tuple[float, float] = (0.0, 0.0),
) -> Toolpath:
    """Path of (end mm, kind, feed mm/s) from over `start`, at the clearance height."""
    kind = np.array([move[1] for move in moves], dtype=np.int8)
    feed = np.array([move[2] for move in moves], dtype=np.float64)
    return Toolpath(
        start=np.array([*start, CLEAR]),
        ends=np.array([move[0] for move in moves], dtype=np.float64),
        kind=kind,
        feed=np.where(kind == CUT, feed, np.nan),
        line=np.zeros(len(moves), dtype=np.int32),
    )


def header(*comments: str, tool: int = 3, rpm: float = 12000, wait: float = 2.5) -> Header:
    """Header with plain values."""
    return Header(
        comments=comments, tool=tool, spindle_rpm=rpm, spindle_start=wait, clearance_z=CLEAR
    )


POCKET: Final = make(
    [
        ((10, 0, 12.5), RAPID, 1),
        ((10, 0, 1), RAPID, 1),
        ((10, 0, -2), CUT, 5),
        ((40.1234, 0, -2), CUT, 50),
        ((40.1234, 20, -2.5), CUT, 50),
        ((10, 20, -2.5), CUT, 33.333),
        ((10, 20, 12.5), RAPID, 1),
    ]
)
"""A small path that cuts three sides."""

any_moves = st.lists(_moves, min_size=1, max_size=25)
any_start = st.tuples(_lengths, _lengths)
