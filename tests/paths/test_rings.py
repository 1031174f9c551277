"""Rings against closed forms of the tip over a hemisphere, a cone and an upright cylinder."""

from collections.abc import Callable
from itertools import pairwise
from math import atan, cos, pi, sin, sqrt, tan

import contourpy
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid
from icecam.paths.pieces import Pieces, where_marked
from icecam.paths.rings import (
    CLOSE_MM,
    GAP,
    RING_GAP,
    Crossings,
    Found,
    crossings_of,
    needed,
    rings,
)

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]
Tip = Callable[[Floats], Floats]
GRID = Grid(-16.0, -15.0, 0.5, 65, 61)
BALL_MM = 2.0
STEP_MM = 1.3


def _hemisphere(rho: Floats) -> Floats:
    """Ball r on a hemisphere R = 10 on the floor: sqrt((R + r)^2 - rho^2) - r (closed form)."""
    return np.maximum(np.sqrt(np.maximum(12.0**2 - rho**2, 0.0)) - BALL_MM, 0.0)


def _hemisphere_radius(z: float) -> float:
    return sqrt(12.0**2 - (z + BALL_MM) ** 2)


SLOPE = atan(20.0 / 8.0)


def _cone(rho: Floats) -> Floats:
    """Ball r on a cone H = 20, B = 8, b its slope (closed form).

    H - rho tan b + r / cos b - r beside the apex, H + sqrt(r^2 - rho^2) - r on it.
    """
    flank = 20.0 - rho * tan(SLOPE) + BALL_MM / cos(SLOPE) - BALL_MM
    apex = 20.0 + np.sqrt(np.maximum(BALL_MM**2 - rho**2, 0.0)) - BALL_MM
    return np.maximum(np.where(rho >= BALL_MM * sin(SLOPE), flank, apex), 0.0)


def _cone_radius(z: float) -> float:
    if z > 20.0 + BALL_MM * cos(SLOPE) - BALL_MM:
        return sqrt(BALL_MM**2 - (z - 20.0 + BALL_MM) ** 2)
    return (20.0 - z + BALL_MM / cos(SLOPE) - BALL_MM) / tan(SLOPE)


def _cylinder(rho: Floats) -> Floats:
    """Flat bit r = 2 on an upright cylinder of radius 7, 12 high: a wall at 9 (definition)."""
    return np.where(rho <= 9.0, 12.0, 0.0)


def _rings(
    tip: Tip,
    *,
    regions: NDArray[np.int32] | None = None,
    useful: NDArray[np.bool_] | None = None,
    holder: Floats | None = None,
    centre: tuple[float, float] = (0.0, 0.0),
) -> Pieces:
    x, y = np.meshgrid(GRID.x - centre[0], GRID.y - centre[1])
    shape = x.shape

    def rest(points: Floats, _least: float | Floats) -> Floats:
        return tip(np.hypot(points[:, 0] - centre[0], points[:, 1] - centre[1]))

    crossings = crossings_of(
        tip(np.hypot(x, y)),
        GRID,
        np.ones(shape, dtype=np.int32) if regions is None else regions,
        np.ones(shape, dtype=np.bool_) if useful is None else useful,
        np.full(shape, -np.inf) if holder is None else holder,
        STEP_MM,
    )
    return rings(crossings, STEP_MM, rest, everywhere).rings


def _all_over(tips: Floats, step: float) -> Crossings:
    """Crossings of one region that is the whole grid, useful and clear everywhere."""
    one = np.ones(tips.shape, dtype=np.int32)
    return crossings_of(tips, GRID, one, one > 0, np.full(tips.shape, -np.inf), step)


def everywhere(low: Floats, _high: Floats, _z: Floats) -> Marks:
    """Ice that may be taken anywhere."""
    return np.ones(len(low), dtype=np.bool_)


def _lines(found: Pieces) -> list[Floats]:
    return [found[n] for n in range(len(found))]


SOLIDS = [("hemisphere", _hemisphere, _hemisphere_radius), ("cone", _cone, _cone_radius)]
_by_name = pytest.mark.parametrize(
    ("tip", "radius"), [solid[1:] for solid in SOLIDS], ids=[solid[0] for solid in SOLIDS]
)


@_by_name
@pytest.mark.parametrize("centre", [(0.0, 0.0), (0.217, -0.131)])
def test_points_lie_where_the_tip_is_as_high_as_the_ring(
    tip: Tip, radius: Callable[[float], float], centre: tuple[float, float]
) -> None:
    """On T = z, on its lower side: no further out than 0.004 mm, or 0.004 mm lower there."""
    lines = _lines(_rings(tip, centre=centre))
    assert len(lines) >= 6
    for line in lines:
        z = float(line[0, 2])
        rho = np.hypot(line[:, 0] - centre[0], line[:, 1] - centre[1])
        assert (rho >= radius(z) - 1e-9).all()
        too_far = rho - radius(z) > CLOSE_MM
        assert (tip(rho[too_far]) >= z - CLOSE_MM).all()


