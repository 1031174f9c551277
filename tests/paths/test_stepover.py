"""Stepover from scallop height, closed forms and the ridges measured on the carved block."""

from math import cos, inf, pi, radians, sqrt, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.drop import surface_of, tip_surface
from icecam.geometry.field import Grid, HeightField, cells
from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from icecam.kernels.profile import Profile
from icecam.paths.finishing import (
    CLOSER,
    TILTED,
    Matter,
    Need,
    need_for,
    slopes,
    stepover_for,
    tip_pitch,
    tip_radius,
)
from icecam.paths.pieces import Pieces
from icecam.paths.rows import sweeps
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import carve
from tests.geometry import solids
from tests.geometry.bits import make_bit

Floats = NDArray[np.float64]

ROWS = [
    (3.0, 0.25, 0.00261), (3.0, 0.5, 0.01043), (3.0, 1.0, 0.04196), (3.0, 2.0, 0.17157),
    (3.0, 3.0, 0.40192), (6.0, 0.25, 0.00130), (6.0, 0.5, 0.00521), (6.0, 1.0, 0.02087),
    (6.0, 2.0, 0.08392), (6.0, 3.0, 0.19052), (5.0, 0.25, 0.00156), (5.0, 0.5, 0.00625),
    (5.0, 1.0, 0.02506), (5.0, 2.0, 0.10102), (5.0, 3.0, 0.23030),
]  # fmt: skip
"""Radius of a ball, stepover, height of the ridge: h = r - sqrt(r^2 - s^2 / 4), five digits."""

HEIGHTS = [
    (3.0, 0.005, 0.34627), (3.0, 0.01, 0.48949), (3.0, 0.02, 0.69166), (3.0, 0.05, 1.09087),
    (3.0, 0.1, 1.53623), (6.0, 0.005, 0.48980), (6.0, 0.01, 0.69253), (6.0, 0.02, 0.97898),
    (6.0, 0.05, 1.54596), (6.0, 0.1, 2.18174),
]  # fmt: skip
"""Radius, height of the ridge, stepover: s = 2 sqrt(2 r h - h^2), five digits."""


def _ball(radius: float) -> Profile:
    return cutting_end(make_bit("ball", 2 * radius))


@pytest.mark.parametrize(("radius", "stepover", "high"), ROWS)
def test_stepover_of_a_ball_by_the_height_of_its_ridge(
    radius: float, stepover: float, high: float
) -> None:
    """Sagitta of a chord (geometry), worked out by hand; h is printed to 5e-6."""
    low = stepover_for(_ball(radius), high - 5e-6)
    assert low <= stepover <= stepover_for(_ball(radius), high + 5e-6)


@pytest.mark.parametrize(("radius", "high", "stepover"), HEIGHTS)
def test_height_of_a_ridge_by_the_stepover_of_a_ball(
    radius: float, high: float, stepover: float
) -> None:
    """Chord of a sagitta (geometry), worked out by hand; s is printed to 5e-6."""
    assert stepover_for(_ball(radius), high) == pytest.approx(stepover, abs=6e-6)


@given(st.floats(0.3, 20), st.floats(0.001, 0.3), st.floats(0.0, 10))
def test_two_arcs_meet_at_the_asked_height(radius: float, high: float, flat: float) -> None:
    """By definition: halfway between two arcs they are `high` above their lowest points.

    A flat between the arcs, which does not touch a slope, changes nothing.
    """
    high = min(high, 0.9 * radius)
    bit = make_bit("rounded corner", 2 * (radius + flat), corner=radius)
    half = stepover_for(cutting_end(bit), high) / 2
    assert radius - sqrt(radius**2 - half**2) == pytest.approx(high, rel=1e-6)


@given(st.floats(5, 80), st.floats(0.0, 5), st.floats(0.01, 1.0))
def test_two_flanks_of_a_vee_meet_at_the_asked_height(
    taper: float, tip: float, high: float
) -> None:
    """A flank rises 1 / tan(taper) a mm: s = 2 h tan(taper) (right triangle), whatever the tip."""
    bit = make_bit("vee", tip, taper=taper, flute=20.0)
    expected = 2 * high * tan(radians(taper))
    assert stepover_for(cutting_end(bit), high) == pytest.approx(expected)


def test_a_deep_ridge_is_no_wider_than_the_ball() -> None:
    """Rows of a ball can be no further apart than its diameter (definition)."""
    assert stepover_for(_ball(3.0), 10.0) == pytest.approx(6.0)


def test_a_flat_bit_overlaps_by_half() -> None:
    """No ridge by definition; rows overlap by half (common practice, no source)."""
    assert stepover_for(cutting_end(make_bit("flat", 6.0)), 0.1) == 3.0


