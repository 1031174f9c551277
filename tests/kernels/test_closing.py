"""The ice left by a bit that goes everywhere, and its thickness: slow twins, scipy, geometry."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.kernels.closing import close_rows, thickness_rows
from tests.geometry.bits import BITS, solid_of
from tests.kernels.grids import (
    GAP,
    SOLIDS,
    eroded,
    evenly,
    heights_over,
    number,
    profile_of,
    steady,
)
from tests.reference import closing as twin
from tests.reference.profile import Solid

Floats = NDArray[np.float64]
NY, NX = 7, 9
TILE = 4


def least_in_tiles(tips: Floats) -> Floats:
    rows, columns = -(-tips.shape[0] // TILE), -(-tips.shape[1] // TILE)
    return np.array(
        [
            [tips[j * TILE :, i * TILE :][:TILE, :TILE].min() for i in range(columns)]
            for j in range(rows)
        ]
    )


def closed(
    left: Floats, frame: tuple[float, float, float], wanted: Floats, tips: Floats,
    tip_frame: tuple[float, float, float], solid: Solid, enough: float = -np.inf,
) -> Floats:  # fmt: skip
    found = left.copy()
    lows = least_in_tiles(tips)
    args = (wanted, tips, tip_frame, lows, TILE, profile_of(solid), enough)
    close_rows(found, frame, 0, len(left) // 2, *args)
    close_rows(found, frame, len(left) // 2, len(left), *args)
    return found


@steady
@given(
    heights_over(NY, NX, holes=np.inf),
    heights_over(NY, NX, holes=-np.inf),
    st.sampled_from([0.25, 1.0]),
    heights_over(6, 5, holes=np.inf),
    st.tuples(number, number, st.sampled_from([0.5, 1.0]) | st.floats(0.2, 2)),
    st.sampled_from(SOLIDS),
)
def test_ice_left_by_a_bit(
    left: Floats,
    wanted: Floats,
    cell: float,
    tips: Floats,
    tip_frame: tuple[float, float, float],
    solid: Solid,
) -> None:
    """The slow twin is the definition; a tip at the very rim may count or not."""
    found = closed(left, (0.0, 0.0, cell), wanted, tips, tip_frame, solid)
    x, y = evenly(0.0, cell, NX), evenly(0.0, cell, NY)
    tx, ty, pitch = tip_frame
    tip_x, tip_y = evenly(tx, pitch, 5), evenly(ty, pitch, 6)
    low, high = (
        np.minimum(
            left, twin.closed(x, y, tips, tip_x, tip_y, replace(solid, radius=solid.radius + off))
        )
        for off in (GAP, -GAP)
    )
    seen = wanted > -np.inf
    assert (found[~seen] == left[~seen]).all()
    assert (found[seen] >= low[seen] - 1e-6).all()
    assert (found[seen] <= high[seen] + 1e-6).all()


@steady
@given(
    heights_over(NY, NX, holes=np.inf),
    heights_over(NY, NX, holes=-np.inf),
    heights_over(6, 5, holes=np.inf),
    st.floats(0.2, 2),
    st.sampled_from(SOLIDS),
    st.floats(0.0, 3.0),
)
def test_near_enough_is_known_for_sure(
    left: Floats, wanted: Floats, tips: Floats, pitch: float, solid: Solid, enough: float
) -> None:
    """Where no more than enough is left it may say more, up to that; elsewhere it is the same."""
    args = left, (0.0, 0.0, 1.0), wanted, tips, (0.3, -0.2, pitch), solid
    exact, found = closed(*args), closed(*args, enough)
    near = exact <= wanted + enough
    assert (found[near] <= (wanted + enough)[near]).all()
    assert (found[near] >= exact[near]).all()
    np.testing.assert_array_equal(found[~near], exact[~near])


@pytest.mark.parametrize("name", BITS)
def test_ice_left_by_scipy(name: str) -> None:
    """Tips over every cell: scipy's grey erosion of the tips by the bit as structuring element."""
    solid, pitch = solid_of(BITS[name]), 0.37
    tips: Floats = np.random.default_rng(3).uniform(0.0, 5.0, (40, 50))
    frame = (-2.0, 3.0, pitch)
    found = closed(np.full(tips.shape, np.inf), frame, tips, tips, frame, solid)
    np.testing.assert_allclose(found, eroded(tips, pitch, solid), atol=1e-12)


