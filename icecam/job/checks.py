"""What must be true between the values of a job: block, quality, spindle and reach.

A job of the right types goes in, one `Problem` for each contradiction comes out. Bits by
themselves are looked at in `icecam.job.bits`.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import inf

from icecam.errors import IcecamError
from icecam.ice.calibration import energy_of_reading
from icecam.ice.cutting import chip_load
from icecam.job.bits import bit_problems, tip_size
from icecam.job.energy import power_reading
from icecam.job.problem import Problem, Where, figure
from icecam.job.records import Bit, Job
from icecam.job.sawn import sawn_problems

_AXES = "XYZ"
LEAST_ENERGY, MOST_ENERGY = 0.1, 100.0
"""MPa; sanity (no source): slips of a unit lie outside, the usual band of 1.6 to 10 well inside."""
_ROUNDING = 1e-6
"""mm; sizes given in inches may be off by a few units in the last place."""


def problems(job: Job) -> tuple[Problem, ...]:
    """Return every contradiction in a job, in the order of the file.

    >>> from icecam.job.file import load
    >>> problems(load(None))
    ()
    """
    return (
        *_block(job),
        *_zero(job),
        *sawn_problems(job.block),
        *_ice(job),
        *_freezer(job),
        *_fit(job),
        *_quality(job),
        *_travel(job),
        *_spindle(job),
        *_names(job),
        *(problem for place, bit in enumerate(job.rack) for problem in _bit(job, place, bit)),
    )


def _block(job: Job) -> Iterator[Problem]:
    """Hold the block against its floor and the machine's travel."""
    block, travel = job.block, job.machine.travel
    if block.floor >= block.size[2]:
        yield Problem(
            where=("block", "floor"),
            text=f"is {figure(block.floor)} mm, as high as the block of "
            f"{figure(block.size[2])} mm or higher; give less than the block's height",
        )
    for axis in (0, 1):
        corner = block.corner[axis] if block.corner else 0.0
        over = corner + block.size[axis] - travel[axis]
        if over > _ROUNDING:
            stands = f" with its corner at {figure(corner)} mm" if block.corner else ""
            move = ", move block.corner" if block.corner else ""
            yield Problem(
                where=("block", "size", axis),
                text=f"is {figure(block.size[axis])} mm{stands} and passes the machine's "
                f"{_AXES[axis]} travel of {figure(travel[axis])} mm by {figure(over)} mm; "
                f"take a smaller block{move} or set machine.travel right",
            )


def _zero(job: Job) -> Iterator[Problem]:
    """Refuse a work zero that the axes cannot come to: it could not be set."""
    block, travel = job.block, job.machine.travel
    for axis in (0, 1):
        middle = max(travel[axis] - block.size[axis], 0.0) / 2
        corner = block.corner[axis] if block.corner else middle
        at = corner + block.zero[axis]
        out = max(-at, at - travel[axis])
        if out > _ROUNDING:
            yield Problem(
                where=("block", "zero", axis),
                text=f"is {figure(block.zero[axis])} mm and lies {figure(out)} mm outside the "
                f"machine's {_AXES[axis]} travel, so it cannot be touched off; give a place that "
                "the axis reaches, seen from the block's front left corner",
            )


def _ice(job: Job) -> Iterator[Problem]:
    """Thresholds in order; each reading tells something likely."""
    if job.ice.too_cold > job.ice.too_warm:
        yield Problem(
            where=("ice", "too_cold"),
            text=f"is {figure(job.ice.too_cold)} C, above ice.too_warm of "
            f"{figure(job.ice.too_warm)} C; give the colder one here",
        )
    for place, reading in enumerate(job.ice.calibrate):
        where: Where = ("ice", "calibrate", place)
        try:
            energy = energy_of_reading(power_reading(reading)).best
        except IcecamError as error:
            yield Problem(where=where, text=f"cannot be used: {error}; give what was read")
            continue
        if not LEAST_ENERGY <= energy <= MOST_ENERGY:
            yield Problem(
                where=where,
                text=f"gives a cutting energy of {figure(energy)} MPa, no ice lies outside "
                f"{LEAST_ENERGY:g} to {MOST_ENERGY:g}; set watts, feed, depth and width right",
            )


def _freezer(job: Job) -> Iterator[Problem]:
    """Leave time to carve after the spindle is warm."""
    freezer = job.freezer
    if freezer.warm_up >= freezer.working_day:
        yield Problem(
            where=("freezer", "warm_up"),
            text=f"is {figure(freezer.warm_up)} s and takes the whole working day of "
            f"{figure(freezer.working_day)} s; give less, or a longer freezer.working_day",
        )


def _fit(job: Job) -> Iterator[Problem]:
    """Leave room for a fitted sculpture inside its margin."""
    if not job.sculpture.fit:
        return
    margin, block = job.sculpture.margin, job.block
    room = (block.size[0] - 2 * margin, block.size[1] - 2 * margin)
    if min(*room, block.size[2] - block.floor - margin) <= 0:
        yield Problem(
            where=("sculpture", "margin"),
            text=f"is {figure(margin)} mm and leaves no room in the block for a fitted "
            "sculpture; give a smaller margin",
        )


