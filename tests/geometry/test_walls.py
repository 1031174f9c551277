"""The thinnest walls: slow twin, forms whose thickness is known, polygons by shapely."""

from collections.abc import Callable
from math import atan, ceil, cos, degrees, inf, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray
from scipy import ndimage
from shapely import LineString, Point, Polygon

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.walls import Walls, walls_of
from tests.kernels.grids import steady
from tests.reference import walls as twin

Floats = NDArray[np.float64]
Form = Callable[[Floats, Floats], Floats]

CELL = 0.5
SIDE = 40.0
TALL = 60.0
BELOW, ABOVE = (1 + sqrt(2)) * CELL, (2 * sqrt(2) - 1) * CELL
"""How far from the truth a thickness may lie, as `walls_of` says."""

angle = st.floats(0, 180)
shift = st.floats(-0.5, 0.5)


def field(form: Form, *, cell: float = CELL, side: float = SIDE) -> HeightField:
    """Heights of a form over a square with its middle at the origin; -inf where it is not > 0."""
    n = int(side / cell)
    grid = Grid(-side / 2 + cell / 2, -side / 2 + cell / 2, cell, n, n)
    x, y = np.meshgrid(grid.x, grid.y)
    heights = form(x, y)
    return HeightField(grid=grid, heights=np.where(heights > 0, heights, -np.inf))


def prism(shape: shapely.Geometry, top: float = TALL) -> Form:
    return lambda x, y: np.where(shapely.contains_xy(shape, x, y), top, 0.0)


def plate(
    thick: float, turned: float = 0.0, at: tuple[float, float] = (0, 0), long: float = 24.0
) -> Polygon:
    box = shapely.box(-long / 2, -thick / 2, long / 2, thick / 2)
    turned_box = shapely.affinity.rotate(box, turned, origin=(0, 0))
    return shapely.affinity.translate(turned_box, *at)


def one(wanted: HeightField, z: float = 0.0, **settings: float) -> tuple[float, float, Floats]:
    """Thickness, standing height and place at one height."""
    found = walls_of(wanted, np.array([z]), **settings)
    return float(found.thickness[0]), float(found.stands[0]), found.at[0]


def near(truth: float, *, below: float = BELOW, above: float = ABOVE) -> object:
    """Equal to whatever lies within the stated bound."""
    return pytest.approx(truth + (above - below) / 2, abs=(above + below) / 2 + 1e-9)


rough = arrays.arrays(
    np.float64,
    st.tuples(st.integers(1, 9), st.integers(1, 11)),
    elements=st.sampled_from([-np.inf, np.nan, 1.0, 3.0, 6.0, 9.0, 20.0]),
)
blocks = st.lists(st.tuples(*[st.integers(0, 11)] * 4, st.integers(1, 20)), min_size=1, max_size=5)


def built(boxes: list[tuple[int, int, int, int, int]]) -> Floats:
    heights = np.full((12, 12), -np.inf)
    for j, i, v, u, top in boxes:
        part = heights[min(j, v) : max(j, v) + 1, min(i, u) : max(i, u) + 1]
        np.maximum(part, top, out=part)
    return heights


def check_by_twin(
    heights: Floats, z: float, cell: float, least: float, speck: int, thickest: float
) -> None:
    """Lengths but `cell` in cells."""
    ny, nx = heights.shape
    wanted = HeightField(grid=Grid(3.0, -2.0, cell, nx, ny), heights=heights * cell)
    limits = {"least": least * cell, "speck": speck * cell, "thickest": thickest * cell}
    found = walls_of(wanted, np.array([z * cell]), **limits)
    expected = twin.thinnest(heights, z, least, speck, (thickest + 1) / 2)
    if not expected:
        assert found.thickness[0] == inf
        assert np.isnan([*found.at[0], found.stands[0]]).all()
        return
    assert found.thickness[0] == pytest.approx(expected[0].thickness * cell, rel=1e-12)
    told = ((*found.at[0], found.stands[0]),)
    places = [(3 + w.centre[1] * cell, -2 + w.centre[0] * cell, w.stands * cell) for w in expected]
    assert np.isclose(told, places, rtol=0, atol=1e-9).all(axis=1).any()


@steady
@given(
    rough | blocks.map(built),
    st.sampled_from([0.0, 1.0, 2.5, 9.0]),
    st.sampled_from([0.25, 1.0]),
    st.sampled_from([1.0, 2.0, 3.0, 5.0]),
    st.integers(1, 4),
    st.sampled_from([2.0, 5.0, 100.0]),
)
def test_twin(
    heights: Floats, z: float, cell: float, least: float, speck: int, thickest: float
) -> None:
    """Against every disc of every place, from the definition."""
    check_by_twin(heights, z, cell, least, speck, thickest)


