"""Carved shapes against closed forms and scipy.

Sources, from memory: volumes of cap, cone, cylinder and circular segment as in any handbook of
mathematics; the height of the ridge between two rows of a ball, r - sqrt(r^2 - s^2 / 4), as in
handbooks of milling. The figures were worked out by hand from these.
"""

from math import asin, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from icecam.prove.carving import carve
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.kernels.grids import eroded
from tests.prove.moves import block, cut, path_of, visits

Floats = NDArray[np.float64]
TOP = 30.0


def removed(bit: Bit, points: list[tuple[float, float, float]], cell: float = 0.1) -> float:
    """Return mm3 taken out of a level block by cutting moves."""
    return float(cut(block(80.0, 50.0, TOP, cell), bit, points).removed.sum())


def slot(bit: Bit, depth: float) -> float:
    """Return mm3 of a slot 50 mm long."""
    return removed(bit, [(-25.0, 0.01, TOP - depth), (25.0, 0.01, TOP - depth)])


def profile_across(bit: Bit, tips: Floats, y: Floats) -> Floats:
    """Return heights left at `y` by long rows along X with their tips at (y, z)."""
    grid = Grid(0.0, float(y[0]), float(y[1] - y[0]), 1, len(y))
    points, cuts = [], []
    for at, z in tips.tolist():
        points += [(-50.0, at, 99.0), (-50.0, at, z), (50.0, at, z), (50.0, at, 99.0)]
        cuts += [False, True, True, True]
    ice = HeightField(grid=grid, heights=np.full((len(y), 1), 90.0))
    left = carve(ice, path_of(points, cuts[1:]), cutting_end(bit)).ice.heights[:, 0]
    return np.asarray(left, dtype=np.float64)


def section(bit: Bit, depth: float) -> float:
    """Return mm2 that one long row takes out of the cross-section."""
    y = np.linspace(-5.0, 5.0, 10_001)
    left = profile_across(bit, np.array([[0.0, 90.0 - depth]]), y)
    return float((90.0 - left).sum()) * 0.001


@pytest.mark.parametrize(
    ("radius", "depth", "expected"),
    [(3, 1, 8.37758), (20, 5, 1439.8966), (20, 10, 5235.9878), (20, 20, 16755.1608)],
)
def test_a_plunged_ball_leaves_a_cap(radius: float, depth: float, expected: float) -> None:
    """Spherical cap, pi h^2 (3 R - h) / 3."""
    bit = make_bit("ball", 2.0 * radius)
    found = removed(bit, [(0.0, 0.0, TOP + 1.0), (0.0, 0.0, TOP - depth)])
    assert found == pytest.approx(expected, rel=2e-3 if radius < 10 else 2e-4)


def test_a_plunged_vee_leaves_a_cone() -> None:
    """Cone 25 high, base radius 20: pi 20^2 25 / 3 = 10471.9755."""
    bit = make_bit("vee", 0.0, taper=float(np.degrees(np.arctan(0.8))), flute=25.0)
    found = removed(bit, [(0.0, 0.0, TOP), (0.0, 0.0, TOP - 25.0)])
    assert found == pytest.approx(10471.9755, rel=2e-4)


@pytest.mark.parametrize(
    ("depth", "expected"), [(0.5, 1.12539), (1.0, 3.09748), (2.0, 8.25021), (3.0, 14.13717)]
)
def test_section_of_a_slot_by_a_ball(depth: float, expected: float) -> None:
    """Segment of a circle r 3: r^2 acos(1 - d / r) - (r - d) sqrt(2 r d - d^2)."""
    found = section(BITS["ball"], depth)
    assert found == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "depth", "expected"),
    [
        ("flat", 1.0, 6.0),
        ("rounded corner", 2.0, 12.0 - 2.0 * (1.0 - pi / 4)),
        ("vee", 4.0, 16.0 * tan(radians(30.0))),
        ("blunt vee", 2.0, 2.0 * (1.0 + 2.0)),
    ],
)
def test_section_of_a_slot_by_other_bits(name: str, depth: float, expected: float) -> None:
    """Rectangle 6 x 1; 6 x 2 less two corners of radius 1 (11.5708); triangle; trapezium."""
    found = section(BITS[name], depth)
    assert found == pytest.approx(expected, rel=1e-3)


