"""The order of cuts of all layers by definition: nothing lost, and from the top down."""

from collections import Counter
from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.paths.cut_order import WHOLE, Cuts, Layer, in_order
from icecam.paths.pieces import Pieces, pieces_of, without
from tests.paths.scenes import GOING, cut_too_early

Floats = NDArray[np.float64]
Move = frozenset[tuple[float, ...]]
steady = settings(deadline=None, derandomize=True, max_examples=150)
START: Final = np.zeros(3)


def _moves(pieces: Pieces) -> list[list[Move]]:
    """Moves of each piece, either way round."""
    return [
        [frozenset(map(tuple, line[k : k + 2].tolist())) for k in range(len(line) - 1)]
        for line in (pieces[n] for n in range(len(pieces)))
    ]


def _lower_end(move: Move) -> tuple[float, ...]:
    """Where the ice is that a move may take: a cut belongs to what is below it."""
    return min(move, key=lambda end: end[2])


_rises = st.integers(1, 5) | st.integers(-5, -1)
_line = st.fixed_dictionaries(
    {"rises": st.lists(_rises, min_size=1, max_size=7), "high": st.integers(0, 9)}
)
_lines = st.lists(_line, min_size=1, max_size=6)
_lifts = st.lists(st.sampled_from([3.0, 6.0, 8.0]), unique=True)


def _zigzag(n: int, line: dict[str, object]) -> Floats:
    """A zigzag of its own, which straightening leaves as it is; never level."""
    z = np.cumsum([line["high"], *line["rises"]])  # type: ignore[misc]
    k = np.arange(len(z))
    return np.column_stack([k, 2 * n + k % 2, z]).astype(np.float64)


@steady
@given(
    _lines, st.lists(st.sampled_from([3.0, 6.0, 8.0]), unique=True), st.floats(1.5, 6.0), st.data()
)
def test_cuts_of_all_layers_come_once_and_after_what_stands_too_high(
    lines: list[dict[str, object]], lifts: list[float], reach: float, data: st.DataObject
) -> None:
    """By definition, move by move: none lost or doubled, and each keeps its height above all.

    What lies higher over the lower end of a move, within reach, than one cut may take there, is
    cut before it.
    """
    surface = [_zigzag(n, line) for n, line in enumerate(lines)]
    bears = st.sampled_from([1.0, 2.5, 7.0])
    layers: list[Layer] = []
    lift_of: dict[Move, float] = {}
    most_at: dict[tuple[float, ...], float] = {}
    for lift in [*lifts, 0.0]:
        pieces = pieces_of([line + np.array([0.0, 0.0, lift]) for line in surface])
        count = len(pieces.points)
        most = np.array(data.draw(st.lists(bears, min_size=count, max_size=count)))
        layers.append(Layer(pieces=pieces, lift=lift, most=most))
        lift_of |= {move: lift for each in _moves(pieces) for move in each}
        most_at |= dict(zip(map(tuple, pieces.points.tolist()), most.tolist(), strict=True))
    found = in_order(layers, reach, START, GOING.hop)
    cut = _moves(found.pieces)
    assert Counter(move for each in cut for move in each) == Counter(lift_of.keys())
    assert len(found.lifts) == len(cut)
    for lift, each in zip(found.lifts.tolist(), cut, strict=True):
        assert {lift_of[move] for move in each} == {lift}
    low = [_lower_end(move) for each in cut for move in each]
    when = np.repeat(np.arange(len(cut)), [len(each) for each in cut])
    most = np.array([most_at[point] for point in low])
    assert not cut_too_early(np.array(low), when, most, reach)


def test_nothing_to_cut_is_no_cut() -> None:
    empty = Layer(pieces=pieces_of([]), lift=0.0, most=np.zeros(0))
    found = in_order([empty, empty], 2.0, START, GOING.hop)
    assert len(found.pieces) == len(found.lifts) == 0


def _rows(x: float, z: float) -> list[Floats]:
    """Four rows of 3 mm, 1 mm apart."""
    return [np.array([[x, y, z], [x + 3.0, y, z]]) for y in range(4)]


