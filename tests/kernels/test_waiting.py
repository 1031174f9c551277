"""Pieces that wait for what stands over them, against a slow twin, scipy and by hand."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.kernels.waiting import Bins, Listed, follow
from tests.kernels.grids import number, steady
from tests.reference import waiting as twin
from tests.reference.exchange import Hop, other

Floats = NDArray[np.float64]
ROUND: Final = 1e-9
FLAT_HOP: Final = (1.0, 1e9, 1.0)
"""Seconds are millimetres in plan, where all is level."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waiting:
    """Pieces by what stands and what waits in each of `squares` squares."""

    squares: int
    standing: list[twin.Entry]
    waiting: list[twin.Entry]


def _listed(entries: list[twin.Entry], squares: int) -> Listed:
    by_square = sorted(entries, key=lambda entry: (entry[0], -entry[2]))
    counts = [sum(entry[0] == square for entry in entries) for square in range(squares)]
    return Listed(
        starts=np.cumsum([0, *counts], dtype=np.int64),
        pieces=np.array([piece for _, piece, _ in by_square], dtype=np.int64),
        heights=np.array([height for *_, height in by_square], dtype=np.float64),
    )


def _followed(tips: Floats, scene: Waiting, bins: Bins, start: Floats, hop: Hop) -> list[int]:
    count = len(tips) // 2
    stands = [[square for square, piece, _ in scene.standing if piece == n] for n in range(count)]
    order = np.full(count, -1)
    follow(
        order,
        tips,
        np.cumsum([0, *map(len, stands)], dtype=np.int64),
        np.array([square for each in stands for square in each], dtype=np.int64),
        _listed(scene.standing, scene.squares),
        _listed(scene.waiting, scene.squares),
        bins,
        start,
        hop,
    )
    return [int(end) for end in order]


@st.composite
def _scenes(draw: st.DrawFn, most: int = 7) -> tuple[int, Waiting]:
    """Some pieces; each bears what is no higher than itself, so none wait in a circle."""
    count, squares = draw(st.integers(1, most)), draw(st.integers(1, 4))
    square_of = st.integers(0, squares - 1)
    standing, waiting = [], []
    for piece in range(count):
        top = draw(st.integers(0, 6))
        for square in draw(st.sets(square_of, max_size=min(3, squares))):
            standing.append((square, piece, float(draw(st.integers(0, top)))))
        for square in draw(st.sets(square_of, min_size=1, max_size=min(3, squares))):
            waiting.append((square, piece, float(top + draw(st.integers(0, 2)))))
    return count, Waiting(squares=squares, standing=standing, waiting=waiting)


_place = st.tuples(number, number, number).map(np.array)
_hop = st.tuples(st.floats(0.5, 5), st.floats(0.0, 20), st.floats(1, 20))
_bins = st.builds(
    Bins,
    x0=st.floats(-4, 4),
    y0=st.floats(-4, 4),
    side=st.floats(0.3, 6),
    columns=st.integers(1, 9),
    rows=st.integers(1, 9),
)
"""Ends and starts lie outside of them as well: they belong to the square nearest to them."""


