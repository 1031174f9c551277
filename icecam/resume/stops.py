"""Where a file was stopped, by what the machine shows, and where it is safe to go on.

Takes a line, a time or a place, gives the move that was under way: all before it are surely done.
From there it goes back some seconds of cutting, to the beginning of a line, and out of ramps and
plunges.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.errors import OutputError
from icecam.paths.toolpath import CUT, RAPID, Toolpath

OVERLAP_S: Final = 5.0
READ_AHEAD: Final = 20
"""Lines that a controller may have read, and show, before it has done them: judgement; small ones
hold 15 or so."""
NEAR_MM: Final = 1.0
"""A place farther from every move than this is refused."""
SAME_MM: Final = 0.02
"""Moves that pass a place no farther than the nearest and so much may all be the one."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A stage of a file as the machine runs it.

    path : its moves; seconds : (n,) of each, `before` those of pauses before the first; lines : of
    the whole file
    """

    name: str
    path: Toolpath
    seconds: Floats
    before: float
    lines: int

    @property
    def cuts(self) -> NDArray[np.intp]:
        """Moves that cut."""
        return np.flatnonzero(self.path.kind == CUT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """The move that was under way, and what else is to be known.

    ahead : lines by which what was shown may be ahead of the bit
    """

    move: int
    ahead: int = 0
    note: str = ""


def at_line(run: Run, line: int) -> Stop:
    """Return the stop at a line, counted from 1.

    Raises
    ------
    OutputError : a line that is not there, or before the first cut or behind the last
    """
    if not 1 <= line <= run.lines:
        raise OutputError(f"{run.name} has lines 1 to {run.lines}, none is {line}; check the line")
    move = int(np.searchsorted(run.path.line, line))
    return Stop(move=_checked(run, move, f"line {line}"), ahead=READ_AHEAD)


def at_time(run: Run, seconds: float) -> Stop:
    """Return the stop so long after the file was started, the start of the spindle included.

    Raises
    ------
    OutputError : beyond the time of the stage, or before the first cut
    """
    ends = run.before + np.cumsum(run.seconds)
    if not 0 <= seconds <= ends[-1]:
        raise OutputError(
            f"{run.name} takes {clock(float(ends[-1]))} hours, {clock(seconds)} lies beyond; check "
            "the time"
        )
    move = int(np.searchsorted(ends, seconds, "right")) if seconds >= run.before else 0
    return Stop(move=_checked(run, move, clock(seconds)))


def at_place(run: Run, point: Floats) -> Stop:
    """Return the stop at a place (3,) mm, in the coordinates of the path.

    Where the path passes it several times the first counts: what is cut twice does no harm.

    Raises
    ------
    OutputError : no move passes there; names the nearest
    """
    begins = run.path.begins
    steps = run.path.ends - begins
    square = np.maximum((steps**2).sum(axis=1), 1e-12)
    share = np.clip(((point - begins) * steps).sum(axis=1) / square, 0.0, 1.0)
    way = np.linalg.norm(begins + share[:, None] * steps - point, axis=1)
    nearest = int(np.argmin(way))
    if way[nearest] > NEAR_MM:
        x, y, z = begins[nearest] + share[nearest] * steps[nearest]
        raise OutputError(
            f"{run.name} does not pass there: its nearest place is x {x:.3f}, y {y:.3f}, "
            f"z {z:.3f} mm in line {run.path.line[nearest]}, {way[nearest]:.1f} mm away; check the "
            "place, its unit and the stage, or give the line"
        )
    passing = np.flatnonzero(way <= way[nearest] + SAME_MM)
    lines = np.unique(run.path.line[passing])
    apart = 1 + int((np.diff(passing) > 1).sum())
    note = (
        f"the path passes there {apart} times, from line {lines[0]} to line {lines[-1]}: the first "
        "time is taken; give the line if it was later"
        if apart > 1
        else ""
    )
    return Stop(move=_checked(run, int(passing[0]), "that place"), note=note)


def _checked(run: Run, move: int, where: str) -> int:
    """Return a move; refuse a stop before anything was cut, or when all was."""
    cuts = run.cuts
    first, last = int(cuts[0]), int(cuts[-1])
    if move <= first:
        raise OutputError(
            f"at {where} {run.name} has cut nothing yet, its first cut is in line "
            f"{run.path.line[first]}; run it from its beginning"
        )
    if move > last:
        raise OutputError(
            f"at {where} {run.name} has made all its cuts, the last is in line "
            f"{run.path.line[last]}; give that line if it is not done, else run what comes next"
        )
    return move


def restart(run: Run, move: int, overlap: float, *, roughing: bool, ahead: int = 0) -> int:
    """Return the move to begin with when all before `move` are done.

    Parameters
    ----------
    move : not before the first cut
    overlap : s of cutting that are done again
    ahead : lines that are done again, if they take longer than that
    roughing : whether all ways down are ramps or plunges; else those straight down alone

    Returns
    -------
    a cut, the first move of its line
    """
    path = run.path
    cut = path.kind == CUT
    done = np.cumsum(np.where(cut, run.seconds, 0.0))
    target = (done[move - 1] if move else 0.0) - overlap
    begin = int(np.searchsorted(done, target, "right")) if target > 0 else 0
    begin = min(begin, move, int(np.searchsorted(path.line, path.line[move] - ahead)))
    entering = cut & _going_down(path, roughing=roughing)
    while True:
        before = begin
        begin = int(np.searchsorted(path.line, path.line[begin]))
        while begin > 0 and entering[begin] and entering[begin - 1]:
            begin -= 1
        if before == begin:
            break
    cuts = run.cuts
    return int(cuts[min(int(np.searchsorted(cuts, begin)), len(cuts) - 1)])


def _going_down(path: Toolpath, *, roughing: bool) -> NDArray[np.bool_]:
    """Return which moves (n,) lead down, or straight down."""
    steps = path.ends - path.begins
    down = steps[:, 2] < 0
    straight = (np.abs(steps[:, :2]) < 1e-6).all(axis=1)
    return down if roughing else down & straight


def last_rise(path: Toolpath, first: int, last: int) -> int | None:
    """Return the last move of `first` to `last` with which a rapid way begins after a cut."""
    kind = path.kind[first : last + 1]
    begins = np.flatnonzero((kind[1:] == RAPID) & (kind[:-1] == CUT))
    return None if len(begins) == 0 else first + 1 + int(begins[-1])


def clock(seconds: float) -> str:
    """Write a time as hours, minutes and seconds.

    >>> clock(3723.4)
    '1:02:03'
    """
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"
