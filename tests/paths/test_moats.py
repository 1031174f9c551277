"""Moats: room for every part of every bit, thin walls of waste, entries where all is closed."""

from functools import cache
from math import radians, tan

import numpy as np
import pytest
import shapely

from icecam.geometry.profile import cylinders
from icecam.job.records import Bit
from icecam.paths.rough_stage import moat_width
from icecam.paths.stages import ladder
from icecam.paths.toolpath import CUT
from tests.paths.scenes import (
    FLAT,
    Roughed,
    centres,
    footed,
    heights_of_levels,
    job_for,
    roughed,
)

SKIN_MM = 1.0
CELL_MM = 0.5


def _deep() -> Roughed:
    """A low tower in a deep block, cut with bits whose nuts go down into it."""
    short = Bit(
        name="short", shape="flat", diameter=8.0, flutes=2, flute_length=30.0, shank=8.0,
        stick_out=40.0, nut=18.0,
    )  # fmt: skip
    thin = Bit(
        name="thin", shape="ball", diameter=3.0, flutes=2, flute_length=15.0, shank=6.0,
        stick_out=45.0, nut=20.0,
    )  # fmt: skip
    job = job_for((240.0, 240.0, 58.0), (short, thin), clear="moat", moat=30.0)
    return roughed(footed(shapely.box(110, 110, 130, 130), 4.0, 14.0), job, cell=0.5)


@cache
def _deep_moat() -> Roughed:
    return _deep()


def test_moat_has_room_for_every_part_of_every_bit() -> None:
    """By definition: tip at the foot of the wall, no cell of waste inside shank, nut or spindle."""
    scene = _deep_moat()
    ice = scene.carved.ice
    wall = shapely.box(110, 110, 130, 130)
    waste = shapely.distance(wall, centres(ice)) > SKIN_MM + 1.0
    xx, yy = np.meshgrid(ice.grid.x, ice.grid.y)
    tops: list[float] = []
    for bit in scene.job.rack:
        tip = bit.diameter / 2 if bit.shape == "ball" else bit.diameter / 2 + SKIN_MM
        foot = wall.buffer(tip).exterior
        for place in shapely.line_interpolate_point(foot, np.linspace(0, 1, 24), normalized=True):
            for part in cylinders(bit, 80.0):
                under = waste & (np.hypot(xx - place.x, yy - place.y) < part.radius)
                tops.append(float(ice.heights[under].max()) - (4.0 + part.base))
    assert max(tops) <= 1e-9
    # the spindles stay above the block, the nuts do not: the test is not idle
    assert scene.job.block.size[2] > 4.0 + 40.0


def test_moat_is_as_wide_as_asked_and_the_ice_beyond_stands() -> None:
    """Ice further off than the moat and the bit's own width is not touched (by definition)."""
    scene = _deep_moat()
    ice = scene.carved.ice
    apart = shapely.distance(shapely.box(110, 110, 130, 130), centres(ice))
    top = scene.job.block.size[2]
    # as asked, from the foot of 1 mm; outlines are simplified to 1 mm, round corners are mitred
    assert (ice.heights[apart > 31.0 + 1.0 + CELL_MM] == top).all()
    assert ice.heights[apart < 29.0].max() <= 4.0 + 40.0
    # further out the nut (9 mm wide, on coarse squares of 2 mm) keeps the bit away from the wall
    inside = (apart > SKIN_MM + 1.0) & (apart < 15.0)
    np.testing.assert_allclose(ice.heights[inside], 4.0, atol=1e-9)


@pytest.mark.parametrize("asked", [5.0, 12.0, 40.0])
def test_moat_is_never_narrower_than_asked_nor_than_two_bits(asked: float) -> None:
    """As documented: at least as asked; and room for the bit to pass with its skin."""
    job = job_for((200.0, 200.0, 20.0), moat=asked, clear="moat")
    found = moat_width(0.0, job, ladder(job)[0])
    assert found >= asked
    assert found >= 2 * 3.0 + SKIN_MM


