"""What a stage may ask of spindle, bit and walls: just inside, just beyond, each alone; slowed.

Limits are set from what a synthetic cut was found to ask, a millionth to either side. Outside:
bending of a cantilever (sigma = 6 F / t^2, handbook beam theory), arithmetic of powers.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.bounds import broken_bounds, kept_feeds, most_bend, too_hard
from icecam.estimate.load import Load, Setting, stage_load
from icecam.estimate.stretches import Taken
from icecam.geometry.field import Grid, HeightField
from icecam.geometry.walls import Walls, no_walls
from icecam.ice.constants import ICE_TENSION, SAFETY
from icecam.job.file import load
from icecam.job.records import Bit, Job
from icecam.paths.bending import tip_compliance
from icecam.paths.stages import Stage, ladder
from icecam.paths.step_down import bit_force
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import Carved

JOB = load(None)
ROUGH, FINISH = ladder(JOB)[:2]
DEPTH_MM, WIDE_MM = 10.0, 6.0
HARDER_LINE = 14
"""Of `path`: the row in which twice as much is taken."""


def path(feed: float) -> Toolpath:
    """Five cuts of 20 mm at z = 50, with a way over the ice in the middle, from line 10 on."""
    ends = np.array([[20.0 * nth, 0.0, 50.0] for nth in range(1, 7)])
    kind = np.array([CUT, CUT, RAPID, CUT, CUT, CUT], dtype=np.int8)
    return Toolpath(
        start=np.array([0.0, 0.0, 50.0]),
        ends=ends,
        kind=kind,
        feed=np.where(kind == CUT, feed, np.nan),
        line=np.arange(6, dtype=np.int32) + 10,
    )


def load_of_cuts(stage: Stage, job: Job = JOB, feeds: Sequence[float] | None = None) -> Load:
    """Load of the cuts at the feeds of the path, or others."""
    way = path(stage.feed)
    deep = np.where(way.line == HARDER_LINE, 2 * DEPTH_MM, DEPTH_MM) * (way.kind == CUT)
    taken = Taken(way.lengths * deep * WIDE_MM, deep, np.ones(6), 0.3)
    speed = np.nan_to_num(way.feed if feeds is None else np.array(feeds), nan=200.0)
    setting = Setting(stage.bit, job.machine.spindle, stage.spindle_rpm, job.block.temperature)
    return stage_load(way, way.lengths / speed, taken, setting)


def said(stage: Stage, job: Job = JOB, walls: Walls | None = None) -> list[str]:
    found = load_of_cuts(stage, job)
    walls = no_walls() if walls is None else walls
    return list(broken_bounds(found.series, path(stage.feed), stage, job, walls))


def with_power(watts: float) -> Job:
    spindle = replace(JOB.machine.spindle, power=((18000.0, watts),))
    return replace(JOB, machine=replace(JOB.machine, spindle=spindle))


def bent(bit: Bit, bend: float, force: float) -> Bit:
    """Return the bit set out so far that its tip gives way by `bend` under a force, by halving."""
    low, high = bit.flute_length, 2000.0
    for _ in range(80):
        middle = (low + high) / 2
        longer = replace(bit, stick_out=middle)
        low, high = (middle, high) if force * tip_compliance(longer) < bend else (low, middle)
    return replace(bit, stick_out=low)


def wall(thickness: float) -> Walls:
    """One wall beside the harder cut, whose measure is exact."""
    return Walls(
        z=np.array([60.0, 50.0, 40.0]),
        thickness=np.array([np.inf, thickness, np.inf]),
        at=np.array([[np.nan] * 2, [95.0, 7.0], [np.nan] * 2]),
        stands=np.array([np.nan, 30.0, np.nan]),
        cell=0.0,
    )


@pytest.mark.parametrize("stage", [ROUGH, FINISH], ids=["rough", "finish"])
def test_a_usual_cut_breaks_nothing(stage: Stage) -> None:
    assert said(stage) == []


@pytest.mark.parametrize("stage", [ROUGH, FINISH], ids=["rough", "finish"])
def test_a_spindle_a_little_too_weak(stage: Stage) -> None:
    peak = load_of_cuts(stage).peak.high
    assert said(stage, with_power(peak * (1 + 1e-6))) == []
    (words,) = said(stage, with_power(peak - 5.0))
    assert f"may ask for {peak:.0f} W (line {HARDER_LINE}), 5 W more than the" in words
    assert "lower roughing.step_down" in words


@pytest.mark.parametrize("stage", [ROUGH, FINISH], ids=["rough", "finish"])
def test_a_bit_a_little_too_long(stage: Stage) -> None:
    """Roughing as step-downs are chosen; finishing a cut's depth and the ice kept in between."""
    assert most_bend(stage.kind) == pytest.approx(
        {"rough": 0.05, "finish": 0.05 + 0.03}[stage.kind]
    )
    force = load_of_cuts(stage).side_force.high
    inside = replace(stage, bit=bent(stage.bit, most_bend(stage.kind) - 1e-6, force))
    beyond = replace(stage, bit=bent(stage.bit, most_bend(stage.kind) + 0.01, force))
    assert said(inside) == []
    (words,) = said(beyond)
    assert f"(line {HARDER_LINE}), 0.010 mm more than the {most_bend(stage.kind):.2f} mm" in words
    assert "rack.stick_out" in words


