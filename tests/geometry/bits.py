"""Bits of all five shapes, and the solids they are by definition."""

from math import cos, radians, sin, tan
from typing import Final

from icecam.job.records import Bit, Shape
from tests.reference.profile import Solid


def make_bit(
    shape: Shape,
    diameter: float = 6.0,
    *,
    corner: float = 0.0,
    taper: float = 0.0,
    flute: float = 25.0,
    shank: float = 0.5,
    stick_out: float = 60.0,
) -> Bit:
    """Return a bit; its thin shank stays out of the way unless a test wants it."""
    return Bit(
        name=shape,
        shape=shape,
        diameter=diameter,
        corner_radius=corner,
        taper_deg=taper,
        flutes=2,
        flute_length=flute,
        shank=shank,
        stick_out=stick_out,
    )


def solid_of(bit: Bit) -> Solid:
    """Return what the words of `Bit` say: a core swollen by the corner radius."""
    half, taper = bit.diameter / 2, radians(bit.taper_deg)
    if bit.shape == "flat":
        return Solid(flat=half, corner=0.0, taper=0.0, radius=half)
    if bit.shape == "ball":
        return Solid(flat=0.0, corner=half, taper=0.0, radius=half)
    if bit.shape == "rounded corner":
        corner = bit.corner_radius
        return Solid(flat=half - corner, corner=corner, taper=0.0, radius=half)
    if bit.shape == "vee":
        widest = half + bit.flute_length * tan(taper)
        return Solid(flat=half, corner=0.0, taper=taper, radius=widest)
    # The flank is the tangent from the ball; seen from its centre a right triangle gives its width.
    return Solid(flat=0.0, corner=half, taper=taper, radius=_width_of_flank(half, taper, bit))


def _width_of_flank(ball: float, taper: float, bit: Bit) -> float:
    """Half width at the flute length: the flank lies `ball` from the axis' ball centre."""
    return (ball + (bit.flute_length - ball) * sin(taper)) / cos(taper)


BITS: Final = {
    "flat": make_bit("flat"),
    "ball": make_bit("ball"),
    "rounded corner": make_bit("rounded corner", corner=1.0),
    "tapered ball": make_bit("tapered ball", 1.6, taper=5.0),
    "vee": make_bit("vee", 0.0, taper=30.0, flute=8.0),
    "blunt vee": make_bit("vee", 1.0, taper=45.0, flute=4.0),
}
