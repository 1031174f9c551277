"""The reader against the sample program of the standard and hand-made cases."""

from pathlib import Path

import numpy as np
import pytest
from pygcode import Line, Machine  # type: ignore[import-untyped]

from icecam.errors import TextError
from icecam.paths.toolpath import CUT, RAPID
from post.reader import Program, read

SAMPLE = Path(__file__).parents[1] / "published" / "nistir6556-c1.ngc"
HEAD = b"G21 G90\nG0 X0 Y0 Z5\nF600\n"


def after_head(text: str) -> Program:
    """Read lines that come after a plain start at (0, 0, 5)."""
    return read(HEAD + text.encode() + b"\nM2\n")


def sample(tolerance: float = 1e-5) -> Program:
    """NISTIR 6556, Appendix C, sample program C.1 (a work of the US government)."""
    return read(SAMPLE.read_bytes(), start=(0, 0, 0), arc_tolerance=tolerance)


def test_sample_program_of_the_standard() -> None:
    """Figures by a reader written apart from the standard; its ends agree with pygcode.

    A chord of sagitta e on radius r is shorter than its arc by the share e / (3 r) (series of the
    sine): with e = 1e-5 mm and r from 2.5 mm, under 1.4e-6 of the 56.451932 mm of arcs, 8e-5 mm.
    """
    program = sample()
    path = program.toolpath
    cuts = path.kind == CUT
    assert len(set(path.line.tolist())) == 59
    assert path.lengths[~cuts].sum() == pytest.approx(252.052801, abs=1e-6)
    assert path.lengths[cuts].sum() == pytest.approx(183.430466, abs=8e-5)
    assert path.lengths[cuts].sum() < 183.430466
    _, counts = np.unique(path.line, return_counts=True)
    on_arcs = np.isin(path.line, np.unique(path.line)[counts > 1])
    assert path.lengths[on_arcs].sum() == pytest.approx(56.451932, abs=8e-5)
    minutes = (path.lengths[cuts] / path.feed[cuts]).sum() / 60
    assert minutes == pytest.approx(9.171523, abs=8e-5 / 20)
    assert [(event.kind, event.value) for event in program.events] == [
        ("tool", 1),
        ("spindle", 4000),
        ("end", 2),
    ]
    assert program.comments[0].startswith("this program mills")
    assert program.unit == "mm"


def test_arcs_of_the_sample_lie_on_their_circles() -> None:
    """NISTIR 6556, C.1: the R4 arc has its centre at (66.5, 0.8775) and turns 77.36437 deg."""
    text = SAMPLE.read_text().splitlines()
    line = next(number for number, row in enumerate(text, 1) if "r4" in row)
    tolerance = 0.002
    path = sample(tolerance).toolpath
    on_arc = path.line == line
    begins, ends = path.begins[on_arc], path.ends[on_arc]
    away = ends[:, :2] - (66.5, 0.8775)
    np.testing.assert_allclose(np.linalg.norm(away, axis=1), 4, atol=1e-4)
    first = begins[0, :2] - (66.5, 0.8775)
    turn = np.arctan2(first[1], first[0]) - np.arctan2(away[-1, 1], away[-1, 0])
    assert np.degrees(turn) == pytest.approx(77.36437, abs=2e-3)
    middle = np.linalg.norm((begins[:, :2] + ends[:, :2]) / 2 - (66.5, 0.8775), axis=1)
    assert (4 - middle <= tolerance + 1e-4).all()


def test_ends_of_the_sample_by_an_independent_machine() -> None:
    """pygcode 0.2.1 runs the same text, line by line."""
    path = sample().toolpath
    machine = Machine()
    for number, text in enumerate(SAMPLE.read_text().splitlines(), start=1):
        machine.process_block(Line(text).block)
        mine = np.flatnonzero(path.line == number)
        if len(mine):
            place = (machine.pos.X, machine.pos.Y, machine.pos.Z)
            np.testing.assert_allclose(path.ends[mine[-1]], place, atol=1e-9)


