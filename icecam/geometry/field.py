"""Height fields over a regular grid seen from above."""

from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Heights = NDArray[np.float64]


class Grid(NamedTuple):
    """Nodes at (x0 + i pitch, y0 + j pitch), i < nx, j < ny; mm. Arrays over it are [j, i]."""

    x0: float
    y0: float
    pitch: float
    nx: int
    ny: int

    @property
    def x(self) -> Heights:
        """(nx,) mm."""
        return self.x0 + self.pitch * np.arange(self.nx, dtype=np.float64)

    @property
    def y(self) -> Heights:
        """(ny,) mm."""
        return self.y0 + self.pitch * np.arange(self.ny, dtype=np.float64)

    def nearest(self, x: Heights, y: Heights) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return row and column of the node nearest to each point, kept on the grid."""
        i = np.clip(np.rint((x - self.x0) / self.pitch), 0, self.nx - 1).astype(np.intp)
        j = np.clip(np.rint((y - self.y0) / self.pitch), 0, self.ny - 1).astype(np.intp)
        return j, i


def covering(low: tuple[float, float], high: tuple[float, float], pitch: float) -> Grid:
    """Return the grid from `low` to at least `high` (mm).

    >>> covering((0, 0), (10, 5), 2)
    Grid(x0=0, y0=0, pitch=2, nx=6, ny=4)
    """
    nx = ceil((high[0] - low[0]) / pitch - 1e-9) + 1
    ny = ceil((high[1] - low[1]) / pitch - 1e-9) + 1
    return Grid(low[0], low[1], pitch, nx, ny)


def cells(size: tuple[float, float], cell: float) -> Grid:
    """Return the grid of cell centres that tile a rectangle from the origin (mm).

    The cells are squares of side `cell`; the last row and column may hang over the edge.

    >>> cells((10, 5), 2)
    Grid(x0=1.0, y0=1.0, pitch=2, nx=5, ny=3)
    """
    nx, ny = ceil(size[0] / cell - 1e-9), ceil(size[1] / cell - 1e-9)
    return Grid(cell / 2, cell / 2, cell, nx, ny)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeightField:
    """Heights (ny, nx) in mm over a grid; -inf where there is nothing."""

    grid: Grid
    heights: Heights

    def __post_init__(self) -> None:
        array = np.ascontiguousarray(self.heights, dtype=np.float64).view()
        if array.shape != (self.grid.ny, self.grid.nx):
            raise ValueError(f"heights have shape {array.shape}, the grid is {self.grid}")
        array.flags.writeable = False
        object.__setattr__(self, "heights", array)

    def over(self, grid: Grid) -> Heights:
        """Return the height nearest to each node of another grid, (ny, nx)."""
        found: Heights = self.heights[self.grid.nearest(grid.x[None], grid.y[:, None])]
        return found

    def part(self, rows: slice, columns: slice) -> "HeightField":
        """Return the field of some rows and columns, slices with a start."""
        heights = self.heights[rows, columns]
        g = self.grid
        x0, y0 = g.x0 + columns.start * g.pitch, g.y0 + rows.start * g.pitch
        grid = Grid(x0, y0, g.pitch, heights.shape[1], heights.shape[0])
        return HeightField(grid=grid, heights=heights)