@pytest.mark.parametrize("reach", [1.0, 3.0])
def test_each_heap_is_cut_from_the_top_layer_down(reach: float) -> None:
    """Two heaps 30 mm apart in three layers a step of 2 mm over each other, which is all one takes.

    By hand: each heap is cut from above, a layer after the other where all of it is in reach, and
    finished before the next.
    """
    layers = [
        Layer(
            pieces=pieces_of([*_rows(0.0, 1.0 + lift), *_rows(30.0, 1.0 + lift)]),
            lift=lift,
            most=np.full(16, 2.0),
        )
        for lift in (0.0, 4.0, 2.0)
    ]
    found = in_order(layers, reach, START, GOING.hop)
    assert len(found.pieces) == 24
    np.testing.assert_array_equal(found.lifts, [found.pieces[n][0, 2] - 1.0 for n in range(24)])
    right = np.array([found.pieces[n][0, 0] > 20.0 for n in range(24)])
    assert np.count_nonzero(np.diff(right)) == 1
    for heap in (found.lifts[right], found.lifts[~right]):
        assert sorted(heap.tolist()) == [0.0] * 4 + [2.0] * 4 + [4.0] * 4
        assert reach < 3.0 or (np.diff(heap) <= 0.0).all()


def test_a_whole_step_is_too_high_and_a_little_less_is_not() -> None:
    """By hand: a row, and one over it by all that a cut may take, or by a little less than that.

    The lower one is nearer to the start.
    """
    for share, first in ((1.0, 4.0), (WHOLE + 1e-6, 4.0), (WHOLE - 1e-6, 0.0)):
        upper = Layer(
            pieces=pieces_of([np.array([[1.0, 0.0, 4.0 * share], [5.0, 0.0, 4.0 * share]])]),
            lift=4.0,
            most=np.full(2, 4.0),
        )
        lower = Layer(
            pieces=pieces_of([np.array([[1.0, 0.0, 0.0], [5.0, 0.0, 0.0]])]),
            lift=0.0,
            most=np.full(2, 4.0),
        )
        assert in_order([upper, lower], 2.0, START, GOING.hop).lifts[0] == first


def test_straight_cuts_keep_their_two_ends() -> None:
    line = np.linspace([0.0, 0.0, 3.0], [9.0, 3.0, 3.0], 50)
    layer = Layer(pieces=pieces_of([line]), lift=0.0, most=np.full(50, 1.0))
    found = in_order([layer], 2.0, START, GOING.hop)
    np.testing.assert_array_equal(found.pieces.points, line[[0, -1]])


# Cuts left out


_polyline = st.integers(2, 8).flatmap(
    lambda n: hnp.arrays(np.float64, (n, 3), elements=st.floats(-9, 9, width=32))
)


@steady
@given(
    st.lists(_polyline, min_size=1, max_size=5),
    hnp.arrays(np.float64, st.tuples(st.integers(1, 3), st.just(3)), elements=st.floats(-9, 9)),
    st.floats(0.5, 9.0),
)
def test_what_is_left_of_cuts_keeps_its_lift(
    lines: list[Floats], places: Floats, radius: float
) -> None:
    """The pieces are those of `without`, each lifted as the cut that it is a part of."""
    cuts = Cuts(pieces=pieces_of(lines), lifts=np.arange(float(len(lines))))
    found, kept = cuts.without(places, radius)
    expected, origin = without(cuts.pieces, places, radius)
    np.testing.assert_array_equal(kept, origin)
    np.testing.assert_array_equal(found.pieces.points, expected.points)
    np.testing.assert_array_equal(found.pieces.starts, expected.starts)
    np.testing.assert_array_equal(found.lifts, origin)


def test_cuts_left_out_by_hand() -> None:
    """Three rows 5 mm apart, the second met in its middle: two cuts are left of it, as high up."""
    x = np.arange(9.0)
    lines = [np.column_stack([x, 0 * x + y, 0 * x]) for y in (0.0, 5.0, 10.0)]
    cuts = Cuts(pieces=pieces_of(lines), lifts=np.array([4.0, 2.0, 0.0]))
    found, origin = cuts.without(np.array([[4.0, 5.0, 0.0]]), 1.5)
    np.testing.assert_array_equal(origin, [0, 1, 1, 2])
    np.testing.assert_array_equal(found.lifts, [4.0, 2.0, 2.0, 0.0])
    assert [found.pieces[n][:, 0].tolist() for n in (1, 2)] == [[0, 1, 2], [6, 7, 8]]
