"""Pushes on thin walls, against beam theory and places put down by hand.

Outside: bending of a cantilever whose load spreads over a width equal to its height (handbook beam
theory, sigma = 6 F / t^2); the strength is the record's own, checked in tests/ice. The rest is by
definition.
"""

from dataclasses import replace

import numpy as np
import pytest

from icecam.estimate.load import Setting, stage_load
from icecam.estimate.pushes import Push, worst_push
from icecam.estimate.stretches import Taken
from icecam.geometry.walls import Walls
from icecam.ice.constants import ICE_TENSION, SAFETY
from icecam.job.file import load
from icecam.paths.stages import Stage, ladder
from icecam.paths.thin_walls import BESIDE_MM
from icecam.paths.toolpath import CUT, Toolpath

JOB = load(None)
STAGE = ladder(JOB)[1]
CELL_MM, DEPTH_MM, WIDE_MM = 0.3, 4.0, 1.0


def cuts(*rows: float) -> Toolpath:
    """Cuts 20 mm long along X at z = 50, one at each y; each begins where the last one ended."""
    ends = np.array([[x, y, 50.0] for y in rows for x in (20.0, 40.0)])
    return Toolpath(
        start=np.array([20.0, rows[0], 50.0]),
        ends=ends,
        kind=np.full(len(ends), CUT, dtype=np.int8),
        feed=np.full(len(ends), STAGE.feed),
        line=np.arange(len(ends), dtype=np.int32) + 10,
    )


def worst(path: Toolpath, walls: Walls, stage: Stage = STAGE) -> tuple[Push | None, float]:
    """Return the push and the greatest side force of the path, 4 mm deep and 1 mm wide."""
    setting = Setting(stage.bit, JOB.machine.spindle, stage.spindle_rpm, JOB.block.temperature)
    along = path.lengths
    deep = np.where(along > 0, DEPTH_MM, 0.0)
    taken = Taken(along * DEPTH_MM * WIDE_MM, deep, np.ones(len(path)), CELL_MM)
    seconds = np.maximum(along, 0.01) / stage.feed
    found = stage_load(path, seconds, taken, setting)
    return worst_push(found.series, path, stage, walls), found.side_force.high


def wall(thickness: float, y: float, z: float = 50.0) -> Walls:
    """One wall at x = 40 and two heights without."""
    return Walls(
        z=np.array([z + 10.0, z, z - 10.0]),
        thickness=np.array([np.inf, thickness, np.inf]),
        at=np.array([[np.nan] * 2, [40.0, y], [np.nan] * 2]),
        stands=np.array([np.nan, 30.0, np.nan]),
        cell=0.0,
    )


def test_a_thin_wall_beside_the_cut_is_named_with_what_it_bears() -> None:
    """By hand: what bears is tension over safety times t^2 / 6."""
    push, force = worst(cuts(100.0), wall(3.0, 103.0))
    assert push is not None
    assert push.force == force > push.bears
    assert push.bears == pytest.approx(ICE_TENSION.low / SAFETY.value * 9.0 / 6.0)
    assert (push.thickness, push.at, push.line) == (3.0, (40.0, 103.0, 50.0), 11)


def test_a_wall_that_bears_it_is_not_named() -> None:
    _, force = worst(cuts(100.0), wall(3.0, 103.0))
    enough = (6.0 * force * SAFETY.value / ICE_TENSION.low) ** 0.5
    assert worst(cuts(100.0), wall(enough * 1.001, 100.0))[0] is None
    assert worst(cuts(100.0), wall(enough * 0.999, 100.0))[0] is not None


@pytest.mark.parametrize(("more", "named"), [(-0.01, True), (0.01, False)])
def test_a_wall_out_of_reach_is_not_pushed(more: float, named: bool) -> None:
    away = 3.0 / 2 + STAGE.cutting.radius + BESIDE_MM + more
    assert (worst(cuts(100.0), wall(3.0, 100.0 + away))[0] is not None) == named
    assert (worst(cuts(100.0), wall(3.0, 100.0, 45.0 - more))[0] is not None) == named


def test_skin_on_both_sides_helps_the_wall() -> None:
    rough = replace(STAGE, skin=2.0)
    push, _ = worst(cuts(100.0), wall(3.0, 103.0), rough)
    assert push is not None
    assert push.bears == pytest.approx(ICE_TENSION.low / SAFETY.value * 49.0 / 6.0)


def test_the_wall_that_is_worst_off_is_named() -> None:
    """Both are pushed alike, the thinner one bears less; without any ice taken none is."""
    thin, thick = wall(2.0, 101.0, 51.0), wall(3.0, 103.0, 49.0)
    both = replace(
        thin,
        thickness=np.array([3.0, 2.0, np.inf]),
        at=np.array([[40.0, 103.0], [40.0, 101.0], [np.nan] * 2]),
        z=np.array([51.0, 50.0, 40.0]),
        stands=np.array([30.0, 30.0, np.nan]),
    )
    push, _ = worst(cuts(100.0), both)
    assert push is not None
    assert push.thickness == 2.0
    assert worst(cuts(200.0), thick)[0] is None