def _quality(job: Job) -> Iterator[Problem]:
    """Hold ridges, ice left and cells against each other, the bits and the controller."""
    quality, machine = job.quality, job.machine
    if quality.detail < quality.scallop:
        yield Problem(
            where=("quality", "detail"),
            text=f"is {figure(quality.detail)} mm, below quality.scallop of "
            f"{figure(quality.scallop)} mm; raise detail to it or lower the scallop",
        )
    if machine.corner_tolerance > quality.detail:
        yield Problem(
            where=("machine", "corner_tolerance"),
            text=f"is {figure(machine.corner_tolerance)} mm, above quality.detail of "
            f"{figure(quality.detail)} mm: corners would be cut by more than a bit may leave; "
            "set the controller closer, or give more detail",
        )
    finest = min(job.rack, key=tip_size)
    if quality.cell is not None and quality.cell > tip_size(finest) + _ROUNDING:
        yield Problem(
            where=("quality", "cell"),
            text=f'is {figure(quality.cell)} mm, wider than the tip of "{finest.name}", '
            f"{figure(tip_size(finest))} mm, whose cuts the proof would miss; give no more than "
            "that",
        )
    for bit in job.rack:
        tip = bit.diameter / 2 if bit.shape in ("ball", "tapered ball") else inf
        if quality.scallop > tip + _ROUNDING:
            yield Problem(
                where=("quality", "scallop"),
                text=f'is {figure(quality.scallop)} mm, above the tip radius of "{bit.name}", '
                f"{figure(tip)} mm, which leaves no ridge as high; give no more than that",
            )


def _travel(job: Job) -> Iterator[Problem]:
    """Keep the height at start and end over that of ways between cuts."""
    feeds = job.feeds
    if feeds.lift < feeds.clearance:
        yield Problem(
            where=("feeds", "lift"),
            text=f"is {figure(feeds.lift)} mm, below feeds.clearance of {figure(feeds.clearance)} "
            "mm; raise lift to it or lower the clearance",
        )


def _spindle(job: Job) -> Iterator[Problem]:
    """Speeds in order, power over rising speed."""
    spindle = job.machine.spindle
    where: Where = ("machine", "spindle")
    if spindle.least_rpm > spindle.most_rpm:
        yield Problem(
            where=(*where, "least_rpm"),
            text=f"is {figure(spindle.least_rpm)}, above most_rpm of "
            f"{figure(spindle.most_rpm)}; give the lower speed first",
        )
    for place, (before, after) in enumerate(pairwise(spindle.power), start=1):
        if after[0] <= before[0]:
            yield Problem(
                where=(*where, "power", place),
                text=f"starts at {figure(after[0])} turns a minute, not above the "
                f"{figure(before[0])} before it; order the pairs by rising speed",
            )


def _names(job: Job) -> Iterator[Problem]:
    """Name each bit once: a stage is called after its bit."""
    first: dict[str, int] = {}
    for place, bit in enumerate(job.rack):
        if bit.name in first:
            yield Problem(
                where=("rack", place, "name"),
                text=f'is "{bit.name}", the name of bit {first[bit.name] + 1} too; '
                "give each bit a name of its own",
            )
        first.setdefault(bit.name, place)


def _bit(job: Job, place: int, bit: Bit) -> Iterator[Problem]:
    """Look at a bit by itself, then at how it stands in this machine over this block."""
    yield from bit_problems(bit, ("rack", place))
    yield from _chip(job, place, bit)
    yield from _in_spindle(job, place, bit)
    yield from _reach(job, place, bit)


def _chip(job: Job, place: int, bit: Bit) -> Iterator[Problem]:
    """Refuse chips that neither the flutes nor the ice take."""
    if bit.chip_load is None:
        return
    most = chip_load(tip_size(bit), job.block.temperature).high
    if bit.chip_load > most + _ROUNDING:
        yield Problem(
            where=("rack", place, "chip_load"),
            text=f'("{bit.name}") is {figure(bit.chip_load)} mm, more than the {figure(most)} mm a '
            f"tooth that a bit of {figure(tip_size(bit))} mm takes in ice at "
            f"{figure(job.block.temperature)} C; give no more than that",
        )


def _in_spindle(job: Job, place: int, bit: Bit) -> Iterator[Problem]:
    """Nut and speed as the spindle has them."""
    spindle = job.machine.spindle
    if bit.nut > spindle.body:
        yield Problem(
            where=("rack", place, "nut"),
            text=f'("{bit.name}") is {figure(bit.nut)} mm, wider than the spindle\'s body of '
            f"{figure(spindle.body)} mm; set the nut or machine.spindle.body right",
        )
    speed = bit.spindle_rpm
    if speed is not None and not spindle.least_rpm <= speed <= spindle.most_rpm:
        yield Problem(
            where=("rack", place, "spindle_rpm"),
            text=f'("{bit.name}") is {figure(speed)} turns a minute, but the spindle runs from '
            f"{figure(spindle.least_rpm)} to {figure(spindle.most_rpm)}; give a speed between",
        )


def _reach(job: Job, place: int, bit: Bit) -> Iterator[Problem]:
    """Down to the floor and up over the block, by the travel of Z.

    The nut's face goes from `nose_lowest` to `nose_lowest + travel`; the tip is `stick_out` below.
    """
    block, lowest = job.block, job.machine.nose_lowest
    highest = lowest + job.machine.travel[2]
    where: Where = ("rack", place, "stick_out")
    start = f'("{bit.name}") is {figure(bit.stick_out)} mm'
    short = lowest - bit.stick_out - block.floor
    if short > _ROUNDING:
        yield Problem(
            where=where,
            text=f"{start}, so its tip ends {figure(short)} mm above the block's floor with Z at "
            f"its lower end; set it out at least {figure(lowest - block.floor)} mm or raise "
            f"block.floor to {figure(lowest - bit.stick_out)} mm",
        )
    needed = block.size[2] + job.feeds.clearance + bit.stick_out
    if needed - highest > _ROUNDING:
        yield Problem(
            where=where,
            text=f"{start}; over a block of {figure(block.size[2])} mm with "
            f"{figure(job.feeds.clearance)} mm of clearance the nut must rise to "
            f"{figure(needed)} mm above the bed, {figure(needed - highest)} mm more than Z "
            "allows; set the bit out less or carve a lower block",
        )
