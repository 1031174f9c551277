"""Curves of many short chords, against TOPP-RA on the smooth curve.

Outside check: toppra 0.6 (Pham & Pham 2018, "A new approach to time-optimal path parameterization
based on reachability analysis"), which shares each axis' acceleration between path and curvature.
The figures of the chord rule come from a separate computation by linear programme. The runtime by
corner arcs has to lie from 0.999 of the chord rule's, which bounds the jump in axis speed, to 1.05
of TOPP-RA's; that width is judgement.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
import toppra  # type: ignore[import-untyped]
from numpy.typing import NDArray
from toppra.algorithm import TOPPRA  # type: ignore[import-untyped]
from toppra.constraint import (  # type: ignore[import-untyped]
    JointAccelerationConstraint,
    JointVelocityConstraint,
)

from icecam.estimate.runtime import chord_corner_speeds, runtime, runtime_at_corners
from icecam.paths.toolpath import Toolpath
from tests.estimate.machines import corner_caps, cut_path, machine

Floats = NDArray[np.float64]
RADIUS = 50.0
ROUND = 2 * math.pi * RADIUS
WAVE_SPEED, WAVE_PUSH = (200.0, 200.0, 50.0), (500.0, 500.0, 200.0)


def circle_path(feed: float) -> Toolpath:
    """628 chords of 0.5 mm."""
    turn = np.linspace(0, 2 * math.pi, 629)
    points = np.stack([RADIUS * np.cos(turn), RADIUS * np.sin(turn), 0 * turn], axis=1)
    return cut_path(points, feed)


def wave(x: Floats) -> Floats:
    """Derivatives are taken by hand below: y = 20 sin(2 pi x/150), z = 5 cos(2 pi x/100)."""
    return np.stack(
        [x, 20 * np.sin(2 * math.pi * x / 150), 5 * np.cos(2 * math.pi * x / 100)], axis=-1
    )


class ByLength(toppra.interpolator.AbstractGeometricPath):  # type: ignore[misc]
    """A curve over its own length, the length itself as a fourth axis to bound the feed."""

    def __init__(self, at: Callable[[Floats, int], Floats], length: float) -> None:
        self.at, self.length = at, length

    def __call__(self, path_positions: Floats | float, order: int = 0) -> Floats:
        way = np.atleast_1d(np.asarray(path_positions, dtype=np.float64))
        own = [way, np.ones_like(way), np.zeros_like(way)][order]
        values = np.concatenate([self.at(way, order), own[:, None]], axis=1)
        return values if np.ndim(path_positions) else values[0]

    @property
    def dof(self) -> int:
        return 4

    @property
    def path_interval(self) -> Floats:
        return np.array([0.0, self.length])

    @property
    def waypoints(self) -> None:
        return None


def circle_at(way: Floats, order: int) -> Floats:
    """Circle by its length, and its derivatives."""
    turn = way / RADIUS + order * math.pi / 2
    scale = RADIUS ** (1 - order)
    return np.stack([scale * np.cos(turn), scale * np.sin(turn), 0 * turn], axis=1)


def wave_by_length() -> tuple[Callable[[Floats, int], Floats], float]:
    """The wave by its length: x(s) by integrating ds/dx on a fine grid, derivatives by chain."""
    x = np.linspace(0, 300, 300_001)
    one, two = 2 * math.pi / 150, 2 * math.pi / 100

    def slopes(at: Floats) -> tuple[Floats, Floats]:
        first = np.stack([1 + 0 * at, 20 * one * np.cos(one * at), -5 * two * np.sin(two * at)], 1)
        second = np.stack(
            [0 * at, -20 * one**2 * np.sin(one * at), -5 * two**2 * np.cos(two * at)], 1
        )
        return first, second

    speed = np.linalg.norm(slopes(x)[0], axis=1)
    length = np.append(0.0, np.cumsum((speed[1:] + speed[:-1]) / 2) * (x[1] - x[0]))

    def at(way: Floats, order: int) -> Floats:
        here = np.interp(way, length, x)
        first, second = slopes(here)
        rate = np.linalg.norm(first, axis=1)[:, None]
        if order == 0:
            return wave(here)
        if order == 1:
            return np.asarray(first / rate)
        along = np.sum(first * second, axis=1)[:, None]
        return np.asarray(second / rate**2 - first * along / rate**4)

    return at, float(length[-1])


def toppra_seconds(
    at: Callable[[Floats, int], Floats],
    length: float,
    limits: tuple[tuple[float, float, float], tuple[float, float, float]],
    feed: float,
) -> float:
    """Least time along the smooth curve by TOPP-RA, 4000 grid points."""
    speed = np.array([*limits[0], feed])
    push = np.array([*limits[1], 1e9])
    solver = TOPPRA(
        [
            JointVelocityConstraint(np.stack([-speed, speed], 1)),
            JointAccelerationConstraint(np.stack([-push, push], 1)),
        ],
        ByLength(at, length),
        gridpoints=np.linspace(0, length, 4001),
        solver_wrapper="seidel",
    )
    _, pace, _ = solver.compute_parameterization(0, 0)
    step = length / 4000
    return float(np.sum(2 * step / (pace[1:] + pace[:-1])))


@pytest.mark.parametrize(
    ("feed", "chords", "smooth"),
    [(50.0, "6.383150", "6.38315"), (100.0, "3.341313", "3.34032"), (200.0, "2.200301", "2.25897")],
)
def test_circle(feed: float, chords: str, smooth: str) -> None:
    path, gantry = circle_path(feed), machine(corner_tolerance=0.05)
    by_chords = runtime_at_corners(path, gantry, chord_corner_speeds(path, gantry)).total
    assert by_chords == pytest.approx(float(chords), abs=1e-6)
    outside = toppra_seconds(circle_at, ROUND, ((1e3,) * 3, (500.0,) * 3), feed)
    assert outside == pytest.approx(float(smooth), abs=5e-4)
    assert 0.999 * by_chords <= runtime(path, gantry).total <= 1.05 * outside


def test_circle_at_a_fixed_corner_speed() -> None:
    path = circle_path(200.0)
    found = runtime_at_corners(path, machine(), corner_caps(path, 50.0))
    assert found.total == pytest.approx(6.218516, abs=1e-6)


def test_circle_speed_at_the_axis_points_is_that_of_its_radius() -> None:
    # v^2 / R = a where one axis bears all of it; source: mechanics.
    path = circle_path(200.0)
    found = runtime(path, machine(corner_tolerance=0.05))
    assert found.speeds[157 * 2] == pytest.approx(math.sqrt(500 * RADIUS), rel=1e-2)


def test_circle_within_a_tight_tolerance_is_slower() -> None:
    path = circle_path(200.0)
    totals = [runtime(path, machine(corner_tolerance=t)).total for t in (1e-5, 1e-4, 1e-2)]
    assert totals[0] > 2 * totals[1] > 2 * totals[2]


@pytest.mark.parametrize(
    ("feed", "chords", "smooth"),
    [
        (100.0, "3.688941", "3.68931"),
        (150.0, "2.844850", "2.95578"),
        (200.0, "2.734726", "2.92273"),
    ],
)
def test_wave(feed: float, chords: str, smooth: str) -> None:
    path = cut_path(wave(np.linspace(0, 300, 1001)), feed)
    gantry = machine(speed=WAVE_SPEED, acceleration=WAVE_PUSH, corner_tolerance=0.05)
    by_chords = runtime_at_corners(path, gantry, chord_corner_speeds(path, gantry)).total
    assert by_chords == pytest.approx(float(chords), abs=1e-6)
    at, length = wave_by_length()
    outside = toppra_seconds(at, length, (WAVE_SPEED, WAVE_PUSH), feed)
    assert outside == pytest.approx(float(smooth), abs=2e-3)
    assert 0.999 * by_chords <= runtime(path, gantry).total <= 1.05 * outside
