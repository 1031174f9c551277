"""Properties of ice by temperature; a temperature in degC in, the property out."""

import math
from typing import Final

from icecam.errors import JobError
from icecam.ice.band import Band
from icecam.ice.constants import (
    CONDUCTIVITY_DOUBT,
    CONDUCTIVITY_FACTOR,
    CONDUCTIVITY_FALL,
    DENSITY_TERMS,
    EXPANSION_TERMS,
    HEAT_TERMS,
    MELTING_HEAT,
    MELTING_POINT,
    SUBLIMATION_TERMS,
    TRIPLE_PRESSURE,
    TRIPLE_TEMPERATURE,
)
from icecam.ice.sourced import Sourced

ZERO_CELSIUS_K: Final = 273.15
MM2_PER_M2: Final = 1e6

COLDEST: Final = -30.0
WARMEST: Final = 0.0
"""Range in degC that the fits and the cutting model are stated for."""


def check_temperature(temperature: float) -> None:
    """Refuse a temperature (degC) outside -30 to 0.

    Raises
    ------
    JobError : too cold, too warm or no number
    """
    if not COLDEST <= temperature <= WARMEST:
        beyond = max(COLDEST - temperature, temperature - WARMEST)
        raise JobError(
            f"ice at {temperature:g} degC lies {beyond:g} K outside {COLDEST:g} to {WARMEST:g} "
            "degC, which the ice model covers; measure the block again or let it come into range"
        )


def density_kg_m3(temperature: float) -> float:
    """Density of clear ice at normal pressure.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    kg/m3

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [IAPWS2009]_, by a cubic fitted to it, within 8e-6 kg/m3 over the range.

    >>> round(density_kg_m3(-10.0), 4)
    918.1658
    """
    check_temperature(temperature)
    return _polynomial(DENSITY_TERMS, temperature)


def specific_heat_j_kg_k(temperature: float) -> float:
    """Heat that warms a kilogram of ice by one kelvin, at normal pressure.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    J/kg/K

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [IAPWS2009]_, by a cubic fitted to it, within 0.0004 J/kg/K over the range.

    >>> round(specific_heat_j_kg_k(-10.0), 3)
    2023.098
    """
    check_temperature(temperature)
    return _polynomial(HEAT_TERMS, temperature)


def warming_heat_j_kg(temperature: float) -> float:
    """Heat that brings ice to its melting point and melts none of it.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    J/kg

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    The specific heat summed up to 0.002519 degC, where ice melts at normal pressure: [IAPWS2009]_,
    within 0.02 J/kg.

    >>> round(warming_heat_j_kg(-10.0))
    20604
    """
    check_temperature(temperature)
    return _heat_from_zero(MELTING_POINT.value) - _heat_from_zero(temperature)


def melting_heat_j_kg(temperature: float) -> float:
    """Heat that brings ice to its melting point and melts all of it.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    J/kg, `warming_heat_j_kg` and the heat of melting

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [IAPWS2009]_ for ice, [IAPWS2018]_ for water, within 0.1 J/kg.

    >>> round(melting_heat_j_kg(-10.0))
    354030
    """
    return warming_heat_j_kg(temperature) + MELTING_HEAT.value


def linear_expansion_1_k(temperature: float) -> float:
    """Share by which a length of ice grows with each kelvin, at normal pressure.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    1/K, a third of the expansion of the volume

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [IAPWS2009]_, by a parabola fitted to it, within 2e-9 1/K. A third of the growth in volume:
    taken as the same in all directions, as in ice of many crystals.

    >>> round(linear_expansion_1_k(-10.0), 8)
    5.163e-05
    """
    check_temperature(temperature)
    return _polynomial(EXPANSION_TERMS, temperature)


def growth(length: float, start: float, end: float) -> float:
    """Change of a length of ice between two temperatures.

    Parameters
    ----------
    length : mm, at the start
    start, end : degC, -30 to 0

    Returns
    -------
    mm, below 0 when it cools

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    From the densities, the same in all directions: [IAPWS2009]_.

    >>> round(growth(1016.0, -15.0, -5.0), 2)
    0.52
    """
    ratio: float = (density_kg_m3(start) / density_kg_m3(end)) ** (1 / 3)
    return length * (ratio - 1)


def sublimation_pressure_pa(temperature: float) -> float:
    """Pressure of vapour that neither takes from ice nor adds to it.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    Pa

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [IAPWS2011]_, which holds from 50 to 273.16 K.

    >>> round(sublimation_pressure_pa(-10.0), 2)
    259.87
    """
    check_temperature(temperature)
    reduced = (temperature + ZERO_CELSIUS_K) / TRIPLE_TEMPERATURE.value
    total = sum(factor.value * reduced**power.value for factor, power in SUBLIMATION_TERMS)
    return TRIPLE_PRESSURE.value * math.exp(total / reduced)


def conductivity_w_m_k(temperature: float) -> Band[float]:
    """Heat conductivity of clear ice.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    W/m/K, 7 % either way

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    9.828 exp(-0.0057 T), T in K: [Yen1981]_ as quoted in later works. The band is assumed.

    >>> round(conductivity_w_m_k(-10.0).best, 2)
    2.19
    """
    check_temperature(temperature)
    absolute = temperature + ZERO_CELSIUS_K
    best = CONDUCTIVITY_FACTOR.value * math.exp(-CONDUCTIVITY_FALL.value * absolute)
    doubt = CONDUCTIVITY_DOUBT.value
    return Band(low=best * (1 - doubt), best=best, high=best * (1 + doubt))


def diffusivity(temperature: float) -> Band[float]:
    """How fast a change of temperature spreads in ice.

    Parameters
    ----------
    temperature : degC, -30 to 0

    Returns
    -------
    mm2/s, 7 % either way

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    Conductivity over density and specific heat; their sources.

    >>> round(diffusivity(-10.0).best, 2)
    1.18
    """
    stored = density_kg_m3(temperature) * specific_heat_j_kg_k(temperature)
    return conductivity_w_m_k(temperature).each(lambda k: k / stored * MM2_PER_M2)


def _polynomial(terms: tuple[Sourced, ...], temperature: float) -> float:
    """Sum of terms in rising powers of the temperature."""
    total = 0.0
    for term in reversed(terms):
        total = total * temperature + term.value
    return total


def _heat_from_zero(temperature: float) -> float:
    """Heat between 0 degC and a temperature, J/kg; below 0 when colder."""
    return sum(
        term.value * temperature ** (power + 1) / (power + 1)
        for power, term in enumerate(HEAT_TERMS)
    )
