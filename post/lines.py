"""Lines of a text taken out of it, so that another file may go on with them.

Takes the bytes of a file of one move a line, gives lines as they stand, without line numbers; the
first says for itself what the lines before it had set for it.
"""

import re
from typing import Final

from icecam.errors import TextError

_COMMENT: Final = re.compile(r"\([^)]*\)|;.*")
_NUMBER: Final = re.compile(r"^\s*N\s*\d+\s*", re.IGNORECASE)
_MOTION: Final = re.compile(r"G\s*0*([0-3])(?![\d.])", re.IGNORECASE)
_FEED: Final = re.compile(r"F\s*([\d.]+)", re.IGNORECASE)


def lines_from(data: bytes, first: int, last: int | None) -> list[str]:
    r"""Return lines `first` to `last` (both counted from 1 and among them), None for the end.

    The first must cut. It gets the motion and the feed in force; units, plane, distance mode and
    position are for the file that goes on with it to set. Percent lines are left out.

    Raises
    ------
    TextError : no motion or no feed is in force at the first line

    >>> lines_from(b"G21 G90\nG1 X1 F600\nY2\nX3\nM2\n", 3, 4)
    ['G1 Y2 F600', 'X3']
    """
    lines = data.decode("ascii", "backslashreplace").rstrip().split("\n")
    taken = [_NUMBER.sub("", line).rstrip() for line in lines[first - 1 : last]]
    words = [f"G{_in_force(_MOTION, lines, first)}"] if not _said(_MOTION, taken[0]) else []
    words.append(taken[0])
    if not _said(_FEED, taken[0]):
        words.append(f"F{_in_force(_FEED, lines, first)}")
    return [" ".join(words), *(line for line in taken[1:] if line != "%")]


def _said(word: re.Pattern[str], line: str) -> re.Match[str] | None:
    """Find a word in a line, outside its comments."""
    return word.search(_COMMENT.sub("", line))


def _in_force(word: re.Pattern[str], lines: list[str], first: int) -> str:
    """Look up the lines before `first` for the last of a word."""
    for line in reversed(lines[: first - 1]):
        found = _said(word, line)
        if found:
            return found.group(1)
    raise TextError(f"line {first} cannot be begun with: no line before it says how it moves")
