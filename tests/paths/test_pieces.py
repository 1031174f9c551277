"""Pieces: straightened within a tolerance by shapely's distance, cut and parted without loss."""

from collections.abc import Iterator
from itertools import pairwise
from math import inf, pi
from typing import NamedTuple

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.paths.pieces import (
    LONGEST_SKIP,
    Parted,
    drawn_taut,
    joined,
    numbers_in,
    parted,
    pieces_of,
    reordered,
    runs_of,
    simplified,
    without,
)
from tests.reference.polyline import begins_of_parts

Floats = NDArray[np.float64]
steady = settings(deadline=None, derandomize=True)
"""The first call of a kernel may compile it, which takes its time."""
_numbers = st.floats(-20, 20, width=32)


def _lines(least: int = 1, most: int = 30) -> st.SearchStrategy[Floats]:
    """Polylines (n, 3)."""
    return st.integers(least, most).flatmap(
        lambda n: hnp.arrays(np.float64, (n, 3), elements=_numbers)
    )


# The record


@steady
@given(st.lists(_lines(), max_size=6))
def test_pieces_give_back_what_they_were_made_of(lines: list[Floats]) -> None:
    pieces = pieces_of(lines)
    assert len(pieces) == len(lines)
    for n, line in enumerate(lines):
        np.testing.assert_array_equal(pieces[n], line)
    for outside in (-1, len(lines)):
        with pytest.raises(IndexError):
            pieces[outside]


# Straightening


@steady
@given(_lines(2, 40), st.floats(0.01, 5.0))
def test_straightened_line_is_within_the_tolerance(line: Floats, tolerance: float) -> None:
    """Each point left out lies within it of the line that is left (shapely, in each plane).

    Distances in space are at least those of the same line seen along an axis.
    """
    found = simplified(pieces_of([line]), tolerance)
    np.testing.assert_array_equal(found[0][0], line[0])
    np.testing.assert_array_equal(found[0][-1], line[-1])
    for plane in ([0, 1], [0, 2], [1, 2]):
        left = shapely.LineString(found[0][:, plane])
        assert shapely.distance(left, shapely.points(line[:, plane])).max() <= tolerance + 1e-9


@steady
@given(st.floats(0.005, 0.2), st.floats(1.0, 30.0))
def test_straightened_arc_is_within_the_tolerance_and_no_finer_than_called_for(
    tolerance: float, radius: float
) -> None:
    """Chords of sagitta h turn by 2 acos(1 - h / r) (geometry); Hausdorff distance by shapely."""
    angle = np.linspace(0.0, pi / 2, 400)
    line = radius * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    found = simplified(pieces_of([line]), tolerance)[0]
    given_, left = shapely.LineString(line[:, :2]), shapely.LineString(found[:, :2])
    assert shapely.hausdorff_distance(given_, left, densify=0.01) <= tolerance + 1e-9
    reach = 2 * np.arccos(max(1 - tolerance / radius, 0.0))
    step = angle[1]
    skip = min(max(np.floor(reach / step), 1.0), LONGEST_SKIP)
    assert len(found) <= np.ceil(399 / max(skip - 1, 1)) + 1


@steady
@given(_lines(2, 2), hnp.arrays(np.float64, st.integers(1, 150), elements=st.floats(0, 1)))
def test_a_straight_line_keeps_its_two_ends_alone(ends: Floats, shares: Floats) -> None:
    """By definition: all between lies on it."""
    share = np.concatenate([[0.0], np.sort(shares), [1.0]])[:, None]
    found = simplified(pieces_of([ends[0] + share * (ends[1] - ends[0])]), 1e-3)
    assert len(found[0]) == 2


def test_a_long_straight_line_keeps_a_point_in_two_hundred() -> None:
    """As documented: at most `LONGEST_SKIP` points are skipped at once."""
    line = np.linspace([0.0, 0.0, 0.0], [100.0, 50.0, 5.0], 1001)
    assert len(simplified(pieces_of([line]), 0.01)[0]) == 1 + 1000 // LONGEST_SKIP