@given(st.floats(0.4, 20), st.floats(0.001, 0.3))
def test_grid_of_tips_has_a_whole_even_number_of_nodes_from_row_to_row(
    diameter: float, scallop: float
) -> None:
    """As documented: rows at sqrt(3)/2 of the stepover, nodes at most a quarter of the diameter."""
    profile = cutting_end(make_bit("ball", diameter))
    stepover = stepover_for(profile, scallop)
    pitch, every = tip_pitch(profile, stepover)
    assert every % 2 == 0
    assert pitch * every == pytest.approx(stepover * sqrt(3) / 2)
    assert pitch <= max(diameter / 4, 0.2) + 1e-9


# Ridges on planes


def _toolpath(rows: list[Pieces]) -> Toolpath:
    """Rows as cuts, one after the other, with rapids that are not carved between them."""
    ends, kinds = [], []
    for pieces in rows:
        for n in range(len(pieces)):
            ends.append(pieces[n])
            kinds.append(np.array([RAPID] + [CUT] * (len(pieces[n]) - 1), dtype=np.int8))
    points, kind = np.concatenate(ends), np.concatenate(kinds)
    feed = np.where(kind == CUT, 50.0, np.nan)
    line = np.zeros(len(kind), dtype=np.int32)
    return Toolpath(start=points[0], ends=points, kind=kind, feed=feed, line=line)


def _swept(bit: Bit, gradient: tuple[float, float], scallop: float) -> Floats:
    """Thickness of ice, along the plane's normal, left by the planned rows on a plane.

    Rows, and rows between them where the plane falls away by more than 30 degrees across them.
    """
    profile = cutting_end(bit)
    surface = surface_of(solids.plane(*gradient))
    pitch, every = tip_pitch(profile, stepover_for(profile, scallop))
    count = int(np.ceil(16.0 / pitch)) + 1
    grid = Grid(-8.0, -8.0, pitch, count, count)
    tips = tip_surface(surface, bit, grid)
    field = cells((8.0, 8.0), 0.04)
    field = Grid(field.x0 - 4.0, field.y0 - 4.0, field.pitch, field.nx, field.ny)
    ice = HeightField(grid=field, heights=np.full((field.ny, field.nx), 40.0))
    free = np.ones(tips.heights.shape, dtype=np.bool_)
    need = Need(
        grid=grid, tips=tips.heights, free=free,
        bite=np.ones(tips.heights.shape, dtype=np.float32),
        depth=np.ones(tips.heights.shape, dtype=np.float32),
    )  # fmt: skip
    far = 4 * tip_radius(profile)
    rows = [sweeps(need, free, first_row=0, every=every, gap=far, cliff=far)]
    _, across = slopes(tips.heights, pitch)
    tilted = across > TILTED
    if tilted.any():
        rows.append(sweeps(need, tilted, first_row=every // 2, every=every, gap=far, cliff=far))
    carved = carve(ice, _toolpath(rows), profile).ice.heights
    x, y = np.meshgrid(field.x, field.y)
    over = carved - gradient[0] * x - gradient[1] * y
    left: Floats = over / sqrt(1 + gradient[0] ** 2 + gradient[1] ** 2)
    return left


def _gradient(slope_deg: float, azimuth_deg: float) -> tuple[float, float]:
    steep, turn = tan(radians(slope_deg)), radians(azimuth_deg)
    return steep * cos(turn), steep * cos(turn - pi / 2)


@pytest.mark.parametrize("azimuth", [0, 45, 90, 270])
@pytest.mark.parametrize("slope", [0, 15, 29.5, 30.5, 45, 59])
def test_ridges_on_a_plane_stay_within_the_asked_height(slope: float, azimuth: float) -> None:
    """Carved and measured along the normal; rows at s cos(30) suit slopes of up to 30 degrees.

    The greatest plan distance of rows that leaves h on a slope b across them is s cos b (an arc
    seen along the slope, geometry).
    """
    left = _swept(make_bit("ball", 6.0), _gradient(slope, azimuth), 0.05)
    assert left.min() >= -1e-9
    assert left.max() <= 0.05 + 1e-6


@pytest.mark.parametrize("slope", [29.9, 59.9])
def test_rows_are_no_closer_than_the_asked_height_calls_for(slope: float) -> None:
    """Just below 30 degrees, and just below 60 where rows lie twice as close, it is used up."""
    left = _swept(make_bit("ball", 6.0), _gradient(slope, 90.0), 0.05)
    used = {29.9: 1.0, 59.9: 0.75}[slope]
    assert left.max() >= 0.97 * 0.05 * used


@pytest.mark.parametrize("slope", [0, 25, 35, 45])
def test_ridge_by_closed_form(slope: float) -> None:
    """Rows of plan distance p across a slope b leave r - sqrt(r^2 - (p / cos b)^2 / 4)."""
    left = _swept(make_bit("ball", 6.0), _gradient(slope, 90.0), 0.05)
    apart = 2 * sqrt(2 * 3.0 * 0.05 - 0.05**2) * sqrt(3) / 2
    if slope > 30:
        apart /= 2
    expected = 3.0 - sqrt(9.0 - (apart / cos(radians(slope))) ** 2 / 4)
    # cells of 0.04 mm miss the ridge by up to half a cell times its slope, p / 2 r
    assert left.max() == pytest.approx(expected, abs=0.02 * apart / cos(radians(slope)) / 6.0)


@pytest.mark.parametrize("slope", [0, 2, 5, 20, 45])
@pytest.mark.parametrize(
    "bit",
    [make_bit("rounded corner", 6.0, corner=1.0), make_bit("vee", 2.0, taper=30.0, flute=8.0)],
)
def test_ridges_of_flat_tips_stay_within_what_is_asked(bit: Bit, slope: float) -> None:
    """By definition, on the level and on slopes, where a flat tip no longer touches."""
    left = _swept(bit, _gradient(slope, 90.0), 0.1)
    assert left.min() >= -1e-9
    assert left.max() <= 0.1
    assert slope < 5 or left.max() > 0.005


# Slopes and need


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.05, 2))
def test_slopes_of_a_plane_are_its_gradient(gx: float, gy: float, pitch: float) -> None:
    """By definition: rise over way, its size."""
    y, x = np.mgrid[:6, :7] * pitch
    in_x, in_y = slopes(gx * x + gy * y, pitch)
    np.testing.assert_allclose(in_x, abs(gx), atol=1e-9)
    np.testing.assert_allclose(in_y, abs(gy), atol=1e-9)


