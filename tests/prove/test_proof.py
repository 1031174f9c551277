"""Gouges planted in sculptures of known shape, and ice left on cases worked out by hand."""

from dataclasses import replace
from math import cos, hypot, pi, radians, sin, sqrt
from typing import Final

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.drop import Surface, parts_of, sculpture_heights, surface_of, tip_heights
from icecam.geometry.field import Grid, HeightField
from icecam.geometry.profile import cutting_end
from icecam.prove.carving import carve
from icecam.prove.proof import (
    GOUGE_MM,
    Gouge,
    closed_by,
    deepest_gouge,
    ice_left,
    slope_weight,
    thickness,
)
from tests.geometry import solids
from tests.geometry.bits import BITS, solid_of
from tests.prove.moves import block, cut, path_of, visits
from tests.reference import closing as twin

Floats = NDArray[np.float64]

MORE: Final = 0.026
"""mm that `deepest_gouge` may say too much while it says less than 0.1, by its docstring."""
GRID: Final = Grid(-3.05, -3.05, 0.1, 62, 62)
steady = settings(deadline=None, derandomize=True, max_examples=60)


def prism(corners: Floats, top: float, bottom: float = 0.0) -> Floats:
    """Return top and upright walls of a prism over a convex outline (n, 2), as triangles."""
    high = np.column_stack([corners, np.full(len(corners), top)])
    low = np.column_stack([corners, np.full(len(corners), bottom)])
    lid = [[high[0], high[k], high[k + 1]] for k in range(1, len(corners) - 1)]
    around = list(zip(range(len(corners)), [*range(1, len(corners)), 0], strict=True))
    walls = [[low[a], low[b], high[b]] for a, b in around]
    walls += [[low[a], high[b], high[a]] for a, b in around]
    return np.array(lid + walls)


def box(half: float, top: float, turned: float = 0.0) -> Floats:
    """Return a square prism about the origin, turned by degrees against the clock."""
    angle = radians(turned) + pi / 4 + pi / 2 * np.arange(4)
    return prism(half * sqrt(2.0) * np.stack([np.cos(angle), np.sin(angle)], axis=1), top)


def planted(surface: Surface, grid: Grid, at: tuple[float, float], z: float) -> Gouge:
    """Lower one cell of ice that is cut exactly to the sculpture; ask for the deepest gouge."""
    wanted = sculpture_heights(surface, grid)
    heights = np.maximum(wanted.heights, 0.0)
    i, j = (round((value - low) / grid.pitch) for value, low in zip(at, grid[:2], strict=True))
    assert z < wanted.heights[j, i]
    heights[j, i] = z
    return deepest_gouge(HeightField(grid=grid, heights=heights), wanted, surface)


def within_bound(found: float, depth: float) -> bool:
    """Return whether a figure is what the docstring of `deepest_gouge` allows."""
    return depth - 1e-9 <= found and (found >= 0.1 or found <= depth + MORE)


@pytest.mark.parametrize("depth", [0.02, 0.051, 0.3, 1.7])
def test_a_gouge_in_a_flat_top(depth: float) -> None:
    """By hand: far from every edge the shortest way out is straight up."""
    found = planted(surface_of(box(20.0, 30.0)), GRID, (0.05, 0.15), 30.0 - depth)
    assert found.depth == pytest.approx(depth, abs=1e-9)
    assert found.at == pytest.approx((0.05, 0.15, 30.0 - depth))


def test_cuts_of_less_than_a_hundredth_count_as_none() -> None:
    """By the docstring: a fifth of what is refused is rounding."""
    found = planted(surface_of(box(20.0, 30.0)), GRID, (0.05, 0.15), 30.0 - GOUGE_MM / 5 + 1e-4)
    assert found == Gouge(depth=0.0, at=None)


@steady
@given(st.floats(0.011, 0.2), st.floats(0.0, 90.0), st.floats(0.5, 25.0))
@example(0.0497, 7.5, 5.0)
@example(0.05, 0.0, 5.0)
@example(0.047, 22.5, 5.0)
@example(0.075, 45.0, 5.0)
def test_a_gouge_in_an_upright_wall(depth: float, turned: float, under: float) -> None:
    """By geometry: a place `depth` behind a wall and far under its top is `depth` from clear."""
    across = radians(turned)
    shift = (8.0 - depth) * np.array([cos(across), sin(across)])
    triangles = box(8.0, 30.0, turned) - [*shift, 0.0]
    grid = Grid(-3.0, -3.0, 0.5, 13, 13)
    found = planted(surface_of(triangles), grid, (0.0, 0.0), 30.0 - under)
    assert within_bound(found.depth, depth)
    assert found.depth <= 0.31


