"""Open data and a demo sculpture from the mesh to files that are proven, and proven once more.

The files are read and carved a second time by `from_text`, which shares nothing with the project.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from icecam.cli import main
from icecam.job.file import load
from tests.geometry.bits import solid_of
from tests.plan import open_data
from tests.plan.from_text import inset, lowest_over, moves_of, samples
from tests.published.nistir6556 import check

Floats = NDArray[np.float64]

JOB = """
project = "test"
[block]
size = ["{0} mm", "{1} mm", "{2} mm"]
floor = "4 mm"
[quality]
scallop = "0.15 mm"
detail = "0.4 mm"
cell = "0.25 mm"
[output]
dialect = "{3}"
"""
GOUGE_MM = 0.05
OWL = Path(__file__).parents[2] / "models" / "owl.stl"
SMALL = {
    "mountains": (open_data.mountains, 72.0, 24.0, (88, 76, 38)),
    "coins": (open_data.coins, 100.0, 6.0, (110, 90, 20)),
}


def carve(
    folder: Path, mesh: Path, block: tuple[int, int, int], *, dialect: str = "plain", more: str = ""
) -> tuple[Path, dict[str, Any]]:
    job = folder / "job.toml"
    job.write_text(JOB.format(*block, dialect) + more)
    out = folder / "cut"
    assert main(["carve", str(mesh), "--job", str(job), "--out", str(out)]) == 0
    return out, json.loads((out / "summary.json").read_text())


@pytest.fixture(scope="module", params=SMALL)
def carved(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, dict[str, Any], trimesh.Trimesh]:
    make, wide, tall, block = SMALL[request.param]
    folder = tmp_path_factory.mktemp(request.param)
    mesh = make(wide, tall)
    mesh.export(folder / f"{request.param}.stl")
    return *carve(folder, folder / f"{request.param}.stl", block), mesh


def in_block(told: dict[str, Any], points: Floats) -> Floats:
    """Return points of the mesh in the block, by the matrix of the summary."""
    matrix = np.array(told["sculpture"]["to_block"])
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def upper_side(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """Return the relief without its walls and underside."""
    upper = mesh.submesh([np.flatnonzero(mesh.face_normals[:, 2] > 1e-6)], append=True)
    assert isinstance(upper, trimesh.Trimesh)
    return upper


def test_open_data_is_carved_clean(carved: tuple[Path, dict[str, Any], trimesh.Trimesh]) -> None:
    """Volumes by the mesh library: what is gone and what stays must make up the block."""
    out, told, mesh = carved
    proof = told["proof"]
    assert proof["deepest_gouge_mm"] <= GOUGE_MM
    assert (proof["rapid_hits"], proof["contacts"], proof["limits_broken"]) == (0, 0, [])
    assert proof["reachable_within_tolerance"] > 0.97
    assert told["sculpture"]["watertight"]
    assert told["sculpture"]["volume_litres"] == pytest.approx(mesh.volume / 1e6, abs=1e-4)
    block = np.prod(told["block"]["size_mm"]) / 1e6
    assert told["totals"]["removed_litres"] < block - told["sculpture"]["volume_litres"]
    for stage in told["stages"]:
        check((out / stage["file"]).read_text())


def test_no_cut_goes_below_the_data(carved: tuple[Path, dict[str, Any], trimesh.Trimesh]) -> None:
    """At four thousand places along the cuts no corner of the data lies 0.05 mm deep in the bit."""
    out, told, mesh = carved
    nodes = in_block(told, upper_side(mesh).vertices)
    rack = {bit.name: bit for bit in load(None).rack}
    random = np.random.default_rng(6)
    for stage in told["stages"]:
        points, cuts = moves_of(out / stage["file"])
        tips = samples(points, cuts)
        tips = tips[random.choice(len(tips), min(4000, len(tips)), replace=False)]
        inner = inset(solid_of(rack[stage["bit"]["name"]]), GOUGE_MM)
        # the bit's inside over a node less the node: the same search with both turned over
        upside = np.column_stack([nodes[:, :2], -nodes[:, 2]])
        clear = tips[:, 2] + GOUGE_MM + lowest_over(tips[:, :2], upside, inner, 1e9)
        assert clear.min() >= 0.0, stage["name"]


def test_what_stands_after_all_stages(carved: tuple[Path, dict[str, Any], trimesh.Trimesh]) -> None:
    """The ice over two thousand places of the data, by every move of every file."""
    out, told, mesh = carved
    rack = {bit.name: bit for bit in load(None).rack}
    dense = in_block(told, trimesh.sample.sample_surface(upper_side(mesh), 300_000, seed=7)[0])
    inner = np.ptp(dense[:, :2], axis=0) / 2 - 4.0
    nodes = dense[(np.abs(dense[:, :2] - dense[:, :2].mean(axis=0)) < inner).all(axis=1)][:2000]
    ice = np.full(len(nodes), told["block"]["size_mm"][2])
    core = ice.copy()
    for stage in told["stages"]:
        points, cuts = moves_of(out / stage["file"])
        solid = solid_of(rack[stage["bit"]["name"]])
        tips = samples(points, cuts)
        ice = np.minimum(ice, lowest_over(nodes[:, :2], tips, solid, np.inf))
        inner = lowest_over(nodes[:, :2], tips, inset(solid, GOUGE_MM), np.inf)
        core = np.minimum(core, inner + GOUGE_MM)
    assert (core >= nodes[:, 2]).all()
    # to the nearest of many places, some 0.2 mm apart, which is a little more than to the surface
    near, _ = cKDTree(dense).query(np.column_stack([nodes[:, :2], ice]))
    proof = told["proof"]
    said = proof["reachable_within_tolerance"] * (1 - proof["unreachable_share"])
    assert np.count_nonzero(near <= 0.4 + 0.05) / len(nodes) > said - 0.02
    assert np.median(near) < 0.4


def test_same_bytes_on_one_core_and_two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = []
    for cores in (1, 2):
        folder = tmp_path / str(cores)
        folder.mkdir()
        monkeypatch.setattr("os.cpu_count", lambda cores=cores: cores)
        open_data.coins(40.0, 3.0).export(folder / "coins.stl")
        out, _ = carve(folder, folder / "coins.stl", (50, 43, 11))
        found.append({file.name: file.read_bytes() for file in out.iterdir()})
    assert found[0] == found[1]


@pytest.mark.parametrize("dialect", ["plain", "numbered-inch", "lean"])
def test_a_figure_in_every_dialect(tmp_path: Path, dialect: str) -> None:
    """The owl at a sixth of its size, as one would try it on a scrap of ice."""
    more = '[sculpture]\nup = "front"\nscale = 0.16\n'
    out, told = carve(tmp_path, OWL, (53, 68, 37), dialect=dialect, more=more)
    assert told["proof"]["deepest_gouge_mm"] <= GOUGE_MM
    assert {stage["units"] for stage in told["stages"]} == {"in" if "inch" in dialect else "mm"}
    if dialect != "lean":
        for stage in told["stages"]:
            check((out / stage["file"]).read_text())
