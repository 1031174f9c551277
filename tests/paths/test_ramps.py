"""Pockets opened down ramps or from outside: by hand, by shapely and against a carved block."""

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import ceil, radians, sin, sqrt, tan
from typing import Final

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from icecam.geometry.profile import cutting_end
from icecam.paths.loops import SMOOTH_MM, Loop, loops
from icecam.paths.roughing import Cut, Rougher
from icecam.paths.standing import coarse
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import Carved, carve, whole_block
from tests.paths.scenes import FLAT

CELL_MM: Final = 0.25
TOP_MM: Final = 20.0
SLOW_MM: Final = 0.5
"""As documented: a ramp begins so much over the ice."""
ROUND: Final = 1e-9
ANGLE: Final = radians(5.0)
FEED, SLOT_FEED, APPROACH = 80.0, 40.0, 20.0


# Loops measured and cut open


def _loop(points: list[tuple[float, float]]) -> Loop:
    closed = np.array([*points, points[0]], dtype=np.float64)
    return Loop(points=closed, slot=np.arange(len(points)) % 2 == 0)


_sizes = st.floats(0.5, 30.0)
_triangles = st.tuples(_sizes, _sizes, _sizes).map(
    lambda s: _loop([(0.0, 0.0), (s[0], 0.0), (s[1] - 10.0, s[2])])
)


@settings(derandomize=True)
@given(_triangles, st.integers(0, 999).map(lambda count: count / 1000))
def test_a_point_put_into_a_loop_changes_nothing_else(loop: Loop, share: float) -> None:
    """The place comes from shapely; length, shape and the length of its full slots stay."""
    line = shapely.LineString(loop.points)
    assert loop.reach[0] == 0.0
    assert loop.reach[-1] == pytest.approx(line.length)
    found = loop.with_point(share * float(loop.reach[-1]))
    k = int(np.argmin(np.abs(found.reach - share * line.length)))
    place = shapely.get_coordinates(line.interpolate(share, normalized=True))[0]
    np.testing.assert_allclose(found.points[k], place, atol=1e-7)
    assert len(found.slot) == len(found.points) - 1
    assert len(found.points) - len(loop.points) in (0, 1)
    new = shapely.LineString(found.points)
    assert new.length == pytest.approx(line.length)
    assert shapely.hausdorff_distance(new, line) <= 1e-7
    kept = {tuple(point) for point in found.points.tolist()}
    assert all(tuple(point) in kept for point in loop.points.tolist())
    full = [float(np.diff(each.reach)[each.slot].sum()) for each in (loop, found)]
    assert full[1] == pytest.approx(full[0])


def test_a_point_put_into_a_square_by_hand() -> None:
    """Halfway along the second side; at a corner there is one already."""
    square = _loop([(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)])
    np.testing.assert_array_equal(square.reach, [0.0, 4.0, 8.0, 12.0, 16.0])
    found = square.with_point(6.0)
    np.testing.assert_array_equal(found.points[:4], [[0, 0], [4, 0], [4, 2], [4, 4]])
    np.testing.assert_array_equal(found.slot, [True, False, False, True, False])
    assert len(square.with_point(8.0).points) == 5


# Pockets


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cleared:
    """A pocket cleared level by level, and the block carved by it."""

    area: BaseGeometry
    levels: tuple[float, ...]
    path: Toolpath
    carved: Carved


CUTTING: Final = Cut(
    radius=3.0, flat=3.0, ridge=0.0, stepover=3.0, feed=FEED, slot_feed=SLOT_FEED,
    approach=APPROACH, ramp_deg=5.0, clearance=3.0, safe=23.0,
)  # fmt: skip


def _clear(area: BaseGeometry, levels: tuple[float, ...]) -> _Cleared:
    """Clear an area with a flat bit of 6 mm out of a block 100 x 60 x 20."""
    block = whole_block((100.0, 60.0, TOP_MM), CELL_MM)
    bit = cutting_end(FLAT)
    rougher = Rougher(coarse(block), (100.0, 60.0), ((bit, 0.0),), CUTTING)
    for over, z in pairwise((TOP_MM, *levels)):
        assert rougher.clear(area, z, over).equals(area)
    path = rougher.path()
    return _Cleared(area=area, levels=levels, path=path, carved=carve(block, path, bit))