@pytest.mark.parametrize("seed", range(150))
def test_twin_on_blots(seed: int) -> None:
    """Round forms with tops of two heights, the lower one too low for thick walls."""
    rng = np.random.default_rng(seed)
    smooth, tops = (ndimage.gaussian_filter(rng.standard_normal((17, 18)), s) for s in (1.6, 0.8))
    ice = smooth > np.quantile(smooth, rng.choice([0.2, 0.4, 0.6]))
    heights = np.where(ice, np.where(tops > 0, 30.0, rng.choice([2.0, 3.0, 4.0])), -np.inf)
    check_by_twin(heights, 0.0, 0.5, rng.choice([1.0, 3.0]), 2, rng.choice([3.0, 99.0]))


@pytest.mark.parametrize("seed", range(110, 150))
def test_twin_on_grain(seed: int) -> None:
    """Every other cell low: some places are too low where the centre of their disc is not."""
    rng = np.random.default_rng(seed)
    smooth = ndimage.gaussian_filter(rng.standard_normal((17, 18)), 1.6)
    ice = smooth > np.quantile(smooth, rng.choice([0.2, 0.4, 0.6]))
    heights = np.where(ice, np.where(rng.random(ice.shape) < 0.5, 30.0, 2.0), -np.inf)
    check_by_twin(heights, 0.0, 1.0, 3.0, 2, 99.0)


@steady
@given(blocks.map(built), st.integers(1, 3), st.integers(-30, 30), st.integers(-30, 30))
def test_turned_by_right_angles_moved_and_scaled(
    heights: Floats, turns: int, right: int, back: int
) -> None:
    """Thickness turns and moves along, and doubles with all lengths."""
    z, limits = np.array([0.5]), {"least": 3.0, "speck": 2.0, "thickest": 9.0}
    grid = Grid(0.0, 0.0, 1.0, 12, 12)
    found = walls_of(HeightField(grid=grid, heights=heights), z, **limits)
    moved = HeightField(grid=grid._replace(x0=right, y0=back), heights=np.rot90(heights, turns))
    assert walls_of(moved, z, **limits).thickness == found.thickness
    larger = HeightField(grid=grid._replace(pitch=2.0), heights=heights * 2)
    doubled = walls_of(larger, z * 2, **{name: 2 * value for name, value in limits.items()})
    assert doubled.thickness == 2 * found.thickness
    assert np.array_equal(doubled.at, 2 * found.at, equal_nan=True)
    assert np.array_equal(doubled.stands, 2 * found.stands, equal_nan=True)


@steady
@given(st.floats(1.5, 10), angle, shift, shift)
def test_plate_at_any_angle(thick: float, turned: float, right: float, back: float) -> None:
    thickness, stands, at = one(field(prism(plate(thick, turned, (right, back)))))
    assert thickness == near(thick)
    assert stands == TALL
    assert plate(thick, turned, (right, back)).contains(Point(at))


@steady
@given(st.floats(1.0, 10), shift)
def test_plate_along_the_axes(thick: float, back: float) -> None:
    """The narrower bound of walls along the axes."""
    thickness, _, _ = one(field(prism(plate(thick, at=(0, back)))))
    assert thickness == near(thick, below=2 * CELL, above=CELL)


@steady
@given(st.floats(1.5, 5), st.floats(1.3, 2), angle)
def test_thinner_of_two_walls(thick: float, times: float, turned: float) -> None:
    assume(thick * times - thick > BELOW + ABOVE)
    thin = plate(thick, turned, (sin(radians(turned)) * 9, -cos(radians(turned)) * 9))
    other = plate(thick * times, turned, (-sin(radians(turned)) * 7, cos(radians(turned)) * 7))
    thickness, _, at = one(field(prism(thin | other), side=60.0))
    assert thickness == near(thick)
    assert thin.contains(Point(at))


@steady
@given(st.floats(1.5, 5), st.floats(4, 10), shift)
def test_ring(thick: float, inner: float, right: float) -> None:
    middle = Point(right, 0.2)
    ring = middle.buffer(inner + thick, 64) - middle.buffer(inner, 64)
    assert one(field(prism(ring)))[0] == near(thick)


@pytest.mark.parametrize("wide", [3.5, 6.0, 11.0])
def test_post(wide: float) -> None:
    thickness, stands, at = one(field(prism(Point(0, 0).buffer(wide / 2, 64))))
    assert thickness == near(wide)
    assert stands == TALL
    assert np.hypot(*at) <= CELL


@steady
@given(st.floats(0.1, 0.45), st.floats(12, 40))
def test_slender_cone(tangent: float, depth: float) -> None:
    """Half the apex angle's tangent below 1/2: as thick as its section all the way down."""
    assume(5 < 2 * tangent * depth < 30)
    cone = field(lambda x, y: TALL - np.hypot(x, y) / tangent)
    thickness, stands, _ = one(cone, TALL - depth)
    assert thickness == near(2 * tangent * depth)
    assert stands == pytest.approx(depth, abs=CELL / tangent)


