"""Runtimes under a jerk limit: closed forms, ruckig, the slow twin, and what must hold of any path.

Outside check: ruckig (Berscheid and Kroeger 2021, "Jerk-limited real-time trajectory generation
with arbitrary target states"), the least time of one axis under speed, acceleration and jerk. The
closed forms are mechanics: a ramp by v under a and j takes v/a + a/j, or 2 sqrt(v/j) if it is too
small to hold its acceleration.
"""

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from ruckig import InputParameter, Ruckig, Trajectory  # type: ignore[import-not-found]

from icecam.estimate.runtime import corner_speeds, runtime, runtime_at_corners
from icecam.job.records import Machine
from icecam.kernels import lookahead_jerk as kernels
from icecam.paths.toolpath import Toolpath
from tests.estimate.machines import corner_caps, cut_path, machine
from tests.estimate.walks import machines, twin_limits, walks
from tests.reference import lookahead_jerk as twin

Floats = NDArray[np.float64]
jerks = st.sampled_from([300.0, 5e3, 2e4, 1e6])
MICRO = 1e-6
ROOM = 1 + 1e-10


def with_jerk(jerk: float, gantry: Machine | None = None) -> Machine:
    """Return a machine, one of 500 mm/s2 unless given, with the same jerk on all axes."""
    return replace(gantry or machine(), jerk=(jerk, jerk, jerk))


def ruckig_seconds(limit: tuple[float, ...], enter: float, leave: float) -> float:
    """Duration by ruckig of length, top speed, acceleration, jerk.

    The length has a little room: where a ramp fills it to the last digit, rounding makes ruckig go
    back and forth.
    """
    solver, wanted, found = Ruckig(1), InputParameter(1), Trajectory(1)
    wanted.current_position, wanted.target_position = [0.0], [limit[0] * ROOM]
    wanted.current_velocity, wanted.target_velocity = [enter], [leave]
    wanted.current_acceleration, wanted.target_acceleration = [0.0], [0.0]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = ([x] for x in limit[1:])
    solver.calculate(wanted, found)
    return float(found.duration)


@pytest.mark.parametrize(
    ("length", "jerk", "printed"),
    [
        pytest.param(100.0, 5e3, 1.000000, id="reaches the feed: L/F + F/a + a/j"),
        pytest.param(100.0, 5e4, 0.910000, id="reaches the feed, ten times the jerk"),
        pytest.param(10.0, 5e3, 0.400000, id="jerk alone, too short: 4 cbrt(L / (2 j))"),
    ],
)
def test_single_move(length: float, jerk: float, printed: float) -> None:
    found = runtime(cut_path([(0, 0, 0), (length, 0, 0)], 200.0), with_jerk(jerk))
    assert found.total == pytest.approx(printed, abs=MICRO)
    assert found.total == pytest.approx(
        ruckig_seconds((length, 200.0, 500.0, jerk), 0, 0), abs=1e-9
    )