@steady
@given(_scenes(), st.data(), _bins, _place, _hop)
def test_each_piece_is_one_soonest_reached_of_those_let_go(
    scene: tuple[int, Waiting], data: st.DataObject, bins: Bins, start: Floats, hop: Hop
) -> None:
    """Step by step by the twin; ends fall on each other, so several may be the soonest."""
    count, waiting = scene
    tips = np.array(data.draw(st.lists(_place, min_size=2 * count, max_size=2 * count)))
    found = _followed(tips, waiting, bins, start, hop)
    assert sorted(end // 2 for end in found) == list(range(count))
    here, left = start, set(range(count))
    for end in found:
        free = twin.let_go(left, waiting.standing, waiting.waiting)
        seconds = twin.ways(free, here, tips, hop)
        assert seconds[end] == pytest.approx(min(seconds.values()), abs=ROUND)
        left.remove(end // 2)
        here = tips[other(end)]


@steady
@given(_scenes(), st.integers(0, 10_000), _bins, _hop)
def test_order_is_that_of_the_twin(
    scene: tuple[int, Waiting], seed: int, bins: Bins, hop: Hop
) -> None:
    """Random ends have one soonest each, so the order is one."""
    count, waiting = scene
    rng = np.random.default_rng(seed)
    tips, start = rng.uniform(-3.0, 12.0, (2 * count, 3)), rng.uniform(-9.0, 20.0, 3)
    assert _followed(tips, waiting, bins, start, hop) == twin.follow(
        tips, waiting.standing, waiting.waiting, start, hop
    )


@pytest.mark.parametrize("side", [0.5, 3.0, 40.0])
def test_order_of_many_pieces_is_that_of_the_twin(side: float) -> None:
    """Pieces on a slope, which wait in the squares beside their own, as many as do not."""
    rng = np.random.default_rng(8)
    count, squares = 60, 12
    tips = rng.uniform(0.0, 30.0, (2 * count, 3))
    square = (tips[::2, 0] / 30.0 * squares).astype(int).tolist()
    high = tips.reshape(count, 2, 3)[:, :, 2].max(axis=1).tolist()
    standing = [(square[n], n, high[n]) for n in range(count)]
    waiting = [
        (there, n, high[n] + 4.0)
        for n in range(count)
        for there in (square[n] - 1, square[n], square[n] + 1)
        if 0 <= there < squares
    ]
    held = set(range(count)) - twin.let_go(set(range(count)), standing, waiting)
    assert count / 4 < len(held) < count
    scene = Waiting(squares=squares, standing=standing, waiting=waiting)
    bins = Bins(x0=0.0, y0=0.0, side=side, columns=int(30 / side) + 1, rows=int(30 / side) + 1)
    start, hop = np.array([-20.0, 41.0, 9.0]), (2.0, 3.0, 10.0)
    found = _followed(tips, scene, bins, start, hop)
    assert found == twin.follow(tips, standing, waiting, start, hop)


@pytest.mark.parametrize("side", [0.5, 3.0, 40.0])
def test_where_nothing_stands_the_nearest_end_left_is_next(side: float) -> None:
    """Level, so by scipy's nearest neighbours; 300 pieces."""
    rng = np.random.default_rng(8)
    tips = np.column_stack([rng.uniform(0.0, 30.0, (600, 2)), np.zeros(600)])
    scene = Waiting(squares=1, standing=[], waiting=[(0, n, 0.0) for n in range(300)])
    bins = Bins(x0=0.0, y0=0.0, side=side, columns=int(30 / side) + 1, rows=int(30 / side) + 1)
    here = np.array([-20.0, 41.0, 0.0])
    left = np.arange(600)
    for end in _followed(tips, scene, bins, here, FLAT_HOP):
        _, nearest = KDTree(tips[left]).query(here)
        assert end == left[nearest]
        here = tips[other(end)]
        left = left[left // 2 != end // 2]
    assert len(left) == 0


@pytest.mark.parametrize(
    ("bears", "expected"),
    [(5.0, [0, 1, 2, 3]), (4.9, [0, 2, 1, 3]), (3.0, [0, 2, 1, 3]), (2.9, [2, 1, 0, 3])],
)
def test_two_pieces_wait_by_hand(bears: float, expected: list[int]) -> None:
    """Points at 1, 2, 9 and 20 mm from 0, the nearest next; the third stands 5 high over the first.

    And over the second, which bears 2 mm less: below 5 this waits until the third is cut, below 3
    the first does as well. The last one is high, but stands and waits elsewhere.
    """
    x = np.array([1.0, 2.0, 9.0, 20.0])
    tips = np.repeat(np.column_stack([x, 0 * x, 0 * x]), 2, axis=0)
    scene = Waiting(
        squares=2,
        standing=[(0, 2, 5.0), (1, 3, 7.0)],
        waiting=[(0, 0, bears + 2.0), (0, 1, bears), (0, 2, 5.0), (1, 3, 7.0)],
    )
    bins = Bins(x0=0.0, y0=0.0, side=4.0, columns=6, rows=1)
    found = _followed(tips, scene, bins, np.zeros(3), FLAT_HOP)
    assert [end // 2 for end in found] == expected
