"""Grooves of known depth are found, open ground and wide pockets are not."""

import numpy as np
import pytest

from icecam.geometry.field import Grid, HeightField
from icecam.prove.grooves import deepest_groove

GRID = Grid(0.25, 0.25, 0.5, 200, 120)


def field(heights: np.typing.NDArray[np.float64]) -> HeightField:
    return HeightField(grid=GRID, heights=heights)


def block() -> np.typing.NDArray[np.float64]:
    return np.full((GRID.ny, GRID.nx), 40.0)


@pytest.mark.parametrize("width", [6.0, 8.0, 11.0])
@pytest.mark.parametrize("turned", [False, True])
def test_a_groove_as_deep_as_cut(width: float, turned: bool) -> None:
    after = block()
    if turned:
        after[np.abs(GRID.y - 30.0) < width / 2] = 15.0
    else:
        after[:, np.abs(GRID.x - 30.0) < width / 2] = 15.0
    groove = deepest_groove(field(block()), field(after), 6.0)
    assert groove is not None
    assert groove.depth == pytest.approx(25.0)
    assert groove.at[1 if turned else 0] == pytest.approx(30.0, abs=width / 2)
    assert groove.at[2] == 15.0


def test_depth_counts_from_the_lower_bank() -> None:
    before = block()
    before[:, GRID.x > 30.0] = 22.0
    after = before.copy()
    after[:, np.abs(GRID.x - 30.0) < 3.5] = 15.0
    groove = deepest_groove(field(before), field(after), 6.0)
    assert groove is not None
    assert groove.depth == pytest.approx(7.0)


def test_wide_pockets_and_steps_are_no_grooves() -> None:
    after = block()
    after[np.ix_(np.abs(GRID.y - 30.0) < 10.0, np.abs(GRID.x - 50.0) < 15.0)] = 10.0
    after[:, GRID.x > 80.0] = 5.0
    groove = deepest_groove(field(block()), field(after), 6.0)
    assert groove is not None
    assert groove.depth < 1.0


def test_beside_the_block_is_no_bank() -> None:
    after = block()
    after[:, GRID.x < 6.0] = 10.0
    groove = deepest_groove(field(block()), field(after), 6.0)
    assert groove is not None
    assert groove.depth == 0.0


def test_only_what_this_stage_cut_counts() -> None:
    before = block()
    before[:, np.abs(GRID.x - 30.0) < 3.0] = 15.0
    assert deepest_groove(field(before), field(before), 6.0) is None
    after = before.copy()
    after[:, GRID.x > 80.0] = 39.0
    groove = deepest_groove(field(before), field(after), 6.0)
    assert groove is not None
    assert groove.depth < 1.0
