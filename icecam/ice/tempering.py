"""How long a block takes to follow the air around it.

A slab with air on both faces: the exact series for conduction with heat transfer at the surface. A
block loses heat through its narrow sides too, so it is sooner there, never later.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from icecam.errors import JobError
from icecam.ice.band import Band
from icecam.ice.keeping_constants import TEMPERING_FILM
from icecam.ice.properties import check_temperature, conductivity_w_m_k, diffusivity

MM_PER_M: Final = 1e3
TERMS: Final = 40
EARLIEST: Final = 0.003
"""Fourier number below which the middle has felt less than 1e-30, and beyond which 40 terms do."""
ALMOST_ALL: Final = 1 - 1e-9
"""Share left from which on the series is lost in rounding."""
HALVINGS: Final = 60


def middle_share(fourier: float, biot: float) -> float:
    """Share of the first difference to the air that is left in the middle of a slab.

    Parameters
    ----------
    fourier : diffusivity times time over the square of half the thickness, not below 0
    biot : heat transfer times half the thickness over conductivity, above 0; inf for a surface
        held at the temperature of the air

    Returns
    -------
    1 down to 0

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    Exact: the sum of 4 sin z / (2 z + sin 2 z) exp(-z^2 fourier) over the roots of z tan z = biot.
    Source: the classical solution of conduction, in any handbook of heat transfer; no constant.

    >>> round(middle_share(1.0, 1.0), 3)
    0.534
    """
    if not fourier >= 0:
        raise JobError(f"a Fourier number of {fourier:g}; give a time that is not below 0")
    if not biot > 0:
        raise JobError(f"a Biot number of {biot:g}; give a heat transfer and thickness above 0")
    return _share(fourier, _roots(biot))


def tempering_time(
    thickness: float,
    start: float,
    air: float,
    *,
    within: float = 1.0,
    film_w_m2_k: Band[float] | None = None,
) -> Band[float]:
    """Time until the middle of a block is as warm or cold as the air, but for `within`.

    Parameters
    ----------
    thickness : mm, the least side of the block, air on both faces; twice that if one face lies on
        a board that insulates; above 0
    start : degC, -30 to 0, all through the block
    air : degC, -30 to 0
    within : K, above 0
    film_w_m2_k : W/m2/K, above 0; left out, what is assumed for still air up to a fan

    Returns
    -------
    s; the low end goes with the strongest air

    Raises
    ------
    JobError : a number out of range

    Notes
    -----
    `middle_share` with the properties of ice midway between the two temperatures. The band is that
    of the air and of the conductivity of ice. Frost or plastic film on the block slow it further.

    >>> band = tempering_time(254.0, -25.0, -10.0)
    >>> [round(each / 3600) for each in (band.low, band.best, band.high)]
    [12, 21, 39]
    """
    for temperature in (start, air):
        check_temperature(temperature)
    if not (thickness > 0 and within > 0):
        raise JobError(
            f"a block {thickness:g} mm thick to come within {within:g} K; give numbers above 0"
        )
    film = film_w_m2_k or TEMPERING_FILM.band()
    if not film.low > 0:
        raise JobError(f"heat transfer of {film.low:g} W/m2/K; give one above 0")
    if abs(air - start) <= within:
        return Band(low=0.0, best=0.0, high=0.0)
    left = min(within / abs(air - start), ALMOST_ALL)
    half = thickness / 2
    conducted, spread = (of((start + air) / 2) for of in (conductivity_w_m_k, diffusivity))
    times = [
        _fourier_when(left, flow * half / MM_PER_M / conduct) * half**2 / speed
        for flow, conduct, speed in (
            (film.high, conducted.high, spread.high),
            (film.best, conducted.best, spread.best),
            (film.low, conducted.low, spread.low),
        )
    ]
    return Band(low=times[0], best=times[1], high=times[2])


def _roots(biot: float) -> NDArray[np.float64]:
    """First roots of z tan z = biot by halving: one in the first quarter of each half turn."""
    turns = np.arange(TERMS, dtype=np.float64)
    # z sin z - biot cos z rises through its root in even half turns and falls in odd ones.
    rise = (-1.0) ** turns
    low: NDArray[np.float64] = turns * math.pi
    high: NDArray[np.float64] = low + math.pi / 2
    if math.isinf(biot):
        return high
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        beyond = rise * (middle * np.sin(middle) - biot * np.cos(middle)) > 0
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return high


def _share(fourier: float, roots: NDArray[np.float64]) -> float:
    """Sum the series in the middle of the slab."""
    if fourier < EARLIEST:
        return 1.0
    weights = 4 * np.sin(roots) / (2 * roots + np.sin(2 * roots))
    return float(np.sum(weights * np.exp(-(roots**2) * fourier)))


def _fourier_when(left: float, biot: float) -> float:
    """Fourier number at which the share in the middle has come down to `left`."""
    roots = _roots(biot)
    # The first term alone never weighs more than 4/pi and bounds the sum from above.
    latest = EARLIEST + math.log(4 / math.pi / left) / float(roots[0]) ** 2
    return float(brentq(lambda fourier: _share(fourier, roots) - left, EARLIEST, latest))
