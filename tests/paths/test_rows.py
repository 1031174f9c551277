"""Rows of a finishing bit: whole where they may be, and along the axis that takes less time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid
from icecam.paths.finishing import Need
from icecam.paths.pieces import Pieces, joined
from icecam.paths.rows import quickest_sweeps, sweeps
from tests.paths.scenes import GOING

Floats = NDArray[np.float64]
PITCH, EVERY, FAR = 0.5, 4, 1e3


def _need(tips: Floats, free: NDArray[np.bool_], pitch: float) -> Need:
    ny, nx = tips.shape
    zero = np.zeros(tips.shape, dtype=np.float32)
    return Need(grid=Grid(1.0, 2.0, pitch, nx, ny), tips=tips, free=free, bite=zero, depth=zero)


_shapes = st.tuples(st.integers(1, 5), st.integers(2, 25))


@given(st.data(), _shapes, st.integers(1, 3), st.integers(0, 4), st.floats(0.5, 3.0))
def test_rows_are_whole_where_they_may_be_and_broken_where_they_must(
    data: st.DataObject, shape: tuple[int, int], every: int, gap: int, cliff: float
) -> None:
    """By definition, node by node: each marked free node is met unless it stands alone.

    No row goes through a node that is not free, over a cliff, or over a hole longer than `gap`.
    """
    heights = st.floats(0, 4, width=16)
    tips = data.draw(hnp.arrays(np.float64, shape, elements=heights))
    where = data.draw(hnp.arrays(np.bool_, shape))
    free = data.draw(hnp.arrays(np.bool_, shape))
    found = sweeps(
        _need(tips, free, 0.5), where, first_row=0, every=every, gap=max(gap, 1) * 0.5, cliff=cliff
    )
    met = np.zeros(shape, dtype=np.bool_)
    for n in range(len(found)):
        columns, rows = np.rint((found[n][:, :2] - [1.0, 2.0]) / 0.5).astype(int).T
        assert (np.diff(columns) == 1).all()
        assert len(set(rows.tolist())) == 1
        assert rows[0] % every == 0
        np.testing.assert_array_equal(found[n][:, 2], tips[rows, columns])
        assert free[rows, columns].all()
        assert (np.abs(np.diff(tips[rows, columns])) <= cliff).all()
        assert not met[rows, columns].any()
        met[rows, columns] = True
        marks = np.flatnonzero(where[rows[0]])
        nearest = np.abs(columns[:, None] - marks[None, :]).min(axis=1)
        assert nearest.max() <= max(gap, 2) // 2 + 1
    for j in range(0, shape[0], every):
        for i in np.flatnonzero(where[j] & free[j] & ~met[j]):
            beside = [k for k in (i - 1, i + 1) if 0 <= k < shape[1] and free[j, k]]
            assert all(abs(tips[j, k] - tips[j, i]) > cliff for k in beside)


def test_rows_break_at_a_cliff() -> None:
    """A wall of 5 mm between two nodes: the row above and the row below are two pieces."""
    tips = np.where(np.arange(20) < 10, 7.0, 2.0) * np.ones((1, 1))
    every = np.ones(tips.shape, dtype=np.bool_)
    found = sweeps(_need(tips, every, 0.5), every, first_row=0, every=1, gap=1.0, cliff=4.0)
    assert [set(found[n][:, 2]) for n in range(len(found))] == [{7.0}, {2.0}]
    assert [len(found[n]) for n in range(len(found))] == [10, 10]
    whole = sweeps(_need(tips, every, 0.5), every, first_row=0, every=1, gap=1.0, cliff=6.0)
    assert len(whole) == 1


def _quickest(tips: Floats, where: NDArray[np.bool_], every: int = EVERY) -> list[Pieces]:
    need = _need(tips, np.ones(tips.shape, dtype=np.bool_), PITCH)
    return quickest_sweeps(need, where, GOING, every=every, gap=2.0, cliff=FAR)


def _along(pieces: Pieces, axis: int) -> list[int]:
    """Pieces along X (0) or Y (1), by number."""
    return [n for n in range(len(pieces)) if np.ptp(pieces[n][:, 1 - axis]) == 0.0]


def _waves(axis: int) -> Floats:
    """Waves of 4 mm and 0.3 mm either way, one after the other along an axis, 100 x 100 mm."""
    x = PITCH * np.arange(201)
    waves = 0.3 * np.sin(2 * np.pi / 4 * x)
    return np.tile(waves, (201, 1)) if axis == 0 else np.tile(waves[:, None], (1, 201))


def test_rows_go_along_waves_and_not_over_them() -> None:
    """By mechanics: over waves the bit goes up and down, as fast as Z takes it, along them not."""
    for axis in (0, 1):
        tips = _waves(axis)
        found = joined(_quickest(tips, np.ones(tips.shape, dtype=np.bool_)))
        assert len(found) == 51
        assert len(_along(found, 1 - axis)) == len(found)


def test_rows_go_along_a_strip() -> None:
    """By hand: in a strip 16 x 90 mm they turn nine times along it, or forty-five across it."""
    for axis in (0, 1):
        where = np.zeros((201, 201), dtype=np.bool_)
        strip = where if axis == 0 else where.T
        strip[80:113, 10:191] = True
        found = joined(_quickest(np.zeros(where.shape), where))
        assert len(found) in (8, 9)
        assert len(_along(found, axis)) == len(found)


def test_rows_go_up_a_slope_where_they_would_lie_twice_as_close_across() -> None:
    """By hand: at 45 degrees a row up the slope is 1.4 times as long, across it there are two."""
    for axis in (0, 1):
        tips = np.indices((201, 201))[axis] * PITCH
        found = joined(_quickest(tips, np.ones(tips.shape, dtype=np.bool_)))
        assert len(_along(found, 1 - axis)) == len(found) == 51


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("west", range(60, 140, 10))
def test_every_place_lies_beside_a_row_where_their_direction_changes(
    west: int, turned: bool
) -> None:
    """By definition: no farther from a row, in plan, than if all went one way.

    Waves along X in the west, along Y in the east, or so turned round that along Y they lie in the
    south, along X in the north; rows eight nodes apart.
    """
    every = 8
    tips = np.where(np.arange(201) < west, _waves(1), _waves(0))
    tips = tips.T if turned else tips
    where = np.ones(tips.shape, dtype=np.bool_)
    found = joined(_quickest(tips, where, every)[:2])
    first, second = _along(found, int(turned)), _along(found, 1 - int(turned))
    assert len(first) == 26
    assert len(second) > 6
    assert len(first) + len(second) == len(found)
    met = np.zeros(tips.shape, dtype=np.bool_)
    columns, rows = np.rint((found.points[:, :2] - [1.0, 2.0]) / PITCH).astype(int).T
    met[rows, columns] = True
    np.testing.assert_array_equal(found.points[:, 2], tips[rows, columns])
    away = ndimage.distance_transform_edt(~met)
    assert away.max() <= every / 2


def test_rows_lie_twice_as_close_where_the_ground_falls_away_across_them() -> None:
    """By hand: along a strip 8 mm wide that falls by 45 degrees across, a third set between."""
    for axis in (0, 1):
        slope = PITCH * np.arange(201)
        tips = np.tile(slope[:, None], (1, 201)) if axis == 0 else np.tile(slope, (201, 1))
        where = np.zeros(tips.shape, dtype=np.bool_)
        strip = where if axis == 0 else where.T
        strip[80:97, 10:191] = True
        sets = _quickest(tips, where)
        assert all(len(_along(each, axis)) == len(each) for each in sets)
        apart = [np.unique(np.diff(np.unique(each.points[:, 1 - axis]))) for each in sets]
        assert [each.tolist() for each in apart] == [[4.0], [4.0], [2.0]]
        rows = np.unique(joined(sets).points[:, 1 - axis])
        np.testing.assert_allclose(np.diff(rows), PITCH * EVERY / 2)
