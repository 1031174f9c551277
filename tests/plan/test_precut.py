"""Jobs on a block that was cut before: planned, proven on what stands and on less, or refused."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

import pytest
import trimesh
from scipy import ndimage

from icecam.choose.cost import rough_volume
from icecam.choose.draft import draft
from icecam.cli import main
from icecam.estimate.runtime import runtime
from icecam.geometry.field import HeightField
from icecam.geometry.precut import read_remains
from icecam.geometry.walls import no_walls
from icecam.job.file import load
from icecam.job.records import Job, Precut, Sawn
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.standing import coarse
from icecam.paths.toolpath import CUT, Toolpath
from icecam.plan import Scene, _Proving, _written, held_against, set_up
from icecam.proving import StageResult, asked_by, judged

OWL = Path(__file__).parents[2] / "models" / "owl.stl"
Clear = Literal["moat", "block"]
X, Y, Z = 300.0, 380.0, 205.0
SAWN = (
    Sawn(through=((100, 0, 0), (0, 100, 0), (0, 100, Z)), gone=(0, 0, 0)),
    Sawn(through=((X - 100, Y, 0), (X, Y - 100, 0), (X, Y - 100, Z)), gone=(X, Y, 0)),
    Sawn(through=((0, 0, Z - 60), (X, 0, Z - 60), (X, 40, Z)), gone=(0, 0, Z)),
    Sawn(through=((0, Y - 45, Z), (X, Y - 45, Z), (X, Y, Z - 80)), gone=(0, Y, Z)),
)


def owl_job(sawn: tuple[Sawn, ...], clear: Clear) -> Job:
    job = load(None)
    return replace(
        job,
        block=replace(job.block, size=(X, Y, Z), precut=Precut(sawn=sawn)),
        sculpture=replace(job.sculpture, up="front"),
        quality=replace(job.quality, cell=0.5),
        roughing=replace(job.roughing, clear=clear),
    )


def proved(scene: Scene, stage: Stage, path: Toolpath, ice: HeightField) -> StageResult:
    """A stage written, read back and proven on given ice."""
    tried = _written(_Proving(stage, scene, ice, no_walls()), path)
    held = held_against(scene, no_walls())
    return judged(tried, asked_by(tried, scene.job), ice, scene.job, held)


@cache
def roughed(sawn: tuple[Sawn, ...], clear: Clear) -> tuple[Scene, StageResult]:
    scene = set_up(OWL, owl_job(sawn, clear))
    stage = ladder(scene.job)[0]
    triangles = scene.placed.mesh.triangles
    path = rough_stage(stage, scene.job, triangles, scene.wanted, scene.ice).path
    return scene, proved(scene, stage, path, scene.ice)


def air_share(result: StageResult) -> float:
    cut, length = result.path.kind == CUT, result.path.lengths
    return float(length[cut & (result.carved.removed <= 0)].sum() / length[cut].sum())


@pytest.mark.parametrize(("clear", "least"), [("moat", 0.05), ("block", 0.10)])
def test_the_owl_out_of_a_sawn_block_is_roughed_sooner(clear: Clear, least: float) -> None:
    """Corners of 100 mm and two upper edges are gone: 2.3 of 23 litres, more of what is cleared."""
    (scene, whole), (cut_scene, cut) = roughed((), clear), roughed(SAWN, clear)
    assert whole.clean
    assert cut.clean
    minutes = [runtime(each.path, scene.job.machine).total / 60 for each in (whole, cut)]
    assert minutes[1] < (1 - least) * minutes[0]
    assert air_share(cut) < air_share(whole) + 0.01
    exact = read_remains(cut_scene.job.block).heights(cut_scene.ice.grid, 0.0)
    assert proved(cut_scene, cut.stage, cut.planned, exact).clean


JOB = """
[block]
size = [90, 110, 56]
floor = 4
precut_margin = 2
[block.precut]
{0}
[sculpture]
up = "front"
scale = 0.25
[quality]
scallop = 0.2
detail = 0.4
cell = 0.3
bits = "all"
"""
CORNER = "sawn = [{through = [[32, 0, 0], [0, 32, 0], [0, 32, 56]], gone = [0, 0, 0]}]"


def job_file(folder: Path, precut: str) -> Path:
    path = folder / "job.toml"
    path.write_text(JOB.format(precut))
    return path


def test_a_whole_job_on_a_sawn_block(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A corner of 32 x 32 x 56 mm, less the margin: (32 - 2 sqrt 2)^2 / 2 * 56 mm3 (a prism)."""
    job = job_file(tmp_path, CORNER)
    out = tmp_path / "cut"
    assert main(["carve", str(OWL), "--job", str(job), "--out", str(out)]) == 0
    told = json.loads((out / "summary.json").read_text())
    litres = (32 - 2 * 2**0.5) ** 2 / 2 * 56 * 1e-6
    assert told["block"]["precut_litres"] == pytest.approx(litres, rel=0.02)
    assert told["block"]["precut_margin_mm"] == 2.0
    # ice of 918.9 kg/m3 at -10 degC, as in tests/published/ice_density.toml
    mass = (90 * 110 * 56 * 1e-6 - litres) * 0.9189
    assert told["block"]["mass_kg"] == pytest.approx(mass, rel=2e-3)
    assert told["keeping"]["block_lift"]["mass_kg"] == pytest.approx(mass, rel=2e-3)
    assert "gone before" in " ".join(capsys.readouterr().out.split())
    first = (out / told["stages"][0]["file"]).read_text()
    assert "litres of the block are gone before" in first
    assert told["clean"]


