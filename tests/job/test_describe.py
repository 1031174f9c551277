"""Bits in words."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.job.describe import describe, size
from icecam.job.file import load

FLAT, BALL, _, TAPERED, _ = load(None).rack


def test_each_shape() -> None:
    assert describe(FLAT) == "1/2 in flat, 2 flutes, stick-out 125 mm"
    assert describe(BALL) == "1/2 in ball, 2 flutes, stick-out 125 mm"
    assert describe(TAPERED) == "1/8 in tapered ball, 3 deg a side, 2 flutes, stick-out 60 mm"
    rounded = replace(FLAT, shape="rounded corner", diameter=6.0, corner_radius=0.5, flutes=1)
    assert describe(rounded) == "6 mm flat with 0.5 mm rounded corner, 1 flute, stick-out 125 mm"
    vee = replace(FLAT, shape="vee", diameter=0.0, taper_deg=30.0, stick_out=62.5)
    assert describe(vee) == "60 deg vee, pointed, 2 flutes, stick-out 62.5 mm"
    assert describe(replace(vee, diameter=0.2)).startswith("60 deg vee, 0.2 mm flat at the tip")


@given(parts=st.integers(1, 256))
def test_inch_sizes_are_fractions(parts: int) -> None:
    words = size(parts * 25.4 / 64).removesuffix(" in")
    assert sum(Fraction(word) for word in words.split()) == Fraction(parts, 64)


@pytest.mark.parametrize("millimetres", [0.2, 1.0, 3.0, 3.175 + 0.001, 6.0, 8.0, 10.0, 12.0])
def test_metric_sizes_stay_metric(millimetres: float) -> None:
    words = size(millimetres)
    assert words.endswith(" mm")
    assert float(words.removesuffix(" mm")) == pytest.approx(millimetres, abs=5e-4)