@steady
@given(st.floats(0.011, 0.09), st.floats(0.0, 85.0), st.floats(0.0, 360.0))
def test_a_gouge_in_a_slope(depth: float, slope: float, turned: float) -> None:
    """By geometry: under a plane the way out is along its normal, cos(slope) of upright."""
    steep, to = np.tan(radians(slope)), radians(turned)
    surface = surface_of(solids.plane(steep * cos(to), steep * sin(to), half=9.0))
    upright = depth / cos(radians(slope))
    found = planted(surface, Grid(-1.0, -1.0, 0.5, 5, 5), (0.0, 0.0), -upright)
    assert depth - 1e-9 <= found.depth <= depth + MORE


@pytest.mark.parametrize("depth", [0.03, 0.06, 0.09, 0.5])
def test_a_gouge_through_an_overhanging_rim(depth: float) -> None:
    """By geometry: a cut down through the rim of a mushroom's cap, `depth` in from its edge.

    The cap's edge is a circle of radius 10 in 720 chords, which lie up to 0.0001 inside it.
    """
    r = np.array([0.0, 10.0, 10.0, 3.0, 3.0])
    mushroom = solids.revolved(r, np.array([20.0, 20.0, 16.0, 16.0, 0.0]), 720)
    grid = Grid(10.0 - depth - 5.0, -3.0, 0.5, 20, 13)
    found = planted(surface_of(mushroom), grid, (10.0 - depth, 0.0), 10.0)
    assert within_bound(found.depth, depth - 1e-4)
    assert found.at == pytest.approx((10.0 - depth, 0.0, 10.0))


def test_a_gouge_at_an_edge_goes_the_shorter_way() -> None:
    """By hand: 0.39 behind a wall and 0.3 under its top it is 0.3; 0.19 behind, it is that.

    The search looks at 0.2 next.
    """
    surface = surface_of(box(1.99, 30.0))
    grid = Grid(-3.0, -3.0, 0.2, 31, 31)
    assert planted(surface, grid, (1.6, 0.0), 29.7).depth == pytest.approx(0.3)
    assert planted(surface, grid, (1.8, 0.0), 29.7).depth == pytest.approx(0.2, abs=0.01)


def test_the_deepest_of_many_gouges_is_found() -> None:
    """By hand: 5000 cuts between 0.02 and 0.3 in a top, one of 0.41, the steep wall's is less."""
    surface = surface_of(box(4.0, 30.0))
    grid = Grid(-5.0, -5.0, 0.1, 101, 101)
    wanted = sculpture_heights(surface, grid)
    rng = np.random.default_rng(12)
    gone = rng.uniform(0.02, 0.3, wanted.heights.shape)
    # Round the top's middle, away from the walls, so that up is the shortest way.
    inner = (np.abs(grid.x)[None, :] < 3.5) & (np.abs(grid.y)[:, None] < 3.5)
    heights = np.where(inner, wanted.heights - gone, np.maximum(wanted.heights, 0.0))
    heights[50, 88], heights[40, 60] = 2.0, 29.59
    found = deepest_gouge(HeightField(grid=grid, heights=heights), wanted, surface)
    assert found.depth == pytest.approx(0.41)
    assert found.at == pytest.approx((1.0, -1.0, 29.59))


def test_the_deepest_is_found_behind_thousands_that_may_be_deeper() -> None:
    """By hand: a wall 1100 mm long, both faces cut 0.29 deep, and its top 0.41 at one place.

    Going by cells of 0.5 alone, which come first, the faces may be 0.5 deep, the top 0.41.
    """
    outline = np.array([[-550.0, -2.29], [550.0, -2.29], [550.0, 2.29], [-550.0, 2.29]])
    surface = surface_of(prism(outline, 30.0))
    grid = Grid(-600.0, -5.0, 0.5, 2401, 21)
    wanted = sculpture_heights(surface, grid)
    heights = np.maximum(wanted.heights, 0.0)
    faces = (np.abs(np.abs(grid.y) - 2.0) < 0.1)[:, None] & (np.abs(grid.x) < 549.0)[None, :]
    heights[faces] = 20.0
    heights[10, 1200] = 29.59
    assert faces.sum() > 4000
    found = deepest_gouge(HeightField(grid=grid, heights=heights), wanted, surface)
    assert found.depth == pytest.approx(0.41)
    assert found.at == pytest.approx((0.0, 0.0, 29.59))


