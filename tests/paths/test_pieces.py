"""Pieces: straightened within a tolerance by shapely's distance, ordered without loss."""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.paths.pieces import (
    LONGEST_SKIP,
    Pieces,
    by_height,
    drawn_taut,
    in_short_order,
    joined,
    pieces_of,
    runs_of,
    simplified,
    some_of,
    without,
)
from tests.reference import exchange as twin
from tests.reference.polyline import nearest_next

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


def _key(line: Floats) -> bytes:
    """The same for a line and the line turned round."""
    return min((line + 0.0).tobytes(), (line[::-1] + 0.0).tobytes())


def _travel(pieces: Pieces, start: tuple[float, float]) -> float:
    """Way from piece to piece, seen from above."""
    total, here = 0.0, np.array(start)
    for n in range(len(pieces)):
        total += float(np.linalg.norm(pieces[n][0, :2] - here))
        here = pieces[n][-1, :2]
    return total


def _seconds(lines: list[Floats], start: Floats, hop: twin.Hop) -> float:
    """Time of all ways in between, by the twin."""
    leaves = [start, *(line[-1] for line in lines[:-1])]
    return sum(twin.seconds_between(a, line[0], hop) for a, line in zip(leaves, lines, strict=True))


_start = st.tuples(_numbers, _numbers, _numbers).map(np.array)
_hop = st.tuples(st.floats(0.5, 5), st.floats(0.0, 20), st.floats(1, 20))
_PLAN = (1.0, 1e9, 1.0)
"""Seconds are millimetres, where all is level."""


@steady
@given(st.lists(_lines(1, 5), min_size=1, max_size=12), _start, _hop)
def test_ordered_pieces_are_the_same_pieces(
    lines: list[Floats], start: Floats, hop: twin.Hop
) -> None:
    """A permutation, each piece as it was or turned round; the same when asked again."""
    found = in_short_order(pieces_of(lines), start, hop)
    assert len(found) == len(lines)
    assert sorted(_key(found[n]) for n in range(len(found))) == sorted(map(_key, lines))
    again = in_short_order(pieces_of(lines), start, hop)
    np.testing.assert_array_equal(again.points, found.points)
    np.testing.assert_array_equal(again.starts, found.starts)


@settings(steady, max_examples=200)
@given(st.integers(2, 20), st.integers(0, 10_000), _hop)
def test_order_takes_no_longer_than_going_to_the_nearest_end_left(
    count: int, seed: int, hop: twin.Hop
) -> None:
    """Against the slow twin of that, the way from the start counted; random ends are distinct."""
    rng = np.random.default_rng(seed)
    lines = list(rng.uniform(-20.0, 20.0, (count, 2, 3)))
    start = rng.uniform(-20.0, 20.0, 3)
    found = in_short_order(pieces_of(lines), start, hop)
    greedy = nearest_next([(line[0], line[-1]) for line in lines], (start[0], start[1]))
    chained = [lines[n][::-1] if turned else lines[n] for n, turned in greedy]
    ordered = [found[n] for n in range(len(found))]
    assert _seconds(ordered, start, hop) <= _seconds(chained, start, hop) + 1e-9


def test_order_mends_what_going_to_the_nearest_end_leaves_behind() -> None:
    """By hand: points at 0, 1, -1.5, 3, -5, 9 from the start at 0, always the nearest one next.

    That goes to and fro: 1, 2.5, 4.5, 8, 14 mm, 30 in all. Left first, then right: 5 + 14 = 19.
    """
    lines = [np.array([[x, 0.0, 0.0]]) for x in (0.0, 1.0, -1.5, 3.0, -5.0, 9.0)]
    found = in_short_order(pieces_of(lines), np.zeros(3), _PLAN)
    assert _travel(found, (0.0, 0.0)) == pytest.approx(19.0)


def test_order_keeps_to_a_height_where_rises_are_dear() -> None:
    """By hand: four points in a row, high and low in turn: two rises of 10 s, else 1 mm/s.

    Where rises cost nothing, the row is gone along.
    """
    lines = [np.array([[x, 0.0, 30.0 * (x % 2)]]) for x in range(4)]
    start = np.array([-1.0, 0.0, 0.0])
    found = in_short_order(pieces_of(lines), start, (1.0, 10.0, 1.0))
    assert [float(z) for z in found.points[:, 2]] == [0.0, 0.0, 30.0, 30.0]
    found = in_short_order(pieces_of(lines), start, (1.0, 0.0, 1.0))
    assert [float(x) for x in found.points[:, 0]] == [0.0, 1.0, 2.0, 3.0]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_shuffled_rows_are_cut_to_and_fro(seed: int) -> None:
    """Rows 1 mm apart, all drawn from left to right and shuffled: the best way is known.

    To and fro along neighbours the way between n rows is n - 1 steps of 1 mm (definition).
    """
    rng = np.random.default_rng(seed)
    rows = [np.array([[0.0, y, 0.0], [40.0, y, 0.0]]) for y in rng.permutation(25)]
    given_ = pieces_of(rows)
    found = in_short_order(given_, np.zeros(3), _PLAN)
    assert _travel(found, (0.0, 0.0)) == pytest.approx(24.0)
    assert _travel(given_, (0.0, 0.0)) > 24 * 40.0


