"""Stretches of pieces whose points are marked, by definition and by hand."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.paths.pieces import pieces_of, where_marked


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.lists(st.lists(st.booleans(), min_size=2, max_size=12), min_size=1, max_size=6))
def test_marked_stretches_hold_each_mark_and_a_point_more(marks: list[list[bool]]) -> None:
    """By definition, without gaps: a point stays if it or a neighbour on its piece is marked."""
    lines = [
        np.column_stack(
            [np.arange(len(each)) + 100.0 * n, 0.0 * np.arange(len(each)), [0.0] * len(each)]
        )
        for n, each in enumerate(marks)
    ]
    found = where_marked(pieces_of(lines), np.concatenate(marks), 0)
    expected = {
        100.0 * n + k
        for n, each in enumerate(marks)
        for k in range(len(each))
        if any(each[max(0, k - 1) : k + 2])
    }
    assert set(found.points[:, 0].tolist()) == expected
    for n in range(len(found)):
        assert (np.diff(found[n][:, 0]) == 1.0).all()


def test_a_short_gap_does_not_part_a_stretch() -> None:
    """By hand: marks at 1 and 4 of eight points, two without between."""
    line = np.column_stack([np.arange(8.0), np.zeros(8), np.zeros(8)])
    marks = np.isin(np.arange(8), [1, 4])
    assert [len(where_marked(pieces_of([line]), marks, gap)) for gap in (1, 2)] == [2, 1]
    assert where_marked(pieces_of([line]), marks, 2)[0][:, 0].tolist() == [0, 1, 2, 3, 4, 5]
    assert len(where_marked(pieces_of([]), np.zeros(0, dtype=np.bool_), 2)) == 0
