"""The look-ahead on random paths: against its slow twin, and against a linear programme.

Outside check: the least time under these limits is the largest sum of squared speeds with
|w_i+1 - w_i| <= 2 a l and caps, a linear programme, here solved by HiGHS (scipy).
"""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.typing import NDArray
from scipy.optimize import linprog

from icecam.errors import JobError
from icecam.estimate.runtime import (
    Runtime,
    chord_corner_speeds,
    corner_speeds,
    runtime,
    runtime_at_corners,
    stage_seconds,
)
from icecam.job.records import Machine
from icecam.kernels import lookahead as kernels
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from tests.estimate.machines import corner_caps, cut_path, machine
from tests.estimate.walks import machines, twin_limits, walks
from tests.reference import lookahead as twin

Floats = NDArray[np.float64]


@given(path=walks(), gantry=machines)
@settings(max_examples=150, deadline=None, derandomize=True)
def test_speeds_and_seconds_as_the_twin(path: Toolpath, gantry: Machine) -> None:
    corners = corner_speeds(path, gantry)
    found = runtime_at_corners(path, gantry, corners)
    limits = twin_limits(path, gantry)
    speeds = twin.look_ahead(limits, corners)
    np.testing.assert_allclose(found.speeds, speeds, rtol=1e-9, atol=1e-6)
    seconds = [
        twin.move_seconds(limit, enter, leave)
        for limit, enter, leave in zip(limits, speeds[:-1], speeds[1:], strict=True)
    ]
    np.testing.assert_allclose(found.seconds, seconds, rtol=1e-6)


@given(path=walks(), gantry=machines)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_corners_as_the_twin(path: Toolpath, gantry: Machine) -> None:
    found = corner_speeds(path, gantry)
    points = np.vstack([path.start, path.ends])
    for place in range(1, len(path)):
        before, here, after = points[place - 1 : place + 2]
        sine = np.linalg.norm(np.cross(here - before, after - here))
        straight = (here - before) @ (after - here)
        if sine < 1e-9:
            assert found[place] == (math.inf if straight > 0 else 0.0)
        else:
            push = np.array(gantry.acceleration)
            wanted = twin.corner_speed(before, here, after, push, gantry.corner_tolerance)
            assert found[place] == pytest.approx(wanted, rel=1e-4, abs=1e-9)


