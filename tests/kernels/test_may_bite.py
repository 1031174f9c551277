"""What a bit could take anywhere in a box, against its slow twin and against places in the box."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.kernels.standing import may_bite
from icecam.paths.finishing import Matter
from tests.kernels.grids import SOLIDS, evenly, heights_over, number, point, profile_of, steady
from tests.reference import standing as twin
from tests.reference.profile import Solid

Floats = NDArray[np.float64]
NY, NX = 9, 11
_least = st.sampled_from([0.0, 0.2, 1.0, 3.0])


@steady
@given(
    heights_over(NY, NX),
    st.sampled_from([0.25, 1.0]),
    st.sampled_from(SOLIDS),
    st.tuples(point, point),
    number,
    hnp.arrays(np.bool_, (NY, NX)),
    _least,
)
def test_the_nearest_place_to_each_cell_decides(
    ice: Floats,
    cell: float,
    solid: Solid,
    ends: tuple[Floats, Floats],
    tip: float,
    matters: NDArray[np.bool_],
    least: float,
) -> None:
    """The slow twin is the definition; where parts of a bit join it is up to rounding."""
    x, y = evenly(0.0, cell, NX), evenly(0.0, cell, NY)
    most, r = twin.most_in_box(ice, matters, x, y, *ends, tip, solid)
    edges = np.array([solid.flat, solid.flat + solid.corner * np.cos(solid.taper), solid.radius])
    assume(np.abs(r[..., None] - edges).min() > 1e-7)
    assume(abs(most - least) > 1e-6)
    found, tops = np.zeros(3, dtype=np.bool_), np.full((1, 1), ice.max())
    low, high = (np.broadcast_to(end, (3, 2)).copy() for end in ends)
    may_bite(
        found, 1, 2, low, high, np.full(3, tip), least, tops, (0.0, 0.0, 1.0), ice, matters,
        (0.0, 0.0, cell), profile_of(solid),
    )  # fmt: skip
    assert found.tolist() == [False, most > least, False]


@steady
@given(
    heights_over(25, 25),
    st.integers(0, 10_000),
    st.sampled_from(SOLIDS),
    st.sampled_from([0.05, 0.15, 0.6]),
    st.floats(0.0, 1.2),
    _least,
)
def test_no_place_in_the_box_bites_more_than_it_may(
    ice: Floats, seed: int, solid: Solid, cell: float, wide: float, least: float
) -> None:
    """However few cells are looked at there, and whatever is known of the ice around it."""
    rng = np.random.default_rng(seed)
    tops = HeightField(grid=Grid(0.3, -0.2, 0.8, 9, 9), heights=rng.uniform(0.0, 9.0, (9, 9)))
    matter = Matter(
        ice=HeightField(grid=Grid(0.0, 0.0, cell, 25, 25), heights=ice),
        matters=rng.random((25, 25)) < 0.7,
        tops=tops,
        profile=profile_of(solid),
    )
    count = 60
    low = rng.uniform(0.0, 25 * cell, (count, 2))
    high = low + wide * rng.uniform(-1.0, 1.0, (count, 2)) * (rng.random((count, 2)) < 0.7)
    z = rng.uniform(0.0, 8.0, count)
    may = matter.may_bite(low, high, z, least)
    for share in (0.0, 0.31, 0.5, 1.0):
        bite = matter.bite(np.column_stack([low + share * (high - low), z]))
        assert may[bite > least].all()


def test_ice_beyond_the_box_counts_from_its_nearest_side() -> None:
    """By hand: ball r 3, box whose side is 1.8 off a post 10 over the tip: 7.52 mm (3-4-5)."""
    ice = np.zeros((1, 30))
    ice[0, 0] = 10.0
    solid, tops = SOLIDS[1], np.full((1, 1), 10.0)
    every = np.ones(ice.shape, dtype=np.bool_)
    for least, expected in ((7.51, True), (7.53, False)):
        found = np.zeros(1, dtype=np.bool_)
        may_bite(
            found, 0, 1, np.array([[2.8, 0.0]]), np.array([[1.8, 0.0]]), np.zeros(1), least, tops,
            (0.0, 0.0, 1.0), ice, every, (0.0, 0.0, 0.5), profile_of(solid),
        )  # fmt: skip
        assert found[0] == expected
    most, _ = twin.most_in_box(
        ice, every, 0.5 * np.arange(30.0), np.zeros(1), np.array([2.8, 0.0]), np.array([1.8, 0.0]),
        0.0, solid,
    )  # fmt: skip
    assert most == pytest.approx(7.52)