def test_thin_walls_of_waste_go_and_sturdy_ones_stay() -> None:
    """Walls of 10 mm between moat and edge are cleared, one of 77 mm stands (40 mm: README)."""
    job = job_for((200.0, 69.0, 16.0), clear="moat", moat=12.0)
    scene = roughed(footed(shapely.box(92, 25, 112, 45), 4.0, 14.0), job, cell=0.5)
    ice = scene.carved.ice
    x, y = np.meshgrid(ice.grid.x, ice.grid.y)
    thin = (abs(y - 35.0) > 12.0) & (abs(x - 102.0) < 11.0)
    np.testing.assert_allclose(ice.heights[thin], 4.0, atol=1e-9)
    sturdy = abs(x - 102.0) > 10.0 + 40.0
    assert (ice.heights[sturdy] == 16.0).all()


def test_a_closed_pocket_is_entered_by_a_ramp() -> None:
    """A moat in the middle of a block: no way in from outside, so no cut comes straight down."""
    scene = _deep_moat()
    path = scene.path
    drop = path.begins[:, 2] - path.ends[:, 2]
    down = (path.kind == CUT) & (drop > 0) & (scene.carved.removed > 0)
    level = np.linalg.norm(path.ends[:, :2] - path.begins[:, :2], axis=1)
    assert down.any()
    assert (drop[down] <= level[down] * tan(radians(5.0)) + 1e-9).all()
    depths = -np.diff(np.concatenate([[58.0], heights_of_levels(path)[::-1]]))
    assert depths.max() <= scene.stage.step_down + 1e-9


def test_moat_makes_room_for_a_shank_wider_than_its_bit() -> None:
    """Shank r12 from 6 mm up: waste that is higher stands 12 from the axis, or further."""
    thick = Bit(
        name="thick", shape="ball", diameter=3.0, flutes=2, flute_length=6.0, shank=24.0,
        stick_out=50.0,
    )  # fmt: skip
    job = job_for((140.0, 140.0, 14.0), (FLAT, thick), clear="moat", moat=5.0)
    wall = shapely.box(60, 60, 80, 80)
    ice = roughed(footed(wall, 4.0, 9.0), job, cell=0.5).carved.ice
    waste = np.asarray(shapely.distance(wall, centres(ice))) > SKIN_MM + 1.0
    xx, yy = np.meshgrid(ice.grid.x, ice.grid.y)
    foot = wall.buffer(1.5).exterior
    for place in shapely.line_interpolate_point(foot, np.linspace(0, 1, 24), normalized=True):
        under = waste & (np.hypot(xx - place.x, yy - place.y) < 12.0)
        assert ice.heights[under].max() <= 4.0 + 6.0
    assert ice.heights.max() == 14.0


@pytest.mark.parametrize(("stick_out", "least"), [(30.0, 1.5 + 15.0), (60.0, 0.0)])
def test_moat_is_wide_for_a_nut_only_where_the_nut_comes_down(
    stick_out: float, least: float
) -> None:
    """Nut r15, 30 up: at 40 mm it is beside the ice, tip at the foot; 60 up it is not."""
    bit = Bit(
        name="ball", shape="ball", diameter=3.0, flutes=2, flute_length=20.0, shank=3.0,
        stick_out=stick_out, nut=30.0,
    )  # fmt: skip
    job = job_for((140.0, 140.0, 60.0), (FLAT, bit), clear="moat", moat=5.0)
    found = moat_width(40.0, job, ladder(job)[0])
    assert found >= least
    assert (found >= 1.5 + 15.0) == (least > 0)


def test_nut_comes_down_to_the_foot_wherever_the_levels_lie() -> None:
    """Nut r9, 40 up, between two levels, and a moat no wider than it must be: the foot is reached.

    No cell of waste stands in the nut with the tip beside the foot (definition).
    """
    bit = Bit(
        name="short", shape="flat", diameter=8.0, flutes=2, flute_length=30.0, shank=8.0,
        stick_out=40.0, nut=18.0,
    )  # fmt: skip
    job = job_for((240.0, 240.0, 58.0), (bit,), clear="moat", moat=10.0)
    wall = shapely.box(110, 110, 130, 130)
    scene = roughed(footed(wall, 4.0, 14.0), job, cell=0.5)
    assert heights_of_levels(scene.path)[0] == pytest.approx(4.0)
    assert not (np.abs(heights_of_levels(scene.path) - 44.0) < 1.0).any()
    apart = np.asarray(shapely.distance(wall, centres(scene.carved.ice)))
    foot = (apart > SKIN_MM + 1.0) & (apart < SKIN_MM + 8.0)
    np.testing.assert_allclose(scene.carved.ice.heights[foot], 4.0, atol=1e-9)
    assert scene.carved.contact_depth.max() == 0.0
