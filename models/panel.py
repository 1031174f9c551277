"""Lantern Night panel: a height over a rectangle; sky, moon, ranges, pines, village, lantern.

Steep walls (lantern, pines, crags) stand beside shallow ones (the folds of the northern light).
"""

import numpy as np
import trimesh
from noise import ridged, smooth
from numpy.typing import NDArray
from shapes import Values
from surface import Faces, Points

WIDTH, HEIGHT = 420.0, 300.0
COLUMNS, ROWS = 284, 203  # nodes


def _step(value: Values, soft: float) -> Values:
    """0 below -soft/2, 1 above soft/2, smooth between."""
    t = np.clip(value / soft + 0.5, 0.0, 1.0)
    return t * t * (3 - 2 * t)


def _sky(x: Values, y: Values) -> Values:
    """Northern light: a curtain of soft folds hanging from a wandering hem."""
    z = 22.0 + 1.2 * smooth(x, y, 60.0, 3)
    for shift, tall, seed in ((0.0, 95.0, 21), (-46.0, 70.0, 31)):
        hem = 168 + shift + 26 * np.sin(x / 62 + seed) + 10 * smooth(x, 0 * x, 45.0, seed)
        rise = (y - hem) / tall
        fold = np.sin((x + 0.25 * (y - hem)) / 6.5 + 2.2 * smooth(x, 0 * x, 38.0, seed + 1))
        veil = _step(rise, 0.10) * np.clip(1 - rise, 0, 1) ** 1.5
        z = z + veil * (4.0 + 2.6 * fold)
    return z


def _moon(x: Values, y: Values, z: Values) -> Values:
    away = np.hypot(x - 318, y - 236)
    ball = 27 + 11 * np.sqrt(np.clip(1 - (away / 31) ** 2, 0, 1)) ** 0.8
    for cx, cy, r in ((308, 244, 7), (326, 226, 5), (322, 247, 4), (309, 226, 3.5), (332, 240, 3)):
        ring = np.hypot(x - cx, y - cy) / r
        ball = (
            ball - 1.6 * np.exp(-((ring / 0.8) ** 4)) + 0.7 * np.exp(-(((ring - 1.1) / 0.25) ** 2))
        )
    return np.where(away < 31, np.maximum(z, ball), z)


def _range(
    x: Values, y: Values, z: Values, peaks: list[tuple[float, float, float]], seed: int, base: float
) -> Values:
    """Lay one mountain range over `z`; peaks are (x, top y, slope)."""
    line = np.full_like(x, -1e3)
    for px, top, slope in peaks:
        line = np.maximum(line, top - slope * np.abs(x - px) + 2 * smooth(x, y, 22.0, seed + 9))
    line = line + 5 * smooth(x, 0 * x, 17.0, seed + 7) + 2 * smooth(x, 0 * x, 6.0, seed + 8)
    depth = line - y
    rock = ridged(x + 0.3 * y, y, 52.0, seed)
    body = (
        base + 13 * rock * np.clip(depth / 40, 0.1, 1) + 3.0 * np.sqrt(np.clip(depth, 0, 25) / 25)
    )
    return np.where(depth > 0, np.maximum(z, body), z)


def _pine(x: Values, y: Values, z: Values, at: tuple[float, float, float], foot: float) -> Values:
    """Lay a pine over `z`: at = (x, foot y, tall)."""
    px, py, tall = at
    up = (y - py) / tall
    tiers = 7
    tier = np.clip(1 - up, 0, 1) * tiers
    part = tier - np.floor(tier)
    spread = tall * 0.26 * (np.floor(tier) + 0.35 + part**1.3) / tiers
    across = (x - px) / np.maximum(spread, 0.5)
    round_ = np.sqrt(np.clip(1 - across**2, 0, 1))
    droop = 1.2 * np.sin(np.abs(x - px) / 1.6 + 3 * tier)
    body = foot + (0.16 * tall * (1.05 - up) * (0.55 + 0.45 * part)) * round_ + 0.5 * droop
    inside = (np.abs(across) < 1) & (up > 0) & (up < 1)
    trunk = (np.abs(x - px) < 0.03 * tall) & (up > -0.08) & (up <= 0.02)
    z = np.where(inside, np.maximum(z, body), z)
    return np.where(trunk, np.maximum(z, foot + 2), z)


def _house(x: Values, y: Values, z: Values, at: tuple[float, float, float], foot: float) -> Values:
    """Lay a chalet over `z`: at = (x, foot y, wide); lit window sunk into its wall."""
    px, py, wide = at
    across, up = np.abs(x - px) / wide, (y - py) / wide
    wall = (across < 0.5) & (up > 0) & (up < 0.62)
    window = (np.abs(across - 0.2) < 0.09) & (np.abs(up - 0.28) < 0.13)
    gable = 0.62 + 0.62 * (0.62 - across) / 0.62
    roof = (across < 0.64) & (up > 0.52 + 0.55 * (0.5 - across)) & (up < gable + 0.12)
    z = np.where(wall, np.maximum(z, foot - 2.0 * window), z)
    return np.where(roof, np.maximum(z, foot + 3.5), z)


