"""What stands near on the Lantern Night panel: pines, chalets, chapel, lanterns.

Each function lays one thing over a relief, as in scenery.py; heights in mm.
"""

from typing import TypeAlias

import numpy as np
from scenery import lay, step, wave
from shapes import Values

Place: TypeAlias = tuple[float, float, float]  # x, y and a size, mm


def pine(x: Values, y: Values, z: Values, at: Place, foot: float) -> Values:
    """Snow-laden pine: at = (x, foot y, tall); tiers of drooping boughs, each over the next."""
    px, py, tall = at
    lean = 0.05 * np.sin(3.0 * px)
    v = (y - py) / tall
    u = (x - px) / tall - lean * np.clip(v, 0, 1) * (1 - np.clip(v, 0, 1))
    tiers = 5.0 + tall / 18.0
    cone = 0.29 * np.clip(1.02 - v, 0, 1) ** 0.92 + 0.012
    side = np.arcsin(np.clip(u / cone, -1, 1))
    bough = np.abs(np.sin(2.5 * side + px))  # tips of boughs
    droop = v + 1.4 * u**2 + 0.055 * bough * (1.15 - v)
    tier = np.clip(1.05 - droop, 0, 1.2) * tiers
    part = tier - np.floor(tier)
    reach = cone * (0.66 + 0.36 * part**0.8) * (0.88 + 0.12 * bough)
    twig = 0.10 * wave(x / 1.7 + 0.5 * np.sign(u) * y) * part
    across = np.abs(u) / np.maximum(reach * (1 - twig), 1e-3)
    round_ = np.sqrt(np.clip(1 - across**2, 0, 1))
    body = foot + tall * cone * (0.40 + 0.34 * part) * round_ * (0.78 + 0.22 * bough)
    body = body + 0.7 * (1 - wave(side * 9 + 0.4 * px)) * part * round_
    inside = np.minimum((1 - across) * reach * tall, (1.04 - droop) * tall)
    inside = np.minimum(inside, (droop - 0.02) * tall)
    trunk = np.minimum(0.032 * tall - np.abs(x - px), np.minimum(v * tall + 4, 0.1 * tall - y + py))
    z = lay(z, np.full_like(z, foot + 0.06 * tall), trunk)
    return lay(z, body, inside)


def chalet(x: Values, y: Values, z: Values, at: Place, foot: float) -> Values:
    """Chalet seen on its gable: at = (x, foot y, wide); snow on the roof, windows sunk in."""
    px, py, wide = at
    u, v = np.abs(x - px), y - py
    half, eave = 0.42 * wide, 0.46 * wide
    rise = eave + 0.62 * (half - u)  # underside of the roof
    wall = np.minimum(np.minimum(half - u, rise - v), v)
    logs = 0.45 * wave(2 * v / 3.2)
    z = lay(z, foot + logs + 0 * x, wall)
    for wx, wy in ((0.2 * wide, 0.25 * wide), (0.0, 0.52 * wide)):
        pane = np.minimum(0.085 * wide - np.abs(u - wx), 0.10 * wide - np.abs(v - wy))
        bars = np.minimum(np.abs(np.abs(u - wx)), np.abs(v - wy)) < 0.4
        z = (
            z
            - step(pane, 0.7) * np.where(bars, 1.2, 2.6)
            + 0.9 * step(0.9 - np.abs(pane + 0.9), 0.7)
        )
    cap = 0.15 * wide * np.sqrt(np.clip(1 - (u / (0.62 * wide)) ** 4, 0, 1))
    over = np.minimum(np.minimum(0.60 * wide - u, v - rise), rise + cap - v)
    snow = foot + 3.4 + 2.2 * np.sqrt(np.clip(over / 3, 0, 1))
    chimney = np.minimum(1.5 - np.abs(x - px - 0.2 * wide), np.minimum(v - rise, 0.92 * wide - v))
    z = lay(z, foot + 2.6 + 0 * x, chimney, 0.7)
    return lay(z, snow, over)


def chapel(x: Values, y: Values, z: Values, at: Place, foot: float) -> Values:
    """Chapel tower with a needle spire: at = (x, foot y, tall)."""
    px, py, tall = at
    u, v = np.abs(x - px), y - py
    half = 0.085 * tall
    tower = np.minimum(half - u, np.minimum(v, 0.56 * tall - v))
    z = lay(z, foot + 1.4 * np.sqrt(np.clip(1 - (u / half) ** 2, 0, 1)) + 0 * x, tower)
    bell = np.minimum(0.035 * tall - u, 0.07 * tall - np.abs(v - 0.45 * tall))
    z = z - 2.4 * step(bell, 0.7)
    up = np.clip((v - 0.55 * tall) / (0.45 * tall), 0, 1)
    wide = 1.35 * half * (1 - up) ** 1.25 + 0.25
    spire = np.minimum(wide - u, np.minimum(v - 0.55 * tall, tall - v))
    return lay(z, foot + 1.6 + 2.8 * np.clip(1 - u / wide, 0, 1), spire)