def test_section_of_a_slot_by_a_tapered_ball() -> None:
    """Twice the half disc cut off where the flank begins, and the trapezium above it.

    Ball r 0.8, taper a = 5 deg: the flank begins at height r (1 - sin a), half width r cos a.
    """
    r, a, depth = 0.8, radians(5.0), 6.0
    rim, half = r * (1.0 - sin(a)), r * cos(a)
    disc = r * r * (pi / 2 - a) - r * sin(a) * half
    expected = disc + (depth - rim) * (2.0 * half + (depth - rim) * tan(a))
    found = section(BITS["tapered ball"], depth)
    assert found == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("name", "expected"), [("ball", 163.2517), ("flat", 328.2743)])
def test_volume_of_a_slot(name: str, expected: float) -> None:
    """50 mm long, 1 deep, r 3: section times length, and a round end, half at each end."""
    assert slot(BITS[name], 1.0) == pytest.approx(expected, rel=1e-3)


def test_a_slanted_slot_by_a_ball_is_half_a_tube() -> None:
    """A ball on a straight way sweeps a tube; at d from its axis' plane it ends

    sqrt(r^2 - d^2) / cos(slope) under the axis.
    """
    ice = block(80.0, 8.0, TOP, 0.1)
    a, b = (-30.0, 0.0, 25.0), (30.0, 0.0, 10.0)
    found = cut(ice, BITS["ball"], [a, b]).ice
    slope = -15.0 / 60.0
    xx, yy = np.meshgrid(ice.grid.x, ice.grid.y)
    axis = 25.0 + slope * (xx + 30.0) + 3.0
    room = np.sqrt(np.maximum(9.0 - yy**2, 0.0))
    expected = axis - room * sqrt(1 + slope**2)
    middle = (np.abs(xx) < 26.0) & (np.abs(yy) < 3.0)
    np.testing.assert_allclose(found.heights[middle], expected[middle], atol=1e-9)
    assert (found.heights[np.abs(yy) > 3.0] == TOP).all()


@pytest.mark.parametrize("rise", [10.0, -10.0])
def test_a_slanted_slot_by_a_flat_is_cut_by_its_edge(rise: float) -> None:
    """The lower edge passes last or first: sqrt(r^2 - d^2) before the axis uphill, behind down."""
    ice = block(80.0, 8.0, TOP, 0.1)
    a, b = (-30.0, 0.0, 15.0 - rise / 2), (30.0, 0.0, 15.0 + rise / 2)
    found = cut(ice, BITS["flat"], [a, b]).ice
    xx, yy = np.meshgrid(ice.grid.x, ice.grid.y)
    slope, room = rise / 60.0, np.sqrt(np.maximum(9.0 - yy**2, 0.0))
    expected = 15.0 + slope * xx - abs(slope) * room
    middle = (np.abs(xx) < 26.0) & (np.abs(yy) < 3.0)
    np.testing.assert_allclose(found.heights[middle], expected[middle], atol=1e-9)


@pytest.mark.parametrize("name", BITS)
def test_plunges_all_over_by_scipy(name: str) -> None:
    """A bit set down at every cell leaves scipy's grey erosion of the tips by the bit."""
    pitch, rng = 0.37, np.random.default_rng(9)
    grid = Grid(2.0, -3.0, pitch, 41, 33)
    tips = rng.uniform(3.0, 9.0, (grid.ny, grid.nx))
    xx, yy = np.meshgrid(grid.x, grid.y)
    places = np.stack([xx.ravel(), yy.ravel(), tips.ravel()], axis=1)
    ice = HeightField(grid=grid, heights=np.full(tips.shape, 12.0))
    found = carve(ice, path_of(*visits(places, 20.0)), cutting_end(BITS[name])).ice
    expected = np.minimum(eroded(tips, pitch, solid_of(BITS[name])), 12.0)
    np.testing.assert_allclose(found.heights, expected, atol=1e-9)


