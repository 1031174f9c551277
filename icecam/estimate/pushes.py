"""What a stage pushes on thin walls of the sculpture, against what they bear."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from icecam.estimate.load import Series
from icecam.geometry.walls import Walls
from icecam.paths.stages import Stage
from icecam.paths.step_down import borne
from icecam.paths.toolpath import Toolpath

BESIDE_MM: Final = 2.0
"""A bit that goes past a wall no further off than this pushes on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """The push that goes furthest beyond what its wall bears: N and mm.

    at : x, y, z of the wall; line : of the file, where the push is
    """

    force: float
    bears: float
    thickness: float
    at: tuple[float, float, float]
    line: int


def worst_push(series: Series, path: Toolpath, stage: Stage, walls: Walls) -> Push | None:
    """Return the worst push on a wall that does not bear it; None if all do.

    Parameters
    ----------
    series : load of the stretches of `path`, whose side force counts with its high end
    walls : of the sculpture; the skin that the stage leaves stands on both sides of them
    """
    took = np.flatnonzero(series.counts)
    if len(took) == 0:
        return None
    ends = path.ends[series.stretches.last[took] - 1]
    force = series.side_force.high[took]
    slab = float(np.abs(np.diff(walls.z)).max()) / 2 if len(walls.z) > 1 else BESIDE_MM
    bears = borne(walls, stage.skin)
    worst: Push | None = None
    for k in np.flatnonzero(np.isfinite(walls.thickness)):
        x, y = walls.at[k]
        away = walls.thickness[k] / 2 + stage.skin + stage.cutting.radius + BESIDE_MM
        near = np.hypot(ends[:, 0] - x, ends[:, 1] - y) <= away
        near &= np.abs(ends[:, 2] - walls.z[k]) <= slab
        if not near.any():
            continue
        n = int(np.argmax(np.where(near, force, -1.0)))
        push = Push(
            force=float(force[n]),
            bears=float(bears[k]),
            thickness=float(walls.thickness[k]),
            at=(float(x), float(y), float(walls.z[k])),
            line=int(path.line[series.stretches.last[took[n]] - 1]),
        )
        if push.force > push.bears and (worst is None or _beyond(push) > _beyond(worst)):
            worst = push
    return worst


def _beyond(push: Push) -> float:
    return push.force - push.bears
