"""Chip, energy, power, torque and force against worked examples; chip loads against trade charts.

The tables in tests/published name their sources.
"""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from icecam.errors import BitError, IcecamError, JobError
from icecam.ice.band import Band
from icecam.ice.cutting import (
    chip_load,
    cutting_power_w,
    depth_factor,
    largest_chip,
    mean_chip,
    specific_energy,
    spindle_torque,
    tooth_force,
)
from icecam.units import MM_PER_INCH, number
from tests.ice.printed import as_printed, table

WORKED = table("ice_cutting.toml")
CHARTS = table("chip_loads.toml")
temperatures = st.floats(-30, 0)


@pytest.mark.parametrize("row", WORKED["energy"]["rows"], ids=lambda row: f"{row['chip']} mm")
def test_specific_energy_as_worked(row: dict[str, Any]) -> None:
    band = specific_energy(row["chip"], -10.0)
    for end in ("low", "best", "high"):
        if end in row:
            assert getattr(band, end) == as_printed(row[end])


@pytest.mark.parametrize("row", WORKED["temperature"]["rows"], ids=lambda row: f"{row['degc']} C")
def test_specific_energy_by_temperature_as_worked(row: dict[str, Any]) -> None:
    factor = specific_energy(0.1, row["degc"]).best / specific_energy(0.1, -10.0).best
    assert factor == as_printed(row["factor"])


@pytest.mark.parametrize("stage", WORKED["stage"], ids=lambda row: f"{row['diameter']} mm")
def test_stage_as_worked(stage: dict[str, Any]) -> None:
    feed = 18000 * 2 * stage["chip_load"]
    removal = stage["depth"] * stage["stepover"] * feed
    assert feed == as_printed(stage["feed"])
    assert removal / 1000 == as_printed(stage["removal"])
    chip = mean_chip(stage["chip_load"], stage["stepover"], stage["diameter"])
    assert chip == as_printed(stage["mean_chip"])
    energy = specific_energy(chip, -10.0)
    assert energy.best == as_printed(stage["energy"])
    assert energy.high == as_printed(stage["energy_high"])
    power = cutting_power_w(removal / 60, chip, -10.0)
    assert power.best == as_printed(stage["power"])
    assert power.high == as_printed(stage["power_high"])
    thickest = largest_chip(stage["chip_load"], stage["stepover"], stage["diameter"])
    assert tooth_force(energy.best, stage["depth"], thickest) == as_printed(stage["force"])
    assert tooth_force(energy.high, stage["depth"], thickest) == as_printed(stage["force_high"])


def test_torque_as_worked() -> None:
    # Handbook: T [N m] = 9549.297 P [kW] / n; 29.6 W at 18000 rpm gives 0.0157 N m.
    assert spindle_torque(29.6, 18000) / 1000 == as_printed("0.0157")
    assert spindle_torque(1000.0, 9549.297) / 1000 == pytest.approx(1.0, rel=1e-7)


def test_chip_at_a_quarter_stepover_as_worked() -> None:
    # Geometry of milling, worked by hand: cos 60 deg; thinning 1 / (2 sqrt(x - x^2)).
    assert largest_chip(1.0, 0.25, 1.0) == as_printed("0.8660")
    assert mean_chip(1.0, 0.25, 1.0) == as_printed("0.47746")
    for share, thinning in ((0.25, "1.1547"), (0.15, "1.400"), (0.4, "1.021")):
        assert 1 / largest_chip(1.0, share, 1.0) == as_printed(thinning)


@given(load=st.floats(0.01, 0.5), share=st.floats(0.01, 1))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_mean_chip_is_the_mean_over_the_engaged_arc(load: float, share: float) -> None:
    # From the definition: thickness is the load times sin of the angle, averaged by scipy's quad.
    angle = math.acos(1 - 2 * share)
    area = quad(lambda turn: load * math.sin(turn), 0, angle)[0]
    assert mean_chip(load, share * 8.0, 8.0) == pytest.approx(area / angle, rel=1e-9)


def test_arrays_go_through_whole() -> None:
    chips = np.array([0.005, 0.01, 0.1])
    rates = np.array([0.0, 1000.0, 1000.0])
    power = cutting_power_w(rates, chips, -10.0)
    # By hand: nothing removed; 10.05 MPa at and below the edge radius; 4 MPa.
    np.testing.assert_allclose(power.best, [0.0, 4 * 10**0.4, 4.0])
    assert specific_energy(chips, -10.0).best[0] == specific_energy(chips, -10.0).best[1]
    np.testing.assert_allclose(mean_chip(0.3, np.array([12.7]), 12.7), [0.6 / math.pi])


