"""Specific cutting energy of the user's own ice and bits, from readings of spindle power."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from icecam.errors import JobError
from icecam.ice.band import Band
from icecam.ice.constants import DRIVE_EFFICIENCY
from icecam.ice.cutting import W_PER_N_MM_S, mean_chip, specific_energy
from icecam.units import S_PER_MIN

_ONE = Band(low=1.0, best=1.0, high=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerReading:
    """A meter read while a bit cut a straight groove or step, and while it turned in the air.

    cutting_w, idle_w : W drawn from the mains
    spindle_rpm, flutes, diameter (mm) : of the bit
    feed : mm/s, really reached
    depth, width : mm of the cut
    temperature : degC of the ice
    """

    cutting_w: float
    idle_w: float
    spindle_rpm: float
    flutes: int
    diameter: float
    feed: float
    depth: float
    width: float
    temperature: float


def energy_of_reading(reading: PowerReading) -> Band[float]:
    """Work out the specific energy at the reference point from one reading.

    Returns
    -------
    MPa, for a mean chip of 0.1 mm at -10 degC; the band is that of the drive's efficiency

    Raises
    ------
    JobError : no more drawn while cutting than idle, or nothing cut
    BitError : a cut wider than the bit

    Notes
    -----
    What cutting adds to the meter, times the efficiency of motor and drive, over the volume cut a
    second; brought to the reference point by the exponents of `specific_energy`. Source: the
    handbook form of unit power; no constant but the efficiency, which is assumed.
    """
    drawn = reading.cutting_w - reading.idle_w
    if not drawn > 0:
        raise JobError(
            f"the spindle drew {reading.cutting_w:g} W cutting and {reading.idle_w:g} W idle; "
            "cutting must draw more, so take a heavier cut"
        )
    rate = reading.feed * reading.depth * reading.width
    if not rate > 0:
        raise JobError("a reading that cuts nothing says nothing; give feed, depth and width")
    load = reading.feed * S_PER_MIN / reading.spindle_rpm / reading.flutes
    chip = float(mean_chip(load, reading.width, reading.diameter))
    factor = specific_energy(chip, reading.temperature, _ONE).best
    return DRIVE_EFFICIENCY.band().each(lambda share: share * drawn / W_PER_N_MM_S / rate / factor)


def energy_of_readings(readings: Sequence[PowerReading]) -> Band[float]:
    """Work out the specific energy at the reference point from at least one reading.

    Returns
    -------
    MPa: the geometric mean, and the band from the lowest to the highest of all bands

    Raises
    ------
    JobError, BitError : as `energy_of_reading`
    """
    bands = [energy_of_reading(reading) for reading in readings]
    logs = [math.log(band.best) for band in bands]
    return Band(
        low=min(band.low for band in bands),
        best=math.exp(sum(logs) / len(logs)),
        high=max(band.high for band in bands),
    )
