"""Arcs in the text: against the standard followed in decimals, a slow twin, and what was planned.

Source of the rules: NISTIR 6556, 3.5.3.2, as `tests.published.nistir6556_arcs` has them.
"""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pygcode import Line, Machine  # type: ignore[import-untyped]

from icecam.errors import TextError
from icecam.kernels.arcs import FEWEST, MOST_TURN, Fit, find_arcs
from icecam.paths.toolpath import CUT, Toolpath
from post.dialect import Dialect, Unit, load
from post.reader import read
from post.writer import ARC_LEAST_MM, ARC_MOST_MM, write
from tests.post.hidden_arcs import Bend, bends, from_each_to_moves, joined, pieces, with_middles
from tests.post.paths import CLEAR, header
from tests.published import nistir6556
from tests.published.nistir6556_arcs import RADII, follow
from tests.reference import arcs as twin
from tests.reference import text as reader_twin

WITH_ARCS = [
    load("plain"),
    load("lean"),
    replace(load("plain"), line_number_step=10, decimals_mm=4, decimals_in=5),
]
MM = {"mm": 1.0, "in": 25.4}
BELOW_TURN = 1e-9
Parts = list[tuple[Bend | tuple[tuple[float, float, float], int], float]]


def text_of(path: Toolpath, dialect: Dialect, tolerance: float, unit: Unit = "mm") -> bytes:
    return write(path, replace(header(), arc_tolerance=tolerance), dialect, unit=unit)


def points_of(path: Toolpath) -> NDArray[np.float64]:
    return np.vstack([path.start, path.ends])


