"""How the sculpture lies in the block: turned, scaled, set down, refused if it does not fit."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam import units
from icecam.errors import MeshError
from icecam.geometry.field import HeightField
from icecam.geometry.mesh import Mesh
from icecam.job.records import Block, Sculpture

LEAST_MM: Final = 5.0
"""A sculpture smaller than this is taken for one in another unit (common practice, no source)."""

_UP: Final = {
    "top": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "bottom": ((1, 0, 0), (0, -1, 0), (0, 0, -1)),
    "front": ((1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "back": ((-1, 0, 0), (0, 0, 1), (0, 1, 0)),
    "left": ((0, -1, 0), (0, 0, 1), (-1, 0, 0)),
    "right": ((0, 1, 0), (0, 0, 1), (1, 0, 0)),
}
"""Turns that bring a face up; what was up then points to +Y. Modelled with front towards -Y."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """The sculpture in block coordinates (mm), and the 4x4 matrix there from units of its file."""

    mesh: Mesh
    to_block: NDArray[np.float64]
    scale: float


def place(mesh: Mesh, sculpture: Sculpture, block: Block) -> Placed:
    """Lay a sculpture in its block: turned, scaled, centred, as high as its margin allows.

    It lies high because ice above it must be cut and ice below it is sawn off by hand; the floor
    stays uncut.

    Raises
    ------
    MeshError : larger than the block; says which scale would fit. A margin that leaves no room
    """
    quarter = sculpture.turn // 90
    about_z = np.linalg.matrix_power(np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]]), quarter)
    turn = about_z @ np.array(_UP[sculpture.up])
    corners = np.stack([mesh.low, mesh.high]) @ turn.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = np.array(block.size) - (0, 0, block.floor)
    kept = room - sculpture.margin * np.array((2, 2, 1))
    if sculpture.fit and kept.min() <= 0:
        raise MeshError(
            f"{mesh.file} cannot be fitted: sculpture.margin = {sculpture.margin:g} mm leaves no "
            f"room in {_triple(room)} mm above the floor; give a smaller margin"
        )
    scale = float((kept / (high - low)).min()) if sculpture.fit else sculpture.scale
    size = (high - low) * scale
    if (size > room + 1e-6).any():
        fits = scale * float(((kept if kept.min() > 0 else room) / size).min())
        others = [
            up
            for up, face in _UP.items()
            if (np.abs(about_z @ np.array(face) @ turn.T @ size) <= room + 1e-6).all()
        ]
        lying = f"; with --up {others[0]} it fits as it is" if others else ""
        raise MeshError(
            f"{mesh.file}, read in {mesh.unit}, would be {_triple(size)} mm and the block "
            f"leaves {_triple(room)} mm above its floor; use sculpture.scale = {_down(fits)} or "
            f"--fit{lying}"
        )
    shift = np.zeros(3)
    shift[:2] = np.array(block.size[:2]) / 2 - (low + high)[:2] / 2 * scale
    lifted = max(block.size[2] - sculpture.margin - size[2], block.floor)
    shift[2] = min(lifted, block.size[2] - size[2]) - low[2] * scale
    in_mm = np.eye(4)
    in_mm[:3, :3], in_mm[:3, 3] = turn * scale, shift
    to_block = in_mm.copy()
    to_block[:3, :3] *= units.LENGTHS[mesh.unit]
    return Placed(mesh=mesh.moved(in_mm), to_block=to_block, scale=scale)


def check_not_tiny(mesh: Mesh) -> None:
    """Refuse a placed sculpture that is smaller than anybody carves.

    Raises
    ------
    MeshError : shorter than `LEAST_MM` in every direction
    """
    longest = float((mesh.high - mesh.low).max())
    if longest < LEAST_MM:
        raise MeshError(
            f"{mesh.file}, read in {mesh.unit}, would be {longest:.3g} mm at its longest, less "
            f"than {LEAST_MM:g} mm; set sculpture.unit to the unit it was exported in, raise "
            "sculpture.scale or use --fit"
        )


def _down(scale: float) -> str:
    """Four figures, never more than the scale itself: it must fit when typed in."""
    return f"{scale * (1 - 5e-4):.4g}"


def _triple(size: NDArray[np.float64]) -> str:
    return " x ".join(f"{side:.1f}" for side in size)


def hidden_share(
    triangles: NDArray[np.float64], heights: HeightField, *, closed: bool = True
) -> float:
    """Share of a surface's area that cannot be seen from above.

    Parameters
    ----------
    triangles : (n, 3, 3) mm
    heights : the sculpture seen from above, over a grid
    closed : facets of an open mesh may face either way, so either side of them is seen

    Notes
    -----
    A triangle is seen when it looks up and its middle lies within a cell's rise of the heights.
    """
    u, v = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    normals = np.cross(u, v)
    area = np.linalg.norm(normals, axis=1)
    middle = triangles.mean(axis=1)
    seen_at = heights.heights[heights.grid.nearest(middle[:, 0], middle[:, 1])]
    up = normals[:, 2] if closed else np.abs(normals[:, 2])
    upward = up > 0
    rise = heights.grid.pitch * np.hypot(normals[:, 0], normals[:, 1])
    slack = np.divide(rise, up, out=np.zeros_like(rise), where=upward)
    seen = upward & (middle[:, 2] >= seen_at - slack - heights.grid.pitch)
    return float(1 - area[seen].sum() / area.sum())