@pytest.mark.parametrize("name", BITS)
def test_no_gouge_where_bits_rest_on_a_hemisphere(name: str) -> None:
    """By definition of the tip surface: a bit resting on the sculpture touches it and cuts none.

    Contacts all over a hemisphere of radius 12, among them steep ones.
    """
    surface = surface_of(solids.hemisphere(12.0, 2.0))
    where = np.random.default_rng(6).uniform(-13.0, 13.0, (400, 2))
    tips = tip_heights(surface, parts_of(BITS[name]), where, lowest=0.0)
    ice = block(32.0, 32.0, 14.0, 0.2)
    points, cuts = visits(np.column_stack([where, tips]), 40.0)
    left = carve(ice, path_of(points, cuts), cutting_end(BITS[name])).ice
    wanted = sculpture_heights(surface, left.grid)
    assert float((wanted.heights - left.heights).max()) < 1e-6
    assert np.median((left.heights - wanted.heights)[np.isfinite(wanted.heights)]) < 1.0
    assert deepest_gouge(left, wanted, surface) == Gouge(depth=0.0, at=None)


@pytest.mark.parametrize("lean", [0.0, 30.0, 60.0, 85.0])
@pytest.mark.parametrize("depth", [0.04, 0.06])
def test_a_ball_pressed_into_a_sphere_is_measured(lean: float, depth: float) -> None:
    """By geometry: centres R + r - d apart, the ball reaches d into the sphere.

    R 20, r 3. Cells of 0.05 miss the deepest place by up to 0.035 sideways, on a slope by more
    along it: d less (0.035 / cos)^2 / 2 (1 / R + 1 / r). Facets of 0.5 deg lie up to
    20 (1 - cos 0.25 deg) (2 ways) = 0.0004 inside.
    """
    surface = surface_of(solids.hemisphere(20.0, 0.5))
    to = radians(lean)
    far = 23.0 - depth
    tip = (far * sin(to), 0.0, far * cos(to) - 3.0)
    touch = 20.0 * sin(to)
    # Half a cell off, as a cell is likely to lie.
    grid = Grid(touch - 1.5 + 0.02, -1.0 + 0.02, 0.05, 61, 41)
    ice = HeightField(grid=grid, heights=np.full((41, 61), 30.0))
    left = cut(ice, BITS["ball"], [(tip[0], 0.0, 40.0), tip]).ice
    found = deepest_gouge(left, sculpture_heights(surface, grid), surface)
    missed = (0.035 / cos(to)) ** 2 / 2 * (1 / 20 + 1 / 3) + 4e-4
    assert depth - missed <= found.depth <= depth + MORE
    assert found.at is not None
    assert hypot(found.at[0] - touch, found.at[1]) < 0.6


def test_a_slot_cut_over_a_table_is_found_by_its_place() -> None:
    """By hand: a ball passes 0.3 under the top of a table 8 wide, along y = 1."""
    surface = surface_of(box(4.0, 10.0))
    left = cut(block(20.0, 20.0, 12.0, 0.2), BITS["ball"], [(-9.0, 1.1, 9.7), (9.0, 1.1, 9.7)]).ice
    wanted = sculpture_heights(surface, left.grid)
    found = deepest_gouge(left, wanted, surface)
    assert found.depth == pytest.approx(0.3)
    assert found.at is not None
    assert found.at[1:] == pytest.approx((1.1, 9.7))
    assert abs(found.at[0]) < 4.0


LEVEL: Final = HeightField(grid=Grid(1.0, 2.0, 0.5, 20, 10), heights=np.full((10, 20), 10.0))


