"""The sculpture as triangles: read from a file, checked, measured.

Only this module knows the mesh library and mesh files.
"""

import gc
import logging
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from icecam import units
from icecam.errors import MeshError
from icecam.geometry.mesh_file import Said, asked, unit_of
from icecam.kernels.compiled import begun
from icecam.kernels.weld import weld

# What the library thinks of a file is not for the terminal; without a handler it lands there.
logging.getLogger("trimesh").addHandler(logging.NullHandler())

KINDS: Final = ("stl", "obj", "ply", "3mf")
LARGEST_MM: Final = 20_000.0
"""A sculpture larger than this is taken for one in another unit."""
MANY_TRIANGLES: Final = 100_000
"""From so many on memory is freed at once."""
DIGITS: Final = 6
"""Corners are told apart to so many digits behind the point, mm."""
NO_AREA_MM2: Final = 1e-12
"""Twice the area of a face that counts as a line."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """Triangles (n, 3, 3) in mm, corners against the clock seen from outside, and what was found.

    `degenerate` counts the faces without area that were left out, `doubled` those that stood there
    already, `turned` the bodies that were inside out; `volume` (mm3) is zero for an open mesh.
    `unit` is what one unit of the file is: a key of `icecam.units.LENGTHS`; `sha256` its digest
    (FIPS 180-4).
    """

    triangles: NDArray[np.float64]
    watertight: bool
    volume: float
    degenerate: int
    file: str
    unit: str = "mm"
    doubled: int = 0
    turned: int = 0
    sha256: str = ""

    def __post_init__(self) -> None:
        array = np.ascontiguousarray(self.triangles, dtype=np.float64).view()
        array.flags.writeable = False
        object.__setattr__(self, "triangles", array)

    @property
    def low(self) -> NDArray[np.float64]:
        """(3,) mm, least corner of the box around it."""
        return _box(self.triangles)[0]

    @property
    def high(self) -> NDArray[np.float64]:
        """(3,) mm, greatest corner of the box around it."""
        return _box(self.triangles)[1]

    def moved(self, matrix: NDArray[np.float64]) -> "Mesh":
        """Return the mesh under a 4x4 row-major matrix that turns, scales evenly and shifts."""
        triangles = self.triangles @ matrix[:3, :3].T + matrix[:3, 3]
        volume = self.volume * float(np.linalg.det(matrix[:3, :3]))
        return replace(self, triangles=triangles, volume=volume)


def read(path: Path, *, unit: str = "mm") -> Mesh:
    """Read a sculpture and check it.

    Parameters
    ----------
    path : STL (binary or text), OBJ, PLY or 3MF
    unit : what one unit of the file is: a key of `icecam.units.LENGTHS`; a 3MF file says it itself

    Raises
    ------
    MeshError : missing, unreadable, empty, not finite, flat or far too large; 3MF in another unit
        than asked for
    """
    loaded, said = _load(path)
    unit = unit_of(path.name, said, unit)
    vertices = np.asarray(loaded.vertices, dtype=np.float64) * units.LENGTHS[unit]
    faces = np.asarray(loaded.faces, dtype=np.int64)
    count = len(faces)
    del loaded
    _let_go(count)
    if count == 0:
        raise MeshError(f"{path.name} holds no triangles; export the sculpture again")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise MeshError(
            f"{path.name} has triangles with corners that it does not hold; "
            "repair the mesh and export it again"
        )
    if not np.isfinite(vertices).all():
        wrong = int((~np.isfinite(vertices)).any(axis=1).sum())
        raise MeshError(
            f"{path.name} holds {wrong} corners whose coordinates are no numbers; "
            "repair the mesh and export it again"
        )
    vertices, faces = _used(vertices, faces)
    _check_not_huge(path, vertices, unit)
    vertices, faces = _welded(vertices, faces)
    # A face with a corner twice opens the mesh around it; a line of three corners may close it.
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    adjacency, doubled = _adjacency(faces, len(vertices)), 0
    if adjacency is None:  # where each side is passed once each way, no face can stand twice
        once = _first_of_each(faces)
        faces, doubled = faces[once], int((~once).sum())
        adjacency = _adjacency(faces, len(vertices)) if doubled else None
    triangles = vertices[faces]
    del vertices, faces
    solid = np.linalg.norm(np.cross(*_sides(triangles)), axis=1) > NO_AREA_MM2
    if not solid.any():
        raise MeshError(
            f"{path.name} holds only triangles without area; repair the mesh and export it again"
        )
    _check_not_flat(path, triangles[solid])
    volume, turned = 0.0, 0
    if adjacency is not None:
        triangles, volume, turned = _turned_out(triangles, adjacency)
    return Mesh(
        triangles=triangles[solid],
        watertight=adjacency is not None,
        volume=volume,
        degenerate=count - doubled - int(solid.sum()),
        file="".join(sign if sign.isprintable() else "?" for sign in path.name),
        unit=unit,
        doubled=doubled,
        turned=turned,
        sha256=said.sha256,
    )


def _let_go(count: int) -> None:
    """Free what the library's records hold in rings: gigabytes of a large mesh, little of a small.

    It takes a tenth of a second or more, whatever the size.
    """
    if count >= MANY_TRIANGLES:
        gc.collect()


def _used(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Leave out vertices that are no corner of a face."""
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces] = True
    return (vertices, faces) if used.all() else (vertices[used], (np.cumsum(used) - 1)[faces])