@given(
    parts=pieces,
    tolerance=st.sampled_from([0.0025, 0.01, 0.05]),
    dialect=st.sampled_from(WITH_ARCS),
    unit=st.sampled_from(["mm", "in"]),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_text_leads_where_the_path_leads(
    parts: Parts, tolerance: float, dialect: Dialect, unit: Unit
) -> None:
    """By the standard alone: everywhere within tolerance and rounding, both ways."""
    path = joined(parts)
    text = text_of(path, dialect, tolerance, unit).decode()
    nistir6556.check(text)
    moves = follow(text)
    arcs = [move for move in moves if move.centre is not None]
    event(f"{min(len(arcs), 3)} arcs")
    decimals = dialect.decimals_mm if unit == "mm" else dialect.decimals_in
    # half a tick on each axis
    allowed = tolerance + math.sqrt(3) / 2 * MM[unit] * 10.0**-decimals
    # the writer comes down to the start and rises at the end, if the tip is not that high
    x, y, z = path.ends[-1]
    planned = np.vstack([[0, 0, CLEAR], points_of(path), [x, y, max(z, CLEAR)]])
    places = np.vstack([move.places(1e-4 / MM[unit]) for move in moves]) * MM[unit]
    assert from_each_to_moves(with_middles(places), planned).max() <= allowed + 1e-4
    assert from_each_to_moves(with_middles(planned), places).max() <= allowed + 1e-4
    for arc in arcs:
        assert float(max(arc.radii)) * MM[unit] >= ARC_LEAST_MM - 1e-9
        assert float(min(arc.radii)) * MM[unit] <= ARC_MOST_MM + 1e-9
        assert abs(arc.radii[0] - arc.radii[1]) <= RADII[unit]
        assert arc.turn <= MOST_TURN + BELOW_TURN


@given(parts=pieces, tolerance=st.sampled_from([0.0025, 0.01, 0.05]))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_reader_and_its_twin_read_the_arcs_that_are_written(parts: Parts, tolerance: float) -> None:
    data = text_of(joined(parts), load("plain"), tolerance)
    program, reading = read(data, arc_tolerance=0.002), reader_twin.read(data)
    bent = [move for move in reading.moves if move.arc is not None]
    assert program.toolpath.arcs is not None
    begins, ends = program.toolpath.arcs.moves.T
    assert len(begins) == len(bent)
    lines = program.toolpath.line[begins]
    np.testing.assert_array_equal(program.toolpath.line[ends - 1], lines)
    assert lines.tolist() == [move.line for move in bent]
    for move in bent:
        assert move.arc is not None
        chords = np.flatnonzero(program.toolpath.line == move.line)
        points = np.vstack([program.toolpath.begins[chords[0]], program.toolpath.ends[chords]])
        spokes = points[:, 0] + 1j * points[:, 1] - move.arc.centre
        assert np.angle(spokes[1:] / spokes[:-1]).sum() == pytest.approx(move.arc.turn, abs=1e-6)
        middles = (spokes[1:] + spokes[:-1]) / 2
        assert np.abs(np.abs(middles) - np.abs(spokes[0])).max() <= 0.002 + 0.002


@given(bend=bends, tolerance=st.sampled_from([0.0025, 0.01, 0.05]))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_hidden_arc_becomes_as_few_words_as_it_may(bend: Bend, tolerance: float) -> None:
    """An arc whose chords stay within it, flat enough as a helix, takes one word a 3/4 turn."""
    path = joined([(bend, 20.0)])
    text = text_of(path, load("plain"), tolerance).decode()
    arcs = [move for move in follow(text) if move.centre is not None]
    sagitta = bend.radius * (1 - math.cos(bend.turn / bend.moves / 2))
    step = abs(bend.turn) / bend.moves
    shallow = abs(bend.rise) <= 0.95 * bend.radius * abs(bend.turn)
    # what rounding may take of the tolerance, with both ends off by half a tick and more between
    room = 0.004 if bend.turn < 0.8 else 0.003
    if sagitta <= tolerance - room and shallow and step < 1.5:
        event("found")
        whole = abs(bend.turn) / (MOST_TURN - step)
        assert 1 <= len(arcs) <= math.ceil(whole) + (whole > 1)
        assert len(text.splitlines()) < 20 + FEWEST + len(arcs)
    if abs(bend.rise) > 1.05 * bend.radius * abs(bend.turn):
        assert not arcs


@given(
    steps=st.lists(
        st.tuples(st.floats(-0.35, 0.6), st.floats(0.05, 4), st.sampled_from([0, 0, 0, 3])),
        min_size=1,
        max_size=40,
    ),
    tolerance=st.sampled_from([2.0, 20.0, 200.0]),
)
@settings(max_examples=150, deadline=None, derandomize=True)
def test_runs_as_the_twin(steps: list[tuple[float, float, int]], tolerance: float) -> None:
    """On wavering walks: runs found fit by the twin, one move more or a run left out does not."""
    turns, sizes, rises = (np.array(part) for part in zip(*steps, strict=True))
    heading = np.exp(1j * np.cumsum(turns))
    flat = np.cumsum(np.concatenate([[0], 1000 * sizes * heading]))
    height = np.concatenate([[0], np.cumsum(rises)])
    points = np.rint(np.column_stack([flat.real, flat.imag, height])).astype(np.int64)
    count = len(points) - 1
    fit = Fit(tolerance, 2.0, 300.0, 999e3, 1e9)
    spans, centres = np.zeros(count, np.int64), np.zeros((count, 2), np.int64)
    found = find_arcs(points, np.full(count, 9, np.int64), fit, spans, centres)
    assert found == (spans > 0).sum()
    event(f"{min(found, 3)} arcs")
    first = 0
    while first < count:
        span = int(spans[first])
        if span:
            run = points[first : first + span + 1].astype(float)
            middle = complex(*(run[0, :2] + centres[first]))
            best = twin.centre(run)
            assert best is not None
            assert max(abs((best - middle).real), abs((best - middle).imag)) <= 0.501
            assert twin.apart(run, middle) <= tolerance + 1e-6
            assert abs(twin.turn(run, middle)) <= MOST_TURN
        longer = points[first : first + max(span + 1, FEWEST) + 1].astype(float)
        if len(longer) > max(span + 1, FEWEST):
            assert not clearly_fits(longer, fit)
        first += span or 1


def clearly_fits(run: NDArray[np.float64], fit: Fit) -> bool:
    """Whether the twin's arc fits with room for the rounding of its centre, by a wide margin."""
    middle = twin.centre(run)
    if middle is None:
        return False
    turn, radius = abs(twin.turn(run, middle)), abs(complex(*run[0, :2]) - middle)
    steps = np.abs(np.angle(np.exp(1j * np.diff(np.angle(run[:, 0] + 1j * run[:, 1] - middle)))))
    inside = 2 * fit.least < radius < fit.most / 2 and turn < MOST_TURN - 0.01
    gentle = abs(run[-1, 2] - run[0, 2]) < 0.9 * radius * turn and steps.max() < np.pi / 2 - 0.01
    return bool(inside and gentle and twin.apart(run, middle) < fit.tolerance - 3.0)


@given(
    parts=pieces,
    tolerance=st.sampled_from([0.0025, 0.05]),
    dialect=st.sampled_from(WITH_ARCS),
    unit=st.sampled_from(["mm", "in"]),
    paces=st.lists(st.sampled_from([7.0, 20.0, 55.5]), min_size=1, max_size=9),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_text_written_again_at_other_feeds_goes_the_same_way(
    parts: Parts, tolerance: float, dialect: Dialect, unit: Unit, paces: list[float]
) -> None:
    """Feeds by line part no arc, and make no new one where two lines now share a feed."""
    path = read(text_of(joined(parts), dialect, tolerance, unit)).toolpath
    feed = np.where(path.kind == CUT, np.array(paces)[path.line % len(paces)], np.nan)
    again = read(text_of(replace(path, feed=feed), dialect, tolerance, unit)).toolpath
    assert again.goes_as(path)
    assert path.arcs is not None
    assert again.arcs is not None
    np.testing.assert_array_equal(again.arcs.moves, path.arcs.moves)
    event(f"{min(len(path.arcs.moves), 3)} arcs")
    off = MM[unit] / 60 * 0.11  # of the last decimal of F, rounded down
    assert (np.abs(again.feed - feed)[path.kind == CUT] <= off).all()


def test_an_arc_at_two_feeds_is_written_in_chords() -> None:
    path = read(text_of(joined([(Bend(0.0, 1.5, 20.0, 0.0, 30), 20.0)]), WITH_ARCS[0], 0.02))
    whole = path.toolpath
    assert whole.arcs is not None
    ((first, last),) = whole.arcs.moves.tolist()
    feed = whole.feed.copy()
    feed[last - 1] = 30.0
    moves = follow(text_of(replace(whole, feed=feed), WITH_ARCS[0], 0.02).decode())
    assert all(move.centre is None for move in moves)
    assert len(moves) >= last - first


def test_a_part_of_a_path_has_the_arcs_that_are_whole_in_it() -> None:
    bend = (Bend(0.0, 1.5, 20.0, 0.0, 30), 20.0)
    path = read(text_of(joined([bend, bend]), WITH_ARCS[0], 0.02)).toolpath
    assert path.arcs is not None
    one, two = path.arcs.moves.tolist()
    part = path.part(one[0] + 1, two[1])
    assert part.arcs is not None
    assert (part.arcs.moves + one[0] + 1).tolist() == [two]
    np.testing.assert_array_equal(part.arcs.centres, path.arcs.centres[1:])
    assert (part.line[part.arcs.moves[0, 0] :] == path.line[two[0]]).all()


def test_words_of_an_arc() -> None:
    """A half circle of radius 10 to the left in 12 moves, then a straight way on at its feed."""
    path = joined([(Bend(0.0, math.pi, 10.0, 0.0, 60), 20.0), (((-5.0, 0.0, 0.0), CUT), 20.0)])
    text = text_of(path, load("plain"), 0.02).decode()
    first, second = text[text.index("G3 ") :].splitlines()[:2]
    words = re.fullmatch(r"G3 X0 Y20 I(-?0.?\d*) J(1?\d.?\d*) F1200", first)
    assert words
    assert [float(word) for word in words.groups()] == pytest.approx([0, 10], abs=0.005)
    assert second == "G1 X-5"


def test_arcs_end_where_an_independent_machine_ends() -> None:
    """pygcode 0.2.1 runs the text; the ends of lines are points of the path."""
    path = joined([(Bend(0.3, -2.0, 30.0, -4.0, 80), 20.0), (Bend(2.0, 5.0, 12.0, 0.0, 90), 55.5)])
    machine, rounded = Machine(), np.round(points_of(path), 3)
    ends = 0
    for line in text_of(path, load("plain"), 0.01).decode().splitlines():
        if line == "%":
            continue
        machine.process_block(Line(line).block)
        if " I" in line:
            here = (machine.pos.X, machine.pos.Y, machine.pos.Z)
            assert np.abs(rounded - here).max(axis=1).min() < 1e-9
            ends += 1
    assert ends >= 3


def test_feeds_and_rapids_part_arcs() -> None:
    bend = Bend(0.0, 1.5, 20.0, 0.0, 30)
    path = joined([(bend, 20.0)])
    feeds = np.where(np.arange(31) < 12, 20.0, 30.0)
    parted = replace(path, feed=feeds)
    whole = follow(text_of(path, WITH_ARCS[0], 0.02).decode())
    assert sum(move.centre is not None for move in whole) == 1
    moves = follow(text_of(parted, WITH_ARCS[0], 0.02).decode())
    ends = [np.array(move.end, float) for move in moves if move.centre is not None]
    np.testing.assert_allclose(ends, np.round(path.ends[[11, 29]], 3), atol=1e-9)
    rapid = replace(path, kind=np.zeros(31, np.int8))
    assert all(m.centre is None for m in follow(text_of(rapid, WITH_ARCS[0], 0.02).decode()))


@pytest.mark.parametrize(
    ("dialect", "tolerance"), [("numbered-inch", 0.05), ("plain", 0.0), ("lean", 0.0)]
)
def test_straight_moves_only_where_arcs_are_not_wanted(dialect: str, tolerance: float) -> None:
    path = joined([(Bend(0.0, 3.0, 20.0, 0.0, 60), 20.0)])
    moves = follow(text_of(path, load(dialect), tolerance).decode())
    assert all(move.centre is None for move in moves)
    assert len(moves) == 61 + 2  # and down to the start, and up at the end


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_longest_line_fits(unit: Unit) -> None:
    """The dialect with most decimals that has arcs, far out, long words everywhere."""
    dialect = replace(
        load("lean"), decimals_mm=4, decimals_in=5, line_number_step=1000, max_line_length=80
    )
    start = np.array([-1.0, -1.0, -1.0]) * 9998.7654 * MM[unit]
    bend = Bend(0.777, 0.9, 905.111, 1.2345, 400)
    points = np.vstack([start, bend.points(start)])
    points -= np.minimum(points.min(axis=0) - start, 0)
    path = Toolpath(
        start=points[0],
        ends=points[1:],
        kind=np.full(400, CUT, np.int8),
        feed=np.full(400, 1666.123),
        line=np.zeros(400, np.int32),
    )
    lines = text_of(path, dialect, 0.05, unit).decode().splitlines()
    arcs = [line for line in lines if " I" in line]
    assert arcs
    assert max(map(len, lines)) <= 80


def test_far_out_moves_stay_straight() -> None:
    bend = Bend(0.0, 3.0, 20.0, 0.0, 60)
    path = joined([(bend, 20.0)]).moved((9990.0, 0.0, 0.0))
    arcs = [m for m in follow(text_of(path, load("plain"), 0.02).decode()) if m.centre is not None]
    assert all(max(abs(v) for v in (*m.begin, *m.end)) <= 9999 for m in arcs)
    away = path.moved((20.0, 0.0, 0.0))
    assert all(m.centre is None for m in follow(text_of(away, load("plain"), 0.02).decode()))


@pytest.mark.parametrize("tolerance", [-0.1, 2.0, float("nan")])
def test_header_refuses_a_tolerance(tolerance: float) -> None:
    with pytest.raises(TextError, match=r"arc_tolerance .* cannot be written"):
        replace(header(), arc_tolerance=tolerance)