@_by_name
def test_rings_are_closed_and_go_all_round(tip: Tip, radius: Callable[[float], float]) -> None:
    """One ring a level; its length is that of a circle, less what chords cut off (geometry)."""
    for line in _lines(_rings(tip)):
        np.testing.assert_array_equal(line[0], line[-1])
        around = 2 * pi * radius(float(line[0, 2]))
        length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
        # a chord within one square of 0.5 mm is at most 0.71 long: l^2 / 24 r^2 short
        short = 0.71**2 / 24 / radius(float(line[0, 2])) ** 2
        assert around * (1 - short) <= length + 1e-9
        assert length <= around + 2 * pi * 0.05
        assert (line[:, 2] == line[0, 2]).all()


@_by_name
def test_levels_are_steps_apart_from_the_top_down(
    tip: Tip, radius: Callable[[float], float]
) -> None:
    """As documented: `step` from level to level, one ring each; none is left out."""
    heights = np.array([line[0, 2] for line in _lines(_rings(tip))])
    np.testing.assert_allclose(np.diff(heights), -STEP_MM, atol=1e-9)
    np.testing.assert_allclose(heights / STEP_MM, np.rint(heights / STEP_MM), atol=1e-9)
    top = float(tip(np.zeros(1))[0])
    assert top - heights[0] <= STEP_MM
    assert heights[-1] <= STEP_MM + 1e-9
    assert radius(float(heights[0])) < radius(float(heights[-1]))


def test_a_wall_between_two_nodes_is_met() -> None:
    """A cylinder's wall stands at 9 mm: points lie outside it, as near as said (definition).

    Asked at the middle levels; the search has a fixed number of rounds.
    """
    lines = [
        line for line in _lines(_rings(_cylinder, centre=(0.1, 0.2))) if 4.0 < line[0, 2] < 8.0
    ]
    assert len(lines) == 3
    for line in lines:
        rho = np.hypot(line[:, 0] - 0.1, line[:, 1] - 0.2)
        assert (rho > 9.0).all()
        assert rho.max() <= 9.0 + CLOSE_MM
        polygon = shapely.Polygon(line[:, :2])
        assert polygon.contains(shapely.Point(0.1, 0.2))


def test_no_ring_where_no_ice_is_met() -> None:
    """Ice to the right of x = 4 alone: rings there, no more than a few nodes further."""
    useful = np.broadcast_to(GRID.x > 4.0, (GRID.ny, GRID.nx))
    lines = _lines(_rings(_hemisphere, useful=useful))
    xs = np.concatenate([line[:, 0] for line in lines])
    # marks spread over 2 nodes
    assert xs.min() >= 4.0 - 3 * GRID.pitch
    assert xs.max() > 11.0
    assert len(_rings(_hemisphere, useful=np.zeros_like(useful))) == 0


def test_no_ring_where_a_part_above_the_cutting_end_would_touch() -> None:
    """Holder heights: free to the left of x = 0, free from z = 5 up to the right of it."""
    holder = np.broadcast_to(np.where(GRID.x < 0.0, -np.inf, 5.0), (GRID.ny, GRID.nx))
    lines = _lines(_rings(_hemisphere, holder=holder))
    low = np.concatenate([line for line in lines if line[0, 2] < 5.0])
    high = np.concatenate([line for line in lines if line[0, 2] >= 5.0])
    # a point on an edge between nodes belongs to the nearer one
    assert low[:, 0].max() <= GRID.pitch / 2
    assert low[:, 0].min() < -11.0
    assert high[:, 0].max() > 9.0


def test_each_region_has_rings_of_its_own() -> None:
    """Two walls along y, 9 and 7 mm high, are two regions: all levels of both are found."""
    regions = np.zeros((GRID.ny, GRID.nx), dtype=np.int32)
    regions[:, 5:30] = 1
    regions[:, 40:60] = 2
    tips = np.where((GRID.x > -10) & (GRID.x < -6), 9.0, 0.0)
    tips = tips + np.where((GRID.x > 7) & (GRID.x < 10), 7.0, 0.0)

    def rest(points: Floats, _least: float | Floats) -> Floats:
        x = points[:, 0]
        return np.where((x > -10) & (x < -6), 9.0, 0.0) + np.where((x > 7) & (x < 10), 7.0, 0.0)

    shape = regions.shape
    crossings = crossings_of(
        np.broadcast_to(tips, shape).copy(), GRID, regions, np.ones(shape, dtype=np.bool_),
        np.full(shape, -np.inf), 1.0,
    )  # fmt: skip
    found = rings(crossings, 1.0, rest, everywhere).rings
    left = [line for line in _lines(found) if (line[:, 0] < 0.0).all()]
    right = [line for line in _lines(found) if (line[:, 0] > 0.0).all()]
    assert len(left) + len(right) == len(found)
    for lines, top, edges in ((left, 9.0, (-10.0, -6.0)), (right, 7.0, (7.0, 10.0))):
        heights = sorted({float(line[0, 2]) for line in lines}, reverse=True)
        assert heights == pytest.approx(list(np.arange(top - 1.0, 0.0, -1.0)))
        walls = np.concatenate(lines)[:, 0]
        outside = np.maximum(edges[0] - walls, walls - edges[1])
        assert outside.min() >= 0.0
        assert outside.max() <= CLOSE_MM