def by_programme(limits: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """Squares of the speeds by linear programme, and the most that corners and tops allow."""
    count = len(limits)
    caps = np.minimum.reduce(
        [corners, np.append(limits[:, 1], math.inf), np.append(math.inf, limits[:, 1])]
    )
    jump = np.diff(np.eye(count + 1), axis=0)
    gain = 2 * limits[:, 0] * limits[:, 2]
    best = linprog(
        -np.ones(count + 1),
        A_ub=np.vstack([jump, -jump]),
        b_ub=np.concatenate([gain, gain]),
        bounds=[(0, cap**2) for cap in caps],
        method="highs",
    )
    assert best.x is not None
    return np.asarray(best.x), caps**2


@given(path=walks(), gantry=machines)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_speeds_as_the_linear_programme(path: Toolpath, gantry: Machine) -> None:
    best, caps = by_programme(twin_limits(path, gantry), corner_speeds(path, gantry))
    squares = runtime(path, gantry).speeds ** 2
    np.testing.assert_allclose(squares, best, rtol=1e-6, atol=1e-6 * max(caps.max(), 1))


@pytest.mark.parametrize("seed", range(6))
def test_short_random_moves_as_the_linear_programme(seed: int) -> None:
    """Moves of 0.01 to 3 mm that turn a little, so that bounds reach over many of them."""
    random = np.random.default_rng(seed)
    count = 300
    turns = np.cumsum(random.normal(size=(count, 2)) * 0.15, axis=0)
    steps = np.stack([np.cos(turns[:, 0]), np.sin(turns[:, 0]), 0.3 * np.sin(turns[:, 1])], axis=1)
    sizes = 10 ** random.uniform(-2, 0.5, count)
    points = np.vstack([np.zeros(3), np.cumsum(steps * sizes[:, None], axis=0)])
    gantry = machine(
        speed=(200.0, 150.0, 60.0), acceleration=(700.0, 500.0, 300.0), corner_tolerance=0.05
    )
    path = cut_path(points, 120.0)
    limits, corners = twin_limits(path, gantry), corner_speeds(path, gantry)
    best, caps = by_programme(limits, corners)
    found = runtime(path, gantry).speeds ** 2
    np.testing.assert_allclose(found, best, rtol=1e-6, atol=1e-6 * caps.max())
    # Neither the corners nor the tops alone decide: some points wait for others far away.
    assert 0.05 < np.mean(found < 0.99 * caps) < 0.95


@given(path=walks(), gantry=machines)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_arc_corners_never_beat_chord_corners(path: Toolpath, gantry: Machine) -> None:
    arcs, chords = corner_speeds(path, gantry), chord_corner_speeds(path, gantry)
    assert (arcs <= chords * (1 + 1e-9)).all()


@given(path=walks(), gantry=machines)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_a_path_takes_as_long_backwards(path: Toolpath, gantry: Machine) -> None:
    back = Toolpath(
        start=path.ends[-1],
        ends=np.vstack([path.ends[-2::-1], path.start]) if len(path) > 1 else path.start[None],
        kind=path.kind[::-1],
        feed=path.feed[::-1],
        line=path.line,
    )
    assert runtime(back, gantry).total == pytest.approx(runtime(path, gantry).total, rel=1e-9)


@given(path=walks(), gantry=machines)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_limits_hold(path: Toolpath, gantry: Machine) -> None:
    found = runtime(path, gantry)
    top = np.where(path.kind == CUT, path.feed, np.inf)
    assert (path.lengths / found.seconds <= top * (1 + 1e-9)).all()
    pace = np.abs(path.ends - path.begins) / found.seconds[:, None]
    assert (pace <= np.array(gantry.speed) * (1 + 1e-9)).all()
    assert found.speeds[0] == found.speeds[-1] == 0.0


def plain(kernel: Any) -> Any:  # noqa: ANN401 - a compiled function has no type of its own
    """The Python under a kernel; the kernel itself where compiling is switched off."""
    return getattr(kernel, "py_func", kernel)


def test_kernels_run_the_same_uncompiled() -> None:
    path = cut_path([(0, 0, 0), (5, 0, 0), (5, 4, 1), (5, 4, 1), (9, 4, 1)], 80.0)
    points = np.vstack([path.start, path.ends])
    axes = kernels.AxisLimits(np.full(3, 100.0), np.full(3, 400.0), 1e3, 0.02)
    limits, slow_limits = np.zeros((4, 3)), np.zeros((4, 3))
    line = np.array([1, 2, 2, 3], np.int32)
    kernels.move_limits(points, path.feed, line, axes, limits, 0, 4)
    plain(kernels.move_limits)(points, path.feed, line, axes, slow_limits, 0, 4)
    np.testing.assert_array_equal(limits, slow_limits)
    rules: list[tuple[Any, tuple[Any, ...]]] = [
        (kernels.arc_corner_speeds, (line,)),
        (kernels.chord_corner_speeds, ()),
    ]
    for rule, lines in rules:
        corners, slow_corners = np.zeros(5), np.zeros(5)
        rule(points, *lines, axes, corners, 1, 4)
        plain(rule)(points, *lines, axes, slow_corners, 1, 4)
        np.testing.assert_allclose(corners, slow_corners, rtol=1e-14)
        speeds, seconds, slow_speeds, slow_seconds = (np.zeros(n) for n in (5, 4, 5, 4))
        kernels.look_ahead(limits, corners, 1e-3, speeds, seconds)
        plain(kernels.look_ahead)(limits, corners, 1e-3, slow_speeds, slow_seconds)
        np.testing.assert_allclose(speeds, slow_speeds, rtol=1e-14)
        np.testing.assert_allclose(seconds, slow_seconds, rtol=1e-14)


def test_stage_adds_what_else_takes_time() -> None:
    path = Toolpath(
        start=np.zeros(3),
        ends=np.array([[100.0, 0, 0], [200.0, 0, 0]]),
        kind=np.array([RAPID, CUT], np.int8),
        feed=np.array([np.nan, 200.0]),
        line=np.zeros(2, np.int32),
    )
    gantry = machine(speed=(200.0, 200.0, 50.0))
    run = runtime_at_corners(path, gantry, corner_caps(path, 0.0))
    stage = stage_seconds(run, path, dwells=5.0, bit_change=60.0, snow_stops=3, snow_stop=20.0)
    # Two moves of L/F + F/a = 0.9 s each.
    assert stage.cutting == pytest.approx(0.9)
    # At its feed the cut would take L/F = 0.5 s.
    assert stage.slowed == pytest.approx(0.4)
    assert stage.rapids == pytest.approx(0.9)
    assert stage.total == pytest.approx(0.9 + 0.9 + 5 + 60 + 3 * 20)


def test_refusals() -> None:
    path = cut_path([(0, 0, 0), (1, 0, 0)], 10.0)
    run = runtime(path, machine())
    with pytest.raises(JobError, match="dwells is -1"):
        stage_seconds(run, path, dwells=-1.0, bit_change=0.0)
    with pytest.raises(ValueError, match="runtime of 1 moves for a path of 2"):
        stage_seconds(run, cut_path([(0, 0, 0), (1, 0, 0), (2, 0, 0)], 1.0), dwells=0, bit_change=0)
    with pytest.raises(ValueError, match=r"shape \(3,\), expected \(2,\)"):
        runtime_at_corners(path, machine(), np.zeros(3))
    with pytest.raises(ValueError, match="below zero or no number"):
        runtime_at_corners(path, machine(), np.array([0.0, math.nan]))
    with pytest.raises(ValueError, match=r"expected \(n,\) and \(n \+ 1,\)"):
        Runtime(seconds=np.zeros(2), speeds=np.zeros(2))
