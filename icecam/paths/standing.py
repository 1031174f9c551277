"""The ice as it stands, coarsely and from above: how high a bit must rise on its way.

Heights are the greatest in squares of several cells, so that every answer is on the safe side.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.profile import Cylinder
from icecam.kernels.compiled import over_stripes
from icecam.kernels.standing import travel_heights

COARSE_MM: Final = 2.0
BESIDE_MM: Final = 0.3
"""Kept between the parts above the cutting end and ice beside them."""
HALF_DIAGONAL: Final = 0.7072
"""From the centre of a square to its corner, in sides."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A bit's parts as (radius, height above the tip), mm: the cutting end first."""

    radii: NDArray[np.float64]
    lifts: NDArray[np.float64]


def body_of(cutting_radius: float, above: tuple[Cylinder, ...]) -> Body:
    """Return the parts of a bit that must stay clear on the way."""
    return Body(
        radii=np.array([cutting_radius, *(part.radius for part in above)]),
        lifts=np.array([0.0, *(part.base for part in above)]),
    )


def coarse(ice: HeightField, side: float = COARSE_MM) -> HeightField:
    """Return the greatest height in squares of about `side` mm."""
    grid = ice.grid
    factor = max(1, round(side / grid.pitch))
    ny, nx = -(-grid.ny // factor), -(-grid.nx // factor)
    padded = np.pad(
        ice.heights,
        ((0, ny * factor - grid.ny), (0, nx * factor - grid.nx)),
        constant_values=-np.inf,
    )
    shift = (factor - 1) / 2 * grid.pitch
    return HeightField(
        grid=Grid(grid.x0 + shift, grid.y0 + shift, grid.pitch * factor, nx, ny),
        heights=padded.reshape(ny, factor, nx, factor).max(axis=(1, 3)),
    )


def widened(standing: HeightField, margin: float) -> HeightField:
    """Return the field with `margin` mm of open air round it."""
    g = standing.grid
    more = int(np.ceil(margin / g.pitch))
    around = Grid(
        g.x0 - more * g.pitch, g.y0 - more * g.pitch, g.pitch, g.nx + 2 * more, g.ny + 2 * more
    )
    return HeightField(grid=around, heights=np.pad(standing.heights, more, constant_values=-np.inf))


def spread(standing: HeightField, radius: float) -> Heights:
    """Greatest height within `radius` (mm) of each square, its own corners allowed for."""
    reach = radius / standing.grid.pitch + 2 * HALF_DIAGONAL
    size = int(reach)
    padded = np.pad(standing.heights, ((size, size), (0, 0)), constant_values=-np.inf)
    ny = standing.grid.ny
    widest = np.full(standing.heights.shape, -np.inf)
    for off in range(size + 1):
        # squares on one line within the circle, the same above and below
        along = 2 * int(np.sqrt(reach * reach - off * off)) + 1
        lines = ndimage.maximum_filter1d(padded, along, axis=1, mode="constant", cval=-np.inf)
        for first in {size - off, size + off}:
            np.maximum(widest, lines[first : first + ny], out=widest)
    return widest


def lowest_for(standing: HeightField, parts: tuple[Cylinder, ...]) -> Heights:
    """Lowest tip height at each square at which no part above the cutting end meets ice."""
    lowest = np.full(standing.heights.shape, -np.inf)
    for part in parts:
        np.maximum(lowest, spread(standing, part.radius + BESIDE_MM) - part.base, out=lowest)
    return lowest


def travel(
    standing: HeightField,
    body: Body,
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
) -> Heights:
    """Lowest tip height on straight ways between points (n, 2) at which the whole bit is clear."""
    grid = standing.grid
    result = np.zeros(len(starts))
    reaches = body.radii + grid.pitch * HALF_DIAGONAL
    frame = (grid.x0, grid.y0, grid.pitch)
    a, b = np.ascontiguousarray(starts), np.ascontiguousarray(ends)
    over_stripes(
        len(a),
        lambda first, last: travel_heights(
            result, first, last, a, b, standing.heights, frame, reaches, body.lifts
        ),
    )
    return result
