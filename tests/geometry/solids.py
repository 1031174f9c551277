"""Test pieces as triangles (n, 3, 3), mm, corners against the clock seen from above."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def revolved(r: Floats, z: Floats, sides: int) -> Floats:
    """Turn a line of points (r, z), from the axis outwards, about the z axis."""
    angle = np.linspace(0.0, 2 * np.pi, sides + 1)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = np.concatenate(
        [r[:, None, None] * ring, np.broadcast_to(z[:, None, None], (len(r), sides + 1, 1))], axis=2
    )
    return from_rows(points)


def from_rows(points: Floats) -> Floats:
    """Join rows of points (rows, columns, 3) to triangles; those without area are left out."""
    a, b, c, d = points[:-1, :-1], points[:-1, 1:], points[1:, :-1], points[1:, 1:]
    triangles = np.stack([[a, c, d], [a, d, b]]).transpose(0, 2, 3, 1, 4).reshape(-1, 3, 3)
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    kept: Floats = triangles[np.linalg.norm(normal, axis=1) > 0]
    return kept


def hemisphere(radius: float, step_deg: float) -> Floats:
    """Lie inside the sphere; corners lie on it."""
    angle = np.radians(np.arange(0.0, 90.0 + step_deg / 2, step_deg))
    return revolved(radius * np.sin(angle), radius * np.cos(angle), round(360 / step_deg))


def bowl(radius: float, step_deg: float, out_to: float) -> Floats:
    """Half a hollow sphere below a level z = 0 that goes on to `out_to`."""
    angle = np.radians(np.arange(0.0, 90.0 + step_deg / 2, step_deg))
    r = np.append(radius * np.sin(angle), out_to)
    z = np.append(-radius * np.cos(angle), 0.0)
    return revolved(r, z, round(360 / step_deg))


def cone(height: float, base: float, sides: int) -> Floats:
    """Apex up at the origin, base at z = 0; corners lie on the cone."""
    return revolved(np.array([0.0, base]), np.array([height, 0.0]), sides)


def plane(gradient_x: float, gradient_y: float, half: float = 50.0) -> Floats:
    """Two triangles about the origin."""
    x = np.array([-half, half])
    xx, yy = np.meshgrid(x, x)
    return from_rows(np.stack([xx, yy, gradient_x * xx + gradient_y * yy], axis=2)[:, ::-1])


def groove(gradient: float, half: float = 50.0) -> Floats:
    """A V along y: z = gradient |x|."""
    x = np.array([half, 0.0, -half])
    xx, yy = np.meshgrid(x, [-half, half])
    return from_rows(np.stack([xx, yy, gradient * np.abs(xx)], axis=2))


def wall(top: float, half: float = 200.0) -> Floats:
    """Upright face x = 0 from z = -10 to `top`, level behind it for x > 0."""
    points = [[[x, y, z] for x, z in ((half, top), (0, top), (0, -10))] for y in (-half, half)]
    return from_rows(np.array(points, dtype=np.float64))


def relief(heights: Floats, pitch: float) -> Floats:
    """Two triangles for each square of a height grid (ny, nx) at the origin."""
    ny, nx = heights.shape
    xx, yy = np.meshgrid(pitch * np.arange(nx), pitch * np.arange(ny))
    return from_rows(np.stack([xx, yy, heights], axis=2)[:, ::-1])


def points_only(heights: Floats, pitch: float) -> Floats:
    """Return the nodes alone, each as a triangle whose corners fall together."""
    xx, yy = np.meshgrid(pitch * np.arange(heights.shape[1]), pitch * np.arange(heights.shape[0]))
    nodes = np.stack([xx, yy, heights], axis=2).reshape(-1, 1, 3)
    return np.repeat(nodes, 3, axis=1)
