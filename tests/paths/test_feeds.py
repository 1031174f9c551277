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
from icecam.paths.feeds import AHEAD_MM, FACTORS, LOW_MM, SHORTEST_MM, feeds_met
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