AREAS: Final = {
    "long": shapely.box(20.0, 26.0, 80.0, 34.0),
    "square": shapely.box(30.0, 20.0, 50.0, 40.0),
    "small": shapely.box(40.0, 25.0, 45.0, 30.0),
    "strip": shapely.box(20.0, 29.0, 70.0, 31.0),
    "disc": shapely.Point(50.0, 30.0).buffer(11.0),
    "two": shapely.union(shapely.box(15.0, 15.0, 35.0, 45.0), shapely.box(60.0, 15.0, 85.0, 22.0)),
    "ring": shapely.Point(50.0, 30.0).buffer(20.0) - shapely.Point(50.0, 30.0).buffer(9.0),
}
_by_area = pytest.mark.parametrize("name", list(AREAS))


@cache
def _cleared(name: str) -> _Cleared:
    return _clear(AREAS[name], (15.0, 10.0))


def _ramps(path: Toolpath) -> list[NDArray[np.intp]]:
    """Runs of slow cutting moves that come down on a slope, as numbers of moves."""
    plan = np.linalg.norm(path.ends[:, :2] - path.begins[:, :2], axis=1)
    down = (path.feed == SLOT_FEED) & (plan > 0) & (path.begins[:, 2] - path.ends[:, 2] > ROUND)
    moves = np.flatnonzero(down)
    return [run for run in np.split(moves, np.flatnonzero(np.diff(moves) > 1) + 1) if len(run)]


def _level_lines(path: Toolpath, z: float) -> BaseGeometry:
    """What is followed at a height, seen from above."""
    at = np.abs([path.begins[:, 2] - z, path.ends[:, 2] - z]).max(axis=0) <= ROUND
    moves = np.flatnonzero((path.kind == CUT) & at)
    ends = np.stack([path.begins[moves, :2], path.ends[moves, :2]], axis=1)
    return shapely.union_all(shapely.linestrings(ends))


@_by_area
def test_ramps_come_down_from_just_over_the_level_above_no_steeper_than_asked(name: str) -> None:
    """From 0.5 mm over it to the level, 5 degrees at most, all of it slowly (definition)."""
    scene = _cleared(name)
    path, runs = scene.path, _ramps(scene.path)
    above = dict(pairwise((TOP_MM, *scene.levels)))
    assert len(runs) >= 2
    for run in runs:
        over = float(path.begins[run[0], 2]) - SLOW_MM
        assert over in above
        assert path.ends[run[-1], 2] == pytest.approx(above[over], abs=ROUND)
        fall = path.begins[run, 2] - path.ends[run, 2]
        plan = np.linalg.norm(path.ends[run, :2] - path.begins[run, :2], axis=1)
        assert (fall <= plan * tan(ANGLE) + ROUND).all()
        assert (path.feed[run] == SLOT_FEED).all()
        # the way down to where a ramp begins is open
        down = run[0] - 1
        assert path.feed[down] == APPROACH
        aside = path.begins[down, :2] - path.ends[down, :2]
        assert np.hypot(*aside) <= 3 * SMOOTH_MM
        assert scene.carved.removed[down] == 0.0


@_by_area
def test_ramps_are_no_longer_than_they_must_be(name: str) -> None:
    """By geometry fall / sin of the angle; on a shorter loop as many whole rounds as that takes.

    Which loop a ramp follows is known by its beginning, through which the loop runs.
    """
    scene = _cleared(name)
    path = scene.path
    lines = [shapely.LineString(each.way.points) for each in loops(scene.area, 3.0, 3.0)]
    for run in _ramps(path):
        fall = float(path.begins[run[0], 2] - path.ends[run[-1], 2])
        points = shapely.points(path.ends[run, :2])
        (loop,) = [line for line in lines if shapely.distance(line, points).max() <= 1e-6]
        around = loop.length
        flat = fall / tan(ANGLE)
        if flat < around:
            expected = fall / sin(ANGLE)
        else:
            expected = float(np.hypot(ceil(flat / around) * around, fall))
        assert path.lengths[run].sum() == pytest.approx(expected, abs=1e-6)


