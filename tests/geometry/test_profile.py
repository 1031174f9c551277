"""Bit profiles against the definition of the bits as solids."""

from math import cos, inf, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.errors import BitError
from icecam.geometry.profile import (
    POINT,
    cutting_end,
    cylinder_profile,
    cylinders,
    make_profile,
    slot_section,
    thicken,
)
from icecam.kernels.profile import Profile, height, peak, radius_at, steepness, touching_radius
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.reference.profile import Solid, distance_to_core, heights, heights_by_bisection

NAMES = list(BITS)
steady = settings(deadline=None, derandomize=True)


def profile_of(solid: Solid) -> Profile:
    return make_profile(
        flat=solid.flat, corner=solid.corner, taper=solid.taper, radius=solid.radius
    )


@st.composite
def solids(draw: st.DrawFn) -> Solid:
    """Solids with any mix of flat, corner and flank, degenerate ones among them."""
    flat = draw(st.sampled_from([0.0, 0.5, 3.0]) | st.floats(0.01, 10))
    corner = draw(st.sampled_from([0.0, 0.5, 3.0]) | st.floats(0.01, 10))
    taper = draw(st.sampled_from([0.0, pi / 4]) | st.floats(0.02, 1.4))
    wider = draw(st.sampled_from([0.0, 2.0]) | st.floats(0.01, 10)) if taper else 0.0
    return Solid(flat=flat, corner=corner, taper=taper, radius=flat + corner * cos(taper) + wider)


def sampled(solid: Solid, count: int = 200) -> NDArray[np.float64]:
    return np.linspace(0.0, solid.radius, count)


@pytest.mark.parametrize("name", NAMES)
def test_heights_of_each_shape_are_those_of_its_solid(name: str) -> None:
    bit = BITS[name]
    profile, solid = cutting_end(bit), solid_of(bit)
    assert profile.radius == pytest.approx(solid.radius, abs=1e-12)
    r = sampled(solid)
    found = [height(profile, min(value, profile.radius)) for value in r]
    np.testing.assert_allclose(found, heights_by_bisection(solid, r), atol=2e-7)
    assert found[0] == 0.0


@steady
@given(solids())
def test_heights_of_any_profile(solid: Solid) -> None:
    profile, r = profile_of(solid), sampled(solid, 60)
    expected = heights_by_bisection(solid, r)
    found = [height(profile, min(value, profile.radius)) for value in r]
    np.testing.assert_allclose(found, expected, atol=1e-6)
    np.testing.assert_allclose(heights(solid, r), expected, atol=1e-6)


def test_bits_by_hand() -> None:
    """Derived closed forms, geometry."""
    ball = cutting_end(make_bit("ball", 10.0))
    assert height(ball, 3.0) == pytest.approx(1.0)  # a 3-4-5 triangle
    assert height(ball, 5.0) == pytest.approx(5.0)
    vee = cutting_end(make_bit("vee", 0.0, taper=45.0, flute=7.0))
    assert vee.radius == pytest.approx(7.0)
    assert height(vee, 2.5) == pytest.approx(2.5)
    rounded = cutting_end(make_bit("rounded corner", 6.0, corner=1.0))
    assert [height(rounded, r) for r in (1.0, 2.0, 3.0)] == pytest.approx([0.0, 0.0, 1.0])
    tapered = cutting_end(make_bit("tapered ball", 2.0, taper=30.0, flute=20.0))
    # The ball ends where its tangent has the slope of the flank: r cos 30, at r (1 - sin 30).
    assert (tapered.rim, tapered.rim_height) == pytest.approx((sqrt(3) / 2, 0.5))
    assert height(tapered, tapered.radius) == pytest.approx(20.0)


@steady
@given(solids(), st.floats(0, 30))
@example(Solid(flat=3.0, corner=0.0, taper=0.0, radius=3.0), 0.0)
def test_radius_at_bounds_what_lies_no_higher(solid: Solid, rise: float) -> None:
    profile, r = profile_of(solid), sampled(solid)
    low = heights_by_bisection(solid, r) <= rise
    assert r[low].max() <= radius_at(profile, rise) + 1e-6
    reached = radius_at(profile, rise)
    assert height(profile, reached) <= rise + 1e-6
    assert radius_at(profile, -1.0) == 0.0
    assert radius_at(profile, inf) == pytest.approx(solid.radius)