@steady
@given(st.lists(_lines(1, 12), min_size=1, max_size=5))
def test_straightening_keeps_pieces_apart_and_points_in_order(lines: list[Floats]) -> None:
    found = simplified(pieces_of(lines), 0.5)
    assert len(found) == len(lines)
    for n, line in enumerate(lines):
        at = 0
        for point in found[n]:
            while not (line[at] == point).all():
                at += 1
        assert len(found[n]) <= len(line)


def test_corners_are_kept() -> None:
    """A zigzag of 1 mm with a tolerance of half of that: every corner counts (definition)."""
    line = np.array([[n, n % 2, 0.0] for n in range(12)], dtype=np.float64)
    np.testing.assert_array_equal(simplified(pieces_of([line]), 0.3)[0], line)


# Order


@steady
@given(st.lists(_lines(1, 5), max_size=8), st.data())
def test_reordered_pieces_begin_at_the_ends_given(lines: list[Floats], data: st.DataObject) -> None:
    """By definition: 2k is piece k as it was, 2k + 1 turned round; any may be left out."""
    ends = st.integers(0, 2 * len(lines) - 1) if lines else st.nothing()
    order = data.draw(st.lists(ends, unique_by=lambda end: end // 2))
    found = reordered(pieces_of(lines), np.array(order, dtype=np.int64))
    assert len(found) == len(order)
    for n, end in enumerate(order):
        line = lines[end // 2]
        np.testing.assert_array_equal(found[n], line[::-1] if end % 2 else line)


# Joined


@steady
@given(st.lists(_lines(1, 5), max_size=4), st.lists(_lines(1, 5), max_size=4))
def test_joined_pieces_are_those_of_both(some: list[Floats], more: list[Floats]) -> None:
    found = joined([pieces_of(some), pieces_of(more)])
    assert len(found) == len(some) + len(more)
    for n, line in enumerate(some + more):
        np.testing.assert_array_equal(found[n], line)


# Parted by height


class _Part(NamedTuple):
    """A part: numbers of its points on its line, which of them are its own, what it bears."""

    points: list[int]
    own: list[bool]
    most: float

    @property
    def its_own(self) -> list[int]:
        return [k for k, own in zip(self.points, self.own, strict=True) if own]


def _parts(lines: list[Floats], found: Parted) -> Iterator[list[_Part]]:
    """Parts of each line, in their order, which are its moves one after the other (asserted)."""
    pieces = found.pieces
    assert len(found.own) == len(pieces.points)
    assert (np.diff(found.origin) >= 0).all()
    for n, line in enumerate(lines):
        parts, at = [], 0
        for k in np.flatnonzero(found.origin == n).tolist():
            here = slice(int(pieces.starts[k]), int(pieces.starts[k + 1]))
            numbers = list(range(at, at + len(pieces[k])))
            np.testing.assert_array_equal(pieces[k], line[numbers])
            parts.append(_Part(numbers, found.own[here].tolist(), float(found.most[k])))
            at = numbers[-1]
        assert at == len(line) - 1
        yield parts


_steps = st.integers(1, 12).flatmap(
    lambda n: hnp.arrays(np.float64, (n, 3), elements=st.integers(-12, 12).map(float))
)
_bears = st.integers(0, 12).map(float) | st.floats(0, 30) | st.just(inf)


@settings(steady, max_examples=200)
@given(st.lists(_lines(1, 12) | _steps, max_size=5), st.data())
def test_parts_hold_all_moves_and_are_no_higher_than_their_points_bear(
    lines: list[Floats], data: st.DataObject
) -> None:
    """By definition: no move is lost or doubled, none is in a part that it does not belong to.

    What is not a part's own is its first or its last point, on a move to a point no higher that
    is. Own points make up the longest parts that are no higher than they bear (by the twin), but
    for points that have no move down to any of their part: those are no part's.
    """
    bears = [
        np.array(data.draw(st.lists(_bears, min_size=len(line), max_size=len(line))))
        for line in lines
    ]
    found = parted(pieces_of(lines), np.concatenate([*bears, []]))
    for line, most, parts in zip(lines, bears, _parts(lines, found), strict=True):
        z = line[:, 2]
        for part in parts:
            own = part.its_own
            assert len(part.points) > 1
            assert own == list(range(own[0], own[-1] + 1))
            assert part.most == most[own].min()
            assert z[own].max() <= z[own].min() + part.most
            for k, beside in ((part.points[0], own[0]), (part.points[-1], own[-1])):
                assert k == beside or (abs(k - beside) == 1 and z[k] >= z[beside])
        of_any = [k for part in parts for k in part.its_own]
        alone = sorted(set(range(len(line))) - set(of_any))
        assert of_any == sorted(set(of_any))
        begins = sorted([part.its_own[0] for part in parts] + alone)
        assert begins == begins_of_parts(z.tolist(), most.tolist())
        for k in alone:
            assert all(z[beside] <= z[k] for beside in (k - 1, k + 1) if 0 <= beside < len(line))


def _by_hand(z: list[float], most: list[float]) -> list[tuple[list[float], list[float], float]]:
    """Heights of the parts of a line, those that are their own, and what each bears."""
    line = np.array([[x, 0.0, up] for x, up in enumerate(z)])
    (parts,) = _parts([line], parted(pieces_of([line]), np.array(most)))
    return [
        ([z[k] for k in part.points], [z[k] for k in part.its_own], part.most) for part in parts
    ]  # fmt: skip


def test_a_hill_in_parts() -> None:
    """By hand: up to 9 and down again in parts of 4, the moves between them with the lower ones."""
    z = [0.0, 5.0, 9.0, 8.0, 1.0]
    assert _by_hand(z, [4.0] * 5) == [
        ([0.0, 5.0], [0.0], 4.0),
        ([5.0, 9.0, 8.0], [5.0, 9.0, 8.0], 4.0),
        ([8.0, 1.0], [1.0], 4.0),
    ]
    assert _by_hand(z, [9.0, 9.0, 9.5, inf, 20.0]) == [(z, z, 9.0)]


def test_a_part_goes_by_the_point_that_bears_the_least() -> None:
    """By hand: 0, 1, 2, 3 with 9 mm for a part, but 1.5 mm for one with the third point."""
    assert _by_hand([0.0, 1.0, 2.0, 3.0], [9.0, 9.0, 1.5, 9.0]) == [
        ([0.0, 1.0, 2.0], [0.0, 1.0], 9.0),
        ([2.0, 3.0], [2.0, 3.0], 1.5),
    ]


def test_a_peak_is_cut_with_what_is_below_it() -> None:
    """By hand: one point 9 mm over both beside it. Both moves are cut, the point is no part's."""
    assert _by_hand([0.0, 9.0, 1.0], [4.0] * 3) == [
        ([0.0, 9.0], [0.0], 4.0),
        ([9.0, 1.0], [1.0], 4.0),
    ]


def test_level_lines_stay_whole_however_little_they_bear() -> None:
    lines = [np.array([[0.0, 0.0, z], [1.0, 0.0, z], [1.0, 1.0, z]]) for z in (5.0, 10.0, 6.0)]
    found = parted(pieces_of(lines), np.zeros(9))
    np.testing.assert_array_equal(found.pieces.points, np.concatenate(lines))
    np.testing.assert_array_equal(found.pieces.starts, [0, 3, 6, 9])
    assert found.own.all()


# Drawn taut


_place = st.tuples(_numbers, _numbers, _numbers).map(np.array)


@steady
@given(st.lists(st.lists(_numbers, min_size=2, max_size=20), min_size=1, max_size=5), _place)
def test_strings_lie_over_their_pieces(heights: list[list[float]], way: Floats) -> None:
    """Each is drawn from end to end over its own points, and over them all (shapely).

    The room below a string, and that below its points; the first covers the second and is convex.
    """
    lines = []
    for z in heights:
        share = np.arange(len(z))[:, None]
        plan = np.concatenate([way[:2], [0.0]]) + share * np.array([0.6, -0.8, 0.0])
        lines.append(plan + np.array(z)[:, None] * [0.0, 0.0, 1.0])
    found = drawn_taut(pieces_of(lines))
    assert len(found) == len(lines)
    for n, line in enumerate(lines):
        string = found[n]
        np.testing.assert_array_equal(string[[0, -1]], line[[0, -1]])
        rooms = []
        for points in (string, line):
            s = np.hypot(points[:, 0] - line[0, 0], points[:, 1] - line[0, 1])
            outline = [(0.0, -50.0), *zip(s, points[:, 2], strict=True), (float(s[-1]), -50.0)]
            rooms.append(shapely.Polygon(outline))
        assert rooms[1].difference(rooms[0].buffer(1e-6)).area == 0.0
        assert rooms[0].convex_hull.difference(rooms[0].buffer(1e-6)).area == 0.0


# Runs and gaps


@steady
@given(st.lists(hnp.arrays(np.bool_, st.integers(0, 30)), max_size=4), st.integers(0, 5))
def test_runs_by_definition(rows: list[NDArray[np.bool_]], gap: int) -> None:
    """Walk along each piece: a run goes on over holes of up to `gap`, begins and ends marked."""
    expected: list[list[int]] = []
    starts = np.cumsum([0, *(len(row) for row in rows)])
    for start, row in zip(starts.tolist(), rows, strict=False):
        runs: list[list[int]] = []
        for n in np.flatnonzero(row).tolist():
            if runs and start + n - runs[-1][1] <= gap:
                runs[-1][1] = start + n + 1
            else:
                runs.append([start + n, start + n + 1])
        expected += runs
    marks = np.concatenate([np.zeros(0, dtype=np.bool_), *rows])
    first, last = runs_of(starts, marks, gap)
    assert np.column_stack([first, last]).tolist() == expected


@steady
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 5)), max_size=6))
def test_numbers_in_ranges_by_definition(ranges: list[tuple[int, int]]) -> None:
    first = np.array([at for at, _ in ranges], dtype=np.intp)
    last = np.array([at + count for at, count in ranges], dtype=np.intp)
    numbers, starts = numbers_in(first, last)
    assert [numbers[a:b].tolist() for a, b in pairwise(starts)] == [
        list(range(at, at + count)) for at, count in ranges
    ]


