"""Bits in plain English, for sheets and messages."""

from fractions import Fraction

from icecam.job.problem import figure
from icecam.job.records import Bit
from icecam.units import MM_PER_INCH

_FINEST = 64
"""Inch sizes are marked down to 1/64 (common practice, no source)."""


def describe(bit: Bit) -> str:
    """Say what a bit is: size, shape, flutes, stick-out.

    >>> describe(Bit(name="a", shape="flat", diameter=12.7, flutes=2, flute_length=76.2,
    ...              shank=12.7, stick_out=125.0))
    '1/2 in flat, 2 flutes, stick-out 125 mm'
    """
    flutes = f"{bit.flutes} flute{'s' * (bit.flutes > 1)}"
    return f"{_form(bit)}, {flutes}, stick-out {figure(bit.stick_out)} mm"


def size(length: float) -> str:
    """Write a size (mm) as it is marked on a bit: a fraction of an inch if it is one, else mm.

    >>> size(1.5875), size(38.1), size(6.0)
    ('1/16 in', '1 1/2 in', '6 mm')
    """
    parts = length / MM_PER_INCH * _FINEST
    count = round(parts)
    if count == 0 or abs(parts - count) > 1e-6 * count:
        return f"{figure(length)} mm"
    whole, rest = divmod(Fraction(count, _FINEST), 1)
    return " ".join(str(part) for part in (whole, rest) if part) + " in"


def _form(bit: Bit) -> str:
    """Write size and shape."""
    match bit.shape:
        case "rounded corner":
            corner = figure(bit.corner_radius)
            return f"{size(bit.diameter)} flat with {corner} mm rounded corner"
        case "tapered ball":
            return f"{size(bit.diameter)} tapered ball, {figure(bit.taper_deg)} deg a side"
        case "vee":
            tip = f"{figure(bit.diameter)} mm flat at the tip" if bit.diameter else "pointed"
            return f"{figure(2 * bit.taper_deg)} deg vee, {tip}"
        case _:
            return f"{size(bit.diameter)} {bit.shape}"