@pytest.mark.parametrize("name", BITS)
def test_a_flat_pass_down_by_scipy(name: str) -> None:
    """Level rows right across at falling heights: grey erosion of tips that are alike in a row."""
    pitch = 0.37
    grid = Grid(0.0, 0.0, pitch, 30, 40)
    depths = 11.0 - 0.2 * np.arange(0, 40, 3)
    tips = np.full((grid.ny, grid.nx), np.inf)
    tips[::3] = depths[:, None]
    points, cuts = [], []
    for y, z in zip(grid.y[::3], depths, strict=True):
        points += [(-50.0, y, 20.0), (-50.0, y, z), (60.0, y, z), (60.0, y, 20.0)]
        cuts += [False, True, True, True]
    ice = HeightField(grid=grid, heights=np.full(tips.shape, 12.0))
    found = carve(ice, path_of(points, cuts[1:]), cutting_end(BITS[name])).ice
    # Beyond the block the rows go on, so the tips are given far enough out.
    wide = np.pad(tips, ((0, 0), (30, 30)), mode="edge")
    expected = eroded(wide, pitch, solid_of(BITS[name]))[:, 30:-30]
    np.testing.assert_allclose(found.heights, np.minimum(expected, 12.0), atol=1e-9)


@pytest.mark.parametrize(
    ("radius", "heights"),
    [
        (3.0, (0.00261, 0.01043, 0.04196, 0.17157, 0.40192)),
        (6.0, (0.00130, 0.00521, 0.02087, 0.08392, 0.19052)),
        (5.0, (0.00156, 0.00625, 0.02506, 0.10102, 0.23030)),
    ],
)
def test_ridges_between_rows_of_a_ball(radius: float, heights: tuple[float, ...]) -> None:
    """h = r - sqrt(r^2 - s^2 / 4) for rows s = 0.25, 0.5, 1, 2, 3 apart."""
    for step, expected in zip((0.25, 0.5, 1.0, 2.0, 3.0), heights, strict=True):
        tips = np.stack([step * np.arange(-8, 9), np.full(17, 4.0)], axis=1)
        left = profile_across(make_bit("ball", 2 * radius), tips, np.linspace(-step, step, 801))
        assert left.max() - 4.0 == pytest.approx(expected, abs=6e-6)
        assert left.min() == pytest.approx(4.0, abs=1e-9)


@pytest.mark.parametrize(
    ("slope", "expected"), [(0, 0.010435), (30, 0.013921), (45, 0.020906), (60, 0.041960)]
)
def test_ridges_on_a_slope(slope: float, expected: float) -> None:
    """Rows 0.5 apart in plan on a slope are s / cos(slope) apart on it; r 3."""
    lean = radians(slope)
    at = 0.5 * np.arange(-60, 61)
    tips = np.stack([at, 40.0 + at * tan(lean) + 3.0 / cos(lean) - 3.0], axis=1)
    y = np.linspace(-0.6, 0.6, 40_001)
    left = profile_across(BITS["ball"], tips, y)
    over = (left - 40.0 - y * tan(lean)) * cos(lean)
    assert over.max() == pytest.approx(expected, abs=1e-5)
    assert over.min() == pytest.approx(0.0, abs=2e-6)


@pytest.mark.parametrize(("side", "expected"), [(1.0, 0.048431), (-1.0, 0.035570)])
def test_ridges_round_a_bend(side: float, expected: float) -> None:
    """On a circle of radius 20, contacts 1 apart, ball r 3; outside (1) and inside (-1) of it.

    Two circles about centres R = 20 + 3 or 20 - 3 from the middle, an angle 2 a apart with
    sin a = 1 / 40, meet at R cos a -+ sqrt(9 - (R sin a)^2) from it.
    """
    angle = 2 * asin(1.0 / 40.0) * np.arange(-12, 13)
    far = 20.0 + 3.0 * side
    centres = np.stack([far * np.sin(angle), 50.0 + side * far * np.cos(angle)], axis=1)
    y = np.linspace(-0.6, 0.6, 40_001)
    left = profile_across(BITS["ball"], centres - [0.0, 3.0], y)
    over = side * (np.hypot(y, left - 50.0) - 20.0)
    assert over.max() == pytest.approx(expected, abs=1e-5)
    assert over.min() == pytest.approx(0.0, abs=2e-6)
