"""Files that go on with a job, proven: nothing is met, and the block ends as it would have.

The text is read back and carves the ice that surely stands when it is run. What the lines shown at
the machine leave in doubt are cuts already made, and ice that is gone already meets nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from icecam.bounds import broken_bounds, load_of
from icecam.check import thinnest_walls
from icecam.errors import MeshError
from icecam.estimate.runtime import runtime
from icecam.geometry.field import HeightField
from icecam.geometry.walls import Walls, no_walls
from icecam.plan import Scene, set_up
from icecam.prove.carving import GRAZE_MM, Carved
from icecam.prove.limits import broken_limits
from icecam.prove.proof import GOUGE_MM, RAPID_MM, deepest_gouge
from icecam.resume.digests import changed_sculpture
from icecam.resume.folder import CutFolder, CutStage, bit_changes
from post.reader import Program, read

SAME_MM: Final = 0.02
"""No place of the block may end farther than this from where the uninterrupted job leaves it."""

SAME_PLACE: Final = 1e-3
"""How far the matrix of the summary, nine digits of it, may lie from that of the job."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Done:
    """What one file does to the ice.

    seconds : that it takes, the start of the spindle included, changes of bits not
    """

    ice: HeightField
    rapid_hits: int
    contacts: int
    limits: tuple[str, ...]
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the proof of one or more files says.

    away : mm, the farthest that the block ends from where the uninterrupted job leaves it
    gouge : mm, the deepest cut into the sculpture; None if the sculpture was not at hand
    """

    rapid_hits: int
    contacts: int
    limits: tuple[str, ...]
    away: float
    gouge: float | None

    @property
    def clean(self) -> bool:
        """Whether the files may be run."""
        met = self.rapid_hits or self.contacts or self.limits
        return not met and self.away <= SAME_MM and (self.gouge or 0.0) <= GOUGE_MM


def walls_for(folder: CutFolder, scene: Scene | None) -> Walls:
    """Return the walls that the files of a folder go past; none if the sculpture is not at hand."""
    return no_walls() if scene is None else thinnest_walls(scene, folder.stages[0].stage)


def do(
    folder: CutFolder, cuts: Sequence[CutStage], text: bytes, ice: HeightField, walls: Walls
) -> Done:
    """Read a file back and carve by it.

    cuts : the stages that it does, one for each of its bits
    """
    program = read(text, name="the new file", dwell_unit=folder.dialect.dwell_unit)
    hits, contacts, limits = 0, 0, []
    pauses = sum(event.value for event in program.events if event.kind == "dwell")
    seconds = runtime(program.toolpath, folder.subject.job.machine).total + pauses
    for cut, (first, last) in zip(cuts, bit_changes(program), strict=True):
        moves = program.part(first, last)
        path = folder.in_block(moves.toolpath)
        carved = folder.carve(ice, path, cut.stage)
        hits += int((carved.rapid_depth > RAPID_MM).sum())
        contacts += int((carved.contact_depth > GRAZE_MM).sum())
        limits += _limits(folder, cut, moves, carved, walls)
        ice = carved.ice
    return Done(ice=ice, rapid_hits=hits, contacts=contacts, limits=tuple(limits), seconds=seconds)


def _limits(
    folder: CutFolder, cut: CutStage, moves: Program, carved: Carved, walls: Walls
) -> list[str]:
    """Limits of machine, bit and walls that moves break."""
    job = folder.subject.job
    spindle = [(event.before, event.value) for event in moves.events if event.kind == "spindle"]
    path = folder.in_block(moves.toolpath)
    load = load_of(cut.stage, path, carved, runtime(path, job.machine).seconds, job)
    broken = (
        *broken_limits(path, spindle, cut.stage.bit, job.block, job.machine),
        *broken_bounds(load.series, path, cut.stage, job, walls),
    )
    return [f"{cut.stage.name}: {words}" for words in broken]


def verdict(done: Sequence[Done], goal: HeightField, scene: Scene | None) -> Verdict:
    """Judge files that are run one after the other.

    goal : the ice as the uninterrupted job leaves it; scene : the sculpture, if it is at hand
    """
    ice = done[-1].ice
    return Verdict(
        rapid_hits=sum(each.rapid_hits for each in done),
        contacts=sum(each.contacts for each in done),
        limits=tuple(limit for each in done for limit in each.limits),
        away=float(np.abs(ice.heights - goal.heights).max()),
        gouge=None if scene is None else deepest_gouge(ice, scene.wanted, scene.surface).depth,
    )


def sculpture_near(place: Path, name: str) -> Path | None:
    """Return the file of this name in a folder or beside it; None if there is none."""
    near = (place / name, place.absolute().parent / name)
    return next((path for path in near if path.is_file()), None)


def find_sculpture(folder: CutFolder, given: Path | None) -> Scene | None:
    """Return the sculpture in its block: the file given, or of its name in the folder or beside it.

    None if none is found.

    Raises
    ------
    MeshError : a file that cannot be read, or another sculpture than the job carves
    """
    file = given or sculpture_near(folder.place, folder.subject.sculpture)
    if file is None:
        return None
    scene = set_up(file, folder.subject.job)
    changed = changed_sculpture(file, folder.told)
    if changed:
        raise MeshError(f"{changed[0].words}; name the right file with --sculpture")
    off = np.abs(np.array(folder.told["sculpture"]["to_block"]) - scene.placed.to_block).max()
    if off > SAME_PLACE:
        raise MeshError(
            f"{file} lies elsewhere in the block than summary.json of {folder.place} says: "
            "job.toml was changed; carve the job again"
        )
    return scene
