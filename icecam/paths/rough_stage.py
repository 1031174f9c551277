"""The roughing stage of a sculpture: which area at which level, then the path that clears it."""

from math import sqrt
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.profile import Cylinder, cylinder_profile, cylinders
from icecam.geometry.slices import polygons_of, shadows
from icecam.geometry.walls import Walls
from icecam.job.records import Bit, Job
from icecam.paths.precut import gone_at, meeting_ice, open_below
from icecam.paths.roughing import Cut, Rougher, out_of_reach, thin_left
from icecam.paths.stages import Stage
from icecam.paths.standing import FINER_MM, coarse, lowest_for, parts_above, widened
from icecam.paths.step_down import StepDown, beside_walls, levels_within, limit_words, walls_beside
from icecam.paths.toolpath import Toolpath

AWAY_MM: Final = 1.5
"""Kept between a collet nut and ice beside it, on top of the squares of the coarse ice."""
STURDY_MM: Final = 40.0
"""Walls of waste thinner than this are cleared with the moat (common practice, no source)."""
COARSER_MM: Final = 0.05
"""Outlines are simplified to this, and kept off by twice as much."""
DRAFT_MM: Final = 0.1
"""Each level below the flute length stays this much further off, so that the shank does not rub."""


class Roughed(NamedTuple):
    """A roughing stage: its path in block coordinates, what bounds its steps, walls it passes."""

    path: Toolpath
    limit: str
    walls: Walls


def rough_stage(
    stage: Stage,
    job: Job,
    triangles: np.typing.NDArray[np.float64],
    wanted: HeightField,
    ice: HeightField,
) -> Roughed:
    """Plan the roughing stage.

    triangles : (n, 3, 3) mm, the sculpture; wanted : its heights seen from above; ice : the block
    """
    top = job.block.size[2]
    bottom = max(job.block.floor, min(float(triangles[:, :, 2].min()), top))
    walls = walls_beside(wanted, top, bottom, stage.step_down)
    most = beside_walls(job, stage.bit, walls, stage.step_down)
    asked = StepDown(depth=stage.step_down, by=stage.step_limit)
    heights = levels_within(top, bottom, walls.z, most)
    sparse, near = _highest_in_squares(wanted, stage.skin)
    keep = shadows(triangles, sparse, heights, near=near)
    whole = shapely.union(keep[-1], polygons_of(np.isfinite(sparse.heights), sparse.grid))
    whole = whole.simplify(1.0)
    bit = stage.bit
    above = cylinders(bit, job.machine.spindle.body)
    # levels are taken for flat, which a pointed bit does not leave: it travels like a cylinder
    parts = ((cylinder_profile(stage.cutting.radius), 0.0), *parts_above(above))
    cut = _cut(stage, job)
    above_it: BaseGeometry = shapely.box(-1e4, -1e4, 1e5, 1e5)
    before = coarse(ice, FINER_MM)
    rougher = Rougher(coarse(ice), job.block.size[:2], parts, cut)
    for over, z, shadow in zip([top, *heights[:-1]], heights, keep, strict=True):
        draft = DRAFT_MM * max(0.0, (top - z - bit.flute_length) // stage.step_down + 1)
        aside = stage.cutting.radius + stage.skin + draft + 2 * COARSER_MM
        off = shadow.simplify(COARSER_MM).buffer(aside, quad_segs=8).simplify(COARSER_MM)
        gone = gone_at(before, float(z), 3 * stage.cutting.radius)
        area = _wanted(whole, gone, float(over), float(z), bottom, job, stage)
        area = area.buffer(-draft).difference(off)
        around = widened(rougher.standing, 2 * stage.cutting.radius)
        nut = HeightField(grid=around.grid, heights=lowest_for(around, above[1:]) + AWAY_MM)
        area = area.difference(out_of_reach(nut, float(z))).intersection(above_it)
        met = meeting_ice(area, gone, job.block.size[:2], stage.cutting.radius)
        cleared = rougher.clear(met, float(z), float(over))
        above_it = open_below(cleared, area, met, gone, stage.cutting.radius)
    return Roughed(
        path=rougher.path(), limit=limit_words(job, bit, asked, walls, most), walls=walls
    )


def _highest_in_squares(field: HeightField, skin: float) -> tuple[HeightField, float]:
    """Highest nodes in squares of a field, and how far a node lies from its square's middle (mm).

    Squares are so small that what stands out beside a middle stays within the skin.
    """
    g = field.grid
    count = 1 + min(3, int(skin / (2 * sqrt(0.5) * g.pitch)))
    ny, nx = -(-g.ny // count), -(-g.nx // count)
    padding = ((0, ny * count - g.ny), (0, nx * count - g.nx))
    padded = np.pad(field.heights, padding, constant_values=-np.inf)
    heights = padded.reshape(ny, count, nx, count).max(axis=(1, 3))
    off = (count - 1) / 2 * g.pitch
    grid = Grid(g.x0 + off, g.y0 + off, g.pitch * count, nx, ny)
    return HeightField(grid=grid, heights=heights), off * sqrt(2)


def _cut(stage: Stage, job: Job) -> Cut:
    return Cut(
        radius=stage.cutting.radius,
        stepover=stage.stepover,
        feed=stage.feed,
        slot_feed=stage.feed * job.feeds.slot,
        approach=min(stage.feed, job.machine.speed[2]),
        ramp_deg=job.feeds.ramp_deg,
        clearance=job.feeds.clearance,
        safe=job.block.size[2] + job.feeds.clearance,
    )


def _wanted(
    whole: BaseGeometry,
    gone: BaseGeometry,
    over: float,
    z: float,
    bottom: float,
    job: Job,
    stage: Stage,
) -> BaseGeometry:
    """Area of the bit's centre that is to be cleared at a level, the sculpture not yet left out.

    gone : where no ice stands above the level, which lies open like all outside of the block
    over : mm, the level above
    """
    radius = stage.cutting.radius
    block: BaseGeometry = shapely.box(0, 0, *job.block.size[:2])
    reach = block.buffer(radius / 2, join_style="mitre")
    around = block.buffer(3 * radius, join_style="mitre")
    if job.roughing.clear == "block":
        return reach
    # ice beside the moat stands up to the level above, which the next parts of a bit must clear
    width = moat_width(over - bottom, job, stage)
    moat = whole.buffer(width, quad_segs=4).simplify(0.1)
    block = block if gone.is_empty else block.difference(gone)
    moat = shapely.union(moat, thin_left(block, moat, STURDY_MM))
    outside = around.difference(block)
    open_ = shapely.union(moat, moat.buffer(2 * radius).intersection(outside))
    return open_.buffer(-radius).intersection(reach)


def moat_width(height: float, job: Job, stage: Stage) -> float:
    """Width of the moat (mm) at a height above its bottom: all bits come down to it.

    Whatever part of a bit reaches below this height with its tip at the bottom, at the foot of the
    sculpture, must have room.
    """
    need = max(job.roughing.moat, 2 * stage.cutting.radius + stage.skin + 1.0)
    for bit in job.rack:
        for part in cylinders(bit, job.machine.spindle.body):
            if part.base < height + AWAY_MM:
                need = max(need, _beside(part, bit, stage))
    return need


def _beside(part: Cylinder, bit: Bit, stage: Stage) -> float:
    """Room that a part needs beside the sculpture, its bit's tip at the foot of a wall."""
    tip = bit.diameter / 2 if bit is not stage.bit else stage.cutting.radius + stage.skin
    return tip + part.radius + 2 * AWAY_MM + 4.0