# Cuts left out


@steady
@given(
    st.lists(_lines(2, 10), min_size=1, max_size=4),
    hnp.arrays(np.float64, st.tuples(st.integers(1, 4), st.just(3)), elements=_numbers),
    st.floats(0.5, 15.0),
)
def test_nothing_is_left_near_or_below_a_place(
    lines: list[Floats], places: Floats, radius: float
) -> None:
    """By definition: what stays lies further off than the radius, or higher by as much.

    What was never near nor below any place stays, unless it would be a single point. Each piece is
    a stretch of the one that it is said to be a part of, and they keep their order.
    """
    found, origin = without(pieces_of(lines), places, radius)
    assert len(origin) == len(found)
    assert (np.diff(origin) >= 0).all()
    for n in range(len(found)):
        assert len(found[n]) > 1
        line, size = lines[origin[n]], len(found[n])
        assert any(
            np.array_equal(line[at : at + size], found[n]) for at in range(len(line) - size + 1)
        )
        for x, y, z in places:
            near = np.hypot(found[n][:, 0] - x, found[n][:, 1] - y) <= radius - 1e-9
            assert (found[n][near, 2] > z - 1e-9).all()
            assert (np.linalg.norm(found[n] - [x, y, z], axis=1) >= radius - 1e-9).all()
    kept = {point.tobytes() for n in range(len(found)) for point in found[n]}
    for line in lines:
        off = np.linalg.norm(line[:, None, :2] - places[None, :, :2], axis=2)
        free = (off > radius + 1e-9).all(axis=1)
        for a, b in zip(*runs_of(np.array([0, len(line)]), free, 0), strict=True):
            if b - a > 1:
                assert all(point.tobytes() in kept for point in line[a:b])