@pytest.mark.parametrize("tangent", [0.8, 1.0, 2.0])
def test_broad_cones_and_ridges_are_no_walls(tangent: float) -> None:
    z = np.arange(20.0, TALL, 2.0)
    cone = field(lambda x, y: TALL - np.hypot(x, y) / tangent, side=80.0)
    ridge = field(lambda x, y: (TALL - np.abs(y) / tangent) * (np.abs(x) < 38), side=80.0)
    assert (walls_of(cone, z).thickness == inf).all()
    assert (walls_of(ridge, z).thickness == inf).all()


@steady
@given(st.floats(0.02, 0.3), st.floats(1, 4), st.floats(8, 30), angle)
def test_wall_with_draft(draft: float, top: float, depth: float, turned: float) -> None:
    """Thicker from the crest down, by twice the draft."""
    c, s = cos(radians(turned)), sin(radians(turned))
    thick = top + 2 * draft * depth
    assume(thick < 0.8 * depth)

    def form(x: Floats, y: Floats) -> Floats:
        off, along = np.abs(c * y - s * x), np.abs(c * x + s * y)
        return np.minimum(TALL, TALL - (off - top / 2) / draft) * (along < 17)

    thickness, _, _ = one(field(form), TALL - depth)
    assert thickness == near(thick)


def test_ridge_thin_where_it_is_least_high() -> None:
    """A knife edge counts from where it stands `least` high, not from its crest."""
    ridge = field(lambda x, y: (TALL - np.abs(y) / 0.2) * (np.abs(x) < 15), cell=0.1)
    found = walls_of(ridge, TALL - np.array([2.0, 4.4, 5.6, 10.0]), least=5.0)
    assert (found.thickness[:2] == inf).all()
    assert found.thickness[2:] == pytest.approx([2.24, 4.0], abs=0.25)


@pytest.mark.parametrize("opening", [10.0, 20.0, 35.0])
def test_point_in_plan_thin_where_it_is_least_long(opening: float) -> None:
    """From where no disc with its centre `least` farther in is 1.81 times as large."""
    half, least = radians(opening / 2), 5.0
    point = Polygon([(-30, 0), (25, -55 * tan(half)), (25, 55 * tan(half))])
    thickness, _, _ = one(field(prism(point), cell=0.25, side=64.0), least=least)
    ratio = 1 / (1 - sin(atan(0.5)))
    first = 2 * least * sin(half) / (ratio - 1) / (1 - sin(half))
    # Both the radius that decides where the wall begins and the one found there are off.
    assert thickness == near(first, below=2 * BELOW / 2, above=2 * ABOVE / 2)


def test_thickest_that_is_looked_for() -> None:
    """Also where the place's own disc, of 3.7 mm, is thinner than the one that holds it."""
    wanted = field(prism(plate(6.0)))
    assert one(wanted, thickest=4.9)[0] == inf
    assert one(wanted, thickest=7.0)[0] == near(6.0)
    point = Polygon([(-30, 0), (25, -55 * tan(radians(17.5))), (25, 55 * tan(radians(17.5)))])
    assert one(field(prism(point), cell=0.25, side=64.0), thickest=4.0)[0] == inf


@pytest.mark.parametrize("opening", [65.0, 80.0, 90.0])
@pytest.mark.parametrize("turned", [0.0, 17.0, 45.0])
def test_corners_are_no_walls(opening: float, turned: float) -> None:
    """A rhombus with this corner and the one that goes with it, 36 mm thick and more."""
    wide = 35 * tan(radians(opening / 2))
    rhombus = Polygon([(-35, 0), (0, wide), (35, 0), (0, -wide)])
    wanted = field(prism(shapely.affinity.rotate(rhombus, turned), 200.0), side=90.0)
    assert one(wanted, thickest=20.0)[0] == inf


def test_grain_is_no_wall() -> None:
    """Relief less deep than `least`, grains narrower than `speck`; both count where larger."""
    grooves = field(lambda x, _: np.where(x % 4 < 2, 34.0, 30.0))
    assert one(grooves, 30.5)[0] == inf
    assert one(grooves, 30.5, least=3.0)[0] == near(2.0)
    grains = field(lambda x, y: np.where((x % 5 < 2) & (y % 5 < 2), 20.0, 0.0))
    assert one(grains)[0] == inf
    assert one(grains, speck=1.5)[0] == near(2.0)


