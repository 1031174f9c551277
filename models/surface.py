"""From a field to a closed triangle mesh: sample near the surface, triangulate, thin out.

The grid is filled block by block; only blocks near the surface are sampled finely.
"""

from pathlib import Path
from typing import TypeAlias

import igl  # type: ignore[import-untyped]  # ships no types
import numpy as np
import trimesh
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import label
from scipy.sparse import coo_array
from shapes import Field, Points, Values
from skimage.measure import marching_cubes

BLOCK = 6  # nodes a block has along each axis
CUBE_MM = 36.0  # edge of the cubes in which a field is evaluated
Faces: TypeAlias = NDArray[np.int64]


def _evaluate(field: Field, points: Points) -> Values:
    """Field at points, cube by cube, so that parts far from a cube cost nothing there."""
    cell = np.floor(points / CUBE_MM).astype(np.int64) + 512
    key = (cell[:, 0] << 20) | (cell[:, 1] << 10) | cell[:, 2]
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order])) + 1
    value = np.zeros(len(points))
    for part in np.split(order, starts):
        value[part] = field(points[part])
    return value


def sample(field: Field, low: ArrayLike, high: ArrayLike, pitch: float) -> NDArray[np.float32]:
    """Field on a grid of `pitch` mm from `low`; away from the surface only its sign is right."""
    corner = np.asarray(low, float)
    blocks = np.ceil((np.asarray(high, float) - corner) / pitch / BLOCK).astype(int)
    index = np.stack(np.meshgrid(*map(np.arange, blocks), indexing="ij"), -1).reshape(-1, 3)
    size = BLOCK * pitch
    middle = corner + (index + 0.5) * size - 0.5 * pitch
    rough = _evaluate(field, middle)
    near = np.flatnonzero(np.abs(rough) < 1.1 * size)
    nodes = np.stack(np.meshgrid(*[np.arange(BLOCK)] * 3, indexing="ij"), -1).reshape(-1, 3)
    grid = np.repeat(rough[:, None].astype(np.float32), BLOCK**3, axis=1)
    fine = corner + (index[near][:, None] * BLOCK + nodes) * pitch
    grid[near] = _evaluate(field, fine.reshape(-1, 3)).reshape(len(near), -1)
    cube = grid.reshape(*blocks, BLOCK, BLOCK, BLOCK).transpose(0, 3, 1, 4, 2, 5)
    return cube.reshape(*(blocks * BLOCK))


def skin(field: Field, low: ArrayLike, high: ArrayLike, pitch: float) -> tuple[Points, Faces]:
    """Outer surface of the largest body of the field, cavities filled."""
    grid = sample(field, low, high, pitch)
    grid = np.pad(grid, 1, constant_values=float(2 * pitch))
    names, count = label(grid < 0)
    if count > 1:
        largest = np.argmax(np.bincount(names.ravel())[1:]) + 1
        grid[(names > 0) & (names != largest)] = 0.25 * pitch
    names, count = label(grid >= 0)
    grid[(names > 0) & (names != names[0, 0, 0])] = -0.25 * pitch
    vertices, faces, _, _ = marching_cubes(grid, 0.0)  # type: ignore[no-untyped-call]
    points = vertices.astype(float) * pitch + np.asarray(low, float) - pitch
    return points, faces.astype(np.int64)


def relax(points: Points, faces: Faces, rounds: int) -> Points:
    """Smooth away the steps of the grid: every round pulls in, then lets out as much.

    Source: Taubin, A signal processing approach to fair surface design, 1995; factors 0.5, -0.53.
    """
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    size = len(points)
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(size, size)).tocsr()
    share = 1.0 / links.sum(axis=1)
    for factor in (0.5, -0.53) * rounds:
        points = points + factor * ((links @ points) * share[:, None] - points)
    return points


def thin_out(points: Points, faces: Faces, count: int) -> trimesh.Trimesh:
    """Mesh of at most `count` triangles: the edges that matter least are collapsed first."""
    vertices, kept, _, _ = igl.qslim(np.asfortranarray(points), faces.astype(np.int32), count)
    return trimesh.Trimesh(vertices.astype(np.float32), kept, process=True)


def save(mesh: trimesh.Trimesh, path: Path) -> None:
    """Binary STL, refused unless it is one closed body."""
    if not (mesh.is_watertight and mesh.volume > 0 and mesh.body_count == 1):
        raise ValueError(f"{path.name}: the surface is not one closed body; choose another pitch")
    path.write_bytes(trimesh.exchange.stl.export_stl(mesh))
