"""Air around the ice: its properties, and the heat and vapour it brings to a surface.

Dry air at normal pressure; vapour moves as heat does, but for how fast each spreads in air.
"""

import math
from typing import Final

from icecam.errors import JobError
from icecam.ice.keeping_constants import (
    AIR_CONDUCTIVITY,
    AIR_GAS,
    AIR_HEAT,
    AIR_PRESSURE,
    AIR_VISCOSITY,
    GRAVITY,
    LEWIS,
    PLATE,
    SATURATION,
    VAPOUR_GAS,
)
from icecam.ice.properties import ZERO_CELSIUS_K

COLDEST_AIR: Final = -40.0
WARMEST_AIR: Final = 50.0
"""Range in degC that the curve of vapour pressure is stated for."""
MOST_RAYLEIGH: Final = 1e12


def check_air(temperature: float) -> None:
    """Refuse air (degC) outside -40 to 50.

    Raises
    ------
    JobError : too cold, too warm or no number
    """
    if not COLDEST_AIR <= temperature <= WARMEST_AIR:
        raise JobError(
            f"air at {temperature:g} degC lies outside {COLDEST_AIR:g} to {WARMEST_AIR:g} degC, "
            "which the figures of air cover; check the thermometer"
        )


def air_density_kg_m3(temperature: float) -> float:
    """Density of dry air at normal pressure.

    Parameters
    ----------
    temperature : degC, -40 to 50

    Returns
    -------
    kg/m3

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    Ideal gas with the constants of [Atmosphere1976]_.

    >>> round(air_density_kg_m3(15.0), 3)
    1.225
    """
    check_air(temperature)
    return AIR_PRESSURE.value / (AIR_GAS.value * (temperature + ZERO_CELSIUS_K))


def air_viscosity_pa_s(temperature: float) -> float:
    """Dynamic viscosity of air.

    Parameters
    ----------
    temperature : degC, -40 to 50

    Returns
    -------
    Pa s

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [Atmosphere1976]_, Sutherland's form.

    >>> round(air_viscosity_pa_s(15.0), 8)
    1.789e-05
    """
    check_air(temperature)
    factor, offset = AIR_VISCOSITY
    absolute = temperature + ZERO_CELSIUS_K
    viscosity: float = factor.value * absolute**1.5 / (absolute + offset.value)
    return viscosity


def air_conductivity_w_m_k(temperature: float) -> float:
    """Heat conductivity of air.

    Parameters
    ----------
    temperature : degC, -40 to 50

    Returns
    -------
    W/m/K

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [Atmosphere1976]_, with the constants in SI units.

    >>> round(air_conductivity_w_m_k(15.0), 5)
    0.02533
    """
    check_air(temperature)
    factor, offset, power = AIR_CONDUCTIVITY
    absolute = temperature + ZERO_CELSIUS_K
    slowed: float = absolute + offset.value * 10 ** (-power.value / absolute)
    conductivity: float = factor.value * absolute**1.5 / slowed
    return conductivity


def saturation_pressure_pa(temperature: float) -> float:
    """Vapour pressure of water, which air holds at a relative humidity of 1.

    Parameters
    ----------
    temperature : degC, -40 to 50; below 0 over undercooled water, not over ice

    Returns
    -------
    Pa, within 0.4 %

    Raises
    ------
    JobError : a temperature out of range

    Notes
    -----
    [Alduchov1996]_: 610.94 exp(17.625 t / (t + 243.04)).

    >>> round(saturation_pressure_pa(20.0))
    2333
    """
    check_air(temperature)
    factor, rise, offset = SATURATION
    return factor.value * math.exp(rise.value * temperature / (temperature + offset.value))


def vapour_flux_kg_m2_s(film_w_m2_k: float, drop_pa: float, temperature: float) -> float:
    """Vapour that moves through the film of air on a surface.

    Parameters
    ----------
    film_w_m2_k : W/m2/K, heat transfer of that film without radiation, not below 0
    drop_pa : Pa, fall of vapour pressure along the way; below 0 for the other way
    temperature : degC, of the film, -40 to 50

    Returns
    -------
    kg/m2/s

    Raises
    ------
    JobError : heat transfer below 0, or a temperature out of range

    Notes
    -----
    Analogy of heat and mass (Chilton and Colburn): film / (rho c Lewis^(2/3)) times the fall of
    vapour density. Source: any handbook of heat transfer; Lewis number and c are assumed.

    >>> round(vapour_flux_kg_m2_s(10.0, 100.0, 0.0) * 3600, 4)
    0.0239
    """
    if not film_w_m2_k >= 0:
        raise JobError(f"heat transfer of {film_w_m2_k:g} W/m2/K; give one that is not below 0")
    warmed = air_density_kg_m3(temperature) * AIR_HEAT.value
    speed: float = film_w_m2_k / (warmed * LEWIS.value ** (2 / 3))
    return speed * drop_pa / (VAPOUR_GAS.value * (temperature + ZERO_CELSIUS_K))


def plate_nusselt(rayleigh: float, prandtl: float) -> float:
    """Nusselt number of free convection on an upright plate, mean over its height.

    Parameters
    ----------
    rayleigh : 0 to 1e12, by the height
    prandtl : above 0

    Returns
    -------
    1, within about a quarter of measurements

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    [Churchill1975]_, the one equation for laminar and turbulent flow together.

    >>> round(plate_nusselt(1.813e9, 0.69))
    147
    """
    if not (0 <= rayleigh <= MOST_RAYLEIGH and prandtl > 0):
        raise JobError(
            f"free convection at a Rayleigh number of {rayleigh:g}, Prandtl {prandtl:g}, lies "
            f"outside 0 to {MOST_RAYLEIGH:g}; give a lower face"
        )
    rest, factor, part = (each.value for each in PLATE)
    root: float = rest + factor * rayleigh ** (1 / 6) / (1 + (part / prandtl) ** (9 / 16)) ** (
        8 / 27
    )
    return root**2


def free_convection_w_m2_k(air: float, surface: float, height: float) -> float:
    """Heat transfer between still air and an upright face.

    Parameters
    ----------
    air, surface : degC, -40 to 50
    height : mm, of the face, above 0

    Returns
    -------
    W/m2/K, mean over the height, without radiation

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    `plate_nusselt` with air at the mean of both temperatures; the humidity of the air, which makes
    it a little lighter, is left out.

    >>> round(free_convection_w_m2_k(20.0, 0.0, 1000.0), 1)
    4.0
    """
    if not height > 0:
        raise JobError(f"a face {height:g} mm high; give a height above 0")
    film = (air + surface) / 2
    conductivity, viscosity = air_conductivity_w_m_k(film), air_viscosity_pa_s(film)
    density, metres = air_density_kg_m3(film), height / 1000
    prandtl = viscosity * AIR_HEAT.value / conductivity
    lift = GRAVITY.value * abs(air - surface) / (film + ZERO_CELSIUS_K)
    rayleigh = lift * metres**3 * (density / viscosity) ** 2 * prandtl
    return plate_nusselt(rayleigh, prandtl) * conductivity / metres
