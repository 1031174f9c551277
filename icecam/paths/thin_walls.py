"""Finishing beside thin walls: how high the skin may be that one cut takes there."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from icecam.geometry.walls import Walls
from icecam.ice.constants import ICE_TENSION, SAFETY
from icecam.ice.limits import side_force_a_mm
from icecam.job.bits import tip_size
from icecam.job.energy import energy_of
from icecam.job.records import Job
from icecam.paths.stages import Stage
from icecam.paths.step_down import LEAST_STEP, borne

BESIDE_MM: Final = 2.0
"""A bit that goes past a wall no further off than this pushes on it."""

LIKELY: Final = ICE_TENSION.value * SAFETY.value / ICE_TENSION.low
"""What a wall likely bears over what it surely bears: the usual strength, no factor of safety."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThinWalls:
    """Walls that do not bear a cut as deep as the stage may go: arrays (n,), mm.

    at : (n, 2) x, y; z : heights; away : how far off the middle of the bit may be and pushes
    deepest : what the wall bears; number : from 1, the same for walls that stand together
    slab : heights within this of z count for it
    """

    at: Floats
    z: Floats
    away: Floats
    deepest: Floats
    number: NDArray[np.int64]
    slab: float

    def beside(self, points: Floats, deepest: float) -> tuple[Floats, NDArray[np.int64]]:
        """Return the deepest cut at tips (n, 3), at most `deepest`, and the number of the wall.

        The number is 0 where no thin wall is near.
        """
        most = np.full(len(points), deepest)
        number = np.zeros(len(points), dtype=np.int64)
        for k, (x, y) in enumerate(self.at.tolist()):
            level = np.flatnonzero(np.abs(points[:, 2] - self.z[k]) <= self.slab)
            near = level[np.hypot(points[level, 0] - x, points[level, 1] - y) <= self.away[k]]
            number[near] = self.number[k]
            most[near] = np.minimum(most[near], self.deepest[k])
        return most, number


def thin_walls(walls: Walls, stage: Stage, job: Job) -> ThinWalls:
    """Find the walls that a finishing stage must go past in thinner steps.

    By what is likely of the push of a cut through the skin and of what a wall bears, as the proof
    refuses a stage; see `icecam.estimate.pushes.pushed`.

    walls : of the sculpture, the thinnest at each height
    """
    bit, size = stage.bit, tip_size(stage.bit)
    push = side_force_a_mm(
        stage.chip, min(job.roughing.skin, size), size, bit.flutes, job.block.temperature,
        energy_of(job),
    ).best  # fmt: skip
    bears = LIKELY * borne(walls, stage.skin) / push
    thin = np.flatnonzero(np.isfinite(walls.thickness) & (bears < stage.step_down))
    at, away = walls.at[thin], reach(walls, stage)[thin]
    apart = np.hypot(*(at[:, None] - at[None]).T)
    _, label = connected_components(apart <= away[:, None] + away, directed=False)
    return ThinWalls(
        at=at,
        z=walls.z[thin],
        away=away,
        deepest=np.maximum(bears[thin], LEAST_STEP * size),
        number=label.astype(np.int64) + 1,
        slab=slab(walls),
    )


def reach(walls: Walls, stage: Stage) -> Floats:
    """Return how far (n,) mm from the middle of each wall the middle of the bit pushes on it."""
    far: Floats = walls.thickness / 2 + stage.skin + stage.cutting.radius + BESIDE_MM
    return far


def slab(walls: Walls) -> float:
    """Return how far over and under the height at which it was measured a wall counts (mm)."""
    return float(np.abs(np.diff(walls.z)).max()) / 2 if len(walls.z) > 1 else BESIDE_MM
