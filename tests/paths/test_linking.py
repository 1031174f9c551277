"""Ways between cuts against the ice as it stands, cell by cell, and against a carved block."""

from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField, cells
from icecam.geometry.profile import Cylinder, cutting_end, cylinders
from icecam.paths.linking import Going, link
from icecam.paths.pieces import Pieces, pieces_of
from icecam.paths.standing import BESIDE_MM, body_of, coarse, lowest_for, spread, travel, widened
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import carve
from tests.paths.scenes import BALL, SPINDLE_MM, highest_within, places_on

Floats = NDArray[np.float64]
SAFE_MM, CLEAR_MM, NEAR_MM = 43.0, 3.0, 4.0
SIDE_MM = 60.0
RADIUS_MM = 1.5


def _hills(seed: int) -> HeightField:
    """Ice of steps and peaks, up to 40 mm high."""
    rng = np.random.default_rng(seed)
    grid = cells((SIDE_MM, SIDE_MM), 0.5)
    rough = np.kron(rng.uniform(2.0, 40.0, (8, 8)), np.ones((15, 15)))
    return HeightField(grid=grid, heights=rough + rng.uniform(-1.0, 0.0, rough.shape))


def _cuts(ice: HeightField, seed: int, count: int = 25) -> Pieces:
    """Short cuts into the ice, up to 2 mm deep, some near the one before, some far from it."""
    rng = np.random.default_rng(seed)
    lines = []
    here = rng.uniform(5, 55, 2)
    for _ in range(count):
        way = rng.uniform(-3, 3, 2)
        here = np.clip(here + rng.uniform(-2, 2, 2), 5, 55)
        if rng.random() < 0.5:
            here = rng.uniform(5, 55, 2)
        share = np.linspace(0, 1, 5)[:, None]
        line = np.clip(here + share * way, 4, 56)
        low = [highest_within(ice, float(x), float(y), RADIUS_MM) - 2.0 for x, y in line]
        lines.append(np.column_stack([line, low]))
        here = line[-1]
    return pieces_of(lines)


GOING = Going(
    feed=40.0, plunge=12.0, clearance=CLEAR_MM, safe=SAFE_MM, near=NEAR_MM, pitch=0.5, tip=RADIUS_MM
)


def _linked(seed: int) -> tuple[HeightField, Pieces, Toolpath]:
    """Cuts linked over hills; the sculpture lies 3 mm below the ice that a bit meets."""
    ice = _hills(seed)
    pieces = _cuts(ice, seed)

    def rest(points: Floats) -> Floats:
        return np.array([highest_within(ice, x, y, RADIUS_MM) - 3.0 for x, y in points])

    body = body_of(RADIUS_MM, cylinders(BALL, SPINDLE_MM))
    return ice, pieces, link(pieces, coarse(ice), body, GOING, rest)


SEEDS = [0, 1, 2]


@pytest.mark.parametrize("seed", SEEDS)
def test_rapids_keep_the_clearance_or_stay_over_everything(seed: int) -> None:
    """By definition, cell by cell: ice under the bit lies the clearance below a rapid.

    Or the rapid runs at the safe height, or it ends where a cut begins or began: straight up from
    there, straight down to there.
    """
    ice, _, path = _linked(seed)
    places, which = places_on(path, 0.5)
    level = path.begins[:, 2] == path.ends[:, 2]
    assert ((path.kind == RAPID) & level).sum() >= 5
    for (x, y, z), move in zip(places, which, strict=True):
        if path.kind[move] == RAPID and level[move] and z < SAFE_MM:
            assert z >= highest_within(ice, x, y, RADIUS_MM) + CLEAR_MM
    upright = (path.kind == RAPID) & ~level
    flat = np.linalg.norm(path.ends[:, :2] - path.begins[:, :2], axis=1)
    np.testing.assert_array_equal(flat[upright], 0.0)
    # straight down a rapid stops the clearance over the ice
    down = upright & (path.ends[:, 2] < path.begins[:, 2])
    assert down.sum() >= 5
    for x, y, z in path.ends[down]:
        assert z >= highest_within(ice, x, y, RADIUS_MM) + CLEAR_MM


@pytest.mark.parametrize("seed", SEEDS)
def test_rapids_meet_no_ice_and_nothing_above_the_cutting_end_does(seed: int) -> None:
    """The same path carved: deepest ice met by a rapid, and by shank, nut and spindle on rapids."""
    ice, _, path = _linked(seed)
    carved = carve(ice, path, cutting_end(BALL), cylinders(BALL, SPINDLE_MM))
    assert carved.rapid_depth.max() <= 1e-9
    assert carved.contact_depth[path.kind == RAPID].max() == 0.0
    assert carved.removed.sum() > 0


