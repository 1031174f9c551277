"""What a stage may ask of spindle, bit and walls, and the feeds that keep it there.

The planner slows a stage by the same limits that the proof refuses a file by, so what was planned
here is refused only where the slowest feed that still cuts is not slow enough.
"""

from collections.abc import Iterator
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from icecam.estimate.load import Load, Series, Setting, spindle_power_w, stage_load
from icecam.estimate.pushes import borne_beside, worst_push
from icecam.estimate.stretches import Taken
from icecam.geometry.walls import Walls
from icecam.ice.constants import ENERGY_EXPONENT
from icecam.job.energy import energy_of
from icecam.job.records import Job
from icecam.paths.feeds import by_line
from icecam.paths.pieces import numbers_in
from icecam.paths.resting import ALLOWANCE_MM
from icecam.paths.stages import Stage
from icecam.paths.step_down import MOST_BEND_MM, bit_force
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import Carved
from icecam.prove.proof import GOUGE_MM
from icecam.units import S_PER_MIN

SPARE: Final = 0.95
"""Share of a limit that a slower feed is meant for."""
STEP: Final = 0.8
"""Slower feeds are powers of this of the stage's, so that the text holds few F words."""

Floats = NDArray[np.float64]


def most_bend(kind: Literal["rough", "finish"]) -> float:
    """Return how far the tip may give way (mm).

    In roughing as step-downs are chosen. In finishing as far as takes it through the ice that is
    kept between bit and sculpture and no deeper into the sculpture than a cut may go.
    """
    return MOST_BEND_MM if kind == "rough" else GOUGE_MM + ALLOWANCE_MM


def load_of(stage: Stage, path: Toolpath, carved: Carved, seconds: Floats, job: Job) -> Load:
    """Return what a stage asks of spindle and bit.

    seconds : (n,) of each move, as the machine really runs it
    """
    setting = Setting(
        bit=stage.bit,
        spindle=job.machine.spindle,
        spindle_rpm=stage.spindle_rpm,
        temperature=job.block.temperature,
        energy=energy_of(job),
    )
    taken = Taken(carved.removed, carved.depth, carved.chip, carved.ice.grid.pitch)
    return stage_load(path, seconds, taken, setting)


def broken_bounds(
    series: Series, path: Toolpath, stage: Stage, job: Job, walls: Walls
) -> Iterator[str]:
    """Say which limits of spindle, bit and walls a stage breaks, each by its worst place.

    By the high end of what cutting may ask, and the least that a wall may bear.

    Parameters
    ----------
    series : load of the stretches of `path`
    walls : the thinnest of the sculpture, or none
    """

    def worst(figure: Floats) -> tuple[float, int]:
        k = int(np.argmax(np.where(series.telling, figure, -1.0)))
        return float(figure[k]), int(path.line[series.stretches.last[k] - 1])

    if not series.telling.any():
        return
    gives = spindle_power_w(job.machine.spindle, stage.spindle_rpm)
    power, line = worst(series.power.high)
    if power > gives:
        yield (
            f"cutting may ask for {power:.0f} W (line {line}), {power - gives:.0f} W more than the "
            f"{gives:.0f} W that the spindle gives at {stage.spindle_rpm:.0f} rpm; lower "
            "roughing.step_down, roughing.stepover or rack.chip_load, or take a smaller bit"
        )
    force, line = worst(series.side_force.high)
    bears = bit_force(stage.bit)
    if force > bears:
        yield (
            f"the bit is pushed with up to {force:.1f} N (line {line}), {force - bears:.1f} N more "
            f"than the {bears:.1f} N it surely bears; set it out less (rack.stick_out), lower "
            "rack.chip_load or take a thicker one"
        )
    bend, line = worst(series.deflection.high)
    most = most_bend(stage.kind)
    if bend > most:
        yield (
            f"the tip may give way {bend:.3f} mm (line {line}), {bend - most:.3f} mm more than the "
            f"{most:.2f} mm let pass; set the bit out less (rack.stick_out), lower rack.chip_load "
            "or take a thicker one"
        )
    push = worst_push(series, path, stage, walls)
    if push is not None:
        x, y, z = push.at
        yield (
            f"the bit may push with {push.force:.1f} N (line {push.line}) on the "
            f"{push.thickness:.1f} mm wall at x {x:.0f}, y {y:.0f}, z {z:.0f} mm, "
            f"{push.force - push.bears:.1f} N more than the {push.bears:.1f} N it surely bears; "
            "thicken it in the model, change roughing.skin or lower rack.chip_load"
        )


def kept_feeds(
    series: Series, path: Toolpath, stage: Stage, job: Job, walls: Walls
) -> Floats | None:
    """Return feeds (n,) mm/s that keep the limits, so far as chips stay thick enough to cut.

    None if nothing is to be slowed: all is within the limits, or as slow as edges do not rub.

    Notes
    -----
    Force and power grow with the feed to the power of one less that by which the specific energy
    falls with the chip; where chips are so thin that it no longer falls, with the feed itself, so
    that a feed by the first is slow enough.
    """
    gives = spindle_power_w(job.machine.spindle, stage.spindle_rpm)
    force, beside = series.side_force.high, borne_beside(series, path, stage, walls)
    share = np.maximum.reduce(
        [
            series.power.high / gives,
            force / bit_force(stage.bit),
            series.deflection.high / most_bend(stage.kind),
            force / beside.force,
        ]
    )
    feed, least = path.feed.copy(), _least_feed(stage, job)
    for k in np.flatnonzero(series.telling & (share > 1.0)):
        first, last = int(series.stretches.first[k]), int(series.stretches.last[k])
        reached = series.stretches.length[k] / series.stretches.seconds[k]
        wanted = reached * (SPARE / share[k]) ** (1 / (1 - ENERGY_EXPONENT.value))
        steps = np.ceil(np.log(wanted / stage.feed) / np.log(STEP) - 1e-9)
        slow = max(stage.feed * STEP**steps, least)
        feed[first:last] = np.minimum(feed[first:last], slow)
    feed = by_line(feed, path.line)
    return None if np.array_equal(feed, path.feed, equal_nan=True) else feed


def too_hard(
    path: Toolpath, carved: Carved, stage: Stage, job: Job, walls: Walls
) -> NDArray[np.intp]:
    """Return the moves that push on a wall more than it surely bears, however slow they are."""
    if np.isinf(walls.thickness).all():
        return np.zeros(0, dtype=np.intp)
    seconds = path.lengths / _least_feed(stage, job)
    series = load_of(stage, path, carved, seconds, job).series
    bears = borne_beside(series, path, stage, walls).force
    beyond = series.telling & (series.side_force.high > bears)
    stretches = series.stretches
    return numbers_in(stretches.first[beyond], stretches.last[beyond])[0]


def _least_feed(stage: Stage, job: Job) -> float:
    """Return the slowest feed (mm/s) at which edges do not rub."""
    return job.ice.least_chip * stage.bit.flutes * stage.spindle_rpm / S_PER_MIN
