"""What a stage pushes on thin walls of the sculpture, against what they bear."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.estimate.load import Series
from icecam.geometry.walls import Walls
from icecam.paths.stages import Stage
from icecam.paths.step_down import borne
from icecam.paths.thin_walls import reach, slab
from icecam.paths.toolpath import Toolpath

Floats = NDArray[np.float64]


class Borne(NamedTuple):
    """What the weakest wall beside each of m stretches bears.

    force : (m,) N, inf where none stands beside it; wall : (m,) its place among the walls, else -1
    """

    force: Floats
    wall: NDArray[np.int64]


class Push(NamedTuple):
    """The push that goes furthest beyond what its wall bears: N and mm.

    at : x, y, z of the wall; line : of the file, where the push is
    """

    force: float
    bears: float
    thickness: float
    at: tuple[float, float, float]
    line: int


def borne_beside(series: Series, path: Toolpath, stage: Stage, walls: Walls) -> Borne:
    """Return what the walls beside the stretches of a path surely bear.

    walls : of the sculpture; the skin that the stage leaves stands on both sides of them
    """
    took = np.flatnonzero(series.stretches.took)
    force = np.full(len(series.stretches.first), np.inf)
    wall = np.full(len(force), -1, dtype=np.int64)
    ends = path.ends[series.stretches.last[took] - 1]
    bears, away, high = borne(walls, stage.skin), reach(walls, stage), slab(walls)
    for k in np.flatnonzero(np.isfinite(walls.thickness)):
        x, y = walls.at[k]
        level = np.flatnonzero(np.abs(ends[:, 2] - walls.z[k]) <= high)
        near = took[level[np.hypot(ends[level, 0] - x, ends[level, 1] - y) <= away[k]]]
        weaker = near[bears[k] < force[near]]
        force[weaker], wall[weaker] = bears[k], k
    return Borne(force, wall)


def worst_push(series: Series, path: Toolpath, stage: Stage, walls: Walls) -> Push | None:
    """Return the worst push on a wall that does not surely bear it; None if all do.

    Parameters
    ----------
    series : load of the stretches of `path`, whose side force counts with its high end
    walls : of the sculpture; the skin that the stage leaves stands on both sides of them
    """
    force, beside = series.side_force.high, borne_beside(series, path, stage, walls)
    beyond = np.where(series.telling, force - beside.force, -np.inf)
    if not (beyond > 0).any():
        return None
    n = int(np.argmax(beyond))
    k = int(beside.wall[n])
    x, y = walls.at[k].tolist()
    return Push(
        force=float(force[n]),
        bears=float(beside.force[n]),
        thickness=float(walls.thickness[k]),
        at=(x, y, float(walls.z[k])),
        line=int(path.line[series.stretches.last[n] - 1]),
    )
