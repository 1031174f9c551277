"""Which move was under way, and where to begin: worked out by hand on a path of a few moves."""

import numpy as np
import pytest

from icecam.errors import OutputError
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.resume.folder import CutFolder
from icecam.resume.rest import run_of
from icecam.resume.shown import limit_of, overlap_of, seconds_of, stop_shown
from icecam.resume.stops import Run, at_line, at_place, at_time, restart

ENDS = [
    (0, 0, 3),  # 0 rapid down, line 11
    (0, 0, 0.5),  # 1 down, line 12
    (0, 0, -1),  # 2 plunge, line 13
    (10, 0, -1),  # 3 cut, line 14
    (20, 0, -1),  # 4 the same arc, line 14
    (20, 10, -1),  # 5 cut, line 15
    (20, 10, 5),  # 6 rapid up, line 16
    (0, 10, 5),  # 7 rapid, line 17
    (0, 10, 0.5),  # 8 down, line 18
    (5, 10, -0.5),  # 9 ramp, line 19
    (10, 10, -1),  # 10 ramp, line 20
    (0, 10, -1),  # 11 cut, line 21
    (0, 10, 5),  # 12 rapid up, line 22
]
KINDS = [RAPID, *[CUT] * 5, RAPID, RAPID, *[CUT] * 4, RAPID]
LINES = [11, 12, 13, 14, 14, 15, 16, 17, 18, 19, 20, 21, 22]
RUN = Run(
    name="stage",
    path=Toolpath(
        start=np.array([0.0, 0.0, 50.0]),
        ends=np.array(ENDS, dtype=float),
        kind=np.array(KINDS, dtype=np.int8),
        feed=np.where(np.array(KINDS) == CUT, 10.0, np.nan),
        line=np.array(LINES, dtype=np.int32),
    ),
    seconds=np.full(len(ENDS), 2.0),
    before=8.0,
    lines=25,
)


@pytest.mark.parametrize(("line", "move"), [(13, 2), (14, 3), (15, 5), (17, 7), (21, 11)])
def test_a_line_is_its_first_move(line: int, move: int) -> None:
    assert at_line(RUN, line).move == move


@pytest.mark.parametrize(
    ("seconds", "move"), [(8 + 2.5, None), (8 + 4.5, 2), (8 + 7.9, 3), (8 + 8.1, 4), (8 + 23, 11)]
)
def test_a_time_counts_the_start_of_the_spindle(seconds: float, move: int | None) -> None:
    """Every move takes two seconds, the spindle eight before."""
    if move is None:
        with pytest.raises(OutputError, match="cut nothing yet"):
            at_time(RUN, seconds)
    else:
        assert at_time(RUN, seconds).move == move


@pytest.mark.parametrize(
    ("point", "move"),
    [((5, 0, -1), 3), ((15, 0.3, -1), 4), ((20, 5, -1), 5), ((20, 10, 2), 6), ((4, 10, -1), 11)],
)
def test_a_place_is_the_nearest_move(point: tuple[float, ...], move: int) -> None:
    assert at_place(RUN, np.array(point, dtype=float)).move == move


def test_a_place_passed_twice_is_the_first_and_says_so() -> None:
    stop = at_place(RUN, np.array([0.0, 10.0, 3.0]))
    assert stop.move == 8
    assert "2 times, from line 18 to line 22" in stop.note


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (0, "lines 1 to 25"),
        (26, "lines 1 to 25"),
        (5, "cut nothing yet"),
        (24, "made all its cuts"),
    ],
)
def test_lines_that_are_none(line: int, words: str) -> None:
    with pytest.raises(OutputError, match=words):
        at_line(RUN, line)


def test_a_time_beyond_is_refused_with_the_time_it_takes() -> None:
    """13 moves of 2 s and 8 s before: 34 s."""
    with pytest.raises(OutputError, match="takes 0:00:34 hours, 0:01:00 lies beyond"):
        at_time(RUN, 60.0)


