"""Everything the reader refuses, and that it says where."""

import pytest

from icecam.errors import TextError
from icecam.kernels import text_codes
from post.reader import read
from post.refusals import REASONS

HEAD = "G21 G90\nG0 X0 Y0 Z5\n(fed) F600\nG1 X1\n"

LINES = {
    "variable": "X#1",
    "setting": "#1=5",
    "expression": "X[1+2]",
    "O word": "O100 sub",
    "E word": "X1E5",
    "exponent": "X1e-05",
    "rotary axis": "A10",
    "length word": "G1 X2 H1",
    "set offsets": "G10 L2 P1 X0",
    "home": "G28",
    "second home": "G30 X0",
    "probe": "G38.2 X5",
    "left compensation": "G41 D1",
    "right compensation": "G42 D1",
    "length offset": "G43 H1",
    "other system": "G55",
    "ninth system": "G59.3 X1",
    "cycle": "G81 X1 Y1 Z-1 R1",
    "boring cycle": "G89 X1",
    "offset of axes": "G92 X0",
    "offset taken back": "G92.1",
    "inverse time": "G93",
    "return level": "G98",
    "unknown G": "G5 X1",
    "tenth G": "G1.5 X1",
    "G below zero": "G-1 X1",
    "unknown M": "M98 P5",
    "tenth M": "M3.5",
    "letter twice": "X5 X6",
    "F twice": "F5 X6 F5",
    "two motions": "G0 G1 X5",
    "same motion twice": "G1 G1 X5",
    "two planes": "G17 G18",
    "two stops": "M0 M1",
    "two spindle words": "M3 M5",
    "two of group 0": "G4 P1 G53 X1",
    "five M words": "M0 M3 M6 M8 M48",
    "motion alone": "G0",
    "motion with feed only": "G1 F50",
    "axes after G80": "G80 X5",
    "centre on a line": "G1 X5 I3",
    "radius on a line": "G1 X5 R3",
    "centre without arc": "I5",
    "P without use": "G1 X5 P3",
    "dwell without P": "G4",
    "dwell below zero": "G4 P-1",
    "feed below zero": "F-5",
    "speed below zero": "S-5",
    "bit below zero": "T-1",
    "half a bit": "T1.5",
    "feed of zero": "F0 X5",
    "feed lost by a change of unit": "G20 X5",
    "machine coordinates": "G53 G0 Z0",
    "cut in machine coordinates": "G53 G1 Z0",
    "arc without centre": "G2 X5 Y5",
    "arc with both": "G2 X5 Y0 I2 R2",
    "centre out of plane": "G2 X5 Y0 I2 K0",
    "arc without axes in plane": "G2 Z1 I2",
    "arc without axes": "G2 I2",
    "unequal radii": "G2 X5 Y0 I2.1",
    "centre at the start": "G2 X5 Y0 I0",
    "full circle with R": "G2 X1 Y0 R5",
    "R too small": "G2 X9 Y0 R3.9",
    "R of zero": "G2 X9 Y0 R0",
    "unclosed comment": "X5 (to the edge",
    "comment in comment": "X5 (a (b) c)",
    "comment in a word": "X(a)5",
    "comment closed twice": "X5 (a))",
    "control character": "X5 \x07",
    "control character in a comment": "X5 (\x07)",
    "return inside a line": "X5 \rX6",
    "long line": "X5" + " " * 255,
    "long comment": "(" + "a" * 255 + ")",
    "six digits of N": "N123456 X5",
    "N with a point": "N1.5 X5",
    "N with a sign": "N+5 X5",
    "N below zero": "N-5 X5",
    "N behind a word": "X5 N10",
    "N twice": "N10 N20 X5",
    "N behind a comment": "(a) N10 X5",
    "slash inside": "X5 / Y5",
    "two slashes": "//X5",
    "percent": "X5 %",
    "percent alone": "%",
    "no number": "X Y5",
    "sign without digits": "X-",
    "two points": "X1.2.3",
    "two signs": "X--1",
    "number alone": "5",
    "semicolon inside a word": "X;5",
    "bracket": "]",
    "star": "X5*71",
    "accent": "X5 \u00e9",
    "wide digit": "X\uff15",
    "too far": "X100000",
    "too far by increments": "G91 X99999",
    "number without end": "X" + "9" * 40,
    "huge arc": "G2 X5 Y0 I99999999",
}


@pytest.mark.parametrize("line", LINES.values(), ids=LINES.keys())
def test_refused_with_name_place_and_text(line: str) -> None:
    with pytest.raises(TextError) as caught:
        read(f"{HEAD}{line}\nM2\n".encode(), name="crest.ngc")
    message = str(caught.value)
    assert message.startswith("crest.ngc, line 5")
    shown = line.encode().decode("ascii", "backslashreplace")
    assert shown[:100] in message
    assert "; " in message


PROGRAMS = {
    "cut before any position": "G21\nG1 Z-1 F100\nM2",
    "cut before Z": "G21\nG0 X0 Y0\nG1 X5 F100\nM2",
    "increment before the position": "G21 G91\nG0 X5\nM2",
    "increment of one axis": "G21\nG0 X5\nG91 G0 X5 Y1\nM2",
    "axis left by machine coordinates": "G21\nG0 X5 Y5\nG53 G0 Y0\nG0 Z5\nG1 X6 F1\nM2",
    "machine increments": "G21 G91\nG53 G0 Z1\nM2",
    "no feed": "G21\nG0 X0 Y0 Z0\nG1 X5\nM2",
    "no unit": "G0 X0 Y0 Z0\nM2",
    "feed before the unit": "F100 G21\nG0 X0 Y0 Z0\nG1 X5\nM2",
    "no motion": "G21\nX5\nM2",
    "no end": "G21\nG0 X0 Y0 Z0\nG1 X5 F1\n",
    "one percent line": "%\nG21\nG0 X0 Y0 Z0\nG1 X5 F1\n",
    "percent line at the end only": "G21\nG0 X0 Y0 Z0\nG1 X5 F1\n%\n",
    "percent line with more": "% crest\nG21\nG0 X0 Y0 Z0\nG1 X5 F1\nM2\n",
}


@pytest.mark.parametrize("text", PROGRAMS.values(), ids=PROGRAMS.keys())
def test_program_refused(text: str) -> None:
    with pytest.raises(TextError, match=r"^crest, line [1-5]"):
        read(text.encode(), name="crest")


@pytest.mark.parametrize(
    "text", ["", "\n \n", "M2", "G21\nG0 X1 Y1 Z1\nM2", "G21\nG0 X1 Y1 Z1\nX1\nM2", "(only)\nM30"]
)
def test_program_that_moves_nowhere(text: str) -> None:
    with pytest.raises(TextError, match=r"crest (is empty|moves nowhere)"):
        read(text.encode(), name="crest")


def test_column_points_at_the_fault() -> None:
    with pytest.raises(TextError, match='line 5, column 9: "G1 X5 Y5Q7"'):
        read(f"{HEAD}G1 X5 Y5Q7\nM2".encode())


def test_long_lines_are_shown_in_part() -> None:
    with pytest.raises(TextError) as caught:
        read(f"{HEAD}({'a' * 5000})\nM2".encode())
    assert len(str(caught.value)) < 400


def test_every_reason_has_its_words() -> None:
    names = vars(text_codes)
    first, last = names["LONG_LINE"], names["CONTROL"]
    assert sorted(REASONS) == list(range(first, last + 1))
