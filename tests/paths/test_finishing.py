"""Finishing: where a smaller bit goes, what it leaves, and where rows break."""

from dataclasses import replace
from functools import cache
from math import cos, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from icecam.geometry.drop import Surface, sculpture_heights, surface_of
from icecam.geometry.field import HeightField, cells
from icecam.geometry.profile import cutting_end
from icecam.geometry.walls import no_walls
from icecam.job.records import Bit
from icecam.paths.finish_stage import Finish, finish_stage
from icecam.paths.finishing import Matter, steep_regions
from icecam.paths.pieces import pieces_of
from icecam.paths.resting import near_sculpture, resting_of
from icecam.paths.stages import ladder
from icecam.paths.toolpath import RAPID
from icecam.prove.carving import Carved, carve
from tests.geometry import solids
from tests.paths.scenes import BALL, FLAT, cut_too_early, job_for, places_on, prism, roughed

Floats = NDArray[np.float64]
SIDE_MM = 40.0
FLOOR_MM = 2.0
ALLOWANCE_MM, CHORD_MM, STRAIGHT_MM = 0.03, 0.015, 0.01
"""Ice kept beside the sculpture; what chords, and straightening, may take of it (DEVELOPERS)."""
SLACK_MM = ALLOWANCE_MM + CHORD_MM + STRAIGHT_MM


def _ball(diameter: float) -> Bit:
    return Bit(
        name=f"ball {diameter}", shape="ball", diameter=diameter, flutes=2, flute_length=20.0,
        shank=diameter, stick_out=60.0,
    )  # fmt: skip


def planned(
    surface: Surface, ice: HeightField, diameter: float, *, scallop: float, detail: float
) -> tuple[Finish, Carved]:
    """A finishing stage of a ball on given ice, planned and carved."""
    job = job_for(
        (SIDE_MM, SIDE_MM, 40.0), (FLAT, _ball(diameter)), floor=FLOOR_MM, scallop=scallop,
        detail=detail,
    )  # fmt: skip
    stage = ladder(job)[1]
    wanted = sculpture_heights(surface, ice.grid)
    resting = resting_of(stage, job, surface, wanted, near_sculpture(wanted, job))
    finish = finish_stage(stage, job, resting, ice, no_walls())
    return finish, carve(ice, finish.path(), stage.cutting) if len(finish.pieces) else Carved(
        ice=ice,
        removed=np.zeros(0),
        depth=np.zeros(0),
        chip=np.zeros(0),
        rapid_depth=np.zeros(0),
        contact_depth=np.zeros(0),
    )


# A V groove along y, 45 degrees on both sides, its bottom at x = 20, z = 8


def _groove() -> Surface:
    return surface_of(solids.groove(1.0, SIDE_MM / 2) + np.array([SIDE_MM / 2, SIDE_MM / 2, 8.0]))


def _groove_after(radius: float, cell: float = 0.1) -> HeightField:
    """Ice left in the groove by a ball: its round bottom between both tangents (closed form).

    Its centre lies r / cos 45 over the bottom; it touches r sin 45 to either side.
    """
    grid = cells((SIDE_MM, SIDE_MM), cell)
    off = np.abs(grid.x - SIDE_MM / 2)
    under = 8.0 + radius * sqrt(2) - np.sqrt(np.maximum(radius**2 - off**2, 0.0))
    row = np.where(off < radius * sqrt(0.5), under, 8.0 + off)
    return HeightField(grid=grid, heights=np.broadcast_to(row, (grid.ny, grid.nx)))


@pytest.mark.parametrize("radius", [1.0, 1.5])
def test_smaller_bit_goes_only_where_the_larger_left_ice(radius: float) -> None:
    """Between the tangents of the ball before it, r sin 45 off the bottom (closed form).

    A bit takes ice there only if its own contact lies there; runs are a node longer at both ends,
    holes of up to four tips in a row are passed.
    """
    finish, _ = planned(_groove(), _groove_after(3.0), 2 * radius, scallop=0.05, detail=0.1)
    points = finish.pieces.points
    contact = 3.0 * sin(radians(45.0))
    # the tip lies r sin 45 nearer to the middle than where the ball touches the flank
    off = np.abs(points[:, 0] - SIDE_MM / 2)
    assert off.max() <= contact - radius * sqrt(0.5) + finish.terrain.going.pitch + ALLOWANCE_MM
    # along the groove there are rows all the way
    assert points[:, 1].min() <= 1.0
    assert points[:, 1].max() >= SIDE_MM - 1.0


