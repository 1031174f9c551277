"""Questions to the ice as it stands, against their slow twin and against shapely."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.kernels.profile import Profile, height
from icecam.kernels.standing import bites, bites_at, clear_over_segment, travel_heights
from tests.geometry.bits import BITS, solid_of
from tests.kernels.grids import (
    GAP,
    SOLIDS,
    evenly,
    heights_over,
    number,
    point,
    profile_of,
    steady,
)
from tests.reference import standing as twin
from tests.reference.profile import Solid, heights_by_bisection

Floats = NDArray[np.float64]
NY, NX = 9, 11
CELLS = (0.25, 1.0)


def axes(x0: float, y0: float, cell: float) -> tuple[Floats, Floats]:
    return evenly(x0, cell, NX), evenly(y0, cell, NY)


_parts = st.lists(st.tuples(st.sampled_from(SOLIDS), number), min_size=1, max_size=3)
_slack = st.sampled_from([0.0, 0.5]) | st.floats(0.0, 2.0)


@steady
@given(
    heights_over(NY, NX, holes=-np.inf),
    st.sampled_from(CELLS),
    st.tuples(number, number),
    st.lists(st.tuples(point, point), min_size=1, max_size=4),
    _parts,
    _slack,
)
def test_travel_heights(
    ice: Floats,
    cell: float,
    corner: tuple[float, float],
    ways: list[tuple[Floats, Floats]],
    parts: list[tuple[Solid, float]],
    slack: float,
) -> None:
    """The slow twin is the definition; a cell at the very edge of the reach may count or not."""
    x, y = axes(*corner, cell)
    starts, ends = np.array([a for a, _ in ways]), np.array([b for _, b in ways])
    found = np.full(len(ways), np.nan)
    bit = tuple((profile_of(solid), lift) for solid, lift in parts)
    travel_heights(found, 0, len(ways), starts, ends, ice, (*corner, cell), slack, bit)
    for n, (a, b) in enumerate(ways):
        low, high = (twin.travel_height(ice, x, y, a, b, parts, slack + off) for off in (-GAP, GAP))
        assert low - GAP <= found[n] <= high + GAP


def test_travel_heights_fill_their_range_only() -> None:
    """By the docstring of the kernel: ways outside first..last are another core's."""
    ways, ice = np.zeros((5, 2)), np.ones((3, 3))
    found = np.full(5, np.nan)
    travel_heights(
        found, 1, 3, ways, ways, ice, (0.0, 0.0, 1.0), 0.0, ((profile_of(SOLIDS[0]), 0.0),)
    )
    assert np.isnan(found[[0, 3, 4]]).all()
    assert (found[1:3] == 1.0).all()


@steady
@given(st.integers(0, 10_000), point, point, st.sampled_from(SOLIDS), _slack)
def test_clear_over_a_segment_by_shapely(
    seed: int, a: Floats, b: Floats, solid: Solid, slack: float
) -> None:
    """Distances of the cells' centres come from shapely, heights of the bit by bisection.

    At the tip height found no cell's ice stands in the bit, and some cell touches it.
    """
    ice = np.random.default_rng(seed).uniform(0.0, 5.0, (NY, NX))
    xx, yy = np.meshgrid(*axes(0.0, 0.0, 1.0))
    off = np.asarray(shapely.distance(shapely.points(xx, yy), shapely.LineString([a, b])))
    off = np.maximum(off - slack, 0.0)
    assume(np.abs(off - solid.radius).min() > 1e-6)
    assume(np.abs(off - solid.flat).min() > 1e-6)
    (ax, ay), (bx, by) = a.tolist(), b.tolist()
    found = clear_over_segment(ice, (0.0, 0.0, 1.0), ax, ay, bx, by, profile_of(solid), slack)
    met = off <= solid.radius
    if not met.any():
        assert found == -np.inf
        return
    room = found + heights_by_bisection(solid, off[met]) - ice[met]
    assert room.min() == pytest.approx(0.0, abs=1e-6)


