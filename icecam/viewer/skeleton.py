"""The text of a file without the coordinates, which the page knows from the moves.

Three million lines would fill the page; without their numbers they shrink to next to nothing. The
numbers left out are whole ticks of the last decimal, so the page writes them as they stood.
"""

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

MARKS: Final = {b"X": b"\x01", b"Y": b"\x02", b"Z": b"\x03"}
"""What stands in the text for a letter and the number the page puts behind it."""
_COMMENT: Final = re.compile(rb"(\([^)\n]*\)|;[^\n]*)")


def skeleton(text: bytes, lines: NDArray[np.int32]) -> bytes:
    r"""Return the text with a mark in the place of each coordinate of a move.

    Parameters
    ----------
    lines : (n,) line of each move, counted from 1, rising

    Notes
    -----
    What stands before the first and behind the last move, and comments, stay as they are.

    >>> skeleton(b"(X1)\nG0 Z5\nG1 X1.5 Z-2 F9\nM2\n", np.array([3, 3]))
    b'(X1)\nG0 Z5\nG1 \x01 \x03 F9\nM2\n'
    """
    begin, end = _line_begin(text, int(lines[0])), _line_begin(text, int(lines[-1]) + 1)
    pieces = _COMMENT.split(text[begin:end])
    for nth in range(0, len(pieces), 2):
        for letter, mark in MARKS.items():
            pieces[nth] = re.sub(letter + rb"-?[0-9.]+", mark, pieces[nth])
    return b"".join([text[:begin], *pieces, text[end:]])


def _line_begin(text: bytes, line: int) -> int:
    """Byte at which a line begins, counted from 1; the length of the text if there are fewer."""
    if line == 1:
        return 0
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    return int(ends[line - 2]) + 1 if line - 2 < len(ends) else len(text)
