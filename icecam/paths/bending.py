"""How far a bit gives way when ice pushes its tip aside."""

from math import pi

from icecam.geometry.profile import cutting_end
from icecam.ice.constants import CARBIDE_MODULUS, FLUTE_CORE
from icecam.job.bits import tip_size
from icecam.job.records import Bit

MPA_PER_GPA = 1000.0


def tip_compliance(bit: Bit) -> float:
    """Sideways way of the tip for each newton that pushes it.

    Parameters
    ----------
    bit : solid carbide, held rigidly by the nut `stick_out` above the tip

    Returns
    -------
    mm/N; to be multiplied by the force on the tip

    Notes
    -----
    A cantilever of two parts: the flutes, a round bar of `FLUTE_CORE` of the cutting diameter that
    widens evenly from tip to `flute_length`, and the shank up to the nut. The unit load at the tip
    gives the integral of x^2 / (E I(x)), in closed form a^3 / (3 E I_tip) (tip / top)^3 for the
    flutes and (L^3 - a^3) / (3 E I) for the shank. Source: beam theory. The ice pushes all along
    the cut, not at the tip alone, so this is on the safe side.

    >>> bit = Bit(name="a", shape="flat", diameter=10.0, flutes=2, flute_length=50.0, shank=8.0,
    ...           stick_out=50.0)
    >>> round(1e3 * 7.8 * tip_compliance(bit), 2)
    2.69
    """
    modulus = CARBIDE_MODULUS.value * MPA_PER_GPA
    tip = tip_size(bit)
    top = max(2 * cutting_end(bit).radius, tip)
    flutes = min(bit.flute_length, bit.stick_out)
    in_flutes = flutes**3 / _second_moment(FLUTE_CORE.value * tip) * (tip / top) ** 3
    in_shank = (bit.stick_out**3 - flutes**3) / _second_moment(bit.shank)
    return (in_flutes + in_shank) / (3 * modulus)


def _second_moment(diameter: float) -> float:
    """Second moment of area of a round bar, mm4."""
    return pi * diameter**4 / 64
