"""Outlines of sculptures for drawings, against rings and edges worked out by hand."""

from itertools import pairwise

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.report.outlines import MOST_CELLS, bands, shadow, skyline, skylines
from icecam.report.sheet_views import simplified

Floats = NDArray[np.float64]


POINT = st.tuples(*[st.floats(-20.0, 20.0)] * 3)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    corners=st.lists(st.tuples(POINT, POINT, POINT), min_size=1, max_size=5),
    axis=st.sampled_from([0, 1]),
)
def test_skyline_against_every_edge_cut_by_hand(
    corners: list[tuple[tuple[float, ...], ...]], axis: int
) -> None:
    """Each edge cut at each place by the rule of three, one after the other."""
    triangles = np.array(corners, dtype=np.float64)
    found = skyline(triangles, axis, 7)
    for place, low, high in zip(*found, strict=True):
        heights = []
        for triangle in triangles.tolist():
            for n in range(3):
                a, b = triangle[n], triangle[(n + 1) % 3]
                if a[axis] == b[axis] == place:
                    heights += [a[2], b[2]]
                elif min(a[axis], b[axis]) <= place <= max(a[axis], b[axis]) and a[axis] != b[axis]:
                    share = (place - a[axis]) / (b[axis] - a[axis])
                    heights.append(a[2] + share * (b[2] - a[2]))
        assert low == pytest.approx(min(heights, default=np.inf), abs=1e-6)
        assert high == pytest.approx(max(heights, default=-np.inf), abs=1e-6)


def box_at(low: tuple[float, float, float], size: tuple[float, float, float]) -> Floats:
    """Triangles (12, 3, 3) of a box with its least corner at `low`."""
    low_corner, sides = np.array(low), np.array(size)
    return np.asarray(
        trimesh.creation.box(bounds=[low_corner, low_corner + sides]).triangles, dtype=np.float64
    )


def test_parts_that_stand_apart_have_an_outline_each() -> None:
    """Across X the first two boxes touch and the others stand alone; across Y all are one."""
    boxes = [
        box_at((30.0, 0.0, 2.0), (10.0, 5.0, 6.0)),
        box_at((0.0, 1.0, 0.0), (4.0, 5.0, 3.0)),
        box_at((4.0, 2.0, 1.0), (6.0, 5.0, 8.0)),
        box_at((900.0, 4.0, 0.0), (0.5, 5.0, 7.0)),  # thinner than places along all would lie apart
    ]
    found = skylines(np.concatenate(boxes), 0, 50)
    assert [(part.along[0], part.along[-1]) for part in found] == [(0, 10), (30, 40), (900, 900.5)]
    assert [(part.low.min(), part.high.max()) for part in found] == [(0, 9), (2, 8), (0, 7)]
    assert all(np.isfinite(part.ring).all() for part in found)
    (one,) = skylines(np.concatenate(boxes), 1, 50)
    assert (one.along[0], one.along[-1], one.low.min(), one.high.max()) == (0, 9, 0, 9)


def area_of(ring: Floats) -> float:
    """Area of a ring: the shoelace formula."""
    x, y = ring.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


@pytest.mark.parametrize("count", [60, 500])
def test_shadow_and_bands_of_a_cone(count: int) -> None:
    """Rings of a cone are circles: that at a share of its height has what is left of its radius."""
    pitch = 60.0 / count
    grid = Grid(pitch / 2, pitch / 2, pitch, count, count)
    off = np.hypot(grid.x[None, :] - 30.0, grid.y[:, None] - 30.0)
    cone = HeightField(grid=grid, heights=np.where(off <= 20.0, 20.0 - off, -np.inf))
    rings = [shadow(cone), *bands(cone, 3)]
    assert [len(each) for each in rings] == [1, 1, 1, 1]
    for (ring,), radius in zip(rings, (20.0, 15.0, 10.0, 5.0), strict=True):
        drawn = 60.0 / min(count, MOST_CELLS)
        assert np.sqrt(area_of(ring) / np.pi) == pytest.approx(radius, abs=0.9 * drawn)


def test_a_field_that_fills_the_block_is_outlined_by_its_edge() -> None:
    full = HeightField(grid=Grid(0.5, 0.5, 1.0, 10, 6), heights=np.full((6, 10), 4.0))
    (ring,) = shadow(full)
    assert ring.min(axis=0) == pytest.approx([0.0, 0.0])
    assert ring.max(axis=0) == pytest.approx([10.0, 6.0])
    assert bands(full, 4) == []


@settings(max_examples=80, deadline=None, derandomize=True)
@given(points=st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50)), min_size=2, max_size=40))
def test_simplified_lines_stay_where_they_are(points: list[tuple[float, float]]) -> None:
    """Every point left out lies within 0.08 mm of paper of the line that is left."""
    ring = np.array(points)
    kept = simplified(ring)
    assert kept[0] == pytest.approx(ring[0])
    assert kept[-1] == pytest.approx(ring[-1])
    for point in ring:
        assert min(way_to(point, a, b) for a, b in pairwise(kept)) <= 0.08


def way_to(point: Floats, a: Floats, b: Floats) -> float:
    """Distance of a point from a stretch."""
    run = b - a
    long = float(run @ run)
    share = min(max(float((point - a) @ run) / long, 0.0), 1.0) if long > 0 else 0.0
    return float(np.hypot(*(point - a - share * run)))


def test_skyline_of_a_wall_across_the_axis() -> None:
    """All of a triangle in the plane x = 5 stands at one place, from its lowest to its highest."""
    wall = np.array([[[5.0, 0.0, 1.0], [5.0, 8.0, 1.0], [5.0, 0.0, 7.0]]])
    found = skyline(wall, 0, 3)
    assert found.low == pytest.approx([1.0] * 3)
    assert found.high == pytest.approx([7.0] * 3)
    upright = np.array([[[0.0, 0.0, 0.0], [0.0, 0.0, 9.0], [4.0, 0.0, 2.0]]])
    found = skyline(upright, 0, 2)
    assert found.low == pytest.approx([0.0, 2.0])
    assert found.high == pytest.approx([9.0, 2.0])
