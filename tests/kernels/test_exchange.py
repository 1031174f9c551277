"""An order bettered by exchange, against its slow twin and orders known by hand."""

from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.kernels.exchange import LEAST_GAIN, exchange, hop_seconds
from tests.kernels.grids import number, steady
from tests.reference import exchange as twin

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Hop = tuple[float, float, float]
PLENTY: Final = 10**9
ROUND: Final = 1e-9
"""Seconds that sums of ways may be off."""

_place = st.tuples(number, number, number).map(np.array)
_hop = st.tuples(st.floats(0.5, 5), st.floats(0.0, 20), st.floats(1, 20))


@st.composite
def _scene(draw: st.DrawFn, most: int = 7) -> tuple[Floats, Ints]:
    """Ends of some pieces, rings among them, and an order of these."""
    count = draw(st.integers(1, most))
    tips = np.array(draw(st.lists(_place, min_size=2 * count, max_size=2 * count)))
    rings = draw(st.lists(st.booleans(), min_size=count, max_size=count))
    tips[1::2] = np.where(np.array(rings)[:, None], tips[::2], tips[1::2])
    pieces = draw(st.permutations(range(count)))
    sides = draw(st.lists(st.integers(0, 1), min_size=count, max_size=count))
    return tips, 2 * np.array(pieces) + np.array(sides)


def _by_seconds(tips: Floats, hop: Hop) -> Ints:
    return twin.near_ends(
        tips, np.array([[twin.seconds_between(a, b, hop) for b in tips] for a in tips])
    )


def _by_distance(tips: Floats) -> Ints:
    return twin.near_ends(tips, np.linalg.norm(tips[:, None] - tips[None], axis=2))


def _exchanged(order: Ints, tips: Floats, near: Ints, hop: Hop, budget: int = PLENTY) -> Ints:
    found = order.copy()
    exchange(found, tips, near, hop, budget)
    return found


# What a way costs


@steady
@given(_place, _place, _hop)
def test_seconds_of_a_way(a: Floats, b: Floats, hop: Hop) -> None:
    assert hop_seconds(a, b, hop) == pytest.approx(twin.seconds_between(a, b, hop), abs=1e-12)


def test_seconds_of_a_way_by_hand() -> None:
    """3 and 4 in plan are 5; along the surface 2 mm/s, or 4 s up and down and over at 10 mm/s."""
    a, b = np.zeros(3), np.array([3.0, 4.0, -1.0])
    assert hop_seconds(a, b, (2.0, 4.0, 10.0)) == 3.0
    assert hop_seconds(a, b - [0.0, 0.0, 9.0], (2.0, 4.0, 10.0)) == 4.5
    assert hop_seconds(b, a, (2.0, 0.0, 10.0)) == 0.5


# What may be relied on for any lists of ends