# Drawn near marks alone


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.floats(0.002, 0.05), st.floats(0.8, 3.0))
def test_lines_drawn_near_marks_are_those_of_the_whole_region(
    seed: int, share: float, smooth: float
) -> None:
    """Lines drawn over all of the region, and parted as documented, make the same steps.

    A closed line begins anywhere, and is parted there if marks lie on both sides: whether such
    marks count as apart is left open.
    """
    rng = np.random.default_rng(seed)
    grid = Grid(0.0, 0.0, 1.0, 30, 24)
    tips = 60.0 * ndimage.gaussian_filter(rng.normal(size=(grid.ny, grid.nx)), smooth)
    useful = rng.random(tips.shape) < share
    regions = ndimage.binary_closing(rng.random(tips.shape) < 0.4).astype(np.int32)
    holder = np.where(rng.random(tips.shape) < 0.02, np.inf, -np.inf)

    crossings = crossings_of(tips, grid, regions, useful, holder, STEP_MM)
    found, _ = rings(crossings, STEP_MM, lambda at, _: np.full(len(at), 1e9), everywhere)
    inside = ndimage.binary_dilation(regions > 0, iterations=2)
    near = ndimage.maximum_filter(useful, size=5)
    least, most = set(), set()
    lines = contourpy.contour_generator(
        z=np.ma.masked_array(tips, ~inside), name="serial", corner_mask=False
    )
    for number in range(int(tips.min() / STEP_MM) - 1, int(tips.max() / STEP_MM) + 2):
        for drawn in lines.lines(number * STEP_MM):
            line = np.asarray(drawn)
            column, row = np.rint(line).astype(int).T
            steps = _steps_near(near[row, column], np.isneginf(holder[row, column]))
            least |= {_step(tips, number, line[k : k + 2]) for k in steps}
            if (line[0] == line[-1]).all():
                marks, free = near[row, column][:-1], np.isneginf(holder[row, column][:-1])
                steps = _steps_near(np.tile(marks, 3), np.tile(free, 3))
                around = np.concatenate([line[:-1], line])
                steps = {k % len(marks) for k in steps}
                most |= {_step(tips, number, around[k : k + 2]) for k in steps}
            else:
                most |= {_step(tips, number, line[k : k + 2]) for k in steps}
    found_steps = {
        frozenset(map(tuple, step.tolist()))
        for n in range(len(found))
        for step in np.stack([found[n][:-1], found[n][1:]], axis=1)
    }
    assert least <= found_steps <= most


def _steps_near(near: NDArray[np.bool_], free: NDArray[np.bool_]) -> set[int]:
    """Numbers of the steps whose ends are both free, and near a mark or between two such points."""
    at = np.flatnonzero(near).tolist()
    kept = set(at)
    for a, b in pairwise(at):
        if b - a <= GAP + 1:
            kept |= set(range(a, b))
    return {k for k in range(len(near) - 1) if {k, k + 1} <= kept and free[k] and free[k + 1]}


def _step(tips: Floats, number: int, line: Floats) -> frozenset[tuple[float, float, float]]:
    """A step between the lower ends of the grid edges that its ends lie on."""
    ends = []
    for point in line:
        a, b = np.floor(point + 1e-9).astype(int), np.ceil(point - 1e-9).astype(int)
        low = a if tips[a[1], a[0]] <= tips[b[1], b[0]] else b
        ends.append((float(low[0]), float(low[1]), number * STEP_MM))
    return frozenset(ends)


# Found between two nodes, whatever lies between them

_rises = st.lists(
    st.tuples(st.floats(-6, 0.5), st.floats(-3, 2)).map(
        lambda pair: (10 ** pair[0], 10 ** pair[1])
    ),
    min_size=2,
    max_size=30,
)
"""Way and rise, mm."""


