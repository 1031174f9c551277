"""Single ways between cuts by hand: over, along or down to the ice, and how long they take."""

from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.estimate.runtime import runtime
from icecam.geometry.field import HeightField, cells
from icecam.geometry.profile import Cylinder, cutting_end
from icecam.job.file import load
from icecam.paths.pieces import pieces_of
from icecam.paths.standing import Standing, parts_above
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.paths.ways import Bears, Going, Ways, risen
from tests.paths.scenes import BALL, GOING, linked, places_on

Floats = NDArray[np.float64]
OFF_MM: Final = 0.025
"""Chords may take 0.015 mm, straightening 0.01 mm (DEVELOPERS)."""
ROUND: Final = 1e-9
CELL_MM: Final = 0.5


# How long a rise takes


def _rise(across: float, up: float, down: float, ice: float) -> float:
    asked = (np.array([value]) for value in (across, up, down, ice))
    return float(GOING.rise_seconds(*asked)[0])


def test_seconds_of_a_rise() -> None:
    """By hand, 100 mm/s and 500 mm/s2 across: full speed needs 20 mm (10 up, 10 down in speed).

    5 mm: 2 sqrt(5 / 500) = 0.2 s; 20 mm: 0.4 s; 120 mm: 1.2 + 0.2 s. Upright 25 mm/s, 300 mm/s2:
    3 mm up are 3 / 25 + 25 / 300 s. Down 3 mm of which 1 through ice: 1.5 mm at 12 mm/s, 1.5 mm
    in 2 sqrt(1.5 / 300) s.
    """
    nothing = -np.inf
    for way, seconds in ((0.0, 0.0), (5.0, 0.2), (20.0, 0.4), (120.0, 1.4)):
        assert _rise(way, 0.0, 0.0, nothing) == pytest.approx(seconds)
    assert _rise(0.0, 3.0, 0.0, nothing) == pytest.approx(3 / 25 + 25 / 300)
    assert _rise(0.0, 0.0, 3.0, nothing) == pytest.approx(3 / 25 + 25 / 300)
    down = 1.5 / 12 + 2 * sqrt(1.5 / 300)
    assert _rise(0.0, 0.0, 3.0, 1.0) == pytest.approx(down)
    assert _rise(120.0, 3.0, 3.0, 1.0) == pytest.approx(1.4 + 3 / 25 + 25 / 300 + down)
    # no more than the whole way down is slow
    assert _rise(0.0, 0.0, 3.0, 50.0) == pytest.approx(3 / 12)


@given(st.floats(0.01, 20.0))
def test_seconds_are_those_in_which_a_way_can_just_be_gone(seconds: float) -> None:
    """In t from rest to rest one gets a t^2 / 4 far, or v t - v^2 / a once at full speed v."""
    speed, acceleration = GOING.speed[0], GOING.acceleration[0]
    full = seconds * acceleration / 2 > speed
    way = speed * seconds - speed**2 / acceleration if full else acceleration * seconds**2 / 4
    assert _rise(way, 0.0, 0.0, -np.inf) == pytest.approx(seconds)


def test_pace_is_the_feed_or_what_bumps_allow() -> None:
    """Over a bump of radius R upright acceleration is v^2 / R: sqrt(500 x 5) = 50 mm/s."""
    assert GOING.pace == 40.0
    assert replace(GOING, feed=80.0).pace == pytest.approx(50.0)


def test_what_a_way_between_pieces_costs() -> None:
    """A rise by the clearance and down again, its last 0.5 mm slowly, before the ice is known."""
    pace, rise, speed = GOING.hop
    assert (pace, speed) == (40.0, 100.0)
    assert rise == pytest.approx(3 / 25 + 25 / 300 + 0.5 / 12 + 2.5 / 25 + 25 / 300)


# Single ways by hand


def _never(points: Floats) -> NDArray[np.bool_]:
    return np.zeros(len(points), dtype=np.bool_)


def _always(points: Floats) -> NDArray[np.bool_]:
    return np.ones(len(points), dtype=np.bool_)


def _floor(points: Floats) -> Floats:
    return np.zeros(len(points))


