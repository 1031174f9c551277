"""The order of pieces: nothing lost, quick to go along, each after what stands too high over it."""

from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.paths.ordering import in_short_order
from icecam.paths.pieces import Parted, parted, pieces_of, reordered
from tests.paths.scenes import cut_too_early
from tests.reference import exchange as twin
from tests.reference.waiting import follow

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
steady = settings(deadline=None, derandomize=True)
ROUND: Final = 1e-9
REACH_MM: Final = 2.0
PLAN: Final = (1.0, 1e9, 1.0)
"""Seconds are millimetres, where all is level."""

_numbers = st.floats(-20, 20, width=32)
_place = st.tuples(_numbers, _numbers, _numbers).map(np.array)
_lines = st.integers(1, 5).flatmap(lambda n: hnp.arrays(np.float64, (n, 3), elements=_numbers))
_hop = st.tuples(st.floats(0.5, 5), st.floats(0.0, 20), st.floats(1, 20))


def _whole(lines: list[Floats], most: float = np.inf) -> Parted:
    """Lines as they are; they bear so much, or whatever stands over them."""
    pieces = pieces_of(lines)
    return Parted(
        pieces=pieces,
        own=np.ones(len(pieces.points), dtype=np.bool_),
        most=np.full(len(lines), most),
        origin=np.arange(len(lines)),
    )


def _ordered(lines: list[Floats], start: Floats, hop: twin.Hop) -> list[Floats]:
    """Lines that need not wait, in their order."""
    cuts = _whole(lines)
    found = reordered(cuts.pieces, in_short_order(cuts, REACH_MM, start, hop))
    return [found[n] for n in range(len(found))]


def _travel(lines: list[Floats], start: Floats) -> float:
    """Way from piece to piece, seen from above."""
    leaves = [start, *(line[-1] for line in lines[:-1])]
    return sum(float(np.hypot(*(line[0] - a)[:2])) for a, line in zip(leaves, lines, strict=True))


# Quick to go along


