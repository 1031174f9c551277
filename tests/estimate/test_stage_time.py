"""What a stage takes besides its moves: pauses for the spindle and bit changes, from the text.

The pauses are counted a second time by a pattern over the lines of the text. Source of the words:
NISTIR 6556, G4 P (3.5.4) pauses, P in seconds; M6 (3.6.3) changes the bit and leaves the spindle
standing, so that it has to start anew.
"""

import re
from pathlib import Path

import pytest
import trimesh

from icecam.estimate.runtime import runtime
from icecam.job.file import load
from icecam.plan import Result, carve_stages, set_up

START, CHANGE = 7.5, 123.0
JOB = """
[block]
size = [60, 50, 25]
floor = 4
[quality]
scallop = 0.4
detail = 0.5
cell = 0.5
[machine]
bit_change = {change}
[machine.spindle]
start = {start}
[output]
one_file = {one_file}
[[rack]]
name = "quarter-inch flat"
shape = "flat"
diameter = "1/4 in"
flutes = 2
flute_length = 25
shank = "1/4 in"
stick_out = 60
[[rack]]
name = "quarter-inch ball"
shape = "ball"
diameter = "1/4 in"
flutes = 2
flute_length = 25
shank = "1/4 in"
stick_out = 60
"""


def carved(folder: Path, *, one_file: bool, start: float = START) -> Result:
    """Return a low dome, carved with two bits."""
    dome = trimesh.creation.icosphere(subdivisions=4, radius=12.0)
    dome.apply_scale([1.0, 1.0, 0.8])
    dome.export(folder / "dome.stl")
    text = JOB.format(change=CHANGE, start=start, one_file=str(one_file).lower())
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return carve_stages(set_up(folder / "dome.stl", load(folder / "job.toml")))


def pauses(text: bytes) -> list[float]:
    """Return the seconds of every G4 of a text."""
    return [float(found) for found in re.findall(rb"(?m)^G4 P([\d.]+)$", text)]


@pytest.mark.parametrize("one_file", [False, True])
def test_every_stage_waits_for_the_spindle_and_all_but_the_first_for_the_bit(
    tmp_path: Path, one_file: bool
) -> None:
    """The first bit is in the collet when the job begins."""
    stages = carved(tmp_path, one_file=one_file).stages
    assert len(stages) == 2
    assert [stage.seconds.dwells for stage in stages] == [START, START]
    assert [stage.seconds.bit_change for stage in stages] == [0.0, CHANGE]
    texts = [stage.file.text for stage in stages]
    assert [pauses(text) for text in texts] == [[START, START] if one_file else [START]] * 2
    machine = load(tmp_path / "job.toml").machine
    for stage in stages:
        moves = stage.seconds.cutting + stage.seconds.rapids
        assert moves == pytest.approx(runtime(stage.path, machine).total, rel=1e-12)
        assert stage.seconds.total == pytest.approx(
            moves + START + stage.seconds.bit_change, rel=1e-12
        )


def test_a_spindle_that_starts_at_once_waits_for_nothing(tmp_path: Path) -> None:
    stages = carved(tmp_path, one_file=False, start=0.0).stages
    assert [pauses(stage.file.text) for stage in stages] == [[], []]
    assert [stage.seconds.dwells for stage in stages] == [0.0, 0.0]
