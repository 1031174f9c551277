"""Minutes of a stage before it is planned: by area left, volume, stepover and feed.

Rough by nature: a factor on top, assumed, stands for rows cut twice, rapids, short cuts at which
the machine never comes up to its feed. Good for comparing ladders, not for a calendar.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.choose.reach import Reach
from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.field import Heights, cells
from icecam.geometry.placing import Placed
from icecam.job.bits import tip_size
from icecam.job.records import Job
from icecam.paths.rough_stage import moat_width
from icecam.paths.roughing import levels
from icecam.paths.stages import Stage
from icecam.units import S_PER_MIN

FINISH_FACTOR: Final = 8.5
"""Minutes of a finishing stage over area / (stepover x feed): assumed. Eight planned stages of two
demo sculptures gave 4 to 22, its geometric mean is taken."""
ROUGH_FACTOR: Final = 4.5
"""Minutes of roughing over volume / (step-down x stepover x feed): assumed. Two planned stages gave
4.3 and 4.7."""
COARSE_CELLS: Final = 40_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Squares:
    """The sculpture in squares as wide as a bit's tip; squares that hold the same masks are one.

    holds : (groups, masks) whether a group's squares hold cells with a mask; area : (groups,) mm2
    """

    holds: NDArray[np.bool_]
    area: Heights

    def sent_to(self, left: NDArray[np.bool_]) -> float:
        """Return the area (mm2) of squares that hold any of the masks (masks,) marked as left."""
        return float(self.area[self.holds[:, left].any(axis=1)].sum())


def squares_of(reach: Reach, masks: NDArray[np.uint16], side: float) -> Squares:
    """Group the sculpture into squares of `side` (mm), by the `masks` (sorted) they hold.

    A bit goes over a strip as wide as its tip wherever anything is left, be it as thin as a hair:
    so what it is sent to is counted in such squares.
    """
    count = max(1, round(side / reach.grid.pitch))
    rows, columns = np.nonzero(reach.area > 0)
    square = (rows // count) * (reach.grid.nx // count + 1) + columns // count
    _, square = np.unique(square, return_inverse=True)
    which = np.searchsorted(masks, reach.masks[rows, columns])
    holds = np.zeros((int(square.max()) + 1, len(masks)), dtype=np.bool_)
    holds[square, which] = True
    area = np.bincount(square, weights=reach.area[rows, columns])
    groups, group = np.unique(holds, axis=0, return_inverse=True)
    summed = np.bincount(group.ravel(), weights=area).astype(np.float64)
    return Squares(holds=groups, area=summed)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishCost:
    """Minutes of each finishing bit on what others left.

    masks : (masks,) that occur; squares, stages : one a bit, in the order of the masks' bits
    """

    masks: NDArray[np.uint16]
    squares: tuple[Squares, ...]
    stages: tuple[Stage, ...]

    def left(self, used: int) -> NDArray[np.bool_]:
        """Return which masks (masks,) hold none of the bits `used`: those places are left."""
        free: NDArray[np.bool_] = self.masks & np.uint16(used) == 0
        return free

    def minutes(self, k: int, left: NDArray[np.bool_]) -> float:
        """Return minutes of bit k at places left, without the change of bits."""
        stage = self.stages[k]
        rate = stage.stepover * stage.feed
        return FINISH_FACTOR * self.squares[k].sent_to(left) / rate / S_PER_MIN


def finish_cost(reach: Reach, stages: Sequence[Stage]) -> FinishCost:
    """Prepare the costs of all bits of a rack; `stages` are their finishing stages."""
    masks = np.unique(reach.masks[reach.area > 0])
    sides = [tip_size(bit) for bit in reach.bits]
    squares = tuple(squares_of(reach, masks, side) for side in sides)
    return FinishCost(masks=masks, squares=squares, stages=tuple(stages))


def rough_volume(placed: Placed, job: Job, stage: Stage) -> float:
    """Return the ice (mm3) that roughing takes: the moat or the block, less the sculpture.

    Level by level on a coarse grid; the moat is as wide as roughing makes it. Skin and what the bit
    cannot enter are not counted.
    """
    x, y, top = job.block.size
    grid = cells((x, y), max((x * y / COARSE_CELLS) ** 0.5, 0.5))
    surface = surface_of(placed.mesh.triangles, closed=placed.mesh.watertight)
    wanted = sculpture_heights(surface, grid).heights
    apart = ndimage.distance_transform_edt(~np.isfinite(wanted)) * grid.pitch
    bottom = max(job.block.floor, float(placed.mesh.low[2]))
    at = levels(top, bottom, stage.step_down)
    count = 0
    for z in at:
        width = np.inf
        if job.roughing.clear == "moat":
            width = moat_width(float(z) + stage.step_down - bottom, job, stage)
        count += int(((apart <= width) & (wanted < z)).sum())
    return count * grid.pitch**2 * (top - bottom) / len(at)


def rough_minutes(volume: float, stage: Stage) -> float:
    """Return minutes of roughing a volume (mm3)."""
    rate = stage.step_down * stage.stepover * stage.feed
    return ROUGH_FACTOR * volume / rate / S_PER_MIN
