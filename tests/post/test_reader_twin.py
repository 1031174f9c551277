"""The reader's kernels against the slow twin, on text made up to part them."""

import math
from functools import partial

import numpy as np
import pytest
from hypothesis import currently_in_test_context, event, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.errors import TextError
from icecam.paths.toolpath import CUT
from post.reader import Program, read
from tests.reference import text as twin

TOLERANCE = 0.01

_figures = st.one_of(
    st.sampled_from(["0", "-0", "5", "-5.", ".5", "+10", "1 0", "3.4640", "8.6603", "99999"]),
    st.sampled_from(["", "-", "1.2.3", "1e5", "-.", "123456789", "0.00000000000000000000001"]),
    st.decimals(-50, 50, places=3).map(str),
    st.integers(-9, 9).map(str),
)
_sound = st.one_of(st.integers(-9, 9).map(str), st.decimals(-50, 50, places=3).map(str))
_CODES = """
G0 G1 G2 G3 G00 G01 G1 G1 G17 G18 G19 G20 G21 G90 G91 G4 G53 G80 G40 G49 G54 G94 G61 G61.1 G64 G55
G92 G28 G1.5 G-1 M0 M1 M2 M3 M4 M5 M6 M7 M8 M9 M30 M48 M49 M60 M99 M03 M3.00005
"""
_codes = st.sampled_from(_CODES.split())
_ODD = "(a)_(a (b)_(MSG, b)_; c ( d_(open_/_%_#1_[_N10_N123456_ _\t_O1_E1_A1_\r_\x01_\u00e9"
_odd = st.sampled_from(f"{_ODD}_)_|_=_*_x 7_g1_(\x01)_(\u00e9)".split("_"))
_word = partial(st.builds, lambda letter, number: f"{letter}{number}")
_line = st.one_of(
    st.lists(
        st.one_of(_codes, _word(st.sampled_from("XYZXYZIJKRFSTPNHQ"), _figures), _odd), max_size=6
    ),
    st.tuples(
        st.sampled_from(["G0", "G1", "", "G2", "G3", "G91 G1", "G90 G1", "G53 G0", "F9", "S5 M3"]),
        _word(st.sampled_from("XYZ"), _sound),
        st.one_of(st.just(""), _word(st.sampled_from("XYZ"), _sound)),
        st.one_of(st.just(""), _word(st.sampled_from("IJKRFPST"), _sound)),
    ).map(list),
).flatmap(lambda words: st.sampled_from([" ", ""]).map(lambda gap: gap.join(words)))
_head = st.sampled_from(
    ["", "%\n", "G21\nG0 X0 Y0 Z5\nF600\n", "G21\nG0 X0 Y0 Z5\nF600\n", "G20 G0 Z1\nX1 Y2\nF60\n"]
)
_tail = st.sampled_from(["M2\n", "M2\n", "M30", "%\n", "", "\nM2 (end)\r\n"])
_SETTINGS = (
    "G0_G1_G90_G91_G17_G18_S5 M3_S9_M4_M5_T2 M6_T4_M6 M3_G4 P1_F9_F.5_M8_M9 M0_M60_(a)_/N5_G94"
)
_sound_line = st.one_of(
    st.sampled_from(_SETTINGS.split("_")),
    st.builds(
        lambda code, x, z, more: f"{code}X{x} {more}Z{z}",
        st.sampled_from(["", "", "G0", "G1", "N7G1", "F4", "S8", "G91 G1", "M5", "T1 M6"]),
        _sound,
        _sound,
        st.sampled_from(["", "Y1", "M3", "(a)", "M1 "]),
    ),
)


def _programs(
    lines: st.SearchStrategy[str], heads: st.SearchStrategy[str], tails: st.SearchStrategy[str]
) -> st.SearchStrategy[bytes]:
    """Programs of one to six lines between a head and a tail."""
    return st.builds(
        lambda head, body, tail: (head + "\n".join(body) + "\n" + tail).encode(),
        heads,
        st.lists(lines, min_size=1, max_size=6),
        tails,
    )


_sound_programs = _programs(
    _sound_line, st.sampled_from(["G21\nG0 X0 Y0 Z5\nF600\n"]), st.sampled_from(["M2\n", "M30"])
)


def assert_on_arc(points: NDArray[np.float64], move: twin.Move, arc: twin.Arc) -> None:
    """Check that points run along an arc: on its circle, evenly, all of its turn, chords close."""
    first, second, across = arc.axes
    away = points[:, first] + 1j * points[:, second] - arc.centre
    radius = abs(away[0])
    steps = np.angle(away[1:] / away[:-1])
    np.testing.assert_allclose(points[-1], move.end, atol=1e-9)
    np.testing.assert_allclose(abs(away), radius, atol=0.0052)
    np.testing.assert_allclose(steps, arc.turn / len(steps), atol=1e-6)
    assert (1 - math.cos(abs(arc.turn) / len(steps) / 2)) * radius <= TOLERANCE + 1e-6
    rises = np.diff(points[:, across])
    np.testing.assert_allclose(
        rises, (move.end[across] - move.begin[across]) / len(steps), atol=1e-9
    )


