"""The ice as it stands, from above, against all its cells: on the safe side everywhere."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, HeightField, cells
from icecam.geometry.profile import Cylinder, cutting_end
from icecam.kernels.profile import Profile
from icecam.paths.pieces import pieces_of
from icecam.paths.standing import (
    BESIDE_MM,
    COARSE_MM,
    FINER_MM,
    HALF_DIAGONAL,
    Standing,
    coarse,
    landing,
    lowest_for,
    parts_above,
    spread,
    travel,
    widened,
)
from icecam.paths.toolpath import RAPID
from icecam.prove.carving import carve
from tests.geometry.bits import BITS, solid_of
from tests.kernels.grids import profile_of
from tests.paths.scenes import FLAT, highest_within, linked
from tests.reference.profile import Solid
from tests.reference.standing import travel_height

Floats = NDArray[np.float64]
CELL_MM = 0.5
steady = settings(deadline=None, derandomize=True, max_examples=30)


_fields = st.tuples(st.integers(4, 17), st.integers(4, 17), st.integers(0, 10**6))


@steady
@given(_fields, st.floats(0.5, 4.0))
def test_coarse_ice_is_the_greatest_of_its_squares(
    field: tuple[int, int, int], side: float
) -> None:
    """By definition: each cell lies in the square nearest to it, and the greatest stands there."""
    ny, nx, seed = field
    grid = cells((nx * 0.5, ny * 0.5), 0.5)
    heights = np.random.default_rng(seed).uniform(0, 9, (ny, nx))
    found = coarse(HeightField(grid=grid, heights=heights), side)
    expected = np.full(found.heights.shape, -inf)
    for j, y in enumerate(grid.y):
        for i, x in enumerate(grid.x):
            row = int(np.floor(y / found.grid.pitch))
            column = int(np.floor(x / found.grid.pitch))
            expected[row, column] = max(expected[row, column], heights[j, i])
            at = found.grid.nearest(np.array([x]), np.array([y]))
            assert (int(at[0][0]), int(at[1][0])) == (row, column)
    np.testing.assert_array_equal(found.heights, expected)


@steady
@given(_fields, st.floats(0.5, 6.0))
def test_answers_of_coarse_ice_are_on_the_safe_side(
    field: tuple[int, int, int], radius: float
) -> None:
    """Against all cells within the radius, for places anywhere in a square, and ways between."""
    ny, nx, seed = field
    rng = np.random.default_rng(seed)
    fine = HeightField(grid=cells((nx * 0.5, ny * 0.5), 0.5), heights=rng.uniform(0, 9, (ny, nx)))
    standing = coarse(fine)
    wide = spread(standing, radius)
    part = Cylinder("shank", radius, 3.0)
    lowest = lowest_for(standing, (part,))
    bit = parts_above((Cylinder("shank", radius, 0.0), Cylinder("collet nut", radius + 2.0, 4.0)))
    for x, y in rng.uniform([0, 0], [nx * 0.5, ny * 0.5], (10, 2)):
        j, i = standing.grid.nearest(np.array([x]), np.array([y]))
        assert wide[j[0], i[0]] >= highest_within(fine, x, y, radius)
        assert lowest[j[0], i[0]] >= highest_within(fine, x, y, radius + BESIDE_MM) - 3.0
        far = rng.uniform([0, 0], [nx * 0.5, ny * 0.5])
        asked = travel(standing, bit, np.array([[x, y]]), far[None])[0]
        for u, v in np.linspace([x, y], far, 12):
            assert asked >= highest_within(fine, u, v, radius)
            assert asked >= highest_within(fine, u, v, radius + 2.0) - 4.0


def test_widened_ice_is_the_same_with_open_air_round_it() -> None:
    grid = Grid(1.0, 2.0, 0.5, 3, 2)
    found = widened(HeightField(grid=grid, heights=np.arange(6.0).reshape(2, 3)), 1.2)
    assert found.grid == Grid(-0.5, 0.5, 0.5, 9, 8)
    np.testing.assert_array_equal(found.heights[3:5, 3:6], np.arange(6.0).reshape(2, 3))
    assert np.isneginf(found.heights).sum() == 72 - 6


# Asked for one bit


def _flat_end(part: Cylinder) -> Solid:
    return Solid(flat=part.radius, corner=0.0, taper=0.0, radius=part.radius)


def _by_twin(
    ice: HeightField, a: Floats, b: Floats, parts: list[tuple[Solid, float]], slack: float = 0.0
) -> float:
    return travel_height(ice.heights, ice.grid.x, ice.grid.y, a[:2], b[:2], parts, slack)


def _asked(seed: int, name: str) -> tuple[Standing, Solid, list[tuple[Solid, float]]]:
    """Rough ice with holes, a bit, and what stands over its cutting end."""
    rng = np.random.default_rng(seed)
    grid = cells((14.0, 11.0), CELL_MM)
    heights = rng.uniform(0.0, 9.0, (grid.ny, grid.nx))
    heights[rng.random(heights.shape) < 0.2] = -inf
    above = (Cylinder("shank", 1.0, 3.0), Cylinder("collet nut", 4.0, 6.0))
    solid = solid_of(BITS[name])
    standing = Standing(
        ice=HeightField(grid=grid, heights=heights), cutting=profile_of(solid),
        above=parts_above(above),
    )  # fmt: skip
    return standing, solid, [(_flat_end(part), part.base) for part in above]


_seeds = st.integers(0, 10_000)
_names = st.sampled_from(sorted(BITS))


@steady
@given(_seeds, _names)
def test_ways_are_clear_of_all_cells_and_no_higher_than_squares_call_for(
    seed: int, name: str
) -> None:
    """By the slow twin: no lower than over all cells, no higher than with them a diagonal nearer.

    A square's greatest height may stand half its diagonal from the cell that has it, and half a
    diagonal more is kept: squares of 1 mm below the cutting end, of 2 mm below what is over it.
    """
    standing, solid, above = _asked(seed, name)
    rng = np.random.default_rng(seed + 1)
    a, b = rng.uniform(-2.0, 15.0, (2, 6, 3))
    found = standing.way(a, b)
    for n in range(6):
        low = _by_twin(standing.ice, a[n], b[n], [(solid, 0.0), *above])
        high = max(
            _by_twin(standing.ice, a[n], b[n], [(solid, 0.0)], 2 * HALF_DIAGONAL * FINER_MM),
            _by_twin(standing.ice, a[n], b[n], above, 2 * HALF_DIAGONAL * COARSE_MM),
        )
        assert low - 1e-9 <= found[n] <= high + 1e-9


@steady
@given(_seeds, _names)
def test_a_bit_comes_down_on_the_cells_themselves(seed: int, name: str) -> None:
    """By the slow twin: the cutting end, 0.02 mm to either side; what is over it as on ways.

    The text rounds to 0.001 in at the coarsest: beside an upright wall that may be all its height.
    """
    standing, solid, above = _asked(seed, name)
    points = np.random.default_rng(seed + 2).uniform(-2.0, 15.0, (8, 3))
    found = standing.down(points)
    exact = landing(standing.ice, standing.cutting, points)
    for n, point in enumerate(points):
        cutting = _by_twin(standing.ice, point, point, [(solid, 0.0)], 0.02)
        assert exact[n] == pytest.approx(cutting, abs=1e-6)
        low = max(cutting, _by_twin(standing.ice, point, point, above))
        high = _by_twin(standing.ice, point, point, above, 2 * HALF_DIAGONAL * COARSE_MM)
        assert low - 1e-6 <= found[n] <= max(cutting, high) + 1e-6


def test_a_bit_with_nothing_over_it_asks_for_its_cutting_end_alone() -> None:
    """By hand: level ice at 4, and nothing at all 20 mm beside it."""
    grid = cells((6.0, 6.0), CELL_MM)
    ice = HeightField(grid=grid, heights=np.full((grid.ny, grid.nx), 4.0))
    standing = Standing(ice=ice, cutting=profile_of(solid_of(BITS["flat"])), above=())
    points = np.array([[3.0, 3.0], [26.0, 3.0]])
    np.testing.assert_array_equal(standing.down(points), [4.0, -inf])
    np.testing.assert_array_equal(standing.way(points, points), [4.0, -inf])
    np.testing.assert_array_equal(standing.way(points, points[::-1]), [4.0, 4.0])


@pytest.mark.parametrize(("beside", "counts"), [(0.001, True), (0.019, True), (0.021, False)])
def test_a_column_just_beside_the_bit_counts(beside: float, counts: bool) -> None:
    """Ice 9 mm high along x = 3.25, by hand: a flat bit of 3 mm beside it comes down on top."""
    ice, cutting = _column()
    point = np.array([[3.25 - 1.5 - beside, 3.25]])
    assert landing(ice, cutting, point)[0] == (9.0 if counts else 4.0)


@pytest.mark.parametrize("beside", [0.0002, 0.0004])
def test_a_rapid_down_beside_a_column_is_clear_when_the_text_rounds(beside: float) -> None:
    """Text of 0.001 mm moves the bit by up to half of that (definition), here into the ice."""
    ice, cutting = _column()
    line = np.array([[3.25 - 1.5 - beside, 3.25, 3.5], [1.0, 3.25, 3.5]])
    standing = Standing(ice=ice, cutting=cutting, above=())
    path = linked(
        pieces_of([line]), standing, lambda points: np.full(len(points), 3.5),
        lambda points: np.ones(len(points), dtype=np.bool_),
    )  # fmt: skip
    written = replace(path, start=path.start.round(3), ends=path.ends.round(3))
    assert written.ends[:, 0].max() == 1.75 > path.ends[:, 0].max()
    assert (written.kind == RAPID).sum() >= 2
    carved = carve(ice, written, cutting)
    assert carved.rapid_depth.max() == 0.0
    # what it comes down on is cut instead
    assert carved.ice.heights[:, ice.grid.x == 3.25].min() == 3.5


def _column() -> tuple[HeightField, Profile]:
    """Level ice at 4 mm with a wall one cell thin and 9 mm high, and a flat bit of 3 mm."""
    grid = cells((6.0, 6.0), CELL_MM)
    heights = np.full((grid.ny, grid.nx), 4.0)
    heights[:, grid.x == 3.25] = 9.0
    flat = replace(FLAT, diameter=3.0, shank=3.0)
    return HeightField(grid=grid, heights=heights), cutting_end(flat)


@settings(max_examples=40)
@given(st.integers(1, 30), st.integers(1, 30), st.floats(0.0, 40.0), st.integers(0, 2**31))
def test_greatest_within_a_circle(ny: int, nx: int, radius: float, seed: int) -> None:
    """Against scipy's filter with the circle as its footprint."""
    rng = np.random.default_rng(seed)
    heights = rng.normal(size=(ny, nx))
    heights[rng.random((ny, nx)) < 0.3] = -np.inf
    reach = radius / 2.0 + 2 * HALF_DIAGONAL
    size = int(np.ceil(reach))
    y, x = np.ogrid[-size : size + 1, -size : size + 1]
    circle = x * x + y * y <= reach * reach
    expected = ndimage.maximum_filter(heights, footprint=circle, mode="constant", cval=-np.inf)
    found = spread(HeightField(grid=Grid(0.0, 0.0, 2.0, nx, ny), heights=heights), radius)
    np.testing.assert_array_equal(found, expected)
