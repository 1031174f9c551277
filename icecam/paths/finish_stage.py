"""A finishing stage: where a bit is needed after the ones before it, and its path there."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.drop import Surface, parts_of, tip_heights, tip_surface
from icecam.geometry.field import HeightField, Heights, covering
from icecam.geometry.profile import cylinders
from icecam.job.records import Job
from icecam.paths.drafting import read_off
from icecam.paths.finishing import (
    CLOSER,
    TILTED,
    Need,
    need_for,
    slopes,
    steep_regions,
    stepover_for,
    sweeps,
    tip_pitch,
    tip_radius,
)
from icecam.paths.linking import Going, link
from icecam.paths.pieces import Pieces, in_short_order, pieces_of, simplified, without
from icecam.paths.refining import refined
from icecam.paths.rings import rings
from icecam.paths.stages import Stage
from icecam.paths.standing import Body, body_of, coarse, lowest_for, spread
from icecam.paths.toolpath import Toolpath

ALLOWANCE_MM: Final = 0.03
"""Ice kept between bit and sculpture, which takes up chords and rounding."""
STRAIGHT_MM: Final = 0.01
AWAY_MM: Final = 0.3
BESIDE_CONTACT_MM: Final = 1.0
ROUGH_ROWS: Final = 0.4
"""Rows of a bit's upper layers, in diameters of its tip."""

Rest = Callable[[NDArray[np.float64]], Heights]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finish:
    """Cuts of a finishing bit in order, with all that is needed to link them.

    tips : tip heights of the bit, inf where it may not go
    """

    pieces: Pieces
    tips: HeightField
    standing: HeightField
    body: Body
    going: Going
    rest: Rest

    def path(self) -> Toolpath:
        """Return the cuts linked to one toolpath; without any, a path without moves."""
        return link(self.pieces, self.standing, self.body, self.going, self.rest)

    def avoiding(self, places: NDArray[np.float64]) -> "Finish":
        """Return the stage without cuts near or below `places` (n, 3), where a part met ice."""
        pieces = without(self.pieces, places, self.going.near / 2 + BESIDE_CONTACT_MM)
        return replace(self, pieces=pieces)


def finish_stage(
    stage: Stage,
    job: Job,
    surface: Surface,
    wanted: HeightField,
    ice: HeightField,
    *,
    exact: bool = True,
) -> Finish:
    """Plan a finishing stage on the ice as the stages before it left it.

    surface : the sculpture for dropping bits on; wanted : its heights seen from above
    exact : False for a draft, see `icecam.paths.drafting`
    """
    matters = _near_sculpture(wanted, ice, job)
    rows, columns = np.nonzero(np.isfinite(matters))
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
    tips = tip_surface(surface, stage.bit, grid, allowance=ALLOWANCE_MM, lowest=lowest)
    standing = coarse(ice)
    at = standing.grid.nearest(*np.meshgrid(grid.x, grid.y))
    above = cylinders(stage.bit, job.machine.spindle.body)
    coarse_holder = lowest_for(standing, above[1:]) + AWAY_MM
    holder = coarse_holder[at]
    tops = spread(standing, stage.cutting.radius)[at]
    field = HeightField(grid=g, heights=matters)
    need = need_for(tips, field, tops, stage.cutting, holder <= tips.heights)
    parts = parts_of(stage.bit, allowance=ALLOWANCE_MM)

    def rest(points: NDArray[np.float64]) -> Heights:
        clear = coarse_holder[standing.grid.nearest(points[:, 0], points[:, 1])]
        return np.maximum(tip_heights(surface, parts, points, lowest=lowest), clear)

    def read(points: NDArray[np.float64]) -> Heights:
        clear = coarse_holder[standing.grid.nearest(points[:, 0], points[:, 1])]
        return np.maximum(read_off(tips, points), clear)

    resting = _Resting(dropped=rest, between=rest if exact else read, exact=exact)
    pieces = _pieces(stage, job, need, holder, every, resting)
    free = np.where(holder > tips.heights, np.inf, tips.heights)
    may = HeightField(grid=grid, heights=free)
    going = Going(
        feed=stage.feed,
        plunge=stage.feed * job.feeds.plunge,
        clearance=job.feeds.clearance,
        safe=job.block.size[2] + job.feeds.clearance,
        near=max(2.5 * stage.stepover, 1.5),
        pitch=pitch,
        tip=stage.cutting.corner,
    )
    return Finish(
        pieces=pieces,
        tips=may,
        standing=standing,
        body=body_of(stage.cutting.radius, above),
        going=going,
        rest=resting.between,
    )


