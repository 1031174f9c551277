"""Roughing against areas by definition: shapely's buffers, tip surfaces and the block carved."""

from functools import cache
from math import hypot, pi, radians, tan

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.geometry.drop import parts_of, tip_heights
from icecam.geometry.field import Grid, HeightField
from icecam.job.records import Bit
from icecam.paths.loops import SMOOTH_MM, Loop, loops, roomy
from icecam.paths.roughing import out_of_reach
from icecam.paths.toolpath import CUT, RAPID
from tests.geometry import solids
from tests.paths.scenes import (
    TOWER,
    Roughed,
    centres,
    cutting_lines,
    footed,
    heights_of_levels,
    job_for,
    places_on,
    roughed,
    tower,
)

Floats = NDArray[np.float64]
OUTLINE_MM = 0.1
"""Outlines may be off by this: they are simplified twice to 0.05 mm, as said beside them."""
SKIN_MM = 1.0
OVERHANG_MM = 1.2 * 0.7072
"""Rims between two levels are known by squares of 1.2 mm, to half their diagonal."""
CELL_MM = 0.25


def _dome() -> Floats:
    """Half a ball of radius 14 that stands on z = 4."""
    moved: Floats = solids.hemisphere(14.0, 3.0) + np.array([45.0, 35.0, 4.0])
    return moved


def _mushroom() -> Floats:
    """A cap over a thin stalk on a wide foot; its rim is 12 wide, 13 high."""
    outline = np.array(
        [[0, 3], [18, 3], [18, 4], [5, 6], [5, 10], [12, 13], [4, 17], [0, 17]], dtype=np.float64
    )
    solid = trimesh.creation.revolve(outline, sections=60)
    moved: Floats = np.asarray(solid.triangles, dtype=np.float64) + np.array([45.0, 35.0, 0.0])
    return moved


@cache
def _scene(name: str) -> Roughed:
    job = job_for((90.0, 70.0, 20.0))
    if name == "tower":
        return tower()
    return roughed(_dome() if name == "dome" else _mushroom(), job)


SCENES = ["tower", "dome", "mushroom"]


# Where the nut would touch


@settings(deadline=None, derandomize=True, max_examples=40)
@given(hnp.arrays(np.bool_, (9, 11)), st.floats(2.0, 9.0))
def test_what_is_out_of_reach_holds_all_squares_and_has_no_inward_corner(
    blocked: NDArray[np.bool_], radius: float
) -> None:
    """All of each blocked square; what is left can be covered by discs of the radius (opening).

    Nothing is lost beside a single square: rolling a disc along it gives the square again.
    """
    lowest = HeightField(grid=Grid(1.0, 1.0, 2.0, 11, 9), heights=np.where(blocked, 5.0, 1.0))
    found = out_of_reach(lowest, 3.0, radius)
    squares = [
        shapely.box(2.0 * i, 2.0 * j, 2.0 * i + 2.0, 2.0 * j + 2.0)
        for j, i in np.argwhere(blocked).tolist()
    ]
    assert shapely.union_all(squares).difference(found).area <= 1e-9
    free = shapely.box(-30, -30, 60, 60).difference(found)
    smooth = free.buffer(-radius + 0.1, quad_segs=32).buffer(radius, quad_segs=32)
    inside = shapely.box(-15, -15, 45, 45)
    assert free.intersection(inside).difference(smooth).area <= 1e-6
    if len(squares) == 1:
        assert found.difference(squares[0].buffer(0.2)).area <= 1e-9


# Levels


def test_a_level_lies_the_skin_over_a_flat_top() -> None:
    """A plateau at 9 mm: even steps from 20 to 4 mm, at 14.7 and 9.3, would leave 5.7 mm on it.

    What roughing leaves on it is the skin, not a part of a step that finishing then has to take;
    levels lie on quarters of a millimetre. Seen from above, away from its rim (definition).
    """
    plateau = shapely.box(35.0, 27.0, 55.0, 43.0)
    found = roughed(footed(plateau, 4.0, 9.0), job_for((90.0, 70.0, 20.0)))
    on_top = shapely.contains(plateau.buffer(-0.5), centres(found.carved.ice))
    left = found.carved.ice.heights[on_top] - 9.0
    assert left.min() >= SKIN_MM - 1e-9
    assert left.max() <= SKIN_MM + 0.25


# Loops


