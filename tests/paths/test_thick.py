"""Thick ice: one place after the other, and what belongs together stays together."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from icecam.geometry.drop import surface_of
from icecam.geometry.field import Grid, HeightField, cells
from icecam.paths.pieces import pieces_of
from icecam.paths.thick import THIN, gathered, thick_places
from tests.geometry import solids
from tests.paths.test_finishing import planned

GRID = Grid(0.0, 0.0, 1.0, 30, 20)


def test_marks_near_each_other_are_one_place_and_far_ones_two() -> None:
    deep = np.zeros((20, 30), dtype=np.bool_)
    deep[5, 3] = deep[5, 7] = deep[5, 20] = True
    places = thick_places(deep, 2.0)
    assert places[5, 3] == places[5, 7] != places[5, 20]
    assert np.count_nonzero(places != THIN) == 3
    assert np.all(thick_places(np.zeros((4, 4), dtype=np.bool_), 2.0) == THIN)


_ends = st.tuples(st.integers(0, 29), st.integers(0, 19))


@given(st.lists(st.lists(_ends, min_size=2, max_size=4), min_size=1, max_size=12), st.data())
def test_pieces_have_one_number_if_and_only_if_places_link_them(
    lines: list[list[tuple[int, int]]], data: st.DataObject
) -> None:
    """Against merging sets by hand, the definition of what hangs together."""
    places = np.zeros((20, 30), dtype=np.int32)
    for n, line in enumerate(lines):
        column, row = line[0]
        places[row, column] = data.draw(st.integers(0, 3), label=f"place of line {n}")
    pieces = pieces_of([np.array([(*at, 0.0) for at in line]) for line in lines])
    met = places[GRID.nearest(pieces.points[:, 0], pieces.points[:, 1])].astype(np.int64)
    found = gathered(pieces, met)
    numbers = found.number
    reached = [{int(places[row, column]) for column, row in line} - {THIN} for line in lines]
    merged = [set(one) for one in reached]
    for _ in lines:
        for one in merged:
            for other in merged:
                if one & other:
                    one.update(other)
    for n, one in enumerate(merged):
        assert (numbers[n] == THIN) == (not one)
        for m, other in enumerate(merged):
            if one and other:
                assert (numbers[n] == numbers[m]) == (one == other)
    assert sorted(found.order(np.zeros(3))) == list(range(1, len(found.middles) + 1))


def test_one_pit_is_finished_before_the_next_is_begun() -> None:
    """Two slabs of 4.9 mm on a plane, 20 mm apart, under a ball of 2 mm, which takes 2 mm at once.

    In plan the bit changes from one to the other once (definition of place by place).
    """
    grid = cells((40.0, 40.0), 0.2)
    x, y = np.meshgrid(grid.x, grid.y)
    slab = (np.abs(y - 20.0) < 3.0) & ((np.abs(x - 8.0) < 3.0) | (np.abs(x - 32.0) < 3.0))
    ice = HeightField(grid=grid, heights=np.where(slab, 18.9, 14.0))
    surface = surface_of(solids.plane(0.0, 0.0) + np.array([20.0, 20.0, 14.0]))
    finish, carved = planned(surface, ice, 2.0, scallop=0.05, detail=0.1)
    path = finish.path()
    right = path.ends[carved.removed > 0.01, 0] > 20.0
    assert np.count_nonzero(np.diff(right)) == 1
    assert carved.ice.heights[slab].max() <= 14.0 + 0.05 + 0.06