@_by_area
def test_after_its_ramp_each_loop_is_followed_all_round_at_full_depth(name: str) -> None:
    """Every place of every loop, also below the ramp, lies on a level cut (shapely)."""
    scene = _cleared(name)
    for z in scene.levels:
        followed = _level_lines(scene.path, z).buffer(1e-6)
        for loop, *_ in loops(scene.area, 3.0, 3.0):
            assert shapely.LineString(loop.points).difference(followed).is_empty


@_by_area
def test_the_level_way_after_a_ramp_begins_where_that_ends_and_closes_there(name: str) -> None:
    """The moves after a ramp are a loop round to its end, before anything else is gone to."""
    path = _cleared(name).path
    for run in _ramps(path):
        end = path.ends[run[-1]]
        after = path.ends[run[-1] + 1 :]
        same = np.flatnonzero(np.linalg.norm(after - end, axis=1) <= ROUND)
        assert len(same) > 0
        round_ = slice(run[-1] + 1, run[-1] + 2 + same[0])
        assert (path.kind[round_] == CUT).all()
        np.testing.assert_allclose(path.ends[round_, 2], end[2], atol=ROUND)


@_by_area
def test_a_pocket_is_cleared_to_its_bottom_and_nothing_else_is(name: str) -> None:
    """Cells that the bit sweeps, by shapely, stand at the last level; others are whole."""
    scene = _cleared(name)
    ice = scene.carved.ice
    at = shapely.points(*np.meshgrid(ice.grid.x, ice.grid.y))
    off = shapely.distance(scene.area, at)
    np.testing.assert_allclose(
        ice.heights[off <= 3.0 - 2 * SMOOTH_MM], scene.levels[-1], atol=ROUND
    )
    assert (ice.heights[off > 3.0 + SMOOTH_MM] == TOP_MM).all()


@_by_area
def test_rapids_between_loops_and_levels_meet_no_ice(name: str) -> None:
    scene = _cleared(name)
    assert (scene.path.kind == RAPID).sum() >= 2
    assert scene.carved.rapid_depth.max() <= ROUND


@settings(deadline=None, derandomize=True, max_examples=20)
@given(st.floats(8.0, 20.0), st.floats(1.5, 4.0), st.integers(0, 10**6))
def test_rapids_down_a_round_pocket_keep_off_its_sides(
    radius: float, wide: float, seed: int
) -> None:
    """Loops are simplified, another way at each level, so each sweeps a little less than asked.

    A rapid down at the very edge would graze what the level above left there: by carving.
    """
    rng = np.random.default_rng(seed)
    apart = 2 * radius - min(wide, radius)
    sides = [shapely.Point(x, 0.0).buffer(radius, quad_segs=64) for x in (0.0, apart)]
    lens = shapely.intersection(sides[0], sides[1])
    points = shapely.get_coordinates(lens)[:-1] - shapely.get_coordinates(lens).min(axis=0) + 4.0
    wide_mm, deep_mm = (points.max(axis=0) + 4.0).tolist()
    block = whole_block((wide_mm, deep_mm, TOP_MM), 0.04)
    rougher = Rougher(coarse(block), (wide_mm, deep_mm), ((cutting_end(FLAT), 0.0),), CUTTING)
    for over, z in pairwise((TOP_MM, 17.0, 14.0, 11.0, 8.0)):
        first = int(rng.integers(len(points)))
        rougher.clear(shapely.Polygon(np.roll(points, first, axis=0)), z, over)
    carved = carve(block, rougher.path(), cutting_end(FLAT))
    assert carved.rapid_depth.max() <= ROUND


