"""Jobs at the edge of sense: told in one sentence, or carved and clean, never a crash."""

import json
from pathlib import Path

import pytest
import trimesh

from icecam.cli import main

pytestmark = pytest.mark.usefixtures("unpictured")

JOB = """
[block]
size = [60, 50, 25]
floor = 2
[quality]
detail = 0.4
scallop = 0.2
cell = 0.3
"""
VEE = """
[[rack]]
name = "1/2 vee"
shape = "vee"
diameter = 0
taper_deg = 30
flutes = 2
flute_length = 12
shank = 12
stick_out = 70
"""
FLAT = """
[[rack]]
name = "3/8 flat"
shape = "flat"
diameter = 9.525
flutes = 2
flute_length = 30
shank = 9.525
stick_out = 70
"""


def run(folder: Path, mesh: trimesh.Trimesh, job: str) -> int:
    mesh.export(folder / "body.stl")
    (folder / "job.toml").write_text(job)
    body, job_file, out = (str(folder / name) for name in ("body.stl", "job.toml", "cut"))
    return main(["carve", body, "--job", job_file, "--out", out])


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (trimesh.creation.icosphere(radius=1e-4), "0.0002 mm at its longest"),
        (trimesh.creation.box((0.1, 0.1, 9)), "meets none of the proof's cells"),
        (trimesh.creation.box((60, 50, 23)), "finds ice to take off"),
    ],
)
def test_nothing_to_carve(
    body: trimesh.Trimesh, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(tmp_path, body, JOB) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert not (tmp_path / "cut").exists()


@pytest.mark.parametrize("rack", [VEE, FLAT])
def test_a_rack_of_one_bit_does_it_all(rack: str, tmp_path: Path) -> None:
    """A point has no diameter to step by; a flat tip leaves kinks that chords must not cut."""
    bowl = trimesh.creation.revolve([[0, 0], [8, 0], [8, 8], [6, 8], [3, 5], [0, 4]])
    small = JOB.replace("[60, 50, 25]", "[36, 32, 12]")
    assert run(tmp_path, bowl, small + rack) == 0
    assert len(list((tmp_path / "cut").glob("*-finish-*"))) == 1


def test_arcs_where_they_are_wanted(tmp_path: Path) -> None:
    """A round column: roughing goes round it in arcs, or in straight moves if the job says so."""
    column = trimesh.creation.cylinder(radius=12, height=20, sections=180)
    words = {}
    for wanted in ("true", "false"):
        folder = tmp_path / wanted
        folder.mkdir()
        assert run(folder, column, f"{JOB}[output]\narcs = {wanted}\n") == 0
        told = json.loads((folder / "cut" / "summary.json").read_text())
        rough = told["stages"][0]
        text = (folder / "cut" / rough["file"]).read_text()
        words[wanted] = sum(" I" in line for line in text.splitlines() if line[0] != "(")
        assert words[wanted] == rough["arcs"]
    assert words["true"] > 20
    assert words["false"] == 0