def test_a_ball_is_clear_of_a_post_lower_than_a_flat_bit() -> None:
    """By hand, one cell 9 high 2.4 off the way, r 3: a flat bit at 9, a ball 1.2 lower (3-4-5).

    With a slack of 0.6 the post counts 1.8 off, where the ball is 0.6 high.
    """
    ice = np.array([[9.0]])
    flat, ball = profile_of(SOLIDS[0]), profile_of(SOLIDS[1])
    way = (-7.0, 2.4, 8.0, 2.4)
    frame = (0.0, 0.0, 1.0)
    assert clear_over_segment(ice, frame, *way, flat, 0.0) == 9.0
    assert clear_over_segment(ice, frame, *way, ball, 0.0) == pytest.approx(7.8)
    assert clear_over_segment(ice, frame, *way, ball, 0.6) == pytest.approx(8.4)
    assert clear_over_segment(ice, frame, -7.0, 3.5, 8.0, 3.5, ball, 0.4) == -np.inf
    # beyond the end of the way the end alone counts: 1.8 along and 2.4 across are 3 off
    assert clear_over_segment(ice, frame, 1.8, 2.4, 8.0, 2.4, flat, 1e-9) == 9.0
    assert clear_over_segment(ice, frame, 1.81, 2.4, 8.0, 2.4, flat, 0.0) == -np.inf


