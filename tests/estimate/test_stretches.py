"""Joining moves to stretches: nothing is lost, nothing is joined that must not be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.estimate.stretches import STRETCH_CELLS, Taken, join
from icecam.paths.toolpath import CUT
from tests.prove.moves import path_of

CELL = 0.2
GOAL = STRETCH_CELLS * CELL

_step = st.sampled_from([0.0, 0.1, 0.3, -0.2, 1.0, 5.0]) | st.floats(-2, 2)
_move = st.tuples(_step, _step, st.sampled_from([0.0, -0.5, 0.4]), st.sampled_from([1, 1, 1, 0]))


@settings(deadline=None, derandomize=True, max_examples=200)
@given(st.lists(_move, max_size=30), st.integers(0, 99))
def test_any_path(moves: list[tuple[float, float, float, int]], seed: int) -> None:
    """From the docstring: each cutting move lies in one stretch, rapids in none; sums are kept."""
    rng = np.random.default_rng(seed)
    points = np.concatenate(
        [np.zeros((1, 3)), np.array([move[:3] for move in moves]).reshape(-1, 3)]
    )
    path = path_of(np.cumsum(points, axis=0), [bool(move[3]) for move in moves])
    seconds, removed = rng.uniform(0.01, 1, len(moves)), rng.uniform(0, 9, len(moves))
    depth, chip = rng.uniform(0, 9, (2, len(moves)))
    found = join(path, seconds, Taken(removed, depth, chip, CELL))
    seen: list[int] = []
    for nth, (first, last) in enumerate(zip(found.first, found.last, strict=True)):
        inside = slice(first, last)
        seen += range(first, last)
        assert found.seconds[nth] == pytest.approx(seconds[inside].sum())
        assert found.removed[nth] == pytest.approx(removed[inside].sum())
        mean = np.average(depth[inside], weights=removed[inside])
        assert found.depth[nth] == pytest.approx(mean)
        assert found.chip[nth] == chip[inside].max()
        assert found.length[nth] == pytest.approx(path.lengths[inside].sum())
        flat = np.linalg.norm((path.ends - path.begins)[inside, :2], axis=1)
        assert found.plan[nth] == pytest.approx(flat.sum())
        assert ((flat <= 1e-6) == found.upright[nth]).all()
        assert last - first == 1 or path.lengths[inside].max() < GOAL
        assert found.length[nth] < 2 * GOAL or last - first == 1
    assert seen == np.flatnonzero(path.kind == CUT).tolist()


def test_short_moves_by_hand() -> None:
    """Ten moves of 0.3 mm, 1.0 mm to a stretch: begins at 0, 0.3, 0.6, 0.9 | 1.2, ...

    Then one of 4 mm alone, and two of 0.3 that begin anew.
    """
    x = np.concatenate([[0.0], np.cumsum([0.3] * 10 + [4.0] + [0.3] * 2)])
    path = path_of(np.column_stack([x, 0 * x, 0 * x]))
    ones = np.ones(13)
    found = join(path, ones, Taken(ones, ones, ones, CELL))
    assert found.first.tolist() == [0, 4, 7, 10, 11]
    assert found.last.tolist() == [4, 7, 10, 11, 13]


def test_a_plunge_and_a_rapid_end_a_stretch() -> None:
    points = [
        (0, 0, 0),
        (0.1, 0, 0),
        (0.1, 0, -0.1),
        (0.2, 0, -0.1),
        (0.3, 0, -0.1),
        (0.4, 0, -0.1),
    ]
    path = path_of(points, [True, True, True, False, True])
    found = join(path, np.ones(5), Taken(np.ones(5), np.ones(5), np.ones(5), CELL))
    assert found.first.tolist() == [0, 1, 2, 4]
    assert found.last.tolist() == [1, 2, 3, 5]
    assert found.upright.tolist() == [False, True, False, False]


def test_no_moves() -> None:
    none = np.zeros(0)
    found = join(path_of([(0, 0, 0)]), none, Taken(none, none, none, CELL))
    assert len(found.first) == len(found.last) == len(found.depth) == 0
