"""Tip surfaces against outside libraries, on real shapes.

libigl: distance to a mesh. scipy.ndimage: greyscale dilation. Data: the public elevation model of
Jacksboro that comes with matplotlib, the coins that come with scikit-image.
"""

from pathlib import Path
from typing import Final

import igl  # type: ignore[import-untyped]
import numpy as np
import pytest
import skimage.data
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from icecam.geometry.drop import (
    Surface,
    parts_of,
    sculpture_heights,
    surface_of,
    tip_heights,
    tip_surface,
)
from icecam.geometry.field import Grid
from icecam.geometry.mesh import read
from icecam.job.records import Bit
from tests.geometry import solids
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.reference.profile import heights_by_bisection

Floats = NDArray[np.float64]
OWL: Final = Path(__file__).parents[2] / "models" / "owl.stl"
CLOSE: Final = 1e-6  # mm, where sphere tracing stops


@pytest.fixture(scope="module")
def owl() -> Floats:
    return read(OWL).triangles


@pytest.fixture(scope="module")
def owl_surface(owl: Floats) -> Surface:
    return surface_of(owl, closed=True)


@pytest.fixture(scope="module")
def tree(owl: Floats) -> tuple[igl.AABB, Floats, NDArray[np.int64]]:
    corners = np.ascontiguousarray(owl.reshape(-1, 3))
    faces = np.arange(len(corners)).reshape(-1, 3)
    tree = igl.AABB()
    tree.init(corners, faces)
    return tree, corners, faces


def places(triangles: Floats, count: int) -> Floats:
    low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
    return np.random.default_rng(3).uniform(low[:2] - 2.0, high[:2] + 2.0, (count, 2))


def distances(tree: tuple[igl.AABB, Floats, NDArray[np.int64]], points: Floats) -> Floats:
    aabb, corners, faces = tree
    squared, _, _ = aabb.squared_distance(corners, faces, np.ascontiguousarray(points))
    return np.sqrt(np.asarray(squared, dtype=np.float64).ravel())


@pytest.mark.parametrize("diameter", [1.6, 12.7])
def test_ball_by_sphere_tracing(
    diameter: float,
    owl: Floats,
    owl_surface: Surface,
    tree: tuple[igl.AABB, Floats, NDArray[np.int64]],
) -> None:
    """A ball let down by the distance left to the mesh never passes its first contact."""
    radius, floor = diameter / 2, float(owl[:, :, 2].min())
    where = places(owl, 150)
    centres = np.column_stack([where, np.full(len(where), owl[:, :, 2].max() + radius + 0.001)])
    moving = np.arange(len(centres))
    for _ in range(3000):
        gap = distances(tree, centres[moving]) - radius
        centres[moving, 2] -= gap
        moving = moving[(gap > CLOSE) & (centres[moving, 2] - radius > floor)]
        if not len(moving):
            break
    assert not len(moving)
    expected = np.maximum(centres[:, 2] - radius, floor)
    bit = make_bit("ball", diameter, flute=400.0)
    found = tip_heights(owl_surface, parts_of(bit), where, lowest=floor)
    # The trace stops up to CLOSE early, which on a grazing wall is more in height.
    assert (found <= expected + 1e-9).all()
    assert np.median(expected - found) < 2e-6
    lower = np.column_stack([where, found + radius])
    resting = found > floor
    np.testing.assert_allclose(distances(tree, lower[resting]), radius, atol=1e-7)