@pytest.mark.parametrize("seed", SEEDS)
def test_rapids_rise_no_higher_than_the_ice_near_them_calls_for(seed: int) -> None:
    """Level rapids lie at most the clearance over ice within the bit's radius and coarse squares.

    Squares of 2 mm hold their greatest height, so ice up to their size and diagonals further off
    may count. Or they lie as high as one of the cuts they join.
    """
    ice, pieces, path = _linked(seed)
    begins = path.begins
    ends_of_cuts = np.concatenate([[pieces[n][0], pieces[n][-1]] for n in range(len(pieces))])
    for move in np.flatnonzero((path.kind == RAPID) & (begins[:, 2] == path.ends[:, 2])):
        share = np.linspace(0, 1, 60)[:, None]
        way = begins[move] + share * (path.ends[move] - begins[move])
        tops = [highest_within(ice, x, y, RADIUS_MM + 2.9 + 0.5) for x, y, _ in way]
        by_body = max(
            highest_within(ice, x, y, part.radius + 3.4) - part.base
            for x, y, _ in way
            for part in cylinders(BALL, SPINDLE_MM)
        )
        highest = max(*tops, by_body) + CLEAR_MM
        cuts = ends_of_cuts[
            (np.linalg.norm(ends_of_cuts[:, None, :2] - way[None, [0, -1], :2], axis=2) < 1e-9).any(
                axis=1
            )
        ]
        assert begins[move, 2] <= max(highest, cuts[:, 2].max()) + 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_plunges_are_short_straight_and_slow(seed: int) -> None:
    """A cut at plunge feed goes straight down, from no more than the clearance over its ice."""
    ice, _, path = _linked(seed)
    plunges = np.flatnonzero(path.feed == 12.0)
    assert len(plunges) >= 5
    for move in plunges:
        begin, end = path.begins[move], path.ends[move]
        np.testing.assert_array_equal(begin[:2], end[:2])
        assert begin[2] > end[2]
        assert path.kind[move] == CUT
        near = highest_within(ice, end[0], end[1], RADIUS_MM + 3.4)
        nut = [
            highest_within(ice, end[0], end[1], part.radius + 3.4) - part.base
            for part in cylinders(BALL, SPINDLE_MM)
        ]
        assert begin[2] <= max(near, *nut) + CLEAR_MM + 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_all_cuts_are_in_the_path_in_their_order(seed: int) -> None:
    """By definition: each piece is found, point by point and at cutting feed, after the last."""
    _, pieces, path = _linked(seed)
    at = 0
    points = np.concatenate([path.start[None], path.ends])
    for n in range(len(pieces)):
        length = len(pieces[n])
        while not np.array_equal(points[at : at + length], pieces[n]):
            at += 1
            assert at < len(points)
        assert (path.kind[at : at + length - 1] == CUT).all()
        assert (path.feed[at : at + length - 1] == 40.0).all()
        at += length - 1
    assert path.start[2] == SAFE_MM
    assert path.ends[-1, 2] == SAFE_MM
    assert path.kind[-1] == RAPID


@pytest.mark.parametrize("seed", SEEDS)
def test_short_ways_stay_down_and_off_the_sculpture(seed: int) -> None:
    """Pieces up to 4 mm apart are joined at feed, nowhere below where a bit may rest."""
    ice, pieces, path = _linked(seed)
    near = [
        n
        for n in range(1, len(pieces))
        if np.linalg.norm(pieces[n][0, :2] - pieces[n - 1][-1, :2]) <= NEAR_MM
    ]
    assert len(near) >= 3
    rapid_levels = (path.kind == RAPID) & (path.begins[:, 2] == path.ends[:, 2])
    assert rapid_levels.sum() == len(pieces) - 1 - len(near)
    ways = (path.kind == CUT) & (path.feed == 40.0)
    for x, y, z in path.ends[ways]:
        assert z >= highest_within(ice, x, y, RADIUS_MM) - 3.0 - 1e-9


def test_a_short_way_over_a_ridge_goes_over_it() -> None:
    """A ridge 5 mm high between two cuts 3 mm apart: the way rests on it (definition)."""

    def rest(points: Floats) -> Floats:
        return np.where(np.abs(points[:, 0] - 10.0) < 0.5, 5.0, 0.0)

    lines = [[[5.0, 5.0, 0.0], [8.5, 5.0, 0.0]], [[11.5, 5.0, 0.0], [15.0, 5.0, 0.0]]]
    ice = HeightField(grid=cells((20.0, 10.0), 0.5), heights=np.zeros((20, 40)))
    path = link(
        pieces_of([np.array(line) for line in lines]),
        coarse(ice),
        body_of(RADIUS_MM, ()),
        GOING,
        rest,
    )
    places, which = places_on(path, 0.01)
    cut = places[path.feed[which] == 40.0]
    assert (cut[np.abs(cut[:, 0] - 10.0) < 0.45, 2] >= 5.0 - 1e-9).all()
    assert (cut[np.abs(cut[:, 0] - 10.0) > 0.55, 2] <= 1e-9).all()
    assert (path.kind == RAPID).sum() == 2


