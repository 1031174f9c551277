"""The profile of a bit in closed form, shared by tip surfaces and by carving.

A profile is a convex curve h(r) of height over the axis distance: flat out to `flat`, an arc of
radius `corner`, then a straight flank of slope `flank` out to `radius`; beyond that, nothing.
"""

from math import inf, sqrt
from typing import NamedTuple

from icecam.kernels.compiled import kernel


class Profile(NamedTuple):
    """Lengths in mm; `flank` is dh/dr of the straight part, inf where there is none.

    `rim` is the axis distance where the arc ends, `rim_height` the height there.
    """

    flat: float
    corner: float
    flank: float
    radius: float
    rim: float
    rim_height: float


@kernel
def height(profile: Profile, r: float) -> float:
    """Height of the profile at axis distance `r`, 0 <= r <= radius."""
    if r <= profile.flat:
        return 0.0
    if r <= profile.rim or profile.flank == inf:
        off = min(r - profile.flat, profile.corner)
        return profile.corner - sqrt(profile.corner * profile.corner - off * off)
    return profile.rim_height + (r - profile.rim) * profile.flank


@kernel
def stands_over(profile: Profile, r2: float, rise: float) -> bool:
    """Whether the profile is `rise` high or higher at squared distance `r2`; hardly ever a root."""
    if rise <= 0.0:
        return True
    if r2 <= profile.flat * profile.flat:
        return False
    if profile.flat > 0.0 or profile.corner == 0.0 or r2 > profile.rim * profile.rim:
        return height(profile, sqrt(r2)) >= rise
    short = profile.corner - rise
    return short >= 0.0 and profile.corner * profile.corner - r2 <= short * short


@kernel
def radius_at(profile: Profile, rise: float) -> float:
    """Axis distance beyond which the profile is higher than `rise`, at most its radius."""
    if rise < 0.0:
        return 0.0
    if rise < profile.rim_height or profile.flank == inf:
        short = max(profile.corner - rise, 0.0)
        off = sqrt(profile.corner * profile.corner - short * short)
        return min(profile.flat + off, profile.radius)
    return min(profile.rim + (rise - profile.rim_height) / profile.flank, profile.radius)


@kernel
def steepness(profile: Profile, r: float) -> float:
    """Slope dh/dr at axis distance `r`; inf at an upright wall."""
    if r <= profile.flat:
        return 0.0
    if r <= profile.rim or profile.flank == inf:
        off = r - profile.flat
        rest = profile.corner * profile.corner - off * off
        return off / sqrt(rest) if rest > 0.0 else inf
    return profile.flank


@kernel
def touching_radius(profile: Profile, gradient: float) -> float:
    """Axis distance where a plane of this gradient touches the profile from above."""
    if gradient == 0.0:
        return 0.0
    if gradient >= profile.flank:
        return profile.radius
    return profile.flat + profile.corner * gradient / sqrt(1.0 + gradient * gradient)


@kernel
def _stationary_on_flank(profile: Profile, d2: float, m: float, reach: float) -> float:
    """Where m v - h(sqrt(d2 + v v)) peaks for m > 0, if that lies on the flank or where it begins.

    Rounding may ask here for a peak at the rim itself, which the formula misses if d2 is zero.
    """
    if m >= profile.flank:
        return reach
    v = m * sqrt(d2 / (profile.flank * profile.flank - m * m))
    inside = profile.rim * profile.rim - d2
    if inside > v * v:
        v = sqrt(inside)
    return min(v, reach)


