"""Tip surfaces against closed forms, beside the tables worked out from them.

Source of the forms and tables unless said otherwise: derived closed forms, geometry.
"""

from math import atan, cos, inf, radians, sqrt, tan

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from icecam.geometry.drop import Surface, parts_of, surface_of, tip_heights, tip_surface
from icecam.geometry.field import Grid
from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from tests.geometry import solids
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.reference.profile import heights_by_bisection

LAST_DIGIT = 5e-6  # half a unit of the last digit of the tables
CORNERS = {"ball": 3.0, "flat": 0.0, "rounded corner": 1.0}  # r3 bits: corner radius of each

HEMISPHERE_RHO = (0, 2.5, 5, 10, 15, 18, 20, 22, 22.5)
HEMISPHERE = {
    "ball": "20 19.86373 19.44994 17.71232 14.43560 11.31782 8.35782 3.70820 1.76970",
    "flat": "20 20 19.89975 18.73499 16 13.22876 10.53565 6.24500 4.44410",
    "rounded corner": "20 19.99405 19.78461 18.41649 15.49242 12.60147 9.81665 5.40312 3.55522",
}
FIRST_FLOOR = {"ball": 22.803509, "flat": 23.0, "rounded corner": 22.976177}
CONE_RHO = (0, 1, 2, 3, 5, 10, 15, 20, 22)
CONE = {
    "ball": "25 24.82843 24.23607 23.05234 20.55234 14.30234 8.05234 1.80234 0",
    "flat": "25 25 25 25 22.5 16.25 10 3.75 1.25",
    "rounded corner": "25 25 25 24.35078 21.85078 15.60078 9.35078 3.10078 0.60078",
}
BOWL_RHO = (0, 3, 6, 9, 11, 12, 13, 14, 15)
BOWL_BALL = "-15 -14.61895 -13.39230 -10.93725 -7.79583 -3 -0.76393 -0.17157 0"


def printed(row: str) -> NDArray[np.float64]:
    return np.array([float(word) for word in row.split()])


def at(
    surface: Surface,
    bit: Bit,
    x: ArrayLike,
    *,
    y: float = 0.0,
    lowest: float = -inf,
    allowance: float = 0.0,
    spindle_body: float | None = None,
) -> NDArray[np.float64]:
    """Return tips along a line y = const by the kernel for points."""
    places = np.atleast_1d(np.asarray(x, dtype=np.float64))
    where = np.stack([places, np.full(len(places), y)], axis=1)
    parts = parts_of(bit, allowance=allowance, spindle_body=spindle_body)
    return tip_heights(surface, parts, where, lowest=lowest)


@pytest.fixture(scope="module")
def dome() -> Surface:
    return surface_of(solids.hemisphere(20.0, 1.0))


SAG = 20.0 * radians(1.0) ** 2 * 2 / 6  # e^2 / 6R, diagonals e of squares of one degree


@pytest.mark.parametrize("name", HEMISPHERE)
def test_hemisphere_r20(name: str, dome: Surface) -> None:
    expected = printed(HEMISPHERE[name])
    found = at(dome, BITS[name], HEMISPHERE_RHO, lowest=0.0)
    # The mesh lies inside the sphere by at most SAG along the normal, more along z.
    upright = (expected + CORNERS[name]) / (20.0 + CORNERS[name])
    assert (found <= expected + LAST_DIGIT).all()
    assert (found >= expected - SAG / upright - LAST_DIGIT).all()


@pytest.mark.parametrize("name", FIRST_FLOOR)
def test_hemisphere_lets_the_bit_down_to_the_floor(name: str, dome: Surface) -> None:
    rho = FIRST_FLOOR[name]
    found = at(dome, BITS[name], [rho - 0.02, rho + 1e-5], lowest=0.0)
    assert found[0] > 0.0
    assert found[1] == 0.0


@pytest.mark.parametrize("name", CONE)
def test_cone_h25_b20(name: str) -> None:
    sides = 1440
    inside = 25.0 * (1 - cos(np.pi / sides))  # faces lie inside by no more, at the base
    surface = surface_of(solids.cone(25.0, 20.0, sides))
    found = at(surface, BITS[name], CONE_RHO, lowest=0.0)
    expected = printed(CONE[name])
    assert (found <= expected + LAST_DIGIT).all()
    assert (found >= expected - 2 * inside - LAST_DIGIT).all()