@steady
@given(_scene(), _hop, st.integers(1, 12), st.integers(0, 60))
def test_the_same_pieces_come_in_no_more_time(
    scene: tuple[Floats, Ints], hop: Hop, longest: int, budget: int
) -> None:
    """A permutation, the first as it was; never slower, whatever ends and budget are given."""
    tips, order = scene
    found = _exchanged(order, tips, _by_distance(tips)[:, :longest], hop, budget)
    assert sorted((found // 2).tolist()) == list(range(len(order)))
    assert found[0] == order[0]
    before, after = (twin.total(way.tolist(), tips, hop) for way in (order, found))
    assert after <= before + ROUND
    if not np.array_equal(found, order):
        assert after < before - LEAST_GAIN / 2


@steady
@given(_scene(), _hop)
def test_without_a_budget_or_ends_the_order_stays(scene: tuple[Floats, Ints], hop: Hop) -> None:
    tips, order = scene
    np.testing.assert_array_equal(_exchanged(order, tips, _by_distance(tips), hop, 0), order)
    none = np.full((len(tips), 2), -1)
    np.testing.assert_array_equal(_exchanged(order, tips, none, hop), order)


@steady
@given(_scene(), _hop)
def test_the_result_is_the_same_each_time_and_stays_when_asked_again(
    scene: tuple[Floats, Ints], hop: Hop
) -> None:
    tips, order = scene
    near = _by_distance(tips)
    found = _exchanged(order, tips, near, hop)
    np.testing.assert_array_equal(_exchanged(order, tips, near, hop), found)
    np.testing.assert_array_equal(_exchanged(found, tips, near, hop), found)


# What may be relied on with all ends, the nearest in time first


@steady
@given(_scene(), _hop)
def test_no_turning_of_a_stretch_saves_time_afterwards(
    scene: tuple[Floats, Ints], hop: Hop
) -> None:
    """Every stretch is tried by the twin, up to the end of the order as well.

    Turning makes two new ways of two old ones. If it saves, one of the new ways is quicker than
    one of the old that leaves or reaches the same end; so a search from each end through others,
    until these are as far off in time as the end it is joined to, misses none. That holds for
    lists sorted by time, as here; for lists sorted by distance only where both sort alike.
    """
    tips, order = scene
    found = _exchanged(order, tips, _by_seconds(tips, hop), hop)
    assert twin.best_turn(found.tolist(), tips, hop) <= LEAST_GAIN + ROUND


@steady
@given(_scene(), _hop)
def test_ends_of_one_height_may_be_sorted_by_distance(scene: tuple[Floats, Ints], hop: Hop) -> None:
    """On one level a longer way never takes less time, so the same holds."""
    tips, order = scene
    tips = tips * [1.0, 1.0, 0.0]
    found = _exchanged(order, tips, _by_distance(tips), hop)
    assert twin.best_turn(found.tolist(), tips, hop) <= LEAST_GAIN + ROUND


# Orders known by hand


_FLAT_HOP: Final = (1.0, 1e9, 1.0)
"""Seconds are millimetres in plan."""


@pytest.mark.parametrize("longest", range(1, 8))
def test_a_stretch_of_rows_the_wrong_way_round_is_turned_back(longest: int) -> None:
    """Rows 1 mm apart, cut to and fro: 1 mm from each to the next is the least (by hand)."""
    y = np.repeat(np.arange(12.0), 2)
    tips = np.stack([np.tile([0.0, 30.0], 12), y, 0 * y], axis=1)
    best = [2 * k + k % 2 for k in range(12)]
    for first in range(1, 12 - longest + 1):
        order = np.array(twin.turned(best, first, first + longest - 1))
        assert twin.total(order.tolist(), tips, _FLAT_HOP) > 11.0
        found = _exchanged(order, tips, _by_seconds(tips, _FLAT_HOP), _FLAT_HOP)
        assert twin.total(found.tolist(), tips, _FLAT_HOP) == pytest.approx(11.0)


@pytest.mark.parametrize("late", [1, 2, 3])
def test_pieces_left_behind_are_put_where_they_lie(late: int) -> None:
    """Points on a line, up to three in a row forgotten until the end: no turning alone mends that.

    By hand: straight along the line is 19 mm.
    """
    x = np.repeat(np.arange(20.0), 2)
    tips = np.stack([x, 0 * x, 0 * x], axis=1)
    forgotten = list(range(7, 7 + late))
    order = np.array([2 * k for k in range(20) if k not in forgotten] + [2 * k for k in forgotten])
    found = _exchanged(order, tips, _by_seconds(tips, _FLAT_HOP), _FLAT_HOP)
    assert twin.total(found.tolist(), tips, _FLAT_HOP) == pytest.approx(19.0)


def test_a_slow_rise_is_worth_a_longer_way() -> None:
    """By hand: three points at 0, 2 and 30 mm up, where a rise takes 100 s, is cheap or dear.

    At a pace of 1 mm/s from 0 first to the one 2 mm off. Where rises cost nothing the height does
    not count: first to the one 1 mm off in plan, 30 mm higher.
    """
    tips = np.repeat([[0.0, 0.0, 0.0], [1.0, 0.0, 30.0], [2.0, 0.0, 0.0]], 2, axis=0)
    dear, cheap = (1.0, 100.0, 1.0), (1.0, 0.0, 1.0)
    order = np.array([0, 2, 4])
    found = _exchanged(order, tips, _by_seconds(tips, dear), dear)
    assert (found // 2).tolist() == [0, 2, 1]
    found = _exchanged(found, tips, _by_seconds(tips, cheap), cheap)
    assert (found // 2).tolist() == [0, 1, 2]