def _pockets() -> dict[str, shapely.Polygon]:
    hole = shapely.Point(25, 18).buffer(6)
    ell = shapely.box(0, 0, 40, 12).union(shapely.box(0, 0, 12, 40))
    assert isinstance(ell, shapely.Polygon)
    ring = shapely.box(0, 0, 50, 36).difference(hole)
    assert isinstance(ring, shapely.Polygon)
    return {
        "square": shapely.box(0, 0, 30, 30),
        "disc": shapely.Point(0, 0).buffer(17, quad_segs=32),
        "ell": ell,
        "with an island": ring,
        "wedge": shapely.Polygon([(0, 0), (70, 0), (70, 22)]),
        "star": shapely.Polygon(
            [
                (r * np.cos(a), r * np.sin(a))
                for r, a in zip([40.0, 14.0] * 5, np.arange(10) * pi / 5, strict=True)
            ]
        ),
    }


@pytest.mark.parametrize("name", list(_pockets()))
@pytest.mark.parametrize("stepover", [1.5, 3.0, 4.2])
def test_loops_leave_nothing_of_a_pocket_that_the_bit_does_not_sweep(
    name: str, stepover: float
) -> None:
    """By definition: each place of the area lies within the radius of some loop, in corners too.

    Up to the widest stepover that a job may ask for, 0.7 diameters.
    """
    area = _pockets()[name]
    found = [each.way for each in loops(area, stepover, 3.0)]
    lines = shapely.union_all([shapely.LineString(loop.points) for loop in found])
    assert area.difference(lines.buffer(3.0, quad_segs=64)).area <= 1e-6
    assert area.buffer(SMOOTH_MM + 1e-9).covers(lines)


@pytest.mark.parametrize("name", list(_pockets()))
def test_loops_end_on_their_edge_and_keep_their_distance(name: str) -> None:
    """The last ones are the edge; no other loop comes nearer to it than a stepover."""
    area = _pockets()[name]
    found = [each.way for each in loops(area, 3.0, 3.0)]
    outlines = 1 + len(area.interiors)
    edge = shapely.multilinestrings([shapely.LineString(o.points) for o in found[-outlines:]])
    assert shapely.hausdorff_distance(edge, area.boundary, densify=0.05) <= SMOOTH_MM + 1e-9
    for loop in found[:-outlines]:
        # an outer corner turned with 4 chords a quarter: r (1 - cos(pi / 16)) short
        least = 3.0 * np.cos(pi / 16) - 2 * SMOOTH_MM
        assert shapely.distance(shapely.LineString(loop.points), area.boundary) >= least


@pytest.mark.parametrize("name", list(_pockets()))
def test_a_loop_comes_after_all_that_lie_inside_it(name: str) -> None:
    """By definition: the edges of a pocket after all others, the innermost after none."""
    area = _pockets()[name]
    turns = loops(area, 3.0, 3.0)
    before: list[set[int]] = []
    for n, turn in enumerate(turns):
        assert all(first < n for first in turn.first)
        before.append(set(turn.first).union(*(before[first] for first in turn.first)))
    outlines = 1 + len(area.interiors)
    inner = set(range(len(turns) - outlines))
    assert all(before[n] == inner for n in range(len(inner), len(turns)))
    assert not before[0]


@pytest.mark.parametrize("name", list(_pockets()))
def test_ice_lies_to_the_right_of_each_loop(name: str) -> None:
    """A bit turning with the clock cuts down into ice on its right (geometry of climb cutting).

    Loops widen towards the edge of the pocket, so ice not yet cut is where the edge is nearer.
    """
    area = _pockets()[name]
    for loop, *_ in loops(area, 3.0, 3.0):
        np.testing.assert_array_equal(loop.points[0], loop.points[-1])
        if loop.slot.all():
            continue
        step = np.diff(loop.points, axis=0)
        middle = loop.points[:-1] + step / 2
        right = (
            np.stack([step[:, 1], -step[:, 0]], axis=1)
            * (0.2 / np.linalg.norm(step, axis=1))[:, None]
        )
        on_right, on_left = shapely.points(middle + right), shapely.points(middle - right)
        nearer = [
            np.where(shapely.covers(area, points), shapely.distance(area.boundary, points), -1.0)
            for points in (on_right, on_left)
        ]
        assert (nearer[0] <= nearer[1] + 1e-6).all()
        assert nearer[0].sum() <= nearer[1].sum()