@pytest.mark.parametrize("seed", range(5))
def test_scattered_pieces_are_travelled_within_a_known_bound(seed: int) -> None:
    """The best way through n random points nears 0.7124 sqrt(n A).

    Johnson, McGeoch, Rothberg, Proc. 7th ACM-SIAM SODA (1996) 341, from memory. At 300 points the
    edge of a square adds about 5 %, and exchange of two ways with points put elsewhere ends about
    5 % over the best (Johnson, McGeoch, Local Search in Combinatorial Optimization (1997) 215,
    from memory); 15 % are allowed.
    """
    rng = np.random.default_rng(seed)
    n, side = 300, 100.0
    lines = [np.append(place, 0.0)[None] for place in rng.uniform(0, side, (n, 2))]
    found = in_short_order(pieces_of(lines), np.zeros(3), _PLAN)
    assert _travel(found, (0.0, 0.0)) <= 1.15 * 0.7124 * np.sqrt(n) * side


# Joined, and in bands of height


@steady
@given(st.lists(_lines(1, 5), max_size=4), st.lists(_lines(1, 5), max_size=4))
def test_joined_pieces_are_those_of_both(some: list[Floats], more: list[Floats]) -> None:
    found = joined([pieces_of(some), pieces_of(more)])
    assert len(found) == len(some) + len(more)
    for n, line in enumerate(some + more):
        np.testing.assert_array_equal(found[n], line)


_steps = st.integers(2, 12).flatmap(
    lambda n: hnp.arrays(np.float64, (n, 3), elements=st.integers(-12, 12).map(float))
)


def _bands(pieces: Pieces, band: float) -> list[Pieces]:
    cut = by_height(pieces, band)
    return [some_of(cut.pieces, cut.number == n) for n in np.unique(cut.number)]


@steady
@given(st.lists(_lines(2, 12) | _steps, max_size=5), st.floats(0.5, 30.0) | st.just(4.0))
def test_bands_hold_all_cuts_from_the_top_down(lines: list[Floats], band: float) -> None:
    """By definition: bands begin at the highest point; a piece lies in one of them.

    But for its first and its last point, which may lie above. No cut is lost, none is doubled.
    """
    found = _bands(pieces_of(lines), band)
    moves: list[bytes] = []
    before = -1
    top = max((float(line[:, 2].max()) for line in lines), default=0.0)
    for part in found:
        numbers = set()
        for n in range(len(part)):
            depth = np.floor((top - part[n][:, 2]) / band).astype(int)
            own = int(depth.max())
            assert len(part[n]) >= 2
            assert (depth[1:-1] == own).all()
            numbers.add(own)
            moves += [_key(part[n][k : k + 2]) for k in range(len(part[n]) - 1)]
        assert len(numbers) == 1
        assert min(numbers) > before
        before = min(numbers)
    assert sorted(moves) == sorted(
        _key(line[k : k + 2]) for line in lines for k in range(len(line) - 1)
    )


def test_a_hill_in_bands_by_hand() -> None:
    """Up to 9 and down again in bands of 4: 9 to above 5, 5 to above 1, 1 and below.

    What crosses an edge is cut with the band below it, on both sides of the hill.
    """
    z = [0.0, 5.0, 9.0, 8.0, 1.0]
    line = np.array([[x, 0.0, z] for x, z in enumerate(z)])
    found = [[part[n][:, 2].tolist() for n in range(len(part))] for part in _bands(
        pieces_of([line]), 4.0
    )]  # fmt: skip
    assert found == [[[9.0, 8.0]], [[5.0, 9.0]], [[0.0, 5.0], [8.0, 1.0]]]


def test_level_lines_stay_whole_in_bands() -> None:
    """Three rings, two in one band of 5 mm: 10 and 6, then 5 (definition)."""
    lines = [np.array([[0.0, 0.0, z], [1.0, 0.0, z], [1.0, 1.0, z]]) for z in (5.0, 10.0, 6.0)]
    found = _bands(pieces_of(lines), 5.0)
    assert [[float(part[n][0, 2]) for n in range(len(part))] for part in found] == [
        [10.0, 6.0], [5.0],
    ]  # fmt: skip
    assert all(len(part[n]) == 3 for part in found for n in range(len(part)))


# Drawn taut


@steady
@given(st.lists(st.lists(_numbers, min_size=2, max_size=20), min_size=1, max_size=5), _start)
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
@given(hnp.arrays(np.bool_, st.integers(0, 40)), st.integers(0, 5))
def test_runs_by_definition(mask: NDArray[np.bool_], gap: int) -> None:
    """Walk along the row: a run goes on over holes of up to `gap`, and begins and ends marked."""
    expected: list[list[int]] = []
    for n in np.flatnonzero(mask).tolist():
        if expected and n - expected[-1][1] <= gap:
            expected[-1][1] = n + 1
        else:
            expected.append([n, n + 1])
    assert runs_of(mask, gap) == [(a, b) for a, b in expected]


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

    What was never near nor below any place stays, unless it would be a single point.
    """
    found = without(pieces_of(lines), places, radius)
    for n in range(len(found)):
        assert len(found[n]) > 1
        for x, y, z in places:
            near = np.hypot(found[n][:, 0] - x, found[n][:, 1] - y) <= radius - 1e-9
            assert (found[n][near, 2] > z - 1e-9).all()
            assert (np.linalg.norm(found[n] - [x, y, z], axis=1) >= radius - 1e-9).all()
    kept = {point.tobytes() for n in range(len(found)) for point in found[n]}
    for line in lines:
        off = np.linalg.norm(line[:, None, :2] - places[None, :, :2], axis=2)
        free = (off > radius + 1e-9).all(axis=1)
        for a, b in runs_of(free, 0):
            if b - a > 1:
                assert all(point.tobytes() in kept for point in line[a:b])