def test_slope_beside_a_step_is_the_steeper_side() -> None:
    tips = np.array([[0.0, 0.0, 2.0, 2.0]])
    in_x, in_y = slopes(tips, 0.5)
    np.testing.assert_array_equal(in_x, [[0.0, 4.0, 4.0, 0.0]])
    np.testing.assert_array_equal(in_y, np.zeros((1, 4)))


def tops_of(height: float) -> HeightField:
    """No ice stands higher anywhere."""
    return HeightField(grid=Grid(-10.0, -10.0, 20.0, 2, 2), heights=np.full((2, 2), height))


@pytest.mark.parametrize("slope", [0.0, 30.0, 60.0])
def test_bite_of_a_layer_on_a_plane_is_its_thickness(slope: float) -> None:
    """Ice of thickness t along the normal lies t / cos b over a plane: that is the bit's bite."""
    bit, steep, thick = make_bit("ball", 6.0), tan(radians(slope)), 0.4
    grid = Grid(-2.0, -2.0, 1.0, 5, 5)
    field = Grid(-8.0, -8.0, 0.05, 321, 321)
    upright = thick / cos(radians(slope))
    heights = np.broadcast_to(steep * field.x + upright, (field.ny, field.nx))
    tips = tip_surface(surface_of(solids.plane(steep, 0.0)), bit, grid)
    free = np.ones((5, 5), dtype=np.bool_)
    free[2, 2] = False
    ice = HeightField(grid=field, heights=heights)
    matters = np.ones(heights.shape, dtype=np.bool_)
    matter = Matter(ice=ice, matters=matters, tops=tops_of(inf), profile=cutting_end(bit))
    need = need_for(tips, matter, free)
    asked = need.bite[free]
    # samples lie r / 7 apart: one within 0.22 mm of the contact, where the layer is that much
    # less thick: less than d^2 / 2 r, on the slope d / cos b
    off = (3.0 / 7 / sqrt(2)) ** 2 / 6.0 / cos(radians(slope)) ** 2
    assert asked.max() <= thick + off + 1e-6
    assert asked.min() >= thick - off
    assert (need.depth[free] >= upright - 2 * off / cos(radians(slope))).all()
    assert need.bite[2, 2] == 0.0


def test_a_bit_is_needed_only_for_ice_that_matters() -> None:
    """A level layer 2 mm thick that matters to the right of x = 0 alone; a flat bit of 6 mm.

    Its bite is 2 where some of its cells matter and else nothing; its depth is 2 all over.
    """
    grid, field = Grid(-6.0, 0.0, 1.0, 13, 1), Grid(-10.0, -4.0, 0.1, 201, 81)
    matters = np.broadcast_to(field.x > 0.0, (field.ny, field.nx))
    matter = Matter(
        ice=HeightField(grid=field, heights=np.full((field.ny, field.nx), 2.0)),
        matters=matters,
        tops=tops_of(2.0),
        profile=cutting_end(make_bit("flat", 6.0)),
    )
    tips = HeightField(grid=grid, heights=np.zeros((1, 13)))
    need = need_for(tips, matter, np.ones((1, 13), dtype=np.bool_))
    points = np.column_stack([grid.x, np.zeros(13), np.zeros(13)])
    np.testing.assert_array_equal(matter.bite(points), need.bite[0])
    # samples lie r / 7 apart
    assert (need.bite[0, grid.x >= -3.0 + 3.0 / 7 * sqrt(2)] == 2.0).all()
    assert (need.bite[0, grid.x <= -3.0] == 0.0).all()
    assert (need.depth == 2.0).all()


def test_rows_lie_closer_than_a_stepover_by_the_cosine_of_30_degrees() -> None:
    assert pytest.approx(cos(radians(30.0))) == CLOSER
    assert pytest.approx(tan(radians(30.0))) == TILTED
