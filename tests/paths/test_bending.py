"""Bending of a bit against closed forms and the integral of beam theory.

Source: beam theory as in any handbook (Roark and others, from memory): a cantilever with a load at
its end gives way by F L^3 / (3 E I); a round bar has I = pi d^4 / 64.
"""

from math import pi, radians, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from icecam.paths.bending import tip_compliance
from tests.geometry.bits import make_bit

MODULUS = 600e3
CORE = 0.8


def bar(force: float, length: float, diameter: float) -> float:
    return force * length**3 / (3 * MODULUS * pi * diameter**4 / 64)


def test_flutes_up_to_the_nut_are_one_bar() -> None:
    bit = make_bit("flat", 6.0, flute=40.0, shank=9.0, stick_out=40.0)
    assert 5.0 * tip_compliance(bit) == pytest.approx(bar(5.0, 40.0, CORE * 6.0))


def test_shank_and_flutes_by_superposition() -> None:
    """By hand: the shank's end sinks and turns under force and moment, the flutes bend besides.

    Bar b long with F and moment F a at its end: F b^3/3EI + F a b^2/2EI down, F b^2/2EI + F a b/EI
    turned.
    """
    a, b, shank = 25.0, 35.0, 8.0
    bit = make_bit("ball", 6.0, flute=a, shank=shank, stick_out=a + b)
    stiff = MODULUS * pi * shank**4 / 64
    down = b**3 / 3 / stiff + a * b**2 / 2 / stiff
    turned = b**2 / 2 / stiff + a * b / stiff
    expected = down + a * turned + bar(1.0, a, CORE * 6.0)
    assert tip_compliance(bit) == pytest.approx(expected)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    diameter=st.floats(0.5, 12),
    taper=st.floats(0.5, 20),
    flute=st.floats(10, 60),
    shank=st.floats(3, 20),
    more=st.floats(0, 60),
)
def test_tapered_bits_by_the_unit_load(
    diameter: float, taper: float, flute: float, shank: float, more: float
) -> None:
    """From the definition: the tip's way is the integral of moment times lever over E I.

    The bar widens evenly from the ball at the tip to where the flank ends; the cone touches the
    ball, so it is a little wider than its angle alone would make it.
    """
    bit = make_bit(
        "tapered ball", diameter, taper=taper, flute=flute, shank=shank, stick_out=flute + more
    )
    t = radians(taper)
    ball = diameter / 2
    wide = 2 * ((flute - ball) * tan(t) + ball / (1 - tan(t / 2) ** 2) * (1 + tan(t / 2) ** 2))

    def bends(x: float) -> float:
        core = CORE * (diameter + (wide - diameter) * x / flute) if x < flute else shank
        return x**2 / (MODULUS * pi * core**4 / 64)

    expected = quad(bends, 0, flute)[0]
    expected += quad(bends, flute, flute + more)[0] if more > 1e-6 else 0.0
    assert tip_compliance(bit) == pytest.approx(expected, rel=1e-6)


def test_a_point_bends_as_a_tip_of_half_a_millimetre() -> None:
    """What the order of bits says too: a vee without a flat is fed as one of 0.5 mm; judgement."""
    sharp = make_bit("vee", 0.0, taper=30.0, flute=8.0, shank=6.0)
    blunt = make_bit("vee", 0.5, taper=30.0, flute=8.0, shank=6.0)
    assert tip_compliance(sharp) == pytest.approx(tip_compliance(blunt), rel=0.1)