def test_ball_in_a_bowl_r15() -> None:
    """The mesh of a hollow lies above the sphere by the sag, so the ball stands higher."""
    surface = surface_of(solids.bowl(15.0, 1.0, 40.0))
    found, expected = at(surface, BITS["ball"], BOWL_RHO), printed(BOWL_BALL)
    sag = 15.0 * radians(1.0) ** 2 * 2 / 6
    upright = np.maximum(-(expected + 3.0) / 12.0, 0.2)
    hollow = np.array(BOWL_RHO) < 12.0
    assert (found[hollow] >= expected[hollow] - LAST_DIGIT).all()
    assert (found[hollow] <= (expected + sag / upright)[hollow] + LAST_DIGIT).all()
    # Beyond it rests on the rim, a polygon within the circle: nearer by the sag of its sides.
    rim = 15.0 * (1 - cos(radians(0.5)))
    np.testing.assert_allclose(found[6:], expected[6:], atol=2.3 * rim + LAST_DIGIT)
    assert found[5] == pytest.approx(-3.0, abs=0.2)  # the ball's equator meets the rim


PLANES = [(0.0, 0.0), (0.5, 0.0), (0.3, -0.4), (-1.0, 1.0), (0.0, 3.0)]


@pytest.mark.parametrize("gradient", PLANES)
@pytest.mark.parametrize("name", ["flat", "ball", "rounded corner"])
def test_plane(name: str, gradient: tuple[float, float]) -> None:
    slope = atan(np.hypot(*gradient))
    corner = CORNERS[name]
    rise = (3.0 - corner) * tan(slope) + corner * (1 / cos(slope) - 1)
    x, y = np.array([0.0, 1.3, -7.7]), 2.0
    found = at(surface_of(solids.plane(*gradient)), BITS[name], x, y=y)
    np.testing.assert_allclose(found, gradient[0] * x + gradient[1] * y + rise, atol=1e-9)


@pytest.mark.parametrize("degrees", [0, 20, 59, 61, 75, 80])
def test_vee_on_a_plane(degrees: float) -> None:
    """A point bit of half angle 30 touches at its tip up to 60 degrees, then at its widest."""
    bit, slope = BITS["vee"], radians(degrees)
    widest = 8.0 * tan(radians(30))
    rise = 0.0 if degrees < 60 else widest * tan(slope) - 8.0
    found = at(surface_of(solids.plane(tan(slope), 0.0)), bit, [1.0])
    np.testing.assert_allclose(found, tan(slope) + rise, atol=1e-9)


@pytest.mark.parametrize("degrees", [0, 30, 84, 86])
def test_tapered_ball_on_a_plane(degrees: float) -> None:
    """The ball touches up to 85 degrees for a taper of 5, then the top of the flank."""
    bit, slope = BITS["tapered ball"], radians(degrees)
    widest = solid_of(bit).radius
    rise = 0.8 * (1 / cos(slope) - 1) if degrees < 85 else widest * tan(slope) - 25.0
    found = at(surface_of(solids.plane(0.0, tan(slope))), bit, [1.0])
    np.testing.assert_allclose(found, rise, atol=1e-9)


def test_blunt_vee_on_a_plane() -> None:
    """Its flat of 1 mm touches first below 45 degrees, the flank's top of 4.5 mm above."""
    bit = BITS["blunt vee"]
    for gradient, rise in ((0.0, 0.0), (0.5, 0.25), (0.9, 0.45), (2.0, 4.5 * 2.0 - 4.0)):
        found = at(surface_of(solids.plane(gradient, 0.0)), bit, [0.0])
        np.testing.assert_allclose(found, rise, atol=1e-9)


@pytest.mark.parametrize("degrees", [10, 45, 60, 80])
def test_ball_in_a_groove(degrees: float) -> None:
    slope = radians(degrees)
    x = np.array([-4.0, -0.5, 0.0, 0.25, 3.0])
    found = at(surface_of(solids.groove(tan(slope))), BITS["ball"], x)
    np.testing.assert_allclose(
        found, np.abs(x) * tan(slope) + 3.0 * (1 / cos(slope) - 1), atol=1e-9
    )


def test_flat_in_a_groove() -> None:
    x = np.array([-4.0, 0.0, 1.0])
    found = at(surface_of(solids.groove(1.0)), BITS["flat"], x)
    np.testing.assert_allclose(found, np.abs(x) + 3.0, atol=1e-9)


@pytest.mark.parametrize("name", BITS)
def test_beside_an_upright_wall(name: str) -> None:
    """The edge of the wall lies on the profile: tip = top - h(x)."""
    bit, solid = BITS[name], solid_of(BITS[name])
    x = np.linspace(0.0, solid.radius - 1e-9, 40)
    found = at(surface_of(solids.wall(30.0)), bit, -x, lowest=-5.0)
    expected = np.maximum(30.0 - heights_by_bisection(solid, x), -5.0)
    np.testing.assert_allclose(found, expected, atol=1e-5)
    beyond = at(surface_of(solids.wall(30.0)), bit, [-solid.radius - 1e-6], lowest=-5.0)
    assert beyond[0] == -5.0


