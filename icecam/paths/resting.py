"""Where the tip of a finishing bit rests on the sculpture: what is known before any ice is."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.drop import Surface, parts_of, tip_heights, tip_surface
from icecam.geometry.field import HeightField, Heights, covering
from icecam.job.records import Job
from icecam.kernels.profile import Profile
from icecam.paths.finishing import slopes, steep_regions, stepover_for, tip_pitch, tip_radius
from icecam.paths.stages import Stage

ALLOWANCE_MM: Final = 0.03
"""Ice kept between bit and sculpture, which takes up chords and rounding."""

Rest = Callable[[NDArray[np.float64], float | Heights], Heights]
"""Heights (n,) of the tip at points (n, 2), but none lower than the least that is given (mm): so
low it does not matter, and is not searched for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resting:
    """Where a bit rests on the sculpture, whatever ice stands there; mm.

    parts : profiles of the bit and how far above the tip each begins
    matters : cells of the ice (ny, nx) on and beside the sculpture
    tips : heights on a grid; every : its nodes from row to row; lowest : no tip goes below
    steep : number of the steep region at each tip, 0 elsewhere
    """

    surface: Surface
    parts: tuple[tuple[Profile, float], ...]
    matters: NDArray[np.bool_]
    tips: HeightField
    every: int
    lowest: float
    steep: NDArray[np.int32]

    def at(self, points: NDArray[np.float64], least: float | Heights = -np.inf) -> Heights:
        """Return tip heights (n,) at points (n, 2); see `Rest`."""
        return tip_heights(self.surface, self.parts, points, lowest=np.maximum(self.lowest, least))


def resting_of(
    stage: Stage, job: Job, surface: Surface, wanted: HeightField, near: NDArray[np.bool_]
) -> Resting:
    """Rest the bit of a finishing stage on the sculpture.

    surface : the sculpture for dropping bits on; wanted : its heights seen from above
    near : its cells and those close beside, as `near_sculpture` gives them
    """
    rows, columns = np.nonzero(near)
    if len(rows) == 0:
        raise ValueError("no cell of the sculpture lies in the block")
    pitch, every = tip_pitch(stage.cutting, stepover_for(stage.cutting, job.quality.scallop))
    g = wanted.grid
    grid = covering(
        (g.x0 + columns.min() * g.pitch, g.y0 + rows.min() * g.pitch),
        (g.x0 + columns.max() * g.pitch, g.y0 + rows.max() * g.pitch),
        pitch,
    )
    lowest = max(job.block.floor, float(wanted.heights[np.isfinite(wanted.heights)].min()))
    lowest = max(job.block.floor, min(lowest, float(surface.triangles[:, 2::3].min())))
    tips = tip_surface(surface, stage.bit, grid, allowance=ALLOWANCE_MM, lowest=lowest)
    width = 4 * tip_radius(stage.cutting)
    return Resting(
        surface=surface,
        parts=parts_of(stage.bit, allowance=ALLOWANCE_MM),
        matters=near,
        tips=tips,
        every=every,
        lowest=lowest,
        steep=steep_regions(*slopes(tips.heights, pitch), tips.heights, pitch, width),
    )


def near_sculpture(wanted: HeightField, job: Job) -> NDArray[np.bool_]:
    """Mark cells on and close beside the sculpture."""
    seen = np.isfinite(wanted.heights)
    widest = max(bit.diameter for bit in job.rack) / 2 + job.roughing.skin
    near: NDArray[np.bool_] = ndimage.distance_transform_edt(~seen) * wanted.grid.pitch <= widest
    return near