def test_wall_on_a_body_counts_above_the_body_only() -> None:
    def form(x: Floats, y: Floats) -> Floats:
        body = 20.0 * ((np.abs(x) < 18) & (np.abs(y) < 18))
        return np.where((np.abs(y) < 1.5) & (np.abs(x) < 15), 35.0, body)

    found = walls_of(field(form), np.array([10.0, 31.0, 25.0, 20.5, 40.0, 19.5]), thickest=20)
    assert found.z.tolist() == [40.0, 31.0, 25.0, 20.5, 19.5, 10.0]
    assert found.thickness[[0, 1, 4, 5]].tolist() == [inf] * 4
    assert found.thickness[2:4] == near(3.0)
    assert found.stands[2:4].tolist() == [10.0, 14.5]


@pytest.mark.parametrize("seed", range(12))
def test_bent_walls_by_shapely(seed: int) -> None:
    """Lines widened by shapely are as thick as they were widened, bends and all."""
    rng = np.random.default_rng(seed)
    thick = rng.uniform(1.5, 5)
    heading = np.cumsum(rng.uniform(-0.7, 0.7, 6)) + rng.uniform(0, 2 * pi)
    steps = 9 * np.column_stack([np.cos(heading), np.sin(heading)])
    line = np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])
    wall = LineString(line - line.mean(axis=0)).buffer(thick / 2, 32)
    thickness, _, at = one(field(prism(wall), side=90.0))
    assert thickness == near(thick)
    assert wall.contains(Point(at))


def _round_polygon(rng: np.random.Generator, size: float) -> Polygon:
    around = (np.arange(9) + rng.uniform(-0.3, 0.3, 9)) * 2 * pi / 9
    out = size * rng.uniform(0.9, 1.1, 9)
    return Polygon(np.column_stack([out * np.cos(around), out * np.sin(around)]))


@pytest.mark.parametrize("seed", range(12))
def test_thick_posts_by_shapely(seed: int) -> None:
    """A post with a polygon as plan is as thick as its largest inscribed circle."""
    rng = np.random.default_rng(seed)
    post = _round_polygon(rng, rng.uniform(3, 12))
    circle = shapely.maximum_inscribed_circle(post, tolerance=1e-3)
    thickness, _, _ = one(field(prism(post)))
    assert thickness == near(2 * circle.length)


@pytest.mark.parametrize("seed", range(20))
def test_disc_fits_into_any_polygon_by_shapely(seed: int) -> None:
    """Where a wall is found, the way to the polygon's edge is half its thickness."""
    rng = np.random.default_rng(seed)
    around = np.sort(rng.uniform(0, 2 * pi, 14))
    out = rng.uniform(3, 24, 14)
    star = Polygon(np.column_stack([out * np.cos(around), out * np.sin(around)]))
    thickness, _, at = one(field(prism(star), cell=0.25, side=50.0))
    assert star.contains(Point(at))
    to_edge = star.exterior.distance(Point(at))
    assert thickness == near(2 * to_edge, below=0.25, above=ABOVE / 2)
    most = 2 * shapely.maximum_inscribed_circle(star, tolerance=1e-3).length
    assert thickness <= most + ABOVE / 2


def test_coarser_cells() -> None:
    """Every so many-th cell is what a field of such cells would hold."""
    wall = prism(plate(6.0, 30.0))
    fine = field(wall, cell=0.25)
    every = HeightField(
        grid=Grid(fine.grid.x0, fine.grid.y0, 0.75, ceil(160 / 3), ceil(160 / 3)),
        heights=fine.heights[::3, ::3],
    )
    for pitch in (0.75, 0.9):
        coarse = walls_of(fine, np.array([0.0]), pitch)
        same = walls_of(every, np.array([0.0]))
        assert coarse.cell == same.cell == 0.75
        assert coarse.thickness == same.thickness == near(6.0, below=2.42 * 0.75, above=1.83 * 0.75)
        assert np.array_equal(coarse.at, same.at)
    assert walls_of(fine, np.array([0.0]), 0.1).cell == 0.25


def test_nothing_stands() -> None:
    bare = HeightField(grid=Grid(0.0, 0.0, 1.0, 3, 2), heights=np.full((2, 3), -np.inf))
    found = walls_of(bare, np.array([1.0, 2.0]))
    assert found.thickness.tolist() == [inf, inf]
    assert np.isnan(found.at).all()
    assert walls_of(bare, np.array([])).z.shape == (0,)


def test_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        walls_of(field(prism(plate(3.0))), np.array([0.0, np.nan]))
    some = np.zeros(2)
    with pytest.raises(ValueError, match="at has shape"):
        Walls(z=some, thickness=some, at=some, stands=some, cell=1.0)


def test_limit_of_corners_is_that_of_ridges() -> None:
    """53 degrees, as said: a wedge as thick as it is long."""
    assert 2 * degrees(atan(0.5)) == pytest.approx(53.13, abs=0.005)
