"""Feeds that follow the ice, by hand and against a carved block.

A ball of radius R that follows a surface under a layer t thick cuts chips of the chip load times
sin b, cos b = 1 - t / R (geometry of the sphere).
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.profile import cutting_end
from icecam.job.file import load
from icecam.paths.feeds import AHEAD_MM, FACTORS, LOW_MM, SHORTEST_MM, feeds_met, slots_met
from icecam.paths.loops import BESIDE
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import carve, whole_block

Floats = NDArray[np.float64]
JOB = load(None)
BALL: Stage = replace(next(stage for stage in ladder(JOB) if stage.bit.shape == "ball"), feed=20.0)
RADIUS = BALL.bit.diameter / 2
"""6.35 mm."""


def straight(lengths: list[float], feed: float = BALL.feed) -> Toolpath:
    ends = np.zeros((len(lengths), 3))
    ends[:, 0] = np.cumsum(lengths)
    return Toolpath(
        start=np.zeros(3),
        ends=ends,
        kind=np.full(len(ends), CUT, dtype=np.int8),
        feed=np.full(len(ends), feed),
        line=np.zeros(len(ends), dtype=np.int32),
    )


def chips(thickness: Floats) -> Floats:
    """Thickest chip over the chip load under layers so thick (mm)."""
    shares: Floats = np.sqrt(1 - np.maximum(1 - thickness / RADIUS, 0.0) ** 2)
    return shares


def factors(path: Toolpath, thickness: list[float], stage: Stage = BALL) -> list[float]:
    found = feeds_met(path, chips(np.array(thickness)), stage, JOB.machine) / stage.feed
    return [round(float(factor), 6) for factor in found]


@pytest.mark.parametrize(
    ("thickness", "factor"),
    # with 0.1 mm for a bit set too low the layers are 0.1, 0.3, 0.7, 1.5 and 4.1 mm thick; one over
    # their shares of the chip load is 5.7, 3.3, 2.2, 1.5 and 1.07
    [(0.0, 4.0), (0.2, 2.8), (0.6, 2.0), (1.4, 1.4), (4.0, 1.0)],
)
def test_a_thinner_layer_is_cut_faster(thickness: float, factor: float) -> None:
    assert factors(straight([20.0]), [thickness]) == [factor]


def test_carving_measures_the_chip() -> None:
    """A row through a layer of 0.6 mm in moves of 0.4 mm: each meets it with the chip of 0.6 mm."""
    ice = whole_block((60.0, 30.0, 20.0), 0.1)
    path = straight([0.4] * 100).moved((10.0, 15.0, 19.4))
    found = carve(ice, path, BALL.cutting).chip[10:]
    assert found == pytest.approx(float(chips(np.array([0.6]))[0]), rel=0.02)


def test_a_sharp_corner_is_never_faster_in_ice() -> None:
    flat = replace(BALL, cutting=cutting_end(replace(BALL.bit, shape="flat")))
    assert factors(straight([20.0, 20.0]), [0.0, 0.5], flat) == [1.0, 1.0]


def test_slows_before_the_ice_and_after_it() -> None:
    """Air for 20 mm, 1 mm of ice 6 mm thick, air: moves within 1 mm of the ice stay slow."""
    lengths = [19.3, 0.7, 0.4, 1.0, 0.4, 0.7, 19.3]
    met = [0.0, 0.0, 0.0, 6.0, 0.0, 0.0, 0.0]
    assert AHEAD_MM == 1.0
    assert factors(straight(lengths), met) == [4.0, 1.0, 1.0, 1.0, 1.0, 1.0, 4.0]


def test_short_stretches_keep_the_feed_around_them() -> None:
    lengths = [20.0, SHORTEST_MM - 0.1, 20.0]
    assert factors(straight(lengths), [6.0, 0.0, 6.0]) == [1.0, 1.0, 1.0]
    lengths = [20.0, 1.1, SHORTEST_MM + 0.1, 1.1, 20.0]
    assert factors(straight(lengths), [0.6, 0.0, 0.0, 0.0, 0.6]) == [2.0, 2.0, 4.0, 2.0, 2.0]


def test_other_feeds_and_rapids_are_left_alone() -> None:
    path = straight([20.0, 20.0, 20.0])
    kind = np.array([CUT, RAPID, CUT], dtype=np.int8)
    path = replace(path, kind=kind, feed=np.array([BALL.feed, np.nan, BALL.feed / 3]))
    found = feeds_met(path, np.zeros(3), BALL, JOB.machine)
    assert found[0] == 4 * BALL.feed
    assert np.isnan(found[1])
    assert found[2] == BALL.feed / 3


def test_no_faster_than_the_machine() -> None:
    slow = replace(JOB.machine, speed=(50.0, 60.0, 40.0))
    assert feeds_met(straight([20.0]), np.zeros(1), BALL, slow)[0] == 50.0


@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    st.lists(
        st.tuples(st.floats(0.01, 30), st.sampled_from([0.0, 0.1, 0.5, 2.0, 7.0])), max_size=40
    )
)
def test_the_thickest_chip_never_passes_the_chip_load(moves: list[tuple[float, float]]) -> None:
    """From the docstring; the layer as it is, and as a bit set too low meets it."""
    path = straight([length for length, _ in moves])
    thickness = np.array([met for _, met in moves])
    factor = feeds_met(path, chips(thickness), BALL, JOB.machine) / BALL.feed
    assert (factor >= 1.0).all()
    assert set(factor.round(9).tolist()) <= {1.0, *FACTORS}
    fast = factor > 1
    assert (factor[fast] * chips(thickness[fast] + LOW_MM) <= 1 + 1e-9).all()


def test_no_moves() -> None:
    assert len(feeds_met(straight([]), np.zeros(0), BALL, JOB.machine)) == 0


FLAT: Stage = next(stage for stage in ladder(JOB) if stage.kind == "rough")
SLOW = JOB.feeds.slot * FLAT.feed


def roughed(width: float, turned: tuple[float, float] = (0.0, 0.0)) -> tuple[Toolpath, Floats]:
    """A way of 80 mm at the slow feed that takes ice so wide, and the feeds it gets.

    turned : from x to x, where it is as wide as the bit
    """
    size, deep, radius = (100.0, 60.0, 20.0), 5.0, FLAT.cutting.radius
    ice = whole_block(size, 0.25)
    y = 30.0 - radius
    heights = ice.heights.copy()
    open_ = ice.grid.y[:, None] > y + radius - 2 * radius + width
    slot = (ice.grid.x >= turned[0]) & (ice.grid.x <= turned[1])
    heights[open_ & ~slot] = 0.0
    path = straight([0.5] * 160, SLOW).moved((10.0, y, size[2] - deep))
    path = replace(path, line=np.arange(160, dtype=np.int32))
    carved = carve(replace(ice, heights=heights), path, FLAT.cutting)
    feeds = slots_met(path, carved.removed, carved.depth, FLAT, JOB.feeds.slot)
    return path, feeds


@pytest.mark.parametrize(("over", "fast"), [(-0.5, True), (0.5, False)])
def test_what_is_no_slot_is_cut_at_the_feed_of_the_stage(over: float, fast: bool) -> None:
    """By definition: ice up to 1.25 stepovers wide, here half a millimetre more or less."""
    path, feeds = roughed(BESIDE * FLAT.stepover + over)
    # at the very beginning the bit comes into the ice from above and takes it all round
    later = path.ends[:, 0] > 10.0 + 3 * FLAT.bit.diameter
    assert (feeds[later] == (FLAT.feed if fast else SLOW)).all()


def test_before_and_behind_a_slot_the_bit_is_slow() -> None:
    path, feeds = roughed(FLAT.stepover, (60.0, 75.0))
    x = path.ends[:, 0]
    assert (feeds[(x > 60.0 - FLAT.cutting.radius) & (x < 75.0)] == SLOW).all()
    assert (feeds[(x > 40.0) & (x < 60.0 - 2 * FLAT.bit.diameter)] == FLAT.feed).all()


def test_ramps_rapids_and_other_feeds_stay_as_they_are() -> None:
    path = straight([20.0] * 4, SLOW)
    ends, feed, kind = path.ends.copy(), path.feed.copy(), path.kind.copy()
    ends[1:, 2] = -1.0
    feed[2], kind[3], feed[3] = 0.7 * SLOW, RAPID, np.nan
    path = replace(path, ends=ends, feed=feed, kind=kind, line=np.arange(4, dtype=np.int32))
    found = slots_met(path, np.zeros(4), np.zeros(4), FLAT, JOB.feeds.slot)
    np.testing.assert_array_equal(found, [FLAT.feed, SLOW, 0.7 * SLOW, np.nan])


def test_chords_of_an_arc_keep_one_feed() -> None:
    """Four moves of one line, of which the third is a slot; then two of their own."""
    path = replace(straight([20.0] * 6, SLOW), line=np.array([1, 1, 1, 1, 2, 3], dtype=np.int32))
    depth = np.full(6, 5.0)
    wide = np.array([1.0, 1.0, FLAT.bit.diameter, 1.0, 1.0, 1.0])
    found = slots_met(path, wide * depth * 20.0, depth, FLAT, JOB.feeds.slot)
    np.testing.assert_array_equal(found, [SLOW] * 4 + [FLAT.feed] * 2)
