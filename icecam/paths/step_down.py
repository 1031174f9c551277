"""How deep roughing may go at once: the least of what the job asks, the bit and the ice bear."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.optimize import brentq

from icecam.geometry.field import HeightField
from icecam.geometry.profile import cutting_end
from icecam.geometry.walls import LEAST_MM, Walls, walls_of
from icecam.ice.constants import FLUTE_CORE
from icecam.ice.cutting import DEEPEST, chip_load, depth_factor
from icecam.ice.limits import shank_force, side_force_a_mm, wall_force, wall_needed
from icecam.job.bits import tip_size
from icecam.job.energy import energy_of
from icecam.job.records import Bit, Job
from icecam.paths.bending import tip_compliance

WALL_HEIGHTS: Final = 60
LEAST_STEP: Final = 0.1
"""Diameters of the bit; roughing goes no less deep beside a wall however thin, and says so."""
TOO_THICK: Final = 1.83
"""Cells by which a wall may be measured too thick, see `walls_of`."""
MOST_BEND_MM: Final = 0.05
"""The tip may give way so far: judgement, half of the default scallop."""

GRAIN_MM: Final = 0.25
"""Levels are placed to this."""

EVEN: Final = 1e-4
"""What unequal steps count against the ice that they spare."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDown:
    """A depth (mm), and in words what allows no more."""

    depth: float
    by: str


def chip_at(bit: Bit, temperature: float, depth: float) -> float:
    """Return the chip load (mm a tooth) of a bit at a depth of cut (mm)."""
    if bit.chip_load is not None:
        return bit.chip_load
    size = tip_size(bit)
    return chip_load(size, temperature).best * float(depth_factor(min(depth / size, DEEPEST)))


def push_a_mm(job: Job, bit: Bit, depth: float) -> float:
    """Return the side force of roughing on each mm of depth (N/mm), high end.

    The larger of a cut by the stepover at full feed and of a full slot at the feed of slots.
    """
    chip, size = chip_at(bit, job.block.temperature, depth), tip_size(bit)
    cuts = (
        (chip, job.roughing.stepover * size),
        (chip * job.feeds.slot, size),
    )
    energy = energy_of(job)
    return max(
        side_force_a_mm(load, width, size, bit.flutes, job.block.temperature, energy).high
        for load, width in cuts
    )


def bit_force(bit: Bit) -> float:
    """Return the side force at the tip (N) that flutes and shank bear without breaking.

    Looked at where the flutes end and at the nut; the flutes as a round bar of their core.
    """
    flutes = min(bit.flute_length, bit.stick_out)
    core = FLUTE_CORE.value * tip_size(bit)
    forces = [shank_force(flutes, core * _widening(bit))]
    if bit.stick_out > flutes:
        forces.append(shank_force(bit.stick_out, bit.shank))
    return min(forces)


def _widening(bit: Bit) -> float:
    """Diameter at the upper end of the flutes over that at the tip, at least 1."""
    return max(1.0, 2 * cutting_end(bit).radius / tip_size(bit))


def step_down(job: Job, bit: Bit) -> StepDown:
    """Return how deep a bit may rough at once; walls of the sculpture are not looked at here."""
    size = tip_size(bit)
    choices = [
        StepDown(depth=job.roughing.step_down * size, by="roughing.step_down as asked"),
        StepDown(depth=bit.flute_length, by="the flute length"),
    ]
    least = min(choices, key=lambda choice: choice.depth)
    bears = [
        (bit_force(bit), "the strength of the bit"),
        (MOST_BEND_MM / tip_compliance(bit), f"the tip, which gives way {MOST_BEND_MM:g} mm"),
    ]
    force, by = min(bears)
    deepest = deepest_for(job, bit, force, least.depth)
    return least if deepest >= least.depth else StepDown(depth=deepest, by=by)


def finishing_depth(bit: Bit) -> StepDown:
    """Return how deep the chip load of a finishing bit is meant to go."""
    choices = (
        StepDown(depth=tip_size(bit), by="one diameter of the bit"),
        StepDown(depth=bit.flute_length, by="the flute length"),
    )
    return min(choices, key=lambda choice: choice.depth)


