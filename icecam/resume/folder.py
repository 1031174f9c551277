"""A folder that `icecam carve` made, read back: the job, the files, the ice before each stage.

`job.toml` holds the job as used, `summary.json` names the stages and what each of them does, which
the files must really do: a file that was cut short, swapped or changed is refused, the job too.
"""

import json
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from icecam.errors import OutputError, TextError
from icecam.geometry.field import HeightField
from icecam.geometry.precut import ice_before, read_remains, volume_gone
from icecam.geometry.profile import cylinders
from icecam.heads import Subject
from icecam.job.file import load
from icecam.job.records import Job
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import Carved, carve, cell_for, whole_block
from icecam.resume.digests import changed_files
from icecam.units import MM3_PER_LITRE
from post import dialect as dialects
from post.dialect import Dialect
from post.reader import Program, read

JOB_FILE: Final = "job.toml"
ROUNDING: Final = 1e-3
"""How far lengths of the summary (mm) may lie from those of the job: rounding."""
LITRES: Final = 3e-4
SHARE: Final = 1e-3
"""How far the ice that a file takes off may lie from what the summary says, the larger: litres, and
a share of it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutFile:
    """A file for the machine and what it says, in work coordinates."""

    name: str
    text: bytes
    program: Program


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutStage:
    """A stage and its moves, `first` to `last` (half-open), in its file.

    litres : of ice that it takes off, as the summary says
    """

    stage: Stage
    file: CutFile
    first: int
    last: int
    litres: float

    @property
    def moves(self) -> Program:
        """What of the file belongs to the stage."""
        return self.file.program.part(self.first, self.last)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutFolder:
    """A folder read back; `ice` is the block before carving, in block coordinates.

    told : its summary
    """

    place: Path
    subject: Subject
    told: dict[str, Any]
    dialect: Dialect
    ice: HeightField
    stages: tuple[CutStage, ...]

    def in_block(self, path: Toolpath) -> Toolpath:
        """Return a path in block coordinates, which is in work coordinates."""
        return path.moved(self.subject.job.block.zero)

    def carve(self, ice: HeightField, path: Toolpath, stage: Stage) -> Carved:
        """Carve ice by a path in block coordinates."""
        above = cylinders(stage.bit, self.subject.job.machine.spindle.body)
        return carve(ice, path, stage.cutting, above)

    def ice_before(self, number: int) -> HeightField:
        """Return the ice before a stage, carved by the files of the stages before it.

        Raises
        ------
        OutputError : a file that does not do what the summary says
        """
        ice = self.ice
        for cut in self.stages[: number - 1]:
            carved = self.carve(ice, self.in_block(cut.moves.toolpath), cut.stage)
            check_litres(cut, float(carved.removed.sum()))
            ice = carved.ice
        return ice

    def read(self, name: str) -> CutFile:
        """Read a file of the folder."""
        return _cut_file(self.place, name, self.dialect)


def check_litres(cut: CutStage, removed: float) -> None:
    """Refuse a stage that takes off (mm3) something else than the summary says.

    Raises
    ------
    OutputError : says by how much
    """
    litres = removed / MM3_PER_LITRE
    if abs(litres - cut.litres) > max(LITRES, SHARE * cut.litres):
        raise OutputError(
            f"{cut.file.name} takes off {litres:.4f} litres in stage {cut.stage.number}, the "
            f"summary says {cut.litres:.4f}: a file of the folder was changed; carve the job again"
        )


def read_folder(place: Path) -> CutFolder:
    """Read a folder that `icecam carve` made.

    Raises
    ------
    OutputError : no such folder, incomplete, refused by the proof, or files that do not fit
    JobError, TextError : a job or a file that cannot be read
    """
    told, job = read_summary(place), job_of(place)
    dialect = dialects.load(job.output.dialect)
    steps = ladder(job)
    try:
        if told["clean"] is not True:
            raise OutputError(f"{place} was refused by the proof; mend the job and carve it again")
        check_proven(place, told)
        _check_job(place, told, job)
        stages = _stages(place, told, steps, dialect)
        sculpture = str(told["sculpture"]["file"])
    except (KeyError, TypeError, ValueError) as fault:
        if isinstance(fault, TextError):
            raise
        raise OutputError(
            f"{place / 'summary.json'} does not hold what `icecam carve` writes ({fault!r}); carve "
            "the job again"
        ) from None
    ice = ice_before(read_remains(job.block), whole_block(job.block.size, cell_for(job)))
    gone = volume_gone(ice, job.block.size)
    subject = Subject(job=job, sculpture=sculpture, gone=gone)
    return CutFolder(
        place=place, subject=subject, told=told, dialect=dialect, ice=ice, stages=stages
    )


def job_of(place: Path) -> Job:
    """Read the job that a folder was carved with.

    Raises
    ------
    OutputError : there is none
    JobError : one that cannot be read
    """
    if not (place / JOB_FILE).is_file():
        raise OutputError(
            f"{place} holds no {JOB_FILE}, so the ice cannot be rebuilt: it is incomplete or an "
            "older version made it; take the whole folder, or carve the job again"
        )
    return load(place / JOB_FILE)


def check_proven(place: Path, told: dict[str, Any]) -> None:
    """Refuse a folder of which a file is not the one that was proven.

    Raises
    ------
    OutputError : names the first such file
    """
    changed = changed_files(place, told)
    if changed:
        raise OutputError(
            f"{changed[0].words}: put the proven file back; `icecam check {place}` says what it "
            "does as it is, and the job must be carved again to go on with other feeds or ways"
        )


def _check_job(place: Path, told: dict[str, Any], job: Job) -> None:
    """Refuse a job of another block or with other bits than the summary tells of."""
    pairs: list[tuple[list[float], tuple[float, ...]]] = [
        (told["block"]["size_mm"], job.block.size),
        (told["work_zero_mm"], job.block.zero),
    ]
    bits = {bit.name: bit for bit in job.rack}
    for said in told["stages"]:
        bit = bits.get(said["bit"]["name"])
        if bit is not None:
            sizes = ("diameter_mm", "taper_deg", "flute_mm", "shank_mm", "stick_out_mm")
            lengths = (bit.diameter, bit.taper_deg, bit.flute_length, bit.shank, bit.stick_out)
            pairs.append(([said["bit"][size] for size in sizes], lengths))
    for said, used in pairs:
        if max(abs(one - other) for one, other in zip(said, used, strict=True)) > ROUNDING:
            raise OutputError(
                f"{place / JOB_FILE} has {list(used)} where the summary has {said}: one of them "
                "was changed; carve the job again"
            )


def read_summary(place: Path) -> dict[str, Any]:
    """Read the summary of a folder.

    Raises
    ------
    OutputError : there is none, or not one of ours
    """
    file = place / "summary.json"
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        raise OutputError(
            f"{place} holds no summary.json; name a folder that `icecam carve` made"
        ) from None
    except (OSError, ValueError) as fault:
        raise OutputError(
            f"{file} cannot be read as a summary ({fault}); carve the job again"
        ) from None
    if not isinstance(told, dict):
        raise OutputError(f"{file} is no summary of ours; name a folder that `icecam carve` made")
    return told


def _cut_file(place: Path, name: str, dialect: Dialect) -> CutFile:
    """Read a file of the folder."""
    try:
        text = (place / Path(name).name).read_bytes()
    except OSError as fault:
        raise OutputError(
            f"{place / Path(name).name} cannot be read ({fault.strerror}); take the whole folder"
        ) from None
    program = read(text, name=name, dwell_unit=dialect.dwell_unit)
    return CutFile(name=Path(name).name, text=text, program=program)


def _stages(
    place: Path, told: dict[str, Any], steps: tuple[Stage, ...], dialect: Dialect
) -> tuple[CutStage, ...]:
    """Find each stage of the summary in the job and its moves in the files."""
    files = {name: _cut_file(place, name, dialect) for name in {s["file"] for s in told["stages"]}}
    edges = {name: bit_changes(file.program) for name, file in files.items()}
    found: list[CutStage] = []
    for number, said in enumerate(told["stages"], start=1):
        file = files[said["file"]]
        first, last = edges[file.name].pop(0) if edges[file.name] else (0, 0)
        if last - first != said["moves"]:
            raise OutputError(
                f"{place / file.name} has {last - first} moves in stage {number}, the summary says "
                f"{said['moves']}: one of them was changed; carve the job again"
            )
        step = next(
            (s for s in steps if (s.kind, s.bit.name) == (said["kind"], said["bit"]["name"])), None
        )
        if step is None:
            raise OutputError(
                f"{place / JOB_FILE} has no bit for stage {number}, {said['name']}: it belongs to "
                "another job; carve the job again"
            )
        stage = replace(step, number=number)
        litres = float(said["removed_litres"])
        found.append(CutStage(stage=stage, file=file, first=first, last=last, litres=litres))
    return tuple(found)


def bit_changes(program: Program) -> list[tuple[int, int]]:
    """Return the moves (half-open) of each bit of a program."""
    edges = [event.before for event in program.events if event.kind == "tool"]
    return list(pairwise([0, *edges[1:], len(program.toolpath)]))
