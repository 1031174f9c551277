"""Finishing beside thin walls: how high the skin may be that one cut takes there."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.walls import Walls
from icecam.ice.limits import side_force_a_mm
from icecam.job.bits import tip_size
from icecam.job.energy import energy_of
from icecam.job.records import Job
from icecam.paths.stages import Stage
from icecam.paths.step_down import LEAST_STEP, borne

BESIDE_MM: Final = 2.0
"""A bit that goes past a wall no further off than this pushes on it."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThinWalls:
    """Walls that do not bear a cut as deep as the stage may go: arrays (n,), mm.

    at : (n, 2) x, y; z : heights; away : how far off the middle of the bit may be and pushes
    deepest : what the wall bears, less than a step-down
    slab : heights within this of z count for it
    """

    at: Floats
    z: Floats
    away: Floats
    deepest: Floats
    slab: float

    def beside(self, points: Floats, deepest: float) -> Floats:
        """Return the deepest cut (n,) at tips (n, 3): `deepest` where no thin wall is near."""
        most = np.full(len(points), deepest)
        for k, (x, y) in enumerate(self.at.tolist()):
            level = np.flatnonzero(np.abs(points[:, 2] - self.z[k]) <= self.slab)
            near = level[np.hypot(points[level, 0] - x, points[level, 1] - y) <= self.away[k]]
            most[near] = np.minimum(most[near], self.deepest[k])
        return most


def thin_walls(walls: Walls, stage: Stage, job: Job) -> ThinWalls:
    """Find the walls that a finishing stage must go past in thinner steps.

    By the most that a cut through the skin may push and the least that a wall may bear, as roughing
    chooses its steps.

    walls : of the sculpture, the thinnest at each height
    """
    bit, size = stage.bit, tip_size(stage.bit)
    push = side_force_a_mm(
        stage.chip, min(job.roughing.skin, size), size, bit.flutes, job.block.temperature,
        energy_of(job),
    ).high  # fmt: skip
    bears = borne(walls, stage.skin) / push
    thin = np.flatnonzero(np.isfinite(walls.thickness) & (bears < stage.step_down))
    return ThinWalls(
        at=walls.at[thin],
        z=walls.z[thin],
        away=reach(walls, stage)[thin],
        deepest=np.maximum(bears[thin], LEAST_STEP * size),
        slab=slab(walls),
    )


def reach(walls: Walls, stage: Stage) -> Floats:
    """Return how far (n,) mm from the middle of each wall the middle of the bit pushes on it."""
    far: Floats = walls.thickness / 2 + stage.skin + stage.cutting.radius + BESIDE_MM
    return far


def slab(walls: Walls) -> float:
    """Return how far over and under the height at which it was measured a wall counts (mm)."""
    return float(np.abs(np.diff(walls.z)).max()) / 2 if len(walls.z) > 1 else BESIDE_MM
