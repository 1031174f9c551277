"""How fast a runtime is found: seconds for ten million moves, and the ratio to the slow twin."""

import time
from dataclasses import replace

import numpy as np

from icecam.estimate.runtime import corner_speeds, runtime, runtime_at_corners
from icecam.paths.toolpath import CUT, Toolpath
from tests.bench.figures import Figure, Note, Timed
from tests.estimate.machines import machine
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
