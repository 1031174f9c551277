"""Heads of files: what the person at the machine must know, and the machine before it moves."""

from dataclasses import dataclass
from typing import Final

from icecam import __version__
from icecam.job.describe import describe
from icecam.job.records import Bit, Job
from icecam.paths.stages import Stage
from icecam.paths.toolpath import Toolpath
from icecam.units import MM3_PER_LITRE, MM_PER_INCH, S_PER_MIN
from post.writer import Header

ROUGH_ARC_MM: Final = 0.05
SKIN_SHARE: Final = 0.05
"""How far arcs may lie from the moves of roughing, and which share of the skin at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What is carved.

    sculpture : name of its file
    gone : mm3 by which the block before carving falls short of a whole one
    """

    job: Job
    sculpture: str
    gone: float


def lift_height(bit: Bit, job: Job) -> float:
    """Height of the tip over the bed at start, end and bit change: as asked, if Z goes there."""
    highest = job.machine.nose_lowest + job.machine.travel[2] - bit.stick_out
    return min(job.block.size[2] + job.feeds.lift, highest)


def _arc_tolerance(stage: Stage, job: Job) -> float:
    """How far an arc may lie from the moves it stands for, mm; 0 if none is wanted.

    Finishing has none: the allowance has no room for them that would spare a line in a hundred.
    """
    if not job.output.arcs or stage.kind == "finish":
        return 0.0
    return min(ROUGH_ARC_MM, SKIN_SHARE * stage.skin)


def header(
    stage: Stage, subject: Subject, path: Toolpath, seconds: float, more: tuple[str, ...] = ()
) -> Header:
    """Return the head of a file.

    path : in work coordinates; seconds : how long it takes; more : said besides, behind the block,
    for `icecam.check` finds the bit between its T number and the block
    """
    job = subject.job
    size = " x ".join(f"{side:.1f}" for side in job.block.size)
    inches = " x ".join(f"{side / MM_PER_INCH:.2f}" for side in job.block.size)
    gone = (
        (
            f"{subject.gone / MM3_PER_LITRE:.1f} litres of the block are gone before, besides a "
            f"margin of {job.block.precut_margin:.1f} mm",
        )
        if job.block.precut.anything
        else ()
    )
    x, y, z = job.block.zero
    lowest, top = float(path.ends[:, 2].min()), job.block.size[2] - z
    hours, rest = divmod(round(seconds / S_PER_MIN), 60)
    return Header(
        comments=(
            f"project {job.project}, {subject.sculpture}, by icecam {__version__}",
            f"stage {stage.number}, {stage.kind}: bit T{stage.number}, {describe(stage.bit)}",
            f"block {size} mm, {inches} in, ice at {job.block.temperature:.1f} C",
            *gone,
            *more,
            f"zero at X {x:.1f} Y {y:.1f} mm of the block's front left corner",
            f"zero at Z {z:.1f} mm over the bed, to be set again with this bit",
            f"lowest tip {lowest:.1f} mm, top of the block {top:.1f} mm over zero",
            f"about {hours} h {rest:02d} min at {stage.spindle_rpm:.0f} rpm",
        ),
        tool=stage.number,
        spindle_rpm=stage.spindle_rpm,
        spindle_start=job.machine.spindle.start,
        clearance_z=max(lift_height(stage.bit, job) - z, float(path.start[2])),
        arc_tolerance=_arc_tolerance(stage, job),
    )