def test_ice_left_on_a_level_top() -> None:
    """By hand: of 200 equal cells 196 carry 0.05 mm, three 1 mm, one 3 mm.

    98 % within 0.1 mm; the 198th by thickness, where 99 % of the area is reached, has 1 mm.
    """
    heights = np.full((10, 20), 10.05)
    heights[2, 3] = heights[7, 7] = heights[9, 19] = 11.0
    heights[4, 12] = 13.0
    ice = HeightField(grid=LEVEL.grid, heights=heights)
    found = ice_left(ice, LEVEL, LEVEL.heights, 0.1)
    assert found.within == pytest.approx(0.98)
    assert found.p99 == pytest.approx(1.0)
    assert found.worst == pytest.approx(3.0)
    assert found.worst_at == pytest.approx((1.0 + 12 * 0.5, 2.0 + 4 * 0.5, 13.0))
    assert found.unreachable == 0.0


def test_unreachable_ice_stands_apart() -> None:
    """By hand: 30 of 200 cells no bit can bring below 2 mm; what lies on them does not count.

    Of the 170 others, 17 carry 0.5 mm, so 90 % lie within 0.1.
    """
    heights, reach = np.full((10, 20), 10.0), np.full((10, 20), 10.02)
    reach[:, :3], heights[:, :3] = 12.0, 17.0
    heights[:, 5:6], heights[:7, 6] = 10.5, 10.5
    ice = HeightField(grid=LEVEL.grid, heights=heights)
    found = ice_left(ice, LEVEL, reach, 0.1)
    assert found.unreachable == pytest.approx(0.15)
    assert found.within == pytest.approx(0.9)
    assert found.worst == found.p99 == pytest.approx(0.5)
    nothing = ice_left(ice, LEVEL, heights + 1.0, 0.1)
    assert nothing.unreachable == 1.0
    assert nothing.worst == pytest.approx(7.0)


@pytest.mark.parametrize("turned", [False, True])
def test_slopes_weigh_by_their_area(turned: bool) -> None:
    """By hand: ten level columns, clean, and ten that rise 3 in 4 under 0.5 mm of ice upright.

    Seen from above they are alike, but the slope has 5/4 the area, and its ice is 0.4 thick:
    10 / (10 + 12.5) lie within 0.2. Open air on both sides; the last column is a crest, whose ice
    counts upright, as 0.5, and it is more than a hundredth of all.
    """
    grid = Grid(0.0, 0.0, 0.1, 6, 22) if turned else Grid(0.0, 0.0, 0.1, 22, 6)
    rise = np.concatenate([[-np.inf], np.zeros(10), 0.075 * np.arange(1, 11), [-np.inf]])
    over = np.tile(np.where(np.arange(22) > 10, 0.5, 0.0), (6, 1))
    under = np.tile(rise, (6, 1))
    if turned:
        under, over = under.T, over.T
    wanted = HeightField(grid=grid, heights=under)
    ice = HeightField(grid=grid, heights=np.maximum(under, 0.0) + over)
    found = ice_left(ice, wanted, wanted.heights, 0.2)
    assert found.within == pytest.approx(10 / 22.5)
    assert found.worst == pytest.approx(0.5)
    assert found.p99 == pytest.approx(0.5)
    assert found.worst_at[1 if turned else 0] > 1.05
    assert np.nanmedian(thickness(ice.heights, wanted)[over > 0.0]) == pytest.approx(0.4)
    assert np.isnan(thickness(ice.heights, wanted)[under == -np.inf]).all()


@steady
@given(st.integers(0, 2**31), st.sampled_from([0.0, 0.1, 500.0]))
def test_thickness_that_a_hundredth_of_the_area_exceeds(seed: int, rise: float) -> None:
    """By definition, all cells sorted; with steep ground under thin ice no few cells hold it."""
    rng = np.random.default_rng(seed)
    grid = Grid(0.0, 0.0, 0.5, 30, 20)
    heights = np.full((20, 30), 10.0)
    heights[:, :15] += rise * np.arange(15)
    wanted = HeightField(grid=grid, heights=heights)
    ice = heights + rng.uniform(0.0, 0.2, heights.shape)
    ice[:, 16:] += rng.uniform(0.0, 2.0, (20, 14)).round(1)
    found = ice_left(HeightField(grid=grid, heights=ice), wanted, heights, 0.1)
    thick = thickness(ice, wanted).ravel()
    area = slope_weight(heights, grid.pitch).ravel()
    order = np.argsort(thick, kind="stable")
    share = np.cumsum(area[order]) / area.sum()
    at = thick[order][np.searchsorted(share, [0.99 - 1e-9, 0.99 + 1e-9]).clip(max=599)]
    assert found.p99 in at


