"""The roughing stage of a sculpture: which area at which level, then the path that clears it."""

from collections.abc import Sequence
from copy import deepcopy
from itertools import pairwise
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
from icecam.kernels.compiled import each_of
from icecam.kernels.profile import height
from icecam.paths.collars import without_slivers
from icecam.paths.loops import roomy
from icecam.paths.precut import gone_at, meeting_ice, open_below
from icecam.paths.roughing import Cut, Level, Rougher, out_of_reach, thin_left
from icecam.paths.stages import Stage
from icecam.paths.standing import FINER_MM, coarse, lowest_for, parts_above, widened
from icecam.paths.step_down import (
    StepDown,
    beside_walls,
    collar_width,
    fitting_levels,
    limit_words,
    slabs_within,
    walls_beside,
)
from icecam.paths.toolpath import Toolpath

AWAY_MM: Final = 1.5
"""Kept between a collet nut and ice beside it, on top of the squares of the coarse ice."""
STURDY_MM: Final = 40.0
"""Walls of waste thinner than this are cleared with the moat (common practice, no source)."""
COARSER_MM: Final = 0.05
"""Outlines are simplified to this, and kept off by twice as much."""
GROUNDS_EVERY: Final = 7
"""Cells of the sculpture from one that levels are fitted to, to the next."""
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
    walls = walls_beside(wanted, top, bottom, stage.step_down, stage.bit)
    most = beside_walls(job, stage.bit, walls, stage.step_down)
    asked = StepDown(depth=stage.step_down, by=stage.step_limit)
    grounds = wanted.heights[np.isfinite(wanted.heights)][::GROUNDS_EVERY] + stage.skin
    steps = fitting_levels(top, bottom, stage.step_down, grounds)
    slabs = []
    for over, levels in slabs_within(steps, top, walls.z, most):
        each = [_Asked(z, last, 0.0) for last, z in pairwise([over, *levels.tolist()])]
        if len(each) == 1:
            slabs.append(_Slab(each[0], ()))
            continue
        low = float(levels[-1])
        width = collar_width(job, stage.bit, walls, low, over, stage.step_down)
        slabs.append(_Slab(_Asked(low, over, width), tuple(each)))
    plan = _Plan(stage, job, triangles, wanted, ice, slabs)
    for slab in slabs:
        plan.clear(slab)
    limit = limit_words(job, stage.bit, asked, walls, most)
    return Roughed(path=plan.rougher.path(), limit=limit, walls=walls)


class _Asked(NamedTuple):
    """A level to be cleared: its height, that of the one above, what stays besides the skin; mm."""

    z: float
    over: float
    width: float


class _Slab(NamedTuple):
    """A slab of one whole step, cleared at once, and the levels that trim what stays of it then."""

    whole: _Asked
    thin: tuple[_Asked, ...]

    @property
    def levels(self) -> tuple[_Asked, ...]:
        """All of them, from the top down."""
        return self.thin or (self.whole,)


class _Plan:
    """Carries what is known of the sculpture and of the levels cleared so far."""

    def __init__(
        self,
        stage: Stage,
        job: Job,
        triangles: np.typing.NDArray[np.float64],
        wanted: HeightField,
        ice: HeightField,
        slabs: Sequence[_Slab],
    ) -> None:
        self._stage, self._job = stage, job
        self._above = cylinders(stage.bit, job.machine.spindle.body)
        # levels are taken for flat, which a pointed bit does not leave: it travels like a cylinder
        parts = ((cylinder_profile(stage.cutting.radius), 0.0), *parts_above(self._above))
        self.rougher = Rougher(coarse(ice), job.block.size[:2], parts, _cut(stage, job))
        self._open: BaseGeometry = shapely.box(-1e4, -1e4, 1e5, 1e5)
        sparse, near = _highest_in_squares(wanted, stage.skin)
        heights = np.array([level.z for slab in slabs for level in slab.levels])
        found = shadows(triangles, sparse, heights, near=near)
        keep = dict(zip(heights.tolist(), found, strict=True))
        seen = polygons_of(np.isfinite(sparse.heights), sparse.grid)
        whole = shapely.union(found[-1], seen).simplify(1.0)
        asked = list(dict.fromkeys(one for slab in slabs for one in (slab.whole, *slab.thin)))
        # a geometry notes its bounds when first asked for them, so no two threads may share one
        own = [(one, *deepcopy((keep[one.z], whole))) for one in asked]
        before, bottom = coarse(ice, FINER_MM), float(heights[-1])
        areas = each_of(own, lambda one: _area(*one, before, bottom, job, stage))
        self._areas = dict(zip(asked, areas, strict=True))

    def clear(self, slab: _Slab) -> None:
        """Clear a slab at once but for collars round the sculpture, if it has any; then those."""
        radius, (low, over, _) = self._stage.cutting.radius, slab.whole
        ((free, gone),) = self._free([slab.whole])
        area = free.intersection(self._open)
        met = self._meeting(area, gone)
        core = self.rougher.clear(met, low, over)
        if not slab.thin:
            self._open = open_below(core, area, met, gone, radius)
            return
        parts = []
        for level, (free, gone) in zip(slab.thin, self._free(slab.thin), strict=True):
            area = free.intersection(self._open)
            met = without_slivers(roomy(self._meeting(area, gone)), core)
            parts.append(Level(level.z, level.over, met, over))
            self._open = open_below(met.union(core), area, met, gone, radius)
        self.rougher.trim(parts, core)

    def _meeting(self, area: BaseGeometry, gone: BaseGeometry) -> BaseGeometry:
        return meeting_ice(area, gone, self._job.block.size[:2], self._stage.cutting.radius)

    def _free(self, levels: Sequence[_Asked]) -> list[tuple[BaseGeometry, BaseGeometry]]:
        """Areas of levels where nut and spindle are clear of the ice as it stands; what is gone."""
        around = widened(self.rougher.standing, 2 * self._stage.cutting.radius)
        nut = HeightField(grid=around.grid, heights=lowest_for(around, self._above[1:]) + AWAY_MM)

        def free(level: _Asked) -> tuple[BaseGeometry, BaseGeometry]:
            area, gone = self._areas[level]
            beyond = out_of_reach(nut, level.z, 2 * self._stage.cutting.radius)
            return area.difference(beyond), gone

        return each_of(levels, free)


def _area(
    asked: _Asked,
    keep: BaseGeometry,
    whole: BaseGeometry,
    before: HeightField,
    bottom: float,
    job: Job,
    stage: Stage,
) -> tuple[BaseGeometry, BaseGeometry]:
    """Area to be cleared at a level, and where no ice stands above it.

    keep : the sculpture from the level up; whole : all of it, seen from above
    before : greatest heights in squares, of the block before it is roughed
    bottom : mm, the lowest level
    """
    z, over, width = asked
    deep = job.block.size[2] - z - stage.bit.flute_length
    draft = DRAFT_MM * max(0.0, deep // stage.step_down + 1)
    aside = stage.cutting.radius + stage.skin + width + draft + 2 * COARSER_MM
    off = keep.simplify(COARSER_MM).buffer(aside, quad_segs=8).simplify(COARSER_MM)
    gone = gone_at(before, z, 3 * stage.cutting.radius)
    area = _wanted(whole, gone, over, bottom, job, stage)
    return area.buffer(-draft).difference(off), gone


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
        flat=stage.cutting.flat,
        ridge=height(stage.cutting, min(stage.stepover, stage.cutting.radius)),
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
