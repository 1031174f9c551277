"""How thick the sculpture's walls are where they stand free.

Takes the sculpture's heights seen from above, as a 3-axis bit leaves it, and heights to look at;
gives the thinnest wall at each. The idea: at a height z the section {wanted >= z} stands. Its local
thickness at a place is the diameter of the largest disc inside it that holds the place (Hildebrand
and Rueegsegger 1997, J. Microscopy 185:67, their definition, here in the plane).
"""

from dataclasses import dataclass
from math import ceil, floor
from typing import Final, NamedTuple

import numpy as np

from icecam.geometry.field import Grid, HeightField, Heights
from icecam.kernels.compiled import over_stripes
from icecam.kernels.walls import distances_up_and_down, mark_middles, square_distances, thinnest

LEAST_MM: Final = 5.0
"""Walls are at least so high and so long: feathers, bark and fur are cut a few millimetres deep,
and ice that stands no higher breaks as a chip, not as a wall. Common practice, no source."""

SPECK_MM: Final = 3.0
"""Islands of a section that span less are grain of the surface, not ice that stands."""

THICKEST_MM: Final = 40.0
"""Thicker ice is a body; walls are not looked for in it."""

_STEEPEST: Final = 0.75
"""In the middle of a wall the air recedes slower than this; beside it the slope is 1, and over
0.9 towards one of the eight neighbours."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walls:
    """The thinnest wall at each of n heights, from the top down; mm.

    z : (n,) the heights; thickness : (n,) there, inf where no wall stands
    at : (n, 2) x, y of the centre of the disc that fits into it, NaN where none
    stands : (n,) how high the wall stands above z there, NaN where none
    cell : side of the cells it was measured on; see `walls_of` for what that means
    """

    z: Heights
    thickness: Heights
    at: Heights
    stands: Heights
    cell: float

    def __post_init__(self) -> None:
        n = len(self.z)
        shapes = {"z": (n,), "thickness": (n,), "at": (n, 2), "stands": (n,)}
        for name, shape in shapes.items():
            array = np.ascontiguousarray(getattr(self, name), dtype=np.float64).view()
            if array.shape != shape:
                raise ValueError(f"{name} has shape {array.shape}, not {shape}")
            array.flags.writeable = False
            object.__setattr__(self, name, array)


def no_walls() -> Walls:
    """Return what is known of walls where there is no sculpture to have any."""
    none = np.zeros(0)
    return Walls(z=none, thickness=none, at=np.zeros((0, 2)), stands=none, cell=0.0)


def walls_of(
    wanted: HeightField,
    heights: Heights,
    pitch: float | None = None,
    *,
    least: float = LEAST_MM,
    speck: float = SPECK_MM,
    thickest: float = THICKEST_MM,
) -> Walls:
    """Find the thinnest wall of the sculpture at each height.

    Parameters
    ----------
    wanted : heights of the sculpture seen from above, mm; -inf or NaN beside it
    heights : (n,) mm, finite, in any order
    pitch : measure on every so many-th cell, as many as fit in it, mm; None: on every cell
    least : how high a wall stands and how long it is at least, mm
    speck : islands of the section that span less in x and in y are left out, mm
    thickest : walls are looked for up to this thickness, mm

    Raises
    ------
    ValueError : a height that is not finite

    Notes
    -----
    A place in the middle of the section is a wall if

    - it is slender: over the place and over the centre of the disc that gives its thickness the
      sculpture rises above z by at least that thickness, and by `least`: a ridge with flanks of
      45 degrees is none, one that closes by less than 53 degrees is;
    - its sides face each other: no disc of the section is more than 1.81 times as large as the
      one around the place and holds it or has its centre within `least` of it. So corners that
      close by more than 53 degrees are no walls, the same limit as for ridges, and the ends of
      those that close by less count from where they are long enough.

    On cells of side c, thickness = 2 d - c with d from the centre of a cell to that of the nearest
    one outside. A disc has a cell centre within c / sqrt(2) of its own and the nearest centre
    outside within sqrt(2) c of its rim, so thickness lies between the true one - 2.42 c and
    + 1.83 c; for a wall along the axes - 2 c and + 1 c. What tapers begins to be a wall up to as
    much earlier or later. Walls and gaps thinner than 1.42 c can be missed.
    """
    z = np.sort(np.asarray(heights, dtype=np.float64).ravel())[::-1]
    if not np.isfinite(z).all():
        raise ValueError("heights must be finite")
    grid, field = _in_cells(wanted, pitch)
    cell, rows = grid.pitch, field.max(axis=1)
    sizes = _Sizes(least / cell, max(1, ceil(speck / cell - 1e-9)), (thickest / cell + 1) / 2)
    found = np.full((len(z), 4), (np.inf, np.nan, np.nan, np.nan))
    for nth, level in enumerate((z / cell).tolist()):
        standing = np.flatnonzero(rows >= level)
        if len(standing):
            first, last = int(standing[0]) - 1, int(standing[-1]) + 2
            radius, j, i, high = _thinnest(field, first, last, level, sizes)
            if radius < np.inf:
                found[nth] = 2 * radius - 1, grid.x[i], grid.y[first + j], high
    thickness, stands = found[:, 0] * cell, found[:, 3] * cell
    return Walls(z=z, thickness=thickness, at=found[:, 1:3], stands=stands, cell=cell)


class _Sizes(NamedTuple):
    """What `walls_of` is asked for, in cells; `widest` is the radius of a disc."""

    least: float
    speck: int
    widest: float


def _in_cells(wanted: HeightField, pitch: float | None) -> tuple[Grid, Heights]:
    """Return every so many-th cell with air around, and its heights in cells."""
    g = wanted.grid
    nth = 1 if pitch is None else max(1, floor(pitch / g.pitch + 1e-9))
    cell = nth * g.pitch
    chosen = wanted.heights[::nth, ::nth]
    heights = np.full((chosen.shape[0] + 2, chosen.shape[1] + 2), -np.inf)
    np.divide(chosen, cell, out=heights[1:-1, 1:-1], where=~np.isnan(chosen))
    return Grid(g.x0 - cell, g.y0 - cell, cell, heights.shape[1], heights.shape[0]), heights


def _thinnest(
    field: Heights, first: int, last: int, z: float, sizes: _Sizes
) -> tuple[float, int, int, float]:
    """Radius, row (from `first`) and column of the thinnest wall's disc, how high it stands."""
    shape = last - first, field.shape[1]
    steps, squares = np.zeros(shape, dtype=np.int32), np.zeros(shape, dtype=np.int32)
    marks = np.zeros(shape, dtype=np.bool_)
    over_stripes(shape[1], lambda a, b: distances_up_and_down(steps, field, z, first, a, b))
    over_stripes(shape[0], lambda a, b: square_distances(squares, steps, a, b))
    over_stripes(shape[0], lambda a, b: mark_middles(marks, squares, _STEEPEST, sizes.widest, a, b))
    places = np.argwhere(marks)
    narrow_first = np.argsort(squares[marks], kind="stable")
    return thinnest(places[narrow_first], squares, field, first, z, *sizes)
