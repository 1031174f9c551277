"""All cuts of a finishing stage in the order in which they are made."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Heights
from icecam.job.records import Quality
from icecam.paths.finishing import (
    CLOSER,
    TILTED,
    Need,
    slopes,
    steep_regions,
    stepover_for,
    sweeps,
    tip_radius,
)
from icecam.paths.linking import Going, Rest
from icecam.paths.pieces import (
    Pieces,
    by_height,
    in_short_order,
    joined,
    simplified,
    some_of,
    where_marked,
)
from icecam.paths.refining import refined
from icecam.paths.rings import rings
from icecam.paths.stages import Stage
from icecam.paths.thick import THIN, gathered, thick_places
from icecam.paths.valleys import Traced

STRAIGHT_MM: Final = 0.01
BAND: Final = 0.4
"""Flute lengths from top to bottom of the cuts that come in any order."""
SURE: Final = 0.8
"""Rings go where the bit takes more than this share of the tolerance: samples may miss the most."""
RING_GAP: Final = 6
"""Points of a ring that take no ice, and are passed at feed between two that do."""
ROUGH_ROWS: Final = 0.4
"""Rows of a bit's upper layers, in diameters of its tip."""

Marks = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """Pieces that are cut together, lifted by so much (mm) above the surface."""

    pieces: Pieces
    lift: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resting:
    """Heights of the tip off the grid: of the bit itself, and as rows and ways take them."""

    dropped: Rest
    between: Rest
    exact: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What the cuts of a stage are made on: arrays over the grid of tips (ny, nx).

    useful : tips where the bit takes ice that matters, before any cut; traced : valleys first
    holder : lowest tip heights at which shank, nut and spindle are clear
    every : nodes from row to row
    """

    need: Need
    useful: Marks
    traced: Traced
    holder: Heights
    every: int
    resting: Resting

    def settle(self, on_chord: NDArray[np.float64]) -> Heights:
        """Height of the tip at points (n, 3)."""
        return self.resting.between(on_chord[:, :2])


def in_layers(stage: Stage, quality: Quality, ground: Ground, going: Going) -> tuple[Layer, ...]:
    """All cuts of the stage in order: valleys, level rings and rows in whatever order is quickest.

    Where the ice is thicker than one step-down, place by place, upper layers from the top come
    first, then bands of cuts one step-down high, for rows of upper layers may miss ice beside
    walls. Elsewhere bands are so high that skin is gone before the shank passes it.
    """
    done: list[Layer] = []
    grid, corner = ground.need.grid, stage.cutting.corner
    start = np.array([grid.x0, grid.y0, going.safe])

    def add(pieces: Pieces, lift: float) -> None:
        nonlocal start
        if len(pieces) == 0:
            return
        ordered = in_short_order(simplified(pieces, STRAIGHT_MM), start, going.hop)
        lifted = replace(ordered, points=ordered.points + np.array([0.0, 0.0, lift]))
        done.append(Layer(pieces=lifted, lift=lift))
        start = lifted.points[-1]

    upper = [
        Layer(pieces=refined(layer.pieces, corner, ground.settle), lift=layer.lift)
        for layer in _upper_layers(stage, ground)
    ]
    cuts = refined(ground.traced.runs, corner, ground.settle)
    cuts = joined([*_rings_and_rows(stage, quality, ground), cuts])
    deep = ndimage.maximum_filter(ground.need.depth, size=3) > stage.step_down
    places = thick_places(deep, stage.cutting.radius / grid.pitch)
    found = gathered([*(layer.pieces for layer in upper), cuts], places, grid)
    *above, on_surface = found.numbers
    for place in (*found.order(start), THIN):
        for layer, number in zip(upper, above, strict=True):
            add(some_of(layer.pieces, number == place), layer.lift)
        band = BAND * stage.bit.flute_length if place == THIN else stage.step_down
        for pieces in by_height(some_of(cuts, on_surface == place), band):
            add(pieces, 0.0)
    return tuple(done)


def _rings_and_rows(stage: Stage, quality: Quality, ground: Ground) -> tuple[Pieces, Pieces]:
    """Level rings on steep ice and rows on the rest, where tracing has left something."""
    need, useful, tip = ground.need, ground.traced.useful, tip_radius(stage.cutting)
    in_x, in_y = slopes(need.tips, need.grid.pitch)
    regions = steep_regions(in_x, in_y, need.tips, need.grid.pitch, 4 * tip)
    shallow = useful & ~ndimage.binary_erosion(regions > 0, iterations=2)
    rows = refined(
        _rows(need, shallow, in_y, ground.every, tip), stage.cutting.corner, ground.settle
    )
    step = stepover_for(stage.cutting, quality.scallop) * CLOSER
    dropped, exact = ground.resting.dropped, ground.resting.exact
    levels = rings(need.tips, need.grid, regions, useful, ground.holder, step, dropped, exact=exact)
    takes = ground.traced.matter.bite(levels.points) > SURE * quality.detail
    return where_marked(levels, takes, RING_GAP), rows


def _upper_layers(stage: Stage, ground: Ground) -> list[Layer]:
    """Rows above the surface where the ice is thicker than one step-down, from the top."""
    need, useful, tip = ground.need, ground.useful, tip_radius(stage.cutting)
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


def _rows(need: Need, where: Marks, rise: Heights, every: int, tip: float) -> Pieces:
    """Rows on the surface, and rows between them where it falls away across the rows."""
    tilted = where & (rise > TILTED)
    rows = sweeps(need, where, first_row=0, every=every, gap=2 * tip, cliff=4 * tip)
    between = sweeps(need, tilted, first_row=every // 2, every=every, gap=2 * tip, cliff=4 * tip)
    return joined([rows, between])
