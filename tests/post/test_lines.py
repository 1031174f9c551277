"""Lines taken out of a text: the first says for itself what was in force."""

import pytest

from icecam.errors import TextError
from post.lines import lines_from
from post.reader import read

TEXT = b"""%
N10 G21 G90 (G2 is no word here)
N20 G0 X0 Y0 Z5
N30 G1 Z-1 F600
N40 X4
N50 g03 X6 Y2 I0 J2
N60 X4 Y4 I-2 J0
N70 G1 Y0 F1200 ; F1 neither
N80 X0
N90 G0 Z5
N100 M2
%
"""


@pytest.mark.parametrize(
    ("first", "begins"),
    [
        (5, "G1 X4 F600"),
        (6, "g03 X6 Y2 I0 J2 F600"),
        (7, "G03 X4 Y4 I-2 J0 F600"),
        (8, "G1 Y0 F1200 ; F1 neither"),
        (9, "G1 X0 F1200"),
    ],
)
def test_motion_and_feed_stand_in_the_first_line(first: int, begins: str) -> None:
    lines = lines_from(TEXT, first, None)
    assert lines[0].replace("G03", "G3").replace("G3", "G03") == begins
    assert lines[-1] == "M2"
    assert len(lines) == 12 - first
    assert not any(line.startswith("N") for line in lines)


@pytest.mark.parametrize("first", [5, 6, 7, 8])
def test_the_moves_are_those_of_the_text(first: int) -> None:
    """By the reader: from where the line begins, the same ends, kinds and feeds."""
    whole = read(TEXT).toolpath
    at = int((whole.line < first).sum())
    x, y, z = whole.ends[at - 1]
    words = "\n".join(lines_from(TEXT, first, None))
    part = read(f"G21 G90\nG0 X{x} Y{y} Z{z}\n{words}\n".encode()).toolpath
    assert part.ends.tolist() == whole.ends[at:].tolist()
    assert part.kind.tolist() == whole.kind[at:].tolist()
    assert part.feed[:-1].tolist() == whole.feed[at:-1].tolist()


def test_the_last_line_counts() -> None:
    assert lines_from(TEXT, 5, 6) == ["G1 X4 F600", "g03 X6 Y2 I0 J2"]


def test_a_line_before_which_nothing_is_said() -> None:
    with pytest.raises(TextError, match="line 2 cannot be begun with"):
        lines_from(b"G21 G90\nX4\nM2\n", 2, None)
