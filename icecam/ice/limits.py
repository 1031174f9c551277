"""What ice and carbide bear: side force of a cut, force on a wall, warmth of chips."""

import math
from typing import Final

from scipy.optimize import brentq

from icecam.ice.band import Band, Value
from icecam.ice.constants import CARBIDE_STRENGTH, ICE_TENSION, SAFETY
from icecam.ice.cutting import (
    USUAL_ENERGY,
    engagement_angle,
    largest_chip,
    mean_chip,
    specific_energy,
    tooth_force,
)
from icecam.ice.properties import check_temperature, density_kg_m3, warming_heat_j_kg

J_M3_PER_MPA: Final = 1e6


def side_force_a_mm(
    chip_load: float,
    stepover: float,
    diameter: float,
    flutes: int,
    temperature: float,
    energy: Band[float] = USUAL_ENERGY,
) -> Band[float]:
    """Side force on a bit for each mm of its depth in the ice.

    Parameters
    ----------
    chip_load : mm a tooth
    stepover, diameter : mm, width of the cut and of the bit
    temperature, energy : as in `specific_energy`

    Returns
    -------
    N/mm

    Raises
    ------
    BitError, JobError : as `mean_chip` and `specific_energy`

    Notes
    -----
    Force of a tooth at its thickest chip, times the teeth in the ice together, at least one; teeth
    taken as straight. Source: mechanics; no constant.

    >>> round(side_force_a_mm(0.15, 6.35, 12.7, 2, -10.0).best * 12.7, 1)
    7.8
    """
    chip = mean_chip(chip_load, stepover, diameter)
    thickest = largest_chip(chip_load, stepover, diameter)
    teeth = max(1.0, flutes * float(engagement_angle(stepover, diameter)) / (2 * math.pi))
    u = specific_energy(float(chip), temperature, energy)
    return u.each(lambda each: float(teeth * tooth_force(each, 1.0, float(thickest))))


def wall_force(thickness: Value) -> Value:
    """Side force that a wall of ice bears.

    Parameters
    ----------
    thickness : mm, not below 0

    Returns
    -------
    N, on a wall that stands at least as high as it is thick

    Notes
    -----
    Bending of a plate held at its foot: the force spreads over a width equal to its height above
    the foot, so the stress is 6 F / t^2 at any height. The stress allowed is the least tensile
    strength over the factor of safety. Source: beam theory; [Petrovic2003]_ for the strength; the
    spread and the factor are judgement.

    >>> round(wall_force(9.258), 2)
    5.0
    """
    allowed = ICE_TENSION.low / SAFETY.value
    force: Value = allowed * thickness**2 / 6
    return force


def wall_needed(force: float) -> float:
    """Return the thickness of a wall (mm) that bears a side force (N): `wall_force` turned round.

    >>> round(wall_needed(20.0), 1)
    18.5
    """
    return math.sqrt(6 * force * SAFETY.value / ICE_TENSION.low)


def shank_force(arm: float, diameter: float) -> float:
    """Side force at the tip that a round bar of carbide bears.

    Parameters
    ----------
    arm : mm, from the tip to where the bar is held or widens
    diameter : mm, of the bar there

    Returns
    -------
    N

    Notes
    -----
    Bending stress 32 F arm / (pi d^3) at most the least strength over the factor of safety.
    Source: beam theory; the strength of carbide is from memory, the factor is judgement.

    >>> round(shank_force(50.0, 10.0), 0)
    1473.0
    """
    allowed = CARBIDE_STRENGTH.low / SAFETY.value
    return allowed * math.pi * diameter**3 / (32 * arm)


def chip_temperature(
    chip: float, temperature: float, energy: Band[float] = USUAL_ENERGY
) -> Band[float]:
    """Temperature a chip would reach if all the work of cutting stayed in it.

    Parameters
    ----------
    chip : mm, mean thickness
    temperature : degC of the ice, -30 to 0
    energy : as in `specific_energy`

    Returns
    -------
    degC, at most 0, where it would begin to melt. On the warm side: the bit takes some heat too.

    Raises
    ------
    JobError : as `specific_energy`

    Notes
    -----
    The heat that warms a kilogram of ice by as much is the specific energy over the density; 0 as
    soon as that is the heat to the melting point. Source: balance of heat; no constant.

    >>> round(chip_temperature(0.1, -10.0).best, 1)
    -7.9
    """
    check_temperature(temperature)
    room = warming_heat_j_kg(temperature)
    density = density_kg_m3(temperature)

    def warmed(u: float) -> float:
        left = room - u * J_M3_PER_MPA / density
        if left <= warming_heat_j_kg(0.0):
            return 0.0
        return float(brentq(lambda t: warming_heat_j_kg(t) - left, temperature, 0.0))

    return specific_energy(chip, temperature, energy).each(warmed)