@given(
    length=st.floats(0.01, 500),
    feed=st.floats(1, 400),
    push=st.floats(50, 5000),
    jerk=st.floats(100, 1e6),
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
@settings(max_examples=400, deadline=None, derandomize=True)
def test_single_move_in_motion_as_ruckig(
    length: float, feed: float, push: float, jerk: float, shares: tuple[float, float]
) -> None:
    path = cut_path([(0, 0, 0), (0, length, 0)], feed)
    gantry = with_jerk(jerk, machine(acceleration=(push, push, push)))
    found = runtime_at_corners(path, gantry, np.array(shares) * feed)
    enter, leave = found.speeds
    assert max(enter, leave) <= max(shares) * feed
    outside = ruckig_seconds((length, feed, push, jerk), float(enter), float(leave))
    # ruckig itself settles for a little less than the way where a ramp just fills it.
    assert found.total == pytest.approx(outside, rel=1e-6, abs=1e-7)


@pytest.mark.parametrize("pieces", [1, 2, 7, 1000])
def test_collinear_pieces_take_as_long_as_one_move(pieces: int) -> None:
    path = cut_path([(100 * step / pieces, 0, 0) for step in range(pieces + 1)], 200.0)
    found = runtime(path, with_jerk(5e3))
    assert found.total == pytest.approx(1.000000, abs=MICRO)
    if pieces == 2:
        assert found.speeds[1] == pytest.approx(200.0)


def test_pieces_of_a_ramp_by_their_closed_form() -> None:
    # From rest at constant jerk: way j t^3 / 6, speed j t^2 / 2; half of a ramp by 50 mm/s.
    path = cut_path([(0, 0, 0), (0.25, 0, 0), (0.8, 0, 0), (100, 0, 0)], 50.0)
    found = runtime(path, with_jerk(5e3))
    clock = np.cbrt(6 * np.array([0.25, 0.8]) / 5e3)
    assert (clock < math.sqrt(50 / 5e3)).all()
    np.testing.assert_allclose(np.cumsum(found.seconds)[:2], clock, rtol=1e-9)
    np.testing.assert_allclose(found.speeds[1:3], 5e3 * clock**2 / 2, rtol=1e-9)


@pytest.mark.parametrize("feed", [50.0, 200.0])
def test_square_with_stops(feed: float) -> None:
    # Four moves from rest to rest: 60/F + F/a + a/j with a/j = 0.01 s, or too short for F, where
    # the peak v solves v (v/a + a/j) = 60.
    path = cut_path([(0, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0), (0, 0, 0)], feed)
    peak = min(feed, (-5 + math.sqrt(25 + 4 * 60 * 500)) / 2)
    one = 60 / peak + peak / 500 + 0.01
    assert runtime(path, with_jerk(5e4)).total == pytest.approx(4 * one, abs=MICRO)


def test_right_angle_at_a_fixed_corner_speed() -> None:
    # 20 mm/s between a move of 60 and one of 80 mm; each as ruckig has it.
    path = cut_path([(0, 0, 0), (60, 0, 0), (60, 80, 0)], 200.0)
    found = runtime_at_corners(path, with_jerk(5e3), corner_caps(path, 20.0))
    limit = (200.0, 500.0, 5e3)
    outside = ruckig_seconds((60.0, *limit), 0, 20) + ruckig_seconds((80.0, *limit), 20, 0)
    assert found.speeds[1] == 20.0
    assert found.total == pytest.approx(outside, abs=MICRO)


def test_oblique_move_is_limited_by_its_tightest_axis() -> None:
    # u = (60, 80, 20) / 101.98; j = min j_k / |u_k| = 10198.039 of X and Y at 8000, Z at 2000.
    gantry = replace(
        machine(speed=(200.0, 200.0, 50.0), acceleration=(500.0, 500.0, 200.0)),
        jerk=(8000.0, 8000.0, 2000.0),
    )
    length = math.sqrt(60**2 + 80**2 + 20**2)
    push, jerk = 500 * length / 80, min(8000 * length / 80, 2000 * length / 20)
    found = runtime(cut_path([(0, 0, 0), (60, 80, 20)], 200.0), gantry)
    assert found.total == pytest.approx(length / 200 + 200 / push + push / jerk, abs=MICRO)


def test_move_without_length_costs_one_block_at_rest() -> None:
    path = cut_path([(0, 0, 0), (10, 0, 0), (10, 0, 0), (10, 0, 0), (20, 0, 0)], 200.0)
    gantry = with_jerk(5e3, machine(block_rate=50.0, corner_tolerance=0.1))
    found = runtime(path, gantry)
    assert found.seconds[1] == found.seconds[2] == pytest.approx(0.02)
    assert found.total == pytest.approx(2 * 0.4 + 2 * 0.02, abs=MICRO)


def moves_of(path: Toolpath, gantry: Machine) -> Floats:
    """(n, 4) length, top speed, acceleration, jerk of the moves, by the twins."""
    points = np.vstack([path.start, path.ends])
    along = twin.path_jerks(points, np.array(gantry.jerk))
    return np.column_stack([twin_limits(path, gantry), along])


def check_by_the_twin(path: Toolpath, gantry: Machine) -> int:
    """Hold every stretch against the twin and ruckig; return how many there are."""
    corners = corner_speeds(path, gantry)
    found = runtime_at_corners(path, gantry, corners)
    moves = moves_of(path, gantry)
    parts = twin.stretches(moves, corners, kernels.LIKE)
    between = twin.look_ahead(moves, corners, parts)
    for (first, last), (enter, leave) in zip(parts, pairwise(between), strict=True):
        limit = twin.within(moves, corners, (first, last))
        pieces = twin.motion(limit, enter, leave)
        seconds, speeds = twin.cut(pieces, moves[first:last, 0].tolist())
        np.testing.assert_allclose(found.seconds[first:last], seconds, rtol=1e-6, atol=1e-9)
        np.testing.assert_allclose(found.speeds[first + 1 : last + 1], speeds, rtol=1e-6, atol=1e-5)
        outside = ruckig_seconds(tuple(limit), enter, leave)
        assert found.seconds[first:last].sum() == pytest.approx(outside, rel=1e-5)
    return len(parts)


@given(path=walks(), gantry=machines, jerk=jerks)
@settings(max_examples=80, deadline=None, derandomize=True)
def test_speeds_and_seconds_as_the_twin(path: Toolpath, gantry: Machine, jerk: float) -> None:
    check_by_the_twin(path, with_jerk(jerk, gantry))


@pytest.mark.parametrize("jerk", [2e3, 2e4, 2e5])
@pytest.mark.parametrize("seed", range(3))
def test_short_moves_as_the_twin(seed: int, jerk: float) -> None:
    """Moves of 0.02 to 1 mm that turn a little, mostly; many of them join."""
    random = np.random.default_rng(seed)
    count = 120
    bends = np.where(random.random(count) < 0.1, 0.5, 0.02)
    turns = np.cumsum(random.normal(size=(count, 2)) * bends[:, None], axis=0)
    steps = np.stack([np.cos(turns[:, 0]), np.sin(turns[:, 0]), 0.3 * np.sin(turns[:, 1])], axis=1)
    sizes = 10 ** random.uniform(-1.7, 0, count)
    points = np.vstack([np.zeros(3), np.cumsum(steps * sizes[:, None], axis=0)])
    gantry = machine(acceleration=(700.0, 500.0, 300.0), corner_tolerance=0.05)
    assert 3 < check_by_the_twin(cut_path(points, 60.0), with_jerk(jerk, gantry)) < 0.7 * count


@given(path=walks(), gantry=machines, jerk=jerks)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_limits_hold_and_jerk_costs_time(path: Toolpath, gantry: Machine, jerk: float) -> None:
    found, free = runtime(path, with_jerk(jerk, gantry)), runtime(path, gantry)
    limits, corners = twin_limits(path, gantry), corner_speeds(path, gantry)
    assert found.total >= free.total * (1 - 1e-9)
    assert (found.speeds <= corners * (1 + 1e-9)).all()
    assert (path.lengths / found.seconds <= limits[:, 1] * (1 + 1e-9)).all()
    gain = np.abs(np.diff(found.speeds)) / found.seconds
    assert (gain <= limits[:, 2] * (1 + 1e-6)).all()
    assert found.speeds[0] == found.speeds[-1] == 0.0


@given(path=walks(), gantry=machines)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_jerk_without_end_changes_little(path: Toolpath, gantry: Machine) -> None:
    free = runtime(path, gantry).total
    assert runtime(path, with_jerk(1e8, gantry)).total <= free / kernels.LIKE**2 + 0.01 * len(path)


def plain(kernel: Any) -> Any:  # noqa: ANN401 - a compiled function has no type of its own
    """The Python under a kernel; the kernel itself where compiling is switched off."""
    return getattr(kernel, "py_func", kernel)


@given(
    low=st.floats(0, 300),
    length=st.floats(1e-3, 500),
    push=st.floats(10, 5000),
    jerk=st.floats(100, 1e7),
)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_a_ramp_fills_the_way_it_was_given(
    low: float, length: float, push: float, jerk: float
) -> None:
    high = kernels.reach(low, length, push, jerk)
    assert high == pytest.approx(twin.reach(low, length, push, jerk), rel=1e-9, abs=1e-9)
    # What a ramp gains may be far smaller than the speed it starts from.
    lost = 1e-9 + 1e-13 * low / max(high - low, 1e-300)
    assert kernels.ramp_length(low, high, push, jerk) == pytest.approx(length, rel=lost)
    assert plain(kernels.reach)(low, length, push, jerk) == pytest.approx(high, rel=1e-14)
    pieces = twin.ramp(low, high, push, jerk)
    assert kernels.ramp_seconds(high - low, push, jerk) == pytest.approx(twin.duration(pieces))
