"""Closed forms of the smallest features, against their definition and against real grooves."""

from dataclasses import replace
from math import hypot, radians, sqrt, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.choose.features import left_in_valley, smallest_groove
from icecam.geometry.drop import surface_of, tip_heights
from icecam.geometry.profile import cutting_end, make_profile
from tests.geometry import solids
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.reference.profile import Solid, heights_by_bisection

Floats = NDArray[np.float64]


def by_definition(solid: Solid, tolerance: float) -> float:
    """Greatest width at which a bit that rests on the rims stays too high, on a fine scale."""
    width = np.linspace(0.0, 2 * solid.radius, 20_001)
    gap = width - heights_by_bisection(solid, width / 2)
    return float(width[gap > tolerance].max(initial=0.0))


@pytest.mark.parametrize("name", ["flat", "ball", "rounded corner"])
def test_upright_bits_need_their_diameter(name: str) -> None:
    """By hand: a groove 6 deep is deeper than a ball r 3 can sink between its rims."""
    assert smallest_groove(cutting_end(BITS[name]), 0.25) == pytest.approx(6.0)


def test_a_slender_vee_by_hand() -> None:
    """By hand: pointed, 20 degrees a side, 0.5 allowed: w - 0.5 = (w / 2) / tan 20."""
    bit = make_bit("vee", 0.2, taper=20.0)
    flank = 1 / tan(radians(20.0))
    assert smallest_groove(cutting_end(replace(bit, diameter=0.0)), 0.5) == 0.0
    # with a flat of 0.2 and nothing allowed: w = (w / 2 - 0.1) flank
    assert smallest_groove(cutting_end(bit), 0.0) == pytest.approx(0.1 * flank / (flank / 2 - 1))


def test_a_tolerance_near_the_radius_by_hand() -> None:
    """By hand: ball r 5, 5.5 allowed, w = 2 u: 2 u - 5.5 = 5 - sqrt(25 - u^2).

    Squared, 5 u^2 - 42 u + 85.25 = 0; of its roots (42 +- sqrt 59) / 10 the greater counts. With 8
    allowed there is no root (52^2 < 20 x 144): no groove is too narrow.
    """
    ball = make_profile(flat=0.0, corner=5.0, taper=0.0, radius=5.0)
    assert smallest_groove(ball, 5.5) == pytest.approx((42 + sqrt(59)) / 5)
    assert smallest_groove(ball, 8.0) == 0.0


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    st.floats(0.0, 4.0),
    st.floats(0.0, 4.0),
    st.one_of(st.just(0.0), st.floats(2.0, 60.0)),
    st.floats(0.2, 6.0),
    st.floats(0.0, 3.0),
)
def test_groove_by_definition(
    flat: float, corner: float, taper_deg: float, more: float, tolerance: float
) -> None:
    taper = radians(taper_deg)
    rim = flat + corner * float(np.cos(taper))
    radius = rim + (more if taper > 0 else 0.0)
    if radius < 0.05:
        return
    profile = make_profile(flat=flat, corner=corner, taper=taper, radius=radius)
    solid = Solid(flat=flat, corner=corner, taper=taper, radius=radius)
    step = 2 * radius / 20_000
    found, slow = smallest_groove(profile, tolerance), by_definition(solid, tolerance)
    # a gap that only just passes the tolerance may lie between two widths, or on rounding
    if abs(found - slow) > 2 * step:
        wide = max(found, slow)
        gap = wide - float(heights_by_bisection(solid, np.array([wide / 2]))[0])
        assert gap == pytest.approx(tolerance, abs=step)


def trench(width: float, depth: float) -> Floats:
    """Return level ice at 0 with an upright groove along y."""
    x = np.array([-60.0, -width / 2, -width / 2, width / 2, width / 2, 60.0])
    z = np.array([0.0, 0.0, -depth, -depth, 0.0, 0.0])
    points = np.stack([np.stack([x, np.full(6, y), z], axis=1) for y in (-60.0, 60.0)])
    return solids.from_rows(points[::-1])


@pytest.mark.parametrize("name", ["flat", "ball", "rounded corner", "tapered ball"])
def test_in_real_grooves(name: str) -> None:
    """A bit let down into a groove a hundredth wider reaches the bottom, in a narrower one not."""
    profile = cutting_end(BITS[name])
    least = smallest_groove(profile, 0.2)
    for factor, reached in ((1.01, True), (0.99, False)):
        width = factor * least
        surface = surface_of(trench(width, width))
        tip = tip_heights(surface, ((profile, 0.0),), np.zeros((1, 2)))
        assert bool(tip[0] + width <= 0.2) is reached


def test_valleys_by_hand() -> None:
    """By hand: a ball leaves r (sqrt 2 - 1) in a right angle, a flat r, a rounded corner both."""
    assert left_in_valley(cutting_end(BITS["ball"])) == pytest.approx(3 * (sqrt(2) - 1))
    assert left_in_valley(cutting_end(BITS["flat"])) == pytest.approx(3.0)
    assert left_in_valley(cutting_end(BITS["rounded corner"])) == pytest.approx(1 + hypot(1, 1))
    assert left_in_valley(cutting_end(BITS["vee"])) == pytest.approx(0.0)


@pytest.mark.parametrize("name", BITS)
def test_valleys_as_bits_rest_in_them(name: str) -> None:
    profile = cutting_end(BITS[name])
    tip = tip_heights(surface_of(solids.groove(1.0)), ((profile, 0.0),), np.zeros((1, 2)))
    assert left_in_valley(profile) == pytest.approx(float(tip[0]), abs=1e-9)
    solid = solid_of(BITS[name])
    r = np.linspace(0.0, solid.radius, 4001)
    assert left_in_valley(profile) == pytest.approx(
        float((r - heights_by_bisection(solid, r)).max()), abs=1e-3
    )
