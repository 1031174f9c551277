"""The ice as it stands, from above: how high a bit must rise on its way, where it comes down.

Ways are asked of the greatest heights in squares of several cells, so that every answer is on the
safe side.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.profile import Cylinder, cylinder_profile
from icecam.kernels.compiled import over_stripes
from icecam.kernels.profile import Profile
from icecam.kernels.standing import travel_heights

COARSE_MM: Final = 2.0
FINER_MM: Final = 1.0
"""Squares that the cutting end is asked about, which is narrower than what stands over it."""
BESIDE_MM: Final = 0.3
"""Kept between the parts above the cutting end and ice beside them."""
ROUNDED_MM: Final = 0.02
"""Rounding of the text, to 0.001 in at the coarsest, may move a bit sideways by so much, next to
ice as high as it likes."""
HALF_DIAGONAL: Final = 0.7072
"""From the centre of a square to its corner, in sides."""


Part = tuple[Profile, float]
"""A part of a bit: its profile, and how far its lower end lies over the tip, mm."""


def parts_above(above: tuple[Cylinder, ...]) -> tuple[Part, ...]:
    """Return what stands over the cutting end as parts."""
    return tuple((cylinder_profile(part.radius), part.base) for part in above)


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """The ice as it stands, for one bit: mm.

    ice : heights at the centres of its cells; above : what stands over the cutting end
    """

    ice: HeightField
    cutting: Profile
    above: tuple[Part, ...]

    @cached_property
    def squares(self) -> HeightField:
        """The greatest heights in squares of `COARSE_MM`."""
        return coarse(self.ice)

    @cached_property
    def _finer(self) -> HeightField:
        return coarse(self.ice, FINER_MM)

    def way(self, starts: NDArray[np.float64], ends: NDArray[np.float64]) -> Heights:
        """Tip height (n,) on straight ways between points (n, 2) or (n, 3) that is clear."""
        cutting = travel(self._finer, ((self.cutting, 0.0),), starts, ends)
        return np.maximum(cutting, travel(self.squares, self.above, starts, ends))

    def down(self, points: NDArray[np.float64]) -> Heights:
        """Tip height (n,) at which the bit comes down on the ice at points (n, 2) or (n, 3)."""
        parts = travel(self.squares, self.above, points, points)
        return np.maximum(landing(self.ice, self.cutting, points), parts)


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
    bit: tuple[Part, ...],
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
) -> Heights:
    """Lowest tip height on straight ways between points (n, 2) at which all parts are clear.

    standing : the greatest height of each square
    """
    return _clear(standing, bit, starts, ends, standing.grid.pitch * HALF_DIAGONAL)


def landing(ice: HeightField, cutting: Profile, points: NDArray[np.float64]) -> Heights:
    """Tip height (n,) at which a cutting end comes down on the ice at points (n, 2).

    ice : heights at the centres of its cells, which alone are looked at, as in carving, but that
        ice just beside the bit counts as well
    """
    return _clear(ice, ((cutting, 0.0),), points, points, ROUNDED_MM)


def _clear(
    ice: HeightField,
    bit: tuple[Part, ...],
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
    slack: float,
) -> Heights:
    grid = ice.grid
    result = np.full(len(starts), -np.inf)
    if not bit:
        return result
    frame = (grid.x0, grid.y0, grid.pitch)
    a, b = (np.ascontiguousarray(points[:, :2]) for points in (starts, ends))
    over_stripes(
        len(a),
        lambda first, last: travel_heights(
            result, first, last, a, b, ice.heights, frame, slack, bit
        ),
    )
    return result