@given(thin=st.floats(0, 2), thicker=st.floats(0, 2), cold=temperatures, warm=temperatures)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_energy_falls_with_chip_and_warmth(
    thin: float, thicker: float, cold: float, warm: float
) -> None:
    thin, thicker = sorted((thin, thicker))
    cold, warm = sorted((cold, warm))
    assert specific_energy(thicker, warm).best <= specific_energy(thin, cold).best


@pytest.mark.parametrize("row", CHARTS["soft_plastic"], ids=lambda row: f"{row['diameter']} in")
def test_chip_load_stays_below_the_charts_for_soft_plastic(row: dict[str, Any]) -> None:
    tops = [float(row[chart][1]) for chart in ("a", "b", "derived") if chart in row]
    diameter = number(row["diameter"]) * MM_PER_INCH
    for temperature in (-30.0, -20.0, -10.0, -5.0, 0.0):
        assert chip_load(diameter, temperature).high <= max(tops) * MM_PER_INCH


@given(small=st.floats(0, 25), large=st.floats(0, 25), cold=temperatures, warm=temperatures)
@settings(max_examples=200, deadline=None, derandomize=True)
def test_chip_load_grows_with_the_bit_and_with_warmth(
    small: float, large: float, cold: float, warm: float
) -> None:
    small, large = sorted((small, large))
    cold, warm = sorted((cold, warm))
    lesser, greater = chip_load(small, cold), chip_load(large, warm)
    for end in ("low", "best", "high"):
        assert 0.015 <= getattr(lesser, end) <= getattr(greater, end)
    assert lesser.low <= lesser.best <= lesser.high


def test_chip_load_between_and_beyond_the_windows() -> None:
    # Judgement, no source: 1/4 in 0.16, 3/8 in 0.20; in proportion below 1/16 in, level above 1/2.
    assert chip_load((6.35 + 9.525) / 2, -10.0).best == pytest.approx(0.18)
    assert chip_load(1.5875 / 2, -10.0).best == pytest.approx(0.02)
    assert chip_load(20.0, -10.0).high == pytest.approx(0.40)
    assert chip_load(12.7, -20.0).best == pytest.approx(0.25 * 0.9)
    assert chip_load(0.0, -10.0).high == 0.015


@pytest.mark.parametrize("row", CHARTS["depth"], ids=lambda row: f"{row['diameter']} in")
def test_depth_factor_as_printed(row: dict[str, str]) -> None:
    share = depth_factor(number(row["depth"]) / number(row["diameter"]))
    assert float(row["full"]) * share == as_printed(row["reduced"])


def test_depth_factor_in_the_chart_s_words() -> None:
    # Chart a: full at one diameter, a quarter less at two, half at three; lines between are ours.
    found = depth_factor(np.array([0.0, 0.5, 1.0, 1.5, 2.0, 3.0]))
    np.testing.assert_allclose(found, [1, 1, 1, 0.875, 0.75, 0.5])


@pytest.mark.parametrize(
    ("error", "message", "call"),
    [
        (BitError, "cuts nothing", lambda: mean_chip(0.1, 1.0, 0.0)),
        (BitError, "within the diameter", lambda: mean_chip(0.1, 7.0, 6.0)),
        (BitError, "within the diameter", lambda: largest_chip(0.1, 0.0, 6.0)),
        (BitError, "diameter of -1 mm", lambda: chip_load(-1.0, -10.0)),
        (JobError, "11 K outside", lambda: chip_load(6.0, -41.0)),
        (JobError, "outside -30 to 0", lambda: specific_energy(0.1, 1.0)),
        (JobError, "mean chip of -1", lambda: specific_energy(-1.0, -10.0)),
        (JobError, "removal rate of -1", lambda: cutting_power_w(-1.0, 0.1, -10.0)),
        (JobError, "spindle at 0 rpm", lambda: spindle_torque(10.0, 0.0)),
        (JobError, "step down less", lambda: depth_factor(3.1)),
    ],
)
def test_refusals(error: type[IcecamError], message: str, call: Any) -> None:  # noqa: ANN401
    with pytest.raises(error, match=message):
        call()


def test_band_has_to_rise() -> None:
    with pytest.raises(ValueError, match="it has to rise"):
        Band(low=2.0, best=1.0, high=3.0)
