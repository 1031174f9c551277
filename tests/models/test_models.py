"""The committed sculptures are what models/README.md says and what models/make.py makes.

Measured by trimesh (Dawson-Haggerty and others), which reads the files on its own.
"""

import subprocess
import sys
from functools import cache
from pathlib import Path

import igl  # type: ignore[import-untyped]
import numpy as np
import pytest
import trimesh

MODELS = Path(__file__).parents[2] / "models"
BLOCK_MM = (1016.0, 508.0, 254.0)  # common practice, no source: a clear block 40 x 20 x 10 in
LARGEST_BYTES = 6_000_000


def _table() -> dict[str, list[str]]:
    lines = (MODELS / "README.md").read_text().splitlines()
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if "|" in line]
    return {row[0]: row for row in rows if row[0].endswith(".stl")}


TABLE = _table()
NAMES = sorted(TABLE)


@cache
def _mesh(name: str, folder: Path = MODELS) -> trimesh.Trimesh:
    mesh = trimesh.load(folder / name)
    assert isinstance(mesh, trimesh.Trimesh)
    return mesh


def test_table_names_every_sculpture() -> None:
    assert sorted(path.name for path in MODELS.glob("*.stl")) == NAMES
    assert len(NAMES) == 3


@pytest.mark.parametrize("name", NAMES)
def test_file_is_one_closed_body(name: str) -> None:
    mesh = _mesh(name)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    assert mesh.volume > 0
    assert mesh.area_faces.min() > 1e-9  # mm2; a triangle without area has no direction
    assert TABLE[name][7] == "yes"


@pytest.mark.parametrize("name", NAMES)
def test_file_is_binary_and_small(name: str) -> None:
    # binary STL: 80 bytes of heading, a count of 4, then 50 a triangle (the format's definition)
    size = (MODELS / name).stat().st_size
    assert size == 84 + 50 * len(_mesh(name).faces)
    assert size <= LARGEST_BYTES


@pytest.mark.parametrize("name", NAMES)
def test_table_shows_measured_values(name: str) -> None:
    mesh = _mesh(name)
    _, _, _, origin, bounds, litres, triangles, _ = TABLE[name]
    assert origin == "made by models/make.py"
    assert bounds == " x ".join(f"{size:.1f}" for size in mesh.extents)
    assert litres == f"{mesh.volume / 1e6:.3f}"
    assert triangles == str(len(mesh.faces))


@pytest.mark.parametrize("name", NAMES)
def test_piece_fits_the_block_as_it_will_lie(name: str) -> None:
    x, y, z = _mesh(name).extents
    length, width, height = {"front": (x, z, y), "top": (x, y, z)}[TABLE[name][2]]
    margin = 25.0  # common practice, no source: the rim of a block is left for holding
    assert length <= BLOCK_MM[0] - margin
    assert width <= BLOCK_MM[1] - margin
    assert height <= BLOCK_MM[2] - margin


NODES = """
import sys
import numpy as np
import panel
x, y = np.meshgrid(np.arange(0, panel.WIDTH, 2.5), np.arange(0, panel.HEIGHT, 2.5))
corners = np.load(sys.argv[1])[:, :2] + [panel.WIDTH / 2, panel.HEIGHT / 2]
points = np.column_stack([np.append(x, corners[:, 0]), np.append(y, corners[:, 1])])
z = panel.height(*points.T)
np.save(sys.argv[1], np.column_stack([points - [panel.WIDTH / 2, panel.HEIGHT / 2], z]))
"""


def test_committed_panel_lies_on_what_the_script_thins_out(tmp_path: Path) -> None:
    """Distances by libigl from heights 2.5 mm apart, and of the corners straight up or down.

    Thinning moves what matters least: 0.3 mm at most, 0.01 mm in the middle, as measured. A corner
    at an upright step may stand on its other side.
    """
    mesh = _mesh("panel.stl")
    file = tmp_path / "points.npy"
    corners = mesh.vertices[mesh.vertices[:, 2] > 1.0]
    np.save(file, corners)
    subprocess.run([sys.executable, "-c", NODES, str(file)], check=True, cwd=MODELS)
    points = np.load(file)
    nodes, above = points[: -len(corners)], points[-len(corners) :, 2]
    squared, _, _ = igl.point_mesh_squared_distance(
        nodes, np.asarray(mesh.vertices), np.asarray(mesh.faces)
    )
    assert len(nodes) == 168 * 120
    assert np.sqrt(squared.max()) < 0.3
    assert np.median(np.sqrt(squared)) < 0.01
    off = np.abs(above - corners[:, 2])
    assert np.median(off) < 0.01
    assert np.quantile(off, 0.99) < 0.15


@pytest.mark.long
def test_script_makes_the_committed_panel(tmp_path: Path) -> None:
    # the fastest piece; another processor may differ in the last printed digit, hence 1e-4 mm
    subprocess.run(
        [sys.executable, str(MODELS / "make.py"), "panel", "--into", str(tmp_path)], check=True
    )
    made, kept = _mesh("panel.stl", tmp_path), _mesh("panel.stl")
    assert len(made.faces) == len(kept.faces)
    assert np.abs(made.triangles - kept.triangles).max() < 1e-4


def test_script_refuses_an_unknown_name(tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, str(MODELS / "make.py"), "heron", "--into", str(tmp_path)],
        check=False,
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 2
    assert "no piece is called 'heron'" in ran.stderr
    assert not list(tmp_path.iterdir())
