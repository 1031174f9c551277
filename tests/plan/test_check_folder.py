"""A finished folder checked whole: its files against their digests (FIPS 180-4), what they do."""

import json
import re
import shutil
from pathlib import Path

import pytest
import trimesh

from icecam import cli

pytestmark = pytest.mark.usefixtures("unpictured")

JOB = """
[block]
size = [60, 50, 24]
floor = 2
[sculpture]
margin = 4
[quality]
detail = 0.4
scallop = 0.3
cell = 0.4
bits = "all"
[[rack]]
name = "wide flat"
shape = "flat"
diameter = 12
flutes = 2
flute_length = 30
shank = 12
stick_out = 70
[[rack]]
name = "small ball"
shape = "ball"
diameter = 6
flutes = 2
flute_length = 20
shank = 6
stick_out = 60
"""


@pytest.fixture(scope="module", params=["", "[output]\none_file = true\n"])
def carved(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Path:
    """Hold a bell and the folder that carves it, side by side."""
    place = tmp_path_factory.mktemp("folder")
    bell = trimesh.creation.revolve([[0, 0], [14, 0], [14, 5], [9, 9], [6, 14], [0, 14]])
    bell.export(place / "bell.stl")
    (place / "job.toml").write_text(JOB + request.param)
    arguments = ["carve", str(place / "bell.stl"), "--job", str(place / "job.toml")]
    assert cli.main([*arguments, "--out", str(place / "cut")]) == cli.CLEAN
    (place / "job.toml").unlink()
    return place


@pytest.fixture
def place(carved: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(carved, tmp_path / "copy"))


def checked(*arguments: object) -> int:
    return cli.main(["check", *(str(each) for each in arguments)])


def last_file(place: Path) -> Path:
    return sorted((place / "cut").glob("*.ngc"))[-1]


def test_a_folder_as_carved_is_clean(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Job, order, bits and sculpture come from the folder; without the mesh it is not called so."""
    assert checked(place / "cut") == cli.CLEAN
    said = capsys.readouterr().out
    assert "clean: no fault found" in said
    assert "proven" not in said
    (place / "bell.stl").unlink()
    assert checked(place / "cut") == cli.CLEAN
    assert "held against no sculpture" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (r"F(\d)", "F9"),  # a feed is raised
        (r"\(s", "(S"),  # a comment
        (r"(Z\d+\.\d)[1-8]", r"\g<1>9"),  # some hundredths of a millimetre
    ],
    ids=["feed", "comment", "place"],
)
def test_one_byte_is_told_and_the_file_is_looked_at_all_the_same(
    old: str, new: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = last_file(place)
    before = file.read_bytes()
    after = re.sub(old, new, before.decode(), count=1).encode()
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1
    file.write_bytes(after)
    assert checked(place / "cut", "--out", place / "seen") == cli.REFUSED
    said = capsys.readouterr().out
    told = [line for line in said.splitlines() if "is not the file that was proven" in line]
    assert len(told) == 1
    assert re.match(rf"refused: \S+: {file.name} is not the file that was proven", told[0])
    assert "REFUSED: do not run" in said
    assert "deepest cut into the sculpture" in said
    summary = json.loads((place / "seen" / "summary.json").read_text())
    assert summary["clean"] is False
    assert len(summary["proof"]["limits_broken"]) == 1
    assert b"is not the file that was proven" in (place / "seen" / "job.html").read_bytes()


def test_another_job_is_told_and_the_files_are_looked_at_all_the_same(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = place / "cut" / "job.toml"
    job.write_bytes(job.read_bytes() + b"\n")
    assert checked(place / "cut") == cli.REFUSED
    said = capsys.readouterr().out
    told = [line for line in said.splitlines() if "is not the file that was carved with" in line]
    assert len(told) == 1
    assert re.match(r"refused: \S+: job\.toml is not the file that was carved with", told[0])
    assert "deepest cut into the sculpture" in said
    summary = place / "cut" / "summary.json"
    older = json.loads(summary.read_text())
    del older["job"]
    summary.write_text(json.dumps(older))
    assert checked(place / "cut") == cli.CLEAN


@pytest.mark.parametrize("given", [False, True])
def test_one_byte_of_the_sculpture(
    given: bool, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside the folder or named; the byte is the attribute of a triangle, which changes no ice."""
    mesh = bytearray((place / "bell.stl").read_bytes())
    mesh[84 + 48] ^= 1
    name = "other.stl" if given else "bell.stl"
    (place / name).write_bytes(mesh)
    more = ("--sculpture", place / name) if given else ()
    assert checked(place / "cut", *more) == cli.REFUSED
    said = capsys.readouterr().out
    assert said.count(f"{name} is not the sculpture that was carved") == 1


def test_folders_that_cannot_be_checked(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def refused(*arguments: object) -> str:
        assert checked(*arguments) == cli.BAD_INPUT
        told = capsys.readouterr().err
        assert told.count("\n") == 1
        return told

    assert "whose job is settled" in refused(place / "cut", "--up", "front")
    assert "needs --job" in refused(place)
    assert checked(place / "cut", "--out", place / "seen") == cli.CLEAN
    capsys.readouterr()
    assert "holds no job.toml" in refused(place / "seen")
    file = last_file(place)
    file.rename(place / "away")
    assert f"{file.name} cannot be read" in refused(place / "cut")
    (place / "away").rename(file)
    (place / "cut" / "summary.json").write_text('{"stages": [{}]}')
    assert "does not hold what `icecam carve` writes" in refused(place / "cut")
