"""Cut files of any origin, run on the block of a job and proven as our own are.

Takes texts in the order they run and the bits that cut them, gives what each does to the ice. With
a sculpture they are held against it; without one only rapids, contacts and limits are looked at,
and the record says so by its type.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from icecam.errors import JobError, TextError
from icecam.geometry.field import HeightField, Heights
from icecam.geometry.precut import ice_before, read_remains, volume_gone
from icecam.geometry.walls import Walls, no_walls
from icecam.job.describe import describe
from icecam.job.records import Bit, Job
from icecam.memory import (
    Sizes,
    block_sizes,
    check_memory,
    check_texts,
    sizes_of,
    stretches_of,
)
from icecam.paths.finish_stage import free_tips
from icecam.paths.resting import near_sculpture, resting_of
from icecam.paths.stages import Stage, ladder
from icecam.paths.step_down import walls_beside
from icecam.paths.toolpath import CUT
from icecam.plan import Result, Say, Scene, held_against
from icecam.prove.carving import cell_for, whole_block
from icecam.prove.limits import SLACK_MM
from icecam.prove.proof import Gouge, closed_by, ice_left
from icecam.proving import Held, StageResult, TextFile, proven_stage
from icecam.units import S_PER_MIN
from post import dialect as dialects
from post import reader
from post.comments import cleaned

_COMMENT: Final = re.compile(r"\(([^)\n]*)\)|;([^\n]*)")
_OURS: Final = re.compile(r"stage \d+, (rough|finish): bit T\d+, (.{1,200}?) block [\d.]+ x")
"""What the head of our own files says of their bit, its comments put together."""


class Part(NamedTuple):
    """A file, or what lies between two bit changes of one; `nth` counts from 0 in its file.

    told : kind and description of its bit as our own files say them, else None
    changed : sentences that speak against its file before it is looked at
    """

    file: TextFile
    program: reader.Program
    nth: int
    told: tuple[str, str] | None
    changed: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Checked(Result):
    """Files of any origin, held against a sculpture."""

    @property
    def faultless(self) -> bool:
        """Whether nothing speaks against them."""
        return self.clean

    def file_name(self, stage: StageResult) -> str:
        """Name of a stage's file, as it was given: nothing is renamed."""
        return stage.file.name


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bare:
    """A block without a sculpture; `ice` before carving, with its margin on."""

    job: Job
    ice: HeightField

    @property
    def gone(self) -> float:
        """Volume (mm3) by which the ice falls short of a whole block."""
        return volume_gone(self.ice, self.job.block.size)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BareResult:
    """Files that were held against no sculpture: their `gouge` and gouges' places say nothing."""

    scene: Bare
    stages: tuple[StageResult, ...]
    ice: HeightField

    @property
    def faultless(self) -> bool:
        """Whether no rapid, contact or limit speaks against them; it does not make them clean."""
        return all(stage.clean for stage in self.stages)

    @property
    def walls(self) -> Walls:
        """Return none: there is no sculpture to have any."""
        return no_walls()

    def file_name(self, stage: StageResult) -> str:
        """Name of a stage's file."""
        return stage.file.name


def bare_scene(job: Job) -> Bare:
    """Return the block of a job as it lies on the bed.

    Raises
    ------
    JobError : what the job says of the block before carving cannot be, or too many cells
    """
    check_memory(block_sizes(job, cell_for(job)))
    whole = whole_block(job.block.size, cell_for(job))
    return Bare(job=job, ice=ice_before(read_remains(job.block), whole))


def read_parts(
    files: Sequence[Path], job: Job, changed: Sequence[tuple[str, str]] = ()
) -> tuple[Part, ...]:
    """Read files in the order given; one with bit changes gives a part for each bit.

    changed : names of files and a sentence that speaks against each

    Raises
    ------
    TextError : a file that cannot be read, or a line that is not understood; files too long
    """
    check_texts([path for path in files if path.is_file()])
    dwell_unit = dialects.load(job.output.dialect).dwell_unit
    twice = {name for name, count in Counter(path.name for path in files).items() if count > 1}
    parts: list[Part] = []
    for path in files:
        name = str(path) if path.name in twice else path.name
        text = _bytes(path)
        program = reader.read(text, name=name, dwell_unit=dwell_unit)
        file = TextFile(name=name, text=text, unit=program.unit, foreign=True)
        pieces = _between_changes(program)
        told = _told(text)
        if len(told) != len(pieces):
            told = [None] * len(pieces)
        against = tuple(words for of, words in changed if of == path.name)
        parts += [
            Part(file, piece, nth, told[nth], against if nth == 0 else ())
            for nth, piece in enumerate(pieces)
        ]
    return tuple(parts)


def _told(text: bytes) -> list[tuple[str, str] | None]:
    """Kind and description of each bit, as the heads of our own files say them."""
    comments = _COMMENT.findall(text.decode("utf-8", "replace"))
    words = " ".join(" ".join(inside or behind for inside, behind in comments).split())
    return [(kind, bit) for kind, bit in _OURS.findall(words)]