def _fresh_share(found: list[Loop], radius: float) -> list[float]:
    """For each loop the widest share of the bit, across its way, that meets uncut ice.

    Not asked within 1 mm of a sharp corner, where for a moment any bit cuts all round.
    """
    cut: shapely.Geometry = shapely.Polygon()
    widest = []
    for loop in found:
        line = shapely.LineString(loop.points)
        steps = np.diff(np.concatenate([loop.points, loop.points[1:2]]), axis=0)
        angle = np.arctan2(steps[:, 1], steps[:, 0])
        sharp = np.cos(np.diff(angle)) < 0.5
        corners = shapely.multipoints(loop.points[1:][sharp])
        at = np.linspace(0, line.length, 400, endpoint=False)
        here = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        on = shapely.get_coordinates(shapely.line_interpolate_point(line, at + 1e-3))
        ahead = (on - here) / np.linalg.norm(on - here, axis=1)[:, None]
        across = radius * np.stack([ahead[:, 1], -ahead[:, 0]], axis=1)
        sides = shapely.linestrings(np.stack([here - across, here + across], axis=1))
        fresh = np.asarray(shapely.length(shapely.difference(sides, cut))) / (2 * radius)
        asked = ~(np.asarray(shapely.distance(corners, shapely.points(here))) < 1.0)
        widest.append(float(fresh[asked].max()))
        cut = shapely.union(cut, line.buffer(radius))
    return widest


@pytest.mark.parametrize("name", ["square", "disc"])
def test_only_the_first_loop_of_a_pocket_is_a_full_slot(name: str) -> None:
    """Stepover s = radius r: half the bit meets ice, t short of a square corner a little more.

    There the round end of the loop inside leaves r + s - sqrt(r^2 - (r - t)^2) across (geometry).
    """
    found = [each.way for each in loops(_pockets()[name], 3.0, 3.0)]
    assert [loop.slot.all() for loop in found] == [True] + [False] * (len(found) - 1)
    widest = _fresh_share(found, 3.0)
    assert widest[0] == pytest.approx(1.0)
    assert max(widest[1:]) <= (6.0 - np.sqrt(9.0 - 4.0)) / 6.0 + 0.03


def test_pockets_without_room_are_left_out() -> None:
    """By definition of `SMALLEST_MM2`: 4 mm2 of places for the bit's centre."""
    small, large = shapely.box(0, 0, 1.9, 2), shapely.box(10, 0, 12.1, 2)
    kept = roomy(shapely.union_all([small, large]))
    assert kept.area == pytest.approx(4.2)
    assert kept.intersection(small).is_empty


# Areas


def test_round_an_upright_prism_no_cut_comes_nearer_than_radius_and_skin() -> None:
    """By definition: the outline buffered by bit radius and skin (shapely)."""
    scene = tower()
    found = [z for z in heights_of_levels(scene.path) if z < 16.0]
    assert len(found) >= 2
    for z in found:
        lines = cutting_lines(scene.path, z)
        apart = shapely.distance(TOWER, lines)
        assert apart.min() >= 3.0 + SKIN_MM - OUTLINE_MM
        # and it goes as near as that, all round
        reach = shapely.union_all(lines)
        wall = TOWER.buffer(3.0 + SKIN_MM, quad_segs=32).exterior
        places = shapely.get_coordinates(shapely.segmentize(wall, 0.5))
        assert shapely.distance(reach, shapely.points(places)).max() <= 0.5
        assert reach.distance(TOWER) <= 3.0 + SKIN_MM + 2.5 * OUTLINE_MM


def test_whole_block_is_cleared_to_the_floor() -> None:
    """Ice left stands on the tower and its skin alone; round it a flat bit leaves the floor."""
    scene = tower()
    ice = scene.carved.ice
    apart = shapely.distance(TOWER, centres(ice))
    floor = ice.heights[apart > SKIN_MM + 3 * OUTLINE_MM + CELL_MM]
    np.testing.assert_allclose(floor, 4.0, atol=1e-9)
    kept = ice.heights[apart <= SKIN_MM - OUTLINE_MM - CELL_MM]
    assert kept.min() >= 16.0
    assert kept.max() <= 16.0 + scene.stage.step_down


@pytest.mark.parametrize("name", SCENES)
def test_no_move_goes_below_the_tip_surface_of_a_bit_with_its_skin(name: str) -> None:
    """Two ways to one answer: slices widened, and a flat bit wider by the skin dropped on it."""
    scene = _scene(name)
    places, _ = places_on(scene.path, 0.4)
    radius = 3.0 + SKIN_MM - OUTLINE_MM - (OVERHANG_MM if name == "mushroom" else 0.0)
    wide = parts_of(Bit(
        name="wide", shape="flat", diameter=2 * radius, flutes=2, flute_length=30.0,
        shank=2 * radius, stick_out=50.0,
    ))  # fmt: skip
    tips = tip_heights(scene.surface, wide, places[:, :2])
    # a slice through level faces lies a millionth of a mm above them
    assert (places[:, 2] >= tips - 1e-5).all()
    assert np.isfinite(tips).any()
    assert (places[:, 2] < 16.0).any()


