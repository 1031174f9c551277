"""Bit shapes as profiles: the five shapes share one form, flat, arc, flank.

The profile of a bit is its height over the tip by axis distance; a whole bit is the cutting end,
then cylinders: shank, collet nut, spindle.
"""

from math import atan, cos, degrees, inf, pi, radians, sin, tan
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.errors import BitError
from icecam.job.records import Bit
from icecam.kernels.profile import Profile

POINT: Final = Profile(1e-10, 0.0, inf, 1e-10, 1e-10, 0.0)
"""A needle: its tip surface is the sculpture's height. The hair of width keeps it from slipping
between two triangles when it stands exactly over the edge they share."""


class Cylinder(NamedTuple):
    """A part above the cutting end: mm; it begins at `base` above the tip and goes up."""

    name: str
    radius: float
    base: float


def make_profile(*, flat: float, corner: float, taper: float, radius: float) -> Profile:
    """Return the profile: flat out to `flat`, arc of `corner`, flank at `taper` from the axis.

    Parameters
    ----------
    flat, corner, radius : mm, at least 0; the arc of an upright bit ends at `radius`
    taper : rad, 0 <= taper < pi/2; 0 for upright flanks

    Raises
    ------
    BitError : parts that do not fit `radius`
    """
    rim = flat + corner * cos(taper)
    fits = rim <= radius + 1e-9 and (taper > 0 or rim >= radius - 1e-9)
    if min(flat, corner, radius) < 0 or not 0 <= taper < pi / 2 or not fits:
        raise BitError(
            f"a flat of {flat:.3f} mm, a corner of {corner:.3f} mm and a taper of "
            f"{degrees(taper):.1f} deg do not make a bit of radius {radius:.3f} mm; "
            "make the corner fit the diameter"
        )
    flank = 1 / tan(taper) if taper > 0 else inf
    return Profile(flat, corner, flank, radius, min(rim, radius), corner * (1 - sin(taper)))


def cutting_end(bit: Bit) -> Profile:
    """Return the profile of what cuts, up to the flute length.

    >>> cutting_end(Bit(name="a", shape="ball", diameter=6.0, flutes=2, flute_length=20.0,
    ...                 shank=6.0, stick_out=40.0)).corner
    3.0
    """
    half, taper = bit.diameter / 2, radians(bit.taper_deg)
    if bit.shape == "flat":
        return make_profile(flat=half, corner=0.0, taper=0.0, radius=half)
    if bit.shape == "ball":
        return make_profile(flat=0.0, corner=half, taper=0.0, radius=half)
    if bit.shape == "rounded corner":
        corner = bit.corner_radius
        return make_profile(flat=half - corner, corner=corner, taper=0.0, radius=half)
    flat, corner = (half, 0.0) if bit.shape == "vee" else (0.0, half)
    rim, rim_height = flat + corner * cos(taper), corner * (1 - sin(taper))
    widest = rim + (bit.flute_length - rim_height) * tan(taper)
    return make_profile(flat=flat, corner=corner, taper=taper, radius=max(widest, rim))


def slot_section(profile: Profile, depth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the section that a bit takes out of whole ice on a level way (mm2).

    Parameters
    ----------
    profile : cutting end; above its rim it is a cylinder
    depth : mm, not below 0, of the tip under the top of the ice

    Notes
    -----
    Twice the axis distance, integrated over the height: the flat, a segment of the arc's circle,
    the flank, the cylinder. Source: geometry; no constant.

    >>> round(float(slot_section(make_profile(flat=0.0, corner=3.0, taper=0.0, radius=3.0),
    ...                          np.array([3.0]))[0]), 5)
    14.13717
    """
    flat, corner, flank, radius, rim, rim_height = profile
    on_arc = np.clip(depth, 0.0, rim_height)
    area = 2 * flat * on_arc
    if corner > 0:
        short = corner - on_arc
        half = np.sqrt(np.maximum(2 * corner * on_arc - on_arc**2, 0.0))
        area = area + corner**2 * np.arctan2(half, short) - short * half
    above = np.maximum(depth - rim_height, 0.0)
    on_flank = np.minimum(above, (radius - rim) * flank) if flank < inf else np.zeros_like(above)
    beyond: NDArray[np.float64] = 2 * radius * (above - on_flank)
    return area + 2 * rim * on_flank + on_flank**2 / flank + beyond


def cylinders(bit: Bit, spindle_body: float) -> tuple[Cylinder, ...]:
    """Return what stands above the cutting end; the spindle is `spindle_body` mm wide."""
    return (
        Cylinder("shank", bit.shank / 2, bit.flute_length),
        Cylinder("collet nut", bit.nut / 2, bit.stick_out),
        Cylinder("spindle", spindle_body / 2, bit.stick_out + bit.nut_length),
    )


def cylinder_profile(radius: float) -> Profile:
    """Return the flat end of a cylinder."""
    return make_profile(flat=radius, corner=0.0, taper=0.0, radius=radius)


def thicken(profile: Profile, allowance: float) -> Profile:
    """Return the profile grown by `allowance` (mm) along its normal.

    A bit that rests with the thicker profile keeps its distance everywhere, walls included. Its tip
    lies `allowance` below the tip of the bit itself.
    """
    if allowance == 0.0:
        return profile
    taper = 0.0 if profile.flank == inf else pi / 2 - atan(profile.flank)
    return make_profile(
        flat=profile.flat,
        corner=profile.corner + allowance,
        taper=taper,
        radius=profile.radius + allowance,
    )