def _bytes(path: Path) -> bytes:
    """Read a file whole."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise TextError(f"{path} does not exist; check the name") from None
    except IsADirectoryError:
        raise TextError(f"{path} is a folder; name the cut files in it, in their order") from None
    except OSError as fault:
        raise TextError(f"{path} cannot be read ({fault.strerror}); check the file") from None


def _between_changes(program: reader.Program) -> list[reader.Program]:
    """Part a program at those of its bit changes that have cuts before and behind them."""
    cuts = np.flatnonzero(program.toolpath.kind == CUT)
    edges = [0]
    for event in program.events:
        cut_since = np.searchsorted(cuts, event.before) > np.searchsorted(cuts, edges[-1])
        if event.kind == "tool" and cut_since and event.before <= cuts[-1]:
            edges.append(event.before)
    stopping = replace(program, events=tuple(_stopping(program.events)))
    return [stopping.part(*ends) for ends in pairwise([*edges, len(program.toolpath)])]


def _stopping(events: Sequence[reader.Event]) -> Iterator[reader.Event]:
    """Stop the spindle at each bit change (NISTIR 6556, 3.6.3); a start before does not count."""
    for event in events:
        yield event
        if event.kind == "tool":
            yield replace(event, kind="spindle", value=0.0)


def stages_for(parts: Sequence[Part], job: Job, names: Sequence[str] | None) -> tuple[Stage, ...]:
    """Find the bit of each part, and its stage in the job.

    names : of the rack's bits, in the order of the parts. None: what the heads of our own files
        say; of files by others the ladder of the job, if it has as many stages

    Raises
    ------
    JobError : no such bit, or no telling which bit cuts what
    """
    steps = ladder(job)
    if names is not None:
        bits = [_named(name, job) for name in names]
        kinds: list[str | None] = [None] * len(bits)
    elif all(part.told for part in parts):
        bits = [_described(part, job) for part in parts]
        kinds = [part.told[0] if part.told else None for part in parts]
    else:
        bits, kinds = [step.bit for step in steps], [step.kind for step in steps]
    if len(bits) != len(parts):
        what = "--bits names" if names is not None else "the job would use"
        raise JobError(
            f"{what} {_counted(len(bits), 'bit')} and the files hold {_counted(len(parts), 'cut')} "
            "(a file, or what lies between two bit changes); name the bit of each, in their order, "
            f"with --bits NAME,NAME; the rack holds {', '.join(bit.name for bit in job.rack)}"
        )
    used = tuple(bit for bit in job.rack if bit in bits)
    known = [*steps, *ladder(replace(job, rack=used))]
    found: list[Stage] = []
    for bit, kind in zip(bits, kinds, strict=True):
        fits = [step for step in known if step.bit == bit and kind in (None, step.kind)]
        fits = fits or [step for step in known if step.bit == bit]
        taken = {(step.bit.name, step.kind) for step in found}
        step = next((step for step in fits if (bit.name, step.kind) not in taken), fits[0])
        limit = f"{step.step_down:.1f} mm by the job, that of the file not looked at"
        found.append(replace(step, number=len(found) + 1, step_limit=limit))
    return tuple(found)


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'s' * (count != 1)}"


def _named(name: str, job: Job) -> Bit:
    """Find a bit of the rack by its name."""
    for bit in job.rack:
        if bit.name == name.strip():
            return bit
    known = ", ".join(bit.name for bit in job.rack)
    raise JobError(f'--bits names "{name.strip()}", which the rack has not; it holds {known}')


def _described(part: Part, job: Job) -> Bit:
    """Find the bit of which the head of a file of ours speaks, to its stick-out."""
    words = part.told[1] if part.told else ""
    fits = [bit for bit in job.rack if _unbroken(cleaned(describe(bit))) == _unbroken(words)]
    if len(fits) == 1:
        return fits[0]
    count = f"{len(fits)} such bits" if fits else "no such bit"
    raise JobError(
        f'{part.file.name} says it was made for the bit "{words}", and the rack of the job '
        f"has {count}; give the job it was made with, or name the bits with --bits"
    )


def _unbroken(words: str) -> str:
    """Leave out blanks: comments may have been broken anywhere, at hyphens too."""
    return "".join(words.split())


def with_bits_of(stages: Sequence[Stage], job: Job) -> Job:
    """Return the job with no bits but those of the stages in its rack."""
    used = [stage.bit for stage in stages]
    return replace(job, rack=tuple(bit for bit in job.rack if bit in used))


def check(scene: Scene, parts: Sequence[Part], stages: Sequence[Stage], say: Say) -> Checked:
    """Run files on the block of a sculpture and hold what they leave against it.

    Ice left counts as reachable where the bits of finishing stages could have brought it, as in
    `icecam.plan.carve_stages`.
    """
    job = scene.job
    check_memory(_with_moves(sizes_of(scene.placed.mesh, job, cell_for(job)), parts))
    walls = thinnest_walls(scene, stages[0])
    done = _run(job, scene.ice, parts, stages, say, held_against(scene, walls))
    ice, reachable, near = scene.ice, _untouched(scene), near_sculpture(scene.wanted, job)
    for result in done:
        if result.stage.kind == "finish":
            resting = resting_of(result.stage, job, scene.surface, scene.wanted, near)
            tips = free_tips(result.stage, job, resting, ice)
            bit = tips, result.stage.cutting, job.quality.detail
            reachable = closed_by(reachable, scene.wanted, *bit)
        ice = result.carved.ice
    return Checked(
        scene=scene,
        stages=done,
        ice=ice,
        left=ice_left(ice, scene.wanted, reachable, job.quality.detail),
        reachable=reachable,
        walls=walls,
        unused=(),
    )


def thinnest_walls(scene: Scene, first: Stage) -> Walls:
    """Return the walls that the files of a job go past, of which the first roughs."""
    top, floor = scene.job.block.size[2], scene.job.block.floor
    bottom = max(floor, min(float(scene.placed.mesh.low[2]), top))
    return walls_beside(scene.wanted, top, bottom, first.step_down, first.bit)


def _with_moves(sizes: Sizes, parts: Sequence[Part]) -> Sizes:
    """Add what the moves of files take."""
    paths = [part.program.toolpath for part in parts]
    return sizes._replace(
        moves=sum(len(path) for path in paths),
        stretches=sum(stretches_of(path, sizes.cell) for path in paths),
    )


def _untouched(scene: Scene) -> Heights:
    """Heights that no bit has reached, NaN beside the sculpture."""
    return np.where(np.isfinite(scene.wanted.heights), np.inf, np.nan)


def check_bare(scene: Bare, parts: Sequence[Part], stages: Sequence[Stage], say: Say) -> BareResult:
    """Run files on a block without a sculpture: rapids, contacts, limits, load and hours."""
    check_memory(_with_moves(block_sizes(scene.job, cell_for(scene.job)), parts))
    nothing = Gouge(depth=0.0, at=None)
    held = Held(lambda _ice: nothing, no_walls())
    done = _run(scene.job, scene.ice, parts, stages, say, held)
    return BareResult(scene=scene, stages=done, ice=done[-1].carved.ice)


def _run(
    job: Job,
    ice: HeightField,
    parts: Sequence[Part],
    stages: Sequence[Stage],
    say: Say,
    held: Held,
) -> tuple[StageResult, ...]:
    """Carve the block by each part in turn."""
    done: list[StageResult] = []
    for part, planned in zip(parts, stages, strict=True):
        say(f"{part.file.name} with {planned.bit.name}", len(done) / len(parts))
        stage = replace(planned, spindle_rpm=_slowest(part.program) or planned.spindle_rpm)
        result = proven_stage(stage, part.program.toolpath, part.file, part.program, job, ice, held)
        begun = _begun_low(result, ice) if part.nth == 0 else ()
        limits = (*part.changed, *result.limits, *begun)
        done.append(replace(_as_run(result), planned=result.path, limits=limits))
        ice = result.carved.ice
    return tuple(done)


def _slowest(program: reader.Program) -> float:
    """Lowest speed (rpm) that is asked for, at which torque and chips are largest; 0: none."""
    speeds = [abs(event.value) for event in program.events if event.kind == "spindle"]
    return min((speed for speed in speeds if speed > 0), default=0.0)


def _as_run(result: StageResult) -> StageResult:
    """Put the feed at which most ice is taken, and its chip, in the place of those of the job.

    Where no ice is taken, the feed of most of the way counts.
    """
    path, removed = result.path, result.carved.removed
    cuts = path.kind == CUT
    if not cuts.any():
        return result
    weights = removed if (removed[cuts] > 0).any() else path.lengths
    feeds, which = np.unique(path.feed[cuts], return_inverse=True)
    feed = float(feeds[np.argmax(np.bincount(which, weights=weights[cuts]))])
    stage = result.stage
    chip = feed * S_PER_MIN / stage.spindle_rpm / stage.bit.flutes
    return replace(result, stage=replace(stage, feed=feed, chip=chip))


def _begun_low(result: StageResult, ice: HeightField) -> tuple[str, ...]:
    """Refuse a file whose first known place lies lower than the ice: the way there is not known."""
    deep = float(ice.heights.max()) - float(result.path.start[2])
    if deep <= SLACK_MM:
        return ()
    return (
        f"the tip is {deep:.1f} mm below the top of the ice where X, Y and Z are first known "
        f"(before line {result.path.line[0]}), and how it gets there is not: begin with a rapid to "
        "a Z above the ice, then X and Y",
    )
