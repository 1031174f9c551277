"""Which rows stand on which page of the job sheet, and in which size of letters.

Heights are those measured in a browser with a wide letter, a little rounded up; what is misjudged
flows to another page and is never cut.
"""

from collections.abc import Sequence
from math import ceil
from typing import Any, Final, NamedTuple

PAGE_MM: Final = 274.5
"""Height of a page between its margins, without its foot."""
ASSUMED_MM: Final = 29.5
LONG_NAME_MM, TWO_FEEDS_MM = 3.2, 3.0
"""What a long name of a file adds to a row, and two feeds, as finishing may have."""
LONG_FILE: Final = 50
"""Names of files with more letters stand in smaller ones."""


class Letters(NamedTuple):
    """A size of letters and what stands in it, mm with the space after it.

    head_mm : clock of the job with its head; row_mm : a stage without warnings
    warning_mm, line_mm : what a warning takes, and each of its lines
    in_line : letters in a line of a warning
    """

    head_mm: float
    row_mm: float
    warning_mm: float
    line_mm: float
    in_line: int


ROOMY: Final = Letters(head_mm=33.5, row_mm=29.5, warning_mm=2.2, line_mm=3.2, in_line=140)
TIGHT: Final = Letters(head_mm=30.5, row_mm=27.6, warning_mm=1.3, line_mm=2.9, in_line=162)


class Layout(NamedTuple):
    """Rows of each page after the first, whether letters are large, where constants stand."""

    counts: tuple[int, ...]
    roomy: bool
    assumed_last: bool


def warnings_about(name: str, warnings: Sequence[str]) -> list[str]:
    """Return the warnings that begin with the name of a stage, without it."""
    head = f"{name}: "
    return [each.removeprefix(head) for each in warnings if each.startswith(head)]


def layout_of(stages: Sequence[dict[str, Any]], warnings: Sequence[str]) -> Layout:
    """Choose large letters if all fits two pages in them, else small ones on as many as it takes.

    Parameters
    ----------
    stages, warnings : those of summary.json
    """
    roomy = [_row_mm(stage, warnings, ROOMY) for stage in stages]
    if ROOMY.head_mm + sum(roomy) + ASSUMED_MM <= PAGE_MM:
        return Layout((len(stages),), roomy=True, assumed_last=True)
    rows = [_row_mm(stage, warnings, TIGHT) for stage in stages]
    counts, used = [0], TIGHT.head_mm
    for row in rows:
        if used + row > PAGE_MM:
            counts.append(0)
            used = 0.0
        counts[-1] += 1
        used += row
    return Layout(tuple(counts), roomy=False, assumed_last=used + ASSUMED_MM <= PAGE_MM)


def _row_mm(stage: dict[str, Any], warnings: Sequence[str], letters: Letters) -> float:
    """Height of a stage's row."""
    lines = [
        ceil((len(each) + 9) / letters.in_line) for each in warnings_about(stage["name"], warnings)
    ]
    told = len(lines) * letters.warning_mm + sum(lines) * letters.line_mm
    long: float = LONG_NAME_MM * (len(stage["file"]) > LONG_FILE)
    feeds = TWO_FEEDS_MM if stage["kind"] == "finish" else 0.0
    return letters.row_mm + told + long + feeds