def ask(
    ice: Floats, cell: float, tips: Floats, tip_frame: tuple[float, float, float], profile: Profile,
    *, tops: Floats | None = None, stride: int = 1, matters: NDArray[np.bool_] | None = None,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Return bite and depth at each tip; `tops` the loosest bound and all cells unless given."""
    bite, depth = np.zeros((2, *tips.shape), dtype=np.float32)
    above = np.full(tips.shape, ice.max()) if tops is None else tops
    where = np.ones(ice.shape, dtype=np.bool_) if matters is None else matters
    bites(
        bite, depth, 0, len(tips), tips, tip_frame, ice, where, (0.0, 0.0, cell), above, stride,
        profile, 0.0,
    )  # fmt: skip
    return bite.astype(np.float64), depth.astype(np.float64)


@steady
@given(
    heights_over(NY, NX),
    st.sampled_from(CELLS),
    st.sampled_from(SOLIDS),
    heights_over(3, 4, holes=np.nan),
    st.tuples(number, number, st.floats(0.3, 2.5)),
    hnp.arrays(np.bool_, (NY, NX)),
)
def test_bites(
    ice: Floats,
    cell: float,
    solid: Solid,
    tips: Floats,
    tip_frame: tuple[float, float, float],
    matters: NDArray[np.bool_],
) -> None:
    """The slow twin is the definition; its normals come from the shape of the bit."""
    x, y = axes(0.0, 0.0, cell)
    tx, ty, pitch = tip_frame
    bite, depth = ask(ice, cell, tips, tip_frame, profile_of(solid), matters=matters)
    jj, ii = np.mgrid[: tips.shape[0], : tips.shape[1]]
    points = np.stack([tx + ii * pitch, ty + jj * pitch, tips], axis=2).reshape(-1, 3)
    alone = np.zeros(len(points), dtype=np.float32)
    tops = np.full(len(points), ice.max())
    frame = (0.0, 0.0, cell)
    bites_at(alone, 0, len(points), points, tops, ice, matters, frame, 1, profile_of(solid))
    np.testing.assert_array_equal(alone, bite.ravel())
    xx, yy = np.meshgrid(x, y)
    edges = np.array([solid.flat, solid.flat + solid.corner * np.cos(solid.taper), solid.radius])
    for j, i in np.ndindex(*tips.shape):
        if np.isnan(tips[j, i]):
            assert bite[j, i] == depth[j, i] == 0.0
            continue
        tip = np.array([tx + i * pitch, ty + j * pitch, tips[j, i]])
        r = np.hypot(xx - tip[0], yy - tip[1])
        # What happens on the line where two parts of a bit join is up to rounding.
        if np.abs(r[..., None] - edges).min() < 1e-7:
            continue
        expected_depth, expected_bite = twin.depth_and_bite(ice, matters, x, y, tip, solid)
        assert depth[j, i] == pytest.approx(expected_depth, abs=2e-6)
        assert bite[j, i] == pytest.approx(expected_bite, abs=2e-6)


@pytest.mark.parametrize("name", BITS)
def test_bites_with_the_tightest_bound_of_the_ice(name: str) -> None:
    """The greatest ice under each bit is found by the slow twin; the answer must not change."""
    ice = np.random.default_rng(5).uniform(0.0, 6.0, (NY, NX))
    tips = np.random.default_rng(6).uniform(0.0, 6.0, (NY, NX))
    solid, frame = solid_of(BITS[name]), (0.0, 0.0, 0.7)
    every = np.ones(ice.shape, dtype=np.bool_)
    tops = twin.greatest_near(ice, 0.7, solid.radius)
    bite, depth = ask(ice, 0.7, tips, frame, profile_of(solid), tops=tops)
    x, y = axes(0.0, 0.0, 0.7)
    for j, i in np.ndindex(NY, NX):
        tip = np.array([x[i], y[j], tips[j, i]])
        expected_depth, expected_bite = twin.depth_and_bite(ice, every, x, y, tip, solid)
        assert depth[j, i] == pytest.approx(expected_depth, abs=2e-6)
        assert bite[j, i] == pytest.approx(expected_bite, abs=2e-6)


def test_bite_of_a_ball_sunk_into_level_ice() -> None:
    """By hand, r 3 sunk by 1: 1 mm upright over the tip, 1 mm along the normal there too.

    At axis distance r the ice over the ball is 1 - h(r) and its normal leans asin(r / 3), so no
    other place takes more.
    """
    ice = np.full((41, 41), 7.0)
    bite, depth = ask(ice, 0.25, np.array([[6.0]]), (5.0, 5.0, 1.0), profile_of(SOLIDS[1]))
    assert depth[0, 0] == bite[0, 0] == 1.0


def test_bite_beside_a_wall_is_along_the_normal() -> None:
    """By hand: ice 10 mm higher than the tip from axis distance 1.8 of a ball r 3 on.

    h(1.8) = 0.6 and cos = 0.8 (3-4-5), so 9.4 mm upright, 7.52 along the normal; further out 2.4
    gives h = 1.2, cos 0.6: 8.8 and 5.28.
    """
    ice = np.zeros((1, 5))
    ice[0, 3:] = 10.0
    bite, depth = ask(ice, 0.6, np.array([[0.0]]), (0.0, 0.0, 1.0), profile_of(SOLIDS[1]))
    assert depth[0, 0] == pytest.approx(9.4, abs=1e-5)
    assert bite[0, 0] == pytest.approx(7.52, abs=1e-5)


def test_ice_that_does_not_matter_counts_for_the_depth_alone() -> None:
    """By hand: a post of 10 over the tip does not matter, one of 4 beside it, 1.8 off, does.

    r 3: h(1.8) = 0.6 and cos = 0.8 (3-4-5), so 3.4 mm upright, 2.72 along the normal.
    """
    ice = np.array([[10.0, 0.0, 0.0, 4.0]])
    matters = np.array([[False, True, True, True]])
    tip, frame = np.array([[0.0]]), (0.0, 0.0, 1.0)
    bite, depth = ask(ice, 0.6, tip, frame, profile_of(SOLIDS[1]), matters=matters)
    assert depth[0, 0] == 10.0
    assert bite[0, 0] == pytest.approx(2.72, abs=1e-6)
    bite, depth = ask(ice, 0.6, tip, frame, profile_of(SOLIDS[1]), matters=~matters)
    assert bite[0, 0] == depth[0, 0] == 10.0


@steady
@given(st.sampled_from(SOLIDS), st.integers(2, 4), heights_over(25, 25), st.floats(0, 3), number)
def test_bites_of_samples(
    solid: Solid, stride: int, ice: Floats, share: float, offset: float
) -> None:
    """Samples never find more than all cells, and under level ice nearly as much.

    Of every square of `stride` cells one is looked at, so one lies within a diagonal of the axis.
    """
    cell, profile = 0.1, profile_of(solid)
    frame = (1.2 + 0.01 * offset, 1.2 - 0.01 * offset, 1.0)
    tips = np.array([[1.0 + share]])
    full = ask(ice, cell, tips, frame, profile)
    some = ask(ice, cell, tips, frame, profile, stride=stride)
    assert some[0] <= full[0]
    assert some[1] <= full[1]
    level = np.full((25, 25), 9.0)
    _, depth = ask(level, cell, tips, frame, profile, stride=stride)
    far = min(np.sqrt(2.0) * stride * cell, solid.radius)
    assert depth[0, 0] >= 9.0 - tips[0, 0] - height(profile, far) - 1e-5