def test_a_sculpture_in_a_saw_cut_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The owl, 48 mm wide in the middle of 90, is cut at x = 60: 9 mm of it (geometry)."""
    sawn = "sawn = [{through = [[60, 0, 0], [60, 9, 0], [60, 0, 9]], gone = [90, 0, 0]}]"
    job = job_file(tmp_path, sawn)
    assert main(["carve", str(OWL), "--job", str(job), "--out", str(tmp_path / "cut")]) == 2
    said = capsys.readouterr().err
    assert "out of the ice that block.precut leaves, at x 69" in said
    reach = float(said.split("reaches ")[1].split()[0])
    assert reach == pytest.approx(45 + 192.13 / 8 - 60, abs=0.5)
    assert said.count("\n") == 1
    assert not (tmp_path / "cut").exists()


def test_files_lie_beside_the_job_and_bad_ones_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    half = trimesh.creation.box(bounds=[[0, 0, 0], [90, 110, 50]])
    half.export(tmp_path / "half.stl")
    (tmp_path / "heights.csv").write_text("y \\ x,0,90\n0,50,50\n110,50,56\n")
    named = load(job_file(tmp_path, 'mesh = "half.stl"\nheights = "heights.csv"')).block
    assert named.precut.mesh == str(tmp_path / "half.stl")
    assert read_remains(named).surfaces[1].boxes().sides[0, 4] == 56.0
    job = job_file(tmp_path, 'mesh = "other.stl"')
    assert main(["hours", str(OWL), "--job", str(job)]) == 2
    said = capsys.readouterr().err
    assert "block.precut.mesh cannot be used" in said
    assert said.count("\n") == 1


def test_a_second_job_on_what_the_first_left(tmp_path: Path) -> None:
    """The block as roughed, its heights written down on lines 2 mm apart: less is left to take."""
    job = replace(
        load(job_file(tmp_path, "")), roughing=replace(load(None).roughing, clear="block")
    )
    scene = set_up(OWL, job)
    first = draft(scene)
    squares = coarse(first[0].ice)
    heights = ndimage.maximum_filter(squares.heights, 3)
    x, y = squares.grid.x, squares.grid.y
    x[[0, -1]], y[[0, -1]] = (0.0, 90.0), (0.0, 110.0)
    rows = [["", *x], *([at, *row] for at, row in zip(y, heights, strict=True))]
    text = "\n".join(",".join(str(cell) for cell in row) for row in rows)
    (tmp_path / "left.csv").write_text(text)
    block = load(job_file(tmp_path, 'heights = "left.csv"')).block
    after = set_up(OWL, replace(job, block=block))
    second = draft(after)
    litres = [sum(done.ice_litres for done in found) for found in (first, second)]
    assert litres[1] < 0.6 * litres[0]
    assert second[0].seconds.total < 0.9 * first[0].seconds.total
    stage = second[0].stage
    for ice in (first[0].ice, after.ice):
        assert proved(after, stage, second[0].path, ice).clean
    assert rough_volume(after, stage) < 0.6 * rough_volume(scene, stage)
