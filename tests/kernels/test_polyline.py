"""Polylines straightened, parted and drawn taut, against slow twins, shapely and scipy."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from icecam.kernels.polyline import keep_points, part_marks, taut
from tests.kernels.grids import number, steady
from tests.reference import polyline as twin

Floats = NDArray[np.float64]
Profile = list[tuple[float, float]]

_number = st.integers(-3, 3).map(float) | number
_line: st.SearchStrategy[Floats] = st.lists(
    st.tuples(_number, _number, _number), min_size=1, max_size=14
).map(lambda rows: np.array(rows, dtype=np.float64))
GAP = 1e-9


def kept(lines: list[Floats], tolerance: float, longest: int) -> list[list[int]]:
    """Return the numbers of the points kept of each line."""
    points = np.concatenate([*lines, np.zeros((0, 3))])
    starts = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    keep = np.zeros(len(points), dtype=np.bool_)
    half = len(lines) // 2
    keep_points(keep, points, starts, 0, half, tolerance, longest)
    keep_points(keep, points, starts, half, len(lines), tolerance, longest)
    return [np.flatnonzero(keep[a:b]).tolist() for a, b in pairwise(starts.tolist())]


@steady
@given(st.lists(_line, max_size=4), st.floats(0.001, 4), st.integers(1, 20))
@example([np.zeros((5, 3))], 0.1, 20)
def test_kept_points(lines: list[Floats], tolerance: float, longest: int) -> None:
    """The slow twin is the definition; the tolerance is an odd number that no distance equals."""
    tolerance += 1.2345e-5
    found = kept(lines, tolerance, longest)
    assert found == [twin.kept(line, tolerance, longest) for line in lines]


@steady
@given(_line, st.floats(0.0, 4), st.integers(1, 20))
def test_dropped_points_lie_near_the_moves_that_replace_them(
    line: Floats, tolerance: float, longest: int
) -> None:
    """The tolerance is what a user may rely on; distances by the twin's own formula.

    The ends stay, and never more than `longest` points in a row are left out.
    """
    found = kept([line], tolerance, longest)[0]
    assert found[0] == 0
    assert found[-1] == len(line) - 1
    for a, b in pairwise(found):
        assert b - a <= longest
        if b - a > 1:
            off = twin.off_segment(line[a + 1 : b], line[a], line[b])
            assert off.max() <= tolerance + GAP


@steady
@given(_line, st.floats(0.01, 4))
def test_dropped_points_in_the_plane_by_shapely(line: Floats, tolerance: float) -> None:
    """In a plane, shapely's distance of a point from a segment."""
    flat = line * [1.0, 1.0, 0.0]
    found = kept([flat], tolerance, 20)[0]
    for a, b in pairwise(found):
        move = shapely.LineString(flat[[a, b], :2])
        for point in flat[a + 1 : b, :2]:
            assert shapely.distance(shapely.Point(point), move) <= tolerance + GAP


@pytest.mark.parametrize("longest", [4, 7, 200])
def test_a_straight_line_is_cut_only_where_moves_grow_too_long(longest: int) -> None:
    """By hand: 21 points in a row; every `longest`-th stays, and the last."""
    line = np.linspace([0.0, 0.0, 0.0], [5.0, 10.0, -2.0], 21)
    expected = sorted({*range(0, 21, longest), 20})
    assert kept([line], 1e-6, longest)[0] == expected


def test_points_of_a_circle() -> None:
    """By hand: a chord over an angle a of a circle R 10 lies 10 (1 - cos(a / 2)) off it.

    Points every 0.01 rad: over 8 steps the middle one lies 0.0080 mm off, over 9 steps the two
    beside the middle 10 (cos 0.005 - cos 0.045) = 0.0100; so with 0.0095 allowed, 8 steps.
    """
    angle = 0.01 * np.arange(161)
    line = np.stack([10 * np.cos(angle), 10 * np.sin(angle), 0 * angle], axis=1)
    assert kept([line], 0.0095, 200)[0] == list(range(0, 161, 8))


# Parts no higher than they bear


def parts(profiles: list[Profile]) -> list[list[int]]:
    """Return the numbers of the points at which parts begin of lines (height, what it bears)."""
    rows = np.array([point for profile in profiles for point in profile], dtype=np.float64)
    z, most = rows.reshape(-1, 2).T.copy()
    starts = np.cumsum([0, *map(len, profiles)], dtype=np.int64)
    marks = np.zeros(len(z), dtype=np.bool_)
    part_marks(marks, z, most, starts)
    return [[0, *np.flatnonzero(marks[a:b]).tolist()] for a, b in pairwise(starts.tolist())]


_bears = st.integers(0, 6).map(float) | st.floats(0, 6) | st.just(np.inf)
_profiles = st.lists(
    st.lists(st.tuples(_number, _bears), min_size=1, max_size=14), max_size=4
)  # fmt: skip


@steady
@given(_profiles)
def test_parts_by_definition(profiles: list[Profile]) -> None:
    """The slow twin is the definition; whole numbers fall on what is just borne."""
    expected = [twin.begins_of_parts(*map(list, zip(*each, strict=True))) for each in profiles]
    assert parts(profiles) == expected