@steady
@given(solids(), st.floats(0.01, 0.99))
def test_steepness_is_the_slope_of_the_height(solid: Solid, share: float) -> None:
    profile = profile_of(solid)
    step = 1e-6
    r = share * solid.radius
    kinks = [solid.flat, profile.rim, solid.radius]
    if min(abs(r - kink) for kink in kinks) <= 2 * step:
        return
    below, at, above = heights(solid, np.array([r - step, r, r + step]))
    # A convex curve is as steep as its chords: one just before, one just after.
    found = steepness(profile, r)
    assert (at - below) / step - 1e-6 <= found <= (above - at) / step + 1e-6


@steady
@given(solids(), st.floats(0, 20))
def test_a_plane_touches_where_it_says(solid: Solid, gradient: float) -> None:
    profile, r = profile_of(solid), sampled(solid, 2000)
    touch = touching_radius(profile, gradient)
    assert 0.0 <= touch <= profile.radius + 1e-9
    found = gradient * touch - height(profile, min(touch, profile.radius))
    assert found >= (gradient * r - heights_by_bisection(solid, r)).max() - 1e-5


def definition_of_peak(solid: Solid, d: float, m: float, low: float, high: float) -> float:
    """Greatest m v - h over v, concave: a search that narrows to the neighbours of the best."""
    reach = sqrt(max(solid.radius**2 - d * d, 0.0))
    low, high = max(low, -reach), min(high, reach)
    best = -inf
    for _ in range(14):
        v = np.linspace(low, high, 41)
        r = np.minimum(np.hypot(d, v), solid.radius)
        values = m * v - heights(solid, r)
        k = int(values.argmax())
        best = max(best, float(values[k]))
        low, high = float(v[max(k - 1, 0)]), float(v[min(k + 1, 40)])
    return best


@steady
@given(
    solids(),
    st.floats(0, 0.999),
    st.sampled_from([0.0, 1.0, -1.0]) | st.floats(-30, 30),
    st.floats(-1.2, 1.0),
    st.floats(0, 1.2),
)
@example(Solid(flat=0.5, corner=0.5, taper=pi / 4, radius=4.0), 0.5, 0.9, -1.0, 2.0)
@example(Solid(flat=3.0, corner=0.5, taper=0.0, radius=3.5), 0.95, 2.0, -1.0, 2.0)
@example(Solid(flat=0.5, corner=1.0, taper=pi / 4, radius=0.5 + sqrt(0.5)), 0.0, 1.0, 0.0, 1.0)
@example(Solid(flat=0.0, corner=1.0, taper=pi / 4, radius=2.0), 0.0, 1.0 - 1e-16, -1.0, 2.0)
def test_peak_is_the_greatest(
    solid: Solid, share: float, slope: float, begin: float, extent: float
) -> None:
    profile = profile_of(solid)
    d = share * solid.radius
    low, high = begin * solid.radius, (begin + extent) * solid.radius
    found = peak(profile, d * d, slope, low, high)
    reach = sqrt(solid.radius**2 - d * d)
    if max(low, -reach) > min(high, reach):
        assert found == -inf
        return
    assert found == pytest.approx(definition_of_peak(solid, d, slope, low, high), abs=1e-6)


def test_peak_misses_beyond_the_radius() -> None:
    profile = cutting_end(BITS["ball"])
    assert peak(profile, 3.1**2, 0.5, -10.0, 10.0) == -inf
    assert peak(profile, 0.0, 0.5, 3.1, 10.0) == -inf


@steady
@given(solids(), st.floats(0.01, 5))
def test_thickened_profiles_keep_normal_distance(solid: Solid, allowance: float) -> None:
    """Every point of the thick profile, lowered by the allowance, is that far from the bit."""
    thick = thicken(profile_of(solid), allowance)
    # The bit goes on along its flank above the widest place; only points below that are held.
    r = np.linspace(0.0, solid.radius, 80)
    z = np.array([height(thick, value) for value in r]) - allowance
    gap = distance_to_core(solid, r, z) - solid.corner
    np.testing.assert_allclose(gap, allowance, atol=1e-6)
    assert thick.radius == pytest.approx(solid.radius + allowance)


def test_no_allowance_changes_nothing() -> None:
    profile = cutting_end(BITS["tapered ball"])
    assert thicken(profile, 0.0) == profile


