"""The stages of a job: which bit, what for, with which feeds and steps. And what each needs."""

import re
from dataclasses import dataclass
from typing import Literal

from icecam.geometry.profile import cutting_end
from icecam.job.bits import tip_size
from icecam.job.records import Bit, Job
from icecam.kernels.profile import Profile
from icecam.paths.finishing import stepover_for
from icecam.paths.step_down import StepDown, chip_at, finishing_depth, step_down
from icecam.units import S_PER_MIN

DEFAULT_RPM = 18000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One bit at work: mm, mm/s."""

    number: int
    kind: Literal["rough", "finish"]
    bit: Bit
    cutting: Profile
    spindle_rpm: float
    chip: float
    """mm a tooth at `feed`, which the machine's speed may hold below what the ice would take."""
    feed: float
    step_down: float
    step_limit: str
    """What allows no deeper step, in words."""
    stepover: float
    skin: float

    @property
    def name(self) -> str:
        """Short name, used for the file as well, so letters and digits alone."""
        words = re.findall(r"[A-Za-z0-9]+", self.bit.name)
        return "-".join([str(self.number), self.kind, *words])


def ladder(job: Job) -> tuple[Stage, ...]:
    """Return the stages of a job: the largest blunt bit roughs, the others finish, large to small.

    A flat or rounded-corner bit is blunt; without one the largest bit roughs. A rack of one bit
    uses it for both.
    """
    blunt = [bit for bit in job.rack if bit.shape in ("flat", "rounded corner")] or list(job.rack)
    first = max(blunt, key=tip_size)
    others = [bit for bit in job.rack if bit is not first] or [first]
    others.sort(key=tip_size, reverse=True)
    stages = [_rough(job, first)]
    stages += [_finish(job, bit, number) for number, bit in enumerate(others, start=2)]
    return tuple(stages)


def _rough(job: Job, bit: Bit) -> Stage:
    stepover = job.roughing.stepover * tip_size(bit)
    return _stage(job, bit, 1, "rough", step_down(job, bit), stepover, job.roughing.skin)


def _finish(job: Job, bit: Bit, number: int) -> Stage:
    stepover = stepover_for(cutting_end(bit), job.quality.scallop)
    return _stage(job, bit, number, "finish", finishing_depth(bit), stepover, 0.0)


def _stage(
    job: Job, bit: Bit, number: int, kind: Literal["rough", "finish"], step: StepDown,
    stepover: float, skin: float,
) -> Stage:  # fmt: skip
    rpm = bit.spindle_rpm or min(
        max(DEFAULT_RPM, job.machine.spindle.least_rpm), job.machine.spindle.most_rpm
    )
    chip = chip_at(bit, job.block.temperature, step.depth)
    feed = min(rpm * bit.flutes * chip / S_PER_MIN, *job.machine.speed[:2])
    return Stage(
        number=number,
        kind=kind,
        bit=bit,
        cutting=cutting_end(bit),
        spindle_rpm=rpm,
        chip=feed * S_PER_MIN / rpm / bit.flutes,
        feed=feed,
        step_down=step.depth,
        step_limit=step.by,
        stepover=stepover,
        skin=skin,
    )
