"""What bits reach: bowls in closed form, pits by hand, relief by another library's closing."""

from dataclasses import replace
from math import inf, pi, sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from icecam.choose.reach import Reach, area_of, by_size, left_by, reach_of
from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.field import Grid, HeightField, cells
from icecam.plan import scene_of
from icecam.prove.proof import thickness
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry import solids
from tests.geometry.bits import make_bit

Floats = NDArray[np.float64]

BOWL = 10.0


def distance(reach: Reach, middle: float) -> Floats:
    """Distance (ny, nx) of each cell from the axis of a bowl."""
    x, y = np.meshgrid(reach.grid.x - middle, reach.grid.y - middle)
    return np.hypot(x, y)


def test_a_smaller_ball_reaches_all_of_a_bowl() -> None:
    """By geometry: a ball r 6 rolls all over half a hollow sphere of radius 10."""
    scene = placed(solids.bowl(BOWL, 1.0, 14.0), (15.0, 15.0, 30.0))
    reach = reach_of(scene_of(scene, job_of((ball(12.0),), cell=0.2)))
    inside = distance(reach, 15.0) < BOWL - 1.0
    assert (reach.masks[inside] == 1).all()
    assert reach.share([0]) > 0.99


def test_a_larger_ball_reaches_only_the_rim_of_a_bowl() -> None:
    """By geometry: a ball r 15 rests on the rim of a hollow half sphere R 10, centre c over it.

    c^2 = r^2 - R^2. Where the ball's surface is t from the sphere, its distance from the bowl's
    centre is R - t, so s = (r^2 + c^2 - (R - t)^2) / 2 c under the ball's centre and
    sqrt(r^2 - s^2) from the axis. With t 1: 8.96; the rim from there on is reached, within two
    cells. Its area is that of a zone of the sphere, 2 pi R sqrt(R^2 - rho^2) (Archimedes).
    """
    r, t = 15.0, 1.0
    c = sqrt(r * r - BOWL * BOWL)
    s = (r * r + c * c - (BOWL - t) ** 2) / (2 * c)
    rho = sqrt(r * r - s * s)
    cell = 0.2
    scene = placed(solids.bowl(BOWL, 1.0, 14.0), (15.0, 15.0, 30.0))
    reach = reach_of(scene_of(scene, job_of((ball(2 * r),), detail=t + 0.03, cell=cell)))
    away = distance(reach, 15.0)
    assert not reach.masks[away < rho - 2 * cell].any()
    assert (reach.masks[(away > rho + 2 * cell) & (away < 13.9)] == 1).all()
    whole = 2 * pi * BOWL**2
    missed = whole - 2 * pi * BOWL * sqrt(BOWL**2 - rho**2)
    assert reach.area[reach.masks == 0].sum() == pytest.approx(missed, rel=0.03)


@pytest.mark.parametrize(("stick_out", "reached"), [(24.0, False), (36.0, True)])
def test_the_nut_keeps_a_bit_out_of_a_deep_pit(stick_out: float, reached: bool) -> None:
    """By hand: a pit 30 deep and 20 wide; a nut 34 wide cannot follow the bit into it."""
    x = np.array([-40.0, -10.0, -10.0, 10.0, 10.0, 40.0])
    z = np.array([0.0, 0.0, -30.0, -30.0, 0.0, 0.0])
    points = np.stack([np.stack([x, np.full(6, y), z], axis=1) for y in (-30.0, 30.0)])
    scene = placed(solids.from_rows(points[::-1]), (40.0, 30.0, 35.0))
    bit = make_bit("ball", 6.0, flute=20.0, stick_out=stick_out)
    reach = reach_of(scene_of(scene, job_of((bit,), size=(80.0, 60.0, 36.0), cell=0.5)))
    floor = np.abs(reach.grid.x - 40.0) < 7.0
    assert bool(reach.masks[:, floor].all()) is reached
    assert bool(reach.masks[:, floor].any()) is reached
    assert reach.masks[:, np.abs(reach.grid.x - 40.0) > 11.0].all()


def test_the_spindle_keeps_a_bit_from_the_foot_of_a_wall() -> None:
    """By hand: a spindle 80 wide, 32 over the tip with nut, beside a wall 35 high: 40 away."""
    scene = placed(solids.wall(25.0, half=50.0), (50.0, 50.0, 10.0))
    base = solids.plane(0.0, 0.0, 50.0) + np.array([50.0, 50.0, 0.0])
    both = np.concatenate([scene.mesh.triangles, base])
    short = replace(make_bit("ball", 6.0, flute=12.0, stick_out=12.0), nut_length=20.0)
    job = job_of((short,), size=(100.0, 100.0, 36.0), cell=0.5)
    reach = reach_of(scene_of(placed(both, (0.0, 0.0, 0.0)), job))
    inner = reach.masks[40:-40]
    away = 50.0 - reach.grid.x
    assert (inner[:, (away > 42.0) & (away < 49.0)] == 1).all()
    assert not inner[:, (away > 1.0) & (away < 34.0)].any()


