"""`icecam resume` and `icecam split` as the sculptor meets them."""

import json
import re
import shutil
from pathlib import Path

import pytest
import trimesh

from icecam import cli
from icecam.errors import OutputError
from icecam.report.folder import OURS, add

JOB = """
[block]
size = [70, 50, 24]
floor = 4
[block.precut]
heights = "stands.csv"
[sculpture]
fit = true
margin = 6
[quality]
scallop = 0.004
detail = 0.4
cell = 0.4
bits = "all"
[[rack]]
name = "half-inch flat"
shape = "flat"
diameter = "1/2 in"
flutes = 2
flute_length = "3 in"
shank = "1/2 in"
stick_out = 125
[[rack]]
name = "quarter-inch ball"
shape = "ball"
diameter = "1/4 in"
flutes = 2
flute_length = "1 1/2 in"
shank = "1/4 in"
stick_out = 75
"""
STANDS = "y \\\\ x,0,20,22,70\n0,8,8,24,24\n50,8,8,24,24\n"


@pytest.fixture(scope="module")
def carved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A dome out of a block of which a corner is gone; job, table and mesh are gone afterwards."""
    place = tmp_path_factory.mktemp("dome")
    trimesh.creation.icosphere(subdivisions=4, radius=14.0).export(place / "dome.stl")
    (place / "job.toml").write_text(JOB)
    (place / "stands.csv").write_text(STANDS.replace("\\\\", "\\"))
    out = tmp_path_factory.mktemp("out") / "dome-cut"
    arguments = ["carve", str(place / "dome.stl"), "--job", str(place / "job.toml")]
    assert cli.main([*arguments, "--out", str(out)]) == cli.CLEAN
    shutil.rmtree(place)
    return out


@pytest.fixture
def folder(carved: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(carved, tmp_path / "dome-cut"))


def _files(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.iterdir()}


def test_a_file_is_added_and_nothing_else_changes(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _files(folder)
    assert {"job.toml", "precut-heights.csv"} <= set(before)
    assert cli.main(["resume", str(folder), "--stage", "2", "--line", "500"]) == cli.CLEAN
    after = _files(folder)
    name = "2-finish-quarter-inch-ball-from-line-500.ngc"
    assert set(after) - set(before) == {name}
    assert {key: after[key] for key in before} == before
    said = capsys.readouterr().out
    assert name in said
    assert "rapids through ice: 0; shank, nut or spindle in ice: 0; limits broken: 0" in said
    assert "sculpture is not at hand" in said
    begins = re.search(r"goes on from line (\d+)", said)
    assert begins
    assert int(begins.group(1)) < 500
    assert OURS.fullmatch(name)


def test_a_file_that_is_there_is_not_replaced(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["resume", str(folder), "--stage", "2", "--line", "500"]
    assert cli.main(arguments) == cli.CLEAN
    before = _files(folder)
    assert cli.main([*arguments, "--overlap", "20"]) == cli.BAD_INPUT
    assert "exists already" in capsys.readouterr().err
    assert _files(folder) == before


def _split_minutes(folder: Path) -> tuple[int, str]:
    """Number of the longest stage, and nine tenths of its minutes; no stop, no warm-up."""
    rows = ("cutting", "slowed", "travel", "spindle_start")
    told = json.loads((folder / "summary.json").read_text())["stages"]
    minutes = [sum(stage["time"][f"{row}_minutes"] for row in rows) for stage in told]
    longest = max(minutes)
    return minutes.index(longest) + 1, f"{0.9 * longest:.3f}"


def test_split_then_stop_in_a_part(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    number, minutes = _split_minutes(folder)
    (file,) = folder.glob(f"{number}-*")
    assert cli.main(["split", str(folder), "--minutes", minutes]) == cli.CLEAN
    parts = sorted(path.name for path in folder.glob(f"{number}?-*"))
    assert parts[:2] == [f"{number}{letter}{file.name[1:]}" for letter in "ab"]
    assert all(OURS.fullmatch(name) for name in parts)
    assert "run them in the order of their letters" in capsys.readouterr().out
    lines = (folder / parts[1]).read_text().splitlines()
    shown = len(lines) // 2 + 1
    arguments = ["resume", str(folder), "--stage", f"{number}b", "--line", str(shown)]
    assert cli.main(arguments) == cli.CLEAN
    (new,) = folder.glob("*-from-line-*")
    line = int(re.findall(r"-from-line-(\d+)", new.name)[0])
    assert file.read_text().splitlines()[line - 1] == lines[shown - 1]


def test_parts_longer_than_any_stage_write_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _files(folder)
    assert cli.main(["split", str(folder), "--hours", "8"]) == cli.CLEAN
    assert "no stage takes longer" in capsys.readouterr().out
    assert _files(folder) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["resume", "--stage", "2", "--line", "999999"], "has lines 1 to"),
        (["resume", "--stage", "2", "--line", "3"], "cut nothing yet"),
        (["resume", "--stage", "7", "--line", "300"], "stages 1 to 2"),
        (["resume", "--stage", "2", "--time", "9:00"], "lies beyond"),
        (["resume", "--stage", "2", "--time", "soon"], "no time"),
        (["resume", "--stage", "2", "--at=500,0,10"], "nearest place is x"),
        (["resume", "--stage", "2", "--at=5,0"], "no place"),
        (["resume", "--stage", "2", "--line", "500", "--overlap", "-1"], "overlap"),
        (["resume", "--stage", "2", "--line", "500", "--sculpture", "none.stl"], "does not exist"),
        (["split", "--hours", "0"], "more than 0"),
        (["split", "--minutes", "0.3"], "too short"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(
    arguments: list[str], words: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _files(folder)
    command, *rest = arguments
    assert cli.main([command, str(folder), *rest]) == cli.BAD_INPUT
    told = capsys.readouterr().err
    assert words in told
    assert len(told.strip().splitlines()) == 1
    assert _files(folder) == before


@pytest.mark.parametrize("name", ["job.toml", "precut-heights.csv"])
@pytest.mark.parametrize("command", ["resume --stage 2 --line 500", "split --minutes 2"])
def test_another_job_than_carved_with_is_refused(
    command: str, name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One byte more, which changes nothing of what the file says."""
    (folder / name).write_bytes((folder / name).read_bytes() + b"\n")
    before = _files(folder)
    verb, *rest = command.split()
    assert cli.main([verb, str(folder), *rest]) == cli.BAD_INPUT
    told = capsys.readouterr().err
    assert f"{name} is not the file that was carved with" in told
    assert len(told.strip().splitlines()) == 1
    assert _files(folder) == before


