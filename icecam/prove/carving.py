"""The block as heights, carved by a toolpath: what stands after it, and what each move met."""

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, cells
from icecam.geometry.profile import Cylinder, cylinder_profile
from icecam.geometry.sweeping import sweep
from icecam.job.records import Job
from icecam.kernels.profile import Profile
from icecam.paths.toolpath import RAPID, Toolpath

GRAZE_MM: Final = 0.05
"""A shank or nut that grazes a wall by less than this, sideways, counts as clear of it."""
FINEST_CELL_MM: Final = 0.15
CELLS: Final = 6_000_000
"""The proof's cells are made as fine as this many allow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carved:
    """The ice after a toolpath and, a move, what was met; arrays (n,).

    removed : mm3 of ice taken by each move
    depth : mm, upright, how deep each cutting move went in the ice that it took, the mean by
        volume: a sliver taller than the rest counts by its share; 0 on rapids
    chip : thickest chip of each cutting move over its chip load, 0 to 1: the share of its way by
        which the edge comes into the ice, at the most; see `icecam.kernels.profile.advance`
    rapid_depth : mm, deepest ice a rapid would have run through; 0 for none
    contact_depth : mm, deepest ice that shank, nut or spindle would have met; 0 for none
    """

    ice: HeightField
    removed: NDArray[np.float64]
    depth: NDArray[np.float64]
    chip: NDArray[np.float64]
    rapid_depth: NDArray[np.float64]
    contact_depth: NDArray[np.float64]


def cell_for(job: Job) -> float:
    """Return the side of the proof's cells (mm): as asked, or as fine as `CELLS` allow."""
    if job.quality.cell is not None:
        return job.quality.cell
    x, y, _ = job.block.size
    return float(max(FINEST_CELL_MM, np.ceil(sqrt(x * y / CELLS) * 100) / 100))


def whole_block(size: tuple[float, float, float], cell: float) -> HeightField:
    """Return an uncut block of `size` (mm) as heights over square cells of side `cell`."""
    grid = cells(size[:2], cell)
    return HeightField(grid=grid, heights=np.full((grid.ny, grid.nx), size[2]))


def carve(
    ice: HeightField, path: Toolpath, cutting: Profile, above: tuple[Cylinder, ...] = ()
) -> Carved:
    """Carve the ice by every cutting move of a path, each swept in closed form.

    Parameters
    ----------
    ice : heights in block coordinates, mm
    path : tip positions in block coordinates, mm
    cutting : the cutting end of the bit
    above : what stands above it and must stay clear of ice

    Notes
    -----
    See `icecam.geometry.sweeping.sweep`.
    """
    heights = ice.heights.copy()
    points = np.concatenate([path.start[None], path.ends])
    rapid = np.ascontiguousarray(path.kind == RAPID)
    parts = tuple((cylinder_profile(max(part.radius - GRAZE_MM, 0.0)), part.base) for part in above)
    met = sweep(heights, ice.grid, points, rapid, cutting, parts)
    taken, squares, deepest, contact, chip = met
    return Carved(
        ice=HeightField(grid=ice.grid, heights=heights),
        removed=taken * ice.grid.pitch**2,
        depth=np.divide(squares, taken, out=np.zeros(len(path)), where=taken > 0),
        chip=chip.copy(),  # so that the rest of `met` goes
        rapid_depth=np.where(rapid, deepest, 0.0),
        contact_depth=contact.copy(),
    )