def thickness(ice: Floats, wanted: Floats, cell: float, window: int) -> Floats:
    found = np.zeros(ice.shape)
    middle = len(ice) // 2
    thickness_rows(found, 0, middle, ice, wanted, cell, window)
    thickness_rows(found, middle, len(ice), ice, wanted, cell, window)
    return found


@steady
@given(
    heights_over(NY, NX),
    heights_over(NY, NX, holes=-np.inf),
    st.sampled_from([0.1, 1.0]) | st.floats(0.05, 3),
    st.integers(0, 4),
)
def test_thickness(ice: Floats, wanted: Floats, cell: float, window: int) -> None:
    """The slow twin lists the three ways of the docstring and takes the least."""
    found = thickness(ice, wanted, cell, window)
    np.testing.assert_allclose(found, twin.thickness(ice, wanted, cell, window), atol=1e-12)


@pytest.mark.parametrize("degrees", [0.0, 20.0, 45.0, 70.0])
def test_thickness_over_a_plane(degrees: float) -> None:
    """By geometry: ice d over a plane, upright, is d cos(slope) thick."""
    gradient, upright = np.tan(np.radians(degrees)), 0.8
    xx, yy = np.meshgrid(0.1 * np.arange(30), 0.1 * np.arange(20))
    wanted = gradient * (0.6 * xx - 0.8 * yy)
    found = thickness(wanted + upright, wanted, 0.1, 4)
    expected = upright * np.cos(np.radians(degrees))
    np.testing.assert_allclose(found[1:-1, 1:-1], expected, atol=1e-12)
    assert (found >= expected - 1e-9).all()


def test_thickness_over_a_sphere() -> None:
    """By geometry: between spheres of radius 20 and 20.5 about one centre the ice is 0.5 thick."""
    x = 0.1 * np.arange(-140, 141)
    square = x[None, :] ** 2 + x[:, None] ** 2
    near = square < 14.0**2
    wanted = np.where(near, np.sqrt(np.maximum(20.0**2 - square, 0.0)), -np.inf)
    ice = np.sqrt(np.maximum(20.5**2 - square, 0.0))
    found = thickness(ice, wanted, 0.1, 4)[square < 13.0**2]
    # A chord of the sphere for its slope, and the curve within half a millimetre: 1 % or so.
    np.testing.assert_allclose(found, 0.5, atol=0.01)


def test_thickness_beside_a_wall() -> None:
    """By hand: skin 0.3 mm out from a wall 10 mm high is 0.3 thick, over its foot and all the way.

    Cells of 0.1; the wall's top lies at x <= 1, the foot beyond; ice stands up to x = 1.3.
    """
    x = 0.1 * np.arange(40) + 0.05
    wanted = np.tile(np.where(x < 1.0, 10.0, 0.0), (8, 1))
    ice = np.tile(np.where(x < 1.3, 10.0, 0.0), (8, 1))
    found = thickness(ice, wanted, 0.1, 4)
    np.testing.assert_allclose(found[:, x < 1.0], 0.0)
    np.testing.assert_allclose(found[:, (x > 1.0) & (x < 1.3)], [[0.1, 0.2, 0.3]] * 8, atol=1e-12)
    np.testing.assert_allclose(found[:, x > 1.3], 0.0)
    assert np.isnan(thickness(ice, np.full_like(wanted, -np.inf), 0.1, 4)).all()


@pytest.mark.parametrize("beside", [-np.inf, 0.0])
def test_thickness_over_a_fin(beside: float) -> None:
    """By hand: ice 5 mm over a fin one cell wide is 5 mm thick, however low its neighbours are."""
    wanted = np.full((9, 9), beside)
    wanted[:, 4] = 10.0
    found = thickness(np.full((9, 9), 15.0), wanted, 0.15, 3)
    np.testing.assert_allclose(found[:, 4], 5.0)
