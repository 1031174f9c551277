"""Step-down: each limit takes over where it must, and levels never go past it."""

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.walls import Walls
from icecam.ice.limits import shank_force, side_force_a_mm, wall_force
from icecam.job.file import load
from icecam.paths.bending import tip_compliance
from icecam.paths.step_down import (
    beside_walls,
    bit_force,
    collar_width,
    fitting_levels,
    levels_within,
    limit_words,
    push_a_mm,
    slabs_within,
    step_down,
    walls_beside,
)

Floats = NDArray[np.float64]

JOB = load(None)
FLAT = JOB.rack[0]


def test_as_asked() -> None:
    found = step_down(JOB, FLAT)
    assert found.depth == pytest.approx(12.7)
    assert "roughing.step_down" in found.by


def test_short_flutes() -> None:
    found = step_down(JOB, replace(FLAT, flute_length=9.0))
    assert (found.depth, found.by) == (9.0, "the flute length")


def test_a_long_slim_bit_gives_way() -> None:
    """The force that bends the tip 0.05 mm, by the force of a tooth and the bit's compliance."""
    slim = replace(FLAT, diameter=6.35, shank=6.35, stick_out=110.0, flute_length=40.0)
    found = step_down(JOB, slim)
    assert found.depth < 6.35
    assert "gives way" in found.by
    bent = push_a_mm(JOB, slim, found.depth) * found.depth * tip_compliance(slim)
    assert bent == pytest.approx(0.05, rel=1e-6)


def test_a_strong_push_on_a_thin_shank() -> None:
    """Flutes of many teeth on a shank of 0.9 mm: its strength is reached before it bends much."""
    thin = replace(FLAT, diameter=6.0, shank=0.9, flute_length=4.0, stick_out=5.0, flutes=8)
    found = step_down(JOB, thin)
    assert "strength" in found.by
    push = push_a_mm(JOB, thin, found.depth) * found.depth
    assert push == pytest.approx(shank_force(5.0, 0.9), rel=1e-6)
    assert bit_force(thin) == pytest.approx(shank_force(5.0, 0.9))


def test_the_push_is_that_of_the_worse_cut() -> None:
    size, load_ = 12.7, 0.25
    beside = side_force_a_mm(load_, 0.5 * size, size, 2, -10.0).high
    slot = side_force_a_mm(load_ / 2, size, size, 2, -10.0).high
    assert push_a_mm(JOB, FLAT, 12.7) == pytest.approx(max(beside, slot))


def test_levels_that_nothing_limits_are_equal() -> None:
    """By hand: 10 mm in steps of at most 4 is three of 3.333."""
    found = levels_within(10.0, 0.0, np.array([10.0, 0.0]), np.full(2, 4.0))
    assert found == pytest.approx([6.6667, 3.3333, 0.0], abs=1e-3)


@given(
    st.floats(1.0, 250.0),
    st.floats(0.5, 40.0),
    st.lists(st.floats(0.1, 1.0), min_size=2, max_size=40),
)
def test_no_level_goes_past_a_limit(height: float, step: float, shares: list[float]) -> None:
    z = np.linspace(height, 0.0, len(shares))
    most = step * np.array(shares)
    found = levels_within(height, 0.0, z, most)
    edges = np.concatenate([[height], found])
    assert found[-1] == 0.0
    assert (np.diff(edges) < 0).all()
    for above, below in pairwise(edges):
        inside = most[(z <= above) & (z >= below)]
        assert above - below <= min(inside.min(initial=step), most.max()) + 1e-9
    fewest = np.ceil(height / most.max() - 1e-9)
    assert fewest <= len(found) <= np.ceil(height / most.min()) + 1


def test_a_thin_stretch_slows_only_its_own_height() -> None:
    z = np.arange(250.0, -1.0, -2.0)
    most = np.where((z > 100) & (z < 120), 2.0, 10.0)
    found = levels_within(250.0, 0.0, z, most)
    steps = -np.diff(np.concatenate([[250.0], found]))
    high = np.concatenate([[250.0], found[:-1]])
    assert steps[(high < 118) & (high > 104)].max() <= 2.0 + 1e-9
    assert steps[high > 140].min() > 8.0
    assert len(found) < 13 + 10 + 11 + 8


def plate(thickness: float) -> HeightField:
    """A plate along Y, 80 mm high over a base of 20 mm."""
    grid = Grid(0.15, 0.15, 0.3, 400, 300)
    heights = np.full((grid.ny, grid.nx), 20.0)
    heights[:, np.abs(grid.x - 60.0) < thickness / 2] = 100.0
    return HeightField(grid=grid, heights=heights)


@pytest.mark.parametrize("thickness", [10.2, 12.6, 15.0])
def test_a_wall_bounds_the_step_beside_it(thickness: float) -> None:
    """The stress 6 F / t^2 stays at 0.7 MPa over 2, t with the skin on both sides (by hand)."""
    walls = walls_beside(plate(thickness), 100.0, 0.0, 12.7, FLAT)
    most = beside_walls(JOB, FLAT, walls, 12.7)
    beside = (walls.z > 21.0) & (walls.z < 80.0)
    assert np.isfinite(walls.thickness[beside]).all()
    force = push_a_mm(JOB, FLAT, float(most[beside][0])) * most[beside]
    sure = thickness + 2 * JOB.roughing.skin
    assert (6 * force / sure**2 <= 0.35 * 1.001).all()
    assert (6 * force / (sure - 1.5) ** 2 > 0.3).all()
    assert (most[walls.z < 19.0] == 12.7).all()
    words = limit_words(JOB, FLAT, step_down(JOB, FLAT), walls, most)
    assert "limited by the" in words
    assert "x 60" in words


