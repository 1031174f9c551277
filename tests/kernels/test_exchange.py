"""An order bettered by exchange, against its slow twin and orders known by hand."""

from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.kernels.exchange import (
    FARTHEST_PUT,
    LEAST_GAIN,
    LONGEST_TURNED,
    exchange,
    hop_seconds,
)
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


@st.composite
def _boxes(draw: st.DrawFn, count: int) -> Floats:
    """Boxes of pieces, of whole numbers; some bear less than they are high, which matters not."""
    whole = st.integers(0, 9)
    rows = []
    for _ in range(count):
        x, y, high = draw(whole), draw(whole), draw(st.integers(0, 5))
        bears = high + draw(st.integers(-1, 5))
        rows.append((x, x + draw(st.integers(0, 3)), y, y + draw(st.integers(0, 3)), high, bears))
    return np.array(rows, dtype=np.float64)


@st.composite
def _scene_that_waits(draw: st.DrawFn) -> tuple[Floats, Ints, Floats, int]:
    """Ends, an order, boxes and a reach; a piece lies in its box or not, which is all the same."""
    tips, order = draw(_scene())
    return tips, order, draw(_boxes(len(order))), draw(st.integers(0, 6))


def _none_wait(count: int) -> Floats:
    """Boxes in one place, of one height, which is borne."""
    return np.zeros((count, 6))


def _by_seconds(tips: Floats, hop: Hop) -> Ints:
    return twin.near_ends(
        tips, np.array([[twin.seconds_between(a, b, hop) for b in tips] for a in tips])
    )


def _by_distance(tips: Floats) -> Ints:
    return twin.near_ends(tips, np.linalg.norm(tips[:, None] - tips[None], axis=2))