@settings(deadline=None, derandomize=True, max_examples=100)
@given(_rises, st.floats(-0.5, 0.5))
def test_points_are_as_near_as_said_on_ramps_walls_and_levels(
    rises: list[tuple[float, float]], shift: float
) -> None:
    """The tip rises along x alone, by ramps; where it is as high as the ring is their inverse.

    Points lie there or before, no farther than 0.004 mm, or rest no more than that lower. What is
    told of tips more than two steps under a ring may be too high.
    """
    ways, heights = (np.concatenate([[0.0], np.cumsum(each)]) for each in zip(*rises, strict=True))
    ways = ways - ways.mean() + shift

    def tip(points: Floats) -> Floats:
        return np.asarray(np.interp(points[:, 0], ways, heights))

    def rest(points: Floats, least: float | Floats) -> Floats:
        return np.maximum(tip(points), least)

    nodes = np.column_stack([each.ravel() for each in np.meshgrid(GRID.x, GRID.y)])
    crossings = _all_over(tip(nodes).reshape(GRID.ny, GRID.nx), STEP_MM)
    found, tips = rings(crossings, STEP_MM, rest, everywhere)
    z = found.points[:, 2]
    assert len(np.unique(z)) >= (heights[-1] - heights[0]) / STEP_MM - 2
    exactly, at = np.interp(z, heights, ways), tip(found.points)
    assert (at <= z).all()
    near = exactly - found.points[:, 0] <= CLOSE_MM + 1e-9
    assert (near | (z - at <= CLOSE_MM)).all()
    deep = z - 2 * STEP_MM
    np.testing.assert_allclose(np.maximum(tips, deep), np.maximum(at, deep), rtol=0.0, atol=1e-9)


# Spared where no ice is taken


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.floats(0.1, 1.0))
def test_what_is_left_out_takes_no_ice(seed: int, count: int, reach: float) -> None:
    """Ice lies within `reach` of some places: the same stretches, asked before and after alone.

    The tip rises as a plane does with waves on it; the answers for ways between two points are as
    careful as those of the bite: yes if any place on them lies near enough.
    """
    rng = np.random.default_rng(seed)
    spots = rng.uniform(-14.0, 14.0, (count, 2))
    waves = rng.normal(size=(3, 2))

    def rest(points: Floats) -> Floats:
        return np.asarray(2.0 * points[:, 0] + np.sin(points @ waves.T).sum(axis=1))

    def near(points: Floats) -> Marks:
        off = np.linalg.norm(points[:, None] - spots[None], axis=2)
        return np.asarray((off < reach).any(axis=1))

    def takes(low: Floats, high: Floats, _z: Floats) -> Marks:
        share = np.linspace(0.0, 1.0, 7)[:, None, None]
        places = (low + share * (high - low)).reshape(-1, 2)
        off = np.linalg.norm(places[:, None] - spots[None], axis=2).min(axis=1)
        far = np.linalg.norm(high - low, axis=1) / 6
        return np.asarray((off.reshape(7, -1) < reach + far).any(axis=0))

    nodes = np.column_stack([each.ravel() for each in np.meshgrid(GRID.x, GRID.y)])
    crossings = _all_over(rest(nodes).reshape(GRID.ny, GRID.nx), STEP_MM)

    def found(asked: Callable[[Floats, Floats, Floats], Marks]) -> Found:
        return rings(crossings, STEP_MM, lambda at, _least: rest(at), asked)

    whole, some = found(everywhere), found(takes)
    kept = [where_marked(each, near(each.points[:, :2]), RING_GAP) for each in (whole[0], some[0])]
    np.testing.assert_array_equal(kept[0].starts, kept[1].starts)
    np.testing.assert_allclose(kept[0].points, kept[1].points, rtol=0.0, atol=1e-9)
    assert len(some.rings.points) < len(whole.rings.points)
    for each in (whole, some):
        np.testing.assert_allclose(each.tips, rest(each.rings.points[:, :2]), atol=1e-9)


def test_rings_down_a_wall_are_one_in_what_a_cut_may_take_and_one_at_the_foot() -> None:
    """By hand: rings 1.3 mm apart; beside a wall the tip rests 20 mm or 0.4 mm lower.

    A cut may take 4 mm, three rings, or 1 mm, less than one ring.
    """
    z = STEP_MM * np.arange(7.0)
    points = np.column_stack([np.zeros((7, 2)), z])
    deepest = np.full(7, 4.0)
    wall = needed(points, STEP_MM, deepest, z - 20.0)
    assert wall.tolist() == [True, False, False, True, False, False, True]
    assert needed(points, STEP_MM, np.full(7, 1.0), z - 20.0).all()
    tips = np.where(np.arange(7) == 1, z - 0.4, z - 20.0)
    assert needed(points, STEP_MM, deepest, tips).tolist() == [
        True, True, False, True, False, False, True,
    ]  # fmt: skip
