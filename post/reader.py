"""RS-274/NGC text read back into moves, by the rules of NISTIR 6556.

Takes bytes from anybody, gives a toolpath in work coordinates and what happens between its moves.
What is not understood to the last word is refused: a path is proven only if it is the path that
the machine will run.

Source: NISTIR 6556 (Kramer, Proctor, Messina 2000), 3.3 to 3.8. Beyond it, `;` comments and G64
with P are read. Stricter: a unit must be stated before the first length or feed, and F anew after
a change of unit; G53 is refused once the position is known, because where it leads in the work is
not; a program without M2, M30 or a pair of percent lines may be cut short and is refused. Lines
with `/` are read as if the switch that skips them were off. What stands behind M2 or M30 is not
read.
"""

import re
from dataclasses import dataclass, replace
from io import BytesIO
from itertools import islice
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.errors import TextError
from icecam.kernels import text_moves
from icecam.kernels.text_arcs import SCALE, START, count_chords, place_chords
from icecam.kernels.text_words import count_bytes
from icecam.paths.toolpath import CUT, RAPID, Arcs, Toolpath
from icecam.units import MM_PER_INCH
from post.refusals import refused

Kind = Literal["spindle", "dwell", "tool", "stop", "end", "coolant"]
_KINDS: Final[tuple[Kind, ...]] = ("spindle", "dwell", "tool", "stop", "end", "coolant")
"""In the order of icecam.kernels.text_codes."""
_ARC: Final = 2
"""Kind of an arc in what a text gives, see icecam.kernels.text_moves."""
_FLAT: Final = 170
"""Plane of X and Y, in tenths of its G code."""
_COMMENT: Final = re.compile(rb"\(([^)]*)\)|;(.*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happens between moves.

    Parameters
    ----------
    before : index of the move it comes before; the number of moves if it comes after the last
    kind : what happens
    value : spindle: rpm, below zero counter-clockwise, 0 off; dwell: s; tool: its number, 0 for an
        empty spindle; stop, end, coolant: the M code (end: 0 if a percent line ended the text)
    line : line of the text, counted from 1
    """

    before: int
    kind: Kind
    value: float
    line: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """A text as it was understood.

    Parameters
    ----------
    toolpath : in work coordinates
    events : in the order of the text
    unit : unit of the text where it ends
    comments : those before the line of the first move, without their marks
    lines : lines read, up to the end of the program
    """

    toolpath: Toolpath
    events: tuple[Event, ...]
    unit: Literal["mm", "in"]
    comments: tuple[str, ...]
    lines: int

    def part(self, first: int, last: int) -> "Program":
        """Return moves `first` to `last` (half-open) and what happens before each of them."""
        events = tuple(
            replace(event, before=event.before - first)
            for event in self.events
            if first <= event.before < last
        )
        return replace(self, toolpath=self.toolpath.part(first, last), events=events)


class _Chords(NamedTuple):
    """Moves with arcs in chords, and where each move of the text begins among them."""

    ends: NDArray[np.float64]
    begins: NDArray[np.int64]


def _room(text: NDArray[np.uint8]) -> text_moves.Record:
    """Arrays that surely hold what the text gives: a line moves once, an arc takes a letter."""
    counts = count_bytes(text)

    def letters(names: str) -> int:
        return int(sum(counts[ord(name)] + counts[ord(name.lower())] for name in names))

    moves = int(counts[10]) + 1
    return text_moves.Record(
        ends=np.zeros((moves, 3)),
        kind=np.zeros(moves, np.int8),
        feed=np.zeros(moves),
        line=np.zeros(moves, np.int32),
        arcs=np.zeros((letters("IJKR"), 4)),
        events=np.zeros((letters("MMSP") + 1, 4)),
        counts=np.zeros(4, np.int64),
    )


def _in_chords(record: text_moves.Record, start: NDArray[np.float64], tolerance: float) -> _Chords:
    """Put chords in the place of arcs."""
    moves, arcs = int(record.counts[0]), int(record.counts[1])
    ends = record.ends[:moves]
    if arcs == 0:
        return _Chords(ends, np.arange(moves + 1))
    starts = np.concatenate([start[None], ends[:-1]])
    begins = np.zeros(moves + 1, np.int64)
    count_chords(starts, record.kind[:moves], record.arcs, tolerance, begins)
    points = np.zeros((int(begins[-1]), 3))
    place_chords(starts, ends, record.kind[:moves], record.arcs, begins, points)
    return _Chords(points, begins)


def _toolpath(record: text_moves.Record, start: NDArray[np.float64], chords: _Chords) -> Toolpath:
    """Build the toolpath; every chord carries feed and line of its arc."""
    moves = int(record.counts[0])
    kind = np.where(record.kind[:moves] == RAPID, RAPID, CUT).astype(np.int8)
    feed, line = record.feed[:moves], record.line[:moves]
    if len(chords.ends) > moves:
        pieces = np.diff(chords.begins)
        kind, feed, line = (
            np.repeat(kind, pieces),
            np.repeat(feed, pieces),
            np.repeat(line, pieces),
        )
    arcs = _arcs(record, start, chords)
    return Toolpath(start=start, ends=chords.ends, kind=kind, feed=feed, line=line, arcs=arcs)


def _arcs(record: text_moves.Record, start: NDArray[np.float64], chords: _Chords) -> Arcs:
    """Chords of the arcs, and their centres where they lie in X and Y."""
    moves, arcs = int(record.counts[0]), int(record.counts[1])
    which = np.flatnonzero(record.kind[:moves] == _ARC)
    begins = np.concatenate([start[None], record.ends[:moves]])[which]
    flat = record.arcs[:arcs, 3:] == _FLAT
    return Arcs(
        moves=np.column_stack([chords.begins[which], chords.begins[which + 1]]),
        centres=np.where(flat, record.arcs[:arcs, :2] - begins[:, :2], np.nan),
    )


def _events(
    record: text_moves.Record, begins: NDArray[np.int64], dwell_scale: float
) -> tuple[Event, ...]:
    """Events in the order of the text."""
    found = []
    for before, kind, value, line in record.events[: int(record.counts[2])].tolist():
        name = _KINDS[int(kind)]
        found.append(
            Event(
                before=int(begins[int(before)]),
                kind=name,
                value=value * dwell_scale if name == "dwell" else value,
                line=int(line),
            )
        )
    return tuple(found)


def _comments(data: bytes, before_line: int) -> tuple[str, ...]:
    """Comments of the lines before the given one; of several on a line the last counts (3.3.4)."""
    found = []
    for line in islice(BytesIO(data), before_line - 1):
        pairs = _COMMENT.findall(line)
        if pairs:
            text = max(pairs[-1], key=len).decode("utf-8", "replace").strip()
            found.extend([text] if text else [])
    return tuple(found)


def _run(data: bytes, name: str, state: NDArray[np.float64]) -> text_moves.Record:
    """Carry out a text; TextError if that cannot be done or moves nothing."""
    if not data.strip():
        raise TextError(f"{name} is empty; check that it was saved whole")
    text = np.frombuffer(data, np.uint8)
    record = _room(text)
    reason, first, place = text_moves.run_text(text, state, record)
    lines = int(record.counts[3])
    if reason:
        raise refused(data, name=name, reason=reason, line=lines, first=first, place=place)
    if record.counts[0] == 0:
        raise TextError(f"{name} moves nowhere in its {lines} lines; check that it is complete")
    return record


def read(
    data: bytes,
    *,
    name: str = "text",
    start: tuple[float, float, float] | None = None,
    arc_tolerance: float = 0.002,
    dwell_unit: Literal["s", "ms"] = "s",
) -> Program:
    r"""Read a program.

    Parameters
    ----------
    name : what messages call the text, a file name
    start : mm, where the tip is before the first line. None: not known until rapids have given
        X, Y and Z; those are no moves, and the path starts where they end
    arc_tolerance : mm, > 0; how far the chords of an arc may lie inside it, and so how much less
        than the machine a proof of the chords may see cut. 0.002 is a twentieth of the gouge that
        is refused
    dwell_unit : what P of G4 counts; s in the standard, ms on some controllers

    Returns
    -------
    Moves in mm and mm/s. A line that leads nowhere, because the tip is there, is no move.

    Raises
    ------
    TextError : a line that is not understood, unsafe, or not RS-274/NGC; no end; no move
    ValueError : a tolerance that is not above zero, a start that is no number

    >>> program = read(b"G21 G90\nG0 X0 Y0 Z5\nG1 Z-1 F600\nM2\n")
    >>> program.toolpath.ends.tolist(), program.toolpath.feed.tolist()
    ([[0.0, 0.0, -1.0]], [10.0])
    """
    if not 0 < arc_tolerance < np.inf:
        raise ValueError(f"arc tolerance {arc_tolerance} mm is not above zero")
    if start is not None and not np.isfinite(start).all():
        raise ValueError(f"start {start} is no position")
    state = text_moves.first_state(np.array(start or (np.nan,) * 3, dtype=np.float64))
    record = _run(data, name, state)
    origin = state[START : START + 3]
    chords = _in_chords(record, origin, arc_tolerance)
    return Program(
        toolpath=_toolpath(record, origin, chords),
        events=_events(record, chords.begins, 1.0 if dwell_unit == "s" else 1e-3),
        unit="in" if state[SCALE] == MM_PER_INCH else "mm",
        comments=_comments(data, int(record.line[0])),
        lines=int(record.counts[3]),
    )
