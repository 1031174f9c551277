"""What the reports say of the ice: limits by name, readings of one's own, warnings."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from icecam import cli

pytestmark = pytest.mark.usefixtures("unpictured")

JOB = """
[block]
size = [70, 50, 44]
floor = 4
temperature = {temperature}
[sculpture]
margin = 4
[quality]
detail = 0.5
cell = 0.4
[roughing]
step_down = 0.8
{more}
[[rack]]
name = "flat"
shape = "flat"
diameter = 8
flutes = 2
flute_length = 40
shank = 8
stick_out = 50
nut = 20
nut_length = 20
{bit}
"""


@pytest.fixture(scope="module")
def fin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fin 5 mm thick and 20 mm high on a plate."""
    plate = trimesh.creation.box((50.0, 30.0, 10.0))
    upright = trimesh.creation.box((40.0, 5.0, 30.0))
    upright.apply_translation((0.0, 0.0, 15.0))
    path = tmp_path_factory.mktemp("mesh") / "fin.stl"
    both = trimesh.util.concatenate([plate, upright])
    path.write_bytes(trimesh.exchange.stl.export_stl(both))
    return path


def told(fin: Path, folder: Path, temperature: float, more: str = "", bit: str = "") -> Any:  # noqa: ANN401
    job = folder / "job.toml"
    job.write_text(JOB.format(temperature=temperature, more=more, bit=bit))
    out = folder / "out"
    cli.main(["carve", str(fin), "--job", str(job), "--out", str(out)])
    return json.loads((out / "summary.json").read_text())


def test_the_wall_that_bounds_the_step_is_named(
    fin: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    summary = told(fin, tmp_path, -10.0)
    (limit,) = {s["step_down_limit"] for s in summary["stages"] if s["kind"] == "rough"}
    assert "6.4 mm: roughing.step_down as asked" in limit
    wall = float(limit.split("limited by the ")[1].split(" mm wall")[0])
    assert wall == pytest.approx(5.0, abs=0.8)
    y = float(limit.split(", y ")[1].split(" mm")[0])
    assert y == pytest.approx(25.0, abs=1.5)
    assert limit in " ".join(capsys.readouterr().out.split("\n"))
    assert summary["block"]["readings"] == 0
    assert not [words for words in summary["warnings"] if words.startswith("ice at")]


@pytest.mark.parametrize(("temperature", "words"), [(-3.0, "warmer"), (-25.0, "colder")])
def test_warm_and_cold_ice(fin: Path, tmp_path: Path, temperature: float, words: str) -> None:
    (warning,) = [w for w in told(fin, tmp_path, temperature)["warnings"] if w.startswith("ice")]
    assert words in warning


def test_thin_chips_melt(fin: Path, tmp_path: Path) -> None:
    warnings = told(fin, tmp_path, -2.0, bit="chip_load = 0.012")["warnings"]
    assert any("rub" in words for words in warnings)
    assert any("melt and pack" in words for words in warnings)


def test_a_slow_machine_thins_the_chips(fin: Path, tmp_path: Path) -> None:
    """By hand: 5 mm/s at 18000 rpm with two flutes is 5 x 60 / 36000 = 0.00833 mm a tooth."""
    summary = told(fin, tmp_path, -10.0, more="[machine]\nspeed = [5, 5, 5]\n")
    assert summary["stages"][0]["chip_load_mm"] == pytest.approx(0.0083, abs=5e-5)
    assert any("rub" in words for words in summary["warnings"])


def test_readings_of_ones_own(
    fin: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: 100 W x 0.8 over 100 x 8 x 8 / 1000 cm3/s is 12.5 MPa at a mean chip of 0.1061 mm,
    12.8 MPa at 0.1 mm."""
    reading = (
        "[ice]\ncalibrate = [{cutting_w = 250, idle_w = 150, diameter = 8, flutes = 2, "
        "spindle_rpm = 18000, feed = 100, depth = 8, width = 8, temperature = -10}]\n"
    )
    summary = told(fin, tmp_path, -10.0, more=reading)
    energy = summary["block"]["cutting_energy_mpa"]
    assert energy["best"] == pytest.approx(12.5 * 1.0610329**0.4, rel=1e-3)
    assert summary["block"]["readings"] == 1
    assert "from 1 of your own readings" in capsys.readouterr().out
    loads = [stage["load"]["mean_w"] for stage in summary["stages"]]
    assert all(np.isclose(load["best"] / load["low"], 0.8 / 0.65, rtol=2e-2) for load in loads)