@steady
@given(_profiles)
def test_no_part_is_higher_than_any_of_its_points_bears(profiles: list[Profile]) -> None:
    """What the order of pieces relies on, to the last digit: else a piece might wait for itself."""
    for begins, profile in zip(parts(profiles), profiles, strict=True):
        for a, b in pairwise([*begins, len(profile)]):
            z, most = np.array(profile[a:b]).T
            assert (z.max() <= z.min() + most).all()


def test_parts_of_a_hill() -> None:
    """By hand: up to 9 and down to 1 in parts of 4 mm, or all of it, but for one point of 2 mm."""
    hill = [0.0, 4.0, 5.0, 9.0, 8.0, 1.0]
    assert parts([[(z, 4.0) for z in hill]]) == [[0, 2, 5]]
    assert parts([[(z, 9.0) for z in hill]]) == [[0]]
    assert parts([[(z, 2.0 if z == 5.0 else 9.0) for z in hill]]) == [[0, 2, 3]]


def test_a_part_is_no_higher_than_it_bears_where_the_difference_is_rounded() -> None:
    """By hand: 1 + 2^-52 less 2^-53 is rounded to 1, but 2^-53 and 1 are less than 1 + 2^-52."""
    low, high = 2.0**-53, 1.0 + 2.0**-52
    assert parts([[(low, 1.0), (high, 1.0)]]) == [[0, 1]]


# Strings drawn taut


def taut_points(lines: list[Floats]) -> list[list[int]]:
    """Return the numbers of the points that strings over some lines rest on."""
    points = np.concatenate([*lines, np.zeros((0, 3))])
    starts = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    keep = np.zeros(len(points), dtype=np.bool_)
    room = np.zeros(max((len(line) for line in lines), default=0), dtype=np.int64)
    half = len(lines) // 2
    taut(keep, points, starts, 0, half, room)
    taut(keep, points, starts, half, len(lines), room)
    return [np.flatnonzero(keep[a:b]).tolist() for a, b in pairwise(starts.tolist())]


_WAYS = [(1, 0, 1), (0, -1, 1), (3, 4, 5), (-8, 6, 10)]
"""Whole numbers along x and y, and the way they make (Pythagoras), so that nothing is rounded."""
_profile = st.lists(st.tuples(st.integers(1, 4), st.integers(-5, 5)), min_size=1, max_size=14)


@steady
@given(st.lists(st.tuples(_profile, st.sampled_from(_WAYS), number, number), max_size=4))
def test_a_taut_string_by_all_chords(
    lines: list[tuple[list[tuple[int, int]], tuple[int, int, int], float, float]],
) -> None:
    """The slow twin is the definition; in whole numbers, so points on a chord are dropped."""
    drawn, expected = [], []
    for profile, (dx, dy, length), x0, y0 in lines:
        at = np.cumsum([0] + [step for step, _ in profile[1:]])
        up = [z for _, z in profile]
        corner = np.rint([x0, y0])
        plan = corner + at[:, None] * np.array([dx, dy], dtype=np.float64)
        drawn.append(np.column_stack([plan, np.array(up, dtype=np.float64)]))
        expected.append(
            twin.resting_on([Fraction(int(s) * length) for s in at], [Fraction(z) for z in up])
        )
    assert taut_points(drawn) == expected


@steady
@given(st.integers(0, 10_000), st.integers(2, 200), number)
def test_a_taut_string_by_the_convex_hull(seed: int, count: int, turn: float) -> None:
    """Scipy's hull of the points in (way, height), closed by two points far below."""
    rng = np.random.default_rng(seed)
    s, z = np.sort(rng.uniform(0.0, 50.0, count)), rng.uniform(0.0, 9.0, count)
    line = np.stack([s * np.cos(turn), s * np.sin(turn), z], axis=1)
    below = np.array([[s[0], -1e3], [s[-1], -1e3]])
    hull = ConvexHull(np.concatenate([np.stack([s, z], axis=1), below]))
    assert taut_points([line])[0] == sorted(int(k) for k in hull.vertices if k < count)


@steady
@given(_line, number)
def test_a_taut_string_lies_over_its_line_and_bends_down_only(line: Floats, turn: float) -> None:
    """What a user relies on: never below a point, straight or bent downwards, both ends kept."""
    s = np.unique(np.abs(line[:, 0]))
    z = line[: len(s), 2]
    points = np.stack([s * np.cos(turn), s * np.sin(turn), z], axis=1)
    found = taut_points([points])[0]
    assert found[0] == 0
    assert found[-1] == len(s) - 1
    assert (np.interp(s, s[found], z[found]) >= z - GAP).all()
    for a, b, c in zip(found, found[1:], found[2:], strict=False):
        # b lies on or above the chord from a to c
        assert (z[b] - z[a]) * (s[c] - s[a]) >= (z[c] - z[a]) * (s[b] - s[a]) - 1e-6


def test_a_taut_string_may_drop_at_its_end() -> None:
    """By hand: two points over one place, up at the beginning, down at the end, are both kept."""
    up = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 3.0], [4.0, 0.0, 3.0]])
    assert taut_points([up, up[::-1].copy()]) == [[0, 1, 2], [0, 1, 2]]