def test_vee_and_tapered_ball_on_a_cone() -> None:
    """On a cone flatter than the flank by the cone's face, on a steeper one by its apex."""
    sides = 1440
    flat_cone, rho = surface_of(solids.cone(25.0, 20.0, sides)), np.array([0.0, 1.0, 4.0, 9.0])
    found = at(flat_cone, BITS["vee"], rho)
    np.testing.assert_allclose(found, 25.0 - 1.25 * rho, atol=1e-4)
    slope = atan(1.25)
    tapered = 25.0 - 1.25 * rho[1:] + 0.8 / cos(slope) - 0.8
    np.testing.assert_allclose(at(flat_cone, BITS["tapered ball"], rho[1:]), tapered, atol=1e-4)
    needle = surface_of(solids.cone(100.0, 5.0, sides))
    rho = np.array([0.0, 0.5, 2.0, 2.8])
    for name in ("vee", "tapered ball"):
        solid = solid_of(BITS[name])
        expected = 100.0 - heights_by_bisection(solid, rho)
        np.testing.assert_allclose(at(needle, BITS[name], rho), expected, atol=1e-6)


def test_whole_bit_beside_a_high_wall() -> None:
    """Flat r3, shank r5 from 20 up, nut r17 from 50 up, spindle r40 from 70 up; wall top at 90."""
    bit = make_bit("flat", flute=20.0, shank=10.0, stick_out=50.0)
    surface = surface_of(solids.wall(90.0))
    x = -np.array([2.99, 3.01, 4.99, 5.01, 16.99, 17.01, 39.99, 40.01])
    expected = [90.0, 70.0, 70.0, 40.0, 40.0, 20.0, 20.0, 0.0]
    assert list(at(surface, bit, x, lowest=0.0, spindle_body=80.0)) == pytest.approx(expected)
    without = [90.0, 70.0, 70.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    assert list(at(surface, bit, x, lowest=0.0)) == pytest.approx(without)


def test_thick_shank_of_a_thin_ball() -> None:
    bit = make_bit("ball", 2.0, flute=6.0, shank=6.0, stick_out=30.0)
    found = at(surface_of(solids.wall(20.0)), bit, [-0.6, -2.0, -2.9, -3.1], lowest=0.0)
    assert list(found) == pytest.approx([20.0 - 0.2, 14.0, 14.0, 0.0])


@pytest.mark.parametrize("degrees", [0, 30, 60])
def test_allowance_on_a_plane(degrees: float) -> None:
    """Shift of the plane by a along its normal lifts a tip by a / cos."""
    surface, slope = surface_of(solids.plane(tan(radians(degrees)), 0.0)), radians(degrees)
    for name in BITS:
        if name == "vee" and degrees == 60:
            continue  # its flank lies on the plane: either end may touch first
        bare = at(surface, BITS[name], [0.0])
        kept = at(surface, BITS[name], [0.0], allowance=0.5)
        touches_flank = tan(slope) > cutting_end(BITS[name]).flank
        if not touches_flank:
            np.testing.assert_allclose(kept - bare, 0.5 / cos(slope), atol=1e-9)
        assert kept[0] - bare[0] >= 0.5 / cos(slope) - 1e-9


def test_allowance_beside_a_wall() -> None:
    surface = surface_of(solids.wall(30.0))
    x = -np.array([0.0, 2.9, 3.2, 3.4, 3.6])
    found = at(surface, BITS["flat"], x, allowance=0.5, lowest=0.0)
    over = [30.5, 30.5, 30.0 + sqrt(0.25 - 0.04), 30.0 + sqrt(0.25 - 0.16), 0.0]
    assert list(found) == pytest.approx(over)


def test_allowance_of_a_blunt_vee_beside_a_wall() -> None:
    """The edge of the wall is 0.5 from the flank: the flank moves out by 0.5 / cos 45 in z."""
    found = at(surface_of(solids.wall(30.0)), BITS["blunt vee"], [-3.0], allowance=0.5, lowest=0.0)
    assert found[0] == pytest.approx(30.0 - 2.5 + 0.5 / cos(radians(45)))


def test_grid_and_floor() -> None:
    """Rows are y, columns x; what meets nothing stands on the floor."""
    tower = solids.cone(10.0, 1.0, 64) + np.array([5.0, 2.0, 0.0])
    grid = Grid(0.0, 0.0, 1.0, 11, 5)
    tips = tip_surface(surface_of(tower), BITS["flat"], grid, lowest=0.5).heights
    assert tips.shape == (5, 11)
    assert tips[2, 5] == pytest.approx(10.0)
    reached = np.hypot(*np.meshgrid(grid.x - 5.0, grid.y - 2.0)) <= 3.0
    np.testing.assert_allclose(tips[reached], 10.0)
    assert (tips[np.hypot(*np.meshgrid(grid.x - 5.0, grid.y - 2.0)) > 4.0] == 0.5).all()
