"""Soft bodies as signed distances: ellipsoids, swept ribbons, and the ways to join them.

Every function takes points (n, 3) in mm and gives n values in mm, negative inside the body.
They are near enough to true distances to be blended; the zero surface itself is exact.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.spatial import cKDTree

Points: TypeAlias = NDArray[np.float64]
Values: TypeAlias = NDArray[np.float64]
Field: TypeAlias = Callable[[Points], Values]

FAR_MM = 30.0  # beyond this from a ribbon's box the distance to the box stands in for its own


def ellipsoid(points: Points, centre: ArrayLike, radii: ArrayLike) -> Values:
    """Distance to an ellipsoid along the axes; `radii` (3,) in mm."""
    offset = (points - np.asarray(centre, float)) / np.asarray(radii, float)
    near = np.sqrt(np.einsum("ij,ij->i", offset, offset))
    offset /= np.asarray(radii, float)
    slope = np.sqrt(np.einsum("ij,ij->i", offset, offset))
    return near * (near - 1.0) / np.maximum(slope, 1e-9)


def blend(first: Values, second: Values, reach: float) -> Values:
    """Both bodies, the crease between them filled with a fillet of about `reach` mm."""
    lap = np.maximum(reach - np.abs(first - second), 0.0) / reach
    return np.minimum(first, second) - lap**3 * (reach / 6.0)


def carve(body: Values, tool: Values, reach: float) -> Values:
    """The body less the tool, the rim rounded over `reach` mm."""
    return -blend(-body, tool, reach)


def turned(points: Points, centre: ArrayLike, degrees: Sequence[float]) -> Points:
    """Points seen by a body that was turned about x, then y, then z at `centre`, from it."""
    offset = points - np.asarray(centre, float)
    for axis in (2, 1, 0):
        cos, sin = np.cos(np.radians(degrees[axis])), np.sin(np.radians(degrees[axis]))
        i, j = [(1, 2), (2, 0), (0, 1)][axis]
        first, second = offset[:, i].copy(), offset[:, j].copy()
        offset[:, i], offset[:, j] = cos * first + sin * second, cos * second - sin * first
    return offset


@dataclass(frozen=True, slots=True, eq=False)
class Ribbon:
    """A curve with an elliptic section: what necks, toes, reeds and quills are made of.

    Arrays of m samples: `centres`, `tangents`, `sides`, `fronts` (m, 3), `widths`, `depths` (m,)
    as half axes in mm along sides and fronts.
    """

    centres: Points
    tangents: Points
    sides: Points
    fronts: Points
    widths: Values
    depths: Values
    tree: cKDTree


def _unit(vectors: Points) -> Points:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12)


def ribbon(
    knots: ArrayLike,
    widths: ArrayLike,
    depths: ArrayLike | None = None,
    fronts: ArrayLike = (0.0, 0.0, 1.0),
) -> Ribbon:
    """Ribbon through `knots` (k, 3); half axes at the knots; `fronts` (3,) or (k, 3) face out."""
    knot = np.asarray(knots, float)
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(knot, axis=0), axis=1))]
    at = np.linspace(0.0, length[-1], int(length[-1] / 0.8) + 8)
    spline = CubicSpline(length, knot)
    tangent = _unit(spline(at, 1))
    facing = np.broadcast_to(np.asarray(fronts, float), knot.shape)
    front = PchipInterpolator(length, facing)(at)
    front = _unit(front - np.einsum("ij,ij->i", front, tangent)[:, None] * tangent)
    wide = PchipInterpolator(length, np.broadcast_to(np.asarray(widths, float), len(knot)))(at)
    deep = wide if depths is None else PchipInterpolator(length, np.asarray(depths, float))(at)
    return Ribbon(
        centres=spline(at),
        tangents=tangent,
        sides=np.cross(tangent, front),
        fronts=front,
        widths=wide,
        depths=deep,
        tree=cKDTree(spline(at)),
    )


def place(points: Points, body: Ribbon) -> tuple[NDArray[np.intp], Values, Values, Values]:
    """Nearest sample of the curve, and the offset from it along side, front and tangent."""
    near = body.tree.query(points, workers=-1)[1]
    offset = points - body.centres[near]
    along = np.einsum("ij,ij->i", offset, body.tangents[near])
    ends = ((near == 0) & (along < 0)) | ((near == len(body.widths) - 1) & (along > 0))
    across = np.einsum("ij,ij->i", offset, body.sides[near])
    above = np.einsum("ij,ij->i", offset, body.fronts[near])
    return near, across, above, np.where(ends, along, 0.0)


def sweep(points: Points, body: Ribbon) -> Values:
    """Distance to a ribbon; far away, the distance to its box (never more than its own)."""
    reach = float(max(body.widths.max(), body.depths.max()))
    low, high = body.centres.min(axis=0) - reach, body.centres.max(axis=0) + reach
    outside = np.maximum(np.maximum(low - points, points - high), 0.0)
    value = np.sqrt(np.einsum("ij,ij->i", outside, outside)) + 1.0
    close = value < FAR_MM
    near, across, above, past = place(points[close], body)
    wide, deep = body.widths[near], body.depths[near]
    thin = np.minimum(wide, deep)
    unit = np.sqrt((across / wide) ** 2 + (above / deep) ** 2 + (past / thin) ** 2)
    slope = np.sqrt((across / wide**2) ** 2 + (above / deep**2) ** 2 + (past / thin**2) ** 2)
    value[close] = np.where(slope > 1e-6, unit * (unit - 1.0) / np.maximum(slope, 1e-6), -thin)
    return value


def together(points: Points, bodies: Sequence[Ribbon], reach: float) -> Values:
    """Blend of several ribbons."""
    value = sweep(points, bodies[0])
    for body in bodies[1:]:
        value = blend(value, sweep(points, body), reach)
    return value
