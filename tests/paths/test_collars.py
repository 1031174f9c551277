"""Roughing beside a thin wall: the bulk by whole steps, a collar trimmed by thin ones.

A wall 8 mm thick stands 60 mm high in a block of 160 x 120 x 70; forces and what walls bear are
those of `icecam.ice.limits`, held to sources in tests/ice.
"""

from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from icecam.estimate.load import Load, Setting, stage_load
from icecam.estimate.pushes import worst_push
from icecam.estimate.runtime import runtime
from icecam.estimate.stretches import Taken
from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.profile import cylinders
from icecam.job.records import Bit
from icecam.paths import loops
from icecam.paths.collars import SHORTEST_MM, pockets, trims
from icecam.paths.loops import Line, Turn
from icecam.paths.rough_stage import Roughed, rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import RAPID
from icecam.prove.carving import Carved, carve, whole_block
from icecam.prove.proof import GOUGE_MM, RAPID_MM, deepest_gouge
from tests.paths.scenes import footed, highest_within, job_for

HALF_INCH = Bit(
    name="flat 12.7", shape="flat", diameter=12.7, flutes=2, flute_length=40.0, shank=12.7,
    stick_out=90.0,
)  # fmt: skip
SIZE = (160.0, 120.0, 70.0)
JOB = job_for(SIZE, (HALF_INCH,), floor=5.0)
STAGE: Stage = ladder(JOB)[0]
WALL = shapely.box(40.0, 56.0, 120.0, 64.0)
SURFACE = surface_of(footed(WALL, 8.0, 68.0), closed=True)
CELL = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """The wall roughed: the stage, the block, the load, minutes."""

    roughed: Roughed
    carved: Carved
    load: Load
    minutes: float


@cache
def cut() -> Cut:
    triangles = footed(WALL, 8.0, 68.0)
    ice = whole_block(SIZE, CELL)
    found = rough_stage(STAGE, JOB, triangles, sculpture_heights(SURFACE, ice.grid), ice)
    above = cylinders(STAGE.bit, JOB.machine.spindle.body)
    carved = carve(ice, found.path, STAGE.cutting, above)
    seconds = runtime(found.path, JOB.machine).seconds
    setting = Setting(STAGE.bit, JOB.machine.spindle, STAGE.spindle_rpm, JOB.block.temperature)
    taken = Taken(carved.removed, carved.depth, carved.chip, CELL)
    load = stage_load(found.path, seconds, taken, setting)
    return Cut(roughed=found, carved=carved, load=load, minutes=float(seconds.sum()) / 60)


def test_no_cut_beside_the_wall_pushes_harder_than_it_bears() -> None:
    """Whole steps of 12.7 mm would push it over: thinner walls of 8 mm bear about 5 N."""
    found = cut()
    assert found.roughed.walls.thickness.min() < 9.0
    push = worst_push(found.load.series, found.roughed.path, STAGE, found.roughed.walls)
    assert push is None
    assert found.load.side_force.high > 20.0


def test_nothing_is_harmed_and_nothing_left_but_the_skin() -> None:
    found = cut()
    assert found.carved.rapid_depth.max() <= RAPID_MM
    assert found.carved.contact_depth.max() == 0.0
    ice = found.carved.ice
    wanted = sculpture_heights(SURFACE, ice.grid)
    assert deepest_gouge(ice, wanted, SURFACE).depth <= GOUGE_MM
    x, y = np.meshgrid(ice.grid.x, ice.grid.y)
    apart = shapely.distance(WALL, shapely.points(x, y))
    inside = (x > 8) & (x < SIZE[0] - 8) & (y > 8) & (y < SIZE[1] - 8)
    # beyond skin, draft and outlines nothing stands over the foot of the wall
    assert ice.heights[inside & (apart > JOB.roughing.skin + 0.7)].max() <= 8.0 + 1e-9


def test_rapids_straight_down_stop_over_the_ice_just_beside_them() -> None:
    """Ice is what the cuts before have left; 0.2 mm is for what ice and bit may lie off sideways.

    Where a bit comes down beside a collar it may graze that, so it goes at feed from the clearance
    over its top on, not from that over the open core (job: 3 mm).
    """
    size = (100.0, 70.0, 40.0)
    job = job_for(size, (HALF_INCH,), floor=5.0)
    triangles = footed(shapely.box(35.0, 31.0, 65.0, 39.0), 8.0, 38.0)
    ice = whole_block(size, CELL)
    wanted = sculpture_heights(surface_of(triangles, closed=True), ice.grid)
    path = rough_stage(STAGE, job, triangles, wanted, ice).path
    steps = path.ends - path.begins
    upright = (steps[:, :2] == 0).all(axis=1) & (steps[:, 2] < 0)
    done, over_ice = 0, []
    for move in np.flatnonzero(upright & (path.kind == RAPID)).tolist():
        ice = carve(ice, path.part(done, move), STAGE.cutting).ice
        done = move
        x, y, z = path.ends[move].tolist()
        over_ice.append(z - highest_within(ice, x, y, STAGE.cutting.radius + 0.2))
    assert np.isfinite(over_ice).sum() >= 3
    assert min(over_ice) >= job.feeds.clearance - 1e-9


def test_collars_take_less_time_than_thin_levels_everywhere() -> None:
    """The same wall with a job that steps down no deeper anywhere than the wall bears."""
    found = cut()
    path = found.roughed.path
    level = (path.kind == 1) & (path.begins[:, 2] == path.ends[:, 2])
    heights = np.unique(path.ends[level, 2])
    step = float(-np.diff(heights[::-1]).max(initial=0.0)) or float(np.diff(heights).max())
    thin = replace(JOB, roughing=replace(JOB.roughing, step_down=step / 12.7))
    stage = ladder(thin)[0]
    ice = whole_block(SIZE, 0.5)
    wanted = sculpture_heights(SURFACE, ice.grid)
    slow = rough_stage(stage, thin, footed(WALL, 8.0, 68.0), wanted, ice)
    minutes = float(runtime(slow.path, JOB.machine).seconds.sum()) / 60
    assert found.minutes < 0.75 * minutes