def deepest_for(job: Job, bit: Bit, force: float, most: float) -> float:
    """Return the depth (mm, up to `most`) at which roughing pushes with a `force` (N)."""

    def over(depth: float) -> float:
        return push_a_mm(job, bit, depth) * depth - force

    return most if over(most) <= 0 else float(brentq(over, 0.0, most))


def walls_beside(wanted: HeightField, top: float, bottom: float, step: float, bit: Bit) -> Walls:
    """Measure the walls that roughing by steps of `step` (mm) goes past, at even heights.

    What stands lower than one step, or one diameter of the bit if that is less, is cut in one level
    with the ice round it and is not looked at.
    """
    heights = np.linspace(top, bottom, WALL_HEIGHTS)
    return walls_of(wanted, heights, least=max(min(step, tip_size(bit)), LEAST_MM))


def borne(walls: Walls, skin: float) -> Floats:
    """Return the side force (n,) N that each wall bears with the skin still on both its sides.

    The thickness counts as measured less what it may be too large by.
    """
    sure = np.maximum(walls.thickness - TOO_THICK * walls.cell, 0.0)
    force: Floats = wall_force(sure + 2 * skin)
    return force


def beside_walls(job: Job, bit: Bit, walls: Walls, step: float) -> Floats:
    """Return the deepest step (n,) mm at each height of `walls`, no less than `LEAST_STEP`."""
    least = min(LEAST_STEP * tip_size(bit), step)
    push = push_a_mm(job, bit, step) * step
    return np.array(
        [
            step if force >= push else max(least, deepest_for(job, bit, float(force), step))
            for force in borne(walls, job.roughing.skin)
        ]
    )


def levels_within(top: float, bottom: float, z: Floats, most: Floats) -> Floats:
    """Return heights of levels from below `top` down to `bottom`.

    Parameters
    ----------
    z : (n,) mm, falling, heights at which `most` is known; evenly spaced but for the last
    most : (n,) mm, the deepest step for a slab that holds this height

    Returns
    -------
    (m,) mm, falling; as few levels as will do, in each stretch of one limit of equal steps

    Notes
    -----
    Levels share evenly the integral of dz / most, with `most` lowered to the least within its own
    greatest value, so that a slab never goes past the limit of any height in it.

    >>> levels_within(10.0, 0.0, np.array([10.0, 5.0, 0.0]), np.full(3, 4.0)).round(3)
    array([6.667, 3.333, 0.   ])
    """
    fine = np.linspace(top, bottom, max(2, int((top - bottom) / 0.1) + 2))
    pitch = fine[0] - fine[1]
    limit = np.full(len(fine), most.max())
    places = np.clip(np.rint((top - z) / max(pitch, 1e-12)).astype(int), 0, len(fine) - 1)
    np.minimum.at(limit, places, most)
    reach = int(np.ceil(most.max() / max(pitch, 1e-12))) + 1
    limit = ndimage.minimum_filter1d(limit, 2 * reach + 1, mode="nearest")
    share = np.concatenate([[0.0], np.cumsum(pitch * 2 / (limit[1:] + limit[:-1]))])
    count = max(1, int(np.ceil(share[-1] - 1e-9)))
    heights: Floats = np.interp(share[-1] * np.arange(1, count + 1) / count, share, fine)
    heights[-1] = bottom
    return heights