def test_a_body_too_wide_for_the_ice_beside_keeps_it_high() -> None:
    """Nut r17 from 50 up beside ice of 60: the tip stays 10 over the ground, and the clearance."""
    heights = np.zeros((80, 80))
    heights[:, 40:] = 60.0
    ice = HeightField(grid=cells((80.0, 80.0), 1.0), heights=heights)
    lines = [[[10.0, 20.0, 12.0], [26.0, 20.0, 12.0]], [[26.0, 60.0, 12.0], [10.0, 60.0, 12.0]]]
    body = body_of(RADIUS_MM, (Cylinder("collet nut", 17.0, 50.0),))
    path = link(
        pieces_of([np.array(line) for line in lines]),
        coarse(ice),
        body,
        GOING,
        lambda points: np.zeros(len(points)),
    )
    level = (path.kind == RAPID) & (path.begins[:, 2] == path.ends[:, 2])
    assert list(path.ends[level, 2]) == pytest.approx([10.0 + CLEAR_MM])


# The ice as it stands, coarsely


_fields = st.tuples(st.integers(4, 17), st.integers(4, 17), st.integers(0, 10**6))


@given(_fields, st.floats(0.5, 4.0))
def test_coarse_ice_is_the_greatest_of_its_squares(
    field: tuple[int, int, int], side: float
) -> None:
    """By definition: each cell lies in the square nearest to it, and the greatest stands there."""
    ny, nx, seed = field
    grid = cells((nx * 0.5, ny * 0.5), 0.5)
    heights = np.random.default_rng(seed).uniform(0, 9, (ny, nx))
    found = coarse(HeightField(grid=grid, heights=heights), side)
    expected = np.full(found.heights.shape, -inf)
    for j, y in enumerate(grid.y):
        for i, x in enumerate(grid.x):
            row = int(np.floor(y / found.grid.pitch))
            column = int(np.floor(x / found.grid.pitch))
            expected[row, column] = max(expected[row, column], heights[j, i])
            at = found.grid.nearest(np.array([x]), np.array([y]))
            assert (int(at[0][0]), int(at[1][0])) == (row, column)
    np.testing.assert_array_equal(found.heights, expected)


@settings(max_examples=30)
@given(_fields, st.floats(0.5, 6.0))
def test_answers_of_coarse_ice_are_on_the_safe_side(
    field: tuple[int, int, int], radius: float
) -> None:
    """Against all cells within the radius, for places anywhere in a square, and ways between."""
    ny, nx, seed = field
    rng = np.random.default_rng(seed)
    fine = HeightField(grid=cells((nx * 0.5, ny * 0.5), 0.5), heights=rng.uniform(0, 9, (ny, nx)))
    standing = coarse(fine)
    wide = spread(standing, radius)
    part = Cylinder("shank", radius, 3.0)
    lowest = lowest_for(standing, (part,))
    body = body_of(radius, (Cylinder("collet nut", radius + 2.0, 4.0),))
    for x, y in rng.uniform([0, 0], [nx * 0.5, ny * 0.5], (10, 2)):
        j, i = standing.grid.nearest(np.array([x]), np.array([y]))
        assert wide[j[0], i[0]] >= highest_within(fine, x, y, radius)
        assert lowest[j[0], i[0]] >= highest_within(fine, x, y, radius + BESIDE_MM) - 3.0
        far = rng.uniform([0, 0], [nx * 0.5, ny * 0.5])
        asked = travel(standing, body, np.array([[x, y]]), far[None])[0]
        for u, v in np.linspace([x, y], far, 12):
            assert asked >= highest_within(fine, u, v, radius)
            assert asked >= highest_within(fine, u, v, radius + 2.0) - 4.0


def test_widened_ice_is_the_same_with_open_air_round_it() -> None:
    grid = Grid(1.0, 2.0, 0.5, 3, 2)
    found = widened(HeightField(grid=grid, heights=np.arange(6.0).reshape(2, 3)), 1.2)
    assert found.grid == Grid(-0.5, 0.5, 0.5, 9, 8)
    np.testing.assert_array_equal(found.heights[3:5, 3:6], np.arange(6.0).reshape(2, 3))
    assert np.isneginf(found.heights).sum() == 72 - 6