@_by_area
@pytest.mark.parametrize("stepover", [2.4, 4.2])
@pytest.mark.parametrize("round_tip", [False, True])
def test_what_is_taken_to_stand_is_never_lower_than_what_stands(
    name: str, stepover: float, round_tip: bool
) -> None:
    """By carving: no ridge beside a round tip and no pillar in a corner is unknown."""
    radius = 3.0
    ridge = radius - sqrt(radius**2 - min(stepover, radius) ** 2) if round_tip else 0.0
    cut = replace(CUTTING, stepover=stepover, flat=0.0 if round_tip else radius, ridge=ridge)
    ball = replace(FLAT, name="ball 6", shape="ball")
    tip = cutting_end(ball if round_tip else FLAT)
    block = whole_block((100.0, 60.0, TOP_MM), CELL_MM)
    rougher = Rougher(coarse(block), (100.0, 60.0), ((tip, 0.0),), cut)
    for over, z in pairwise((TOP_MM, 15.0, 10.0)):
        rougher.clear(AREAS[name], z, over)
    stands = coarse(carve(block, rougher.path(), tip).ice)
    assert (stands.heights <= rougher.standing.heights + ROUND).all()


@_by_area
def test_no_level_cut_meets_more_than_its_step(name: str) -> None:
    """5 mm from level to level: nothing is left above to be cut twice as deep (definition)."""
    assert _cleared(name).carved.depth.max() <= 5.0 + ROUND


def test_full_slots_are_cut_slowly_and_all_else_at_full_feed() -> None:
    """Ice taken a mm of way, over depth and diameter, from the carved block: the share of the bit.

    60 x 8 for the bit's centre. The slot that the ramp opens, and the rest of its loop, are
    slow; the loop round it takes half of the bit and is fast.
    """
    scene = _clear(AREAS["long"], (15.0,))
    path = scene.path
    level = (path.kind == CUT) & (path.begins[:, 2] == path.ends[:, 2]) & (path.lengths > 6.0)
    share = scene.carved.removed / np.maximum(path.lengths, ROUND) / (5.0 * 6.0)
    assert (path.feed[level & (share > 0.7)] == SLOT_FEED).all()
    assert (path.feed[level & (share > 0.45) & (share < 0.7)] == FEED).sum() >= 2
    # swept by the bit, less what corners of cells leave
    swept = 5.0 * scene.area.buffer(3.0, quad_segs=32).area
    assert scene.carved.removed.sum() == pytest.approx(swept, rel=5e-3)


def test_a_pocket_at_the_edge_is_opened_from_outside_by_a_slow_slot() -> None:
    """No ramp: from beside the block at full depth, its first way at the feed of slots."""
    scene = _clear(shapely.box(-1.5, 26.0, 60.0, 34.0), (15.0,))
    path, taken = scene.path, scene.carved.removed
    cuts = path.kind == CUT
    level = cuts & (path.begins[:, 2] == path.ends[:, 2]) & (path.lengths > 6.0)
    share = taken / np.maximum(path.lengths, ROUND) / (5.0 * 6.0)
    assert taken[cuts & (path.begins[:, 2] != path.ends[:, 2])].sum() == 0.0
    slots = level & (share > 0.9)
    assert path.lengths[slots].sum() > 50.0
    assert (path.feed[slots] == SLOT_FEED).all()
    assert (path.feed[level & (share > 0.45) & ~slots] == FEED).any()


def test_what_has_no_room_is_not_entered() -> None:
    """Up to 4 mm2 of places for the bit's centre, as documented: neither said nor cut."""
    large, small = AREAS["square"], shapely.box(80.0, 20.0, 81.9, 22.0)
    block = whole_block((100.0, 60.0, TOP_MM), 1.0)
    rougher = Rougher(coarse(block), (100.0, 60.0), ((cutting_end(FLAT), 0.0),), CUTTING)
    assert rougher.clear(small, 15.0, TOP_MM).is_empty
    assert len(rougher.path()) == 0
    assert rougher.clear(shapely.union(large, small), 15.0, TOP_MM).equals(large)
    assert rougher.path().ends[:, 0].max() <= 50.0 + ROUND
