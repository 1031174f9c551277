"""`icecam bits` as the sculptor meets it: files, numbers, sentences, exit codes."""

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh

from icecam import cli

JOB = """
[block]
size = [70, 50, 24]
floor = 4
[sculpture]
fit = true
margin = 4
[quality]
detail = 0.4
cell = 0.4
"""


@pytest.fixture(scope="module")
def steps(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two boxes that meet in an inner edge, closed, as binary STL."""
    low = trimesh.creation.box((40.0, 30.0, 6.0))
    high = trimesh.creation.box((20.0, 30.0, 8.0)).apply_translation((-10.0, 0.0, 7.0))
    path = tmp_path_factory.mktemp("mesh") / "steps.stl"
    both = trimesh.util.concatenate([low, high])
    assert isinstance(both, trimesh.Trimesh)
    both.export(path)
    return path


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("job") / "job.toml"
    path.write_text(JOB)
    return path


@pytest.fixture(scope="module")
def asked(steps: Path, job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "steps-bits"
    assert cli.main(["bits", str(steps), "--job", str(job), "--out", str(out)]) == cli.CLEAN
    return out


def test_table_numbers_and_pictures_lie_there_and_nothing_else(asked: Path) -> None:
    names = {path.name for path in asked.iterdir()}
    assert names == {"bits.png", "bits.svg", "bits.json", "bits.txt"}
    assert (asked / "bits.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in (asked / "bits.svg").read_text()[:1000]
    assert not list(asked.parent.glob(".*"))


def test_an_inner_edge_by_hand(asked: Path) -> None:
    """By hand: balls leave ice along the edge between floor and wall, larger ones more.

    A ball r beside a wall leaves r - sqrt(r^2 - (r - y)^2) at y from it. Only the two boxes' inner
    edge is hollow, so all else is reached by every bit.
    """
    told = json.loads((asked / "bits.json").read_text())
    bits = {bit["name"]: bit for bit in told["bits"]}
    assert told["scallop_mm"]["left_frosted"] < told["scallop_mm"]["wiped_clear"]
    assert (
        f"quality.scallop is {told['scallop_mm']['asked']:g} mm" in (asked / "bits.txt").read_text()
    )
    balls = ["half-inch ball", "quarter-inch ball", "eighth-inch tapered ball"]
    alone = [bits[name]["alone_share"] for name in balls]
    assert alone == sorted(alone)
    assert 0.5 < alone[0] < alone[-1] < 1.0
    assert bits["half-inch flat"]["adds_share"] is None
    assert bits["half-inch ball"]["groove_mm"] == pytest.approx(12.7 + 2 * 0.03)
    r = 6.35
    width = r - np.sqrt(r * r - (r - 0.37) ** 2)
    scale = told["area_cm2"] * 100 / (40 * 30)
    missed = width / np.sqrt(scale) / 40
    assert 1 - alone[0] == pytest.approx(missed, abs=0.03)


def test_carve_takes_the_quickest_bits_unless_told_otherwise(
    steps: Path, job: Path, asked: Path, tmp_path: Path
) -> None:
    best = json.loads((asked / "bits.json").read_text())["best_ladder"]
    out = tmp_path / "out"
    arguments = ["carve", str(steps), "--job", str(job), "--out", str(out)]
    assert cli.main(arguments) == cli.CLEAN
    told = json.loads((out / "summary.json").read_text())
    used = [stage["bit"]["name"] for stage in told["stages"]] + told["unused_bits"]
    assert set(used) == {best["rough"], *best["finish"]}
    assert not set(used) & set(told["spared_bits"])
    assert cli.main([*arguments, "--force", "--all-bits"]) == cli.CLEAN
    all_told = json.loads((out / "summary.json").read_text())
    everything = [stage["bit"]["name"] for stage in all_told["stages"]] + all_told["unused_bits"]
    assert all_told["spared_bits"] == []
    assert set(everything) == set(used) | set(told["spared_bits"])


def test_the_same_numbers_are_printed_as_json(
    asked: Path, steps: Path, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["bits", str(steps), "--job", str(job), "--out", str(asked), "--force"]
    assert cli.main([*arguments, "--json"]) == cli.CLEAN
    printed = json.loads(capsys.readouterr().out)
    assert printed == json.loads((asked / "bits.json").read_text())
    assert cli.main(arguments) == cli.CLEAN
    text = capsys.readouterr().out
    assert text.startswith((asked / "bits.txt").read_text())
    for bit in printed["bits"]:
        row = next(line for line in text.splitlines() if line.strip().startswith(bit["name"]))
        assert f"{100 * bit['alone_share']:.1f}" in row
    assert max(len(line) for line in (asked / "bits.txt").read_text().splitlines()) <= 100


def test_an_existing_folder_stays_unless_forced(
    asked: Path, steps: Path, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (asked / "bits.json").read_bytes()
    arguments = ["bits", str(steps), "--job", str(job), "--out", str(asked)]
    assert cli.main(arguments) == cli.BAD_INPUT
    told = capsys.readouterr()
    assert "--force" in told.err
    assert told.out == ""
    assert (asked / "bits.json").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["none.stl"], "does not exist"),
        (["words.stl"], "words.stl"),
        (["{steps}", "--unit", "m"], "sculpture.unit"),
        (["{steps}", "--job", "none.toml"], "none.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(
    arguments: list[str],
    expected: str,
    steps: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "words.stl").write_text("this is no mesh")
    filled = [argument.format(steps=steps) for argument in arguments]
    assert cli.main(["bits", *filled]) == cli.BAD_INPUT
    told = capsys.readouterr()
    assert expected in told.err
    assert len(told.err.strip().splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["words.stl"]