def test_a_folder_that_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["split", str(tmp_path / "none"), "--hours", "4"]) == cli.BAD_INPUT
    assert "name a folder that `icecam carve` made" in capsys.readouterr().err


def test_refused_by_the_proof_is_exit_3_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A machine smaller than the one the job was carved for: the rest breaks a limit of travel.

    The summary is that of an older version, which holds no digest of the job.
    """
    job, summary = folder / "job.toml", folder / "summary.json"
    text = re.sub(r"travel = \[[\d.]+", "travel = [70.0", job.read_text())
    job.write_text(text)
    told = json.loads(summary.read_text())
    del told["job"]
    summary.write_text(json.dumps(told))
    before = _files(folder)
    assert cli.main(["resume", str(folder), "--stage", "1", "--line", "60"]) == cli.REFUSED
    said = capsys.readouterr().out
    assert "REFUSED: nothing was written" in said
    assert "travel" in said
    assert _files(folder) == before


def test_all_or_none_is_added(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of two files cannot be put there: the first goes as well."""
    rename = Path.rename
    monkeypatch.setattr(
        Path, "rename", lambda self, to: _full() if to.name == "b.ngc" else rename(self, to)
    )
    with pytest.raises(OutputError, match="No space left"):
        add(tmp_path, {"a.ngc": b"1", "b.ngc": b"2"})
    assert list(tmp_path.iterdir()) == []


def _full() -> None:
    raise OSError(28, "No space left on device")


def test_a_folder_with_rests_and_parts_may_be_carved_anew(folder: Path) -> None:
    assert cli.main(["resume", str(folder), "--stage", "2", "--line", "500"]) == cli.CLEAN
    assert cli.main(["split", str(folder), "--minutes", _split_minutes(folder)[1]]) == cli.CLEAN
    assert all(OURS.fullmatch(path.name) for path in folder.iterdir())
