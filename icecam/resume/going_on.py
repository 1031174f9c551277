"""After a stop: one file that goes on with a stage from the last move surely done."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from icecam.geometry.field import HeightField
from icecam.plan import Scene
from icecam.resume.folder import CutFolder, CutStage, check_litres
from icecam.resume.proof import Verdict, do, verdict, walls_for
from icecam.resume.rest import Part, rest_text, run_of
from icecam.resume.running import later
from icecam.resume.stops import Run, restart


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rest:
    """The file that goes on.

    begins : line of the stage's file with which it goes on; seconds : how long it runs
    """

    name: str
    text: bytes
    begins: int
    seconds: float
    verdict: Verdict


class Going(NamedTuple):
    """Where a stage goes on after a stop in a move.

    first : the move it begins with; stands : the ice before that; goal : the ice as the file leaves
    it without a stop
    """

    move: int
    first: int
    stands: HeightField
    goal: HeightField


def rest_name(cut: CutStage, move: int) -> str:
    """Return the name of the file that goes on after a stop in a move."""
    name = Path(cut.file.name)
    return f"{name.stem}-from-line-{cut.moves.toolpath.line[move]}{name.suffix}"


def go_on(
    folder: CutFolder,
    cut: CutStage,
    move: int,
    *,
    overlap: float,
    ahead: int = 0,
    scene: Scene | None,
) -> Rest:
    """Write and prove the file that goes on with a stage after a stop in a move.

    Parameters
    ----------
    move : of the stage; all before it are done
    overlap : s of cutting that are done again
    ahead : lines that are done again, if they take longer than that
    scene : the sculpture, if it is at hand

    Raises
    ------
    OutputError : files that do not do what the summary says
    """
    run = run_of(folder, cut)
    first = restart(run, move, overlap, roughing=cut.stage.kind == "rough", ahead=ahead)
    stands, goal = _uninterrupted(folder, cut, first, later(folder, cut))
    return rest_after(folder, cut, run, Going(move, first, stands, goal), scene)


def rest_after(
    folder: CutFolder, cut: CutStage, run: Run, going: Going, scene: Scene | None
) -> Rest:
    """Write and prove the file that goes on, when it is known what the job leaves without a stop.

    See `go_on`.
    """
    begins = int(run.path.line[going.first])
    more = (
        f"after a stop in line {run.path.line[going.move]} of {cut.file.name}",
        f"goes on from line {begins} of it",
        "another bit of the same kind and stick-out may be put in, set Z anew in any case",
    )
    text = rest_text(folder, cut, Part(first=going.first, last=None), going.stands, more)
    cuts = [cut, *later(folder, cut)]
    done = do(folder, cuts, text, going.stands, walls_for(folder, scene))
    return Rest(
        name=rest_name(cut, going.move),
        text=text,
        begins=begins,
        seconds=done.seconds,
        verdict=verdict([done], going.goal, scene),
    )


def _uninterrupted(
    folder: CutFolder, cut: CutStage, first: int, behind: Sequence[CutStage]
) -> tuple[HeightField, HeightField]:
    """Return the ice before a move of a stage, and after it and the stages behind."""
    path = folder.in_block(cut.moves.toolpath)
    before = folder.carve(folder.ice_before(cut.stage.number), path.part(0, first), cut.stage)
    after = folder.carve(before.ice, path.part(first, len(path)), cut.stage)
    check_litres(cut, float(before.removed.sum() + after.removed.sum()))
    goal = after.ice
    for other in behind:
        goal = folder.carve(goal, folder.in_block(other.moves.toolpath), other.stage).ice
    return before.ice, goal
