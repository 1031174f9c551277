"""The Valley Below: a relief panel for the Lantern Night, a height over a rectangle.

Shallow folds of northern light and drifted snow beside steep crags, pines and a great lantern.
"""

import numpy as np
import trimesh
from noise import smooth
from numpy.typing import NDArray
from scenery import lay, moon, northern_light, peak, stars, step
from shapes import Points, Values
from surface import Faces, thin_out
from village import Place, chalet, chapel, great_lantern, pine, small_lantern

WIDTH, HEIGHT = 420.0, 300.0
PITCH = 0.5
TRIANGLES = 118_000

PEAKS = (  # x, top y, slope left, slope right; height of the foot, seed
    ((46, 206, 0.75, 0.62), 25.0, 1),
    ((384, 196, 0.62, 0.7), 25.0, 2),
    ((236, 190, 0.66, 0.75), 26.0, 3),
    ((136, 226, 1.05, 0.86), 28.0, 4),
    ((330, 178, 0.95, 0.9), 30.0, 5),
    ((196, 158, 0.9, 0.72), 33.0, 6),
    ((420, 150, 0.7, 0.9), 33.0, 7),
    ((18, 150, 0.9, 0.66), 33.0, 8),
)
CHALETS: tuple[Place, ...] = (
    (192, 84, 24),
    (266, 90, 22),
    (220, 74, 30),
    (292, 78, 28),
    (264, 62, 36),
)
WALK: tuple[Place, ...] = (
    (244, 78, 1.3), (240, 69, 1.5), (233, 61, 1.7), (226, 53, 2.0), (224, 44, 2.4),
    (232, 35.5, 2.8), (248, 27.5, 3.2), (270, 20.5, 3.7),
)  # fmt: skip
PINES: tuple[Place, ...] = (
    (150, 70, 44), (314, 74, 42), (166, 60, 60), (338, 62, 74), (140, 44, 50), (398, 48, 104),
    (182, 46, 40), (364, 38, 140), (322, 36, 52), (394, 24, 84), (338, 22, 46),
)  # fmt: skip


def _snow(x: Values, y: Values, z: Values) -> Values:
    """Drifts in front, falling in long soft folds like cloth."""
    zero = np.zeros_like(x)
    for k, (crest, foot) in enumerate(((92.0, 40.0), (66.0, 43.0), (40.0, 46.0))):
        line = (
            crest + 11 * np.sin(x / (64 + 9 * k) + 1.3 + 2 * k) + 4 * smooth(x, zero, 50.0, 60 + k)
        )
        down = line - y
        fold = np.sin((x + 1.4 * y) / 17 + 2 * smooth(x, y, 70.0, 64 + k))
        body = (
            foot + 6.5 * np.sqrt(np.clip(down / 34, 0, 1)) + 2.4 * fold * np.clip(down / 20, 0, 1)
        )
        z = lay(z, body, down, 1.5)
    return z


def _frame(x: Values, y: Values, z: Values) -> Values:
    edge = np.minimum(np.minimum(x, WIDTH - x), np.minimum(y, HEIGHT - y))
    rail = 45 + 3.0 * np.sqrt(np.clip(edge / 2.5, 0, 1)) - 2.0 * step(0.9 - np.abs(edge - 6.5), 0.8)
    inner = step(10.0 - edge, 1.0)
    return np.asarray(z * (1 - inner) + rail * inner)


def height(x: Values, y: Values) -> Values:
    """Height of the relief over the slab's underside, mm; x and y in 0..width, 0..height."""
    z = 20.0 + 1.0 * smooth(x, y, 70.0, 3)
    z = moon(x, y, stars(x, y, northern_light(x, y, z)))
    for summit, foot, seed in PEAKS:
        z = peak(x, y, z, summit, foot, 100 + 10 * seed)
    z = _snow(x, y, z)
    z = chapel(x, y, z, (243, 84, 74), 48.0)
    for k, at in enumerate(CHALETS):
        z = chalet(x, y, z, at, 49.5 + 0.7 * k)
    for at in WALK:
        z = small_lantern(x, y, z, at, 51.0)
    for at in PINES:
        z = pine(x, y, z, at, 50.0)
    return _frame(x, y, great_lantern(x, y, z))


def make() -> trimesh.Trimesh:
    """Make the closed mesh of the panel, mm; its middle at x = y = 0, underside at z = 0."""
    x, y = np.meshgrid(np.arange(0, WIDTH + PITCH, PITCH), np.arange(0, HEIGHT + PITCH, PITCH))
    # rounded, so that a last digit that differs between processors changes no triangle
    z = np.round(height(x, y), 3)
    top = np.column_stack([x.ravel() - WIDTH / 2, y.ravel() - HEIGHT / 2, z.ravel()])
    return thin_out(*_close(top, np.arange(z.size).reshape(z.shape)), TRIANGLES)


def _close(top: Points, node: NDArray[np.intp]) -> tuple[Points, Faces]:
    """Top surface, walls down to z = 0 and an underside; `node` (rows, columns) numbers `top`."""
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    faces = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    rim = np.concatenate([node[0, :-1], node[:-1, -1], node[-1, :0:-1], node[:0:-1, 0]])
    count, size = len(top), len(rim)
    here, after = np.arange(size), (np.arange(size) + 1) % size
    walls = [
        np.column_stack([rim[here], count + here, count + after]),
        np.column_stack([rim[here], count + after, rim[after]]),
        np.column_stack([np.full(size, count + size), count + after, count + here]),
    ]
    points = np.vstack([top, top[rim] * np.array([1.0, 1.0, 0.0]), np.zeros((1, 3))])
    return points, np.vstack([faces, *walls])