def _exchanged(
    order: Ints, tips: Floats, near: Ints, hop: Hop, budget: int = PLENTY, *,
    boxes: Floats | None = None, reach: float = 1.0,
) -> Ints:  # fmt: skip
    found = order.copy()
    boxes = _none_wait(len(order)) if boxes is None else boxes
    exchange(found, tips, near, boxes, reach, hop, budget)
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
@given(_scene_that_waits(), st.booleans(), _hop, st.integers(1, 12), st.integers(0, 60))
def test_the_same_pieces_come_in_no_more_time(
    scene: tuple[Floats, Ints, Floats, int], wait: bool, hop: Hop, longest: int, budget: int
) -> None:
    """A permutation, the first as it was; never slower, whatever ends and budget are given."""
    tips, order, boxes, reach = scene
    boxes = boxes if wait else _none_wait(len(order))
    near = _by_distance(tips)[:, :longest]
    found = _exchanged(order, tips, near, hop, budget, boxes=boxes, reach=reach)
    assert sorted((found // 2).tolist()) == list(range(len(order)))
    assert found[0] == order[0]
    before, after = (twin.total(way.tolist(), tips, hop) for way in (order, found))
    assert after <= before + ROUND
    if not np.array_equal(found, order):
        assert after < before - LEAST_GAIN / 2


@settings(steady, max_examples=400)
@given(_scene_that_waits(), _hop, st.integers(1, 12), st.integers(0, 60))
def test_no_piece_comes_before_one_that_it_came_behind_and_waits_for(
    scene: tuple[Floats, Ints, Floats, int], hop: Hop, longest: int, budget: int
) -> None:
    """By the twin, pair by pair, whatever ends and budget are given."""
    tips, order, boxes, reach = scene
    near = _by_distance(tips)[:, :longest]
    found = _exchanged(order, tips, near, hop, budget, boxes=boxes, reach=reach)
    pairs = twin.pairs_waiting(boxes, reach)
    assert twin.waited(order.tolist(), pairs) <= twin.waited(found.tolist(), pairs)


@steady
@given(_scene(), _hop)
def test_without_a_budget_or_ends_the_order_stays(scene: tuple[Floats, Ints], hop: Hop) -> None:
    tips, order = scene
    np.testing.assert_array_equal(_exchanged(order, tips, _by_distance(tips), hop, 0), order)
    none = np.full((len(tips), 2), -1)
    np.testing.assert_array_equal(_exchanged(order, tips, none, hop), order)


@steady
@given(_scene_that_waits(), _hop)
def test_the_result_is_the_same_each_time_and_stays_when_asked_again(
    scene: tuple[Floats, Ints, Floats, int], hop: Hop
) -> None:
    tips, order, boxes, reach = scene
    near = _by_distance(tips)
    found = _exchanged(order, tips, near, hop, boxes=boxes, reach=reach)
    for given_ in (order, found):
        again = _exchanged(given_, tips, near, hop, boxes=boxes, reach=reach)
        np.testing.assert_array_equal(again, found)


# What may be relied on with all ends, the nearest in time first


@steady
@given(_scene_that_waits(), st.booleans(), _hop)
def test_no_turning_of_a_stretch_saves_time_afterwards(
    scene: tuple[Floats, Ints, Floats, int], wait: bool, hop: Hop
) -> None:
    """Every stretch is tried by the twin, up to the end of the order as well.

    Turning makes two new ways of two old ones. If it saves, one of the new ways is quicker than
    one of the old that leaves or reaches the same end; so a search from each end through others,
    until these are as far off in time as the end it is joined to, misses none. That holds for
    lists sorted by time, as here; for lists sorted by distance only where both sort alike.
    """
    tips, order, boxes, reach = scene
    boxes = boxes if wait else _none_wait(len(order))
    found = _exchanged(order, tips, _by_seconds(tips, hop), hop, boxes=boxes, reach=reach)
    pairs = twin.pairs_waiting(boxes, reach)
    assert wait or not pairs
    assert twin.best_turn(found.tolist(), tips, hop, pairs) <= LEAST_GAIN + ROUND


@steady
@given(_scene(), _hop)
def test_ends_of_one_height_may_be_sorted_by_distance(scene: tuple[Floats, Ints], hop: Hop) -> None:
    """On one level a longer way never takes less time, so the same holds."""
    tips, order = scene
    tips = tips * [1.0, 1.0, 0.0]
    found = _exchanged(order, tips, _by_distance(tips), hop)
    assert twin.best_turn(found.tolist(), tips, hop, set()) <= LEAST_GAIN + ROUND


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


def _in_a_row(count: int) -> Floats:
    """Ends of points 1 mm apart."""
    x = np.repeat(np.arange(float(count)), 2)
    return np.column_stack([x, 0 * x, 0 * x])


def _only(count: int, end: int, near: int) -> Ints:
    """Ends near each end: none, but for one."""
    found = np.full((2 * count, 1), -1)
    found[end, 0] = near
    return found


@pytest.mark.parametrize("more", [0, 1])
def test_stretches_are_turned_up_to_a_length(more: int) -> None:
    """Points in a row, a stretch the wrong way round; looked at from its first end alone (by hand).

    It is turned round if it has no more than `LONGEST_TURNED` pieces.
    """
    size = LONGEST_TURNED + more
    tips = _in_a_row(size + 2)
    order = np.array([0, *range(2 * size, 0, -2), 2 * size + 2])
    near = _only(size + 2, 2 * size, 2 * size + 2)
    found = _exchanged(order, tips, near, _FLAT_HOP)
    best = [0, *range(1, size + 1), size + 1]
    assert (found // 2).tolist() == ((order // 2).tolist() if more else best)


@pytest.mark.parametrize("more", [0, 1])
@pytest.mark.parametrize("back", [False, True])
def test_pieces_are_put_up_to_so_far(more: int, back: bool) -> None:
    """Points in a row, one of them at the wrong end of it, and that looked at alone (by hand).

    It is put where it lies if no more than `FARTHEST_PUT` pieces are touched, itself one of them.
    """
    size = FARTHEST_PUT + more
    tips, row = _in_a_row(size + 1), 2 * np.arange(size + 1)
    if back:
        order, near = np.append(np.delete(row, 1), 2), _only(size + 1, 1, 2)
    else:
        order = np.insert(row[:-1], 1, 2 * size)
        near = _only(size + 1, 2 * size - 1, 2 * size)
    found = _exchanged(order, tips, near, _FLAT_HOP)
    np.testing.assert_array_equal(found, order if more else row)


@pytest.mark.parametrize("way", [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)])
@pytest.mark.parametrize(
    ("high", "reach", "waits"), [(9.0, 1.0, True), (9.0, 0.9, False), (7.0, 1.0, False)]
)
def test_a_piece_left_behind_stays_if_it_waits(
    way: tuple[float, float], high: float, reach: float, waits: bool
) -> None:
    """Points in a row, the third one last. It bears 7 mm 1 mm beside it, where the fourth lies.

    By hand: it may come before that only where that is no higher, or out of reach.
    """
    x, y = np.outer(way, np.arange(6.0))
    tips = np.repeat(np.column_stack([x, y, 0 * x]), 2, axis=0)
    boxes = np.column_stack([x, x, y, y, 0 * x, 0 * x + 20.0])
    boxes[2, 5], boxes[3, 4] = 7.0, high
    order = np.array([0, 2, 6, 8, 10, 4])
    near = _by_seconds(tips, _FLAT_HOP)
    found = _exchanged(order, tips, near, _FLAT_HOP, boxes=boxes, reach=reach)
    expected = [0, 1, 3, 2, 4, 5] if waits else [0, 1, 2, 3, 4, 5]
    assert (found // 2).tolist() == expected
