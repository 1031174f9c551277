"""The smallest features that survive a bit, in closed form from its profile.

Ridges always do: a bit goes round them. What a bit loses are hollows: grooves too narrow to let it
down, and the bottom of the valley between two ridges.
"""

from math import inf, sqrt

from icecam.kernels.profile import Profile, height, touching_radius


def smallest_groove(profile: Profile, tolerance: float) -> float:
    """Return the width above which grooves as deep as wide are cut down to their bottom.

    Parameters
    ----------
    profile : of the cutting end
    tolerance : mm of ice that may stay on the middle of the bottom, at least 0

    Returns
    -------
    mm, 0 if no groove is too narrow

    Notes
    -----
    In a groove with upright walls, w wide and w deep, a bit wider than w rests on both rims: its
    tip stays w - h(w / 2) over the bottom, h the profile. The width asked for is the greatest at
    which that is still the tolerance: on the flank a linear equation, on the arc a quadratic one;
    a bit still too high at its full width first comes down where it passes between the walls.
    Exact for all five shapes (geometry).

    >>> smallest_groove(Profile(0, 3.0, inf, 3.0, 3.0, 3.0), 0.25)
    6.0
    """
    widest = 2 * profile.radius
    if widest - tolerance > height(profile, profile.radius):
        return widest
    if profile.flank < inf:
        over_rim = 2 * profile.rim - tolerance - profile.rim_height
        if over_rim > 0.0:
            return 2 * profile.rim + over_rim / (profile.flank / 2 - 1)
    return _on_arc(profile, tolerance)


def _on_arc(profile: Profile, tolerance: float) -> float:
    """Greatest w with w - h(w / 2) = tolerance within flat and arc, where h ends at or above it."""
    flat, corner = profile.flat, profile.corner
    rest = corner + tolerance - 2 * flat
    inside = 5 * corner * corner - rest * rest
    off = (2 * rest + sqrt(inside)) / 5 if inside >= 0.0 else -1.0
    if off < 0.0 or 2 * off > rest + 1e-12 or flat + off > profile.rim + 1e-12:
        return 0.0
    return 2 * (flat + off)


def left_in_valley(profile: Profile) -> float:
    """Return the ice (mm, upright) a bit leaves where two slopes of 45 degrees meet in a valley.

    The greatest r - h(r) over the profile h: at the radius where its slope is 1 (geometry).

    >>> round(left_in_valley(Profile(0, 3.0, inf, 3.0, 3.0, 3.0)), 4)
    1.2426
    """
    r = touching_radius(profile, 1.0)
    return r - height(profile, r)
