"""The conformity checker itself: it must let legal lines pass and stop the others."""

import math
from decimal import Decimal

import pytest

from tests.published.nistir6556 import ConformityError, check, words
from tests.published.nistir6556_arcs import follow


@pytest.mark.parametrize(
    "line",
    [
        "g0x +0. 12 34y 7",
        "N00099 G1 X-.5 F30 (fine)",
        "/N1 X1",
        "#3=15 G1 X#3 Y[1.0 + 2 ** 3] ZSQRT[4] F ATAN[1]/[2]",
        "T1 M6 S12000 M3 M8 G17 G21 G90",
        "(MSG, text)",
        "",
    ],
)
def test_legal_lines_pass(line: str) -> None:
    """NISTIR 6556, 3.3 and Appendix E; the first line is in the manner of its example in 3.3."""
    check(f"{line}\nM2\n")


def test_words_are_read() -> None:
    assert words("g0x +0. 12 34y 7") == [("G", 0.0), ("X", 0.1234), ("Y", 7.0)]


@pytest.mark.parametrize(
    "line",
    [
        "N1.5 G0 X1",
        "N100000 G0 X1",
        "G0 N5 X1",
        "X1e5",
        "E1",
        "G1 X1 ; semicolon",
        "(open",
        "(nested (x))",
        "G0 G1 X1",
        "G20 G21",
        "X1 X2",
        "M3 M5",
        "M0 M3 M6 M8 M48",
        "G5 X1",
        "G0",
        "G4",
        "G1 X1 F-5",
        "X",
        "X--1",
        "X1.2.3",
        "X1" + " " * 255,
        "%",
        "(é)",
    ],
)
def test_others_are_stopped(line: str) -> None:
    with pytest.raises(ConformityError):
        check(f"{line}\nM2\n")


def test_program_needs_an_end() -> None:
    """NISTIR 6556, 3.1."""
    check("%\nG0 X1\n%\n")
    for text in ("G0 X1\n", "%\nG0 X1\n", "G0 X1\nM2", "G0 X1\nM2\n%\n"):
        with pytest.raises(ConformityError):
            check(text)


START = "G21 G90 G17\nG0 X10 Y0 Z0\n"


@pytest.mark.parametrize(
    ("line", "turn"),
    [
        ("G3 X0 Y10 I-10 J0", 0.5),
        ("G2 X0 Y10 I-10", 1.5),
        ("G3 Y0 I-10", 2.0),
        ("G2 X-10 I-10 J0", 1.0),
        ("G3 X0 Y10.002 I-10", 0.5),
    ],
)
def test_arcs_are_followed(line: str, turn: float) -> None:
    """NISTIR 6556, 3.5.3.2, by hand: the centre is (0, 0), turns are in half circles."""
    (arc,) = follow(f"{START}{line}\n")
    assert arc.centre == (Decimal(0), Decimal(0))
    assert arc.turn == pytest.approx(turn * math.pi, abs=1e-3)
    places = arc.places(1e-3)
    assert abs((places[:, 0] ** 2 + places[:, 1] ** 2) ** 0.5 - 10).max() <= 0.002 + 1e-9
    assert (places[len(places) // 4, 1] > 0) == line.startswith("G3")


@pytest.mark.parametrize(
    "line",
    [
        "G3 X0 Y10.0021 I-10 J0",
        "G3 Z5 I-10",
        "G3 X0 Y10",
        "G3 X0 Y10 I-10 K1",
        "G3 X10 Y0 I0 J0",
        "G1 X0 I3",
        "G20 G3 X0 Y10.00021 I-10 J0",
    ],
)
def test_arcs_that_are_none_are_stopped(line: str) -> None:
    with pytest.raises(ConformityError):
        follow(f"{START}{line}\n")
