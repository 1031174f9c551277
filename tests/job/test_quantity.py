"""Quantities with units against exact published factors, in exact arithmetic.

Sources
-------
[SP811] Thompson, Taylor (2008), Guide for the Use of the International System of Units, NIST
    Special Publication 811, appendix B.8: inch = 2.54 E-02 m exactly (the international inch of
    1959), inch per second squared not tabulated but from the inch; minute = 60 s, hour = 3600 s;
    degree Celsius = (degree Fahrenheit - 32) / 1.8, exactly. Typed from memory.
"""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.job.quantity import ACCELERATION, ANGLE, JERK, LENGTH, SPEED, TEMPERATURE, TIME, Measure

INCH = Fraction("25.4")
EXACT: dict[str, tuple[Measure, dict[str, Fraction]]] = {
    "length": (
        LENGTH,
        {
            "mm": Fraction(1),
            "cm": Fraction(10),
            "m": Fraction(1000),
            "in": INCH,
            "inch": Fraction(254, 10),
            "ft": 12 * Fraction(254, 10),
            "um": Fraction(1, 1000),
        },
    ),
    "speed": (
        SPEED,
        {
            "mm/s": Fraction(1),
            "mm/min": Fraction(1, 60),
            "m/min": Fraction(1000, 60),
            "in/min": INCH / 60,
            "in/s": INCH,
        },
    ),
    "acceleration": (
        ACCELERATION,
        {"mm/s2": Fraction(1), "m/s2": Fraction(1000), "in/s2": INCH},
    ),
    "jerk": (JERK, {"mm/s3": Fraction(1), "m/s3": Fraction(1000), "in/s3": INCH}),
    "time": (TIME, {"s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)}),
    "angle": (ANGLE, {"deg": Fraction(1)}),
}
UNITS = [(kind, unit) for kind, (_, factors) in EXACT.items() for unit in factors]
ROUNDING = Fraction(4, 2**52)
"""Relative: one rounding each for figure, whole and part, factor and product."""

signs = st.sampled_from(["", "+", "-"])
blanks = st.sampled_from(["", " ", "  "])
decimals = st.from_regex(r"[0-9]{1,6}(\.[0-9]{0,6})?|\.[0-9]{1,6}", fullmatch=True)
counts = st.integers(0, 9999)


def exact(sign: str, size: Fraction) -> Fraction:
    return -size if sign == "-" else size


def close(read: object, expected: Fraction) -> bool:
    assert isinstance(read, float)
    return abs(Fraction(read) - expected) <= ROUNDING * abs(expected)


def test_the_units_are_these_and_no_others() -> None:
    assert {kind: set(measure.units) for kind, (measure, _) in EXACT.items()} == {
        kind: set(factors) for kind, (_, factors) in EXACT.items()
    }
    assert set(TEMPERATURE.units) == {"C", "F"}


@pytest.mark.parametrize(("kind", "unit"), UNITS)
@settings(max_examples=30)
@given(sign=signs, figure=decimals, gap=blanks)
def test_decimals(kind: str, unit: str, sign: str, figure: str, gap: str) -> None:
    measure, factors = EXACT[kind]
    expected = exact(sign, Fraction(figure)) * factors[unit]
    assert close(measure.read(f"{gap}{sign}{figure}{gap}{unit}{gap}"), expected)


@given(sign=signs, whole=counts, top=counts, bottom=st.integers(1, 9999), gap=blanks)
def test_fractions_and_mixed_numbers(
    sign: str, whole: int, top: int, bottom: int, gap: str
) -> None:
    part = Fraction(top, bottom)
    text = f"{top}{gap}/{gap}{bottom}"
    assert close(LENGTH.read(f"{sign}{text} in"), exact(sign, part) * INCH)
    assert close(LENGTH.read(f"{sign}{whole} {text}in"), exact(sign, whole + part) * INCH)


@given(value=st.floats(-1e6, 1e6))
def test_text_without_a_unit_is_in_the_plain_unit(value: float) -> None:
    assert LENGTH.read(f"{value:.9f}") == float(f"{value:.9f}")
    assert TEMPERATURE.read(f"{value:.9f}") == float(f"{value:.9f}")


@given(value=st.one_of(st.integers(), st.floats(), st.booleans(), st.none(), st.lists(st.text())))
def test_anything_but_text_passes_through(value: object) -> None:
    assert LENGTH.read(value) is value


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [("-40 F", -40), ("14 F", -10), ("32 F", 0), ("212 F", 100), ("-22F", -30), ("-10 C", -10)],
)
def test_temperatures_at_whole_degrees(fahrenheit: str, celsius: float) -> None:
    """[SP811] B.8; the scales meet at -40, ice melts at 32 F, water boils at 212 F."""
    assert TEMPERATURE.read(fahrenheit) == celsius


@given(sign=signs, figure=decimals)
def test_fahrenheit(sign: str, figure: str) -> None:
    expected = (exact(sign, Fraction(figure)) - 32) / Fraction("1.8")
    read = TEMPERATURE.read(f"{sign}{figure} F")
    assert isinstance(read, float)
    # The difference to 32 rounds at the size of the figure, not of the result.
    assert abs(Fraction(read) - expected) <= ROUNDING * (abs(Fraction(figure)) + 32)


NO_FIGURES = ["", " ", "mm", "in 5", "1e3 mm", "1,5 in", "1/2/3 in", "1 2 in", "--1 mm", "- mm"]
NO_FIGURES += ["5 mm mm", "½ in", "٣ mm", "nan", "inf mm", "0x10 mm", "1/0 in"]
NO_FIGURES += [f"1{'0' * 400}/1 in"]
NO_LENGTHS = ["5 yd", "5 lb", "5 MM", "5 mm/s", "5 C", "5 deg", "1.5/2 in", '5"', "5'"]


@pytest.mark.parametrize("wrong", NO_FIGURES + NO_LENGTHS)
def test_what_is_no_length_is_refused(wrong: str) -> None:
    with pytest.raises(ValueError, match=r"not a|divides by zero|too large"):
        LENGTH.read(wrong)


@given(text=st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        read = LENGTH.read(text)
    except ValueError:
        return
    assert isinstance(read, float)
    assert any(letter in "0123456789" for letter in text)
