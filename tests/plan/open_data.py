"""Open data as closed reliefs: an elevation model and a photograph of coins, both scaled."""

import numpy as np
import trimesh
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage import data

Floats = NDArray[np.float64]


def mountains(wide: float, tall: float) -> trimesh.Trimesh:
    """Every third height of the elevation model shipped with matplotlib (US public data)."""
    with np.load(str(get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))) as model:
        heights = model["elevation"].astype(np.float64)[::3, ::3]
    return closed_relief((heights - heights.min()) / np.ptp(heights) * tall, wide)


def coins(wide: float, tall: float) -> trimesh.Trimesh:
    """Brightness of a part of the coins shipped with scikit-image, a little smoothed, as height."""
    photograph = data.coins()  # type: ignore[no-untyped-call]
    bright = gaussian_filter(photograph[:152, :192].astype(np.float64), 1.0)
    return closed_relief((bright - bright.min()) / np.ptp(bright) * tall, wide)


def closed_relief(heights: Floats, wide: float) -> trimesh.Trimesh:
    """Return a height field `wide` mm along x, on a base 3 mm thick."""
    pitch = wide / (heights.shape[1] - 1)
    ny, nx = heights.shape
    xx, yy = np.meshgrid(np.arange(nx) * pitch, np.arange(ny) * pitch)
    node = np.arange(ny * nx).reshape(ny, nx)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    top = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    rim = np.concatenate([node[0, :-1], node[:-1, -1], node[-1, :0:-1], node[:0:-1, 0]])
    below = ny * nx + np.arange(len(rim))
    after, beyond = np.roll(rim, -1), np.roll(below, -1)
    sides = np.concatenate(
        [np.column_stack([rim, below, beyond]), np.column_stack([rim, beyond, after])]
    )
    under = np.column_stack([np.full(len(rim), ny * nx + len(rim)), beyond, below])
    upper = np.column_stack([xx.ravel(), yy.ravel(), heights.ravel() + 3.0])
    middle = np.array([[xx.mean(), yy.mean(), 0.0]])
    points = np.vstack([upper, upper[rim] * [1.0, 1.0, 0.0], middle])
    return trimesh.Trimesh(points, np.vstack([top, sides, under]), process=False)