def test_a_far_place_names_the_nearest_and_how_far() -> None:
    """Nearest to (10, -3, -1) is (10, 0, -1), 3 mm away."""
    with pytest.raises(OutputError, match=r"x 10\.000, y 0\.000, z -1\.000 mm in line 14, 3\.0 mm"):
        at_place(RUN, np.array([10.0, -3.0, -1.0]))


@pytest.mark.parametrize(
    ("move", "overlap", "first"),
    [
        (5, 0.0, 5),  # a cut by itself
        (5, 1.0, 3),  # back into the arc: to the beginning of its line
        (5, 2.0, 3),
        (5, 5.0, 1),  # into the plunge: all of the way down again
        (2, 0.0, 1),  # stopped in the plunge
        (7, 0.0, 8),  # stopped on a rapid: the next cut
        (7, 1.0, 5),  # the cut before it
        (11, 100.0, 1),  # more than there is: the first cut
    ],
)
def test_where_to_begin(move: int, overlap: float, first: int) -> None:
    """Two seconds a move; rapids do not count."""
    assert restart(RUN, move, overlap, roughing=False) == first


@pytest.mark.parametrize(("roughing", "first"), [(True, 8), (False, 10)])
def test_ramps_are_begun_again_in_roughing(roughing: bool, first: int) -> None:
    assert restart(RUN, 10, 0.0, roughing=roughing) == first


def test_lines_shown_ahead_are_done_again() -> None:
    assert restart(RUN, 11, 0.0, roughing=False, ahead=2) == 9
    assert restart(RUN, 11, 0.0, roughing=False, ahead=0) == 11


@pytest.mark.parametrize("text", ["", "1", "1:60", "-1:00", "1:2:3", "a:10", "1:00:61"])
def test_texts_that_are_no_time(text: str) -> None:
    with pytest.raises(OutputError, match="no time"):
        seconds_of(text)


@pytest.mark.parametrize("seconds", [-1.0, float("nan"), 3601.0])
def test_overlaps_that_cannot_be(seconds: float) -> None:
    with pytest.raises(OutputError, match="overlap"):
        overlap_of(seconds)


@pytest.mark.parametrize("hours", [0.0, -2.0, float("nan"), float("inf")])
def test_parts_that_cannot_be(hours: float) -> None:
    with pytest.raises(OutputError, match="hours"):
        limit_of(hours=hours, minutes=None)


def test_limits_in_hours_and_minutes() -> None:
    assert limit_of(hours=4.0, minutes=None) == 14400
    assert limit_of(hours=None, minutes=90.0) == 5400


@pytest.mark.parametrize("number", [1, 2])
def test_time_and_place_agree_with_the_line(inch_folder: CutFolder, number: int) -> None:
    """A moment within a move and a place on it tell the line they were taken from.

    Where the path was at the place before, the earlier line counts.
    """
    run = run_of(inch_folder, inch_folder.stages[number - 1])
    cuts = run.cuts[run.path.lengths[run.cuts] > 0.1]
    same = 0
    for move in cuts[5 : -5 : len(cuts) // 20].tolist():
        line = int(run.path.line[move])
        moment = run.before + run.seconds[:move].sum() + run.seconds[move] / 2
        found = at_time(run, moment).move
        assert run.path.line[found] == line
        middle = (run.path.begins[move] + run.path.ends[move]) / 2
        text = ",".join(f"{x / 25.4:.4f}" for x in middle)
        shown = stop_shown(inch_folder, run, line=None, time=None, at=text)
        assert shown.move <= at_line(run, line).move + (
            found - int(np.searchsorted(run.path.line, line))
        )
        place = run.path.begins[shown.move], run.path.ends[shown.move]
        way = place[1] - place[0]
        share = np.clip((middle - place[0]) @ way / (way @ way), 0, 1)
        assert np.linalg.norm(place[0] + share * way - middle) < 0.03
        same += int(run.path.line[shown.move]) == line
    assert same > 10