def groove(half: float, pitch: float) -> HeightField:
    y = pitch * np.arange(-round(half / pitch), round(half / pitch) + 1)
    grid = Grid(0.0, float(y[0]), pitch, 9, len(y))
    return HeightField(grid=grid, heights=np.repeat(np.abs(y)[:, None], 9, axis=1) + 20.0)


def test_what_a_ball_cannot_reach_in_a_groove() -> None:
    """By hand: a ball r 3 in a V of 45 degrees rests r (sqrt 2 - 1) over its bottom line.

    At y, up to where it touches at r / sqrt 2, it leaves 3 sqrt 2 - sqrt(9 - y^2) - y upright,
    0.707 of that along the normal. More than 0.3 of it lies where y + sqrt(9 - y^2) < 2.7 sqrt 2,
    that is y < 0.9846; of a groove 5 to each side that is 0.197. Thickest at the bottom:
    3 - 3 / sqrt 2.
    """
    wanted = groove(5.0, 0.05)
    wide = groove(9.0, 0.05)
    tips = replace(wide, heights=wide.heights + 3.0 * (sqrt(2.0) - 1.0))
    start = np.full(wanted.heights.shape, np.inf)
    reach = closed_by(start, wanted, tips, cutting_end(BITS["ball"]), 0.0)
    assert (start == np.inf).all()
    y = np.abs(wanted.grid.y)
    expected = np.where(y < 3 / sqrt(2), 3 * sqrt(2) - np.sqrt(np.maximum(9 - y * y, 0)), y) + 20.0
    np.testing.assert_allclose(reach[:, 4], expected, atol=3e-3)
    ice = replace(wanted, heights=reach)
    found = ice_left(ice, wanted, reach, 0.3)
    assert found.unreachable == pytest.approx(0.9846 / 5.0, abs=0.006)
    assert found.within == 1.0
    assert found.worst <= 0.3
    whole = ice_left(ice, wanted, wanted.heights, 0.3)
    assert whole.worst == pytest.approx(3.0 - 3.0 / sqrt(2.0), abs=1e-6)
    assert whole.worst_at == pytest.approx((whole.worst_at[0], 0.0, 20 + 3 * (sqrt(2) - 1)))
    assert whole.within == pytest.approx(1.0 - 0.9846 / 5.0, abs=0.006)


@pytest.mark.parametrize("name", BITS)
def test_closed_by_bits_on_another_grid(name: str) -> None:
    """The slow twin sets the bit down at every tip; cells without sculpture stay as they are."""
    rng = np.random.default_rng(15)
    grid, tip_grid = Grid(0.1, -0.3, 0.31, 40, 33), Grid(-2.2, -1.7, 0.83, 19, 17)
    tips = rng.uniform(2.0, 7.0, (17, 19))
    tips[rng.uniform(size=tips.shape) < 0.3] = np.inf
    heights = np.where(rng.uniform(size=(33, 40)) < 0.2, -np.inf, 1.0)
    wanted = HeightField(grid=grid, heights=heights)
    before = np.where(np.isfinite(heights), 5.0, np.nan)
    field = HeightField(grid=tip_grid, heights=tips)
    found = closed_by(before, wanted, field, cutting_end(BITS[name]), 0.0)
    expected = np.minimum(
        twin.closed(grid.x, grid.y, tips, tip_grid.x, tip_grid.y, solid_of(BITS[name])), before
    )
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_thickness_on_a_tilted_plane() -> None:
    """By geometry: 0.5 upright on a slope 3 in 4 is 0.4 thick, edges of the grid aside."""
    grid = Grid(0.0, 0.0, 0.1, 30, 25)
    wanted = HeightField(grid=grid, heights=np.tile(0.075 * np.arange(30), (25, 1)))
    found = thickness(wanted.heights + 0.5, wanted)
    np.testing.assert_allclose(found[:, 1:-1], 0.4, atol=1e-12)
