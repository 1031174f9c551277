"""The ice of the block before carving: what saw or earlier work has left, as heights from above.

A job may name saw cuts, a mesh and a table of heights; ice stands where all of them leave it. Each
can be grown by a margin, for they are never exact. What overhangs counts as solid down to the bed.
"""

from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam import units
from icecam.errors import JobError, MeshError
from icecam.geometry.drop import Surface, grown_heights, surface_of
from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.height_table import HeightTable, read_table
from icecam.geometry.mesh import read as read_mesh
from icecam.job.records import Block
from icecam.job.sawn import plane_of

UPRIGHT: Final = 1e-9
"""Cosine of a cut's slope below which it counts as upright."""
SOME: Final = 400
MANY: Final = 20_000
NEAR_MM: Final = 8.0
_ROUNDING: Final = 1e-5
_SIDES: Final = (("left", "right"), ("front", "back"), ("bottom", "top"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Remains:
    """What the job says is left of the block: its saw cuts, and surfaces read from files."""

    block: Block
    surfaces: tuple[Surface, ...]

    def heights(self, grid: Grid, margin: float) -> HeightField:
        """Return the ice (mm) over a grid, grown by `margin` (mm) within the block; 0 where none.

        Saw cuts move outwards, so that edges between them stay sharp; surfaces grow by a ball.
        """
        heights = _sawn_heights(self.block, grid, margin)
        for surface in self.surfaces:
            grown = grown_heights(surface, grid, margin).heights
            heights = np.minimum(heights, np.maximum(grown, 0.0))
        return HeightField(grid=grid, heights=heights)


def read_remains(block: Block) -> Remains:
    """Read what the job says of the block before carving.

    Raises
    ------
    JobError : a file that cannot be used, or that does not belong to this block
    """
    surfaces = []
    if block.precut.mesh:
        surfaces.append(_mesh_surface(Path(block.precut.mesh), block))
    if block.precut.heights:
        surfaces.append(_table_surface(Path(block.precut.heights), block))
    return Remains(block=block, surfaces=tuple(surfaces))


def ice_before(remains: Remains, whole: HeightField) -> HeightField:
    """Return the ice to be carved: what is left of the block, with its margin on.

    whole : the block as it was

    Raises
    ------
    JobError : what was taken off leaves nothing to carve, or files that take nothing off
    """
    block, grid = remains.block, whole.grid
    if not block.precut.anything:
        return whole
    said = remains.heights(grid, 0.0).heights
    if said.max() <= block.floor:
        raise JobError(
            f"block.precut leaves no ice above the floor of {block.floor:g} mm, the highest stands "
            f"at {said.max():.1f} mm; set what is gone right, or block.floor lower"
        )
    if said.min() >= block.size[2] - _ROUNDING:
        raise JobError(
            "block.precut takes nothing off the block; set its places right, or leave it out"
        )
    return remains.heights(grid, block.precut_margin)


def check_enough(remains: Remains, wanted: HeightField, detail: float) -> None:
    """Refuse a sculpture that needs ice where it is gone.

    wanted : the sculpture seen from above; detail : mm that may be missing anywhere, if no more
        than the margin

    Raises
    ------
    MeshError : says where and by how much
    """
    allowed = min(detail, remains.block.precut_margin)
    grown = remains.heights(wanted.grid, allowed)
    j, i = np.nonzero(wanted.heights > grown.heights + _ROUNDING)
    if len(j) == 0:
        return
    points = np.stack([wanted.grid.x[i], wanted.grid.y[j], wanted.heights[j, i]], axis=1)
    (x, y, z), far = _farthest(points, remains.heights(wanted.grid, 0.0))
    raise MeshError(
        f"the sculpture reaches {far:.1f} mm out of the ice that block.precut leaves, at "
        f"x {x:.0f}, y {y:.0f}, z {z:.0f} mm; move, turn or scale it, or set right what is gone"
    )


def _farthest(points: NDArray[np.float64], ice: HeightField) -> tuple[NDArray[np.float64], float]:
    """Of points (n, 3) beside or over ice the one farthest from it, and how far (mm).

    First some points and cells all over, then all that lie near what these tell.
    """
    x, y = np.meshgrid(ice.grid.x, ice.grid.y)
    cells = np.stack([x.ravel(), y.ravel(), ice.heights.ravel()], axis=1)
    cells = cells[cells[:, 2] > 0]
    some = _spread(points, SOME)
    far = _way_to(some, _spread(cells, MANY))
    worst = some[int(np.argmax(far))]
    near = points[np.abs(points - worst).max(axis=1) <= NEAR_MM]
    close = np.abs(cells[:, :2] - worst[:2]).max(axis=1) <= far.max() + 2 * NEAR_MM
    some = _spread(near, SOME)
    far = _way_to(some, cells[close])
    k = int(np.argmax(far))
    return some[k], float(far[k])


def _spread(rows: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Return at most so many rows, evenly spread over all."""
    return rows[:: -(-len(rows) // count)]


def _way_to(points: NDArray[np.float64], cells: NDArray[np.float64]) -> Heights:
    """Way (n,) mm from points (n, 3) to the nearest of upright columns (m, 3) from the bed up."""
    ways = [
        np.hypot(np.hypot(cells[:, 0] - x, cells[:, 1] - y), np.maximum(z - cells[:, 2], 0.0)).min()
        for x, y, z in points
    ]
    return np.array(ways)


def volume_gone(ice: HeightField, size: tuple[float, float, float]) -> float:
    """Return the volume (mm3) that ice falls short of a whole block of `size`.

    Cells that hang over the edge of the block count with what of them lies in it.
    """
    g = ice.grid
    wide, deep = (
        np.minimum(middle + g.pitch / 2, side) - (middle - g.pitch / 2)
        for middle, side in ((g.x, size[0]), (g.y, size[1]))
    )
    return float(deep @ (size[2] - ice.heights) @ wide)


def _sawn_heights(block: Block, grid: Grid, margin: float) -> Heights:
    """Heights of a block after its saw cuts, each moved outwards by `margin`.

    A cut that leans out over the ice bounds it from above, one that leans in from below: where the
    second lies above the first, nothing stands.
    """
    x, y = np.meshgrid(grid.x, grid.y)
    high, low = np.full(x.shape, block.size[2]), np.zeros(x.shape)
    for cut in block.precut.sawn:
        way, far = plane_of(cut)
        room = far + margin - way[0] * x - way[1] * y
        if abs(way[2]) < UPRIGHT:
            high[room < 0] = 0.0
        elif way[2] > 0:
            np.minimum(high, room / way[2], out=high)
        else:
            np.maximum(low, room / way[2], out=low)
    return np.where(high > low, high, 0.0)


def _mesh_surface(path: Path, block: Block) -> Surface:
    """Read the block as it stands from a mesh; refuse one that lies outside the block."""
    try:
        mesh = read_mesh(path, unit=block.precut.file_unit)
    except MeshError as fault:
        raise JobError(f"block.precut.mesh cannot be used: {fault}") from fault
    size = np.array(block.size)
    out = np.stack([-mesh.low, mesh.high - size], axis=1)
    axis, side = np.unravel_index(int(np.argmax(out)), out.shape)
    if out[axis, side] > block.precut_margin + _ROUNDING:
        raise JobError(
            f"block.precut.mesh: {path.name} reaches {out[axis, side]:.1f} mm out of the block at "
            f"its {_SIDES[axis][side]}, read in {block.precut.file_unit}; move it so that the "
            "block's front left corner at bed level is its origin, or set file_unit or block.size"
        )
    return surface_of(mesh.triangles, closed=mesh.watertight)


def _table_surface(path: Path, block: Block) -> Surface:
    """Read heights from a table as level lids, one for each four crossings.

    Between crossings the highest of the four counts; where one is unknown, or beyond the outermost
    lines, the block counts as whole.
    """
    table = read_table(path, units.LENGTHS[block.precut.file_unit])
    _check_readings(table, block)
    x, y, heights, top = table.x, table.y, table.heights, block.size[2]
    known = np.where(np.isnan(heights), inf, heights)
    lids = np.maximum(
        np.maximum(known[:-1, :-1], known[1:, :-1]), np.maximum(known[:-1, 1:], known[1:, 1:])
    )
    lids = np.pad(np.minimum(lids, top), 1, constant_values=top)
    x, y = (
        np.concatenate([[min(0.0, lines[0])], lines, [max(side, lines[-1])]])
        for lines, side in ((x, block.size[0]), (y, block.size[1]))
    )
    return surface_of(_lids(x, y, lids), closed=True)


def _check_readings(table: HeightTable, block: Block) -> None:
    """Refuse heights below the bed or above the block."""
    out = np.nan_to_num(np.maximum(table.heights - block.size[2], -table.heights), nan=0.0)
    j, i = np.unravel_index(int(np.argmax(out)), out.shape)
    if out[j, i] > block.precut_margin + _ROUNDING:
        raise JobError(
            f"block.precut.heights: {table.file} gives {table.heights[j, i]:.1f} mm at "
            f"x {table.x[i]:.0f}, y {table.y[j]:.0f} mm, {out[j, i]:.1f} mm beyond the block of "
            f"{block.size[2]:g} mm; set file_unit or block.size, or read that place again"
        )


def _lids(x: Heights, y: Heights, heights: Heights) -> NDArray[np.float64]:
    """Return two level triangles (n, 3, 3) for each of (ny, nx) heights between lines x and y."""
    wide = np.flatnonzero(np.diff(x) > 0)
    deep = np.flatnonzero(np.diff(y) > 0)
    j, i = (each.ravel() for each in np.meshgrid(deep, wide, indexing="ij"))
    z = heights[j, i]
    a, b = np.stack([x[i], y[j], z], axis=1), np.stack([x[i + 1], y[j], z], axis=1)
    c, d = np.stack([x[i + 1], y[j + 1], z], axis=1), np.stack([x[i], y[j + 1], z], axis=1)
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
