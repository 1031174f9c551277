"""Slices against an independent mesh library, closed forms and the volume they add up to."""

import itertools
from functools import cache
from math import acos, pi, sqrt, tan
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.field import Grid, covering
from icecam.geometry.slices import OVERLAP_MM, polygons_of, shadows, slice_at

MODELS = Path(__file__).parents[2] / "models"
Floats = NDArray[np.float64]


@cache
def _model(name: str) -> trimesh.Trimesh:
    mesh = trimesh.load(MODELS / f"{name}.stl")
    assert isinstance(mesh, trimesh.Trimesh)
    return mesh


def _triangles(mesh: trimesh.Trimesh) -> Floats:
    return np.asarray(mesh.triangles, dtype=np.float64)


def _by_green(triangles: Floats, z: float) -> float:
    """Area of a slice by Green's theorem, loop by loop unknown: the crossings go round the inside.

    Each triangle is crossed from where its outline rises to where it falls, the inside on one side
    whatever the triangle; ice covered twice by a mesh that runs through itself counts twice.
    """
    total = 0.0
    for corners in triangles[(triangles[:, :, 2].min(1) < z) & (triangles[:, :, 2].max(1) > z)]:
        place = {}
        for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if (p[2] > z) != (q[2] > z):
                place[q[2] > z] = p[:2] + (z - p[2]) / (q[2] - p[2]) * (q - p)[:2]
        fall, rise = place[False], place[True]
        total += (fall[0] * rise[1] - fall[1] * rise[0]) / 2
    return float(total)


def _by_library(mesh: trimesh.Trimesh, z: float) -> shapely.Geometry:
    """Section by trimesh (Dawson-Haggerty and others): inside where the loops are odd in number."""
    section = mesh.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    assert section is not None
    loops = [shapely.Polygon(loop[:, :2]) for loop in section.discrete]
    area: shapely.Geometry = shapely.Polygon()
    for loop in loops:
        area = shapely.symmetric_difference(area, loop.buffer(0))
    return area


@pytest.mark.parametrize("name", ["owl", "panel"])
@pytest.mark.parametrize("share", [0.13, 0.4, 0.62, 0.9])
def test_slice_of_a_sculpture_is_the_section_of_another_library(name: str, share: float) -> None:
    mesh = _model(name)
    low, high = mesh.bounds[:, 2]
    z = float(low + share * (high - low))
    area = slice_at(_triangles(mesh), z)
    assert area.is_valid
    apart = shapely.symmetric_difference(area, _by_library(mesh, z)).area
    # where the mesh runs through itself a spot of it counts for one and not for the other
    assert apart <= 1e-3 * area.area + 0.5
    assert area.area == pytest.approx(_by_green(_triangles(mesh), z), rel=1e-3, abs=0.5)


@pytest.mark.parametrize(("name", "count"), [("owl", 200), ("crane", 200), ("panel", 100)])
def test_slices_add_up_to_the_volume(name: str, count: int) -> None:
    """Cavalieri: the volume is the integral of the areas, here by the midpoint rule.

    Where the area leaps, at a level face, the rule is off by half a step of it at most.
    """
    mesh = _model(name)
    triangles = 0.26 * _triangles(mesh)
    low, high = triangles[:, :, 2].min(), triangles[:, :, 2].max()
    edges = np.linspace(low, high, count + 1)
    step = edges[1] - edges[0]
    areas = [slice_at(triangles, float(z)).area for z in edges[:-1] + step / 2]
    leaps = np.abs(np.diff([0.0, *areas, 0.0]))
    volume = 0.26**3 * mesh.volume
    allowed = 1e-3 * volume + step / 2 * leaps[leaps > 0.1 * max(areas)].sum()
    assert allowed < 0.03 * volume
    assert sum(areas) * step == pytest.approx(volume, abs=allowed)


