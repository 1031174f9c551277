"""What each bit of a rack can reach within the tolerance, working alone with all its parts.

Takes the placed sculpture and the job; gives a map of bits for each place seen from above. The
ice around is thought away: what counts is the sculpture, cutting end, shank, collet nut, spindle.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.drop import Surface, sculpture_heights, tip_heights, tip_surface
from icecam.geometry.field import Grid, HeightField, Heights, covering
from icecam.geometry.profile import cutting_end, cylinder_profile, cylinders
from icecam.job.bits import tip_size
from icecam.job.records import Bit, Job
from icecam.kernels.profile import Profile
from icecam.paths.finishing import tip_radius
from icecam.paths.resting import ALLOWANCE_MM
from icecam.plan import Say, Scene
from icecam.prove.proof import WINDOW, closed_by, slope_weight, thickness

FINEST_CELL_MM: Final = 0.15
CELLS: Final = 500_000
"""Cells over the sculpture are made as fine as this many allow."""
TIPS_A_RADIUS: Final = 3
"""Tips of a small bit stand closer than cells: this many across the radius of its tip."""
COARSE_CELLS: Final = 3
"""Nut and spindle are wide and are asked on squares of so many cells; their reach is less by at
most the diagonal of a square."""

Masks = NDArray[np.uint16]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """Which bits reach which place.

    bits : the rack, largest first
    area : (ny, nx) mm2 of surface over each cell, 0 beside the sculpture
    masks : (ny, nx) bit k is set where bits[k] alone comes within the tolerance
    """

    bits: tuple[Bit, ...]
    grid: Grid
    area: Heights
    masks: Masks

    def share(self, numbers: Iterable[int]) -> float:
        """Return the share of the area seen from above that any of these bits reaches."""
        reached = self.masks & mask_of(numbers) != 0
        return float(self.area[reached].sum() / self.area.sum())

    def largest(self, numbers: Sequence[int]) -> NDArray[np.int8]:
        """Return the first of `numbers` that reaches each cell; -1 for none, -2 beside."""
        found = np.where(self.area > 0, -1, -2).astype(np.int8)
        for k in reversed(numbers):
            found[(self.masks & mask_of((k,)) != 0) & (self.area > 0)] = k
        return found


def mask_of(numbers: Iterable[int]) -> np.uint16:
    """Return the mask with these bits set.

    >>> int(mask_of((0, 3)))
    9
    """
    return np.uint16(sum(1 << k for k in numbers))


def by_size(rack: Iterable[Bit]) -> tuple[Bit, ...]:
    """Return bits largest first; those of one size stay in order."""
    return tuple(sorted(rack, key=tip_size, reverse=True))


def reach_of(scene: Scene, say: Say = lambda _doing, _share: None) -> Reach:
    """Ask of every bit of the rack what it reaches on the sculpture of a scene.

    say : is told what is being done and which share lies behind
    """
    job, surface = scene.job, scene.surface
    low, high = scene.placed.mesh.low, scene.placed.mesh.high
    cell = _cell_for(job, float((high[0] - low[0]) * (high[1] - low[1])))
    # cells tile the sculpture's box, so that the ends of the grid count like any other place
    grid = covering(
        (float(low[0]) + cell / 2, float(low[1]) + cell / 2),
        (
            max(float(high[0]), float(low[0]) + cell) - cell / 2,
            max(float(high[1]), float(low[1]) + cell) - cell / 2,
        ),
        cell,
    )
    wanted = sculpture_heights(surface, grid)
    lowest = max(job.block.floor, float(low[2]))
    bits = by_size(job.rack)
    masks = np.zeros(wanted.heights.shape, dtype=np.uint16)
    body, detail = job.machine.spindle.body, job.quality.detail
    for k, bit in enumerate(bits):
        say(f"what {bit.name} can reach", k / len(bits))
        left = left_by(bit, surface, wanted, lowest=lowest, spindle_body=body, enough=detail)
        within = thickness(left, wanted) <= detail
        masks[within] |= mask_of((k,))
    return Reach(bits=bits, grid=grid, area=area_of(wanted), masks=masks)


def _cell_for(job: Job, area: float) -> float:
    if job.quality.cell is not None:
        return job.quality.cell
    # thickness is asked WINDOW cells far and should see as far as the tolerance
    return max(FINEST_CELL_MM, sqrt(area / CELLS), job.quality.detail / WINDOW)


def left_by(
    bit: Bit,
    surface: Surface,
    wanted: HeightField,
    *,
    lowest: float,
    spindle_body: float,
    enough: float,
    allowance: float = ALLOWANCE_MM,
) -> Heights:
    """Return the heights (ny, nx) a bit leaves that goes wherever all its parts may go.

    wanted : the sculpture seen from above; lowest : mm, no tip goes below
    spindle_body : diameter, mm; allowance : mm kept from the sculpture, as finishing does
    enough : mm over the sculpture; where so little is left, it may be less
    """
    profile = cutting_end(bit)
    g = wanted.grid
    pitch = min(g.pitch, tip_radius(profile) / TIPS_A_RADIUS)
    around = profile.radius + pitch
    tips = covering(
        (g.x0 - around, g.y0 - around),
        (g.x0 + (g.nx - 1) * g.pitch + around, g.y0 + (g.ny - 1) * g.pitch + around),
        pitch,
    )
    free = tip_surface(surface, bit, tips, allowance=allowance, lowest=lowest)
    side = COARSE_CELLS * g.pitch
    above = [
        (cylinder_profile(part.radius + allowance + side * sqrt(0.5)), part.base - allowance)
        for part in cylinders(bit, spindle_body)[1:]
    ]
    holder = _on_coarse_grid(surface, tuple(above), tips, side)
    tip = HeightField(grid=tips, heights=np.maximum(free.heights, holder))
    untouched = np.where(np.isfinite(wanted.heights), np.inf, np.nan)
    return closed_by(untouched, wanted, tip, profile, enough)


def _on_coarse_grid(
    surface: Surface, parts: tuple[tuple[Profile, float], ...], fine: Grid, side: float
) -> Heights:
    """Tip heights over a fine grid at which wide parts are clear, from the nearest coarse node.

    The parts must be wider by half the diagonal of a coarse square: then no height is too low.
    """
    high = (float(fine.x[-1]), float(fine.y[-1]))
    coarse = covering((fine.x0, fine.y0), high, side)
    nodes = np.stack(np.meshgrid(coarse.x, coarse.y), axis=2).reshape(-1, 2)
    heights = tip_heights(surface, parts, nodes).reshape(coarse.ny, coarse.nx)
    rows, _ = coarse.nearest(np.full(fine.ny, coarse.x0), fine.y)
    _, columns = coarse.nearest(fine.x, np.full(fine.nx, coarse.y0))
    spread: Heights = heights[np.ix_(rows, columns)]
    return spread


def area_of(wanted: HeightField) -> Heights:
    """Area of the surface (mm2) over each cell, 0 beside it; weighed as the proof does."""
    pitch = wanted.grid.pitch
    weight = slope_weight(wanted.heights, pitch)
    area: Heights = np.where(np.isfinite(wanted.heights), weight * pitch * pitch, 0.0)
    return area