def _one_way(
    heights: Callable[[Floats], Floats], bears: Bears, *, gap: tuple[float, float] = (8.5, 11.5),
    top: float = 0.0, going: Going = GOING, above: tuple[Cylinder, ...] = (), drop: float = 0.0,
) -> Toolpath:  # fmt: skip
    """Two cuts in a row with a gap between, on level ice 60 x 20; at z = 0, the second lower."""
    grid = cells((60.0, 20.0), CELL_MM)
    ice = HeightField(grid=grid, heights=np.full((grid.ny, grid.nx), top))
    lines = [
        [[4.0, 10.0, 0.0], [gap[0], 10.0, 0.0]],
        [[gap[1], 10.0, -drop], [56.0, 10.0, -drop]],
    ]
    standing = Standing(ice=ice, cutting=cutting_end(BALL), above=parts_above(above))
    cuts = pieces_of([np.array(line) for line in lines])
    return linked(cuts, standing, heights, bears, going)


def test_a_way_over_a_ridge_goes_over_it() -> None:
    """A ridge 5 mm high between two cuts: the way rests on it and is no higher (definition)."""

    def heights(points: Floats) -> Floats:
        return np.where(np.abs(points[:, 0] - 10.0) < 0.6, 5.0, 0.0)

    path = _one_way(heights, _always)
    assert (path.kind == RAPID).sum() == 2
    places, which = places_on(path, 0.01)
    cut = places[path.feed[which] == GOING.feed]
    assert (cut[np.abs(cut[:, 0] - 10.0) < 0.55, 2] >= 5.0 - OFF_MM).all()
    assert cut[:, 2].max() <= 5.0 + ROUND
    assert cut[:, 2].min() >= -OFF_MM


@pytest.mark.parametrize("bow", [0.5, 1.0, 2.0])
def test_a_way_over_a_leaning_wall_climbs_it_at_once(bow: float) -> None:
    """A ridge 10 mm high, its sides leaning in by 0.1 mm and bowed out, straight or bowed in.

    By the controller's model the way is no slower than up, across and down, each from rest to rest
    (closed form), as it were with a stop at every few hundredths of the lean.
    """

    def heights(points: Floats) -> Floats:
        inside = (1.0 - np.abs(points[:, 0] - 10.0)) / 0.1
        return 10.0 * np.clip(inside, 0.0, 1.0) ** bow

    path = _one_way(heights, _always, top=20.0)
    machine = load(None).machine
    between = (path.begins[:, 0] >= 8.5) & (path.ends[:, 0] <= 11.5) & (path.kind == CUT)
    between &= path.feed == GOING.feed
    ends = path.ends[between]
    way = Toolpath(
        start=np.array([8.5, 10.0, 0.0]),
        ends=ends,
        kind=np.full(len(ends), CUT, dtype=np.int8),
        feed=np.full(len(ends), GOING.feed),
        line=np.zeros(len(ends), dtype=np.int32),
    )
    assert tuple(ends[-1]) == (11.5, 10.0, 0.0)
    upright, level = machine.acceleration[2], machine.acceleration[0]
    climb = 10.0 / GOING.feed + GOING.feed / upright
    assert runtime(way, machine).total <= 2 * climb + 2 * sqrt(3.0 / level)
    places, _ = places_on(way, 0.001)
    # a wall is as near as the bit comes beside it, not only below
    beside = [places + np.array([off, 0.0, 0.0]) for off in (-OFF_MM, 0.0, OFF_MM)]
    lowest = np.min([heights(each) for each in beside], axis=0)
    assert (places[:, 2] >= lowest - OFF_MM).all()


def test_a_way_over_a_hollow_goes_straight_across() -> None:
    """A hollow 9 mm deep between two cuts at its rim: drawn taut, the way stays at z = 0."""

    def heights(points: Floats) -> Floats:
        return np.minimum(0.0, np.abs(points[:, 0] - 20.0) * 0.9 - 9.0)

    path = _one_way(heights, _always, gap=(10.0, 30.0))
    assert (path.kind == RAPID).sum() == 2
    np.testing.assert_allclose(path.ends[path.feed == GOING.feed, 2], 0.0, atol=ROUND)


