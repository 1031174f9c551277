"""Tip surfaces against the slow twin, on triangles made up to part them."""

from typing import Final

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.drop import (
    parts_of,
    sculpture_heights,
    surface_of,
    tip_heights,
    tip_surface,
)
from icecam.geometry.field import Grid
from icecam.geometry.profile import make_profile
from tests.geometry import solids
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.reference import drop as twin
from tests.reference.profile import Solid

Floats = NDArray[np.float64]

steady = settings(deadline=None, derandomize=True, max_examples=120)
GAP: Final = 1e-7
"""mm, of radius: whether a bit meets an edge at its very rim is up to rounding."""
SOLIDS: Final = [
    *(solid_of(bit) for bit in BITS.values()),
    *(solid_of(bit).swollen(0.5) for bit in BITS.values()),
]

_whole = st.integers(-4, 4).map(float)
_near_whole = st.builds(
    lambda whole, off: whole + off, _whole, st.sampled_from([0.0, 1e-13, -1e-9, 1e-7, 1e-4])
)
_number = st.one_of(_whole, _near_whole, st.floats(-5, 5))
_corner = st.tuples(_number, _number, st.one_of(_number, st.floats(-20, 20)))
_soup: st.SearchStrategy[Floats] = st.lists(
    st.tuples(_corner, _corner, _corner), min_size=1, max_size=5
).map(np.array)


def dropped(solid: Solid, triangles: Floats, where: Floats) -> Floats:
    profile = make_profile(
        flat=solid.flat, corner=solid.corner, taper=solid.taper, radius=solid.radius
    )
    return tip_heights(surface_of(triangles), ((profile, 0.0),), where, lowest=-1e3)


def slimmer(solid: Solid, by: float) -> Solid:
    return Solid(flat=solid.flat, corner=solid.corner, taper=solid.taper, radius=solid.radius - by)


_case = given(
    st.sampled_from(SOLIDS), _soup, st.lists(st.tuples(_number, _number), min_size=1, max_size=4)
)


def between_twins(solid: Solid, triangles: Floats, points: list[tuple[float, float]]) -> None:
    """Hold tips between twins a shade slimmer and a shade wider; both agree but at the rim."""
    where = np.array(points)
    found = dropped(solid, triangles, where)
    low = np.maximum(twin.tips(slimmer(solid, GAP), triangles, where), -1e3)
    high = np.maximum(twin.tips(slimmer(solid, -GAP), triangles, where), -1e3)
    assert (found >= low - 1e-5).all()
    assert (found <= high + 1e-5).all()


@settings(steady, max_examples=40)
@_case
@example(
    solid_of(BITS["blunt vee"]).swollen(0.5),
    np.array([[[4.0, -2.6, 1.0], [4.7, -3.2, 2.5], [4.3, -1.3, 1.2]]]),
    [(0.0, 0.0)],
)
def test_soups_of_triangles(
    solid: Solid, triangles: Floats, points: list[tuple[float, float]]
) -> None:
    between_twins(solid, triangles, points)


@pytest.mark.long
@settings(steady, max_examples=1000)
@_case
def test_many_soups_of_triangles(
    solid: Solid, triangles: Floats, points: list[tuple[float, float]]
) -> None:
    between_twins(solid, triangles, points)


@steady
@given(st.sampled_from(SOLIDS), _soup, st.floats(0.3, 3))
def test_points_and_grids_give_the_same(solid: Solid, triangles: Floats, pitch: float) -> None:
    bit = make_bit("ball", 2.0 * max(solid.corner, 0.4))
    grid = Grid(-3.3, -2.9, pitch, 5, 4)
    surface = surface_of(triangles)
    xx, yy = np.meshgrid(grid.x, grid.y)
    where = np.column_stack([xx.ravel(), yy.ravel()])
    by_grid = tip_surface(surface, bit, grid, lowest=-30.0).heights
    by_point = tip_heights(surface, parts_of(bit), where, lowest=-30.0).reshape(grid.ny, grid.nx)
    np.testing.assert_allclose(by_grid, by_point, atol=1e-9)