def test_smaller_bit_leaves_its_own_round_bottom() -> None:
    """Ice over the bottom of the groove is r (1 / cos 45 - 1), a ball in a V (closed form)."""
    finish, carved = planned(_groove(), _groove_after(3.0), 2.0, scallop=0.02, detail=0.1)
    middle = carved.ice.heights[50:-50, carved.ice.grid.nx // 2]
    expected = 8.0 + 1.0 * (sqrt(2) - 1)
    assert middle.min() >= expected
    assert middle.max() <= expected + 0.02 * sqrt(2) + SLACK_MM * sqrt(2) + 0.05
    assert len(finish.pieces) > 0


@pytest.mark.parametrize("detail", [1.0, 0.7])
def test_smaller_bit_stays_out_where_less_than_the_tolerance_is_left(detail: float) -> None:
    """The ball r3 leaves 3 (1 / cos 45 - 1) = 1.243 at the bottom, of which r2 takes 0.414.

    The difference of both, (3 - 2)(1 / cos 45 - 1), is less than the tolerance (closed form).
    """
    finish, carved = planned(_groove(), _groove_after(3.0), 4.0, scallop=0.05, detail=detail)
    assert len(finish.pieces) == 0
    np.testing.assert_array_equal(carved.ice.heights, _groove_after(3.0).heights)


def test_smaller_bit_comes_when_more_than_the_tolerance_is_left() -> None:
    """The same groove with a tolerance below those 0.414 mm."""
    finish, _ = planned(_groove(), _groove_after(3.0), 4.0, scallop=0.05, detail=0.3)
    assert len(finish.pieces) > 0


# An upright wall on a floor, and the fillet that a larger ball left at its foot


@pytest.mark.parametrize("large", [3.0, 5.0])
def test_rings_end_where_the_fillet_ends_and_not_at_the_top_of_the_wall(large: float) -> None:
    """A ball r at the wall lies inside the fillet R up to a tip R - r over the floor (closed form).

    There both centres are at one height; above, the smaller touches the bare wall. One ring more
    is granted, 2 sqrt(2 r h) above, h the scallop.
    """
    ground, top, at, small, scallop = 4.0, 28.0, 24.0, 1.5, 0.05
    floor = prism(shapely.box(0.0, 0.0, SIDE_MM, SIDE_MM), 0.0, ground)
    wall = prism(shapely.box(at, 0.0, SIDE_MM, SIDE_MM), 0.0, top)
    grid = cells((SIDE_MM, SIDE_MM), 0.1)
    off = np.clip(large - (at - grid.x), 0.0, large)
    row = np.where(grid.x > at, top, ground + large - np.sqrt(large**2 - off**2))
    ice = HeightField(grid=grid, heights=np.broadcast_to(row, (grid.ny, grid.nx)))
    surface = surface_of(np.concatenate([floor, wall]), closed=True)
    finish, carved = planned(surface, ice, 2 * small, scallop=scallop, detail=0.1)
    tips = finish.pieces.points[:, 2]
    assert tips.max() <= ground + large - small + 2 * sqrt(2 * small * scallop)
    # and the ball did clear its part: 2.4 mm beside the wall it reached the floor
    beside = carved.ice.heights[50:-50, np.abs(at - grid.x - 2.4) < 0.1]
    assert beside.max() <= ground + scallop + SLACK_MM


# A tilted plane in a block


def _tilted(slope_deg: float) -> Surface:
    """Rising along y through the middle of the block at z = 14."""
    steep = tan(radians(slope_deg))
    return surface_of(
        solids.plane(0.0, steep, SIDE_MM / 2) + np.array([SIDE_MM / 2, SIDE_MM / 2, 14.0])
    )


@cache
def _on_plane(slope_deg: float) -> tuple[Finish, Carved, Floats]:
    """The stage, the block, and ice left along the plane's normal away from its edges."""
    grid = cells((SIDE_MM, SIDE_MM), 0.1)
    steep = tan(radians(slope_deg))
    exact = np.broadcast_to(14.0 + steep * (grid.y - SIDE_MM / 2)[:, None], (grid.ny, grid.nx))
    ice = HeightField(grid=grid, heights=exact + 1.5)
    finish, carved = planned(_tilted(slope_deg), ice, 4.0, scallop=0.05, detail=0.1)
    left = (carved.ice.heights - exact) * cos(radians(slope_deg))
    inside = np.abs(grid.y - SIDE_MM / 2) < 16.0
    inside &= exact[:, 0] > FLOOR_MM + 1.0
    return finish, carved, left[inside, 40:-40]


@pytest.mark.parametrize("slope", [0.0, 20.0, 30.0, 45.0])
def test_finished_plane_is_within_the_asked_ridge(slope: float) -> None:
    """Whole stage, carved: never below the plane; above it the ridge and what chords may take.

    That is 0.03 mm of allowance, in which 0.015 of chords and 0.01 of straightening live.
    """
    _, carved, left = _on_plane(slope)
    assert left.min() >= 0.0
    assert left.max() <= 0.05 + SLACK_MM
    assert carved.rapid_depth.max() <= 1e-9


@pytest.mark.parametrize("slope", [0.0, 45.0])
def test_planned_tips_keep_the_allowance(slope: float) -> None:
    """A ball r rests r (1 / cos b - 1) over the plane, with the allowance / cos b more.

    Chords and straightening may use up 0.025 of its 0.03 mm. The floor lies 12 mm below the middle.
    """
    finish, _, _ = _on_plane(slope)
    b = radians(slope)
    points = finish.pieces.points
    inside = (np.abs(points[:, :2] - SIDE_MM / 2) < 11).all(axis=1)
    over = points[:, 2] - 14.0 - tan(b) * (points[:, 1] - SIDE_MM / 2)
    ball = 2.0 * (1 / cos(b) - 1)
    assert (over[inside] >= ball + (ALLOWANCE_MM - CHORD_MM - STRAIGHT_MM) / cos(b)).all()
    assert (over[inside] <= ball + (ALLOWANCE_MM + STRAIGHT_MM) / cos(b) + 1e-6).all()


def test_no_cut_goes_below_the_floor() -> None:
    """The plane dives through the floor of the block at z = 2: bits stop there (definition)."""
    finish, _, _ = _on_plane(45.0)
    places, _ = places_on(finish.path(), 1.0)
    assert places[:, 2].min() >= FLOOR_MM


def test_thick_ice_is_taken_in_layers() -> None:
    """4.9 mm over a level plane with a ball of 2 mm: no cut takes more than its diameter at once.

    By definition of a step-down: greatest rise of ice above a cut's tip as it comes along.
    """
    grid = cells((SIDE_MM, SIDE_MM), 0.2)
    ice = HeightField(grid=grid, heights=np.full((grid.ny, grid.nx), 18.9))
    finish, carved = planned(_tilted(0.0), ice, 2.0, scallop=0.05, detail=0.1)
    path = finish.path()
    cut = (path.kind != RAPID) & (carved.removed > 0)
    heights = path.ends[cut, 2]
    tops = np.unique(np.concatenate([heights, [18.9]]))
    assert np.diff(tops).max() <= 2.0
    assert 14.0 + ALLOWANCE_MM - CHORD_MM - STRAIGHT_MM <= tops[0] <= 14.0 + ALLOWANCE_MM
    upper = heights[heights > 14.1]
    assert len(upper) > 0
    assert np.diff(upper).max() <= CHORD_MM


def test_one_pit_is_finished_before_the_next_is_begun() -> None:
    """Two slabs of 4.9 mm on a plane, 20 mm apart, under a ball of 2 mm, which takes 2 mm at once.

    In plan the bit changes from one to the other once: what waits no more is nearer in the same
    pit, all of whose layers wait for none but each other (by hand).
    """
    grid = cells((SIDE_MM, SIDE_MM), 0.2)
    x, y = np.meshgrid(grid.x, grid.y)
    slab = (np.abs(y - 20.0) < 3.0) & ((np.abs(x - 8.0) < 3.0) | (np.abs(x - 32.0) < 3.0))
    ice = HeightField(grid=grid, heights=np.where(slab, 18.9, 14.0))
    finish, carved = planned(_tilted(0.0), ice, 2.0, scallop=0.05, detail=0.1)
    right = finish.path().ends[carved.removed > 0.01, 0] > 20.0
    assert np.count_nonzero(np.diff(right)) == 1
    assert carved.ice.heights[slab].max() <= 14.0 + 0.05 + SLACK_MM


# Steep regions


@pytest.mark.parametrize(("slope", "steep"), [(50.0, False), (59.0, False), (61.0, True)])
def test_walls_steeper_than_60_degrees_are_for_rings(slope: float, steep: bool) -> None:
    """A plane of one slope is one region, or none, by definition."""
    y, x = np.mgrid[:40, :40] * 0.5
    tips = tan(radians(slope)) * x
    rise = np.full(tips.shape, tan(radians(slope)))
    found = steep_regions(rise, np.zeros(tips.shape), tips + 0 * y, 0.5, 4.0)
    inside = found[2:-2, 2:-2]
    assert (inside == (1 if steep else 0)).all()


def test_low_steps_are_left_to_the_sweeps() -> None:
    """A step lower than the width asked is no region; a higher one is, each with its number."""
    x = np.arange(60) * 0.5
    row = np.where(x > 8, 3.0, 0.0) + np.where(x > 20, 6.0, 0.0)
    tips = np.broadcast_to(row, (40, 60)).copy()
    rise = np.zeros(tips.shape)
    rise[:, 15:18] = 6.0
    rise[:, 39:42] = 12.0
    found = steep_regions(rise, np.zeros(tips.shape), tips, 0.5, 4.0)
    assert (found[:, :30] == 0).all()
    assert (found[5:-5, 40] > 0).all()


def test_a_stage_never_goes_much_deeper_than_its_step_down() -> None:
    """Four domes roughed in steps of 6 mm, a ball of 3 mm whose step-down is 3 mm: by carving.

    A quarter more may stay between rows of the upper layers, which lie 0.4 diameters apart. Were
    the lowest ring cut first, it would take both steps of the stairs at once.
    """
    job = job_for((150.0, 150.0, 60.0), (FLAT, BALL))
    places = [np.array([x, y, 4.0]) for x in (40.0, 110.0) for y in (40.0, 110.0)]
    domes = np.concatenate([solids.hemisphere(18.0, 5.0) + place for place in places])
    after = roughed(domes, job)
    stage = ladder(job)[1]
    near = near_sculpture(after.wanted, job)
    resting = resting_of(stage, job, after.surface, after.wanted, near)
    finish = finish_stage(stage, job, resting, after.carved.ice, no_walls())
    carved = carve(after.carved.ice, finish.path(), stage.cutting)
    assert carved.depth.max() > stage.step_down / 2
    assert carved.depth.max() <= 1.25 * stage.step_down


def test_no_cut_comes_before_what_would_reach_its_shank() -> None:
    """A groove with sides of 72 degrees under a thin skin, which rise by 12 mm over 4 mm.

    Within that, the diameter of the bit, nothing is left to cut 0.4 flute lengths, 8 mm, over any
    cut (definition), though from the bottom it were quicker up than down again. By where moves end,
    but for upper ends of cuts, which may be those of cuts above; 0.1 mm for straightening.
    """
    steep, half = tan(radians(72.0)), 7.0
    grid = cells((SIDE_MM, SIDE_MM), 0.1)
    x, y = np.meshgrid(grid.x, grid.y) - np.array(SIDE_MM / 2)
    seen = (np.abs(x) < half) & (np.abs(y) < half)
    top = np.where(seen, 8.0 + steep * np.abs(x) + 1.5, FLOOR_MM)
    middle = np.array([SIDE_MM / 2, SIDE_MM / 2, 8.0])
    surface = surface_of(solids.groove(steep, half) + middle)
    finish, _ = planned(
        surface, HeightField(grid=grid, heights=top), 4.0, scallop=0.05, detail=0.1
    )  # fmt: skip
    pieces = finish.pieces
    points: list[Floats] = []
    for n in range(len(pieces)):
        z = pieces[n][:, 2]
        beside = np.concatenate([[z[1]], np.full(len(z) - 2, np.inf), [z[-2]]])
        points.append(pieces[n][z <= beside])
    at, cut = np.concatenate(points), np.repeat(np.arange(len(pieces)), [*map(len, points)])
    high = np.full(len(at), 0.4 * 20.0 + 0.1)
    assert not cut_too_early(at, cut, high, 4.0 - 0.1)
    assert len(cut_too_early(at, -cut, high, 4.0 - 0.1)) > 100


# A roof along x with a round ridge: rows along it


def test_rows_over_a_ridge_lie_as_far_apart_as_their_cusps_allow() -> None:
    """Cusps of rows s apart in plan are s^2 / 8 / r, over a ridge R / (R + r) of that (geometry).

    Over a ridge of radius 1.2 those of a ball of radius 5.9 are a sixth as high as on the level, so
    rows twice the usual way apart leave less than what is asked; on the flanks three times that.
    """
    radius, ridge, scallop, pitch = 5.9, 1.2, 0.002, 0.1
    middle, up = SIDE_MM / 2, radians(25.0)
    y = pitch * np.arange(round(SIDE_MM / pitch) + 1) - middle
    arc = np.sqrt(np.maximum(ridge**2 - y**2, 0.0)) - ridge
    flank = -(np.abs(y) - ridge * sin(up)) * tan(up) - ridge * (1 - cos(up))
    roof = 25.0 + np.where(np.abs(y) < ridge * sin(up), arc, flank)
    surface = surface_of(solids.relief(np.tile(roof[:, None], (1, len(y))), pitch))
    grid = cells((SIDE_MM, SIDE_MM), 0.1)
    wanted = sculpture_heights(surface, grid).heights
    ice = HeightField(grid=grid, heights=wanted + 0.8)
    finish, carved = planned(surface, ice, 2 * radius, scallop=scallop, detail=0.1)
    points, starts = finish.pieces.points, finish.pieces.starts
    a, b = (np.delete(each, starts[1:-1] - 1, axis=0) for each in (points[:-1], points[1:]))
    past = ((a[:, 0] - middle) * (b[:, 0] - middle) <= 0) & (np.abs(a[:, 1] - b[:, 1]) < 1e-9)
    rows = np.unique(a[past, 1].round(6)) - middle
    usual = sqrt(3) / 2 * 2 * sqrt(2 * radius * scallop - scallop**2)
    over = np.diff(rows[np.abs(rows) < (ridge + radius) * sin(up) - 2 * usual]) / usual
    beside = np.diff(rows[(rows > (ridge + radius) * sin(up) + usual) & (rows < 12.0)]) / usual
    assert len(over) > 6
    assert len(beside) > 20
    np.testing.assert_allclose(over, 2.0, atol=1e-4)
    np.testing.assert_allclose(beside, 1.0, atol=1e-4)
    left = (carved.ice.heights - wanted)[100:-100, 50:-50]
    assert left.max() <= (scallop + SLACK_MM) / cos(up)


def test_ice_after_cuts_is_what_each_of_them_alone_leaves_at_the_least() -> None:
    """The way from cut to cut takes none; of sparse cells each is one of all (definition)."""
    rng = np.random.default_rng(8)
    grid = cells((SIDE_MM, SIDE_MM), 0.25)
    ice = HeightField(grid=grid, heights=10.0 + rng.random((grid.ny, grid.nx)))
    cutting = cutting_end(_ball(6.0))
    matter = Matter(
        ice=ice, matters=np.ones_like(ice.heights, dtype=np.bool_), tops=ice, profile=cutting
    )
    cuts = [np.column_stack([rng.uniform(4, 36, (5, 2)), rng.uniform(7, 10, 5)]) for _ in range(4)]
    found = matter.after(pieces_of(cuts)).ice.heights
    alone = [matter.after(pieces_of([cut])).ice.heights for cut in cuts]
    np.testing.assert_array_equal(found, np.min(alone, axis=0))
    assert (alone[0] < ice.heights).any()
    few = matter.sparse(0.6)
    assert (few.stride, few.ice.grid.pitch) == (1, 0.25)
    few = replace(matter, profile=cutting_end(_ball(20.0))).sparse(0.6)
    assert (few.stride, few.ice.grid.pitch) == (1, 0.5)
    np.testing.assert_array_equal(few.ice.heights, ice.heights[::2, ::2])
    np.testing.assert_allclose(few.ice.grid.x, grid.x[::2])
