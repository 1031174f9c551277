"""A sculpture as large as a block and as fine as a bit cuts, for figures only."""

import numpy as np
import trimesh
from numpy.typing import NDArray

WIDE, DEEP, HIGH = 1000.0, 492.0, 180.0


def height(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Hills, a plateau with upright sides, ripples of 2.5 mm; mm."""
    hills = 0.3 * HIGH * np.sin(x / 60) * np.cos(y / 45) + 0.12 * HIGH * np.sin(x / 17 + y / 23)
    plateau = 50.0 * (np.hypot(x - 0.5 * WIDE, y - 0.5 * DEEP) < 110)
    return np.asarray(90.0 + hills + plateau + 0.4 * np.sin(x / 0.4) * np.sin(y / 0.38))


def block_relief(triangles: int) -> trimesh.Trimesh:
    """Return a closed relief of about so many triangles, mm."""
    rows = int((triangles / 2 * DEEP / WIDE) ** 0.5)
    x, y = np.meshgrid(np.linspace(0, WIDE, int(triangles / 2 / rows)), np.linspace(0, DEEP, rows))
    node = np.arange(x.size).reshape(x.shape)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    top = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    rim = np.concatenate([node[0, :-1], node[:-1, -1], node[-1, :0:-1], node[:0:-1, 0]])
    here = x.size + np.arange(len(rim))
    after = np.roll(here, -1)
    walls = [
        np.column_stack([rim, here, after]),
        np.column_stack([rim, after, np.roll(rim, -1)]),
        np.column_stack([np.full(len(rim), x.size + len(rim)), after, here]),
    ]
    upper = np.column_stack([x.ravel(), y.ravel(), height(x, y).ravel()])
    middle = np.array([[WIDE / 2, DEEP / 2, 0.0]])
    points = np.vstack([upper, upper[rim] * [1.0, 1.0, 0.0], middle])
    return trimesh.Trimesh(points, np.vstack([top, *walls]), process=False)