def small_lantern(x: Values, y: Values, z: Values, at: Place, foot: float) -> Values:
    """Lantern of the walk: at = (x, middle y, radius); a round flame in a shallow glow."""
    px, py, r = at
    away = np.hypot(x - px, (y - py) * 0.9)
    z = z - 1.3 * np.exp(-((away / (2.0 * r)) ** 2))
    return lay(z, foot + 1.5 * r * np.sqrt(np.clip(1 - (away / r) ** 2, 0, 1)), r - away, 0.6)


def _panes(u: Values, v: Values, half: Values) -> Values:
    """Glass of the great lantern sunk between its bars, a candle burning in the middle one."""
    facet = np.abs(u) / half
    front = 65 - 17 * np.clip(facet - 0.50, 0, 1)
    middle = np.minimum(0.42 * half - np.abs(u), 38 - np.abs(v))
    outer = np.minimum(np.minimum(facet - 0.57, 0.90 - facet) * half, 38 - np.abs(v))
    arch = 38 - 0.5 * np.abs(u) - v  # pointed heads
    sunk = np.maximum(np.minimum(middle, arch), outer)
    lattice = np.minimum(np.abs(np.abs(v) - 19.0) + 30 * (facet < 0.5), 9.0)
    depth = 10.5 * step(sunk, 1.0) - 4.0 * step(1.1 - lattice, 0.6) * step(sunk, 1.0)
    tall = np.where(v > -4, 27.0, 10.0)
    flame = np.hypot(u / (8.2 * (1 - 0.35 * np.clip((v + 4) / 27, 0, 1))), (v + 4) / tall)
    glow = 8.5 * np.sqrt(np.clip(1 - flame**2, 0, 1)) - 1.6 * np.exp(
        -((np.hypot(u / 2.6, (v + 5) / 7)) ** 4)
    )
    candle = step(7.5 - np.abs(u), 1.0) * step(-15 - v - 0.8 * np.cos(u), 1.0)
    wax = candle * (6.5 * np.sqrt(np.clip(1 - (u / 8.5) ** 2, 0, 1)))
    rays = 0.8 * wave(np.arctan2(u, v + 2) * 5.1) * np.clip(np.hypot(u, v) / 14 - 0.8, 0, 1)
    inside = step(middle, 0.6)
    return np.asarray(front - depth + inside * (np.maximum(np.maximum(glow, wax), rays)))


def great_lantern(x: Values, y: Values, z: Values) -> Values:
    """Lantern in front on the left: foot, six panes, snowy roof with a ring, standing on snow."""
    u, v = x - 84, y - 98
    half = 31 + 0.085 * (v + 45)
    z = lay(z, _panes(u, v, half), np.minimum(half - np.abs(u), 45 - np.abs(v)), 0.8)
    for low, tall, wide in ((-57, 6, 42.0), (-51, 6, 38.0), (44, 4, 39.0)):
        plate = np.minimum(wide - np.abs(u), np.minimum(v - low, low + tall - v))
        z = lay(z, 67 - 10 * (u / wide) ** 2 + 1.2 * np.sqrt(np.clip(plate / 2, 0, 1)), plate, 0.7)
    rise = np.clip((v - 46) / 36, 0, 1)
    eave = 46 * (1 - rise) ** 1.55 + 5.5
    sag = 2.5 * np.abs(np.sin(u / 46 * np.pi * 1.5))  # eaves scalloped between the ribs
    roof = np.minimum(eave - np.abs(u), np.minimum(v - 47 + sag, 82 - v))
    rib = 1.6 * np.exp(-((wave(3.0 * u / np.maximum(eave, 1)) / 0.18) ** 2))
    body = 69 - 15 * (u / np.maximum(eave, 1)) ** 2 - 5 * rise + rib
    z = lay(z, body, roof)
    knob = np.hypot(u, v - 84)
    z = lay(z, 58 + 8 * np.sqrt(np.clip(1 - (knob / 7) ** 2, 0, 1)), 7 - knob)
    ring = np.abs(np.hypot(u, v - 100) - 10.5)
    return lay(z, 54 + 1.9 * np.sqrt(np.clip(12.0 - ring**2, 0, 12)), 3.4 - ring, 0.7)
