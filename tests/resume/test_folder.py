"""A folder must be whole, and its files must do what its summary says."""

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import trimesh

from icecam.errors import IcecamError, MeshError, OutputError
from icecam.resume.folder import read_folder
from icecam.resume.going_on import go_on
from icecam.resume.proof import find_sculpture
from icecam.resume.rest import run_of
from icecam.resume.running import running
from icecam.resume.stops import at_line

PANEL = Path(__file__).parents[2] / "models" / "panel.stl"


@pytest.fixture
def copy(tile: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(tile, tmp_path / "cut"))


def _file(place: Path, number: int) -> Path:
    return next(place.glob(f"{number}-*.ngc"))


def _cut_short(place: Path) -> None:
    file = _file(place, 2)
    file.write_bytes(file.read_bytes()[:20_000])


def _line_gone(place: Path) -> None:
    file = _file(place, 2)
    lines = file.read_text().splitlines()
    file.write_text("\n".join(lines[:900] + lines[901:]) + "\n")


def _swapped(place: Path) -> None:
    shutil.copy(_file(place, 3), _file(place, 2))


def _one_byte(file: Path, at: int, byte: bytes) -> None:
    """Put one byte in the place of another, which must be another indeed."""
    text = file.read_bytes()
    assert text[at : at + 1] != byte
    file.write_bytes(text[:at] + byte + text[at + 1 :])


def _raised_feed(place: Path) -> None:
    text = _file(place, 2).read_bytes()
    _one_byte(_file(place, 2), text.rindex(b"F") + 1, b"9")


def _other_comment(place: Path) -> None:
    text = _file(place, 1).read_bytes()
    _one_byte(_file(place, 1), text.index(b"(") + 1, b"~")


def _other_place(place: Path) -> None:
    """The last digit of a coordinate: a thousandth of a millimetre."""
    text = _file(place, 3).read_bytes()
    line = text.index(b"\n", text.index(b"X", len(text) // 2))
    _one_byte(_file(place, 3), line - 1, b"7" if text[line - 1 : line] != b"7" else b"3")


def _other_moves(place: Path) -> None:
    told = json.loads((place / "summary.json").read_text())
    told["stages"][1]["moves"] += 1
    _say(place, "stages", told["stages"])


def _proven_as_it_is(place: Path) -> None:
    """Put the digests of the files as they lie there into the summary."""
    told = json.loads((place / "summary.json").read_text())
    for stage in told["stages"]:
        stage["sha256"] = hashlib.sha256((place / stage["file"]).read_bytes()).hexdigest()
    _say(place, "stages", told["stages"])


def _older_summary(place: Path) -> None:
    """Take out the digest of the job, which older versions did not write."""
    told = json.loads((place / "summary.json").read_text())
    del told["job"]
    (place / "summary.json").write_text(json.dumps(told))


def _older(place: Path) -> None:
    (place / "job.toml").unlink()


def _other_margin(place: Path) -> None:
    job = place / "job.toml"
    job.write_text(job.read_text().replace("margin = 5.0", "margin = 6.0"))


def _other_rack(place: Path) -> None:
    job = place / "job.toml"
    job.write_text(job.read_text().replace("half-inch ball", "another ball"))
    _older_summary(place)


def _other_stick_out(place: Path) -> None:
    job = place / "job.toml"
    job.write_text(job.read_text().replace("stick_out = 125.0", "stick_out = 130.0"))
    _older_summary(place)


def _other_zero(place: Path) -> None:
    job = place / "job.toml"
    job.write_text(job.read_text().replace("zero = [0.0, 0.0,", "zero = [0.0, 2.0,"))
    _older_summary(place)


def _refused(place: Path) -> None:
    _say(place, "clean", False)


def _no_stages(place: Path) -> None:
    _say(place, "stages", None)


def _say(place: Path, key: str, value: object) -> None:
    told = json.loads((place / "summary.json").read_text())
    (place / "summary.json").write_text(json.dumps(told | {key: value}))


def _no_json(place: Path) -> None:
    (place / "summary.json").write_text("{")


def _no_summary(place: Path) -> None:
    (place / "summary.json").unlink()


def _file_gone(place: Path) -> None:
    _file(place, 1).unlink()


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (_cut_short, r"2-finish.* is not the file that was proven .*; `icecam check "),
        (_line_gone, r"2-finish.* is not the file that was proven .*; `icecam check "),
        (_swapped, r"2-finish.* is not the file that was proven .*; `icecam check "),
        (_raised_feed, r"2-finish.* is not the file that was proven .*; `icecam check "),
        (_other_comment, r"1-rough.* is not the file that was proven .*; `icecam check "),
        (_other_place, r"3-finish.* is not the file that was proven .*; `icecam check "),
        (_other_moves, "moves in stage 2, the summary says"),
        (_older, r"holds no job\.toml"),
        (_other_margin, r"job\.toml is not the file that was carved with .*; `icecam check "),
        (_other_rack, "has no bit for stage 2"),
        (_other_stick_out, r"130\.0\] where the summary has .*125\.0\]"),
        (_other_zero, "where the summary has"),
        (_refused, "refused by the proof"),
        (_no_stages, "does not hold what"),
        (_no_json, "cannot be read as a summary"),
        (_no_summary, r"holds no summary\.json"),
        (_file_gone, "cannot be read"),
    ],
)
def test_a_damaged_folder_is_refused(
    copy: Path, damage: Callable[[Path], None], words: str
) -> None:
    damage(copy)
    with pytest.raises(IcecamError, match=words) as told:
        read_folder(copy)
    assert "\n" not in str(told.value)


