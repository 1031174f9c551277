"""A finishing stage: where a bit is needed after the ones before it, and its path there."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, Heights
from icecam.geometry.profile import cylinders
from icecam.geometry.walls import Walls
from icecam.job.records import Job
from icecam.paths.cut_order import Cuts
from icecam.paths.finish_layers import Ground, in_layers
from icecam.paths.finishing import Matter, need_for
from icecam.paths.linking import link
from icecam.paths.pieces import Pieces
from icecam.paths.resting import Resting
from icecam.paths.stages import Stage
from icecam.paths.standing import Standing, landing, lowest_for, parts_above, spread
from icecam.paths.thin_walls import thin_walls
from icecam.paths.toolpath import Toolpath
from icecam.paths.ways import Going, Terrain, Ways, find_ways, kept_ways, risen

AWAY_MM: Final = 0.3
BESIDE_CONTACT_MM: Final = 1.0
BESIDE: Final = 2.0
"""Stepovers from one cut to the next over which the bit need not rise. Between cuts a stepover
apart stand the scallops, here four times as high: less than any skin."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finish:
    """Cuts of a finishing bit in order, and the ways between them.

    terrain : what the ways are found over
    tips : tip heights of the bit, inf where it may not go
    spacing : mm from row to row, and a little
    """

    cuts: Cuts
    ways: Ways
    terrain: Terrain
    tips: HeightField
    spacing: float

    @property
    def pieces(self) -> Pieces:
        """All cuts in order."""
        return self.cuts.pieces

    def path(self) -> Toolpath:
        """Return the cuts linked to one toolpath; without any, a path without moves."""
        return link(self.pieces, self.ways, self.terrain.going)

    def avoiding(self, moves: NDArray[np.float64]) -> "Finish":
        """Return the stage without some of its moves (n, 2, 3), from where to where.

        Ways between cuts that hold one go over the ice instead; cuts near either end are left out,
        and what lies straight below.
        """
        places = moves.copy()
        # on its way down a bit touches ice first near the lower end
        places[:, :, 2] = places[:, :, 2].min(axis=1, keepdims=True)
        cuts, origin = self.cuts.without(places.reshape(-1, 3), self.spacing + BESIDE_CONTACT_MM)
        ways = risen(self.ways, self.pieces, moves)
        ways = kept_ways(ways, self.pieces, origin, cuts.pieces, cuts.lifts, self.terrain)
        return replace(self, cuts=cuts, ways=ways)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Clear:
    """Where a bit rests and is clear of the ice that stands; mm.

    clear : lowest tip heights over squares of the ice at which nut and spindle are clear
    """

    resting: Resting
    standing: Standing
    clear: HeightField

    @property
    def holder(self) -> Heights:
        """The clear heights at the nodes of the tips."""
        return self.clear.over(self.resting.tips.grid)

    @property
    def free(self) -> HeightField:
        """Heights of the tips, inf where nut or spindle would touch ice."""
        tips = self.resting.tips
        return replace(tips, heights=np.where(self.holder > tips.heights, np.inf, tips.heights))

    def rest(self, points: NDArray[np.float64], least: float | Heights = -np.inf) -> Heights:
        """Tip heights (n,) at points (n, 2) at which all of the bit is clear; see `Rest`."""
        clear = self.clear.heights[self.clear.grid.nearest(points[:, 0], points[:, 1])]
        return self.resting.at(points, np.maximum(clear, least))


def free_tips(stage: Stage, job: Job, resting: Resting, ice: HeightField) -> HeightField:
    """Return tip heights of a finishing stage, inf where it may not go; see `finish_stage`."""
    return _clear(stage, job, resting, ice).free


def _clear(stage: Stage, job: Job, resting: Resting, ice: HeightField) -> _Clear:
    above = cylinders(stage.bit, job.machine.spindle.body)
    standing = Standing(ice=ice, cutting=stage.cutting, above=parts_above(above))
    squares = standing.squares
    heights = lowest_for(squares, above[1:]) + AWAY_MM
    return _Clear(resting=resting, standing=standing, clear=replace(squares, heights=heights))


def finish_stage(
    stage: Stage, job: Job, resting: Resting, ice: HeightField, walls: Walls
) -> Finish:
    """Plan a finishing stage on the ice as the stages before it left it.

    resting : where its bit rests on the sculpture
    walls : the thinnest of the sculpture, that the stage goes past
    """
    clear = _clear(stage, job, resting, ice)
    tips, holder, squares = resting.tips, clear.holder, clear.standing.squares
    tops = HeightField(grid=squares.grid, heights=spread(squares, stage.cutting.radius))
    matter = Matter(ice=ice, matters=resting.matters, tops=tops, profile=stage.cutting)
    detail = job.quality.detail
    need = need_for(tips, matter, holder <= tips.heights, detail)
    useful = need.bite > detail
    need = replace(need, free=need.free & (useful | (need.depth <= stage.step_down)))

    def bears(points: NDArray[np.float64]) -> NDArray[np.bool_]:
        # where the bit is needed its upper layers have left no more than one step
        shallow = landing(ice, stage.cutting, points) - points[:, 2] <= stage.step_down
        return shallow | useful[tips.grid.nearest(points[:, 0], points[:, 1])]

    ground = Ground(
        need=need,
        matter=matter,
        steep=resting.steep,
        useful=useful,
        holder=holder,
        every=resting.every,
        walls=thin_walls(walls, stage, job),
        rest=clear.rest,
    )
    going = _going(stage, job, tips.grid.pitch)
    cuts = in_layers(stage, job.quality, ground, going)
    terrain = Terrain(standing=clear.standing, going=going, rest=clear.rest, bears=bears)
    return Finish(
        cuts=cuts,
        ways=find_ways(cuts.pieces, cuts.lifts, terrain),
        terrain=terrain,
        tips=clear.free,
        spacing=max(1.25 * stage.stepover, 0.75),
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
