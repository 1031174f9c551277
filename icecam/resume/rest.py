"""A file that goes on with a stage: in over the ice as it stands, then lines as they were.

Takes a stage of a folder, the moves that are to be done and the ice surely left before them, gives
the text. Nothing of the path is planned anew, so what follows the way in is the same to the digit.
"""

from dataclasses import dataclass

import numpy as np

from icecam.estimate.runtime import runtime
from icecam.geometry.field import HeightField
from icecam.geometry.profile import cylinders
from icecam.heads import header, lift_height
from icecam.paths.stages import Stage
from icecam.paths.standing import Standing, parts_above
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.paths.ways import SLOW_MM
from icecam.resume.folder import CutFolder, CutStage
from icecam.resume.stops import Run
from post.lines import lines_from
from post.reader import Program
from post.writer import write_rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Moves of a stage (half-open, counted in it) that a file does; `last` None: all to the end.

    In a job of one file the end is that of the file, the stages behind included.
    """

    first: int
    last: int | None


def run_of(folder: CutFolder, cut: CutStage) -> Run:
    """Return a stage as the machine runs it, in work coordinates."""
    moves = cut.moves
    return run_of_program(folder, moves, cut.file.name, cut.file.text)


def run_of_program(folder: CutFolder, moves: Program, name: str, text: bytes) -> Run:
    """Return moves as the machine runs them."""
    cuts = np.flatnonzero(moves.toolpath.kind == CUT)
    pauses = [e.value for e in moves.events if e.kind == "dwell" and e.before <= cuts[0]]
    return Run(
        name=name,
        path=moves.toolpath,
        seconds=runtime(moves.toolpath, folder.subject.job.machine).seconds,
        before=sum(pauses),
        lines=len(text.rstrip().split(b"\n")),
    )


def way_in(
    folder: CutFolder, stage: Stage, ice: HeightField, point: np.typing.NDArray[np.float64]
) -> Toolpath:
    """Return the way down to a point (3,) where the bit has been; all in block coordinates.

    From the height of travel by rapid to the clearance over the ice, by feed to close above it,
    and by the feed of a plunge to the point.
    """
    job = folder.subject.job
    standing = Standing(
        ice=ice,
        cutting=stage.cutting,
        above=parts_above(cylinders(stage.bit, job.machine.spindle.body)),
    )
    ground = float(standing.down(point[None])[0])
    top = max(lift_height(stage.bit, job), float(point[2]))
    approach = min(stage.feed, job.machine.speed[2])
    ends, kinds, feeds, z = [], [], [], top
    for low, kind, feed in (
        (ground + job.feeds.clearance, RAPID, np.nan),
        (ground + SLOW_MM, CUT, approach),
        (float(point[2]), CUT, min(approach, stage.feed * job.feeds.plunge)),
    ):
        if max(low, point[2]) < z:
            z = float(max(low, point[2]))
            ends.append((point[0], point[1], z))
            kinds.append(kind)
            feeds.append(feed)
    return Toolpath(
        start=np.array([point[0], point[1], top]),
        ends=np.array(ends).reshape(-1, 3),
        kind=np.array(kinds, dtype=np.int8),
        feed=np.array(feeds, dtype=np.float64),
        line=np.zeros(len(ends), dtype=np.int32),
    )


def begin_point(cut: CutStage, first: int) -> np.typing.NDArray[np.float64]:
    """Return where a move of a stage begins, (3,) mm in work coordinates."""
    path = cut.moves.toolpath
    return path.ends[first - 1] if first else path.start


def rest_text(
    folder: CutFolder, cut: CutStage, part: Part, ice: HeightField, more: tuple[str, ...]
) -> bytes:
    """Write a file for a part of a stage.

    ice : what surely stands no higher when the file is run, in block coordinates
    more : said in its head besides

    Raises
    ------
    TextError : a file that cannot be gone on with
    """
    job = folder.subject.job
    path = cut.moves.toolpath
    zero = job.block.zero
    point = begin_point(cut, part.first) + np.array(zero)
    x, y, z = zero
    entry = way_in(folder, cut.stage, ice, point).moved((-x, -y, -z))
    doing = path.part(part.first, len(path) if part.last is None else part.last)
    seconds = runtime(doing, job.machine).total + runtime(entry, job.machine).total
    # the head tells the lowest tip of what is done here, and rises as high as the way in begins
    about = Toolpath(
        start=entry.start, ends=doing.ends, kind=doing.kind, feed=doing.feed, line=doing.line
    )
    return write_rest(
        entry,
        lines_from(
            cut.file.text,
            int(doing.line[0]),
            None if part.last is None else int(doing.line[-1]),
        ),
        header(cut.stage, folder.subject, about, seconds, more),
        folder.dialect,
        unit=cut.file.program.unit,
        ended=part.last is None,
    )
