"""What lies far off on the Lantern Night panel: northern light, stars, moon and mountains.

Each function lays one thing over a relief: it takes places x, y and heights z in mm and gives the
new heights. Edges slope over about a millimetre, as a carved edge does.
"""

import numpy as np
from noise import ridged, smooth
from shapes import Values


def step(value: Values, soft: float) -> Values:
    """0 below -soft/2, 1 above soft/2, smooth between."""
    t = np.clip(value / soft + 0.5, 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))


def lay(z: Values, body: Values, inside: Values, soft: float = 0.9) -> Values:
    """Put `body` over `z` where `inside` (mm within its outline) is positive."""
    return np.asarray(z + step(inside, soft) * np.maximum(body - z, 0.0))


def wave(value: Values) -> Values:
    """Triangle wave of period 2: 1 at even numbers, 0 at odd ones."""
    return np.asarray(np.abs((value % 2.0) - 1.0))


def northern_light(x: Values, y: Values, z: Values) -> Values:
    """Three curtains, one before the other, each with a folded hem that glows and fades upwards."""
    zero = np.zeros_like(x)
    for k, (foot, tall, tilt) in enumerate(
        ((214.0, 74.0, 0.10), (184.0, 92.0, 0.02), (150.0, 104.0, -0.06))
    ):
        seed = 40 + 3 * k
        fold = 1.5 * smooth(x, zero, 46.0, seed) + x / 15.0 + 0.9 * k
        hem = foot + tilt * (x - 210) + 15 * np.sin(x / 57 + 1.7 * k) + 5.5 * np.sin(np.pi * fold)
        lean = fold + 0.006 * (y - hem) * np.sin(x / 80 + k)
        rise = (y - hem) / tall
        pleat = 0.5 + 0.5 * np.sin(np.pi * lean + 0.9 * np.sin(np.pi * lean))
        fade = np.clip(1 - rise, 0, 1) ** 1.3
        veil = (3.2 + 1.2 * k + 6.8 * pleat) * fade
        z = lay(z, 21 + veil + 0.5 * smooth(x, y, 31.0, seed), y - hem, 2.5)
    return z


def stars(x: Values, y: Values, z: Values) -> Values:
    """Four-pointed stars, small facets that catch the light."""
    for sx, sy, r in (
        (60, 275, 6), (118, 281, 4), (172, 268, 7), (238, 279, 4), (262, 250, 5), (392, 272, 6),
        (372, 206, 4), (30, 246, 4), (398, 226, 4), (216, 245, 3.5),
    ):  # fmt: skip
        u, v = np.abs(x - sx) / r, np.abs(y - sy) / r
        spike = 1 - (np.sqrt(u) + np.sqrt(v)) ** 2
        z = np.maximum(z, 20 + 4.6 * np.sqrt(np.clip(spike, 0, 1)) + np.where(spike > 0, 3.0, -9.0))
    return z


def moon(x: Values, y: Values, z: Values) -> Values:
    """Full moon, a low dome with seas and craters, in a shallow halo."""
    u, v = x - 322, y - 240
    away = np.hypot(u, v)
    z = z + 1.8 * np.exp(-(((away - 41) / 4.5) ** 2))
    ball = 33 + 11 * np.sqrt(np.clip(1 - (away / 31) ** 2, 0, 1))
    ball = ball - 1.3 * step(smooth(x, y, 19.0, 77) + 0.05, 0.22)
    draw = np.random.default_rng(8)
    for _ in range(22):
        size, turn = 1.6 + 4.2 * draw.random() ** 2, 2 * np.pi * draw.random()
        far = 25 * np.sqrt(draw.random())
        ring = np.hypot(u - far * np.cos(turn), v - far * np.sin(turn)) / size
        bowl = -1.0 * np.exp(-((ring / 0.75) ** 4)) + 0.6 * np.exp(-(((ring - 1) / 0.22) ** 2))
        ball = ball + 0.28 * size * bowl
    return lay(z, ball, 31 - away)


def peak(
    x: Values, y: Values, z: Values, at: tuple[float, float, float, float], foot: float, seed: int
) -> Values:
    """One mountain: at = (x, top y, slope left, slope right); spurs fall from its top in facets."""
    px, top, left, right = at
    zero = np.zeros_like(x)
    u, v = x - px, top - y
    bent = u + 5.0 * smooth(x, y, 34.0, seed) + 2.2 * smooth(x, y, 13.0, seed + 1)
    jag = 5.0 * (1 - wave(x / 15.0 + smooth(x, zero, 20.0, seed + 2))) + 1.8 * smooth(
        x, zero, 7.0, seed
    )
    line = v - np.where(u < 0, -left * u, right * u) - jag * np.clip(np.abs(u) / 8, 0, 1)
    far = np.hypot(bent, v)
    angle = np.arctan2(bent, v + 6.0)
    spur = wave(2.1 * angle + 0.35 * smooth(x, y, 44.0, seed + 3) + 0.13 * seed)
    rib = wave(6.3 * angle + 0.8 * smooth(x, y, 25.0, seed + 4) + 0.02 * far)
    gully = wave(15.0 * angle + 1.3 * smooth(x, y, 15.0, seed + 5))
    mist = 1.0 - step(v - 74.0, 90.0)  # the foot sinks into the valley's haze
    grow = np.clip(far / 34, 0, 1) * mist
    rock = ridged(x, y, 26.0, seed + 6, 4)
    body = foot + grow * (12.5 * spur + 5.5 * rib * (0.4 + 0.6 * spur)) + 2.4 * gully * grow**2
    body = body + 2.6 * rock * grow + (2 + 3 * mist) * np.sqrt(np.clip(line / 26, 0, 1))
    return lay(z, body, line / np.sqrt(1 + ((left + right) / 2) ** 2), 1.2)
