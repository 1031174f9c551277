"""What must be true of one bit by itself: the shape it claims and the sizes it gives."""

from collections.abc import Iterator
from math import cos, radians, sin, tan

from icecam.job.problem import Problem, Where, figure
from icecam.job.records import Bit

_OVER_SHANK = 1.02
"""Flank of a tapered ball over its shank: room for sizes rounded in a catalogue (common practice,
no source)."""
_VEE_OVER_SHANK = 4.0
"""Vees wider than their shank are usual, four times as wide is not (common practice, no source)."""
POINT_MM = 0.5
"""A pointed vee is fed as if its tip were as wide."""
_TAPERED = ("tapered ball", "vee")


def widest(bit: Bit) -> float:
    """Diameter at the upper end of the flutes, mm.

    Notes
    -----
    Geometry, no constant: the flank of a tapered ball touches its ball of radius R at the height
    R (1 - sin taper), where the radius is R cos taper; from there it widens by tan taper.
    """
    slope = radians(bit.taper_deg)
    if bit.shape == "vee":
        return bit.diameter + 2 * bit.flute_length * tan(slope)
    if bit.shape != "tapered ball":
        return bit.diameter
    flank = bit.flute_length - _tip_height(bit)
    return bit.diameter * cos(slope) + 2 * flank * tan(slope)


def tip_size(bit: Bit) -> float:
    """Return the diameter by which a bit is put in order and fed (mm)."""
    return bit.diameter if bit.shape != "vee" else max(bit.diameter, POINT_MM)


def bit_problems(bit: Bit, where: Where) -> Iterator[Problem]:
    """Yield every contradiction within a bit that stands at `where` in the job."""
    for key, text in (*_shape(bit), *_lengths(bit)):
        yield Problem(where=(*where, key), text=f'("{bit.name}") {text}')


def _tip_height(bit: Bit) -> float:
    """Height of the rounded part of the tip, mm."""
    if bit.shape == "rounded corner":
        return bit.corner_radius
    if bit.shape in ("ball", "tapered ball"):
        return bit.diameter / 2 * (1 - sin(radians(bit.taper_deg)))
    return 0.0


def _shape(bit: Bit) -> Iterator[tuple[str, str]]:
    """Diameter, corner and taper as the shape needs them."""
    if bit.diameter == 0 and bit.shape != "vee":
        yield "diameter", f"is 0, which only a vee may have; give the diameter of the {bit.shape}"
    rounded = bit.shape == "rounded corner"
    if bit.corner_radius > 0 and not rounded:
        yield (
            "corner_radius",
            f"is {figure(bit.corner_radius)} mm on a {bit.shape}; "
            'give 0, or shape = "rounded corner"',
        )
    if rounded and not 0 < bit.corner_radius <= bit.diameter / 2:
        yield (
            "corner_radius",
            f"is {figure(bit.corner_radius)} mm; give above 0 to "
            f"{figure(bit.diameter / 2)} mm, half the diameter",
        )
    tapered = bit.shape in _TAPERED
    if bit.taper_deg > 0 and not tapered:
        yield (
            "taper_deg",
            f"is {figure(bit.taper_deg)} deg on a {bit.shape}; "
            'give 0, or shape = "tapered ball" or "vee"',
        )
    if tapered and bit.taper_deg == 0:
        yield (
            "taper_deg",
            f"is 0 on a {bit.shape}; give the angle between flank and axis, above 0 deg",
        )


def _lengths(bit: Bit) -> Iterator[tuple[str, str]]:
    """From the tip up: rounded end, flutes, shank, nut."""
    flutes = f"is {figure(bit.flute_length)} mm"
    if bit.flute_length > bit.stick_out:
        yield (
            "flute_length",
            f"{flutes}, longer than the stick-out of {figure(bit.stick_out)} mm; "
            "set the bit out further or give the length that cuts below the nut",
        )
    if bit.flute_length < _tip_height(bit):
        yield (
            "flute_length",
            f"{flutes}, less than the rounded tip of {figure(_tip_height(bit))} mm; "
            "give the length from the tip to the upper end of the flutes",
        )
    elif bit.shape in _TAPERED:
        yield from _flank(bit)
    if bit.shank > bit.nut:
        yield (
            "shank",
            f"is {figure(bit.shank)} mm, wider than the collet nut of {figure(bit.nut)} mm; "
            "set shank or nut right",
        )


def _flank(bit: Bit) -> Iterator[tuple[str, str]]:
    """Flank against shank: too wide a cone means a wrong angle or length."""
    most = bit.shank * (_VEE_OVER_SHANK if bit.shape == "vee" else _OVER_SHANK)
    if widest(bit) > most:
        yield (
            "flute_length",
            f"is {figure(bit.flute_length)} mm and at {figure(bit.taper_deg)} deg the flank is "
            f"{figure(widest(bit))} mm wide there, beyond the {figure(most)} mm that a shank of "
            f"{figure(bit.shank)} mm allows; give the length where the flank meets the shank, "
            "or set taper_deg (half the included angle) or shank right",
        )