def _lantern(x: Values, y: Values, z: Values) -> Values:
    """Great lantern in front on the left: ring, roof, six panes with a flame, foot."""
    u, v = x - 78, y - 96
    half = 34 - 0.10 * np.clip(v + 45, 0, 100)
    cage = (np.abs(u) < half) & (np.abs(v) < 46)
    facet = np.abs(u) / half
    front = 66 - 16 * np.clip(facet - 0.48, 0, 1)
    pane = (np.abs(v) < 38) & (np.abs(facet - 0.72) < 0.17) | (np.abs(v) < 38) & (facet < 0.38)
    flame_r = np.hypot(u / 8.0, (v + 8) / np.where(v > -8, 25.0, 10.0))
    flame = 6.5 * np.sqrt(np.clip(1 - flame_r**2, 0, 1))
    z = np.where(cage, front - np.where(pane, 9.0, 0.0) + np.where(facet < 0.38, flame, 0.0), z)
    rise = v - 46
    eave = 44 * np.clip(1 - rise / 40, 0, 1) ** 1.35
    roof = (rise > 0) & (rise < 36) & (np.abs(u) < eave)
    z = np.where(roof, 70 - 17 * (np.abs(u) / np.maximum(eave, 1)) ** 2 - 0.25 * rise, z)
    foot = (np.abs(v + 50) < 5) & (np.abs(u) < 40)
    z = np.where(foot, 68 - 12 * (u / 40) ** 2, z)
    ring = np.abs(np.hypot(u, v - 93) - 10)
    return np.where(ring < 4, np.maximum(z, 56 + np.sqrt(np.clip(16 - ring**2, 0, 16))), z)


def height(x: Values, y: Values) -> Values:
    """Height of the relief over the slab's underside, mm; x and y in 0..width, 0..height."""
    z = _moon(x, y, _sky(x, y))
    z = _range(x, y, z, [(60, 190, 0.7), (150, 214, 0.9), (252, 178, 0.8), (390, 205, 0.7)], 40, 29)
    z = _range(
        x, y, z, [(205, 168, 1.3), (318, 176, 1.15), (20, 150, 0.8), (420, 140, 0.9)], 60, 36
    )
    hill = 62 + 14 * np.sin(x / 75 + 0.8) + 4 * smooth(x, 0 * x, 40.0, 5)
    snow = 46 + 7 * np.sqrt(np.clip(hill - y, 0, 60) / 60) + 1.2 * smooth(x, y, 30.0, 6)
    for k, (hx, hy, wide) in enumerate(
        ((214, 70, 26), (250, 62, 30), (290, 58, 26), (233, 84, 20))
    ):
        z = _house(x, y, z, (hx, hy - 4, wide), 50 - 2.0 * (k == 3))
    z = np.where(y < hill, np.maximum(z, snow), z)
    for px, py, tall in (
        (160, 58, 70), (182, 54, 52), (330, 50, 64), (352, 44, 96), (382, 36, 128), (407, 40, 84),
        (140, 40, 46), (318, 34, 40),
    ):  # fmt: skip
        z = _pine(x, y, z, (px, py, tall), 50.0)
    z = _lantern(x, y, z)
    edge = np.minimum(np.minimum(x, WIDTH - x), np.minimum(y, HEIGHT - y))
    frame = 40 + 4 * np.clip((edge) / 4, 0, 1) - 3 * np.clip((edge - 7) / 3, 0, 1)
    return np.where(edge < 10, frame, z)


def make() -> trimesh.Trimesh:
    """Closed mesh of the panel in mm, its middle at x = 0, y = 0, underside at z = 0."""
    x, y = np.meshgrid(np.linspace(0, WIDTH, COLUMNS), np.linspace(0, HEIGHT, ROWS))
    top = np.column_stack([x.ravel() - WIDTH / 2, y.ravel() - HEIGHT / 2, height(x, y).ravel()])
    return close(top, _grid_faces(), _rim())


def _grid_faces() -> Faces:
    node = np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    return np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)


def _rim() -> NDArray[np.intp]:
    node = np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    return np.r_[node[0, :-1], node[:-1, -1], node[-1, :0:-1], node[:0:-1, 0]]


def close(top: Points, faces: Faces, rim: NDArray[np.intp]) -> trimesh.Trimesh:
    """Top surface with walls down to z = 0 and an underside; `rim` runs anticlockwise."""
    count, size = len(top), len(rim)
    low = top[rim] * np.array([1.0, 1.0, 0.0])
    here, after = np.arange(size), (np.arange(size) + 1) % size
    walls = [
        np.column_stack([rim[here], count + here, count + after]),
        np.column_stack([rim[here], count + after, rim[after]]),
        np.column_stack([np.full(size, count + size), count + after, count + here]),
    ]
    points = np.vstack([top, low, np.zeros((1, 3))])
    return trimesh.Trimesh(points.astype(np.float32), np.vstack([faces, *walls]), process=True)
