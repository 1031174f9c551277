"""What it takes to cut ice: chip load, chip thickness, energy, power, forces on bit and spindle.

Energy a volume falls with chip thickness and rises with cold. It is known to a factor of 2.5 either
way, so results are bands; limits use the high end, estimates the best.
"""

import math
from typing import Final

import numpy as np

from icecam.errors import BitError, JobError
from icecam.ice.band import Band, Value
from icecam.ice.constants import (
    CHIP_LOAD_TEMPERATURE,
    CHIP_WINDOWS,
    DEPTH_SHARES,
    EDGE_RADIUS,
    ENERGY,
    ENERGY_CHIP,
    ENERGY_DATUM,
    ENERGY_EXPONENT,
    ENERGY_TEMPERATURE,
    LEAST_CHIP_LOAD,
)
from icecam.ice.properties import check_temperature
from icecam.units import S_PER_MIN

W_PER_N_MM_S: Final = 1e-3
DEEPEST: Final = float(len(DEPTH_SHARES))
"""Diameters; the depth rule says nothing beyond."""
USUAL_ENERGY: Final = ENERGY.band()
"""MPa, specific energy at the reference point where nobody has measured his own."""


def engagement_angle(stepover: Value, diameter: float) -> Value:
    """Angle of the bit's round that is in the ice.

    Parameters
    ----------
    stepover : mm, width of the cut, above 0 and up to the diameter
    diameter : mm, above 0

    Returns
    -------
    rad, pi in a slot

    Raises
    ------
    BitError : no diameter, or a stepover outside its range

    Notes
    -----
    cos(angle) = 1 - 2 stepover / diameter. Source: geometry of milling; no constant.

    >>> round(math.cos(engagement_angle(1.5, 6.0)), 12)
    0.5
    """
    if not diameter > 0:
        raise BitError(f"a bit of {diameter:g} mm cuts nothing; give a diameter above 0")
    if not (np.all(stepover > 0) and np.all(stepover <= diameter)):
        raise BitError(
            f"stepover runs from {np.min(stepover):g} to {np.max(stepover):g} mm with a bit of "
            f"{diameter:g} mm; keep it above 0 and within the diameter"
        )
    angle: Value = np.arccos(1 - 2 * stepover / diameter)
    return angle


def mean_chip(chip_load: float, stepover: Value, diameter: float) -> Value:
    """Mean thickness of the chip that a tooth cuts over its way through the ice.

    Parameters
    ----------
    chip_load : mm a tooth, feed over rpm and flutes
    stepover, diameter : mm, as in `engagement_angle`

    Returns
    -------
    mm

    Raises
    ------
    BitError : as `engagement_angle`

    Notes
    -----
    chip_load (1 - cos(angle)) / angle, the mean of chip_load sin over the angle. Source: geometry
    of milling with the tooth's path taken as a circle; no constant.

    >>> round(float(mean_chip(0.3, 12.7, 12.7)), 3)
    0.191
    """
    angle = engagement_angle(stepover, diameter)
    chip: Value = chip_load * (2 * stepover / diameter) / angle
    return chip


def largest_chip(chip_load: float, stepover: Value, diameter: float) -> Value:
    """Greatest thickness of the chip: all of the chip load once half the bit is in the ice.

    Parameters, range and errors as in `mean_chip`; mm. Source: geometry of milling; no constant.
    """
    angle = engagement_angle(stepover, diameter)
    chip: Value = chip_load * np.sin(np.minimum(angle, math.pi / 2))
    return chip


def specific_energy(
    chip: Value, temperature: float, energy: Band[float] = USUAL_ENERGY
) -> Band[Value]:
    """Energy to cut a volume of ice.

    Parameters
    ----------
    chip : mm, mean chip thickness, not below 0; what is thinner than the edge radius counts as it
    temperature : degC, -30 to 0
    energy : MPa at the reference point, above 0; see `icecam.ice.calibration` for one of your own

    Returns
    -------
    MPa (the same as J/cm3)

    Raises
    ------
    JobError : a temperature out of range, or a chip below 0

    Notes
    -----
    u = u0 (chip / 0.1 mm)^-0.4 exp(0.03 (-10 - t)); the band is that of u0. The form follows
    what is known of brittle cutting, the constants are assumed: see `icecam.ice.constants`.

    >>> round(float(specific_energy(0.1, -10.0).best), 9)
    4.0
    """
    check_temperature(temperature)
    if not np.all(chip >= 0):
        raise JobError(f"mean chip of {np.min(chip):g} mm; give a thickness that is not below 0")
    ratio = np.maximum(chip, EDGE_RADIUS.value) / ENERGY_CHIP.value
    cold = math.exp(ENERGY_TEMPERATURE.value * (ENERGY_DATUM.value - temperature))
    factor: Value = ratio**-ENERGY_EXPONENT.value * cold
    return Band(low=energy.low * factor, best=energy.best * factor, high=energy.high * factor)