def test_a_bit_a_little_too_thin_to_bear_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Solid carbide bends beyond what is let pass long before it breaks: here it may bend."""
    monkeypatch.setattr("icecam.bounds.most_bend", lambda _kind: np.inf)
    bit = replace(FINISH.bit, flute_length=70.0, shank=4.0, stick_out=80.0)
    stage = replace(FINISH, bit=bit)
    force, bears = load_of_cuts(stage).side_force.high, bit_force(bit)
    assert force < bears
    assert said(stage) == []
    while force < bears:
        bit = replace(bit, shank=bit.shank * 0.9)
        bears = bit_force(bit)
    (words,) = said(replace(FINISH, bit=bit))
    assert f"{force:.1f} N (line {HARDER_LINE}), {force - bears:.1f} N more than" in words


@pytest.mark.parametrize("stage", [ROUGH, FINISH], ids=["rough", "finish"])
def test_a_wall_a_little_too_thin(stage: Stage) -> None:
    """Most force on least strength over safety, with the skin that roughing leaves."""
    force = load_of_cuts(stage).side_force.high
    needed = (6 * force * SAFETY.value / ICE_TENSION.low) ** 0.5 - 2 * stage.skin
    assert said(stage, walls=wall(needed * 1.0001)) == []
    (words,) = said(stage, walls=wall(needed * 0.98))
    assert f"may push with {force:.1f} N (line {HARDER_LINE})" in words
    assert "surely bears; thicken it" in words


def test_a_push_that_no_feed_makes_small_enough_is_known_by_its_moves() -> None:
    """What asks too much at the slowest feed that cuts stays out; the rest is slowed."""
    slow = [9.0] * 6
    force = load_of_cuts(FINISH, feeds=slow).side_force.high
    deep = np.where(path(1.0).line == HARDER_LINE, 2 * DEPTH_MM, DEPTH_MM) * (path(1.0).kind == CUT)
    carved = Carved(
        ice=HeightField(grid=Grid(0.0, 0.0, 0.3, 2, 2), heights=np.zeros((2, 2))),
        removed=path(1.0).lengths * deep * WIDE_MM,
        depth=deep,
        chip=np.ones(6),
        rapid_depth=np.zeros(6),
        contact_depth=np.zeros(6),
    )
    needed = (6 * force * SAFETY.value / ICE_TENSION.low) ** 0.5
    way = path(FINISH.feed)

    def out(walls: Walls) -> NDArray[np.int32]:
        return way.line[too_hard(way, carved, FINISH, JOB, walls)]

    assert len(out(wall(needed * 1.0001))) == len(out(no_walls())) == 0
    np.testing.assert_array_equal(out(wall(needed * 0.98)), [HARDER_LINE])
    series = load_of_cuts(FINISH).series
    feeds = kept_feeds(series, way, FINISH, JOB, wall(needed * 1.05))
    assert feeds is not None
    kept = load_of_cuts(FINISH, feeds=feeds.tolist())
    again = replace(way, feed=feeds)
    assert list(broken_bounds(kept.series, again, FINISH, JOB, wall(needed * 1.05))) == []


def test_where_it_is_too_much_the_feed_is_lower_and_enough() -> None:
    """Only the line that asks too much is slowed, once is enough, and the rest stays as it was."""
    peak = load_of_cuts(ROUGH).peak.high
    job, way = with_power(0.8 * peak), path(ROUGH.feed)
    series = load_of_cuts(ROUGH, job).series
    feeds = kept_feeds(series, way, ROUGH, job, no_walls())
    assert feeds is not None
    slow = way.line == HARDER_LINE
    assert np.array_equal(feeds[~slow], way.feed[~slow], equal_nan=True)
    share = feeds[slow][0] / ROUGH.feed
    assert share in [pytest.approx(0.8**power) for power in range(1, 9)]
    found = load_of_cuts(ROUGH, job, feeds.tolist())
    assert 0.6 < found.peak.high / (0.8 * peak) <= 1
    again = replace(way, feed=feeds)
    assert kept_feeds(found.series, again, ROUGH, job, no_walls()) is None
    assert list(broken_bounds(found.series, again, ROUGH, job, no_walls())) == []


def test_no_slower_than_an_edge_that_cuts() -> None:
    """0.015 mm by two flutes at 18000 a minute are 9 mm/s; then it is refused."""
    job, way = with_power(1.0), path(ROUGH.feed)
    feeds = kept_feeds(load_of_cuts(ROUGH, job).series, way, ROUGH, job, no_walls())
    assert feeds is not None
    assert feeds[way.kind == CUT] == pytest.approx(9.0)
    found = load_of_cuts(ROUGH, job, feeds.tolist())
    again = replace(way, feed=feeds)
    assert kept_feeds(found.series, again, ROUGH, job, no_walls()) is None
    assert "W that the spindle gives" in next(
        broken_bounds(found.series, again, ROUGH, job, no_walls())
    )


def test_a_line_has_one_feed() -> None:
    """The chords of an arc share a line, and what one of them needs holds for all."""
    job = with_power(0.8 * load_of_cuts(ROUGH).peak.high)
    way = replace(path(ROUGH.feed), line=np.array([10, 10, 11, 12, 12, 12], dtype=np.int32))
    feeds = kept_feeds(load_of_cuts(ROUGH, job).series, way, ROUGH, job, no_walls())
    assert feeds is not None
    assert feeds[:2] == pytest.approx(ROUGH.feed)
    assert feeds[3] == feeds[4] == feeds[5] < ROUGH.feed


def test_what_is_within_the_limits_is_left_alone() -> None:
    found = load_of_cuts(ROUGH)
    assert kept_feeds(found.series, path(ROUGH.feed), ROUGH, JOB, no_walls()) is None
