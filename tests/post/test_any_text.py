"""Text from anywhere: refused with the number of a line, or read as the slow twin reads it.

The twin (tests/reference/text.py) follows NISTIR 6556 and shares nothing with the reader. Damaged
are files of every dialect and files in foreign manners: ten thousand with `-m long`, else 1000.
"""

from typing import Final

import numpy as np
import pytest

from icecam.errors import TextError
from post.dialect import available, load
from post.reader import read
from post.writer import write
from tests.damage import damaged
from tests.post.hidden_arcs import Bend, joined
from tests.post.paths import POCKET, header
from tests.post.test_reader_twin import assert_agree
from tests.reference import text as twin

BENT: Final = joined([(Bend(0.0, 2.0, 10.0, -1.0, 40), 20.0), (Bend(1.0, -5.0, 4.0, 0.0, 40), 9.0)])
FOREIGN: Final = {
    "no blanks, leading zeros": b"%\nG21G17G40G90\nG00X0Y0Z5.\nG01Z-1.F300.\nX10.Y.5\nM30\n%\n",
    "small letters, returns": b"g21 g90\r\ng0 x0 y0 z5\r\ng1 z-1 f300\r\nx10 y0.5\r\nm2\r\n",
    "numbered, spindle on one line": b"N10 G20 G90\nN20 G0 X0 Y0 Z.2\nN30 S9000 M3 G1 Z-.04 F12\n"
    b"N40 G2 X.4 Y0 I.2 J0\nN50 M5\nN60 M30\n",
    "blanks in numbers, remarks": b"(out)\nG21\nG0 X 1 0 Y0 Z5 (over)\nG1 Z-1 F3 00\n/X12\nM2\n",
    "semicolons": b"; made elsewhere\nG21 ; mm\nG90\nG0 Z5\nG0 X1 Y1\nG1 X5 F100 ; cut\nY9\nM2\n",
    "increments": b"G21\nG90 G0 X0 Y0 Z5\nG91\nG1 Z-6 F300\nX10\nY10\nX-10\nY-10\nG90\nG0 Z5\nM2\n",
    "arcs by radius": b"G21 G17\nG0 X0 Y0 Z1\nG3 X10 Y10 R10 F600\nG2 X0 Y0 R-10\nM2\n",
    "a bit change": b"G21\nT1 M6\nS8000 M3\nG0 X0 Y0 Z9\nG1 Z1 F90\nM5\nT2 M6\nM3\nG1 X5\nM2\n",
}
REFUSED: Final = {
    "length offset": (b"G21\nT1 M6\nG43 H1\nG0 X0 Y0 Z5\nG1 Z0 F9\nM2\n", 3),
    "home first": (b"G21\nG28\nG0 X0 Y0 Z5\nG1 Z0 F9\nM2\n", 2),
    "a cycle": (b"G21\nG0 X0 Y0 Z5\nF9\nG83 X1 Y1 Z-2 R1 Q1\nM2\n", 4),
    "a subroutine": (b"%\nO1000\nG21\nG0 X0 Y0 Z5\nG1 Z0 F9\nM30\n%\n", 2),
    "a variable": (b"G21\nG0 X0 Y0 Z5\n#1=4\nG1 X#1 F9\nM2\n", 3),
    "centres from zero": (b"G21\nG90.1\nG0 X0 Y0 Z5\nG2 X2 Y0 I1 J0 F9\nM2\n", 2),
    "another system": (b"G21\nG55\nG0 X0 Y0 Z5\nG1 Z0 F9\nM2\n", 2),
    "a fourth axis": (b"G21\nG0 X0 Y0 Z5\nG1 A90 F9\nM2\n", 3),
    "a call": (b"G21\nG0 X0 Y0 Z5\nG1 Z0 F9\nM98 P1000\nM2\n", 4),
    "temperatures and filament": (b"G21\nM104 S200\nG0 X0 Y0 Z5\nG1 X1 E2 F9\nM2\n", 2),
    "a page": (b"<!doctype html>\n<title>G1 X1</title>\n", 1),
    "a mesh": (b"solid body\nfacet normal 0 0 1\n", 1),
    "bytes": (bytes(range(256)) * 3, 1),
}


def good_files() -> list[bytes]:
    """Return short files of every dialect, in both units, and the foreign ones."""
    files = [
        write(path, header("a crest"), load(name), unit=unit)
        for name in available()
        for path in (POCKET, BENT)
        for unit in ("mm", "in")
    ]
    return files + list(FOREIGN.values())


@pytest.mark.parametrize("manner", FOREIGN)
def test_foreign_manners_are_read_as_the_twin_reads_them(manner: str) -> None:
    assert len(twin.read(FOREIGN[manner]).moves) > 1
    assert_agree(FOREIGN[manner], None)


@pytest.mark.parametrize("what", REFUSED)
def test_foreign_words_are_refused_with_their_line(what: str) -> None:
    text, line = REFUSED[what]
    with pytest.raises(TextError, match=rf"^other\.ngc, line {line}(,|:)") as refusal:
        read(text, name="other.ngc")
    assert "\n" not in str(refusal.value)


def try_damaged(count: int, seed: int) -> None:
    files, random = good_files(), np.random.default_rng(seed)
    for _ in range(count):
        _, text = damaged(files, random)
        assert_agree(text, None)


def test_damaged_files() -> None:
    try_damaged(1000, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_damaged_files(seed: int) -> None:
    try_damaged(1000, seed)