@kernel
def _stationary_on_arc(profile: Profile, d2: float, m: float, reach: float) -> float:
    """Where m v - h(sqrt(d2 + v v)) peaks for m > 0, for profiles with flat and arc.

    No closed form: the root of its derivative, held between two bounds by false position, the
    weight of a bound that stays put halved.
    """
    flat, corner = profile.flat, profile.corner
    low = sqrt(flat * flat - d2) if flat * flat > d2 else 0.0
    high = sqrt(profile.rim * profile.rim - d2) if profile.rim * profile.rim > d2 else 0.0
    if high <= low:
        return _stationary_on_flank(profile, d2, m, reach)
    at_low = m * sqrt(d2 + low * low) * corner
    off = profile.rim - flat
    at_high = m * profile.rim * sqrt(max(corner * corner - off * off, 0.0)) - off * high
    if at_high > 0.0:
        return _stationary_on_flank(profile, d2, m, reach)
    for _ in range(60):
        v = (low * at_high - high * at_low) / (at_high - at_low) if at_high < at_low else low
        r = sqrt(d2 + v * v)
        off = r - flat
        rate = m * r * sqrt(max(corner * corner - off * off, 0.0)) - off * v
        if rate > 0.0:
            low, at_low, at_high = v, rate, at_high * 0.5
        else:
            high, at_high, at_low = v, rate, at_low * 0.5
        if high - low < 1e-10 or rate == 0.0:
            break
    return min(v, reach)


@kernel
def _stationary(profile: Profile, d2: float, m: float, reach: float) -> float:
    """Where m v - h(sqrt(d2 + v v)) peaks over 0 <= v <= reach, for m > 0."""
    flat, corner, flank = profile.flat, profile.corner, profile.flank
    if corner > 0.0 and flat > 0.0:
        return _stationary_on_arc(profile, d2, m, reach)
    if corner > 0.0:
        c2 = corner * corner
        if d2 < c2:
            v = m * sqrt((c2 - d2) / (1.0 + m * m))
            if flank == inf or d2 + v * v <= profile.rim * profile.rim:
                return min(v, reach)
    elif flat * flat > d2:
        edge = sqrt(flat * flat - d2)
        if flank == inf or m * flat <= flank * edge:
            return min(edge, reach)
    return _stationary_on_flank(profile, d2, m, reach)


@kernel
def peak(profile: Profile, d2: float, m: float, low: float, high: float) -> float:
    """Greatest m v - h(sqrt(d2 + v v)) for low <= v <= high within the profile; -inf if outside.

    One formula for two uses: a bit resting on an edge (v along the edge, slope m, squared distance
    d2 to the axis) and the lowest ice left by a bit on a straight move (v along the move).
    """
    room = profile.radius * profile.radius - d2
    if room < 0.0:
        return -inf
    reach = sqrt(room)
    low = max(low, -reach)
    high = min(high, reach)
    if low > high:
        return -inf
    if m == 0.0:
        v = 0.0
    elif m > 0.0:
        v = _stationary(profile, d2, m, reach)
    else:
        v = -_stationary(profile, d2, -m, reach)
    v = min(max(v, low), high)
    return m * v - height(profile, min(sqrt(d2 + v * v), profile.radius))


@kernel
def advance(profile: Profile, along: float, across: float, rise: float, slope: float) -> float:
    """Share of its way by which a bit on a straight way comes into the ice where it first touches.

    Of a point `along` and `across` the way seen from above and `rise` over where the tip begins;
    the tip rises by `slope` a mm. Exact for the arc of a ball, whose normal there lies at an angle
    to the way with a sine of the point's distance from the centre's line over the radius; for
    other places of a bit, and for a flank on a slope, no less than it.
    """
    level = 1.0 / sqrt(1.0 + slope * slope)
    if profile.flat == 0.0 and profile.corner > 0.0:
        off = rise - profile.corner
        t = (along + slope * off) * level
        before2 = profile.corner**2 - along * along - across * across - off * off + t * t
        before = sqrt(before2) if before2 > 0.0 else 0.0
        tip = slope * level * (t - before)
        if rise - tip <= profile.rim_height:
            return before / profile.corner
    r = radius_at(profile, rise - slope * along + abs(slope) * profile.radius)
    ahead2 = r * r - across * across
    if ahead2 <= 0.0:
        return 0.0
    side = r >= profile.radius and profile.flank == inf
    m = inf if side else steepness(profile, r)
    upright = 0.0 if m == inf else 1.0 / sqrt(1.0 + m * m)
    sideways = sqrt((1.0 - upright * upright) * ahead2) / r
    return min(sideways + max(-slope * level, 0.0), 1.0)