def test_round_a_dome_each_level_keeps_to_its_circle() -> None:
    """Closed form: at height z a ball of radius R is sqrt(R^2 - z^2) wide; the slices lie inside.

    Facets of 3 degrees lie inside the ball by less than 0.1 mm.
    """
    scene = _scene("dome")
    centre = shapely.Point(45.0, 35.0)
    for z in heights_of_levels(scene.path):
        above = max(z - 4.0, 0.0)
        wide = np.sqrt(14.0**2 - above**2) if above < 14.0 else 0.0
        apart = float(shapely.distance(centre, cutting_lines(scene.path, z)).min())
        if wide == 0.0:
            continue
        assert apart >= wide + 3.0 + SKIN_MM - OUTLINE_MM - 0.1
        assert apart <= wide + 3.0 + SKIN_MM + 3 * OUTLINE_MM


def test_below_an_overhang_nothing_is_cut() -> None:
    """A bit comes from above: below the rim (radius 12) it stays out as at the rim."""
    scene = _scene("mushroom")
    below = [z for z in heights_of_levels(scene.path) if z < 13.0]
    for z in below:
        apart = shapely.distance(shapely.Point(45.0, 35.0), cutting_lines(scene.path, z))
        # 60 sides: the circle's chords lie 12 (1 - cos(pi / 60)) inside
        assert apart.min() >= 12.0 * np.cos(pi / 60) + 3.0 + SKIN_MM - OVERHANG_MM - OUTLINE_MM
    assert below


def test_two_islands_both_stand_with_their_skin() -> None:
    """Nothing is cut nearer to either than radius and skin, seen from above (shapely)."""
    outlines = shapely.box(20, 30, 34, 44), shapely.box(56, 22, 66, 50)
    triangles = np.concatenate([footed(outline, 4.0, 15.0) for outline in outlines])
    scene = roughed(triangles, job_for((90.0, 70.0, 20.0)))
    ice = scene.carved.ice
    apart = shapely.distance(shapely.union_all(outlines), centres(ice))
    assert ice.heights[apart <= SKIN_MM - OUTLINE_MM - CELL_MM].min() >= 15.0
    floor = ice.heights[apart > SKIN_MM + 3 * OUTLINE_MM + CELL_MM]
    np.testing.assert_allclose(floor, 4.0, atol=1e-9)


# Moves


@pytest.mark.parametrize("name", SCENES)
def test_no_plunge_into_ice(name: str) -> None:
    """A cut that comes down either slopes no more than the 5 degrees asked for, or takes no ice."""
    scene = _scene(name)
    path = scene.path
    drop = path.begins[:, 2] - path.ends[:, 2]
    level = np.linalg.norm(path.ends[:, :2] - path.begins[:, :2], axis=1)
    down = (path.kind == CUT) & (drop > 0)
    steep = down & (drop > level * tan(radians(5.0)) + 1e-9)
    assert down.any()
    assert scene.carved.removed[steep].sum() == 0.0
    assert (level[steep] <= 3 * SMOOTH_MM).all()


@pytest.mark.parametrize("name", SCENES)
def test_rapids_and_parts_above_the_cutting_end_stay_out_of_the_ice(name: str) -> None:
    scene = _scene(name)
    assert (scene.path.kind == RAPID).sum() >= 2
    assert scene.carved.rapid_depth.max() == 0.0
    assert scene.carved.contact_depth.max() == 0.0


@pytest.mark.parametrize("name", SCENES)
def test_path_begins_and_ends_at_the_safe_height(name: str) -> None:
    """As documented: block height and clearance, 20 + 3 mm."""
    path = _scene(name).path
    assert path.start[2] == pytest.approx(23.0)
    assert path.ends[-1, 2] == pytest.approx(23.0)
    assert path.ends[:, 2].max() <= 23.0 + 1e-9


@pytest.mark.parametrize("name", SCENES)
def test_cuts_stay_on_the_block_or_beside_it(name: str) -> None:
    """No cut leaves the block by more than the bit's radius, entries by the clearance more."""
    scene = _scene(name)
    ends = shapely.points(scene.path.ends[:, :2])
    away = np.asarray(shapely.distance(shapely.box(0, 0, 90, 70), ends))
    assert away.max() <= hypot(6.0, 6.0)
    level = scene.path.begins[:, 2] == scene.path.ends[:, 2]
    both = level & np.roll(level, 1) & (scene.path.kind == CUT)
    assert away[both].max() <= 1.5 * np.sqrt(2) + SMOOTH_MM