def test_upright_wall_is_kept_away_from() -> None:
    thick = thicken(cutting_end(BITS["flat"]), 0.5)
    assert (thick.flat, thick.corner, thick.radius) == (3.0, 0.5, 3.5)
    assert height(thick, 3.3) == pytest.approx(0.5 - sqrt(0.5**2 - 0.3**2))


@pytest.mark.parametrize(
    "shape",
    [
        {"flat": -1.0, "corner": 1.0, "taper": 0.0, "radius": 3.0},
        {"flat": 0.0, "corner": -1.0, "taper": 0.0, "radius": 3.0},
        {"flat": 0.0, "corner": 0.0, "taper": 0.0, "radius": -1.0},
        {"flat": 2.0, "corner": 1.5, "taper": 0.0, "radius": 3.0},
        {"flat": 2.0, "corner": 1.5, "taper": radians(10), "radius": 3.0},
        {"flat": 1.0, "corner": 0.0, "taper": pi / 2, "radius": 3.0},
        {"flat": 1.0, "corner": 0.0, "taper": -0.1, "radius": 3.0},
        {"flat": 1.0, "corner": 1.0, "taper": 0.0, "radius": 3.0},
    ],
)
def test_impossible_shapes_are_refused(shape: dict[str, float]) -> None:
    with pytest.raises(BitError, match="do not make a bit of radius"):
        make_profile(**shape)


def test_corner_larger_than_the_bit_is_refused() -> None:
    with pytest.raises(BitError, match=r"4\.000 mm"):
        make_profile(flat=3.0 - 4.0, corner=4.0, taper=0.0, radius=3.0)


def test_parts_above_the_cutting_end() -> None:
    shank, nut, spindle = cylinders(make_bit("ball", shank=8.0, flute=25.0, stick_out=60.0), 80.0)
    assert (shank.name, shank.radius, shank.base) == ("shank", 4.0, 25.0)
    assert (nut.name, nut.radius, nut.base) == ("collet nut", 17.0, 60.0)
    assert (spindle.name, spindle.radius, spindle.base) == ("spindle", 40.0, 80.0)


def test_cylinder_is_level_out_to_its_radius() -> None:
    profile = cylinder_profile(17.0)
    assert [height(profile, r) for r in (0.0, 8.0, 17.0)] == [0.0, 0.0, 0.0]
    assert (POINT.radius, height(POINT, 0.0)) == (1e-10, 0.0)


def test_tapered_flank_has_its_angle() -> None:
    profile = cutting_end(BITS["tapered ball"])
    assert profile.flank == pytest.approx(1 / tan(radians(5)))
    assert profile.rim_height == pytest.approx(0.8 * (1 - sin(radians(5))))


@pytest.mark.parametrize(
    ("depth", "expected"), [(0.5, 1.12539), (1.0, 3.09748), (2.0, 8.25021), (3.0, 14.13717)]
)
def test_section_of_a_slot_by_a_ball_as_worked(depth: float, expected: float) -> None:
    """Segment of a circle of radius 3 (any handbook of mathematics), worked by hand."""
    assert slot_section(cutting_end(BITS["ball"]), np.array([depth]))[0] == pytest.approx(
        expected, abs=5e-6
    )


def test_section_of_a_slot_by_a_rounded_corner_as_worked() -> None:
    """By hand: 6 x 2 less two corners of radius 1, (4 - pi) / 2 together."""
    found = slot_section(cutting_end(BITS["rounded corner"]), np.array([2.0]))[0]
    assert found == pytest.approx(11.570796, abs=5e-7)


@steady
@given(solids(), st.floats(0, 1.5), st.floats(0, 3))
def test_section_of_a_slot_is_the_integral_over_the_width(
    solid: Solid, share: float, more: float
) -> None:
    """From the definition: depth less the solid's height, summed over the axis distance.

    The height rises outwards, so each strip lies between the heights at its two sides.
    """
    top = float(heights(solid, np.array([solid.radius]))[0])
    depth = share * top + more
    r = np.linspace(0.0, solid.radius, 4001)
    inside = np.maximum(depth - heights(solid, r), 0.0)
    least = 2 * np.minimum(inside[1:], inside[:-1]).sum() * solid.radius / 4000
    most = 2 * np.maximum(inside[1:], inside[:-1]).sum() * solid.radius / 4000
    found = slot_section(profile_of(solid), np.array([depth]))[0]
    assert least - 1e-9 <= found <= most + 1e-9
