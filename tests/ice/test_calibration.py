"""Readings of spindle power turned into the energy of the user's own ice."""

from dataclasses import replace
from math import log, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.errors import BitError, JobError
from icecam.ice.calibration import PowerReading, energy_of_reading, energy_of_readings
from icecam.ice.cutting import cutting_power_w, mean_chip

GROOVE = PowerReading(
    cutting_w=262.0,
    idle_w=150.0,
    spindle_rpm=18000.0,
    flutes=2,
    diameter=12.7,
    feed=180.0,
    depth=12.7,
    width=12.7,
    temperature=-10.0,
)


def test_a_worked_groove() -> None:
    """By hand: 112 W x 0.8 over 29.03 cm3/s is 3.086 MPa at a mean chip of 0.3 x 2 / pi mm, which
    is 3.086 x 1.90986^0.4 = 3.998 MPa at 0.1 mm."""
    rate = 180.0 * 12.7 * 12.7 / 1000.0
    expected = 0.8 * 112.0 / rate * (0.3 * 2 / pi / 0.1) ** 0.4
    band = energy_of_reading(GROOVE)
    assert band.best == pytest.approx(expected, rel=1e-12)
    assert band.best == pytest.approx(3.998, abs=5e-4)
    assert band.low / band.best == pytest.approx(0.65 / 0.8)
    assert band.high / band.best == pytest.approx(0.9 / 0.8)


@given(
    st.floats(0.3, 60.0),
    st.floats(20.0, 200.0),
    st.floats(0.1, 1.0),
    st.floats(-30.0, 0.0),
    st.integers(1, 4),
)
def test_what_a_meter_would_show_is_found_again(
    energy: float, feed: float, share: float, temperature: float, flutes: int
) -> None:
    width = share * 6.0
    chip = float(mean_chip(feed * 60 / 18000 / flutes, width, 6.0))
    usual = cutting_power_w(feed * 5.0 * width, chip, temperature).best / 4.0
    reading = replace(
        GROOVE,
        cutting_w=150.0 + energy * usual / 0.8,
        feed=feed,
        depth=5.0,
        width=width,
        diameter=6.0,
        temperature=temperature,
        flutes=flutes,
    )
    assert energy_of_reading(reading).best == pytest.approx(energy, rel=1e-6)


def test_several_readings_widen_the_band() -> None:
    second = replace(GROOVE, cutting_w=150.0 + 4 * 112.0)
    band = energy_of_readings([GROOVE, second])
    first = energy_of_reading(GROOVE)
    assert log(band.best) == pytest.approx(log(2 * first.best))
    assert (band.low, band.high) == (first.low, energy_of_reading(second).high)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"cutting_w": 150.0}, "must draw more"),
        ({"cutting_w": 100.0}, "must draw more"),
        ({"feed": 0.0}, "cuts nothing"),
        ({"depth": 0.0}, "cuts nothing"),
        ({"temperature": 1.0}, "1"),
    ],
)
def test_refused_readings(changes: dict[str, float], words: str) -> None:
    with pytest.raises(JobError, match=words):
        energy_of_reading(replace(GROOVE, **changes))  # type: ignore[arg-type]


def test_a_cut_wider_than_the_bit_is_refused() -> None:
    with pytest.raises(BitError, match="stepover"):
        energy_of_reading(replace(GROOVE, width=13.0))
