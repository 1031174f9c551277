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
    in_short_order,
    pieces_of,
    runs_of,
    simplified,
    without,
)

Floats = NDArray[np.float64]
_numbers = st.floats(-20, 20, width=32)


def _lines(least: int = 1, most: int = 30) -> st.SearchStrategy[Floats]:
    """Polylines (n, 3)."""
    return st.integers(least, most).flatmap(
        lambda n: hnp.arrays(np.float64, (n, 3), elements=_numbers)
    )


# The record


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


_start = st.tuples(_numbers, _numbers)


@given(st.lists(_lines(1, 5), min_size=1, max_size=12), _start)
def test_ordered_pieces_are_the_same_pieces(
    lines: list[Floats], start: tuple[float, float]
) -> None:
    """A permutation, each piece as it was or turned round."""
    found = in_short_order(pieces_of(lines), start)
    assert len(found) == len(lines)
    assert sorted(_key(found[n]) for n in range(len(found))) == sorted(map(_key, lines))


@settings(max_examples=200)
@given(st.lists(_lines(1, 3), min_size=2, max_size=12), _start)
def test_each_piece_begins_at_the_nearest_end_of_those_left(
    lines: list[Floats], start: tuple[float, float]
) -> None:
    """Nearest neighbour, by definition: no end of a piece still to come lies nearer."""
    found = in_short_order(pieces_of(lines), start)
    here = np.array(start)
    for n in range(len(found)):
        begins = np.linalg.norm(found[n][0, :2] - here)
        left = np.concatenate([found[k][[0, -1], :2] for k in range(n, len(found))])
        assert begins <= np.linalg.norm(left - here, axis=1).min() + 1e-9
        here = found[n][-1, :2]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_shuffled_rows_are_cut_to_and_fro(seed: int) -> None:
    """Rows 1 mm apart, all drawn from left to right and shuffled: the best way is known.

    To and fro along neighbours the way between n rows is n - 1 steps of 1 mm (definition).
    """
    rng = np.random.default_rng(seed)
    rows = [np.array([[0.0, y, 0.0], [40.0, y, 0.0]]) for y in rng.permutation(25)]
    given_ = pieces_of(rows)
    found = in_short_order(given_, (0.0, 0.0))
    assert _travel(found, (0.0, 0.0)) == pytest.approx(24.0)
    assert _travel(given_, (0.0, 0.0)) > 24 * 40.0


@pytest.mark.parametrize("seed", range(5))
def test_scattered_pieces_are_travelled_within_a_known_bound(seed: int) -> None:
    """Nearest neighbour tours lie within (ceil(log2 n) + 1) / 2 of the best.

    Rosenkrantz, Stearns, Lewis, SIAM J. Comput. 6 (1977) 563, theorem 1 (from memory), closed
    tours over points; the best is at most that of sweeping strips, 0.92 sqrt(n A) and some more
    (Few, Mathematika 2 (1955) 141: sqrt(2 n A) + 1.75 sqrt(A), from memory).
    """
    rng = np.random.default_rng(seed)
    n, side = 300, 100.0
    lines = [np.append(place, 0.0)[None] for place in rng.uniform(0, side, (n, 2))]
    found = in_short_order(pieces_of(lines), (0.0, 0.0))
    few = np.sqrt(2 * n) * side + 1.75 * side
    assert _travel(found, (0.0, 0.0)) <= (np.ceil(np.log2(n)) + 1) / 2 * few
    assert _travel(found, (0.0, 0.0)) <= _travel(pieces_of(lines), (0.0, 0.0)) / 4


# Runs and gaps


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
