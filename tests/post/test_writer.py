"""What is written, against the standard's own rules, pygcode's machine and a slow twin."""

import re
import string
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pygcode import Line, Machine  # type: ignore[import-untyped]

from icecam.errors import TextError
from icecam.kernels.text import (
    LONGEST,
    MODAL_SIZE,
    UNKNOWN,
    Figures,
    format_moves,
    round_moves,
)
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from post.dialect import Dialect, Unit, available, load
from post.reader import read
from post.writer import Header, write, write_job
from tests.post.paths import CLEAR, POCKET, any_moves, any_start, header, make
from tests.published import nistir6556
from tests.reference import text as twin

DIALECTS = [load(name) for name in available()]
EXTREMES = [
    replace(load("plain"), line_number_step=1000, percent=False, program_end="M30"),
    replace(
        load("lean"), comments="none", decimals_mm=5, decimals_in=6, path_word="G61.1", arcs=False
    ),
    replace(load("plain"), header_lines=("M9", "(own line)"), footer_lines=("M9",)),
]


@pytest.mark.parametrize("unit", ["mm", "in", None])
@pytest.mark.parametrize("dialect", [*DIALECTS, *EXTREMES])
def test_text_conforms_to_the_standard(dialect: Dialect, unit: Unit | None) -> None:
    """NISTIR 6556, Appendix E, 3.1, 3.3 and table 4."""
    text = write(POCKET, header("a crest", "MSG, (x) % ; é"), dialect, unit=unit).decode("ascii")
    nistir6556.check(text)
    assert max(map(len, text.splitlines())) <= dialect.max_line_length


@given(moves=any_moves, start=any_start)
@settings(max_examples=25, deadline=None)
def test_any_path_conforms(
    moves: list[tuple[tuple[float, float, float], int, float]], start: tuple[float, float]
) -> None:
    path = make([*moves, ((1000, 0, 0), CUT, 1)], start)
    for dialect in DIALECTS:
        nistir6556.check(write(path, header(), dialect).decode("ascii"))


def test_ends_of_moves_by_an_independent_machine() -> None:
    """pygcode 0.2.1 runs the text; its positions are those of the path."""
    machine = Machine()
    places: list[tuple[float, float, float]] = []
    for line in write(POCKET, header(), load("plain")).decode().splitlines():
        if line == "%":
            continue
        machine.process_block(Line(line).block)
        place = (machine.pos.X, machine.pos.Y, machine.pos.Z)
        if not places or places[-1] != place:
            places.append(place)
    expected = np.round(np.concatenate([POCKET.start[None], POCKET.ends]), 3)
    rises_first = [(0, 0, 0), (0, 0, CLEAR)]
    np.testing.assert_allclose(places[:2], rises_first)
    np.testing.assert_allclose(places[1:], expected, atol=1e-9)


@given(moves=any_moves, start=any_start, unit=st.sampled_from(["mm", "in"]))
@settings(max_examples=60, deadline=None)
def test_text_reads_back_as_the_path(
    moves: list[tuple[tuple[float, float, float], int, float]],
    start: tuple[float, float],
    unit: Unit,
) -> None:
    path = make([*moves, ((1000, 0, 0), CUT, 1)], start)
    for dialect in [*DIALECTS, *EXTREMES]:
        back = read(write(path, header(), dialect, unit=unit)).toolpath
        decimals = dialect.decimals_mm if unit == "mm" else dialect.decimals_in
        length, feed_tick = (1.0, 0.1 / 60) if unit == "mm" else (25.4, 0.01 * 25.4 / 60)
        tick = length * 10.0**-decimals
        expected = np.concatenate([path.start[None], np.rint(path.ends / tick) * tick])
        expected[0] = np.rint(expected[0] / tick) * tick
        kept = np.append(np.abs(np.diff(expected, axis=0)).max(axis=1) > tick / 2, True)
        kept[-1] = back.ends[-1][2] > 0  # the retreat
        assert len(back) == kept.sum()
        count = int(kept[:-1].sum())
        np.testing.assert_allclose(back.start, expected[0], atol=1e-9)
        np.testing.assert_allclose(back.ends[:count], expected[1:][kept[:-1]], atol=1e-9)
        assert abs(back.ends[:count] - path.ends[kept[:-1]]).max() <= tick / 2 + 1e-9
        np.testing.assert_array_equal(back.kind[:count], path.kind[kept[:-1]])
        cuts = back.kind[:count] == CUT
        slower = (path.feed[kept[:-1]] - back.feed[:count])[cuts]
        assert (slower >= -1e-8).all()
        assert (slower <= feed_tick + 1e-8).all()
        assert (np.diff(back.line) > 0).all()
        assert back.ends[-1][2] >= CLEAR - tick


