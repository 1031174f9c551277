"""Files run as they lie on the disk: ours anew, in a wrong order, and written by hand elsewhere."""

import json
import zlib
from pathlib import Path
from typing import Any

import pytest
import trimesh

from icecam import cli
from icecam.viewer.embed import KEPT_AWAY, MARK, SHIFT

JOB = """
project = "hand-written"
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
OUTPUTS = {
    "job": "",
    "one": "[output]\none_file = true\n",
    "lean": '[output]\ndialect = "lean"\n',
    "inch": '[output]\ndialect = "numbered-inch"\n',
}
STAGE_KEYS = ("minutes", "removed_litres", "moves", "arcs", "cut_length_m", "proof", "time", "load")
BY_HAND = """%
(a groove and a round pocket, in inches, zero at the bed)
N10 G20 G90 G17 ; absolute
N20 T1 M6
N30 S12000 M3
N40 G4 P2
N50 G0 Z2
N60 X0.5 Y1
N70 G1 Z0.8 F20
N80 G2 X0.7 Y1.2 I0.2 J0 F60
N90 G3 X0.9 Y1 R0.2
N100 M8
N110 G91 G1 X0.2
N120 G90 G0 Z2
N130 M9
N140 M5
N150 M30
%
"""


def _bell() -> trimesh.Trimesh:
    return trimesh.creation.revolve([[0, 0], [14, 0], [14, 5], [9, 9], [6, 14], [0, 14]])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Hold a bell, a job, the files that carve it, and the same in one file."""
    place = tmp_path_factory.mktemp("check")
    _bell().export(place / "bell.stl")
    for name, more in OUTPUTS.items():
        job = place / f"{name}.toml"
        job.write_text(JOB + more)
        body, out = str(place / "bell.stl"), str(place / f"{name}-cut")
        assert cli.main(["carve", body, "--job", str(job), "--out", out]) == cli.CLEAN
    return place


def cut_files(folder: Path, name: str = "job-cut") -> list[str]:
    files = {stage["file"] for stage in told(folder / name)["stages"]}
    return [str(folder / name / file) for file in sorted(files)]


def check(folder: Path, files: list[str], *more: str, held: bool = True) -> int:
    mesh = ["--sculpture", str(folder / "bell.stl")] if held else []
    return cli.main(["check", *files, "--job", str(folder / "job.toml"), *mesh, *more])


def told(folder: Path) -> dict[str, Any]:
    summary: dict[str, Any] = json.loads((folder / "summary.json").read_text())
    return summary


@pytest.mark.parametrize("name", OUTPUTS)
def test_what_carve_said_is_said_again(folder: Path, name: str, tmp_path: Path) -> None:
    """The files alone, read from the disk, give what the summary beside them says."""
    out = tmp_path / "again"
    files = cut_files(folder, f"{name}-cut")
    body, job = str(folder / "bell.stl"), str(folder / f"{name}.toml")
    arguments = [*files, "--job", job, "--sculpture", body, "--out", str(out)]
    assert cli.main(["check", *arguments]) == cli.CLEAN
    before, again = told(folder / f"{name}-cut"), told(out)
    assert len(again["stages"]) == 2
    for old, new in zip(before["stages"], again["stages"], strict=True):
        assert {key: new[key] for key in STAGE_KEYS} == {key: old[key] for key in STAGE_KEYS}
        assert (new["name"], new["file"]) == (old["name"], old["file"])
    for key in ("proof", "hours", "totals", "clean", "sculpture"):
        assert again[key] == before[key]
    assert [each for each in again["warnings"] if "not planned here" not in each] == (
        before["warnings"]
    )
    assert len(again["warnings"]) == len(before["warnings"]) + 1
    pictures = {"from-above.png", "load-and-hours.png", "load-and-hours.svg"}
    assert {path.name for path in out.iterdir()} == {"summary.json", "job.html"} | pictures
    assert (out / "job.html").stat().st_size > 100_000


@pytest.mark.usefixtures("unpictured")
def test_feeds_and_speeds_are_those_of_the_file(folder: Path, tmp_path: Path) -> None:
    """Twice the turns in the text, half the chip: feed = rpm * flutes * chip (definition)."""
    text = Path(cut_files(folder)[0]).read_text()
    assert "S18000" in text
    slow = tmp_path / "slow.ngc"
    slow.write_text(text.replace("S18000", "S9000"))
    outs = [tmp_path / "as-it-was", tmp_path / "slower"]
    for file, out in zip((cut_files(folder)[0], str(slow)), outs, strict=True):
        assert check(folder, [file], "--out", str(out), held=False) == cli.CLEAN
    fast, slower = (told(out)["stages"][0] for out in outs)
    assert (fast["spindle_rpm"], slower["spindle_rpm"]) == (18000, 9000)
    assert slower["feed_mm_min"] == fast["feed_mm_min"]
    assert slower["chip_load_mm"] == pytest.approx(2 * fast["chip_load_mm"], abs=2e-4)
    assert slower["feed_mm_min"] == pytest.approx(9000 * 2 * slower["chip_load_mm"], rel=1e-3)


