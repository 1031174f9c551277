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

FAR_MM = 28.0  # ribbons are taken to be no further than this, more than any fillet


def ellipsoid(points: Points, centre: ArrayLike, radii: ArrayLike) -> Values:
    """Distance to an ellipsoid along the axes; `radii` (3,) in mm."""
    offset = (points - np.asarray(centre, float)) / np.asarray(radii, float)
    near = np.sqrt(np.einsum("ij,ij->i", offset, offset))
    offset /= np.asarray(radii, float)
    slope = np.sqrt(np.einsum("ij,ij->i", offset, offset))
    return np.asarray(near * (near - 1.0) / np.maximum(slope, 1e-9))


def blend(first: Values, second: Values, reach: float) -> Values:
    """Both bodies, the crease between them filled with a fillet of about `reach` mm."""
    lap = np.maximum(reach - np.abs(first - second), 0.0) / reach
    return np.minimum(first, second) - lap**3 * (reach / 6.0)


def carve(body: Values, tool: Values, reach: float) -> Values:
    """Take the tool out of the body, the rim rounded over `reach` mm."""
    return -blend(-body, tool, reach)


def turned(points: Points, centre: ArrayLike, degrees: Sequence[float]) -> Points:
    """Points seen by a body that was turned about x, then y, then z at `centre`, from it."""
    offset = points - np.asarray(centre, float)
    for axis in (2, 1, 0):
        cos, sin = np.cos(np.radians(degrees[axis])), np.sin(np.radians(degrees[axis]))
        i, j = [(1, 2), (2, 0), (0, 1)][axis]
        first, second = offset[:, i].copy(), offset[:, j].copy()
        offset[:, i], offset[:, j] = cos * first + sin * second, cos * second - sin * first
    return np.asarray(offset)


@dataclass(frozen=True, slots=True, eq=False)
class Ribbon:
    """A curve with an elliptic section: what necks, toes, reeds and quills are made of.

    Arrays of m samples: `centres`, `tangents`, `sides`, `fronts` (m, 3), `widths`, `depths` (m,)
    as half axes in mm along sides and fronts; `pulls` is radius times its growth a mm; `low` and
    `high` bound the body; `tree` finds places by distance and radius.
    """

    centres: Points
    tangents: Points
    sides: Points
    fronts: Points
    widths: Values
    depths: Values
    pulls: Values
    low: Values
    high: Values
    tree: cKDTree


def _unit(vectors: Points) -> Points:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))


def ribbon(
    knots: ArrayLike,
    widths: ArrayLike,
    depths: ArrayLike | None = None,
    fronts: ArrayLike | None = None,
) -> Ribbon:
    """Ribbon through `knots` (k, 3); half axes at the knots; `fronts` (3,) or (k, 3) face out.

    Without `fronts` they stand on the plane the curve lies in, so that they never meet a tangent.
    """
    knot = np.asarray(knots, float)
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(knot, axis=0), axis=1))]
    at = np.linspace(0.0, length[-1], int(length[-1] / 0.8) + 8)
    spline = CubicSpline(length, knot)
    tangent = _unit(spline(at, 1))
    if fronts is None:
        fronts = np.linalg.svd(tangent, full_matrices=False)[2][2]
    facing = np.broadcast_to(np.asarray(fronts, float), knot.shape)
    front = PchipInterpolator(length, facing)(at)
    front = _unit(front - np.einsum("ij,ij->i", front, tangent)[:, None] * tangent)
    wide = PchipInterpolator(length, np.broadcast_to(np.asarray(widths, float), len(knot)))(at)
    deep = wide if depths is None else PchipInterpolator(length, np.asarray(depths, float))(at)
    thin = np.minimum(wide, deep)
    reach = max(wide.max(), deep.max())
    return Ribbon(
        low=spline(at).min(axis=0) - reach,
        high=spline(at).max(axis=0) + reach,
        centres=spline(at),
        tangents=tangent,
        sides=np.cross(tangent, front),
        fronts=front,
        widths=wide,
        depths=deep,
        pulls=thin * np.gradient(thin, at),
        tree=cKDTree(np.column_stack([spline(at), np.sqrt(thin.max() ** 2 - thin**2)])),
    )


def place(points: Points, body: Ribbon) -> tuple[Values, Values, Values, Values]:
    """Where points lie on a ribbon.

    Returns
    -------
    place along the curve in samples (n,), offset along side, front and tangent there, mm

    Notes
    -----
    The place taken is that of the ball (on the curve, as thick as the ribbon) whose surface is
    nearest in the sense of squared distance less squared radius. Where two places tie, both give
    the same surface, so a ribbon that tapers or bends has no seam.
    """
    lifted = np.column_stack([points, np.zeros(len(points))])
    near = np.asarray(body.tree.query(lifted, eps=0.0)[1])
    last = len(body.widths) - 1
    run = float(np.linalg.norm(body.centres[1] - body.centres[0]))
    ahead = np.einsum("ij,ij->i", points - body.centres[near], body.tangents[near])
    at = np.clip(near + np.clip((ahead + body.pulls[near]) / run, -1, 1), 0.0, last)
    low = np.minimum(at.astype(np.intp), last - 1)
    part = (at - low)[:, None]

    def between(rows: Points) -> Points:
        return np.asarray(rows[low] * (1 - part) + rows[low + 1] * part)

    offset = points - between(body.centres)
    across = np.einsum("ij,ij->i", offset, between(body.sides))
    above = np.einsum("ij,ij->i", offset, between(body.fronts))
    return at, across, above, np.einsum("ij,ij->i", offset, between(body.tangents))


def _past_box(points: Points, body: Ribbon) -> Values:
    """Distance to the box round a ribbon, never more than to the ribbon itself."""
    outside = np.zeros(len(points))
    for axis in range(3):
        past = np.maximum(body.low[axis] - points[:, axis], points[:, axis] - body.high[axis])
        outside += np.maximum(past, 0.0) ** 2
    return np.sqrt(outside)


def _near(points: Points, body: Ribbon) -> Values:
    at, across, above, past = place(points, body)
    samples = np.arange(len(body.widths))
    wide, deep = np.interp(at, samples, body.widths), np.interp(at, samples, body.depths)
    thin = np.minimum(wide, deep)
    unit = np.sqrt((across / wide) ** 2 + (above / deep) ** 2 + (past / thin) ** 2)
    slope = np.sqrt((across / wide**2) ** 2 + (above / deep**2) ** 2 + (past / thin**2) ** 2)
    return np.where(slope > 1e-6, unit * (unit - 1.0) / np.maximum(slope, 1e-6), -thin)


def sweep(points: Points, body: Ribbon) -> Values:
    """Distance to a ribbon, counted no further than `FAR_MM`."""
    return together(points, [body], 1.0)


def together(points: Points, bodies: Sequence[Ribbon], reach: float) -> Values:
    """Blend of several ribbons; each is looked at only where it can change the outcome."""
    value = np.full(len(points), FAR_MM)
    low, high = points.min(axis=0), points.max(axis=0)
    for body in bodies:
        if (low > body.high + FAR_MM).any() or (high < body.low - FAR_MM).any():
            continue
        close = _past_box(points, body) < np.minimum(value + reach, FAR_MM)
        if close.any():
            value[close] = blend(value[close], _near(points[close], body), reach)
    return value