def trimmed(area: BaseGeometry, core: BaseGeometry, stepover: float) -> list[list[Turn[Line]]]:
    """Lines of each collar."""
    (level,) = trims([area], pockets(area, core), stepover)
    return [lines for pocket in level for lines in pocket.lines]


@settings(deadline=None, derandomize=True, max_examples=40)
@given(
    st.integers(10, 60), st.integers(8, 40), st.integers(0, 20), st.sampled_from([3.0, 5.0, 6.35])
)
def test_trimming_sweeps_the_whole_collar(wide: int, deep: int, grow: int, stepover: float) -> None:
    """By definition: what the bit sweeps along core and lines, against the area swept whole."""
    radius = stepover
    off = shapely.box(80 - wide / 2, 60 - deep / 2, 80 + wide / 2, 60 + deep / 2).buffer(7.0)
    area = shapely.box(0, 0, 160, 120).difference(off)
    core = area.difference(off.buffer(2.0 + grow))
    swept = [core.buffer(radius)]
    for collar in trimmed(area, core, stepover):
        for line, *_ in collar:
            way = shapely.LineString(line.points)
            assert area.buffer(0.11).covers(way)
            swept.append(way.buffer(radius))
    missed = area.buffer(radius).difference(shapely.union_all(swept))
    assert missed.buffer(-0.1).area < 0.5


def test_ice_lies_to_the_right_of_each_line() -> None:
    """By definition: a little to the right lies the wall, to the left the core."""
    area = shapely.box(0, 0, 160, 120).difference(WALL.buffer(7.0))
    core = area.difference(WALL.buffer(12.0))
    (((line, *_),),) = trimmed(area, core, 6.35)
    steps = np.diff(line.points, axis=0)
    long = np.linalg.norm(steps, axis=1) > 1.0
    right = np.column_stack([steps[:, 1], -steps[:, 0]])[long]
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    places = (line.points[:-1] + line.points[1:])[long] / 2
    for side, nearer in ((1.0, True), (-1.0, False)):
        aside = shapely.points(places + side * 0.5 * right)
        here = shapely.distance(WALL, shapely.points(places))
        assert ((shapely.distance(WALL, aside) < here) == nearer).all()


@pytest.mark.parametrize("stepover", [2.0, 5.0])
def test_a_collar_wider_than_a_stepover_takes_several_lines(stepover: float) -> None:
    """By hand: 8 mm of collar in lines 2 or 5 mm apart: four or two of them."""
    area = shapely.box(0, 0, 160, 120).difference(WALL.buffer(7.0))
    core = area.difference(WALL.buffer(15.0))
    (turns,) = trimmed(area, core, stepover)
    count = {2.0: 4, 5.0: 2}[stepover]
    assert [turn.first for turn in turns] == [(), *((n,) for n in range(count - 1))]


ACROSS: Final = shapely.box(-20, 50, 180, 70)
"""A wall from edge to edge of a block 160 x 120: the lines beside it are open."""


def test_open_lines_go_to_and_fro_but_the_last_keeps_the_ice_to_its_right() -> None:
    """By hand: 13 mm of collar in lines 5 mm apart, three on either side of the wall."""
    area = shapely.box(0, 0, 160, 120).difference(ACROSS.buffer(7.0))
    core = area.difference(ACROSS.buffer(20.0))
    for turns in trimmed(area, core, 5.0):
        assert [turn.back for turn in turns] == [True, True, False]
        first, second, last = (turn.way.points for turn in turns)
        assert abs(first[-1, 0] - last[-1, 0]) <= 10.0 < abs(first[0, 0] - last[-1, 0])
        back = turns[1].begun_near((float(first[-1, 0]), float(first[-1, 1])))
        np.testing.assert_array_equal(back.points, second[::-1])
        assert turns[1].begun_near((float(first[0, 0]), float(first[0, 1]))) is turns[1].way
        assert turns[2].begun_near((float(last[-1, 0]), float(last[-1, 1]))) is turns[2].way
        assert len(turns[1].starts.geoms) == 2
        assert len(turns[2].starts.geoms) == 1


@settings(deadline=None, derandomize=True, max_examples=40)
@given(
    st.integers(10, 60), st.integers(8, 40), st.integers(4, 20), st.sampled_from([2.0, 3.0, 5.0])
)
def test_in_whatever_order_no_line_meets_more_than_it_is_marked_for(
    wide: int, deep: int, grow: int, stepover: float
) -> None:
    """By definition: near the core or a line that comes first wherever it is not called a slot."""
    off = shapely.box(80 - wide / 2, 60 - deep / 2, 80 + wide / 2, 60 + deep / 2).buffer(7.0)
    area = shapely.box(0, 0, 160, 120).difference(off)
    core = area.difference(off.buffer(2.0 + grow))
    for collar in trimmed(area, core, stepover):
        ways = [shapely.LineString(line.points) for line, *_ in collar]
        for n, (line, first, _) in enumerate(collar):
            assert all(sooner < n for sooner in first)
            opened = shapely.union_all([core, *(ways[sooner] for sooner in first)])
            middles = (line.points[:-1] + line.points[1:])[~line.slot] / 2
            aside = shapely.distance(opened, np.array(shapely.points(middles)))
            assert aside.max(initial=0.0) <= loops.BESIDE * stepover + 2 * SHORTEST_MM