@pytest.mark.usefixtures("unpictured")
def test_swapped_files_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two bells: the ball goes from one to the other by rapids, where the ice still stands.

    Round one alone it would never leave the ice.
    """
    bells = [_bell(), _bell().apply_translation([40, 30, 0])]
    trimesh.Scene(bells).to_mesh().export(tmp_path / "bell.stl")
    (tmp_path / "job.toml").write_text(JOB.replace("[60, 50, 24]", "[110, 80, 24]"))
    body, job = str(tmp_path / "bell.stl"), str(tmp_path / "job.toml")
    assert cli.main(["carve", body, "--job", job, "--out", str(tmp_path / "job-cut")]) == cli.CLEAN
    capsys.readouterr()
    assert check(tmp_path, cut_files(tmp_path)[::-1]) == cli.REFUSED
    said = capsys.readouterr().out
    assert "rapids through ice: " in said
    assert "rapids through ice: 0" not in said
    assert "REFUSED" in said


@pytest.mark.usefixtures("unpictured")
def test_a_wrong_bit_is_refused(folder: Path, tmp_path: Path) -> None:
    """A flat of 12 mm along the way of a ball of 6 mm cuts 3 mm into the bell's upright foot."""
    out = tmp_path / "wrong"
    names = "wide flat,wide flat"
    done = check(folder, cut_files(folder), "--bits", names, "--out", str(out))
    assert done == cli.REFUSED
    assert told(out)["clean"] is False
    assert told(out)["proof"]["deepest_gouge_mm"] >= 2.9