@steady
@given(st.lists(_lines, max_size=12), st.data(), st.floats(0.5, 30.0), _place, _hop)
def test_order_holds_each_piece_once(
    lines: list[Floats], data: st.DataObject, reach: float, start: Floats, hop: twin.Hop
) -> None:
    """A permutation, each piece as it was or turned round; the same when asked again."""
    count = sum(map(len, lines))
    most = data.draw(st.lists(st.floats(0, 20), min_size=count, max_size=count))
    cuts = parted(pieces_of(lines), np.array(most))
    found = in_short_order(cuts, reach, start, hop)
    assert sorted((found // 2).tolist()) == list(range(len(cuts.pieces)))
    np.testing.assert_array_equal(in_short_order(cuts, reach, start, hop), found)


@settings(steady, max_examples=200)
@given(st.integers(2, 20), st.integers(0, 10_000), _hop)
def test_where_none_wait_going_to_the_soonest_end_left_takes_no_less_time(
    count: int, seed: int, hop: twin.Hop
) -> None:
    """Against the slow twin of that, the way from the start counted; random ends are distinct."""
    rng = np.random.default_rng(seed)
    lines, start = list(rng.uniform(-20.0, 20.0, (count, 2, 3))), rng.uniform(-20.0, 20.0, 3)
    tips = np.concatenate([*lines, start[None], start[None]])
    first = [2 * count]
    found = first + in_short_order(_whole(lines), REACH_MM, start, hop).tolist()
    greedy = first + follow(tips[:-2], [], [], start, hop)
    assert twin.total(found, tips, hop) <= twin.total(greedy, tips, hop) + ROUND


def test_order_mends_what_going_to_the_nearest_end_leaves_behind() -> None:
    """By hand: points at 0, 1, -1.5, 3, -5, 9 from the start at 0, always the nearest one next.

    That goes to and fro: 1, 2.5, 4.5, 8, 14 mm, 30 in all. Left first, then right: 5 + 14 = 19.
    """
    lines = [np.array([[x, 0.0, 0.0]]) for x in (0.0, 1.0, -1.5, 3.0, -5.0, 9.0)]
    found = _ordered(lines, np.zeros(3), PLAN)
    assert _travel(found, np.zeros(3)) == pytest.approx(19.0)


def test_order_keeps_to_a_height_where_rises_are_dear() -> None:
    """By hand: four points in a row, high and low in turn: two rises of 10 s, else 1 mm/s.

    Where rises cost nothing, the row is gone along.
    """
    lines = [np.array([[x, 0.0, 30.0 * (x % 2)]]) for x in range(4)]
    start = np.array([-1.0, 0.0, 0.0])
    found = np.concatenate(_ordered(lines, start, (1.0, 10.0, 1.0)))
    assert found[:, 2].tolist() == [0.0, 0.0, 30.0, 30.0]
    found = np.concatenate(_ordered(lines, start, (1.0, 0.0, 1.0)))
    assert found[:, 0].tolist() == [0.0, 1.0, 2.0, 3.0]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_shuffled_rows_are_cut_to_and_fro(seed: int) -> None:
    """Rows 1 mm apart, all drawn from left to right and shuffled: the best way is known.

    To and fro along neighbours the way between n rows is n - 1 steps of 1 mm (definition).
    """
    rng = np.random.default_rng(seed)
    rows = [np.array([[0.0, y, 0.0], [40.0, y, 0.0]]) for y in rng.permutation(25)]
    found = _ordered(rows, np.zeros(3), PLAN)
    assert _travel(found, np.zeros(3)) == pytest.approx(24.0)
    assert _travel(rows, np.zeros(3)) > 24 * 40.0


@pytest.mark.parametrize("seed", range(5))
def test_scattered_pieces_are_travelled_within_a_known_bound(seed: int) -> None:
    """The best way through n random points nears 0.7124 sqrt(n A).

    Johnson, McGeoch, Rothberg, Proc. 7th ACM-SIAM SODA (1996) 341, from memory. At 300 points the
    edge of a square adds about 5 %, and exchange of two ways with points put elsewhere ends about
    5 % over the best (Johnson, McGeoch, Local Search in Combinatorial Optimization (1997) 215,
    from memory); 15 % are allowed.
    """
    rng = np.random.default_rng(seed)
    n, side = 300, 100.0
    lines = [np.append(place, 0.0)[None] for place in rng.uniform(0, side, (n, 2))]
    found = _ordered(lines, np.zeros(3), PLAN)
    assert _travel(found, np.zeros(3)) <= 1.15 * 0.7124 * np.sqrt(n) * side


# After what stands too high


def _too_early(cuts: Parted, order: Ints, reach: float) -> list[list[int]]:
    """Pairs of own points of which the second is too high over the first, but cut no sooner."""
    at = np.empty(len(order), dtype=np.int64)
    at[order >> 1] = np.arange(len(order))
    piece = np.repeat(np.arange(len(order)), np.diff(cuts.pieces.starts))[cuts.own]
    if len(piece) == 0:
        return []
    return cut_too_early(cuts.pieces.points[cuts.own], at[piece], cuts.most[piece], reach)


_near_each_other = st.integers(1, 7).flatmap(
    lambda n: hnp.arrays(
        np.float64, (n, 3), elements=st.integers(0, 9).map(float) | st.floats(0, 9)
    )
)


@settings(steady, max_examples=300)
@given(
    st.lists(_near_each_other, min_size=1, max_size=8), st.data(),
    st.integers(1, 6) | st.floats(0.5, 6.0), _place, _hop,
)  # fmt: skip
def test_no_cut_comes_before_one_that_stands_too_high_over_it(
    lines: list[Floats], data: st.DataObject, reach: float, start: Floats, hop: twin.Hop
) -> None:
    """By definition, own point by own point."""
    count = sum(map(len, lines))
    bears = st.integers(0, 5).map(float) | st.floats(0, 9)
    most = data.draw(st.lists(bears, min_size=count, max_size=count))
    cuts = parted(pieces_of(lines), np.array(most))
    order = in_short_order(cuts, reach, start, hop)
    assert not _too_early(cuts, order, reach)


@pytest.mark.parametrize("seed", range(4))
def test_many_cuts_on_hills_come_down_from_above(seed: int) -> None:
    """400 cuts of which half are lifted; without heights in the way the order would be another."""
    rng = np.random.default_rng(seed)
    lines = []
    for n in range(400):
        plan = rng.uniform(0.0, 40.0, 2) + np.linspace(0.0, 1.0, 9)[:, None] * rng.uniform(-4, 4, 2)
        up = 9.0 + 6.0 * np.sin(plan[:, 0] / 4.0) * np.cos(plan[:, 1] / 3.0) + 3.0 * (n % 2)
        lines.append(np.column_stack([plan, up]))
    cuts = parted(pieces_of(lines), np.repeat(rng.uniform(1.0, 4.0, 400), 9))
    start, hop = np.zeros(3), (40.0, 0.4, 100.0)
    order = in_short_order(cuts, 3.0, start, hop)
    assert not _too_early(cuts, order, 3.0)
    none_wait = cuts._replace(most=np.full(len(cuts.pieces), np.inf))
    freely = in_short_order(none_wait, 3.0, start, hop)
    assert len(_too_early(cuts, freely, 3.0)) > 100


@pytest.mark.parametrize(
    ("apart", "higher", "high_first"),
    [
        (REACH_MM, 4.001, True),
        (REACH_MM, 4.0, False),
        (REACH_MM * (1 + 2**0.5) + 0.01, 4.001, False),
    ],
)
def test_a_cut_waits_for_what_stands_too_high_within_reach_alone(
    apart: float, higher: float, high_first: bool
) -> None:
    """Two points, the lower one nearer to the start, which bears 4 mm (by hand).

    What lies farther off than the reach and the diagonals of two squares of half of it is never
    waited for.
    """
    for turn in np.linspace(0.0, 2 * np.pi, 16, endpoint=False):
        way = np.array([np.cos(turn), np.sin(turn), 0.0])
        low = 7.3 * way
        high = low + (apart - ROUND) * way + np.array([0.0, 0.0, higher])
        order = in_short_order(_whole([low[None], high[None]], 4.0), REACH_MM, np.zeros(3), PLAN)
        assert (order // 2).tolist() == ([1, 0] if high_first else [0, 1])


def test_a_point_of_the_piece_above_makes_none_wait() -> None:
    """By hand: up a step of 9 mm, its lower part ends with a point of the upper one.

    Beside that lies a cut of 4 mm that bears 4 mm more, so it waits for the upper part. It need
    not wait for the lower one; before that is quicker, as it ends 23 mm away.
    """
    step = np.array(
        [[30.0, 0.0, 0.0], [8.0, 0.0, 0.0], [7.0, 0.0, 9.0], [6.0, 0.0, 9.0]]
    )  # fmt: skip
    beside = np.array([[6.0, 1.0, 4.0], [7.0, 1.0, 4.0]])
    cuts = parted(pieces_of([step, beside]), np.full(6, 4.0))
    np.testing.assert_array_equal(cuts.pieces.starts, [0, 3, 5, 7])
    hop = (1.0, 0.0, 1.0)
    assert (in_short_order(cuts, 1.2, np.zeros(3), hop) // 2).tolist() == [1, 2, 0]
    all_own = cuts._replace(own=np.ones_like(cuts.own))
    assert (in_short_order(all_own, 1.2, np.zeros(3), hop) // 2).tolist() != [1, 2, 0]