@given(moves=any_moves, decimals=st.integers(2, 5), step=st.sampled_from([0, 10, 33333]))
@settings(max_examples=60, deadline=None)
def test_kernel_writes_what_its_twin_writes(
    moves: list[tuple[tuple[float, float, float], int, float]], decimals: int, step: int
) -> None:
    path = make(moves)
    path = replace(path, feed=path.feed + 1.7e-7)  # no feed just under a whole tick
    figures = Figures(float(10**decimals), decimals, 600.0, 1, step)
    modal = np.array([UNKNOWN] * 5 + [0])
    assert len(modal) == MODAL_SIZE
    points, feeds = np.full((len(path) + 1, 3), UNKNOWN), np.zeros(len(path), np.int64)
    before = np.zeros(len(path) + 1, np.int64)
    kept, refused = round_moves(path.ends, path.kind, path.feed, figures, points, feeds, before)
    assert refused == -1
    straight, none = np.zeros(kept, np.int64), np.zeros((kept, 2), np.int64)
    out = np.zeros(len(path) * LONGEST, np.uint8)
    used = format_moves(points[: kept + 1], feeds[:kept], straight, none, figures, modal, out)
    lines = twin.written_moves(
        [
            (tuple(end), kind == CUT, feed)
            for end, kind, feed in zip(
                path.ends.tolist(), path.kind.tolist(), path.feed.tolist(), strict=True
            )
        ],
        decimals=decimals,
        feed_decimals=1,
        mm_per_unit=Fraction(1),
        step=step,
    )
    assert out[:used].tobytes().decode() == "".join(f"{line}\n" for line in lines)


def test_numbers_are_plain() -> None:
    """NISTIR 6556, 3.3.2: digits and a point; a feed is never rounded up."""
    path = make(
        [
            ((1e-5, -1e-5, -0.0004), CUT, 16.66669),
            ((0.0006, -0.0006, 1e4), CUT, 1000 / 60),
            ((99999, 0, 0), CUT, 1e3),
        ]
    )
    text = write(path, header(), load("plain")).decode()
    moves = text[text.index("G1 ") : text.index("M5")].splitlines()
    assert moves == [
        "G1 Z0 F1000",
        "X0.001 Y-0.001 Z10000",
        "X99999 Y0 Z0 F60000",
        "G0 Z12.5",
    ]


def test_frame_of_a_program() -> None:
    """Rise before any XY, spindle and dwell before that; NISTIR 6556, 3.5 to 3.6."""
    lines = write(POCKET, header("crest"), load("numbered-inch")).decode().splitlines()
    assert lines[:9] == [
        "%",
        "(crest)",
        "N10 G20 G17 G90 G94 G40 G49 G80 G54",
        "N20 G64",
        "N30 T3 M6",
        "N40 S12000 M3",
        "N50 G4 P2.5",
        "N60 G0 Z0.4921",
        "N70 G0 X0 Y0",
    ]
    assert [line.split(" ", 1)[-1] for line in lines[-4:]] == ["M5", "M9", "M30", "%"]


def test_dwell_in_milliseconds_if_the_controller_counts_so() -> None:
    dialect = replace(load("lean"), dwell_unit="ms")
    data = write(POCKET, header(wait=2.5), dialect)
    assert b"G4 P2500\n" in data
    events = read(data, dwell_unit="ms").events
    assert [event.value for event in events if event.kind == "dwell"] == [2.5]


def test_line_numbers_start_again_after_five_digits() -> None:
    """NISTIR 6556, 3.3.1: 0 to 99999, may repeat."""
    count = 20_000
    ends = np.column_stack([np.arange(count) % 2, np.arange(count) / 100, np.zeros(count)])
    path = make([(tuple(end), CUT, 10.0) for end in ends.tolist()])
    text = write(path, header(), load("numbered-inch")).decode()
    numbers = [int(found) for found in re.findall(r"^N(\d+) ", text, re.MULTILINE)]
    assert len(numbers) > count
    assert max(numbers) <= 99999
    steps = set(pairwise(numbers))
    assert {after - before for before, after in steps} == {10, 10 - 99990}
    nistir6556.check(text)


def test_bit_change_stops_the_spindle_and_rises_first() -> None:
    """NISTIR 6556, 3.6.3: after M6 the spindle stands, so M3 comes after it."""
    data = write_job(
        [(POCKET, header("rough", tool=1)), (POCKET, header("fine", tool=2, rpm=18000))],
        load("plain"),
    )
    nistir6556.check(data.decode())
    program = read(data)
    story = [(event.kind, event.value) for event in program.events]
    assert story == [
        ("tool", 1),
        ("spindle", 12000),
        ("dwell", 2.5),
        ("spindle", 0),
        ("tool", 2),
        ("spindle", 18000),
        ("dwell", 2.5),
        ("spindle", 0),
        ("end", 2),
    ]
    change = program.events[4].before
    assert program.toolpath.ends[change - 1][2] == CLEAR
    text = data.decode()
    after = text[text.index("T2 M6") :].splitlines()
    assert after[3:5] == ["G0 Z12.5", "G0 X0 Y0"]


