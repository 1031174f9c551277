"""Valleys: one run along a narrow strip, in its middle, and nothing of the strip forgotten."""

from itertools import pairwise
from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.drop import surface_of
from icecam.geometry.field import Grid, HeightField, cells
from icecam.paths.pieces import Pieces, at_cliffs, pieces_of
from icecam.paths.valleys import middle_lines, valleys
from tests.geometry import solids
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


def test_a_crossing_is_gone_straight_through() -> None:
    """One of two strips that cross is a line from end to end, the other its two halves."""
    marks = np.zeros((41, 41), dtype=np.bool_)
    marks[20, 5:36] = marks[5:36, 20] = True
    lines = middle_lines(marks, 3.0)
    assert sorted(len(line) for line in lines) == [15, 15, 31]


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
