"""Runtimes with a closed form: constant acceleration, s = v^2 / (2 a). No outside table.

Each figure is worked by hand from the formula beside it, and typed to the six digits it was worked
to. Single moves are also held against ruckig's time-optimal profile with infinite jerk.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory  # type: ignore[import-not-found]

from icecam.estimate.runtime import corner_speeds, runtime, runtime_at_corners
from icecam.paths.toolpath import RAPID, Toolpath
from tests.estimate.machines import corner_caps, cut_path, machine

LAST_DIGIT = 0.6e-6


def ruckig_seconds(length: float, feed: float, push: float, speeds: tuple[float, float]) -> float:
    """Duration by ruckig, which knows nothing of paths."""
    solver, wanted, found = Ruckig(1), InputParameter(1), Trajectory(1)
    wanted.current_position, wanted.target_position = [0.0], [length]
    wanted.current_velocity, wanted.target_velocity = [speeds[0]], [speeds[1]]
    wanted.current_acceleration, wanted.target_acceleration = [0.0], [0.0]
    wanted.max_velocity, wanted.max_acceleration = [feed], [push]
    wanted.max_jerk = [math.inf]
    solver.calculate(wanted, found)
    return float(found.duration)


@pytest.mark.parametrize(
    ("length", "printed"),
    [
        pytest.param(100.0, 0.900000, id="reaches the feed: L/F + F/a"),
        pytest.param(10.0, 0.282843, id="too short to reach it: 2 sqrt(L/a)"),
        pytest.param(0.5, 0.063246, id="shorter still: 2 sqrt(L/a)"),
    ],
)
def test_single_move(length: float, printed: float) -> None:
    found = runtime(cut_path([(0, 0, 0), (length, 0, 0)], 200.0), machine())
    assert found.total == pytest.approx(printed, abs=LAST_DIGIT)
    assert found.total == pytest.approx(ruckig_seconds(length, 200.0, 500.0, (0, 0)), abs=1e-9)


@given(
    length=st.floats(0.01, 500),
    feed=st.floats(1, 400),
    push=st.floats(50, 5000),
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
@settings(max_examples=200, deadline=None, derandomize=True)
def test_single_move_in_motion_as_ruckig(
    length: float, feed: float, push: float, shares: tuple[float, float]
) -> None:
    path = cut_path([(0, 0, 0), (0, length, 0)], feed)
    limits = np.array(shares) * feed
    found = runtime_at_corners(path, machine(acceleration=(push, push, push)), limits)
    ends = (float(found.speeds[0]), float(found.speeds[1]))
    assert found.total == pytest.approx(ruckig_seconds(length, feed, push, ends), rel=1e-6)


def test_collinear_pieces_take_as_long_as_one_move() -> None:
    # L/F + F/a; stopping at each point would take 28.28 s.
    path = cut_path([(0.1 * step, 0, 0) for step in range(1001)], 200.0)
    assert runtime(path, machine()).total == pytest.approx(0.900000, abs=LAST_DIGIT)


@pytest.mark.parametrize(
    ("speed", "printed"),
    [
        pytest.param(0.0, 1.492820, id="stop: 2 sqrt(60/a) + 80/F + F/a"),
        pytest.param(20.0, 1.417126, id="corner at 20"),
        pytest.param(100.0, 1.198331, id="corner at 100"),
    ],
)
def test_right_angle_at_a_fixed_corner_speed(speed: float, printed: float) -> None:
    path = cut_path([(0, 0, 0), (60, 0, 0), (60, 80, 0)], 200.0)
    found = runtime_at_corners(path, machine(), corner_caps(path, speed))
    assert found.total == pytest.approx(printed, abs=LAST_DIGIT)


def test_oblique_move_is_limited_by_its_tightest_axis() -> None:
    # Path acceleration min a_k / |u_k| = 637.377, top speed 200: L/F + F/a.
    gantry = machine(speed=(200.0, 200.0, 50.0), acceleration=(500.0, 500.0, 200.0))
    found = runtime(cut_path([(0, 0, 0), (60, 80, 20)], 200.0), gantry)
    assert found.total == pytest.approx(0.823688, abs=LAST_DIGIT)


@pytest.mark.parametrize("feed", [200.0, math.inf])
def test_plunge_is_limited_by_z(feed: float) -> None:
    # v = 50, a = 200: 30/50 + 50/200.
    gantry = machine(speed=(200.0, 200.0, 50.0), acceleration=(500.0, 500.0, 200.0))
    found = runtime(cut_path([(0, 0, 0), (0, 0, -30)], feed), gantry)
    assert found.total == pytest.approx(0.850000, abs=LAST_DIGIT)


def test_rapid_runs_at_full_axis_speed() -> None:
    # L/v + v/a with v = 400.
    path = Toolpath(
        start=np.zeros(3),
        ends=np.array([[600.0, 0, 0]]),
        kind=np.array([RAPID], np.int8),
        feed=np.array([np.nan]),
        line=np.zeros(1, np.int32),
    )
    gantry = machine(speed=(400.0, 200.0, 50.0))
    assert runtime(path, gantry).total == pytest.approx(600 / 400 + 400 / 500, abs=1e-9)


def test_zigzag_with_stops() -> None:
    # 10 (50/F + F/a) + 10 * 2 sqrt(3/a) with 50 mm too short for 200 mm/s: 2 sqrt(50/a).
    points = [(0.0, 0.0, 0.0)]
    for step in range(10):
        x = 50.0 if step % 2 == 0 else 0.0
        points += [(x, 3.0 * step, 0.0), (x, 3.0 * step + 3.0, 0.0)]
    found = runtime(cut_path(points, 200.0), machine())
    assert found.total == pytest.approx(7.873749, abs=LAST_DIGIT)


@pytest.mark.parametrize(
    ("feed", "printed"), [(50.0, 5.200000), (100.0, 3.200000), (200.0, 2.771281)]
)
def test_square_with_stops(feed: float, printed: float) -> None:
    # 4 (60/F + F/a); at 200 mm/s 4 * 2 sqrt(60/a).
    path = cut_path([(0, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0), (0, 0, 0)], feed)
    assert runtime(path, machine()).total == pytest.approx(printed, abs=LAST_DIGIT)


def test_block_rate_caps_short_moves() -> None:
    # 0.1 mm at 100 moves a second: 10 mm/s, 0.01 s a move; L/v + v/a over all.
    path = cut_path([(0.1 * step, 0, 0) for step in range(1001)], 200.0)
    found = runtime(path, machine(block_rate=100.0))
    assert found.total == pytest.approx(100 / 10 + 10 / 500, abs=1e-9)
    assert found.seconds.min() >= 0.01 - 1e-12


def test_move_without_length_costs_one_block_at_rest() -> None:
    path = cut_path([(0, 0, 0), (10, 0, 0), (10, 0, 0), (20, 0, 0)], 200.0)
    found = runtime(path, machine(block_rate=50.0, corner_tolerance=0.1))
    assert found.seconds[1] == pytest.approx(0.02)
    assert found.total == pytest.approx(2 * 0.282843 + 0.02, abs=2 * LAST_DIGIT)


def test_right_angle_corner_by_tolerance() -> None:
    # 90 degrees: R = tol / (sqrt 2 - 1), and each axis bears the whole v^2 / R at one end.
    path = cut_path([(0, 0, 0), (60, 0, 0), (60, 80, 0)], 200.0)
    speed = corner_speeds(path, machine(corner_tolerance=0.05))[1]
    assert speed == pytest.approx(math.sqrt(500 * 0.05 / (math.sqrt(2) - 1)), rel=1e-12)


def test_corner_arc_takes_no_more_than_half_of_the_shorter_move() -> None:
    # A right angle with R = 1 touches 1 mm from the corner: half of the 2 mm move.
    path = cut_path([(0, 0, 0), (2, 0, 0), (2, 80, 0)], 200.0)
    speed = corner_speeds(path, machine(corner_tolerance=10.0))[1]
    assert speed == pytest.approx(math.sqrt(500 * 1.0), rel=1e-12)


@pytest.mark.parametrize("tolerance", [0.0, 0.05])
def test_reversal_stops_and_collinear_passes(tolerance: float) -> None:
    path = cut_path([(0, 0, 0), (5, 5, 5), (9, 9, 9), (2, 2, 2)], 200.0)
    speeds = corner_speeds(path, machine(corner_tolerance=tolerance))
    assert speeds.tolist() == [0.0, math.inf, 0.0, 0.0]


def test_tolerance_zero_stops_at_the_slightest_corner() -> None:
    path = cut_path([(0, 0, 0), (10, 0, 0), (20, 1e-4, 0)], 200.0)
    assert corner_speeds(path, machine())[1] == 0.0


def test_path_without_moves_takes_no_time() -> None:
    assert runtime(cut_path([(1, 2, 3)], 1.0), machine()).total == 0.0
