"""Properties of ice by temperature; a temperature in degC in, the property out."""

from typing import Final

from icecam.errors import JobError
from icecam.ice.constants import DENSITY_TERMS

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
    total = 0.0
    for term in reversed(DENSITY_TERMS):
        total = total * temperature + term.value
    return total