@pytest.mark.parametrize("name", BITS)
def test_whole_cutting_end_keeps_the_allowance(
    name: str, owl_surface: Surface, owl: Floats, tree: tuple[igl.AABB, Floats, NDArray[np.int64]]
) -> None:
    """Points all over the bit are no nearer to the owl than the allowance, one nearly so."""
    bit, allowance, solid = BITS[name], 0.7, solid_of(BITS[name])
    where = places(owl, 60)
    tips = tip_heights(owl_surface, parts_of(bit, allowance=allowance), where)
    where, tips = where[np.isfinite(tips)], tips[np.isfinite(tips)]
    r = np.linspace(0.0, solid.radius, 25)
    angle = np.linspace(0.0, 2 * np.pi, 64, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    shell = np.concatenate(
        [
            np.concatenate([radius * ring, np.full((64, 1), rise)], axis=1)
            for radius, rise in zip(r, heights_by_bisection(solid, r), strict=True)
        ]
    )
    points = np.column_stack([where, tips])[:, None, :] + shell
    gaps = distances(tree, points.reshape(-1, 3)).reshape(len(where), -1).min(axis=1)
    assert (gaps >= allowance - 1e-7).all()
    # A blunt vee is held further off where only its widest place is near: it is thickened square.
    assert gaps.min() < allowance + 0.01
    assert np.median(gaps) < allowance + 0.05


FLANK: Final = {"flat": 0.0, "rounded corner": 3.0, "vee": np.tan(np.radians(60))}
"""Steepest rise of the profiles; that of a rounded corner out to 0.95 of its arc."""


@pytest.mark.parametrize("name", FLANK)
def test_cloud_of_points_never_stands_higher(name: str) -> None:
    """Truth is the greatest over all points; some points of the mesh can only give less."""
    heights = relief_of_coins()
    triangles = solids.relief(heights, 0.5)
    bit, solid = BITS[name], solid_of(BITS[name])
    share = np.array([(i, j, 4 - i - j) for i in range(5) for j in range(5 - i)]) / 4.0
    cloud = (share[None, :, :, None] * triangles[:, None, :, :]).sum(axis=2).reshape(-1, 3)
    finder = cKDTree(cloud[:, :2])
    where = np.random.default_rng(5).uniform(0.0, 0.5 * (len(heights) - 1), (60, 2))
    found = tip_heights(surface_of(triangles), parts_of(bit), where)
    near = finder.query_ball_point(where, solid.radius)
    expected = np.array(
        [
            (
                cloud[k, 2] - heights_by_bisection(solid, reach_of(cloud[k], place, solid.radius))
            ).max()
            for k, place in zip(near, where, strict=True)
        ]
    )
    assert (found >= expected - 1e-9).all()
    # A point within the radius lies within half a diagonal of the cloud's squares from any contact,
    # or a whole one at the rim, and loses as much as mesh and flank together rise over that.
    diagonal = 0.125 * np.sqrt(2)
    steepest = np.hypot(*(np.abs(np.diff(heights, axis=axis)).max() for axis in (0, 1))) / 0.5
    assert (found - expected).max() < diagonal * (steepest + FLANK[name])
    assert np.median(found - expected) < diagonal / 2


def reach_of(points: Floats, place: Floats, radius: float) -> Floats:
    off = points[:, :2] - place
    return np.minimum(np.hypot(off[:, 0], off[:, 1]), radius)


def relief_of_coins() -> Floats:
    """Brightness as height, 6 mm high, smoothed over 2 pixels; (48, 48)."""
    photo: Floats = skimage.data.coins().astype(np.float64)  # type: ignore[no-untyped-call]
    coins = ndimage.gaussian_filter(photo, 2.0)
    return np.asarray(coins[60:108, 60:108] / 255.0 * 6.0)


def mountains() -> Floats:
    """Every third height of the elevation model, scaled to 80 mm; (115, 135)."""
    with np.load(str(get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))) as dem:
        heights = dem["elevation"].astype(np.float64)[::3, ::3]
    return np.asarray((heights - heights.min()) / np.ptp(heights) * 80.0)


def dilated(heights: Floats, bit: Bit, pitch: float) -> Floats:
    """Tip surface of the nodes alone, by greyscale dilation with the profile upside down."""
    solid = solid_of(bit)
    reach = int(solid.radius / pitch)
    step = pitch * np.arange(-reach, reach + 1)
    r: Floats = np.hypot(*np.meshgrid(step, step))
    inside: NDArray[np.bool_] = r <= solid.radius
    cup = -heights_by_bisection(solid, np.minimum(r, solid.radius))
    return np.asarray(
        ndimage.grey_dilation(  # type: ignore[call-overload]
            heights, footprint=inside, structure=cup, mode="constant", cval=-1e9
        )
    )