def test_position_is_unknown_until_rapids_have_given_it() -> None:
    program = read(b"G21\nG0 Z10\nX1\nG53 G0 Z0\nY2\nG0 Z3\nX9\nM2\n")
    assert program.toolpath.start.tolist() == [1, 2, 3]
    assert program.toolpath.ends.tolist() == [[9, 2, 3]]
    assert program.toolpath.kind.tolist() == [RAPID]
    assert program.toolpath.line.tolist() == [7]


def test_units_and_increments() -> None:
    """NISTIR 6556, 3.5.7 and 3.5.13; an inch is 25.4 mm."""
    program = read(b"G20 G0 X1 Y1 Z1\nG91 F10\nG1 X1 Z-.5\nX1\nG90 G21\nF60 X0\nM2\n")
    expected = [[50.8, 25.4, 12.7], [76.2, 25.4, 12.7], [0, 25.4, 12.7]]
    np.testing.assert_allclose(program.toolpath.ends, expected)
    np.testing.assert_allclose(program.toolpath.feed, [254 / 60, 254 / 60, 1])
    assert program.unit == "mm"


def test_events_follow_the_order_of_execution() -> None:
    """NISTIR 6556, 3.8 and 3.6.3: M6 stops the spindle; M3 on its line starts it again."""
    program = after_head(
        "M4 S100 T7\nG1 X1 M0\nS200\nM9 X2 M3 T8 M6 S300\nM7\nG4 P1.5 X3\nM5 M1\nM60 X4"
    )
    assert [(e.before, e.kind, e.value, e.line) for e in program.events] == [
        (0, "spindle", -100, 4),
        (1, "stop", 0, 5),
        (1, "spindle", -200, 6),
        (1, "spindle", 0, 7),
        (1, "tool", 8, 7),
        (1, "spindle", 300, 7),
        (1, "coolant", 9, 7),
        (2, "coolant", 7, 8),
        (2, "dwell", 1.5, 9),
        (3, "spindle", 0, 10),
        (3, "stop", 1, 10),
        (4, "stop", 60, 11),
        (4, "end", 2, 12),
    ]


def test_events_after_an_arc_count_its_chords() -> None:
    program = after_head("G3 X0 Y0 I10\nM8\nG1 X1")
    event = program.events[0]
    assert event.kind == "coolant"
    assert program.toolpath.line[event.before - 1] == 4
    assert program.toolpath.line[event.before] == 6


@pytest.mark.parametrize(
    ("text", "centre", "axes", "turn_deg", "end"),
    [
        ("G2 X10 Y0 I5", (5, 0), (0, 1), -180, (10, 0, 5)),
        ("G3 X10 Y0 I5", (5, 0), (0, 1), 180, (10, 0, 5)),
        ("G3 X0 Y0 J5", (0, 5), (0, 1), 360, (0, 0, 5)),
        ("G2 X5 Y5 Z1 I5", (5, 0), (0, 1), -90, (5, 5, 1)),
        ("G2 X5 Y5 R5", (5, 0), (0, 1), -90, (5, 5, 5)),
        ("G2 X5 Y5 R-5", (0, 5), (0, 1), -270, (5, 5, 5)),
        ("G3 X5 Y5 R5", (0, 5), (0, 1), 90, (5, 5, 5)),
        ("G3 X5 Y5 R-5", (5, 0), (0, 1), 270, (5, 5, 5)),
        ("G91 G3 X5 Y5 R5", (0, 5), (0, 1), 90, (5, 5, 5)),
        ("G18 G3 X5 Z0 K-5", (0, 0), (2, 0), 90, (5, 0, 0)),
        ("G18 G2 X5 Z0 I5", (5, 5), (2, 0), -90, (5, 0, 0)),
        ("G19 G3 Y5 Z0 J5", (5, 5), (1, 2), 90, (0, 5, 0)),
        ("G19 G2 Y5 Z0 R5", (0, 0), (1, 2), -90, (0, 5, 0)),
    ],
)
def test_arcs_in_every_plane(
    text: str,
    centre: tuple[float, float],
    axes: tuple[int, int],
    turn_deg: float,
    end: tuple[float, float, float],
) -> None:
    """NISTIR 6556, 3.5.3: G2 clockwise seen from the positive end of the axis across the plane.

    Centres worked out by hand; all arcs have a radius of 5 mm.
    """
    path = after_head(text).toolpath
    assert path.ends[-1].tolist() == list(end)
    assert (path.kind == CUT).all()
    assert (path.feed == 10).all()
    points = np.concatenate([path.start[None], path.ends])[:, axes] - centre
    np.testing.assert_allclose(np.linalg.norm(points, axis=1), 5, atol=1e-12)
    angles = np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
    assert np.degrees(angles[-1] - angles[0]) == pytest.approx(turn_deg)
    sags = 5 - np.linalg.norm((points[1:] + points[:-1]) / 2, axis=1)
    assert (sags <= 0.002 + 1e-12).all()
    assert sags.max() > 0.001  # and no more chords than needed


