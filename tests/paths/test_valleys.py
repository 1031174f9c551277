"""Valleys: one run along a narrow strip, in its middle, and nothing of the strip forgotten."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.drop import parts_of, surface_of, tip_heights, tip_surface
from icecam.geometry.field import Grid, HeightField, cells
from icecam.geometry.profile import cutting_end
from icecam.geometry.sweeping import sweep
from icecam.paths.finishing import Matter, need_for
from icecam.paths.pieces import Pieces, at_cliffs, pieces_of
from icecam.paths.valleys import middle_lines, trace, valleys
from tests.geometry import solids
from tests.geometry.bits import make_bit
from tests.paths.test_finishing import planned

Floats = NDArray[np.float64]
SIDE_MM = 40.0
ROOT_HALF = 1 / sqrt(2)


# Lines in the middle of marks


@given(hnp.arrays(np.bool_, st.tuples(st.integers(1, 14), st.integers(1, 14))))
def test_each_strip_has_a_line_on_its_own_marks_and_no_step_is_a_jump(
    marks: NDArray[np.bool_],
) -> None:
    """By definition, strips being marks that touch side or corner."""
    lines = middle_lines(marks, inf)
    labels, count = ndimage.label(marks, structure=np.ones((3, 3)))
    reached = set()
    nodes = []
    for line in lines:
        at = line.astype(int)
        reached |= set(labels[at[:, 1], at[:, 0]].tolist())
        nodes += [tuple(node) for node in at.tolist()]
        assert all(np.abs(b - a).max() == 1 for a, b in pairwise(at))
    assert reached == set(range(1, count + 1))
    assert len(set(nodes)) == len(nodes)


@pytest.mark.parametrize("wide", [1, 3, 5])
def test_a_straight_strip_is_one_line_along_its_middle(wide: int) -> None:
    marks = np.zeros((11, 40), dtype=np.bool_)
    marks[4 : 4 + wide, 5:35] = True
    (line,) = middle_lines(marks, 6.0)
    middle = 4 + (wide - 1) / 2
    assert np.all(line[wide:-wide, 1] == middle)
    assert np.abs(line[:, 1] - middle).max() <= wide / 2
    assert np.ptp(line[:, 0]) >= 29 - wide


def test_a_strip_that_is_too_wide_has_none() -> None:
    marks = np.zeros((20, 40), dtype=np.bool_)
    marks[4:13, 5:35] = True
    longest = [max(len(line) for line in middle_lines(marks, width)) for width in (8.0, 9.0)]
    assert longest[0] <= 4  # into the corners, where it is narrow
    assert longest[1] >= 20


@pytest.mark.parametrize("size", [9, 40, 300])
def test_wide_marks_have_the_lines_of_their_arms_alone(size: int) -> None:
    """A square with an arm 3 nodes wide: along the arm a line, in the square none but corners."""
    marks = np.zeros((size + 60, size + 60), dtype=np.bool_)
    marks[30 : 30 + size, 30 : 30 + size] = True
    marks[30 + size // 2 : 33 + size // 2, 5:30] = True
    lines = middle_lines(marks, 4.0)
    arm = max(lines, key=len)
    assert set(arm[2:-2, 1].tolist()) == {31.0 + size // 2}
    assert arm[:, 0].min() <= 6
    assert 28 <= arm[:, 0].max() <= 34
    corners = np.array([(x, y) for x in (30, 29 + size) for y in (30, 29 + size)])
    for line in lines:
        if line is not arm:
            assert min(np.abs(corners - line.mean(axis=0)).max(axis=1)) <= 4


def test_a_crossing_is_gone_straight_through() -> None:
    """One of two strips that cross is a line from end to end, the other its two halves."""
    marks = np.zeros((41, 41), dtype=np.bool_)
    marks[20, 5:36] = marks[5:36, 20] = True
    lines = middle_lines(marks, 3.0)
    assert sorted(len(line) for line in lines) == [15, 15, 31]


@given(
    hnp.arrays(np.bool_, st.tuples(st.integers(2, 10), st.integers(2, 10))),
    st.integers(0, 2**32 - 1),
    st.sampled_from([1.0, 3.0, 4.5, inf]),
)
def test_empty_rows_between_change_nothing(
    marks: NDArray[np.bool_], seed: int, width: float
) -> None:
    """Rows and columns without marks, once more in any number, move lines and do nothing else."""
    rng = np.random.default_rng(seed)
    marks[rng.integers(len(marks))] = marks[:, rng.integers(len(marks.T))] = False
    rows, columns = (
        np.repeat(np.arange(size), np.where(np.isin(np.arange(size), marked), 1, times))
        for size, marked, times in zip(
            marks.shape,
            np.nonzero(marks),
            (rng.integers(1, 6, size) for size in marks.shape),
            strict=True,
        )
    )
    spread = middle_lines(marks[np.ix_(rows, columns)], width)
    nodes = [line.astype(int).T for line in spread]
    assert [np.column_stack([columns[x], rows[y]]).tolist() for x, y in nodes] == [
        line.tolist() for line in middle_lines(marks, width)
    ]


@pytest.mark.parametrize("wide", [1, 2, 3, 4])
def test_strips_are_as_wide_as_the_nearest_node_without_mark_says(wide: int) -> None:
    """Two strips far apart, one along and one across: a line in both, or in neither."""
    marks = np.zeros((70, 80), dtype=np.bool_)
    marks[50 : 50 + wide, 10:40] = True
    marks[5:35, 60 : 60 + wide] = True
    for width, count in ((wide + 1.0, 2), (wide - 1.5, 0)):
        assert len([line for line in middle_lines(marks, width) if len(line) > 20]) == count


@given(hnp.arrays(np.bool_, st.tuples(st.integers(1, 14), st.integers(1, 14))))
def test_lines_are_longer_by_a_node_and_twice_smoothed(marks: NDArray[np.bool_]) -> None:
    """By definition, point by point, where the ice is as thick on both sides."""
    found = valleys(
        marks, Grid(0.0, 0.0, 1.0, 14, 14), inf, lambda at: np.zeros(len(at)),
        lambda at: np.ones(len(at), dtype=np.float32),
    )  # fmt: skip
    lines = middle_lines(marks, inf)
    assert len(found) == len(lines)
    for n, line in enumerate(lines):
        one, two = (line[1] - line[0], line[-1] - line[-2]) if len(line) > 1 else ([0.5, 0.0],) * 2
        longer = np.array([line[0] - one, *line, line[-1] + two])
        np.testing.assert_allclose(found[n][:, :2], _means(_means(longer)), rtol=0.0, atol=1e-12)


def _means(line: Floats) -> Floats:
    """Means of five points, or of three on a line of three; the line turned round its ends."""

    def at(n: int) -> Floats:
        end = min(max(n, 0), len(line) - 1)
        return np.asarray(2 * line[end] - line[2 * end - n])

    half = 2 if len(line) > 3 else 1
    return np.array(
        [np.mean([at(n + off) for off in range(-half, half + 1)], axis=0) for n in range(len(line))]
    )


# Moved to where the ice is thickest


@given(st.floats(-0.45, 0.45), st.floats(-0.4, 0.4))
def test_lines_are_moved_to_the_thickest_ice(off: float, turn: float) -> None:
    """Ice as a ridge that falls off on both sides of a line between the nodes (definition)."""
    grid = Grid(0.0, 0.0, 0.5, 60, 40)
    x, y = np.meshgrid(grid.x, grid.y)

    def aside(points: Floats) -> Floats:
        middle = 10.0 + off * 0.5 + turn * (points[:, 0] - 15.0)
        found: Floats = (points[:, 1] - middle) / np.hypot(1.0, turn)
        return found

    def thick(points: Floats) -> NDArray[np.float32]:
        return np.maximum(1.0 - np.abs(aside(points)), 0.0).astype(np.float32)

    marks = (thick(np.column_stack([x.ravel(), y.ravel()])) > 0.4).reshape(x.shape)
    marks[:, :4] = marks[:, -4:] = False
    found = valleys(marks, grid, 3.0, lambda points: np.zeros(len(points)), thick)
    inner = found.points[np.abs(found.points[:, 0] - 15.0) < 8.0]
    assert len(inner) > 20
    assert np.abs(aside(inner)).max() < 0.2


# In a groove after a larger ball, which leaves ice between its tangents


def _groove_after(radius: float) -> HeightField:
    grid = cells((SIDE_MM, SIDE_MM), 0.1)
    off = np.abs(grid.x - SIDE_MM / 2)
    under = 8.0 + radius * sqrt(2) - np.sqrt(np.maximum(radius**2 - off**2, 0.0))
    row = np.where(off < radius * ROOT_HALF, under, 8.0 + off)
    return HeightField(grid=grid, heights=np.broadcast_to(row, (grid.ny, grid.nx)))


def test_a_groove_is_followed_along_its_length_and_left_within_the_tolerance() -> None:
    """A ball of 3 mm after one of 8 mm passes along 40 mm fewer than five times.

    Rows across, 1.8 mm to either side and a stepover of 0.77 mm apart, were 200 mm and more. Ice
    between both balls is thicker than the tolerance beside the bottom (closed form), so one run
    there is not enough.
    """
    surface = surface_of(solids.groove(1.0, SIDE_MM / 2) + np.array([20.0, 20.0, 8.0]))
    finish, carved = planned(surface, _groove_after(4.0), 3.0, scallop=0.05, detail=0.1)
    pieces = [finish.pieces[n] for n in range(len(finish.pieces))]
    assert sum(np.linalg.norm(np.diff(piece, axis=0), axis=1).sum() for piece in pieces) < 200.0
    along = np.linspace(5.0, 35.0, 61)
    long = [piece for piece in pieces if np.ptp(piece[:, 1]) > 35.0]
    offs = [np.interp(along, *piece[np.argsort(piece[:, 1])][:, 1::-1].T) - 20.0 for piece in long]
    assert min(np.abs(off).max() for off in offs) < 0.05
    # the ball rests in the groove, its own fillet is all that it must leave at the bottom
    grid = carved.ice.grid
    off = np.abs(grid.x - 20.0)
    inner = 8.0 + 1.5 * sqrt(2) - np.sqrt(np.maximum(1.5**2 - off**2, 0.0))
    reach = np.where(off < 1.5 * ROOT_HALF, inner, 8.0 + off)
    left = (carved.ice.heights - reach)[40:-40] * ROOT_HALF
    assert left[:, off < 12.0].max() < 0.1 + 0.06


def _scene() -> tuple[HeightField, Matter, Callable[[Floats], Floats]]:
    """A ball of 2 mm on rough ground after rows of one of 6 mm, half a millimetre apart."""
    rough = np.random.default_rng(3).uniform(0.0, 3.0, (22, 26))
    surface = surface_of(solids.relief(rough, 1.5))
    large, small = make_bit("ball", 6.0), make_bit("ball", 2.0)
    places = Grid(-4.0, -4.0, 0.5, 92, 80)
    ice = HeightField(grid=Grid(-2.0, -2.0, 0.25, 168, 144), heights=np.full((144, 168), 9.0))
    heights = ice.heights.copy()
    for y, row in zip(
        places.y, tip_surface(surface, large, places, lowest=0.0).heights, strict=True
    ):
        points = np.column_stack([places.x, np.full(places.nx, y), row])
        sweep(heights, ice.grid, points, np.zeros(places.nx - 1, np.bool_), cutting_end(large))

    def rest(points: Floats) -> Floats:
        return tip_heights(surface, parts_of(small), points, lowest=0.0)

    matter = Matter(
        ice=replace(ice, heights=heights),
        matters=np.ones(heights.shape, dtype=np.bool_),
        tops=HeightField(grid=Grid(0.0, 0.0, 1.0, 1, 1), heights=np.full((1, 1), 9.0)),
        profile=cutting_end(small),
    )
    return tip_surface(surface, small, places, lowest=0.0), matter, rest


def test_what_is_left_after_tracing_is_as_if_all_was_asked_again() -> None:
    """The ice is that which each run carves alone; the bite is asked of it at every node."""
    tips, matter, rest = _scene()
    need = need_for(tips, matter, np.ones(tips.heights.shape, dtype=np.bool_))
    useful = need.bite > 0.1
    found = trace(need, useful, matter, rest, 0.1, 0.6)
    assert len(found.runs) > 30
    heights = matter.ice.heights.copy()
    for n in range(len(found.runs)):
        points = found.runs[n]
        sweep(heights, matter.ice.grid, points, np.zeros(len(points) - 1, np.bool_), matter.profile)
    np.testing.assert_allclose(found.matter.ice.heights, heights, rtol=0.0, atol=1e-12)
    after = need_for(tips, found.matter, need.free)
    np.testing.assert_array_equal(found.useful, after.bite > 0.1)
    assert 0 < found.useful.sum() < useful.sum() / 2


def test_a_run_is_known_as_far_as_its_bit_and_the_next_one_reach() -> None:
    """By hand: a flat bit of r 3 along x = 0 takes a fin at 2.75 that was of use up to x = 5.75.

    More ice from x = 9 on keeps the bit of use from 6 on; in between it may stand from 5 on.
    """
    tips = HeightField(grid=Grid(-2.0, 0.0, 0.5, 40, 30), heights=np.zeros((30, 40)))
    x = -4.0 + 0.25 * np.arange(96)
    row = np.where((x == 2.75) | (x >= 9.0), 5.0, 0.0)
    ice = HeightField(grid=Grid(-4.0, -4.0, 0.25, 96, 92), heights=np.tile(row, (92, 1)))
    matter = Matter(
        ice=ice,
        matters=np.ones(ice.heights.shape, dtype=np.bool_),
        tops=HeightField(grid=Grid(0.0, 0.0, 1.0, 1, 1), heights=np.full((1, 1), 5.0)),
        profile=cutting_end(make_bit("flat", 6.0)),
    )
    nodes = tips.grid.x
    free = np.tile((nodes == 0.0) | (nodes >= 5.0), (30, 1))
    need = need_for(tips, matter, free)
    found = trace(need, need.bite > 1.0, matter, lambda at: np.zeros(len(at)), 1.0, 0.6)
    assert len(found.runs) == 1
    before, after = (need.bite > 1.0)[15], found.useful[15]
    assert nodes[before].tolist() == [0.0, *np.arange(5.0, 18.0, 0.5)]
    assert nodes[after].tolist() == list(np.arange(6.0, 18.0, 0.5))


# Parted at cliffs


@given(
    st.lists(st.lists(st.integers(0, 9), min_size=2, max_size=9), min_size=1, max_size=5),
    st.integers(1, 8),
)
def test_no_piece_leaps_a_cliff_and_nothing_else_is_lost(
    heights: list[list[int]], cliff: int
) -> None:
    lines = [
        np.column_stack([np.arange(len(z)), np.full(len(z), n), z]) for n, z in enumerate(heights)
    ]
    whole = pieces_of([line.astype(np.float64) for line in lines])
    parted = at_cliffs(whole, float(cliff))
    steps = _steps(parted)
    assert all(abs(b[2] - a[2]) <= cliff for a, b in steps)
    assert steps == [(a, b) for a, b in _steps(whole) if abs(b[2] - a[2]) <= cliff]


def _steps(pieces: Pieces) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    return [pair for n in range(len(pieces)) for pair in pairwise(map(tuple, pieces[n].tolist()))]
