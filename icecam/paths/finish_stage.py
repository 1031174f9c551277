"""A finishing stage: where a bit is needed after the ones before it, and its path there."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.drop import Surface, parts_of, tip_heights, tip_surface
from icecam.geometry.field import HeightField, Heights, covering
from icecam.geometry.profile import cylinders
from icecam.geometry.walls import Walls
from icecam.job.records import Job
from icecam.paths.cut_order import Cuts
from icecam.paths.finish_layers import Ground, in_layers
from icecam.paths.finishing import (
    Matter,
    need_for,
    slopes,
    steep_regions,
    stepover_for,
    tip_pitch,
    tip_radius,
)
from icecam.paths.linking import Bears, Going, Rest, link
from icecam.paths.pieces import Pieces
from icecam.paths.stages import Stage
from icecam.paths.standing import Standing, landing, lowest_for, parts_above, spread
from icecam.paths.thin_walls import thin_walls
from icecam.paths.toolpath import Toolpath
from icecam.paths.valleys import traced

ALLOWANCE_MM: Final = 0.03
"""Ice kept between bit and sculpture, which takes up chords and rounding."""
AWAY_MM: Final = 0.3
BESIDE_CONTACT_MM: Final = 1.0
BESIDE: Final = 2.0
"""Stepovers from one cut to the next over which the bit need not rise. Between cuts a stepover
apart stand the scallops, here four times as high: less than any skin."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finish:
    """Cuts of a finishing bit in order, with all that is needed to link them.

    tips : tip heights of the bit, inf where it may not go
    spacing : mm from row to row, and a little
    """

    cuts: Cuts
    tips: HeightField
    spacing: float
    standing: Standing
    going: Going
    rest: Rest
    bears: Bears

    @property
    def pieces(self) -> Pieces:
        """All cuts in order."""
        return self.cuts.pieces

    def path(self) -> Toolpath:
        """Return the cuts linked to one toolpath; without any, a path without moves."""
        return link(self.pieces, self.cuts.lifts, self.standing, self.going, self.rest, self.bears)

    def avoiding(self, places: NDArray[np.float64]) -> "Finish":
        """Return the stage without cuts near or below `places` (n, 3), where a part met ice."""
        return replace(self, cuts=self.cuts.without(places, self.spacing + BESIDE_CONTACT_MM))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tips:
    """Where the tip of a bit rests over the sculpture, before cuts are planned; mm.

    matters : cells on and beside the sculpture; every : nodes from row to row
    tips : heights on the sculpture; lowest : the tip goes no lower anywhere
    clear : lowest tip heights over squares of the ice at which nut and spindle are clear
    """

    matters: NDArray[np.bool_]
    every: int
    tips: HeightField
    lowest: float
    standing: Standing
    clear: HeightField

    @property
    def holder(self) -> Heights:
        """The same clear heights at the nodes of the tips."""
        return self.clear.over(self.tips.grid)

    @property
    def free(self) -> HeightField:
        """Heights of the tips, inf where nut or spindle would touch ice."""
        blocked = self.holder > self.tips.heights
        return replace(self.tips, heights=np.where(blocked, np.inf, self.tips.heights))


def free_tips(
    stage: Stage, job: Job, surface: Surface, wanted: HeightField, ice: HeightField
) -> HeightField:
    """Return tip heights of a finishing stage, inf where it may not go; see `finish_stage`."""
    return _tips(stage, job, surface, wanted, ice).free


