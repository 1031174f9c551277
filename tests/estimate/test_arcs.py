"""Arcs of a text, timed as the chords that stand for them, against the circle itself.

Closed form: a circle of radius R is passed at v^2 = a R / max(|cos t|, |sin t|) where the inward
normal points in direction t and both axes give a; sqrt(a R) where one axis bears all of it. Source:
mechanics.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from icecam.estimate.runtime import corner_speeds, runtime
from icecam.paths.toolpath import Toolpath
from post.reader import read
from tests.estimate.machines import machine

PUSH = 500.0


def circle(radius: float, tolerance: float, word: str = "G3") -> Toolpath:
    """Return a full turn from the right, as read from text, at 500 mm/s."""
    lines = [f"G21 G90 G0 X{radius} Y0 Z0", f"{word} X{radius} Y0 I-{radius} J0 F30000", "M2"]
    text = "".join(f"{line}\n" for line in lines).encode()
    return read(text, arc_tolerance=tolerance).toolpath


@pytest.mark.parametrize("word", ["G2", "G3"])
@pytest.mark.parametrize(("radius", "tolerance"), [(2.0, 0.0002), (50.0, 0.002), (300.0, 0.002)])
def test_every_point_of_a_circle_is_passed_as_the_circle_itself(
    word: str, radius: float, tolerance: float
) -> None:
    path = circle(radius, tolerance, word)
    found = corner_speeds(path, machine(corner_tolerance=0.05))[1:-1]
    normal = np.abs(path.ends[:-1, :2] / radius)
    wanted = np.sqrt(PUSH * radius / normal.max(axis=1))
    # Within an arc between two chords the normal turns by half of what they turn, and the arc is
    # as much smaller than the circle.
    turn = 2 * math.pi / len(path)
    np.testing.assert_allclose(found, wanted, rtol=turn / 2 + turn**2)
    assert found.min() == pytest.approx(math.sqrt(PUSH * radius), rel=turn**2)


def test_a_circle_takes_as_long_as_its_way_at_the_feed() -> None:
    # L/F + F/a where the curve allows more than the feed: 2 pi 50 / 100 + 100 / 500.
    path = circle(50.0, 0.0005)
    path = replace(path, feed=np.full(len(path), 100.0))
    found = runtime(path, machine(corner_tolerance=0.05))
    assert found.total == pytest.approx(math.pi + 0.2, rel=1e-3)


def test_finer_chords_change_nothing() -> None:
    gantry = machine(corner_tolerance=0.05)
    times = [runtime(circle(20.0, fine), gantry).total for fine in (1e-3, 1e-4, 1e-5)]
    assert times == pytest.approx([times[-1]] * 3, rel=5e-3)


def test_chords_coarser_than_the_corner_tolerance_are_passed_slower() -> None:
    gantry = machine(corner_tolerance=1e-4)
    coarse, fine = (
        corner_speeds(circle(20.0, chord), gantry)[1:-1].max() for chord in (2e-3, 5e-5)
    )
    assert coarse < 0.5 * fine


def test_a_helix_is_passed_as_its_circle() -> None:
    # One turn of radius 10 that falls by 2 mm; its radius of curvature is R / cos^2 of its slope.
    text = b"G21 G90 G0 X10 Y0 Z2\nG3 X10 Y0 Z0 I-10 J0 F30000\nM2\n"
    path = read(text, arc_tolerance=2e-4).toolpath
    speeds = corner_speeds(path, machine(corner_tolerance=0.05))[1:-1]
    slope = 2 / (2 * math.pi * 10)
    assert speeds.min() == pytest.approx(math.sqrt(PUSH * 10 * (1 + slope**2)), rel=1e-3)