def test_steps_deeper_than_a_wall_is_high_do_not_hide_it() -> None:
    """Steps of three diameters, 38.1 mm: a wall 24 mm high is seen, one of 12 mm is none."""
    high = plate(10.2)
    low = replace(high, heights=np.minimum(high.heights, 44.0))
    walls = walls_beside(low, 44.0, 0.0, 38.1, FLAT)
    beside = (walls.z > 21.0) & (walls.z < 31.0)
    assert np.isfinite(walls.thickness[beside]).all()
    assert (beside_walls(JOB, FLAT, walls, 38.1)[beside] < 12.7).all()
    lower = replace(high, heights=np.minimum(high.heights, 32.0))
    assert np.isinf(walls_beside(lower, 32.0, 0.0, 38.1, FLAT).thickness).all()


def test_a_thick_wall_bounds_nothing() -> None:
    walls = walls_beside(plate(25.2), 100.0, 0.0, 12.7, FLAT)
    most = beside_walls(JOB, FLAT, walls, 12.7)
    assert (most == 12.7).all()
    assert "wall" not in limit_words(JOB, FLAT, step_down(JOB, FLAT), walls, most)


def test_a_wall_too_thin_for_any_step_is_told() -> None:
    walls = walls_beside(plate(4.2), 100.0, 0.0, 12.7, FLAT)
    most = beside_walls(JOB, FLAT, walls, 12.7)
    assert most.min() == pytest.approx(1.27)
    assert "raise roughing.skin" in limit_words(JOB, FLAT, step_down(JOB, FLAT), walls, most)


def stays(levels: Floats, top: float, grounds: Floats) -> float:
    """Ice over grounds after levels: each keeps what lies below the lowest level above it."""
    heights = np.concatenate([[top], levels])
    return float(sum(heights[heights >= ground - 1e-9].min() - ground for ground in grounds))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    st.integers(3, 6), st.sampled_from([1.5, 2.0, 2.75]),
    st.lists(st.integers(0, 24), min_size=1, max_size=6),
)  # fmt: skip
def test_levels_fit_best_of_all_choices(top: int, step: float, quarters: list[int]) -> None:
    """Against all choices of heights on quarters of a millimetre, with as few levels."""
    grounds = np.minimum(np.array(quarters) / 4, top)
    found = fitting_levels(float(top), 0.0, step, grounds)
    count = int(np.ceil(top / step - 1e-9))
    assert len(found) == count
    assert found[-1] == 0.0
    assert (-np.diff(found, prepend=top) <= step + 1e-9).all()
    best = np.inf
    inner = np.arange(1, 4 * top) / 4
    for chosen in combinations(inner[::-1].tolist(), count - 1):
        levels = np.array([*chosen, 0.0])
        if (-np.diff(levels, prepend=top) <= step + 1e-9).all():
            best = min(best, stays(levels, top, grounds))
    # unequal steps count a little, which the docstring says
    even = 1e-4 * len(grounds) * top * step
    assert stays(found, top, grounds) <= best + even + 1e-9


def test_levels_lie_on_a_flat() -> None:
    """By hand: of 30 mm by steps of 12 three levels; one lies on the ground, 11 mm high."""
    assert 11.0 in fitting_levels(30.0, 0.0, 12.0, np.full(9, 11.0))


def test_levels_without_ground_are_equal() -> None:
    assert fitting_levels(30.0, 0.0, 12.0, np.zeros(0)) == pytest.approx([20.0, 10.0, 0.0])


def test_a_slab_between_two_heights_heeds_the_nearest_wall() -> None:
    """Walls are known every few millimetres; thin steps of a small bit fall between."""
    walls = Walls(
        z=np.array([30.0, 20.0, 10.0]),
        thickness=np.array([np.inf, 8.0, 8.0]),
        at=np.zeros((3, 2)),
        stands=np.full(3, 30.0),
        cell=0.0,
    )
    most = beside_walls(JOB, FLAT, walls, 12.7)
    ((over, levels),) = slabs_within(np.array([14.0]), 18.0, walls.z, most)
    assert over == 18.0
    assert (-np.diff(levels, prepend=over) <= most[1] + 1e-9).all()
    # 2 (width + skin) + 8 mm bear the push of a whole step: `wall_force`, which has its own tests
    width = collar_width(JOB, FLAT, walls, 14.0, 18.0, 12.7)
    bears = float(wall_force(8.0 + 2 * (width + JOB.roughing.skin)))
    assert bears == pytest.approx(push_a_mm(JOB, FLAT, 12.7) * 12.7)
    assert collar_width(JOB, FLAT, walls, 28.0, 34.0, 12.7) == 0.0
