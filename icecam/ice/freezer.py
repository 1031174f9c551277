"""Ice that stands in a freezer: what the air takes from it, and the heat the coil has to remove."""

from typing import Final

from icecam.errors import JobError
from icecam.ice.air import vapour_flux_kg_m2_s
from icecam.ice.band import Band
from icecam.ice.keeping_constants import (
    FREEZER_FILM,
    FREEZER_HUMIDITY,
    PERSON_HEAT,
    ROUTER_POWER,
)
from icecam.ice.properties import density_kg_m3, sublimation_pressure_pa, warming_heat_j_kg

S_PER_DAY: Final = 86400.0
MM_PER_M: Final = 1000.0
J_PER_MJ: Final = 1e6


def sublimation_mm_per_day(
    temperature: float,
    *,
    film_w_m2_k: Band[float] | None = None,
    humidity: Band[float] | None = None,
) -> Band[float]:
    """Thickness that a bare face loses to the air while it stands in a freezer.

    Parameters
    ----------
    temperature : degC, of ice and air, -30 to 0
    film_w_m2_k : W/m2/K, heat transfer without radiation, not below 0; left out, what is assumed
        for still air, a light fan and a blower
    humidity : share of the vapour pressure of ice at that temperature, 0 to 1; left out, what is
        assumed for a freezer

    Returns
    -------
    mm/day; the low end goes with still, humid air

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    `vapour_flux_kg_m2_s` and [IAPWS2011]_. Air speed and humidity are assumed and make the band;
    the cold that sublimation leaves, which slows it by some per cent, is left out.

    >>> round(sublimation_mm_per_day(-10.0).best, 2)
    0.33
    """
    full = sublimation_pressure_pa(temperature)
    film = film_w_m2_k or FREEZER_FILM.band()
    share = humidity or FREEZER_HUMIDITY.band()
    if not (share.low >= 0 and share.high <= 1):
        raise JobError(
            f"relative humidity runs from {share.low:g} to {share.high:g}; keep it within 0 to 1"
        )
    low, best, high = (
        vapour_flux_kg_m2_s(flow, (1 - wet) * full, temperature)
        * S_PER_DAY
        * MM_PER_M
        / density_kg_m3(temperature)
        for flow, wet in (
            (film.low, share.high),
            (film.best, share.best),
            (film.high, share.low),
        )
    )
    return Band(low=low, best=best, high=high)


def cooling_heat_mj(mass_kg: float, start: float, end: float) -> float:
    """Heat the room takes out of a block that cools.

    Parameters
    ----------
    mass_kg : kg, not below 0
    start, end : degC, -30 to 0

    Returns
    -------
    MJ (3.6 to a kWh); below 0 when the block warms and cools the room

    Raises
    ------
    JobError : a mass below 0, or a temperature out of range

    Notes
    -----
    [IAPWS2009]_. What the coil draws from the mains is less, by its coefficient of performance.

    >>> round(cooling_heat_mj(120.0, -5.0, -15.0), 2)
    2.43
    """
    if not mass_kg >= 0:
        raise JobError(f"a block of {mass_kg:g} kg; give a mass that is not below 0")
    return mass_kg * (warming_heat_j_kg(end) - warming_heat_j_kg(start)) / J_PER_MJ


def carving_heat_mj(
    time: float, *, electric_w: Band[float] | None = None, people: int = 0
) -> Band[float]:
    """Heat the room takes up while the router carves.

    Parameters
    ----------
    time : s, not below 0
    electric_w : W, all that the router and the lights draw inside the room, not below 0; left out,
        what is assumed
    people : how many stand in the room

    Returns
    -------
    MJ (3.6 to a kWh)

    Raises
    ------
    JobError : a number below 0

    Notes
    -----
    All electric power ends as heat in the room, cutting included. Source: first law; the heat of
    people is assumed.

    >>> heat = carving_heat_mj(3600.0, people=1)
    >>> round(heat.best, 2)
    3.24
    """
    power = electric_w or ROUTER_POWER.band()
    for what, value in (("time", time), ("power", power.low), ("number of people", people)):
        if not value >= 0:
            raise JobError(f"a {what} of {value:g}; give one that is not below 0")
    return Band(
        low=time * (power.low + people * PERSON_HEAT.low) / J_PER_MJ,
        best=time * (power.best + people * PERSON_HEAT.value) / J_PER_MJ,
        high=time * (power.high + people * PERSON_HEAT.high) / J_PER_MJ,
    )
