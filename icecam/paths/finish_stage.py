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
    Matter,
    Need,
    need_for,
    slopes,
    steep_regions,
    stepover_for,
    sweeps,
    tip_pitch,
    tip_radius,
)
from icecam.paths.linking import Bears, Going, Rest, link
from icecam.paths.pieces import (
    Pieces,
    by_height,
    in_short_order,
    joined,
    simplified,
    some_of,
    where_marked,
    without,
)
from icecam.paths.refining import refined
from icecam.paths.rings import rings
from icecam.paths.stages import Stage
from icecam.paths.standing import Standing, landing, lowest_for, parts_above, spread
from icecam.paths.toolpath import Toolpath

ALLOWANCE_MM: Final = 0.03
"""Ice kept between bit and sculpture, which takes up chords and rounding."""
STRAIGHT_MM: Final = 0.01
AWAY_MM: Final = 0.3
BESIDE_CONTACT_MM: Final = 1.0
BAND: Final = 0.4
"""Flute lengths from top to bottom of the cuts that come in any order."""
SURE: Final = 0.8
"""Rings go where the bit takes more than this share of the tolerance: samples may miss the most."""
RING_GAP: Final = 6
"""Points of a ring that take no ice, and are passed at feed between two that do."""
ROUGH_ROWS: Final = 0.4
"""Rows of a bit's upper layers, in diameters of its tip."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """Pieces that are cut together, lifted by so much (mm) above the surface."""

    pieces: Pieces
    lift: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finish:
    """Cuts of a finishing bit in order, with all that is needed to link them.

    tips : tip heights of the bit, inf where it may not go
    spacing : mm from row to row, and a little
    """

    layers: tuple[Layer, ...]
    tips: HeightField
    spacing: float
    standing: Standing
    going: Going
    rest: Rest
    bears: Bears

    @property
    def pieces(self) -> Pieces:
        """All cuts in order."""
        return joined([layer.pieces for layer in self.layers])

    def path(self) -> Toolpath:
        """Return the cuts linked to one toolpath; without any, a path without moves."""
        counts = [len(layer.pieces) for layer in self.layers]
        lifts = np.repeat([layer.lift for layer in self.layers], counts)
        return link(self.pieces, lifts, self.standing, self.going, self.rest, self.bears)

    def avoiding(self, places: NDArray[np.float64]) -> "Finish":
        """Return the stage without cuts near or below `places` (n, 3), where a part met ice."""
        radius = self.spacing + BESIDE_CONTACT_MM
        layers = (
            replace(layer, pieces=without(layer.pieces, places, radius)) for layer in self.layers
        )
        return replace(self, layers=tuple(layers))


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
    tips = tip_surface(surface, stage.bit, grid, allowance=ALLOWANCE_MM, lowest=lowest)
    above = cylinders(stage.bit, job.machine.spindle.body)
    standing = Standing(ice=ice, cutting=stage.cutting, above=parts_above(above))
    squares = standing.squares
    at = squares.grid.nearest(*np.meshgrid(grid.x, grid.y))
    coarse_holder = lowest_for(squares, above[1:]) + AWAY_MM
    holder = coarse_holder[at]
    tops = HeightField(grid=squares.grid, heights=spread(squares, stage.cutting.radius))
    matter = Matter(ice=ice, matters=matters, tops=tops, profile=stage.cutting)
    need = need_for(tips, matter, holder <= tips.heights)
    parts = parts_of(stage.bit, allowance=ALLOWANCE_MM)

    def rest(points: NDArray[np.float64]) -> Heights:
        clear = coarse_holder[squares.grid.nearest(points[:, 0], points[:, 1])]
        return np.maximum(tip_heights(surface, parts, points, lowest=lowest), clear)

    def read(points: NDArray[np.float64]) -> Heights:
        clear = coarse_holder[squares.grid.nearest(points[:, 0], points[:, 1])]
        return np.maximum(read_off(tips, points), clear)

    useful = need.bite > job.quality.detail
    need = replace(need, free=need.free & (useful | (need.depth <= stage.step_down)))

    def bears(points: NDArray[np.float64]) -> NDArray[np.bool_]:
        # where the bit is needed its upper layers have left no more than one step
        shallow = landing(ice, stage.cutting, points) - points[:, 2] <= stage.step_down
        return shallow | useful[grid.nearest(points[:, 0], points[:, 1])]

    def takes(points: NDArray[np.float64]) -> NDArray[np.bool_]:
        some: NDArray[np.bool_] = matter.bite(points) > SURE * job.quality.detail
        return some

    resting = _Resting(dropped=rest, between=rest if exact else read, exact=exact)
    going = _going(stage, job, pitch)
    free = np.where(holder > tips.heights, np.inf, tips.heights)
    return Finish(
        layers=_layers(stage, job, need, holder, every, going, resting, takes),
        tips=HeightField(grid=grid, heights=free),
        spacing=max(1.25 * stage.stepover, 0.75),
        standing=standing,
        going=going,
        rest=resting.between,
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
    )


def near_sculpture(wanted: HeightField, job: Job) -> NDArray[np.bool_]:
    """Cells on and close beside the sculpture."""
    seen = np.isfinite(wanted.heights)
    widest = max(bit.diameter for bit in job.rack) / 2 + job.roughing.skin
    near: NDArray[np.bool_] = ndimage.distance_transform_edt(~seen) * wanted.grid.pitch <= widest
    return near


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Resting:
    """Heights of the tip off the grid: of the bit itself, and as rows and ways take them."""

    dropped: Rest
    between: Rest
    exact: bool


def _layers(
    stage: Stage,
    job: Job,
    need: Need,
    holder: Heights,
    every: int,
    going: Going,
    resting: _Resting,
    takes: Callable[[NDArray[np.float64]], NDArray[np.bool_]],
) -> tuple[Layer, ...]:
    """All cuts of the stage in order: upper layers from the top, then level rings and sweeps.

    Rings and rows come in whatever order is quickest, from band to band of height: where the ice
    is thicker than one step-down, beside walls that the rows of upper layers may miss, a band is
    as high as that; elsewhere so high that skin is gone before the shank passes it.
    """
    tip = tip_radius(stage.cutting)
    useful = need.bite > job.quality.detail
    in_x, in_y = slopes(need.tips, need.grid.pitch)
    regions = steep_regions(in_x, in_y, need.tips, need.grid.pitch, 4 * tip)
    shallow = useful & ~ndimage.binary_erosion(regions > 0, iterations=2)
    done: list[Layer] = []
    start = np.array([need.grid.x0, need.grid.y0, going.safe])

    def add(pieces: Pieces, lift: float) -> None:
        nonlocal start
        if len(pieces) == 0:
            return
        ordered = in_short_order(simplified(pieces, STRAIGHT_MM), start, going.hop)
        lifted = replace(ordered, points=ordered.points + np.array([0.0, 0.0, lift]))
        done.append(Layer(pieces=lifted, lift=lift))
        start = lifted.points[-1]

    def settle(on_chord: NDArray[np.float64]) -> Heights:
        return resting.between(on_chord[:, :2])

    for layer in _upper_layers(stage, need, useful, tip):
        add(refined(layer.pieces, stage.cutting.corner, settle), layer.lift)
    step = stepover_for(stage.cutting, job.quality.scallop) * CLOSER
    rest, exact = resting.dropped, resting.exact
    rows = refined(_sweeps(need, shallow, in_y, every, tip), stage.cutting.corner, settle)
    levels = rings(need.tips, need.grid, regions, useful, holder, step, rest, exact=exact)
    levels = where_marked(levels, takes(levels.points), RING_GAP)
    deep, other = _parted(joined([levels, rows]), need, stage.step_down)
    for band in (
        *by_height(deep, stage.step_down),
        *by_height(other, BAND * stage.bit.flute_length),
    ):
        add(band, 0.0)
    return tuple(done)


def _parted(pieces: Pieces, need: Need, step_down: float) -> tuple[Pieces, Pieces]:
    """Return the pieces that meet ice thicker than one step-down somewhere, and the others."""
    deep = ndimage.maximum_filter(need.depth, size=3) > step_down
    met = deep[need.grid.nearest(pieces.points[:, 0], pieces.points[:, 1])]
    count = np.add.reduceat(met, pieces.starts[:-1], dtype=np.int64) if len(pieces) else met
    return some_of(pieces, count > 0), some_of(pieces, count == 0)


def _upper_layers(stage: Stage, need: Need, useful: NDArray[np.bool_], tip: float) -> list[Layer]:
    """Rows above the surface where the ice is thicker than one step-down, from the top."""
    if not useful.any():
        return []
    count = int(np.ceil(float(need.depth[useful].max()) / stage.step_down)) - 1
    every = max(1, round(2 * tip * ROUGH_ROWS / need.grid.pitch))
    layers = []
    for layer in range(count, 0, -1):
        lift = layer * stage.step_down
        where = useful & (need.depth > lift)
        rows = sweeps(need, where, first_row=0, every=every, gap=2 * tip, cliff=4 * tip)
        layers.append(Layer(pieces=rows, lift=lift))
    return layers


def _sweeps(need: Need, where: NDArray[np.bool_], rise: Heights, every: int, tip: float) -> Pieces:
    """Rows on the surface, and rows between them where it falls away across the rows."""
    tilted = where & (rise > TILTED)
    rows = sweeps(need, where, first_row=0, every=every, gap=2 * tip, cliff=4 * tip)
    between = sweeps(need, tilted, first_row=every // 2, every=every, gap=2 * tip, cliff=4 * tip)
    return joined([rows, between])
