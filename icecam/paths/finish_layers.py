"""All cuts of a finishing stage in the order in which they are made."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Heights
from icecam.job.records import Quality
from icecam.kernels.compiled import begun
from icecam.paths.cut_order import STRAIGHT_MM, Cuts, Layer, in_order
from icecam.paths.finishing import (
    CLIFF,
    CLOSER,
    Matter,
    Need,
    stepover_for,
    tip_radius,
)
from icecam.paths.pieces import Pieces, joined, simplified, where_marked
from icecam.paths.refining import refined, rounded
from icecam.paths.resting import Rest
from icecam.paths.rings import RING_GAP, Crossings, crossings_of, needed, rings
from icecam.paths.rows import quickest_sweeps, sets_of_sweeps, sweeps
from icecam.paths.stages import Stage
from icecam.paths.thin_walls import ThinWalls
from icecam.paths.valleys import Traced, trace
from icecam.paths.ways import Going

BAND: Final = 0.4
"""Flute lengths that ice may stand over a cut: then it is gone before the shank passes it."""
SURE: Final = 0.8
"""Rings go where the bit takes more than this share of the tolerance: samples may miss the most."""
ROW_GAP: Final = 4
"""Nodes of a row without use, up to which it goes on: a way to the next costs as much."""
SEEN: Final = 8 / 9
"""Of a cusp between two rows, at the least, in cells that lie a third of the way between apart."""
FEW: Final = 200
"""Cells of the ice for each tip: rows over so few tips are not worth carving it for."""
ROUGH_ROWS: Final = 0.4
"""Rows of a bit's upper layers, in diameters of its tip."""

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What the cuts of a stage are made on: arrays over the grid of tips (ny, nx).

    need, matter : what the bit would take, and of which ice
    useful : tips where the bit takes ice that matters, before any cut
    steep : number of the steep region at each tip, 0 elsewhere
    holder : lowest tip heights at which shank, nut and spindle are clear
    every : nodes from row to row
    walls : that bear less than a whole step-down; rest : tip heights at points
    """

    need: Need
    matter: Matter
    useful: Marks
    steep: NDArray[np.int32]
    holder: Heights
    every: int
    walls: ThinWalls
    rest: Rest

    def settle(self, points: NDArray[np.float64]) -> Heights:
        """Height of the tip at points (n, 2) or (n, 3)."""
        return self.rest(points[:, :2], -np.inf)


def in_layers(stage: Stage, quality: Quality, ground: Ground, going: Going) -> Cuts:
    """All cuts of the stage in order: valleys, level rings and rows, and upper layers before them.

    Upper layers are for ice thicker than one step-down; their rows may miss ice beside walls, so
    there the cuts on the surface go by steps as well, as they do beside thin walls, by what those
    bear. Elsewhere ice is gone that stands so high over a cut that the shank would pass it.
    """
    need, detail = ground.need, quality.detail
    step = stepover_for(stage.cutting, quality.scallop) * CLOSER
    # what waits for nothing in common goes side by side
    crossing = begun(
        lambda: crossings_of(need.tips, need.grid, ground.steep, ground.useful, ground.holder, step)
    )
    upper = begun(lambda: _upper_layers(stage, ground))
    traced = trace(need, ground.useful, ground.matter, ground.settle, detail, stage.stepover)
    ringed = cache(begun(lambda: _rings(stage, detail, ground, traced, crossing(), step)))
    runs = begun(lambda: _settled(stage, ground, traced.runs))
    rows = _settled(stage, ground, _rows(stage, quality.scallop, ground, traced, ringed, going))
    surface = joined([ringed(), rows, runs()])
    deep = ndimage.maximum_filter(need.depth, size=3) > stage.step_down
    layers = [_layer(stage, ground, deep, *each) for each in (*upper(), (surface, 0.0))]
    # whatever a bit takes, another one took or will take from as far off
    reach = 2 * stage.cutting.radius
    return in_order(layers, reach, np.array([need.grid.x0, need.grid.y0, going.safe]), going.hop)


def _settled(stage: Stage, ground: Ground, pieces: Pieces) -> Pieces:
    """Return pieces with points between theirs where the tip would rest higher or lower."""
    return refined(pieces, stage.cutting.corner, ground.settle)


def _layer(stage: Stage, ground: Ground, deep: Marks, pieces: Pieces, lift: float) -> Layer:
    """Lift pieces, and ask what one cut may take at each of their points.

    deep : tips that have more than a step-down to take
    """
    points = pieces.points + np.array([0.0, 0.0, lift])
    node = ground.need.grid.nearest(points[:, 0], points[:, 1])
    most = ground.walls.beside(points, stage.step_down)
    by_steps = deep[node] | (most < stage.step_down)
    most = np.where(by_steps, most, BAND * stage.bit.flute_length)
    return Layer(pieces=replace(pieces, points=points), lift=lift, most=most)


def _rings(
    stage: Stage, detail: float, ground: Ground, traced: Traced, crossings: Crossings, step: float
) -> Pieces:
    """Level rings on steep ice where tracing has left something, and where the ice is thick.

    A run at the foot of a wall would take all the skin over it at once, however high and whatever
    the wall bears. Rings begin wherever the bit is of use; of their points those stay that take
    ice.
    """
    need = ground.need
    # skin thinner than the nodes lie apart is met by none at the foot, only by those on the wall
    tops = ndimage.maximum_filter(need.tips + need.depth, size=3)
    skin = tops - ndimage.minimum_filter(need.tips, size=3)
    least = SURE * detail

    def thick(points: Floats) -> Marks:
        most = ground.walls.beside(points, BAND * stage.bit.flute_length)
        return skin[need.grid.nearest(points[:, 0], points[:, 1])] > most

    def takes(may: Callable[[Matter, NDArray[np.intp]], Marks], anyway: Marks) -> Marks:
        marks = may(traced.matter, np.arange(len(anyway)))
        others = np.flatnonzero(anyway & ~marks)
        marks[others] = may(ground.matter, others)
        return marks

    def may_take(low: Floats, high: Floats, z: Heights) -> Marks:
        return takes(
            lambda matter, some: matter.may_bite(low[some], high[some], z[some], least),
            thick(np.column_stack([low, z])) | thick(np.column_stack([high, z])),
        )

    found, tips = rings(crossings, step, ground.rest, may_take)
    deepest = ground.walls.beside(found.points, stage.step_down)
    marks = needed(found.points, step, deepest, tips)
    at = found.points[marks]
    marks[marks] = takes(lambda matter, some: matter.bite(at[some]) > least, thick(at))
    return rounded(
        where_marked(found, marks, RING_GAP),
        tip_radius(ground.matter.profile),
        lambda points: ground.rest(points[:, :2], points[:, 2] - 2 * step),
    )


def _upper_layers(stage: Stage, ground: Ground) -> list[tuple[Pieces, float]]:
    """Rows where the ice is thicker than one step-down, and the height over it that they keep."""
    need, useful, tip = ground.need, ground.useful, tip_radius(stage.cutting)
    if not useful.any():
        return []
    count = int(np.ceil(float(need.depth[useful].max()) / stage.step_down)) - 1
    every = max(1, round(2 * tip * ROUGH_ROWS / need.grid.pitch))
    layers = []
    for layer in range(count, 0, -1):
        lift = layer * stage.step_down
        where = useful & (need.depth > lift)
        rows = sweeps(need, where, first_row=0, every=every, gap=tip, cliff=CLIFF * tip)
        layers.append((_settled(stage, ground, rows), lift))
    return layers


def _rows(
    stage: Stage, scallop: float, ground: Ground, traced: Traced, ringed: Callable[[], Pieces],
    going: Going,
) -> Pieces:  # fmt: skip
    """Rows where tracing has left something, each only where all before leaves more than a cusp.

    Set by set after the rings. Over ridges sharper than the tip few are needed.
    """
    need, every, tip = ground.need, ground.every, tip_radius(stage.cutting)
    where = traced.useful & ~ndimage.binary_erosion(ground.steep > 0, iterations=2)
    if FEW * np.count_nonzero(where) <= ground.matter.ice.heights.size:
        return joined(sets_of_sweeps(need, where, every=every, gap=tip, cliff=CLIFF * tip))
    found = quickest_sweeps(need, where, going, every=every, gap=tip, cliff=CLIFF * tip)
    left = traced.matter.sparse(every * need.grid.pitch / 3)
    left = left.after(simplified(ringed(), STRAIGHT_MM))
    for nth, rows in enumerate(found):
        found[nth] = where_marked(rows, left.bite(rows.points) > SEEN * scallop, ROW_GAP)
        left = left.after(simplified(found[nth], STRAIGHT_MM))
    return joined(found)