@pytest.mark.parametrize("gap", [0.5, 2.0, 20.0, 40.0])
def test_a_way_goes_up_where_the_bit_may_not_take_the_ice(gap: float) -> None:
    """Straight and level from cut to cut, but for 0.4 mm in its middle: never through there."""
    middle = 30.0

    def bears(points: Floats) -> NDArray[np.bool_]:
        return np.abs(points[:, 0] - middle) > 0.22

    ends = (middle - gap / 2, middle + gap / 2)
    assert (_one_way(_floor, _always, gap=ends).kind == RAPID).sum() == 2
    path = _one_way(_floor, bears, gap=ends)
    level = (path.kind == RAPID) & (path.begins[:, 2] == path.ends[:, 2])
    assert level.sum() == 1
    assert (path.ends[level, 2] >= GOING.clearance - 0.1).all()
    cut = path.kind == CUT
    across = (path.begins[:, 0] < middle) & (path.ends[:, 0] > middle)
    assert not (cut & across).any()


@pytest.mark.parametrize("drop", [0.0, 4.0])
def test_a_way_to_a_cut_beside_is_gone_along_whatever_ice_it_meets(drop: float) -> None:
    """2 mm in plan, and up to 4 mm down: with a `beside` of 2 mm along, with less up (by hand)."""

    def heights(points: Floats) -> Floats:
        return np.full(len(points), -9.0)

    for beside, rapids in ((2.0, 2), (1.99, 5), (0.0, 5)):
        going = replace(GOING, beside=beside)
        path = _one_way(heights, _never, gap=(9.0, 11.0), going=going, drop=drop)
        assert (path.kind == RAPID).sum() == rapids
        across = (path.begins[:, 0] == 9.0) & (path.ends[:, 0] == 11.0)
        assert list(path.kind[across]) == [CUT if rapids == 2 else RAPID]
    assert (_one_way(heights, _always, gap=(9.0, 11.0), drop=drop).kind == RAPID).sum() == 2


def test_a_way_to_a_cut_beside_goes_up_where_that_is_quicker() -> None:
    """A ridge 60 mm high in a gap of 3 mm: 120 mm along take 3 s (by hand).

    With no ice on it up by the clearance and down takes 0.4 s; with 60 mm of ice all over 63 mm
    up at 25 mm/s take 2.5 s, and 60.5 mm down at 12 mm/s 5 s.
    """

    def heights(points: Floats) -> Floats:
        return np.where(np.abs(points[:, 0] - 10.0) < 0.6, 60.0, 0.0)

    going = replace(GOING, beside=3.0)
    assert (_one_way(heights, _never, going=going).kind == RAPID).sum() == 5
    assert (_one_way(heights, _never, going=going, top=60.0).kind == RAPID).sum() == 2


def test_a_way_goes_up_where_that_is_quicker() -> None:
    """By hand on level ice at z = 0, where nothing more than the clearance must be risen.

    Up 0.2033, down 0.0417 + 0.1833, across 52 mm 0.72 s: 1.148 s, in which one gets 45.9 mm far at
    40 mm/s; across 30 mm it is 0.928 s and 37.1 mm. Ice 40 mm higher makes the rise slower.
    """
    assert (_one_way(_floor, _always, gap=(5.0, 35.0)).kind == RAPID).sum() == 2
    assert (_one_way(_floor, _always, gap=(4.0, 55.9)).kind == RAPID).sum() == 5
    assert (_one_way(_floor, _always, gap=(4.0, 55.9), top=40.0).kind == RAPID).sum() == 2
    slow = replace(GOING, feed=8.0)
    assert (_one_way(_floor, _always, gap=(5.0, 35.0), going=slow).kind == RAPID).sum() == 5