def _welded(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Make one of vertices that are the same to `DIGITS`: the first of them."""
    places = (vertices * 10**DIGITS).round().astype(np.int64)
    table = np.full(1 << (2 * len(places)).bit_length(), -1, dtype=np.int32)
    firsts, numbers = (np.empty(len(places), dtype=np.int64) for _ in range(2))
    found = weld(places, table, firsts, numbers)
    return vertices[firsts[:found]], numbers[faces]


def _adjacency(faces: NDArray[np.int64], corners: int) -> NDArray[np.int64] | None:
    """Return pairs (m, 2) of faces beside each other; None unless they close a body.

    They do if each side of a face is a side of one other, which passes it the other way.
    """
    after = np.roll(faces, -1, axis=1)
    there, back = (faces * corners + after).ravel(), (after * corners + faces).ravel()
    sorting = begun(lambda: np.argsort(back))
    order, opposite = np.argsort(there), sorting()
    there, back = there[order], back[opposite]
    once = (there[1:] != there[:-1]).all()
    return np.stack([order, opposite], axis=1) // 3 if once and (there == back).all() else None


def _first_of_each(faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mark faces but those that have corners and turn of one before them."""
    least = np.argmin(faces, axis=1)[:, None]
    from_least = np.take_along_axis(faces, (least + np.arange(3)) % 3, axis=1)
    _, first = np.unique(from_least, axis=0, return_index=True)
    marks = np.zeros(len(faces), dtype=np.bool_)
    marks[first] = True
    return marks


def _turned_out(
    triangles: NDArray[np.float64], adjacency: NDArray[np.int64]
) -> tuple[NDArray[np.float64], float, int]:
    """Turn each closed body right side out; return the volume of all and how many were turned.

    A hollow counts as ice: a bit from above leaves it full.
    """
    edges = np.ones(len(adjacency), dtype=np.bool_)
    linked = sparse.coo_array((edges, adjacency.T), shape=(len(triangles),) * 2)
    _, body = csgraph.connected_components(linked, directed=False)
    volumes = np.bincount(body, np.linalg.det(triangles)) / 6
    inside_out = (volumes < 0)[body]
    turned = np.where(inside_out[:, None, None], triangles[:, ::-1], triangles)
    return turned, float(np.abs(volumes).sum()), int((volumes < 0).sum())


def _load(path: Path) -> tuple[trimesh.Trimesh, Said]:
    """Let the library read the file, and no other that it names; any failure is a bad file."""
    kind = path.suffix.lower().lstrip(".")
    if kind not in KINDS:
        raise MeshError(f"{path} is no mesh this program reads; use one of: {', '.join(KINDS)}")
    if not os.path.isfile(path):
        raise MeshError(f"{path} does not exist or is no file; check the path of the sculpture")
    try:
        said = asked(path, kind)
        with path.open("rb") as file:
            scene = trimesh.load_scene(file, file_type=kind, process=False)
        # the one body of an STL stands where it is, all else is put there as a copy
        alone = kind == "stl" and len(scene.geometry) == 1
        loaded = next(iter(scene.geometry.values())) if alone else scene.to_mesh()
        found = len(loaded.faces)
        if found and not np.shape(loaded.vertices)[1:] == np.shape(loaded.faces)[1:] == (3,):
            raise ValueError("no triangles in space")
        # A face of a PLY may have four corners and become two.
        fewer = kind == "ply" and said.triangles is not None and found < said.triangles
        other = kind != "ply" and said.triangles not in (None, found)
        if fewer or other:
            raise MeshError(
                f"{path.name} cannot be read as {kind.upper()}: {found} of its {said.triangles} "
                "triangles were found; it was cut off or damaged, or nests too deep: export it "
                "again, or as STL"
            )
        return loaded, said
    except MeshError:
        raise
    except Exception as fault:
        raise MeshError(
            f"{path} cannot be read as {kind.upper()}: it is damaged, cut off, of another kind or "
            "closed to you; export the sculpture again"
        ) from fault


def _box(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least and greatest corner (3,) of the box around points (..., 3)."""
    axes = [points[..., axis] for axis in range(3)]  # of all at once it takes ten times as long
    return np.array([axis.min() for axis in axes]), np.array([axis.max() for axis in axes])


def _sides(triangles: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]


def _check_not_huge(path: Path, vertices: NDArray[np.float64], unit: str) -> None:
    low, high = _box(vertices)
    longest = (high - low).max()
    if longest > LARGEST_MM:
        raise MeshError(
            f"{path.name} would be {longest:.6g} mm long read in {unit}, more than "
            f"{LARGEST_MM:.0f} mm; set sculpture.unit to the unit it was exported in"
        )


def _check_not_flat(path: Path, triangles: NDArray[np.float64]) -> None:
    low, high = _box(triangles)
    size = high - low
    if size.min() <= 0:
        sides = " x ".join(f"{side:.6g}" for side in size)
        raise MeshError(f"{path.name} is flat ({sides} mm); give a sculpture of three dimensions")