def _near_sculpture(wanted: HeightField, ice: HeightField, job: Job) -> Heights:
    """Ice on and close beside the sculpture, -inf elsewhere."""
    seen = np.isfinite(wanted.heights)
    widest = max(bit.diameter for bit in job.rack) / 2 + job.roughing.skin
    near = ndimage.distance_transform_edt(~seen) * wanted.grid.pitch <= widest
    return np.where(near, ice.heights, -np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Resting:
    """Heights of the tip off the grid: of the bit itself, and as rows and ways take them."""

    dropped: Rest
    between: Rest
    exact: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Layer:
    """Pieces that are cut together, and how far above the surface."""

    pieces: Pieces
    lift: float


def _pieces(
    stage: Stage,
    job: Job,
    need: Need,
    holder: Heights,
    every: int,
    resting: _Resting,
) -> Pieces:
    """All cuts of the stage in order: upper layers, rings from the top down, sweeps."""
    tip = tip_radius(stage.cutting)
    useful = need.bite > job.quality.detail
    in_x, in_y = slopes(need.tips, need.grid.pitch)
    regions = steep_regions(in_x, in_y, need.tips, need.grid.pitch, 4 * tip)
    shallow = useful & ~ndimage.binary_erosion(regions > 0, iterations=2)
    done: list[NDArray[np.float64]] = []
    start = (need.grid.x0, need.grid.y0)

    def add(pieces: Pieces, lift: float) -> None:
        nonlocal start
        if len(pieces) == 0:
            return
        ordered = in_short_order(simplified(pieces, STRAIGHT_MM), start)
        done.extend(ordered[n] + (0.0, 0.0, lift) for n in range(len(ordered)))
        start = (float(done[-1][-1, 0]), float(done[-1][-1, 1]))

    def settle(on_chord: NDArray[np.float64]) -> Heights:
        return resting.between(on_chord[:, :2])

    for layer in _upper_layers(stage, need, useful, tip):
        add(refined(layer.pieces, stage.cutting.corner, settle), layer.lift)
    step = stepover_for(stage.cutting, job.quality.scallop) * CLOSER
    rest, exact = resting.dropped, resting.exact
    for region in rings(need.tips, need.grid, regions, useful, holder, step, rest, exact=exact):
        for level in region:
            add(level, 0.0)
    for rows in _sweeps(need, shallow, in_y, every, tip):
        add(refined(rows, stage.cutting.corner, settle), 0.0)
    return pieces_of(done)


def _upper_layers(stage: Stage, need: Need, useful: NDArray[np.bool_], tip: float) -> list[_Layer]:
    """Rows above the surface where the ice is thicker than one step-down, from the top."""
    if not useful.any():
        return []
    count = int(np.ceil(float(need.depth[useful].max()) / stage.step_down)) - 1
    every = max(1, round(2 * tip * ROUGH_ROWS / need.grid.pitch))
    layers = []
    for layer in range(count, 0, -1):
        lift = layer * stage.step_down
        where = useful & (need.depth > lift)
        rows = sweeps(need, where, first_row=0, every=every, gap=4 * tip, cliff=4 * tip)
        layers.append(_Layer(pieces=rows, lift=lift))
    return layers


def _sweeps(
    need: Need, where: NDArray[np.bool_], rise: Heights, every: int, tip: float
) -> list[Pieces]:
    """Rows on the surface, and rows between them where it falls away across the rows."""
    tilted = where & (rise > TILTED)
    rows = sweeps(need, where, first_row=0, every=every, gap=4 * tip, cliff=4 * tip)
    between = sweeps(need, tilted, first_row=every // 2, every=every, gap=4 * tip, cliff=4 * tip)
    return [rows, between]
