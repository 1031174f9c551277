"""Jobs that ask too much of spindle, bit or wall: slowed, or refused with the place and the remedy.

What the machine, the bit and the wall bear comes from the job; each case differs from a clean one
by that alone.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import trimesh

from icecam import cli

pytestmark = pytest.mark.usefixtures("unpictured")

JOB = """
[block]
size = [60, 50, 40]
floor = 4
[sculpture]
margin = 4
[quality]
detail = 0.4
cell = 0.4
bits = "all"
{more}
[[rack]]
name = "wide flat"
shape = "flat"
diameter = 12
flutes = 2
flute_length = 40
shank = 12
stick_out = 70
[[rack]]
name = "small ball"
shape = "ball"
diameter = 6
flutes = 2
flute_length = 30
shank = 6
stick_out = {out}
"""


class Tried:
    """What a job came to: exit code, words, summary."""

    def __init__(self, place: Path, body: trimesh.Trimesh, more: str = "", out: float = 60) -> None:
        place.mkdir()
        body.export(place / "body.stl")
        (place / "job.toml").write_text(JOB.format(more=more, out=out))
        self.folder = place / "cut"
        body_file, job = str(place / "body.stl"), str(place / "job.toml")
        self.code = cli.main(["carve", body_file, "--job", job, "--out", str(self.folder)])
        self.told: dict[str, Any] = json.loads((self.folder / "summary.json").read_text())

    @property
    def broken(self) -> list[str]:
        """Sentences of all limits that are broken."""
        words: list[str] = self.told["proof"]["limits_broken"]
        return words

    @property
    def names(self) -> list[str]:
        """Names of the cut files."""
        return sorted(path.name for path in self.folder.glob("*.ngc"))


def bowl() -> trimesh.Trimesh:
    """A thick bowl, round, with nothing thin."""
    return trimesh.creation.revolve([[0, 0], [17, 0], [17, 24], [13, 24], [6, 14], [0, 12]])


def fin(thickness: float) -> trimesh.Trimesh:
    """A plate with an upright wall in the middle of it."""
    plate, wall = trimesh.creation.box((40, 30, 6)), trimesh.creation.box((26, thickness, 24))
    plate.apply_translation([0, 0, 3])
    wall.apply_translation([0, 0, 18])
    both: trimesh.Trimesh = trimesh.util.concatenate([plate, wall])  # type: ignore[assignment]
    return both


def watts(power: float) -> str:
    return f"[machine.spindle]\npower = [[6000, {power}], [24000, {power}]]"


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Tried:
    tried = Tried(tmp_path_factory.mktemp("usual") / "job", bowl())
    assert tried.code == cli.CLEAN
    return tried


def test_a_weak_spindle(usual: Tried, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rough = usual.told["stages"][0]
    peak = rough["load"]["peak_w"]["high"]
    enough = Tried(tmp_path / "enough", bowl(), watts(peak * 1.01))
    assert enough.code == cli.CLEAN
    assert enough.told["stages"][0]["sha256"] == rough["sha256"]
    weaker = Tried(tmp_path / "weaker", bowl(), watts(peak * 0.7))
    assert weaker.code == cli.CLEAN
    slowed = weaker.told["stages"][0]
    assert 60 < slowed["load"]["peak_percent_of_spindle"] <= 100
    assert slowed["minutes"] > rough["minutes"]
    assert slowed["removed_litres"] == pytest.approx(rough["removed_litres"], rel=1e-3)
    capsys.readouterr()
    weak = Tried(tmp_path / "weak", bowl(), watts(peak * 0.02))
    assert weak.code == cli.REFUSED
    assert all("W that the spindle gives at 18000 rpm; lower" in words for words in weak.broken)
    assert "(line " in weak.broken[0]
    assert all(name.startswith("REFUSED-") for name in weak.names)
    said = capsys.readouterr().out
    assert f"refused: {weak.broken[0]}" in said
    assert "REFUSED: do not run these files" in said


def test_a_long_thin_bit(usual: Tried, tmp_path: Path) -> None:
    """Under the same force the tip gives way as the cube of its length: 60 mm to 110 and 400."""
    assert usual.told["stages"][1]["load"]["tip_deflection_mm"] <= 0.08
    highest = "[machine]\ntravel = [1300, 900, 900]"
    longer = Tried(tmp_path / "longer", bowl(), highest, out=110)
    assert longer.code == cli.CLEAN
    stage = longer.told["stages"][1]
    assert 0.04 < stage["load"]["tip_deflection_mm"] <= 0.08
    assert stage["minutes"] > usual.told["stages"][1]["minutes"]
    long = Tried(tmp_path / "long", bowl(), highest, out=400)
    assert long.code == cli.REFUSED
    (words,) = long.broken
    assert words.startswith("2-finish-small-ball: ")
    assert "the tip may give way" in words
    assert "more than the 0.08 mm let pass; set the bit out less" in words
    assert all(name.startswith("REFUSED-") for name in long.names)


def test_a_thin_wall(tmp_path: Path) -> None:
    """With next to no skin and steps of three diameters asked for; a thick wall bears it."""
    deep = "[roughing]\nskin = 0.45\nstep_down = 3"
    thick = Tried(tmp_path / "thick", fin(12.0), deep)
    assert thick.code == cli.CLEAN
    assert thick.broken == []
    thin = Tried(tmp_path / "thin", fin(1.2), deep)
    assert thin.code == cli.REFUSED
    assert thin.broken[0].startswith("1-rough-wide-flat: the bit may push with ")
    # the wall stands from x 17 to 43 in the middle of the block's width
    assert all(re.search(r"wall at x (1[7-9]|[234]\d), y 25, z ", words) for words in thin.broken)
    assert all("bears; thicken it in the model" in words for words in thin.broken)
    assert all(name.startswith("REFUSED-") for name in thin.names)


def test_check_and_resume_refuse_alike(usual: Tried, capsys: pytest.CaptureFixture[str]) -> None:
    """The same files on a machine with a weaker spindle than they were made for.

    The summary is that of an older version, without the digest by which the job would be refused.
    """
    job, summary = usual.folder / "job.toml", usual.folder / "summary.json"
    before, told = job.read_text(), summary.read_text()
    job.write_text(before.replace("1500.0", "9.0").replace("500.0]", "9.0]"))
    assert job.read_text() != before
    older = {key: said for key, said in json.loads(told).items() if key != "job"}
    summary.write_text(json.dumps(older))
    try:
        for arguments in (
            ["check", str(usual.folder)],
            ["resume", str(usual.folder), "--stage", "1", "--line", "60"],
            ["split", str(usual.folder), "--minutes", "1.2"],
        ):
            assert cli.main(arguments) == cli.REFUSED, arguments
            assert "more than the 9 W that the spindle gives" in capsys.readouterr().out
    finally:
        job.write_text(before)
        summary.write_text(told)
    assert sorted(path.name for path in usual.folder.glob("*.ngc")) == usual.names