def test_coming_down_on_level_ice() -> None:
    """By hand, 6 mm over the cuts: rapid to 3 mm over the ice, to 0.5 mm in the open, then slow.

    The ball's tip lies between four cells' centres, 0.35 mm off: it comes down 0.04 mm lower.
    """
    path = _one_way(_floor, _never, top=6.0)
    lower = 1.5 - sqrt(1.5**2 - 2 * 0.25**2)
    for target in (4.0, 11.5):
        here = (path.begins[:, 0] == target) & (path.ends[:, 0] == target)
        here &= path.ends[:, 2] < path.begins[:, 2]
        np.testing.assert_allclose(path.ends[here, 2], [9.0 - lower, 6.5 - lower, 0.0], atol=0.05)
        assert list(path.kind[here]) == [RAPID, CUT, CUT]
        np.testing.assert_array_equal(path.feed[here], [np.nan, GOING.approach, GOING.plunge])


def test_where_nothing_stands_below_there_is_no_plunge() -> None:
    """Cuts in the open: no move at plunge feed; rapids end at the cut or 3 mm over the ice."""
    for top, feeds in ((-9.0, []), (-2.0, [GOING.approach] * 2)):
        path = _one_way(_floor, _never, top=top)
        assert not (path.feed == GOING.plunge).any()
        upright = (path.begins[:, :2] == path.ends[:, :2]).all(axis=1)
        assert list(path.feed[upright & (path.kind == CUT)]) == feeds
        assert path.ends[:, 2].min() == 0.0


def test_what_is_wider_above_keeps_the_bit_high() -> None:
    """Nut r17 from 50 up beside ice of 60: the tip stays 10 over the ground, and the clearance."""
    grid = cells((80.0, 80.0), 1.0)
    heights = np.where(grid.x > 40.0, 60.0, 0.0) * np.ones((grid.ny, 1))
    ice = HeightField(grid=grid, heights=heights)
    lines = [[[10.0, 20.0, 12.0], [26.0, 20.0, 12.0]], [[26.0, 60.0, 12.0], [10.0, 60.0, 12.0]]]
    nut = parts_above((Cylinder("collet nut", 17.0, 50.0),))
    standing = Standing(ice=ice, cutting=cutting_end(BALL), above=nut)
    path = linked(pieces_of([np.array(line) for line in lines]), standing, _floor, _never)
    level = (path.kind == RAPID) & (path.begins[:, 2] == path.ends[:, 2])
    assert list(path.ends[level, 2]) == pytest.approx([10.0 + GOING.clearance])


def test_no_cuts_are_no_moves() -> None:
    grid = cells((5.0, 5.0), CELL_MM)
    ice = HeightField(grid=grid, heights=np.ones((grid.ny, grid.nx)))
    standing = Standing(ice=ice, cutting=cutting_end(BALL), above=())
    path = linked(pieces_of([]), standing, _floor, _always)
    assert len(path) == 0
    assert path.start[2] == GOING.safe


def test_ways_that_hold_a_move_go_over_the_ice_instead() -> None:
    """Four cuts; the ways from the first and the third go along the surface, by hand.

    The first way shares its last point with a cut and a move of that begins there: it stays.
    """
    cuts = pieces_of([np.array([[x, 0.0, 0.0], [x + 1.0, 0.0, 0.0]]) for x in (0.0, 9.0, 20.0, 40)])
    along = {
        0: np.array([[5.0, 0.0, 2.0], [9.0, 0.0, 0.0]]),
        2: np.array([[30.0, 0.0, 5.0], [35.0, 0.0, 5.0], [40.0, 0.0, 0.0]]),
    }
    ways = Ways(ground=np.zeros(4), over=np.full(3, 8.0), along=along)
    on_cut = [[9.0, 0.0, 0.0], [10.0, 0.0, 0.0]]
    first = [[1.0, 0.0, 0.0], [5.0, 0.001, 2.0]]
    inside = [[30.0, 0.0, 5.001], [35.0, 0.0, 5.0]]
    from_one_to_another = [[9.0, 0.0, 0.0], [40.0, 0.0, 0.0]]
    for moves, left in (
        ([on_cut], {0, 2}),
        ([first], {2}),
        ([on_cut, inside], {0}),
        ([inside, first, inside], set()),
        ([from_one_to_another], {0, 2}),
    ):
        found = risen(ways, cuts, np.array(moves))
        assert set(found.along) == left
        assert all(found.along[n] is along[n] for n in left)
        assert found.over is ways.over
    assert not risen(replace(ways, along={}), cuts, np.array([inside])).along