def test_another_stick_out_is_told(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The head of our files says the stick-out; a job with another is not the one they are for."""
    other = tmp_path / "other.toml"
    other.write_text(JOB.replace("stick_out = 60", "stick_out = 40"))
    assert cli.main(["check", *cut_files(folder), "--job", str(other)]) == cli.BAD_INPUT
    assert "stick-out 60 mm" in capsys.readouterr().err


def test_a_file_by_hand_held_against_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Comments, N words, inches, arcs both ways, increments, coolant; its way worked out by hand.

    Plunge 1.2 in, two quarter circles of 0.2 in, 0.2 in straight: (1.2 + 0.2 pi + 0.2) * 25.4 mm.
    """
    file, out = tmp_path / "groove.nc", tmp_path / "seen"
    file.write_text(BY_HAND)
    more = ("--bits", "wide flat", "--out", str(out))
    assert check(folder, [str(file)], *more, held=False) == cli.CLEAN
    summary = told(out)
    stage = summary["stages"][0]
    assert stage["cut_length_m"] == pytest.approx((1.4 + 0.2 * 3.14159) * 0.0254, abs=1e-4)
    assert (stage["units"], stage["arcs"], stage["spindle_rpm"]) == ("in", 2, 12000)
    assert stage["file"] == "groove.nc"
    assert summary["clean"] is None
    assert summary["sculpture"] is None
    assert summary["proof"]["deepest_gouge_mm"] is None
    assert stage["proof"]["deepest_gouge_mm"] is None
    said = " ".join(capsys.readouterr().out.split())
    assert "clean" not in said
    assert "held against no sculpture" in said
    assert b"Not proven" in (out / "job.html").read_bytes()
    assert {path.name for path in out.iterdir()} == {"summary.json", "job.html"}


def test_a_file_in_the_air_tells_its_own_feed(folder: Path, tmp_path: Path) -> None:
    """F60 in/min is 1524 mm/min; no ice is taken, and the page opens without a deepest cut."""
    file, out = tmp_path / "air.nc", tmp_path / "seen"
    file.write_text(BY_HAND.replace("Z0.8", "Z1.5"))
    more = ("--bits", "wide flat", "--out", str(out))
    assert check(folder, [str(file)], *more, held=False) == cli.CLEAN
    stage = told(out)["stages"][0]
    assert stage["feed_mm_min"] == 1524
    assert stage["removed_litres"] == 0


def test_numbers_of_other_hands_stay_as_they_stand(folder: Path, tmp_path: Path) -> None:
    """The page writes coordinates of our own files anew, from ticks; increments it must not."""
    file, out = tmp_path / "groove.nc", tmp_path / "seen"
    file.write_text(BY_HAND)
    more = ("--bits", "wide flat", "--out", str(out))
    assert check(folder, [str(file)], *more, held=False) == cli.CLEAN
    data = (out / "job.html").read_bytes().split(b'id="dry-run-data">')[1].split(b"</script>")[0]
    for byte in reversed(KEPT_AWAY):
        data = data.replace(MARK + bytes([byte[0] + SHIFT]), byte)
    assert b"N110 G91 G1 X0.2\n" in zlib.decompress(data)


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("N100 M8", "N100 M62", 12),
        ("N70 G1", "N70 G41 G1", 9),
        ("N90 G3 X0.9", "N90 G3 X#5", 11),
        ("N80 G2", "N80 G5", 10),
    ],
)
def test_what_is_not_understood_is_refused_by_line(
    old: str, new: str, line: int, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "groove.nc"
    assert old in BY_HAND
    file.write_text(BY_HAND.replace(old, new))
    assert check(folder, [str(file)], "--bits", "wide flat") == cli.BAD_INPUT
    said = capsys.readouterr()
    assert f"groove.nc, line {line}" in said.err
    assert "clean" not in said.out


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # along in the uncut, then up out of it
        ("N120 G90 G0 Z2", "N120 G0 X0.5\nN125 G90 G0 Z2", "rapids through ice: 2"),
        ("N50 G0 Z2\nN60 X0.5 Y1", "N60 G0 X0.5 Y1 Z0.8", "below the top of the ice"),
        ("N30 S12000 M3", "N30 S99000 M3", "99000 rpm"),
        ("N20 T1 M6\nN30 S12000 M3", "N20 S12000 M3\nN30 T1 M6", "spindle is not turning"),
        ("Z0.8", "Z0.05", "into the floor"),
    ],
)
def test_faults_that_need_no_sculpture(
    old: str, new: str, words: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "groove.nc"
    assert old in BY_HAND
    file.write_text(BY_HAND.replace(old, new))
    assert check(folder, [str(file)], "--bits", "wide flat", held=False) == cli.REFUSED
    said = " ".join(capsys.readouterr().out.split())
    assert words in said
    assert "REFUSED" in said


def test_bit_changes_within_a_file_part_it(folder: Path, tmp_path: Path) -> None:
    """An approach before the first change and a way home after the last need no bit."""
    more = "N131 T2 M6\nN132 S15000 M3\nN133 G0 X1.5 Y1\nN134 G1 Z0.9 F20\nN135 G0 Z2\nN136 T0 M6"
    text = BY_HAND.replace("N20 T1 M6", "G0 X0 Y0 Z2\nN15 X1\nN20 T1 M6")
    file, out = tmp_path / "two.nc", tmp_path / "seen"
    file.write_text(text.replace("N140 M5", f"{more}\nN138 G0 X0\nN140 M5"))
    assert check(folder, [str(file)], "--out", str(out), held=False) == cli.CLEAN
    stages = told(out)["stages"]
    assert [stage["bit"]["name"] for stage in stages] == ["wide flat", "small ball"]
    assert [stage["spindle_rpm"] for stage in stages] == [12000, 15000]
    # the second goes down 1.1 in and nowhere else at feed
    assert stages[1]["cut_length_m"] == pytest.approx(1.1 * 0.0254, abs=1e-4)


def test_bad_input_is_one_sentence(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, first = ["--job", str(folder / "job.toml")], cut_files(folder)[0]
    (tmp_path / "by-hand.nc").write_text(BY_HAND)
    cases = [
        ([str(tmp_path / "none.ngc"), *job], "does not exist"),
        ([str(tmp_path), *job], "is a folder"),
        ([first], "needs --job"),
        ([first, "--job", str(tmp_path / "none.toml")], "none.toml"),
        ([first, *job, "--bits", "narrow flat"], "wide flat, small ball"),
        ([first, *job, "--bits", "wide flat,small ball"], "--bits names 2 bits"),
        ([str(tmp_path / "by-hand.nc"), *job], "the job would use 2 bits"),
        ([first, *job, "--up", "front"], "--sculpture"),
        ([first, *job, "--sculpture", str(tmp_path / "none.stl")], "does not exist"),
        ([first, *job, "--out", str(folder / "job-cut"), "--force"], "another folder"),
    ]
    for arguments, words in cases:
        assert cli.main(["check", *arguments]) == cli.BAD_INPUT, arguments
        said = capsys.readouterr().err
        assert words in said
        assert said.count("\n") == 1
    assert all(Path(file).is_file() for file in cut_files(folder))
