"""Arcs of a text, timed as the chords that stand for them, against the circle itself.

Closed form: a circle of radius R is passed at v^2 = a R / max(|cos t|, |sin t|) where the inward
normal points in direction t and both axes give a; sqrt(a R) where one axis bears all of it. Source:
mechanics.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.estimate.runtime import corner_speeds, runtime
from icecam.kernels import lookahead as kernels
from icecam.paths.toolpath import Toolpath
from post.reader import read
from tests.estimate.machines import cut_path, machine

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


@pytest.mark.parametrize("tolerance", [0.0, 1e-6, 0.05])
def test_the_corner_tolerance_does_not_hold_within_an_arc(tolerance: float) -> None:
    # L / v and up and down to it: v^2 = a R is passed everywhere, as no point is without it.
    path = circle(20.0, 5e-4)
    gantry = machine(corner_tolerance=tolerance)
    found = corner_speeds(path, gantry)[1:-1]
    assert found.min() == pytest.approx(math.sqrt(PUSH * 20), rel=1e-3)
    # The same moves as lines of their own have corners.
    alone = replace(path, line=np.arange(1, len(path) + 1, dtype=np.int32))
    assert (corner_speeds(alone, gantry)[1:-1].max() < 0.1 * found.min()) == (tolerance < 1e-3)


def test_uniform_circular_motion() -> None:
    """A quarter of a circle of 80 mm at v = sqrt(a R), run into and out of along tangents.

    On the circle one axis bears all of the pull where it begins and ends, so v^2 = a R holds there;
    its length is pi R / 2. Before and behind, 100 mm straight ways from and to rest: v / a and the
    rest at v. Source: mechanics.
    """
    radius = 80.0
    speed = math.sqrt(PUSH * radius)
    feed = 60 * speed
    text = (
        f"G21 G90 G0 X-100 Y{-radius} Z0\nG1 X0 F{feed:.1f}\n"
        f"G3 X{radius} Y0 I0 J{radius}\nG1 Y100\nM2\n"
    )
    path = read(text.encode(), arc_tolerance=5e-4).toolpath
    found = runtime(path, machine(corner_tolerance=0.01)).total
    straight = speed / PUSH + (100 - radius / 2) / speed
    assert found == pytest.approx(2 * straight + math.pi * radius / 2 / speed, rel=2e-3)


@pytest.mark.parametrize("rate", [5.0, 20.0])
def test_an_arc_is_one_block(rate: float) -> None:
    """Eight arcs of 45 deg round a circle: each line takes 1 / rate where that is slowest."""
    radius = 50.0
    lines = [f"G21 G90 G0 X{radius} Y0 Z0", "F60000"]
    for eighth in range(8):
        (a, b), (x, y) = (
            (radius * math.cos(k * math.pi / 4), radius * math.sin(k * math.pi / 4))
            for k in (eighth, eighth + 1)
        )
        lines.append(f"G3 X{x:.6f} Y{y:.6f} I{-a:.6f} J{-b:.6f}")
    path = read("\n".join([*lines, "M2"]).encode()).toolpath
    assert len(path) > 8 * 20
    pushy = machine(acceleration=(1e5, 1e5, 1e5), corner_tolerance=0.05, block_rate=rate)
    # The ramps at both ends cost v / a together.
    ramps = 2 * math.pi * radius / 8 * rate / 1e5
    assert runtime(path, pushy).total == pytest.approx(8 / rate + ramps, rel=1e-4)


@given(counts=st.lists(st.integers(1, 6), min_size=1, max_size=80), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_tops_as_the_twin(counts: list[int], seed: int) -> None:
    """Any moves in lines: stripes that cut through a line change nothing."""
    random = np.random.default_rng(seed)
    line = np.repeat(np.arange(1, len(counts) + 1, dtype=np.int32), counts)
    moves = cut_path(np.cumsum(random.normal(size=(len(line) + 1, 3)), axis=0), 1e9)
    gantry = machine(block_rate=3.0, corner_tolerance=0.1)
    axes = kernels.AxisLimits(np.full(3, 1e9), np.full(3, 500.0), 3.0, 0.1)
    points = np.vstack([moves.start, moves.ends])
    limits = np.zeros((len(line), 3))
    middle = len(line) // 2
    for first, last in ((middle, len(line)), (0, middle)):
        kernels.move_limits(points, moves.feed, line, axes, limits, first, last)
    steps = [math.dist(a, b) for a, b in itertools.pairwise(points)]
    whole = {
        n: 3.0 * math.fsum(s for s, m in zip(steps, line, strict=True) if m == n) for n in line
    }
    np.testing.assert_allclose(limits[:, 1], [whole[n] for n in line], rtol=1e-12)
    assert runtime(replace(moves, line=line), gantry).total >= len(counts) / 3.0 * (1 - 1e-9)


def test_a_helix_is_passed_as_its_circle() -> None:
    # One turn of radius 10 that falls by 2 mm; its radius of curvature is R / cos^2 of its slope.
    text = b"G21 G90 G0 X10 Y0 Z2\nG3 X10 Y0 Z0 I-10 J0 F30000\nM2\n"
    path = read(text, arc_tolerance=2e-4).toolpath
    speeds = corner_speeds(path, machine(corner_tolerance=0.05))[1:-1]
    slope = 2 / (2 * math.pi * 10)
    assert speeds.min() == pytest.approx(math.sqrt(PUSH * 10 * (1 + slope**2)), rel=1e-3)