def assert_same(program: Program, reading: twin.Reading) -> None:
    """Check moves and events against the twin's."""
    path = program.toolpath
    assert reading.start is not None
    np.testing.assert_allclose(path.start, np.array(reading.start), atol=1e-12)
    row, begins = 0, []
    points = np.concatenate([path.start[None], path.ends])
    for move in reading.moves:
        begins.append(row)
        count = 1
        if move.arc is not None:
            count = int((path.line == move.line).sum())
            assert_on_arc(points[row : row + count + 1], move, move.arc)
        np.testing.assert_allclose(path.ends[row + count - 1], move.end, rtol=1e-12, atol=1e-12)
        assert (path.line[row : row + count] == move.line).all()
        assert ((path.kind[row : row + count] == CUT) == move.cuts).all()
        np.testing.assert_allclose(path.feed[row : row + count], move.feed, rtol=1e-12)
        row += count
    begins.append(row)
    assert row == len(path)
    found = [(e.before, e.kind, e.value, e.line) for e in program.events]
    assert found == [(begins[before], *rest) for before, *rest in reading.events]
    assert program.lines == reading.line


def assert_agree(text: bytes, start: tuple[float, float, float] | None) -> None:
    """Check that reader and twin take the text alike, or refuse it for the same line."""
    reading, line = None, 0
    try:
        reading = twin.read(text, start)
    except twin.RefusedError as refusal:
        line = refusal.line
    if reading is not None and reading.moves:
        if currently_in_test_context():
            event("taken, with arcs" if any(move.arc for move in reading.moves) else "taken")
        assert_same(read(text, start=start, arc_tolerance=TOLERANCE), reading)
        return
    with pytest.raises(TextError) as caught:
        read(text, start=start, arc_tolerance=TOLERANCE)
    if reading is None and text.strip():
        assert str(caught.value).startswith((f"text, line {line}:", f"text, line {line},"))


@given(text=_programs(_line, _head, _tail), start=st.sampled_from([None, (1.0, 2.0, 3.0)]))
@example(text=b"G21\nG0 X0 Y0 Z0\nF9\nG2 X0 Y0 I5\nM2", start=None)
@example(text=b"G20\nG0 X0 Y0 Z0\nF9\nG18 G3 X1 Z1 Y1 R-1\nM2", start=None)
@example(text=b"G21\nG0 X0 Y0 Z0\nF9\nG3 X10.001 Y0.001 I5.0005\nG2 X0 Y0 R5.001\nM2", start=None)
@settings(max_examples=1500, deadline=None)
def test_reader_and_twin_agree(text: bytes, start: tuple[float, float, float] | None) -> None:
    assert_agree(text, start)


@given(text=_sound_programs)
@settings(max_examples=500, deadline=None)
def test_sound_programs_agree(text: bytes) -> None:
    assert_agree(text, None)


@given(
    data=st.lists(
        st.tuples(
            st.sampled_from(["G2", "G3"]),
            st.sampled_from(["G17", "G18", "G19"]),
            st.tuples(*[st.integers(-40, 40)] * 3),
            st.one_of(st.integers(-99, 99), st.tuples(st.integers(-9, 9), st.integers(-9, 9))),
        ),
        min_size=1,
        max_size=5,
    )
)
@settings(max_examples=300, deadline=None)
def test_arcs_agree(
    data: list[tuple[str, str, tuple[int, int, int], int | tuple[int, int]]],
) -> None:
    """Arcs by radius, and by centre with an end turned into place."""
    lines, here = ["G21 G90", "G0 X0 Y0 Z0", "F600"], [0.0, 0.0, 0.0]
    for code, plane, goal, shape in data:
        first, second, _ = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}[plane]
        end = [float(value) for value in goal]
        if isinstance(shape, int):
            words = f"R{shape}"
        else:
            spoke = complex(*shape)
            turned = complex(here[first], here[second]) + spoke
            turned -= spoke * np.exp(1j * goal[first] / 6.4)
            end[first], end[second] = round(turned.real, 6), round(turned.imag, 6)
            words = f"{'IJK'[first]}{shape[0]} {'IJK'[second]}{shape[1]}"
        x, y, z = (f"{value:.6f}" for value in end)
        lines.append(f"{plane} {code} X{x} Y{y} Z{z} {words}")
        here = end
    assert_agree("\n".join([*lines, "M2"]).encode(), None)


@given(
    cut=st.integers(0, 200),
    place=st.integers(0, 200),
    byte=st.sampled_from(list(b"0123456789.-+XYZGMFIJR()%;/ \t\nNEe#\xe9\x00")),
)
@settings(max_examples=600, deadline=None)
def test_one_wrong_byte(cut: int, place: int, byte: int) -> None:
    """Text with a byte changed, or cut short, is understood as the twin understands it."""
    whole = (
        b"%\n(crest) \nN10 G21 G17 G90 G94 G40\nT3 M6\nS12000 M3\nG4 P2.5\nG0 Z12.5\nG0 X0 Y0\n"
        b"N5 G1 Z-2 F300\nX40.123 Y-2\nG3 X50.123 I5\nG0 Z12.5\nM5\nM2\n%\n"
    )
    text = bytearray(whole[: len(whole) - cut] if cut % 3 == 0 else whole)
    if place < len(text):
        text[place] = byte
    assert_agree(bytes(text), None)
