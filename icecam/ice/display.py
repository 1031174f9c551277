"""Ice at an event: how fast it melts in the air of a room, and how long a thickness lasts.

The surface stands at 0 degC, and free convection, radiation and vapour that condenses bring the
heat. Warming the block through first takes a few hours more, which are left out.
"""

import math
from dataclasses import dataclass, field
from typing import Final

from icecam.errors import JobError
from icecam.ice.air import free_convection_w_m2_k, saturation_pressure_pa, vapour_flux_kg_m2_s
from icecam.ice.band import Band
from icecam.ice.constants import EVAPORATION_HEAT, MELTING_HEAT
from icecam.ice.keeping_constants import (
    CONVECTION_DOUBT,
    DRAUGHT_FILM,
    EMISSIVITY,
    EVENT_HUMIDITY,
    RADIATION,
)
from icecam.ice.properties import ZERO_CELSIUS_K, density_kg_m3

WARMEST_ROOM: Final = 40.0
MELTING: Final = 0.0
"""degC, surface of melting ice."""
MM_H_PER_M_S: Final = 3.6e6


@dataclass(frozen=True, slots=True, kw_only=True)
class EventAir:
    """The air and the light in which ice is shown.

    Attributes
    ----------
    temperature : degC, of air and walls, 0 to 40
    humidity : relative, 0 to 1
    light_w_m2 : W/m2 that ice takes up from sun or spotlights, not below 0

    Raises
    ------
    JobError : a number out of range
    """

    temperature: float
    humidity: Band[float] = field(default_factory=EVENT_HUMIDITY.band)
    light_w_m2: float = 0.0

    def __post_init__(self) -> None:
        if not MELTING <= self.temperature <= WARMEST_ROOM:
            raise JobError(
                f"an event at {self.temperature:g} degC lies outside 0 to {WARMEST_ROOM:g} degC; "
                "below 0 ice lasts, above 40 no figure holds"
            )
        if not (self.humidity.low >= 0 and self.humidity.high <= 1):
            raise JobError(
                f"relative humidity runs from {self.humidity.low:g} to {self.humidity.high:g}; "
                "keep it within 0 to 1"
            )
        if not self.light_w_m2 >= 0:
            raise JobError(f"light of {self.light_w_m2:g} W/m2; give one that is not below 0")


def melting_flux_w_m2(air: EventAir, height: float) -> Band[float]:
    """Heat that a melting face takes from a room.

    Parameters
    ----------
    air : air and light
    height : mm, of the face, above 0

    Returns
    -------
    W/m2, not below 0; best in still air, the ends anywhere from still air to a draught

    Raises
    ------
    JobError : a height that is not above 0, or too high for the formula of free convection

    Notes
    -----
    [Churchill1975]_, grey radiation between ice and walls, vapour by `vapour_flux_kg_m2_s`. Air
    drier than the ice takes vapour away and cools it. Draught, emissivity, humidity: assumed.

    >>> round(melting_flux_w_m2(EventAir(temperature=20.0), 1000.0).best)
    218
    """
    still = free_convection_w_m2_k(air.temperature, MELTING, height)
    least = still * CONVECTION_DOUBT.low
    most = max(still * CONVECTION_DOUBT.high, DRAUGHT_FILM.value)
    # A stronger film brings heat to ice, but in cool dry air it takes more: either end may be low.
    low = min(_flux(air, film, air.humidity.low, EMISSIVITY.low) for film in (least, most))
    best = _flux(air, still * CONVECTION_DOUBT.value, air.humidity.best, EMISSIVITY.value)
    high = max(_flux(air, film, air.humidity.high, EMISSIVITY.high) for film in (least, most))
    return Band(low=max(0.0, low), best=max(0.0, best), high=max(0.0, high))


def melting_rate_mm_h(air: EventAir, height: float) -> Band[float]:
    """Thickness that each face in the air loses to melting.

    Parameters
    ----------
    air : air and light
    height : mm, of the face, above 0

    Returns
    -------
    mm/h, as `melting_flux_w_m2`

    Raises
    ------
    JobError : as `melting_flux_w_m2`

    Notes
    -----
    Heat over density and melting heat of ice at 0 degC: [IAPWS2009]_, [IAPWS2018]_. Water that
    clings to the face and a stand that warms it are left out.

    >>> round(melting_rate_mm_h(EventAir(temperature=20.0), 1000.0).best, 1)
    2.6
    """
    melted = density_kg_m3(MELTING) * MELTING_HEAT.value
    return melting_flux_w_m2(air, height).each(lambda flux: flux / melted * MM_H_PER_M_S)


def display_hours(lost: float, faces: int, air: EventAir, height: float) -> Band[float]:
    """Time until a thickness or height of ice is gone.

    Parameters
    ----------
    lost : mm, of thickness or height, above 0
    faces : faces that melt towards each other: 2 for a wall in the open, 1 for a top or a back that
        is covered
    air : air and light
    height : mm, of the face, above 0

    Returns
    -------
    h; inf where nothing melts

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    Loss over rate. Tops are taken to melt like upright faces, as still air over cold ice brings
    less and dripping and light bring more; assumed. Counted from when the surface is wet.

    >>> round(display_hours(12.0, 2, EventAir(temperature=20.0), 1000.0).best, 1)
    2.3
    """
    if not (lost > 0 and faces in {1, 2}):
        raise JobError(
            f"{lost:g} mm lost from {faces} faces; give a thickness above 0 and 1 or 2 faces"
        )
    rate = melting_rate_mm_h(air, height)
    low, best, high = (
        lost / (faces * speed) if speed > 0 else math.inf
        for speed in (rate.high, rate.best, rate.low)
    )
    return Band(low=low, best=best, high=high)


def _flux(air: EventAir, film: float, humidity: float, emissivity: float) -> float:
    """Sum convection, radiation, condensation and light, W/m2."""
    warm, cold = (each + ZERO_CELSIUS_K for each in (air.temperature, MELTING))
    drop = humidity * saturation_pressure_pa(air.temperature) - saturation_pressure_pa(MELTING)
    vapour = vapour_flux_kg_m2_s(film, drop, (air.temperature + MELTING) / 2)
    return (
        film * (air.temperature - MELTING)
        + emissivity * RADIATION.value * (warm**4 - cold**4)
        + vapour * EVAPORATION_HEAT.value
        + air.light_w_m2
    )
