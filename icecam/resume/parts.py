"""Stages cut into parts for working days: each a file of its own that is safe to start.

A part ends where the bit rises anyway, if it does so within some minutes before the time is up;
else in the middle of a cut, and the next part begins as after a stop.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from string import ascii_lowercase
from typing import Final

import numpy as np

from icecam.errors import OutputError
from icecam.estimate.runtime import runtime
from icecam.geometry.field import HeightField
from icecam.heads import lift_height
from icecam.plan import Scene
from icecam.resume.folder import CutFolder, CutStage, check_litres
from icecam.resume.proof import Done, Verdict, do, verdict, walls_for
from icecam.resume.rest import Part, begin_point, rest_text, run_of, way_in
from icecam.resume.stops import OVERLAP_S, Run, last_rise, restart

BEFORE_S: Final = 300.0
"""A rise so long before the time is up is waited for: judgement, a few minutes of a day."""
WAIT_SHARE: Final = 0.25
"""And no more than this share of a part."""
SPARE_S: Final = 3.0
"""For starting and stopping between two moves that the whole stage runs through."""
LEAST_S: Final = 30.0
"""Shorter parts would hardly cut."""

Say = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Split:
    """The parts of a stage: names, texts and seconds of each, and what the proof says of all."""

    cut: CutStage
    files: dict[str, bytes]
    seconds: tuple[float, ...]
    verdict: Verdict


def split(
    folder: CutFolder, limit: float, scene: Scene | None, say: Say = lambda _doing, _share: None
) -> tuple[Split, ...]:
    """Cut every stage that takes longer than `limit` (s) into parts and prove them.

    Raises
    ------
    OutputError : parts too short to hold anything, more than there are letters for, or files that
        do not do what the summary says
    """
    ice, found = folder.ice, []
    for nth, cut in enumerate(folder.stages):
        say(f"stage {cut.stage.number}", nth / len(folder.stages))
        path = folder.in_block(cut.moves.toolpath)
        carved = folder.carve(ice, path, cut.stage)
        check_litres(cut, float(carved.removed.sum()))
        run = run_of(folder, cut)
        if run.before + float(run.seconds.sum()) > limit:
            found.append(_split_stage(folder, cut, run, limit, ice, carved.ice, scene))
        ice = carved.ice
    return tuple(found)


def _split_stage(
    folder: CutFolder,
    cut: CutStage,
    run: Run,
    limit: float,
    ice: HeightField,
    goal: HeightField,
    scene: Scene | None,
) -> Split:
    """Cut one stage; `ice` stands before it, `goal` after it."""
    files: dict[str, bytes] = {}
    done: list[Done] = []
    walls = walls_for(folder, scene)
    begin: int | None = int(run.cuts[0])
    while begin is not None:
        if len(done) == len(ascii_lowercase):
            raise OutputError(
                f"stage {cut.stage.number} would fall into more than {len(done)} parts; make them "
                "longer"
            )
        part, after = _next_part(folder, cut, run, begin, limit, ice)
        name = _part_name(cut, len(done))
        more = (
            f"part {ascii_lowercase[len(done)]} of {cut.file.name}, from its line "
            f"{run.path.line[begin]}",
        )
        text = rest_text(folder, cut, part, ice, more)
        files[name] = text
        done.append(do(folder, [cut], text, ice, walls))
        ice, begin = done[-1].ice, after
    return Split(
        cut=cut,
        files=files,
        seconds=tuple(each.seconds for each in done),
        verdict=verdict(done, goal, scene),
    )


def _next_part(
    folder: CutFolder, cut: CutStage, run: Run, begin: int, limit: float, ice: HeightField
) -> tuple[Part, int | None]:
    """Return the part that begins with a move, and the move that the next begins with."""
    count = len(run.path)
    room = limit - _besides(folder, cut, begin, ice)
    ends = np.cumsum(run.seconds[begin:])
    if ends[-1] <= room:
        one_file = cut.last < len(cut.file.program.toolpath)
        return Part(first=begin, last=count if one_file else None), None
    last = begin + int(np.searchsorted(ends, room, "right"))
    spent = run.seconds[begin:last].sum()
    if room < LEAST_S or last <= begin:
        raise OutputError(
            f"parts of {limit / 60:.1f} min are too short for stage {cut.stage.number}: its start "
            f"alone takes {(limit - room) / 60:.1f} min; give at least "
            f"{(limit - room + LEAST_S) / 60:.1f} min"
        )
    rise = last_rise(run.path, begin, last)
    wait = min(BEFORE_S, WAIT_SHARE * limit)
    if rise is not None and run.seconds[rise:last].sum() <= min(wait, spent / 2):
        cuts = run.cuts
        next_cut = int(np.searchsorted(cuts, rise))
        after = int(cuts[next_cut]) if next_cut < len(cuts) else None
        return Part(first=begin, last=rise), after
    last = int(np.searchsorted(run.path.line, run.path.line[last]))
    back = restart(run, last, OVERLAP_S, roughing=cut.stage.kind == "rough")
    if back <= begin:
        raise OutputError(
            f"parts of {limit / 60:.1f} min are too short for stage {cut.stage.number}: line "
            f"{run.path.line[begin]} begins a way down that takes longer; make them longer"
        )
    return Part(first=begin, last=last), back


def _besides(folder: CutFolder, cut: CutStage, begin: int, ice: HeightField) -> float:
    """Seconds that a part takes besides its moves: spindle, way in, and the rise at its end."""
    job = folder.subject.job
    point = begin_point(cut, begin) + np.array(job.block.zero)
    entry = way_in(folder, cut.stage, ice, point)
    speed, acceleration = job.machine.speed[2], job.machine.acceleration[2]
    rise = lift_height(cut.stage.bit, job) / speed + speed / acceleration
    return job.machine.spindle.start + runtime(entry, job.machine).total + rise + SPARE_S


def _part_name(cut: CutStage, nth: int) -> str:
    """Name of a part: the stage's with a letter behind its number."""
    number, _, rest = cut.stage.name.partition("-")
    return f"{number}{ascii_lowercase[nth]}-{rest}{Path(cut.file.name).suffix}"
