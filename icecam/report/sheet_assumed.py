"""Which assumed constants the figures of a job sheet rest on."""

from collections.abc import Sequence
from typing import Final

from icecam.ice.constants import (
    CHIP_LOAD_TEMPERATURE,
    CHIP_WINDOWS,
    EDGE_RADIUS,
    ENERGY,
    ENERGY_EXPONENT,
    ENERGY_TEMPERATURE,
    IDLE_SHARE,
    LEAST_CHIP_LOAD,
    SAFETY,
    ChipWindow,
)
from icecam.ice.keeping_constants import (
    FILM_DOUBT,
    LIFT_GRIP,
    SNOW_BETWEEN,
    SNOW_BULK,
    SNOW_STOP,
    TEAM_OF_THREE,
    TEAM_OF_TWO,
    TEMPERING_FILM,
    USUAL_REACH,
    USUAL_TRAVEL,
    WARM_UP,
)
from icecam.ice.sourced import Sourced
from icecam.job.records import Job

_LOAD: Final = (ENERGY_EXPONENT, ENERGY_TEMPERATURE, EDGE_RADIUS, IDLE_SHARE)
_FEED: Final = (CHIP_LOAD_TEMPERATURE, LEAST_CHIP_LOAD, SAFETY)
_LIFT: Final = (USUAL_REACH, USUAL_TRAVEL, LIFT_GRIP, TEAM_OF_TWO, TEAM_OF_THREE)
_TEMPER: Final = (TEMPERING_FILM, FILM_DOUBT)


def assumed_of(job: Job, diameters: Sequence[float]) -> tuple[Sourced, ...]:
    """Return the constants behind load, feed, lifting, tempering and hours of this job.

    Parameters
    ----------
    diameters : of the bits that carve, mm; chip loads between which theirs lie count

    Notes
    -----
    A value of the freezer that the job changes is no longer assumed, nor is the energy of a job
    with readings.
    """
    load = _LOAD if job.ice.calibrate else (ENERGY, *_LOAD)
    chips = [window.load for window in _windows(diameters)]
    freezer = job.freezer
    own = (
        (SNOW_BULK, freezer.snow_bulk),
        (SNOW_BETWEEN, freezer.snow_stop_litres),
        (SNOW_STOP, freezer.snow_stop),
        (WARM_UP, freezer.warm_up),
    )
    hours = [constant for constant, value in own if value == constant.value]
    return (*load, *chips, *_FEED, *_LIFT, *_TEMPER, *hours)


def _windows(diameters: Sequence[float]) -> list[ChipWindow]:
    """Chip loads of the listed diameters next to each bit's, on either side."""
    last = len(CHIP_WINDOWS) - 1
    used = set()
    for diameter in diameters:
        above = next((k for k, each in enumerate(CHIP_WINDOWS) if each.diameter >= diameter), last)
        exact = abs(CHIP_WINDOWS[above].diameter - diameter) < 1e-6
        used |= {above} if exact or above == 0 else {above - 1, above}
    return [CHIP_WINDOWS[k] for k in sorted(used)]


def assumed_words(constant: Sourced) -> str:
    """Write a constant with its range.

    >>> assumed_words(ENERGY)
    'specific cutting energy 4 MPa (1.6 to 10)'
    """
    unit = "" if constant.unit == "1" else f" {constant.unit}"
    value = f"{constant.name} {constant.value:g}{unit}"
    span = f" ({constant.low:g} to {constant.high:g})" if constant.low < constant.high else ""
    return value + span