def cutting_power_w(
    removal_rate: Value, chip: Value, temperature: float, energy: Band[float] = USUAL_ENERGY
) -> Band[Value]:
    """Power that cutting takes at the edge, without what the spindle takes idle.

    Parameters
    ----------
    removal_rate : mm3/s, not below 0
    chip, temperature, energy : as in `specific_energy`

    Returns
    -------
    W

    Raises
    ------
    JobError : as `specific_energy`, or a removal rate below 0

    Notes
    -----
    Specific energy times removal rate. Source: the handbook form of unit power.

    >>> round(float(cutting_power_w(1000.0, 0.1, -10.0).high), 9)
    10.0
    """
    if not np.all(removal_rate >= 0):
        raise JobError(f"removal rate of {np.min(removal_rate):g} mm3/s; it cannot be below 0")
    each = specific_energy(chip, temperature, energy)
    return each.each(lambda u: u * removal_rate * W_PER_N_MM_S)


def spindle_torque(power_w: float, spindle_rpm: float) -> float:
    """Torque at the bit.

    Parameters
    ----------
    power_w : W
    spindle_rpm : above 0

    Returns
    -------
    N mm

    Raises
    ------
    JobError : a spindle that does not turn

    Notes
    -----
    Power over angular speed. Source: mechanics; no constant.

    >>> round(spindle_torque(math.pi, 30.0), 9)
    1000.0
    """
    if not spindle_rpm > 0:
        raise JobError(f"spindle at {spindle_rpm:g} rpm gives no torque; set a speed above 0")
    return power_w / W_PER_N_MM_S / (2 * math.pi * spindle_rpm / S_PER_MIN)


def tooth_force(energy: Value, depth: Value, chip: Value) -> Value:
    """Tangential force on one straight tooth.

    Parameters
    ----------
    energy : MPa, specific energy
    depth : mm, along the axis
    chip : mm, thickness at that moment; `largest_chip` for the peak

    Returns
    -------
    N

    Notes
    -----
    Specific energy times the section of the chip. Source: mechanics; no constant.

    >>> tooth_force(4.0, 3.0, 0.5)
    6.0
    """
    return energy * depth * chip


def chip_load(diameter: float, temperature: float) -> Band[float]:
    """Chip load that suits ice.

    Parameters
    ----------
    diameter : mm, cutting diameter of the bit, not below 0
    temperature : degC, -30 to 0

    Returns
    -------
    mm a tooth, for a depth of up to one diameter

    Raises
    ------
    BitError : a diameter below 0
    JobError : a temperature out of range

    Notes
    -----
    Straight lines between the windows of 1/16, 1/8, 1/4, 3/8 and 1/2 in; in proportion to the
    diameter below, as at 1/2 in above. One per cent less for each kelvin below -10 degC and more
    above it, but never above the window, which rests on charts for plastic, nor below the least
    chip load. All assumed: see `icecam.ice.constants`.

    >>> chip_load(6.35, -10.0).best
    0.16
    """
    check_temperature(temperature)
    if not diameter >= 0:
        raise BitError(f"a bit has a diameter of {diameter:g} mm; give one that is not below 0")
    marks = [0.0, *(window.diameter for window in CHIP_WINDOWS)]
    loads = [window.load for window in CHIP_WINDOWS]
    low, best, most = (
        float(np.interp(diameter, marks, [0.0, *column]))
        for column in (
            [load.low for load in loads],
            [load.value for load in loads],
            [load.high for load in loads],
        )
    )
    warmth = 1 + CHIP_LOAD_TEMPERATURE.value * (temperature - ENERGY_DATUM.value)
    return Band(low=low, best=best, high=most).each(
        lambda load: max(min(load * warmth, most), LEAST_CHIP_LOAD.value)
    )


def depth_factor(depth_in_diameters: Value) -> Value:
    """Share of the chip load that is left at a depth of cut.

    Parameters
    ----------
    depth_in_diameters : depth along the axis over the bit's diameter, 0 to 3

    Returns
    -------
    1 up to one diameter, three quarters at two, half at three, straight lines between

    Raises
    ------
    JobError : a depth out of range

    Notes
    -----
    [SpiralChart]_; printed for wood and plastics, taken over for ice.

    >>> float(depth_factor(2.5))
    0.625
    """
    if not (np.all(depth_in_diameters >= 0) and np.all(depth_in_diameters <= DEEPEST)):
        raise JobError(
            f"a cut runs from {np.min(depth_in_diameters):g} to {np.max(depth_in_diameters):g} "
            f"diameters deep; no chip load is known outside 0 to {DEEPEST:g}, so step down less"
        )
    marks = np.arange(1.0, DEEPEST + 1)
    share: Value = np.interp(depth_in_diameters, marks, [share.value for share in DEPTH_SHARES])
    return share