@pytest.mark.parametrize("z", [-9.5, -3.3, 0.0, 4.1, 9.0])
def test_sphere(z: float) -> None:
    """Area pi (R^2 - z^2), less what facets cut off: at most e^2 / (8 R), e the longest edge."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    area = slice_at(_triangles(ball), z)
    sag = ball.edges_unique_length.max() ** 2 / 80
    inner = sqrt(max((10 - sag) ** 2 - z * z, 0.0))
    assert pi * inner**2 <= area.area <= pi * (100 - z * z)


def test_torus_lying_flat_has_a_hole() -> None:
    """Between circles of radius 20 - 5 and 20 + 5: pi ((R + r)^2 - (R - r)^2) = 4 pi R r."""
    ring = trimesh.creation.torus(20.0, 5.0, major_sections=256, minor_sections=64)
    area = slice_at(_triangles(ring), 0.0)
    assert isinstance(area, shapely.Polygon)
    assert len(area.interiors) == 1
    # a 256-gon has sin(t)/t of the circle's area, t = 2 pi / 256
    assert area.area == pytest.approx(4 * pi * 20 * 5, rel=2e-3)


def test_two_bodies_apart_and_one_inside_the_other() -> None:
    one, two = (trimesh.creation.box((10, 10, 10)) for _ in range(2))
    two.apply_translation([25, 0, 1])
    both = np.concatenate([_triangles(one), _triangles(two)])
    assert slice_at(both, 1.5).area == pytest.approx(200)
    assert len(shapely.get_parts(slice_at(both, 1.5))) == 2
    assert slice_at(both, 5.5).area == pytest.approx(100)


def test_bodies_that_run_through_each_other_are_joined() -> None:
    """Two squares of side 10, shifted by (6, 6): 200 less the overlap of 4 x 4 once."""
    one, two = (trimesh.creation.box((10, 10, 10)) for _ in range(2))
    two.apply_translation([6, 6, 0.3])
    both = np.concatenate([_triangles(one), _triangles(two)])
    area = slice_at(both, 0.1)
    assert area.area == pytest.approx(200 - 16)


def _prism(outline: Floats, height: float) -> Floats:
    """Sides of a prism without its ends: enough for slices between them."""
    a, b = outline, np.roll(outline, -1, axis=0)
    at = [np.column_stack([p, np.full(len(p), z)]) for z in (0.0, height) for p in (a, b)]
    return np.concatenate([np.stack([at[0], at[1], at[3]], 1), np.stack([at[0], at[3], at[2]], 1)])


def test_an_outline_that_crosses_itself_loses_nothing() -> None:
    """A pentagram drawn in one line, R = 10.

    Ten triangles from the centre, between a tip at R and an inner corner at
    R cos 72 / cos 36 (Coxeter, Introduction to Geometry, 2.8), 36 degrees apart.
    """
    turns = np.pi / 2 + 2 * np.arange(5) * 2 * np.pi / 5
    star = 10 * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    inner = 10 * np.cos(np.radians(72)) / np.cos(np.radians(36))
    expected = 10 * 0.5 * 10 * inner * np.sin(np.radians(36))
    area = slice_at(_prism(star, 4.0), 2.0)
    assert area.area == pytest.approx(expected)
    assert shapely.contains_xy(area, 0.0, 0.0)


def test_plane_through_corners() -> None:
    """On the top of a box there is nothing above the plane; on its bottom all of it."""
    box = _triangles(trimesh.creation.box((8, 6, 10)))
    assert slice_at(box, 5.0).is_empty
    assert slice_at(box, -5.0).area == pytest.approx(48)
    octahedron = np.array(
        [
            [[sx, 0, 0], [0, sy, 0], [0, 0, sz]]
            for sx in (3.0, -3.0)
            for sy in (3.0, -3.0)
            for sz in (3.0, -3.0)
        ]
    )
    # a square of diagonal 6; the plane lies a millionth of a mm higher
    assert slice_at(octahedron, 0.0).area == pytest.approx(18, abs=1e-4)


def test_plane_beside_the_mesh_cuts_nothing() -> None:
    box = _triangles(trimesh.creation.box((8, 6, 10)))
    assert slice_at(box, 7.0).is_empty
    assert slice_at(box, -7.0).is_empty


def test_open_mesh_keeps_what_is_closed() -> None:
    one, two = (trimesh.creation.box((10, 10, 10)) for _ in range(2))
    two.apply_translation([25, 0, 0])
    sides = _triangles(one)
    crossed = (sides[:, :, 2].min(axis=1) < 0) & (sides[:, :, 2].max(axis=1) > 0)
    open_ = np.delete(sides, np.flatnonzero(crossed)[0], axis=0)
    area = slice_at(np.concatenate([open_, _triangles(two)]), 0.5)
    assert area.area == pytest.approx(100)
    assert area.bounds[0] == pytest.approx(20)


def _mushroom() -> trimesh.Trimesh:
    """A stalk of radius 5 up to z 12, and on it a cap of radius 15 up to z 14."""
    outline = np.array([[0, 0], [5, 0], [5, 12], [15, 12], [15, 14], [0, 14]], dtype=np.float64)
    return trimesh.creation.revolve(outline, sections=180)


@pytest.mark.parametrize("pitch", [0.3, 1.0])
def test_shadows_cover_what_bulges_between_two_planes(pitch: float) -> None:
    triangles = _triangles(_mushroom())
    grid = covering((-20, -20), (20, 20), pitch)
    seen = sculpture_heights(surface_of(triangles, closed=True), grid)
    assert slice_at(triangles, 10.0).area == pytest.approx(25 * pi, rel=1e-3)
    above, below, lowest = shadows(triangles, seen, np.array([14.5, 10.0, 5.0]))
    assert above.is_empty
    centre = shapely.Point(0, 0)
    # squares round nodes: short of the rim, or beyond it, by half a diagonal at most, and a gap as
    # wide as that beside the slice
    off = pitch * 0.7072 + 2 * OVERLAP_MM
    for area in (below, lowest):
        assert area.buffer(off, quad_segs=32).covers(centre.buffer(15 - 0.005, quad_segs=64))
        assert centre.buffer(15 + off, quad_segs=64).covers(area)


def test_shadows_grow_downwards_and_hold_the_slices() -> None:
    mesh = _model("owl")
    triangles = _triangles(mesh)
    grid = covering(tuple(mesh.bounds[0, :2]), tuple(mesh.bounds[1, :2]), 1.5)
    seen = sculpture_heights(surface_of(triangles, closed=True), grid)
    levels = np.linspace(mesh.bounds[1, 2], mesh.bounds[0, 2], 9)[1:-1]
    found = shadows(triangles, seen, levels)
    for upper, lower in itertools.pairwise(found):
        assert shapely.difference(upper, lower).area < 1e-6
    for area, z in zip(found, levels, strict=True):
        assert shapely.difference(slice_at(triangles, float(z)), area).area < 1e-6
        rows, columns = np.nonzero(seen.heights > z)
        near = area.buffer(1e-6)
        shapely.prepare(near)
        assert shapely.contains_xy(near, grid.x[columns], grid.y[rows]).all()


@given(
    mask=hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, max_side=9)),
    pitch=st.floats(0.2, 5.0),
)
def test_polygons_of_marks(mask: NDArray[np.bool_], pitch: float) -> None:
    grid = Grid(3.0, -2.0, pitch, mask.shape[1], mask.shape[0])
    area = polygons_of(mask, grid)
    xx, yy = np.meshgrid(grid.x, grid.y)
    inside = shapely.contains_xy(area, xx, yy)
    assert (inside == mask).all()
    exact = mask.sum() * pitch**2
    assert exact <= area.area + 1e-9
    assert area.area <= mask.sum() * (pitch + 2 * OVERLAP_MM) ** 2 + 1e-9


def test_polygons_join_rows_that_meet() -> None:
    mask = np.ones((40, 3), dtype=np.bool_)
    area = polygons_of(mask, Grid(0.1, 0.1, 0.1, 3, 40))
    assert isinstance(area, shapely.Polygon)


def test_closed_forms_of_two_circles_that_overlap() -> None:
    """Two discs of radius 10, 12 apart: the lens 2 R^2 acos(d/2R) - d/2 sqrt(4 R^2 - d^2)."""
    one, two = (trimesh.creation.cylinder(radius=10, height=6, sections=720) for _ in range(2))
    two.apply_translation([12, 0, 0.5])
    both = np.concatenate([_triangles(one), _triangles(two)])
    lens = 2 * 100 * acos(0.6) - 6 * sqrt(400 - 144)
    gon = 720 / (2 * pi) * 2 * tan(pi / 720)  # a little above one: how much a 720-gon may lack
    assert slice_at(both, 0.1).area == pytest.approx(2 * pi * 100 - lens, rel=gon - 1 + 1e-4)