def relief(pitch: float) -> Floats:
    """Smooth random hills and hollows, 30 x 30 mm, some 10 high."""
    count = round(30.0 / pitch) + 1
    rough = np.random.default_rng(5).normal(size=(count, count))
    smooth: Floats = ndimage.gaussian_filter(rough, 3.0 / pitch) * 20.0 / pitch
    return smooth


def by_scipy(heights: Floats, pitch: float, radius: float) -> Floats:
    """Grey closing by a ball: dilation, then erosion, as scipy does them."""
    count = int(radius / pitch)
    v, u = np.mgrid[-count : count + 1, -count : count + 1] * pitch
    under = radius * radius - u * u - v * v
    inside = under >= 0.0
    shape = np.sqrt(np.where(inside, under, 0.0)) - radius
    padded = np.pad(heights, 2 * count + 1, constant_values=-500.0)
    # the types shipped beside scipy know whole numbers only; its text says array
    closed = ndimage.grey_closing(
        padded, footprint=inside, structure=shape  # type: ignore[arg-type]
    )  # fmt: skip
    edge = 2 * count + 1
    kept: Floats = closed[edge:-edge, edge:-edge]
    return kept


@pytest.mark.parametrize("diameter", [6.0, 10.0])
def test_heights_left_are_a_grey_closing(diameter: float) -> None:
    """Outside check: scipy.ndimage.grey_closing on the nodes of a height field, no allowance."""
    heights, pitch = relief(0.5), 0.5
    surface = surface_of(solids.points_only(heights, pitch))
    grid = Grid(0.0, 0.0, pitch, 61, 61)
    wanted = HeightField(grid=grid, heights=heights)
    left = left_by(
        ball(diameter), surface, wanted, lowest=-500.0, spindle_body=80.0, enough=0.0, allowance=0.0
    )
    assert left == pytest.approx(by_scipy(heights, pitch, diameter / 2), abs=1e-9)


def test_shares_of_a_relief_follow_the_grey_closing() -> None:
    """Outside check: scipy's closing, ice along the normal, area by numpy's gradient.

    The allowance of 0.03 counts as ice left; nodes are 0.25 apart: to two hundredths.
    """
    pitch = 0.25
    heights = relief(pitch)
    scene = placed(solids.relief(heights, pitch), (10.0, 10.0, 20.0))
    reach = reach_of(scene_of(scene, job_of((ball(6.0), ball(16.0)), cell=pitch, detail=0.25)))
    slope_y, slope_x = np.gradient(heights, pitch)
    area = np.sqrt(1 + slope_x**2 + slope_y**2)
    for k, bit in enumerate(reach.bits):
        upright = by_scipy(heights, pitch, bit.diameter / 2) - heights
        share = area[upright / area <= 0.25 - 0.03].sum() / area.sum()
        assert reach.share([k]) == pytest.approx(share, abs=0.02)
        assert 0.3 < share < 0.999
    assert reach.area.sum() == pytest.approx(area[:-1, :-1].sum() * pitch**2, rel=0.02)


def test_area_of_a_slope_by_hand() -> None:
    """By hand: 3 in 4 makes 5/4 of the area; cells beside the sculpture have none."""
    grid = Grid(0.0, 0.0, 0.1, 12, 5)
    heights = np.tile(0.075 * np.arange(12.0), (5, 1))
    heights[:, :2] = -inf
    area = area_of(HeightField(grid=grid, heights=heights))
    assert area[:, 2:] == pytest.approx(0.0125)
    assert not area[:, :2].any()


def test_thickness_and_heights_agree_on_what_lies_beside() -> None:
    """By definition: no bit is said to reach a place where there is no sculpture."""
    scene = placed(solids.hemisphere(10.0, 5.0), (30.0, 30.0, 20.0))
    reach = reach_of(scene_of(scene, job_of((ball(6.0),), cell=0.5)))
    wanted = sculpture_heights(surface_of(scene.mesh.triangles), reach.grid)
    assert not reach.masks[~np.isfinite(wanted.heights)].any()
    assert (reach.largest([0])[~np.isfinite(wanted.heights)] == -2).all()
    assert np.isnan(thickness(wanted.heights, wanted)[~np.isfinite(wanted.heights)]).all()


def test_larger_bits_come_first_and_name_what_they_reach() -> None:
    """By hand: 6 cells of 1, 2, 3 mm2; masks written out."""
    rack = (ball(2.0), named("wide", ball(8.0)), named("also wide", ball(8.0)))
    bits = by_size(rack)
    assert [bit.name for bit in bits] == ["wide", "also wide", "ball 2"]
    grid = cells((3.0, 2.0), 1.0)
    area = np.array([[1.0, 2.0, 3.0], [1.0, 2.0, 0.0]])
    masks = np.array([[1, 4, 6], [0, 5, 0]], dtype=np.uint16)
    reach = Reach(bits=bits, grid=grid, area=area, masks=masks)
    assert reach.share([0]) == pytest.approx(3 / 9)
    assert reach.share([2]) == pytest.approx(7 / 9)
    assert reach.share([0, 1, 2]) == pytest.approx(8 / 9)
    assert reach.share([]) == 0.0
    assert reach.largest([0, 1, 2]).tolist() == [[0, 2, 1], [-1, 0, -2]]
    assert reach.largest([0, 2]).tolist() == [[0, 2, 2], [-1, 0, -2]]