def test_helix_rises_evenly() -> None:
    path = after_head("G3 X0 Y0 Z9 I-3").toolpath
    np.testing.assert_allclose(np.diff(path.ends[:, 2]), 4 / len(path), atol=1e-12)


def test_radii_may_differ_by_what_the_standard_allows() -> None:
    """NISTIR 6556, 3.5.3.2: 0.002 mm or 0.0002 inch."""
    assert after_head("G2 X10.002 Y0 I5").toolpath.ends[-1].tolist() == [10.002, 0, 5]
    with pytest.raises(TextError, match="differ in radius"):
        after_head("G2 X10.0021 Y0 I5")
    inch = b"G20 G0 X0 Y0 Z1\nF9\nG2 X%s Y0 I.5\nM2"
    assert read(inch % b"1.0002").toolpath.ends[-1][0] == pytest.approx(1.0002 * 25.4)
    with pytest.raises(TextError, match="differ in radius"):
        read(inch % b"1.00021")


@pytest.mark.parametrize(
    "text",
    [
        "n1 g 1 x 1 . 5",
        "G01X+1.5",
        "/G1 X1.5",
        "(a) G1 (b) X1.5 (c)",
        "G1 X1.5 ; to the end (of the line",
        "G1\tX1.5\r",
        "G1 X01.500",
        "N00012G1X1.5",
        "G1.00005 X1.5",
        "X1.5 G1 G61 G17 M48 G40 G49 G54 G94",
        "G64 P0.01 G1 X1.5",
        "G80\nG1 X1.5",
    ],
)
def test_ways_to_write_one_move(text: str) -> None:
    """NISTIR 6556, 3.3: blanks, capitals, comments, signs, order of words."""
    path = after_head(text).toolpath
    assert path.ends.tolist() == [[1.5, 0, 5]]
    assert path.kind.tolist() == [CUT]


def test_lines_that_lead_nowhere_are_no_moves() -> None:
    assert len(after_head("G0 X0\nG1 X1\nX1\nX1 Y0 Z5").toolpath) == 1


def test_text_behind_the_end_is_not_read() -> None:
    assert read(HEAD + b"G1 X1\nM30\n#5 = (nonsense\n").lines == 5
    program = read(b"%\n" + HEAD + b"G1 X1\n%\nnonsense")
    assert [(event.kind, event.value) for event in program.events] == [("end", 0)]


def test_comments_before_the_first_move() -> None:
    """NISTIR 6556, 3.3.4: of several comments on a line only the last counts."""
    text = "%\n(one) (two; with)\n; three (x)\n()\nG21 G0 X0 Y0 Z1 (four)\nX1 (five)\nM2\n"
    assert read(text.encode()).comments == ("two; with", "three (x)", "four")


def test_start_may_be_given() -> None:
    path = read(b"G21\nG1 Z-1 F60\nM2", start=(1, 2, 3)).toolpath
    assert path.start.tolist() == [1, 2, 3]
    assert path.feed.tolist() == [1.0]


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan"), float("inf")])
def test_tolerance_must_be_a_length(tolerance: float) -> None:
    with pytest.raises(ValueError, match="arc tolerance"):
        read(HEAD + b"G1 X1\nM2", arc_tolerance=tolerance)
