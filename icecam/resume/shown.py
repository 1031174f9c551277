"""What the machine shows at a stop, as it is typed: a line, a time, a place."""

import re
from math import isfinite

import numpy as np

from icecam.errors import OutputError
from icecam.resume.folder import CutFolder
from icecam.resume.stops import Run, Stop, at_line, at_place, at_time
from icecam.units import LENGTHS, S_PER_MIN


def stop_shown(
    folder: CutFolder, run: Run, *, line: int | None, time: str | None, at: str | None
) -> Stop:
    """Return the stop that the one thing given tells; a place is in the unit of the file.

    Raises
    ------
    OutputError : text that is no time or place, or one where the file does not go
    """
    if line is not None:
        return at_line(run, line)
    if time is not None:
        return at_time(run, seconds_of(time))
    return at_place(run, _place(at or "") * LENGTHS[folder.stages[0].file.program.unit])


def seconds_of(text: str) -> float:
    """Return seconds of a time in hours and minutes, and seconds if given.

    Raises
    ------
    OutputError : anything else

    >>> seconds_of("1:42"), seconds_of("0:00:30")
    (6120.0, 30.0)
    """
    match = re.fullmatch(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?", text.strip(), re.ASCII)
    if not match:
        raise OutputError(
            f'"{text}" is no time; write hours and minutes as 1:42, or with seconds as 1:42:30'
        )
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return float(hours * 3600 + minutes * 60 + seconds)


def _place(text: str) -> np.typing.NDArray[np.float64]:
    """Return three figures parted by commas."""
    try:
        figures = [float(part) for part in text.split(",")]
    except ValueError:
        figures = []
    if len(figures) != 3 or not all(isfinite(figure) for figure in figures):
        raise OutputError(f'"{text}" is no place; write X, Y and Z as --at=12,40.5,-3')
    return np.array(figures)


def overlap_of(seconds: float) -> float:
    """Check an overlap, s.

    Raises
    ------
    OutputError : not from 0 to an hour
    """
    if not 0 <= seconds <= 3600:
        raise OutputError(f"an overlap of {seconds:g} s cannot be; give 0 to 3600")
    return seconds


def limit_of(*, hours: float | None, minutes: float | None) -> float:
    """Return the longest part in s.

    Raises
    ------
    OutputError : not above 0, or more than a week
    """
    seconds = 3600 * hours if hours is not None else S_PER_MIN * (minutes or 0.0)
    if not 0 < seconds <= 7 * 86_400:
        raise OutputError("a part takes more than 0 and at most 168 hours; give --hours between")
    return seconds