def fitting_levels(top: float, bottom: float, step: float, grounds: Floats) -> Floats:
    """Return as few levels as whole steps allow, placed where least ice stays on what is to stand.

    Parameters
    ----------
    top, bottom : mm; the last level lies at the bottom
    step : mm, the deepest from level to level
    grounds : (n,) mm, heights at which the ice of as many equal cells is to end

    Returns
    -------
    (m,) mm, falling

    Notes
    -----
    Over a ground the ice stays up to the lowest level above it. The sum of that over all grounds is
    made least over all choices of heights on a grid, level by level from the top (dynamic
    programming); of equal choices the one with the most even steps.

    >>> fitting_levels(30.0, 0.0, 12.0, np.full(5, 12.0))
    array([21., 12.,  0.])
    """
    count = max(1, int(np.ceil((top - bottom) / step - 1e-9)))
    equal: Floats = np.linspace(top, bottom, count + 1)[1:]
    if len(grounds) == 0 or count == 1:
        return equal
    z = np.linspace(top, bottom, int(np.ceil((top - bottom) / GRAIN_MM)) + 1)
    reach = int(step / (z[0] - z[1]) + 1e-9)
    ground = np.sort(np.clip(grounds, bottom, top))[::-1]
    above = np.searchsorted(-ground, -z, "left")  # grounds over each height
    sums = np.concatenate([[0.0], np.cumsum(ground)])
    # nodes[j] - back[k] is the level before node j; what stays between the two
    back = np.arange(1, reach + 1)
    before = np.arange(len(z))[:, None] - back
    known = before >= 0
    before = np.maximum(before, 0)
    stays = z[before] * (above[:, None] - above[before]) - (
        sums[above][:, None] - sums[above[before]]
    )
    stays += EVEN * len(ground) * (z[before] - z[:, None]) ** 2
    least = np.where(np.arange(len(z)) == 0, 0.0, np.inf)
    chosen = []
    for _ in range(count):
        total = np.where(known, least[before] + stays, np.inf)
        chosen.append(np.argmin(total, axis=1))
        least = total.min(axis=1)
    if not np.isfinite(least[-1]):
        return equal
    found, node = [], len(z) - 1
    for each in reversed(chosen):
        found.append(z[node])
        node -= int(back[each[node]])
    return np.array(found[::-1])


def slabs_within(levels: Floats, top: float, z: Floats, most: Floats) -> list[tuple[float, Floats]]:
    """Return slabs of one whole step from `top` down: height over each, thinner levels in it.

    levels : (m,) mm, falling, of whole steps; z, most : as in `levels_within`
    """
    slabs = []
    for over, low in pairwise([top, *levels.tolist()]):
        inside = _in_slab(z, low, over)
        slabs.append((over, levels_within(over, low, z[inside], most[inside])))
    return slabs


def _in_slab(z: Floats, low: float, over: float) -> NDArray[np.bool_]:
    """Which of the heights lie in a slab, or nearest to it if none does."""
    off = np.maximum(np.maximum(low - z, z - over), 0.0)
    nearest: NDArray[np.bool_] = off == off.min()
    return nearest


def collar_width(job: Job, bit: Bit, walls: Walls, low: float, over: float, step: float) -> float:
    """Return how much ice (mm) besides the skin must stay on all walls of a slab for a whole step.

    With so much on both its sides the thinnest of them bears what roughing by `step` pushes.
    """
    thickness = walls.thickness[_in_slab(walls.z, low, over)].min()
    sure = max(float(thickness) - TOO_THICK * walls.cell, 0.0)
    return max(0.0, (wall_needed(push_a_mm(job, bit, step) * step) - sure) / 2 - job.roughing.skin)


def limit_words(job: Job, bit: Bit, asked: StepDown, walls: Walls, most: Floats) -> str:
    """Say what bounds the steps: of all heights, and of those with the thinnest wall."""
    k = int(np.argmin(np.where(most < asked.depth, walls.thickness, np.inf)))
    words = f"{asked.depth:.1f} mm: {asked.by}"
    if not most[k] < asked.depth:
        return words
    x, y = walls.at[k]
    words += (
        f"; {most[k]:.1f} mm at z {walls.z[k]:.0f} mm: limited by the {walls.thickness[k]:.1f} mm "
        f"wall at x {x:.0f}, y {y:.0f} mm"
    )
    push = push_a_mm(job, bit, float(most[k])) * most[k]
    bears = borne(walls, job.roughing.skin)[k]
    if push > bears * (1 + 1e-6):
        words += (
            f", which bears {bears:.1f} N of the {push:.1f} N that push on it at full feed, so the "
            "bit goes slower there; thicken it or raise roughing.skin"
        )
    return words