@pytest.mark.parametrize("name", BITS)
def test_points_and_grids_give_the_same_on_a_rough_relief(name: str) -> None:
    """More triangles than tiles, bins and stripes; the order of triangles differs too."""
    rough = np.random.default_rng(11).uniform(0.0, 4.0, (40, 50))
    surface = surface_of(solids.relief(rough, 0.7))
    grid = Grid(-4.0, -5.0, 0.61, 70, 61)
    xx, yy = np.meshgrid(grid.x, grid.y)
    where = np.column_stack([xx.ravel(), yy.ravel()])
    for allowance in (0.0, 0.4):
        parts = parts_of(BITS[name], allowance=allowance)
        by_grid = tip_surface(surface, BITS[name], grid, allowance=allowance, lowest=0.25).heights
        by_point = tip_heights(surface, parts, where, lowest=0.25).reshape(by_grid.shape)
        np.testing.assert_allclose(by_grid, by_point, atol=1e-9)
    some = np.random.default_rng(12).choice(len(where), 6, replace=False)
    solid = solid_of(BITS[name])
    triangles = solids.relief(rough, 0.7)
    for k in some:
        near = np.abs(triangles[:, :, :2].mean(axis=1) - where[k]).max(axis=1) < solid.radius + 1
        if near.any():
            low = twin.tips(slimmer(solid, GAP), triangles[near], where[k : k + 1])
            high = twin.tips(slimmer(solid, -GAP), triangles[near], where[k : k + 1])
            bare = tip_heights(surface, parts_of(BITS[name]), where[k : k + 1], lowest=-1e3)
            assert max(low[0], -1e3) - 1e-5 <= bare[0] <= max(high[0], -1e3) + 1e-5


@pytest.mark.parametrize("off", [0.0, 1e-14, 1e-12, 3e-12, 1e-10, 1e-8, 1e-6, 1e-4])
def test_edges_that_are_nearly_upright(off: float) -> None:
    """A face 400 mm high that leans by a hair, as turning a mesh leaves it."""
    top, bottom = [1000.0, 0.0, 400.0], [1000.0 - off, 0.0, 0.0]
    triangles = np.array([[top, bottom, [1000.0, 5.0, 0.0]], [top, [1000.0, 5.0, 0.0], bottom]])
    for name, bit in BITS.items():
        solid = solid_of(bit)
        where = np.array([[1000.0 - share * solid.radius, -0.01] for share in (0.2, 0.6, 0.9)])
        r = np.hypot(*(where - [1000.0, 0.0]).T)
        found = tip_heights(surface_of(triangles), parts_of(bit), where)
        from tests.reference.profile import heights

        np.testing.assert_allclose(found, 400.0 - heights(solid, r), atol=1e-6, err_msg=name)


def test_no_hole_between_triangles_that_share_an_edge() -> None:
    """Points on shared edges and corners, turned so that nothing is round, meet a triangle."""
    rng = np.random.default_rng(4)
    relief = solids.relief(rng.uniform(0.0, 2.0, (30, 30)), 1.0)
    turn = np.array([[np.cos(0.3), -np.sin(0.3), 0.0], [np.sin(0.3), np.cos(0.3), 0.0], [0, 0, 1]])
    surface = surface_of(relief @ turn.T)
    share = rng.uniform(0.0, 1.0, (28, 4, 1))
    start, end = relief[400:428, [0, 1, 2, 0]], relief[400:428, [1, 2, 0, 0]]
    on_edges = ((start + share * (end - start)) @ turn.T).reshape(-1, 3)
    for x, y, z in on_edges:
        found = sculpture_heights(surface, Grid(x, y, 1.0, 1, 1)).heights[0, 0]
        assert found == pytest.approx(z, abs=1e-9)