PITCH: Final = 0.93  # no distance of nodes is a radius here, so no node lies on a rim


@pytest.mark.parametrize("name", BITS)
def test_nodes_of_a_relief_by_greyscale_dilation(name: str) -> None:
    """Nodes alone, as triangles shrunk to points: then the dilation is the exact tip surface."""
    heights = mountains()
    grid = Grid(0.0, 0.0, PITCH, heights.shape[1], heights.shape[0])
    surface = surface_of(solids.points_only(heights, PITCH))
    found = tip_surface(surface, BITS[name], grid).heights
    np.testing.assert_allclose(found, dilated(heights, BITS[name], PITCH), atol=1e-5)


@pytest.mark.parametrize("name", ["flat", "ball", "rounded corner"])
def test_relief_stands_no_lower_than_its_nodes(name: str) -> None:
    heights = mountains()
    grid = Grid(0.0, 0.0, PITCH, heights.shape[1], heights.shape[0])
    found = tip_surface(surface_of(solids.relief(heights, PITCH)), BITS[name], grid).heights
    nodes = dilated(heights, BITS[name], PITCH)
    assert (found >= nodes - 1e-9).all()
    steepest = max(np.abs(np.diff(heights, axis=axis)).max() for axis in (0, 1)) / PITCH
    assert (found - nodes).max() <= steepest * np.sqrt(2) * PITCH
    assert np.median(found - nodes) < 0.5


def test_heights_of_a_relief_are_its_nodes_and_between() -> None:
    heights = mountains()
    triangles = solids.relief(heights, PITCH)
    grid = Grid(0.0, 0.0, PITCH, heights.shape[1], heights.shape[0])
    found = sculpture_heights(surface_of(triangles), grid).heights
    np.testing.assert_allclose(found, heights, atol=1e-8)  # the needle has a hair of width
    middle = Grid(PITCH / 2, PITCH / 2, PITCH, heights.shape[1] - 1, heights.shape[0] - 1)
    found = sculpture_heights(surface_of(triangles), middle).heights
    # The middle of a square lies on the diagonal both triangles share.
    one = (heights[:-1, :-1] + heights[1:, 1:]) / 2
    other = (heights[:-1, 1:] + heights[1:, :-1]) / 2
    off = np.minimum(np.abs(found - one), np.abs(found - other))
    assert off.max() < 1e-8


def test_heights_seen_from_above(owl: Floats) -> None:
    """By the definition: the highest of all triangles that lie over a point."""
    low, high = owl.min(axis=(0, 1)), owl.max(axis=(0, 1))
    grid = Grid(float(low[0]) + 1.234, float(low[1]) + 0.567, 9.1, 20, 17)
    found = sculpture_heights(surface_of(owl, closed=True), grid).heights
    xx, yy = np.meshgrid(grid.x, grid.y)
    above = np.column_stack([xx.ravel(), yy.ravel(), np.full(xx.size, high[2] + 1.0)])
    a, b, c = owl[:, 0], owl[:, 1], owl[:, 2]
    expected = np.array([highest_over(a, b, c, point) for point in above]).reshape(xx.shape)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def highest_over(a: Floats, b: Floats, c: Floats, point: Floats) -> float:
    """Highest of all triangles over a point, by its share of each corner."""
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    flat = area != 0
    a, b, c, area = a[flat], b[flat], c[flat], area[flat]
    p = point[:2]
    v = ((p[0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (p[1] - a[:, 1]) * (c[:, 0] - a[:, 0])) / area
    w = ((b[:, 0] - a[:, 0]) * (p[1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (p[0] - a[:, 0])) / area
    over = (v >= 0) & (w >= 0) & (v + w <= 1)
    height = a[:, 2] + v * (b[:, 2] - a[:, 2]) + w * (c[:, 2] - a[:, 2])
    return float(height[over].max()) if over.any() else -np.inf