def test_parts_with_one_bit_follow_each_other() -> None:
    data = write_job([(POCKET, header()), (POCKET, header())], load("lean"))
    assert data.count(b"M3") == 1
    assert data.count(b"M5") == 1
    assert len(read(data).toolpath) == 2 * len(POCKET) + 1  # and the way back to the start


def test_path_that_starts_lower_is_entered_from_above() -> None:
    path = Toolpath(
        start=np.array([5.0, 6, 2]),
        ends=np.array([[5.0, 6, -1]]),
        kind=np.array([CUT], np.int8),
        feed=np.array([4.0]),
        line=np.zeros(1, np.int32),
    )
    back = read(write(path, header(), load("plain"))).toolpath
    assert back.start.tolist() == [5, 6, CLEAR]
    assert back.ends.tolist() == [[5, 6, 2], [5, 6, -1], [5, 6, CLEAR]]
    assert back.kind.tolist() == [RAPID, CUT, RAPID]


nasty = st.text(
    st.one_of(
        st.sampled_from("()%;\n\r\t,M3GSmsg \0\x7f\u2028é\uff09"), st.sampled_from(string.printable)
    ),
    max_size=150,
)


@given(comments=st.lists(nasty, max_size=4))
@settings(max_examples=150, deadline=None)
def test_comment_cannot_become_anything_else(comments: list[str]) -> None:
    calm = write(POCKET, header(), load("plain")).decode()
    for dialect in [*DIALECTS, replace(load("plain"), comments="semicolon")]:
        calm = write(POCKET, header(), dialect).decode()
        text = write(POCKET, header(*comments), dialect).decode("ascii")
        mark = ";" if dialect.comments == "semicolon" else "("
        lines = text.splitlines()
        added = [line for line in lines if line.startswith(mark)]
        assert [line for line in lines if line not in added] == calm.splitlines()
        for line in added:
            inside = line[1:-1] if mark == "(" else line[1:]
            assert not set("();%") & set(inside)
            assert inside.isprintable()
            assert not re.match(r"\s*m\s*s\s*g\s*,", inside, re.IGNORECASE)
            assert len(line) <= dialect.max_line_length


@pytest.mark.parametrize(
    ("comment", "line"),
    [
        ("crest) M3 S99999 (", "(crest M3 S99999)"),
        ("MSG, take off the guard", "(note: MSG, take off the guard)"),
        (" m s g , x", "(note: m s g , x)"),
        ("(MSG,x", "(note: MSG,x)"),
        ("a\nG0 Z-50", "(a G0 Z-50)"),
        ("50 % ; half", "(50 half)"),
        ("Étude", "(Etude)"),
    ],
)
def test_known_tricks_in_comments(comment: str, line: str) -> None:
    assert write(POCKET, header(comment), load("plain")).decode().splitlines()[1] == line


@pytest.mark.parametrize(
    ("path", "message"),
    [
        (make([((100_000, 0, 0), CUT, 1)]), "move 0 goes to"),
        (make([((1, 0, 0), CUT, 1), ((2, 0, 0), CUT, 0.001)]), "move 1 .*0.001 mm/s"),
        (make([((1, 0, 0), CUT, 2000)]), "2000 mm/s"),
        (make([((1, 0, 0), CUT, 1)], (1e6, 0)), "starts at"),
        (make([((0, 0, CLEAR), CUT, 1)]), "no move that is left"),
    ],
)
def test_path_that_cannot_be_written(path: Toolpath, message: str) -> None:
    with pytest.raises(TextError, match=message):
        write(path, header(), load("plain"))


def test_job_that_cannot_be_written() -> None:
    with pytest.raises(TextError, match="no path to write"):
        write_job([], load("plain"))
    with pytest.raises(TextError, match="no bit changes"):
        write_job([(POCKET, header(tool=1)), (POCKET, header(tool=2))], load("lean"))
    with pytest.raises(TextError, match='cannot be in "cm"'):
        write(POCKET, header(), load("plain"), unit="cm")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("tool", -1),
        ("spindle_rpm", 0),
        ("spindle_rpm", float("nan")),
        ("spindle_start", -1),
        ("clearance_z", float("inf")),
    ],
)
def test_header_that_cannot_be_written(key: str, value: float) -> None:
    values = {"tool": 1, "spindle_rpm": 9000, "spindle_start": 0, "clearance_z": 5, key: value}
    with pytest.raises(TextError, match=f"{key} .* cannot be written"):
        Header(comments=(), **values)  # type: ignore[arg-type]


def test_unit_changes_the_text_and_not_the_path() -> None:
    in_mm = read(write(POCKET, header(), load("plain")))
    in_inch = read(write(POCKET, header(), load("plain"), unit="in"))
    assert (in_mm.unit, in_inch.unit) == ("mm", "in")
    np.testing.assert_allclose(in_mm.toolpath.ends, in_inch.toolpath.ends, atol=0.0005 + 0.00127)
