"""Toolpaths written as RS-274/NGC text.

Takes paths in mm and mm/s with what must happen around them, gives the bytes of a file. Each part
rises to the clearance height before it goes anywhere, and ends there; moves are written by the
kernel, which decides on rounded numbers what has changed. Where the dialect has arcs, runs of cuts
at one feed that an arc stands for within a tolerance become G2 or G3, with the centre from the
start (I, J), flat or as a helix, each well short of a full turn. A path that was read from a text
keeps the arcs it has where each goes at one feed, so that with other feeds by line it goes the
very same way.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.errors import TextError
from icecam.kernels.arcs import Fit, find_arcs
from icecam.kernels.text import (
    LARGEST,
    LONGEST,
    MODAL_SIZE,
    UNKNOWN,
    Figures,
    format_moves,
    next_number,
    put_number,
    round_moves,
)
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.units import MM_PER_INCH, S_PER_MIN
from post.comments import comment_lines
from post.dialect import Dialect, Unit

_FEED_DECIMALS: Final = {"mm": 1, "in": 2}
_Z, _MOTION, _NUMBER = 2, 3, 5
ARC_LEAST_MM: Final = 0.3
"""Smaller arcs are not worth a word, and small controllers stumble over them."""
ARC_MOST_MM: Final = 999.0
"""Flatter arcs bend by less than their own rounding; also keeps I and J short."""
ARC_FARTHEST: Final = 9999
"""Largest coordinate of an arc, in the units of the text, so that its line is never too long."""
_RADII_MM: Final = {"mm": 0.002, "in": 0.0002 * MM_PER_INCH}
"""How far the radii at start and end may differ. Source: NISTIR 6556, 3.5.3.2."""
_SAFE_START: Final = "G17 G90 G94 G40 G49 G80 G54"
"""Every mode the text relies on, whatever ran before. Source: NISTIR 6556, 3.5 and table 4."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What must happen before a path is run.

    Parameters
    ----------
    comments : for people; cleaned so that no controller acts on them
    tool : number of the bit, 0 to 99999
    spindle_rpm : rpm, written as a whole number
    spindle_start : s to wait until the spindle is up to speed
    clearance_z : mm in work coordinates, a height at which every way is free
    arc_tolerance : mm, how far an arc may lie from the moves it stands for; 0 writes none

    Raises
    ------
    TextError : a value that cannot be written
    """

    comments: tuple[str, ...]
    tool: int
    spindle_rpm: float
    spindle_start: float
    clearance_z: float
    arc_tolerance: float = 0.0

    def __post_init__(self) -> None:
        limits = {
            "tool": (0, LARGEST),
            "spindle_rpm": (1, LARGEST),
            "spindle_start": (0, 3600),
            "clearance_z": (-LARGEST, LARGEST),
            "arc_tolerance": (0, 1),
        }
        for key, (low, high) in limits.items():
            value = getattr(self, key)
            if not low <= value <= high:
                raise TextError(f"{key} {value} cannot be written; it must be {low} to {high}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Style:
    """A dialect in the unit of this text."""

    dialect: Dialect
    unit: Unit

    @property
    def figures(self) -> Figures:
        """How the kernel writes numbers."""
        length = MM_PER_INCH if self.unit == "in" else 1.0
        decimals = self.dialect.decimals_in if self.unit == "in" else self.dialect.decimals_mm
        feed_decimals = _FEED_DECIMALS[self.unit]
        return Figures(
            scale=10**decimals / length,
            decimals=decimals,
            feed_scale=10**feed_decimals * S_PER_MIN / length,
            feed_decimals=feed_decimals,
            step=self.dialect.line_number_step,
        )

    def fit(self, tolerance: float) -> Fit:
        """Return what an arc must keep, in ticks; `tolerance` in mm."""
        figures = self.figures
        return Fit(
            tolerance=tolerance * figures.scale,
            radii=_RADII_MM[self.unit] * figures.scale,
            least=ARC_LEAST_MM * figures.scale,
            most=ARC_MOST_MM * figures.scale,
            farthest=ARC_FARTHEST * 10.0**figures.decimals,
        )


def _plain(value: float, decimals: int) -> str:
    """Write a number without exponent, plus sign or trailing zeros."""
    digits = np.zeros(40, np.uint8)
    used = put_number(digits, 0, round(value * 10**decimals), decimals)
    return digits[:used].tobytes().decode("ascii")


def _numbered(lines: Sequence[str], style: _Style, modal: NDArray[np.int64]) -> bytes:
    """Put line numbers before lines and ends behind them; the count goes on in `modal`."""
    step = style.dialect.line_number_step
    text = []
    for line in lines:
        mark = ""
        if step:
            modal[_NUMBER] = next_number(int(modal[_NUMBER]), step)
            mark = f"N{modal[_NUMBER]} "
        text.append(f"{mark}{line}\n")
    return "".join(text).encode("ascii")


def _comment_lines(comments: Sequence[str], dialect: Dialect) -> bytes:
    """Comments as lines of their own; none at all if the dialect has none."""
    lines = [line for text in comments for line in comment_lines(text, dialect)]
    return "".join(f"{line}\n" for line in lines).encode("ascii")


def _spindle_lines(header: Header, before: Header | None, dialect: Dialect) -> list[str]:
    """Bit and spindle for a part; `before` is the part that ran last, still turning."""
    change = before is None or before.tool != header.tool
    if not change and before is not None and before.spindle_rpm == header.spindle_rpm:
        return []
    lines = []
    if change and before is not None:
        lines.append("M5")
    if change and dialect.tool_changes:
        lines.append(f"T{header.tool} M6")
    lines.append(f"S{_plain(header.spindle_rpm, 0)} M3")
    if header.spindle_start > 0:
        in_seconds = dialect.dwell_unit == "s"
        wait = header.spindle_start * (1 if in_seconds else 1000)
        lines.append(f"G4 P{_plain(wait, 2 if in_seconds else 0)}")
    return lines


def _approach_lines(
    path: Toolpath, header: Header, style: _Style, modal: NDArray[np.int64]
) -> list[str]:
    """Rise, go over the start, go down to it; `modal` then holds that position."""
    figures = style.figures
    x, y, z, clear = (
        round(float(value) * figures.scale) for value in (*path.start, header.clearance_z)
    )
    if max(map(abs, (x, y, z, clear))) > LARGEST * 10**figures.decimals:
        raise TextError(
            f"the path starts at {path.start.tolist()} mm, further than {LARGEST} {style.unit} "
            "from the work zero; set the zero closer"
        )
    modal[:_NUMBER] = (x, y, z, 0, UNKNOWN)
    words = [_plain(ticks / 10**figures.decimals, figures.decimals) for ticks in (x, y, z, clear)]
    lines = [f"G0 Z{words[3]}", f"G0 X{words[0]} Y{words[1]}"]
    return lines if z == clear else [*lines, f"G0 Z{words[2]}"]


def _moves(path: Toolpath, header: Header, style: _Style, modal: NDArray[np.int64]) -> bytes:
    """Write the moves of a path."""
    points, feeds = np.zeros((len(path) + 1, 3), np.int64), np.zeros(len(path), np.int64)
    points[0], before = modal[: _Z + 1], np.zeros(len(path) + 1, np.int64)
    moves = path.ends, path.kind, path.feed
    kept, refused = round_moves(*moves, style.figures, points, feeds, before)
    if refused >= 0:
        feed = "" if path.kind[refused] != CUT else f" at {path.feed[refused]:g} mm/s"
        raise TextError(
            f"move {refused} goes to {path.ends[refused].tolist()} mm{feed}, which cannot be "
            f"written in {style.unit}: coordinates and feeds reach to {LARGEST} at most, and a "
            "feed must not round down to nothing; check units and work zero"
        )
    points, feeds = points[: kept + 1], feeds[:kept]
    spans, centres = np.zeros(kept, np.int64), np.zeros((kept, 2), np.int64)
    if style.dialect.arcs and path.arcs is not None:
        first, last = before[path.arcs.moves].T
        paces = np.cumsum(np.diff(feeds, prepend=0) != 0)
        whole = np.isfinite(path.arcs.centres).all(axis=1) & (paces[first] == paces[last - 1])
        spans[first[whole]] = (last - first)[whole]
        centres[first[whole]] = np.rint(path.arcs.centres[whole] * style.figures.scale)
    elif style.dialect.arcs and header.arc_tolerance > 0:
        find_arcs(points, feeds, style.fit(header.arc_tolerance), spans, centres)
    out = np.zeros(kept * LONGEST, np.uint8)
    used = format_moves(points, feeds, spans, centres, style.figures, modal, out)
    return out[:used].tobytes()


def _retreat_lines(header: Header, style: _Style, modal: NDArray[np.int64]) -> list[str]:
    """Rise to the clearance height, unless the tip is there or higher."""
    figures = style.figures
    clear = round(header.clearance_z * figures.scale)
    if modal[_Z] >= clear:
        return []
    modal[_Z], modal[_MOTION] = clear, RAPID
    return [f"G0 Z{_plain(clear / 10**figures.decimals, figures.decimals)}"]


def _part(
    path: Toolpath,
    header: Header,
    before: Header | None,
    style: _Style,
    modal: NDArray[np.int64],
) -> bytes:
    """One part: comments, bit, spindle, approach, moves, retreat."""
    start = _start(path, header, before, style, modal)
    moves = _moves(path, header, style, modal)
    if not moves:
        raise TextError("a path has no move that is left after rounding; leave it out of the job")
    return b"".join([start, moves, _numbered(_retreat_lines(header, style, modal), style, modal)])


def _start(
    path: Toolpath,
    header: Header,
    before: Header | None,
    style: _Style,
    modal: NDArray[np.int64],
) -> bytes:
    """All that comes before the moves of a part."""
    dialect = style.dialect
    start = []
    if before is None:
        unit = "G20" if style.unit == "in" else "G21"
        start = [*dialect.header_lines, f"{unit} {_SAFE_START}", dialect.path_word]
        start = [line for line in start if line]
    start += _spindle_lines(header, before, dialect)
    start += _approach_lines(path, header, style, modal)
    return _comment_lines(header.comments, dialect) + _numbered(start, style, modal)


def write_job(
    parts: Sequence[tuple[Toolpath, Header]], dialect: Dialect, *, unit: Unit | None = None
) -> bytes:
    """Write several paths as one file, with bit changes between them.

    Parameters
    ----------
    parts : paths in work coordinates with what each needs, in the order they run
    dialect : how the text is dressed
    unit : of the text; None for the unit of the dialect

    Raises
    ------
    TextError : nothing to write, numbers that do not fit, or bit changes in a dialect without them

    Notes
    -----
    Feeds are rounded down, so that no move is faster than planned. A move that leads nowhere after
    rounding is not written. An arc lies within its tolerance of the moves as they would have been
    written, everywhere and both ways; see `icecam.kernels.arcs`. Source: NISTIR 6556; after M6 the
    spindle stands (3.6.3).
    """
    if unit not in (None, "mm", "in"):
        raise TextError(f'a text cannot be in "{unit}"; write mm or in')
    if not parts:
        raise TextError("there is no path to write; plan at least one stage")
    if not dialect.tool_changes and len({header.tool for _, header in parts}) > 1:
        raise TextError(
            f'dialect "{dialect.name}" has no bit changes, but the job uses several bits; write '
            "one file a stage"
        )
    style = _Style(dialect=dialect, unit=unit or dialect.unit)
    modal = np.zeros(MODAL_SIZE, np.int64)
    pieces, before = [], None
    for path, header in parts:
        pieces.append(_part(path, header, before, style, modal))
        before = header
    pieces.append(_numbered(["M5", *dialect.footer_lines, dialect.program_end], style, modal))
    percent = b"%\n" if dialect.percent else b""
    return b"".join([percent, *pieces, percent])


def write(path: Toolpath, header: Header, dialect: Dialect, *, unit: Unit | None = None) -> bytes:
    """Write one path as one file; see `write_job`.

    >>> from post.dialect import load
    >>> path = Toolpath(start=[0, 0, 5], ends=[[0, 0, -1]], kind=[1], feed=[10], line=[0])
    >>> header = Header(
    ...     comments=("crest",), tool=2, spindle_rpm=12000, spindle_start=3, clearance_z=5
    ... )
    >>> print(write(path, header, load("lean")).decode())
    (crest)
    G21 G17 G90 G94 G40 G49 G80 G54
    S12000 M3
    G4 P3
    G0 Z5
    G0 X0 Y0
    G1 Z-1 F600
    G0 Z5
    M5
    M2
    <BLANKLINE>
    """
    return write_job([(path, header)], dialect, unit=unit)


def write_rest(
    entry: Toolpath,
    lines: Sequence[str],
    header: Header,
    dialect: Dialect,
    *,
    unit: Unit,
    ended: bool,
) -> bytes:
    """Write a file that begins with a path of its own and goes on with lines of another file.

    Parameters
    ----------
    entry : in work coordinates, to where those lines begin; it may have no moves
    lines : see `post.lines.lines_from`; of the same dialect
    unit : of the lines
    ended : whether the lines end the program; if not, a retreat and an end are put behind them

    Raises
    ------
    TextError : numbers that do not fit
    """
    style = _Style(dialect=dialect, unit=unit)
    modal = np.zeros(MODAL_SIZE, np.int64)
    start = _start(entry, header, None, style, modal)
    moves = _moves(entry, header, style, modal) if len(entry) else b""
    rest = list(lines)
    if not ended:
        modal[_Z] = np.iinfo(np.int64).min  # wherever the lines end, it is below
        rest += [*_retreat_lines(header, style, modal), "M5", *dialect.footer_lines]
        rest += [dialect.program_end]
    percent = b"%\n" if dialect.percent else b""
    return b"".join([percent, start, moves, _numbered(rest, style, modal), percent])
