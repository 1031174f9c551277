"""Settings that contradict each other, as the command line meets them.

Each is refused in one sentence that names a key and says what to change (exit 2, nothing written),
or, where the planner may well keep to the lesser of the two, told. Relations are geometry or common
practice (no source); their exact limits are tried in tests/job/test_checks.py.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from icecam import cli
from icecam.job.file import load
from icecam.paths.stages import ladder
from icecam.report.warnings import warnings_of
from tests.viewer.scene import result_of_five

OWL = Path(__file__).parents[2] / "models" / "owl.stl"
BIT = """
[[rack]]
name = "long bit"
shape = "flat"
diameter = 6
flutes = 2
flute_length = {flutes}
shank = 6
stick_out = {out}
"""
CASES = {
    "bit longer than Z goes": (BIT.format(flutes=30, out=400), "rack[1].stick_out", "set the bit"),
    "bit that ends above the floor": (
        BIT.format(flutes=20, out=30) + "[machine]\nnose_lowest = 90",
        "rack[1].stick_out",
        "set it out at least",
    ),
    "flutes longer than the stick-out": (BIT.format(flutes=90, out=80), "flute_length", "set the"),
    "clearance over the travel of Z": ("[feeds]\nclearance = 90", "stick_out", "a lower block"),
    "lift under the clearance": ("[feeds]\nlift = 1", "feeds.lift", "raise lift"),
    "floor above the block": ("[block]\nfloor = 254", "block.floor", "less than the block's"),
    "floor above the sculpture": ("[block]\nfloor = 240", "above its floor", "sculpture.scale"),
    "block off the bed": ("[block]\ncorner = [900, 0]", "block.size[1]", "move block.corner"),
    "block larger than the travel": (
        "[block]\nsize = [1400, 500, 250]",
        "size[1]",
        "smaller block",
    ),
    "zero where no axis goes": ("[block]\nzero = [-2000, 0, 0]", "block.zero[1]", "give a place"),
    "speed below the spindle's least": (
        BIT.format(flutes=30, out=80) + "spindle_rpm = 3000",
        "rack[1].spindle_rpm",
        "give a speed between",
    ),
    "chip no flute takes": (
        BIT.format(flutes=30, out=80) + "chip_load = 2",
        "rack[1].chip_load",
        "give no more",
    ),
    "least speed over the most": (
        "[machine.spindle]\nleast_rpm = 9000\nmost_rpm = 8000",
        "least_rpm",
        "give the lower",
    ),
    "nut wider than the spindle": ("[machine.spindle]\nbody = 20", "rack[1].nut", "body right"),
    "ridges over the ice left": ("[quality]\nscallop = 0.5", "quality.detail", "raise detail"),
    "ridges no tip leaves": ("[quality]\nscallop = 2\ndetail = 3", "quality.scallop", "no more"),
    "cells wider than a bit": ("[quality]\ncell = 3", "quality.cell", "give no more"),
    "controller coarser than the detail": (
        "[machine]\ncorner_tolerance = 2",
        "machine.corner_tolerance",
        "set the controller closer",
    ),
    "margin of a fitted sculpture": (
        "[sculpture]\nfit = true\nmargin = 400",
        "sculpture.margin",
        "a smaller margin",
    ),
    "saw cut beside the block": (
        "[block.precut]\nsawn = [{through = [[2000, 0, 0], [2000, 9, 0], [2000, 0, 9]], "
        "gone = [3000, 0, 0]}]",
        "block.precut.sawn[1]",
        "give points",
    ),
    "ice too cold above too warm": ("[ice]\ntoo_cold = -1", "ice.too_cold", "give the colder"),
    "a day that is all warm-up": ('[freezer]\nwarm_up = "9 h"', "freezer.warm_up", "give less"),
}


@pytest.mark.parametrize("case", CASES)
def test_a_contradiction_is_refused_in_one_sentence(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, key, remedy = CASES[case]
    job, out = tmp_path / "job.toml", tmp_path / "out"
    job.write_text(text)
    arguments = ["carve", str(OWL), "--up", "front", "--job", str(job), "--out", str(out)]
    assert cli.main(arguments) == cli.BAD_INPUT
    told = capsys.readouterr()
    assert key in told.err
    assert remedy in told.err.replace("\n", " ")
    assert told.err.count("\n") == 1
    assert told.out == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.toml"]


def test_a_step_deeper_than_the_flutes_is_held_and_told(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(BIT.format(flutes=7, out=80) + "[roughing]\nstep_down = 2")
    stage = ladder(load(job))[0]
    assert (stage.step_down, stage.step_limit) == (7.0, "the flute length")


def test_a_feed_above_the_machine_is_held_and_told() -> None:
    """0.3 mm by two flutes at 24000 a minute are 14400 mm/min; the machine goes 12000: 0.25 mm."""
    result = result_of_five()
    first = result.stages[0]
    for chip, told in ((0.25, False), (0.3, True)):
        bit = replace(first.stage.bit, chip_load=chip, spindle_rpm=24000.0)
        job = replace(result.scene.job, rack=(bit,))
        stage = ladder(job)[0]
        assert stage.feed == pytest.approx(200.0)
        with_it = replace(result, stages=(replace(first, stage=stage),))
        words = [each for each in warnings_of(with_it) if "instead of rack.chip_load" in each]
        assert len(words) == told
    assert "chips of 0.250 mm a tooth instead of rack.chip_load of 0.3 mm" in words[0]


def test_a_skin_within_the_detail_is_told() -> None:
    result = result_of_five()
    for skin, told in ((0.2, True), (0.21, False)):
        job = replace(result.scene.job, roughing=replace(result.scene.job.roughing, skin=skin))
        assert job.quality.detail == 0.2
        words = warnings_of(replace(result, scene=replace(result.scene, job=job)))
        assert any("no more than quality.detail" in each for each in words) is told