def test_a_file_that_cuts_elsewhere_is_refused(copy: Path) -> None:
    """As many moves, but all of them 4 mm higher, and a digest to fit: only the ice can tell."""
    file = _file(copy, 1)
    text = file.read_text()
    file.write_text(re.sub(r"Z([\d.]+)", lambda z: f"Z{float(z.group(1)) + 4:.3f}", text))
    _proven_as_it_is(copy)
    folder = read_folder(copy)
    cut = folder.stages[1]
    with pytest.raises(OutputError, match="litres in stage 1, the summary says"):
        go_on(folder, cut, 3000, overlap=5.0, scene=None)


@pytest.mark.parametrize(
    ("asked", "words"),
    [("9", "stages 1 to 3"), ("0", "stages 1 to 3"), ("3q", "no file"), ("nine.ngc", "no file")],
)
def test_unknown_stages(tile: Path, asked: str, words: str) -> None:
    with pytest.raises(OutputError, match=words):
        running(read_folder(tile), asked)


def test_a_strange_file_is_of_no_stage(copy: Path) -> None:
    (copy / "9-other.ngc").write_text("G21 G90\nG0 X0 Y0 Z5\nG1 Z1 F60\nX3\nG0 Z5\nM2\n")
    with pytest.raises(OutputError, match="no moves of any stage"):
        running(read_folder(copy), "9-other.ngc")


def test_the_sculpture_beside_is_found_and_another_is_refused(copy: Path) -> None:
    folder = read_folder(copy)
    assert find_sculpture(folder, None) is None
    shutil.copy(PANEL, copy.parent / "panel.stl")
    scene = find_sculpture(folder, None)
    assert scene is not None
    cut = folder.stages[2]
    rest = go_on(folder, cut, at_line(run_of(folder, cut), 9000).move, overlap=5.0, scene=scene)
    assert rest.verdict.gouge is not None
    assert rest.verdict.gouge == pytest.approx(folder.told["proof"]["deepest_gouge_mm"], abs=1e-3)
    ball = copy.parent / "ball.stl"
    trimesh.creation.icosphere(radius=20.0).export(ball)
    with pytest.raises(MeshError, match="not the sculpture"):
        find_sculpture(folder, ball)


def test_a_sculpture_with_one_byte_changed_is_another(copy: Path) -> None:
    """As many triangles in the same box: only its digest tells. 84 bytes of head, 50 a triangle."""
    held = bytearray(PANEL.read_bytes())
    held[84 + 50 * 1000 + 48] ^= 1  # the attribute of a triangle, which no reader looks at
    (copy / "panel.stl").write_bytes(held)
    with pytest.raises(MeshError, match=r"not the sculpture that was carved .*--sculpture"):
        find_sculpture(read_folder(copy), None)


def test_a_sculpture_that_would_lie_elsewhere_is_refused(copy: Path) -> None:
    _other_margin(copy)
    _older_summary(copy)
    with pytest.raises(MeshError, match=r"lies elsewhere in the block than summary\.json"):
        find_sculpture(read_folder(copy), PANEL)


def test_the_ice_rebuilt_weighs_what_the_summary_says(tile: Path) -> None:
    """Volume of the block, of cells that hang over its edge, less what each stage took."""
    folder = read_folder(tile)
    grid = folder.ice.grid
    size = grid.nx * grid.ny * grid.pitch**2 * folder.subject.job.block.size[2]
    gone = 0.0
    for number, stage in enumerate(folder.told["stages"], start=1):
        ice = folder.ice_before(number)
        volume = float((ice.heights * ice.grid.pitch**2).sum())
        assert volume == pytest.approx(size - gone * 1e6, abs=300)
        gone += stage["removed_litres"]
