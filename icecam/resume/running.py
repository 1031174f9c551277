"""Which file was running: a stage's own, or one that goes on with a stage.

Takes what the sculptor calls it, gives its run and the stage and move that each of its moves stands
for. A file that goes on with a stage holds the moves of that stage unchanged, and is known by them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.errors import OutputError
from icecam.resume.folder import CutFile, CutFolder, CutStage
from icecam.resume.rest import run_of, run_of_program
from icecam.resume.stops import Run

WAY_IN: Final = 6
"""Moves within which the way in of such a file is over."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Running:
    """A file as it ran.

    stages : of the folder, those whose moves it may hold
    ahead : how many moves of the stages' file lie before its own, its way in taken off
    """

    run: Run
    stages: tuple[CutStage, ...]
    ahead: int

    def place(self, move: int) -> tuple[CutStage, int]:
        """Return the stage and the move in it that a move of the run stands for.

        Moves of the way in stand for the first after it.
        """
        whole = max(move + self.ahead, self.stages[0].first)
        cut = next((cut for cut in self.stages if whole < cut.last), self.stages[-1])
        return cut, whole - cut.first


def running(folder: CutFolder, asked: str) -> Running:
    """Find a file by the number of its stage, the start of its name, or its name.

    Raises
    ------
    OutputError : no such stage or file, or one that holds nothing of any stage
    """
    if asked.isdecimal():
        number = int(asked)
        if not 1 <= number <= len(folder.stages):
            raise OutputError(
                f"{folder.place} has stages 1 to {len(folder.stages)}, none is {asked}; check the "
                "number"
            )
        cut = folder.stages[number - 1]
        return Running(run=run_of(folder, cut), stages=(cut,), ahead=cut.first)
    file = folder.read(_name(folder, asked))
    return _of_file(folder, file)


def _name(folder: CutFolder, asked: str) -> str:
    """Name of the file in the folder."""
    ending = f".{folder.dialect.extension}"
    names = sorted(path.name for path in folder.place.iterdir() if path.name.endswith(ending))
    if asked in names:
        return asked
    found = [name for name in names if name.startswith(f"{asked}-") and "-from-line-" not in name]
    if len(found) != 1:
        raise OutputError(
            f'{folder.place} has {"no" if not found else "more than one"} file "{asked}"; name one '
            f"of {', '.join(names)}"
        )
    return found[0]


def _of_file(folder: CutFolder, file: CutFile) -> Running:
    """Find the stages whose moves a file holds."""
    run = run_of_program(folder, file.program, file.name, file.text)
    for name in dict.fromkeys(cut.file.name for cut in folder.stages):
        stages = tuple(cut for cut in folder.stages if cut.file.name == name)
        ahead = _ahead(stages[0].file.program.toolpath.ends, file.program.toolpath.ends)
        if ahead is not None:
            return Running(run=run, stages=stages, ahead=ahead)
    raise OutputError(
        f"{folder.place / file.name} holds no moves of any stage of the folder; name the file that "
        "ran"
    )


def _ahead(whole: NDArray[np.float64], part: NDArray[np.float64]) -> int | None:
    """How many ends (n, 3) of a path come before those of a part (m, 3) of it; None if of another.

    The first few of the part may be its way in, the last its retreat.
    """
    for own in range(min(WAY_IN, len(part) - 1)):
        for at in np.flatnonzero((whole == part[own]).all(axis=1)).tolist():
            count = min(len(whole) - at, len(part) - 1 - own)
            if np.array_equal(whole[at : at + count], part[own : own + count]):
                return int(at) - own
    return None


def later(folder: CutFolder, cut: CutStage) -> Sequence[CutStage]:
    """Return the stages behind one in the same file."""
    return [
        other
        for other in folder.stages
        if other.file is cut.file and other.stage.number > cut.stage.number
    ]