def _tips(stage: Stage, job: Job, surface: Surface, wanted: HeightField, ice: HeightField) -> _Tips:
    matters = near_sculpture(wanted, job)
    rows, columns = np.nonzero(matters)
    if len(rows) == 0:
        raise ValueError("no cell of the sculpture lies in the block")
    pitch, every = tip_pitch(stage.cutting, stepover_for(stage.cutting, job.quality.scallop))
    g = ice.grid
    grid = covering(
        (g.x0 + columns.min() * g.pitch, g.y0 + rows.min() * g.pitch),
        (g.x0 + columns.max() * g.pitch, g.y0 + rows.max() * g.pitch),
        pitch,
    )
    lowest = max(job.block.floor, float(wanted.heights[np.isfinite(wanted.heights)].min()))
    lowest = max(job.block.floor, min(lowest, float(surface.triangles[:, 2::3].min())))
    above = cylinders(stage.bit, job.machine.spindle.body)
    standing = Standing(ice=ice, cutting=stage.cutting, above=parts_above(above))
    squares = standing.squares
    return _Tips(
        matters=matters,
        every=every,
        tips=tip_surface(surface, stage.bit, grid, allowance=ALLOWANCE_MM, lowest=lowest),
        lowest=lowest,
        standing=standing,
        clear=replace(squares, heights=lowest_for(squares, above[1:]) + AWAY_MM),
    )


def finish_stage(
    stage: Stage,
    job: Job,
    surface: Surface,
    wanted: HeightField,
    ice: HeightField,
    walls: Walls,
) -> Finish:
    """Plan a finishing stage on the ice as the stages before it left it.

    surface : the sculpture for dropping bits on; wanted : its heights seen from above
    walls : its thinnest, that the stage goes past
    """
    over = _tips(stage, job, surface, wanted, ice)
    tips, holder, squares = over.tips, over.holder, over.standing.squares
    grid, pitch = tips.grid, tips.grid.pitch
    tops = HeightField(grid=squares.grid, heights=spread(squares, stage.cutting.radius))
    matter = Matter(ice=ice, matters=over.matters, tops=tops, profile=stage.cutting)
    need = need_for(tips, matter, holder <= tips.heights)
    parts = parts_of(stage.bit, allowance=ALLOWANCE_MM)

    def rest(points: NDArray[np.float64]) -> Heights:
        clear = over.clear.heights[squares.grid.nearest(points[:, 0], points[:, 1])]
        return np.maximum(tip_heights(surface, parts, points, lowest=over.lowest), clear)

    useful = need.bite > job.quality.detail
    need = replace(need, free=need.free & (useful | (need.depth <= stage.step_down)))

    def bears(points: NDArray[np.float64]) -> NDArray[np.bool_]:
        # where the bit is needed its upper layers have left no more than one step
        shallow = landing(ice, stage.cutting, points) - points[:, 2] <= stage.step_down
        return shallow | useful[grid.nearest(points[:, 0], points[:, 1])]

    width = 4 * tip_radius(stage.cutting)
    ground = Ground(
        need=need,
        matter=matter,
        steep=steep_regions(*slopes(tips.heights, pitch), tips.heights, pitch, width),
        useful=useful,
        traced=traced(need, useful, matter, rest, job.quality.detail, stage.stepover),
        holder=holder,
        every=over.every,
        walls=thin_walls(walls, stage, job),
        rest=rest,
    )
    going = _going(stage, job, pitch)
    return Finish(
        cuts=in_layers(stage, job.quality, ground, going),
        tips=over.free,
        spacing=max(1.25 * stage.stepover, 0.75),
        standing=over.standing,
        going=going,
        rest=rest,
        bears=bears,
    )


def _going(stage: Stage, job: Job, pitch: float) -> Going:
    machine = job.machine
    return Going(
        feed=stage.feed,
        plunge=stage.feed * job.feeds.plunge,
        approach=min(stage.feed, machine.speed[2]),
        speed=(min(machine.speed[:2]), machine.speed[2]),
        acceleration=(min(machine.acceleration[:2]), machine.acceleration[2]),
        clearance=job.feeds.clearance,
        safe=job.block.size[2] + job.feeds.clearance,
        pitch=pitch,
        tip=stage.cutting.corner,
        beside=BESIDE * stage.stepover,
    )


def near_sculpture(wanted: HeightField, job: Job) -> NDArray[np.bool_]:
    """Cells on and close beside the sculpture."""
    seen = np.isfinite(wanted.heights)
    widest = max(bit.diameter for bit in job.rack) / 2 + job.roughing.skin
    near: NDArray[np.bool_] = ndimage.distance_transform_edt(~seen) * wanted.grid.pitch <= widest
    return near
