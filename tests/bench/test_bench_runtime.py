"""How fast a runtime is found: seconds for ten million moves, ratios to the twin and to TOPP-RA."""

import time
from dataclasses import replace
from math import inf
from statistics import median

import numpy as np
import toppra  # type: ignore[import-untyped]
from toppra.algorithm import TOPPRA  # type: ignore[import-untyped]

from icecam.estimate.runtime import corner_speeds, runtime, runtime_at_corners
from icecam.paths.toolpath import CUT, Toolpath
from tests.bench.figures import Figure, Note, Timed
from tests.estimate.machines import cut_path, machine
from tests.estimate.test_runtime_curves import (
    WAVE_PUSH,
    WAVE_SPEED,
    ByLength,
    wave,
    wave_by_length,
)
from tests.reference import lookahead as twin

MILLIONS = 10_000_000
FEW = 600
GANTRY = machine(
    speed=(250.0, 250.0, 80.0),
    acceleration=(800.0, 800.0, 400.0),
    corner_tolerance=0.02,
    block_rate=1000.0,
)


def rough_path(count: int) -> Toolpath:
    """Short moves along a wavy line, about 0.3 mm each."""
    steps = np.random.default_rng(7).normal(size=(count, 3)) * 0.1 + [0.25, 0.0, 0.0]
    return Toolpath(
        start=np.zeros(3),
        ends=np.cumsum(steps, axis=0),
        kind=np.full(count, CUT, np.int8),
        feed=np.full(count, 90.0),
        line=np.zeros(count, np.int32),
    )


def test_ten_million_moves(timed: Timed) -> None:
    path = rough_path(MILLIONS)
    runtime(rough_path(2), GANTRY)
    found = timed("runtime of 10 M moves", 5.0, lambda: runtime(path, GANTRY))
    assert found.total > path.lengths.sum() / 90.0


def test_ten_million_moves_with_jerk(timed: Timed) -> None:
    path, soft = rough_path(MILLIONS), replace(GANTRY, jerk=(2e4, 2e4, 1e4))
    runtime(rough_path(20), soft)
    found = timed("runtime of 10 M moves with jerk", 20.0, lambda: runtime(path, soft))
    assert found.total > path.lengths.sum() / 90.0


def twin_seconds(path: Toolpath) -> float:
    """Return the total by the slow twin, corners and all."""
    points = np.vstack([path.start, path.ends])
    speed, push = np.array(GANTRY.speed), np.array(GANTRY.acceleration)
    limits = twin.move_limits(points, path.feed, speed, push)
    limits[:, 1] = np.minimum(limits[:, 1], limits[:, 0] * GANTRY.block_rate)
    corners = np.zeros(len(points))
    for place in range(1, len(path)):
        before, here, after = points[place - 1 : place + 2]
        corners[place] = twin.corner_speed(before, here, after, push, GANTRY.corner_tolerance)
    speeds = twin.look_ahead(limits, corners)
    return sum(map(twin.move_seconds, limits, speeds[:-1], speeds[1:]))


def test_ratio_to_the_twin(figure: Note) -> None:
    path = rough_path(FEW)
    began = time.perf_counter()
    slow = twin_seconds(path)
    twin_took = time.perf_counter() - began
    runtime(path, GANTRY)
    began = time.perf_counter()
    found = runtime_at_corners(path, GANTRY, corner_speeds(path, GANTRY))
    took = time.perf_counter() - began
    figure(
        Figure(f"runtime, share of its slow twin's time, {FEW} moves", took / twin_took, 0.1, "")
    )
    # The twin samples the pull along each arc, so it agrees to a few millionths only.
    assert abs(found.total - slow) < 1e-5 * slow


def toppra_on_the_wave(feed: float, grid: int) -> tuple[float, float]:
    """Return the least time along the smooth wave by TOPP-RA, and how long it took to find, s."""
    at, length = wave_by_length()
    speed, push = np.array([*WAVE_SPEED, feed]), np.array([*WAVE_PUSH, 1e9])
    limits = toppra.constraint
    stations = np.linspace(0, length, grid + 1)
    began = time.perf_counter()
    solver = TOPPRA(
        [
            limits.JointVelocityConstraint(np.stack([-speed, speed], 1)),
            limits.JointAccelerationConstraint(np.stack([-push, push], 1)),
        ],
        ByLength(at, length),
        gridpoints=stations,
        solver_wrapper="seidel",
    )
    _, pace, _ = solver.compute_parameterization(0, 0)
    took = time.perf_counter() - began
    return float(np.sum(2 * np.diff(stations) / (pace[1:] + pace[:-1]))), took


def test_ratio_to_toppra(figure: Note) -> None:
    """A wave of a few hundred chords; TOPP-RA (Pham & Pham 2018) on the smooth wave behind them.

    Both get as many stations. TOPP-RA follows the curve exactly, we round the corners of its chords
    within the corner tolerance, so the times need not be equal; up to 1.05 is judgement, as in the
    tests of the runtime.
    """
    feed = 150.0
    path = cut_path(wave(np.linspace(0, 300, FEW + 1)), feed)
    gantry = machine(speed=WAVE_SPEED, acceleration=WAVE_PUSH, corner_tolerance=0.05)
    ours = runtime(path, gantry).total
    rounds = []
    for _ in range(5):
        began = time.perf_counter()
        runtime(path, gantry)
        rounds.append(time.perf_counter() - began)
    outside = [toppra_on_the_wave(feed, FEW) for _ in range(5)]
    theirs, took, toppra_took = outside[0][0], median(rounds), median(each for _, each in outside)
    figure(Figure(f"runtime of a wave of {FEW} chords", took, 0.01))
    figure(Figure(f"TOPP-RA on the same wave, {FEW} steps", toppra_took, inf))
    figure(Figure("runtime, share of TOPP-RA's time", took / toppra_took, 0.1, ""))
    figure(Figure("runtime and TOPP-RA differ by", 100 * abs(ours / theirs - 1), 5.0, "%"))
    assert 0.95 * theirs <= ours <= 1.05 * theirs
