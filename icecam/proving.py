"""A stage as its text says: the block carved by it, what it asks of the machine, what it did.

Takes text that was read back, or made elsewhere; gives what the proof says of it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

from icecam.bounds import broken_bounds, load_of
from icecam.estimate.load import Load
from icecam.estimate.runtime import StageSeconds, runtime, stage_seconds
from icecam.geometry.field import HeightField
from icecam.geometry.profile import cylinders
from icecam.geometry.walls import Walls
from icecam.job.bits import tip_size
from icecam.job.records import Job
from icecam.paths.stages import Stage
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import GRAZE_MM, Carved, carve
from icecam.prove.grooves import Groove, deepest_groove
from icecam.prove.limits import broken_limits
from icecam.prove.proof import GOUGE_MM, RAPID_MM, Gouge
from post import reader


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextFile:
    """A file for the machine; `foreign`: made elsewhere, so its numbers may be of any form."""

    name: str
    text: bytes
    unit: str
    foreign: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StageResult:
    """What a stage does by its text read back; `path` and `planned` in block coordinates.

    arcs : how many moves of the text are arcs
    """

    stage: Stage
    planned: Toolpath
    file: TextFile
    path: Toolpath
    arcs: int
    carved: Carved
    seconds: StageSeconds
    load: Load
    gouge: Gouge
    groove: Groove | None
    limits: tuple[str, ...]

    @property
    def rapid_hits(self) -> int:
        """Rapids that would run through ice."""
        return int((self.carved.rapid_depth > RAPID_MM).sum())

    @property
    def contacts(self) -> int:
        """Moves in which shank, nut or spindle would touch ice."""
        return int((self.carved.contact_depth > GRAZE_MM).sum())

    @property
    def clean(self) -> bool:
        """Whether nothing in it would harm the sculpture, the bit or the machine."""
        faults = self.rapid_hits or self.contacts or self.limits
        return not faults and self.gouge.depth <= GOUGE_MM


class Held(NamedTuple):
    """What a carved block is held against.

    gouge : finds the deepest cut into the sculpture in the ice that is left; walls : its thinnest
    """

    gouge: Callable[[HeightField], Gouge]
    walls: Walls


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """A stage as its text was read, and the block carved by it; see `StageResult`."""

    stage: Stage
    planned: Toolpath
    file: TextFile
    program: reader.Program
    path: Toolpath
    carved: Carved


class Asked(NamedTuple):
    """What a stage asks of the machine: time, and load on spindle and bit."""

    seconds: StageSeconds
    load: Load


def carved_by(
    stage: Stage,
    planned: Toolpath,
    file: TextFile,
    program: reader.Program,
    job: Job,
    ice: HeightField,
) -> Tried:
    """Carve the block by a stage as it was read."""
    path = program.toolpath.moved(job.block.zero)
    carved = carve(ice, path, stage.cutting, cylinders(stage.bit, job.machine.spindle.body))
    return Tried(stage=stage, planned=planned, file=file, program=program, path=path, carved=carved)


def with_feeds(
    tried: Tried, planned: Toolpath, file: TextFile, program: reader.Program, job: Job
) -> Tried:
    """Return a stage that was carved, as it was read with other feeds.

    Raises
    ------
    AssertionError : it goes another way, so that other ice would be carved
    """
    path = program.toolpath.moved(job.block.zero)
    if not path.goes_as(tried.path):
        raise AssertionError(f"{file.name} goes another way with other feeds")
    return replace(tried, planned=planned, file=file, program=program, path=path)


def asked_by(tried: Tried, job: Job) -> Asked:
    """Return the time and the load of a stage."""
    stage, path, program = tried.stage, tried.path, tried.program
    run = runtime(path, job.machine)
    seconds = stage_seconds(
        run,
        path,
        dwells=sum(event.value for event in program.events if event.kind == "dwell"),
        bit_change=job.machine.bit_change if stage.number > 1 else 0.0,
    )
    return Asked(seconds, load_of(stage, path, tried.carved, run.seconds, job))


def judged(tried: Tried, asked: Asked, ice: HeightField, job: Job, held: Held) -> StageResult:
    """Hold the block that a stage leaves against the sculpture, and the stage against its limits.

    ice : the block before it
    """
    stage, path, carved, program = tried.stage, tried.path, tried.carved, tried.program
    spindle = [(event.before, event.value) for event in program.events if event.kind == "spindle"]
    return StageResult(
        stage=stage,
        planned=tried.planned,
        file=tried.file,
        path=path,
        arcs=0 if path.arcs is None else len(path.arcs.moves),
        carved=carved,
        seconds=asked.seconds,
        load=asked.load,
        gouge=held.gouge(carved.ice),
        groove=deepest_groove(ice, carved.ice, tip_size(stage.bit)),
        limits=(
            *broken_limits(path, spindle, stage.bit, job.block, job.machine),
            *broken_bounds(asked.load.series, path, stage, job, held.walls),
        ),
    )


def proven_stage(
    stage: Stage,
    planned: Toolpath,
    file: TextFile,
    program: reader.Program,
    job: Job,
    ice: HeightField,
    held: Held,
) -> StageResult:
    """Carve the block by a stage as it was read, and judge what it did."""
    tried = carved_by(stage, planned, file, program, job, ice)
    return judged(tried, asked_by(tried, job), ice, job, held)
