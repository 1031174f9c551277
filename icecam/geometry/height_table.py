"""Heights of ice as a person writes them down: a spreadsheet saved as CSV.

The first row holds places along X, the first column places along Y, both rising; every other cell
holds the height over the bed at that crossing, or nothing where it is not known. Cells are parted
by semicolons, tabs or commas; where by one of the first two, a figure may have a comma for a point.
"""

import csv
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from icecam.errors import JobError
from icecam.geometry.field import Heights

MOST_READINGS: Final = 1_000_000
FARTHEST_MM: Final = 10_000.0
"""No block is larger (`icecam.job.records`), so no place lies farther."""
_WHAT: Final = "block.precut.heights"

Line = tuple[int, list[str]]
"""Number of a line in the file, and its cells."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeightTable:
    """Heights (ny, nx) where lines at x (nx,) and y (ny,) cross, mm; NaN where not known."""

    x: Heights
    y: Heights
    heights: Heights
    file: str


def read_table(path: Path, factor: float) -> HeightTable:
    """Read a table of heights; `factor` turns its figures into mm.

    Raises
    ------
    JobError : says which line and column
    """
    lines, mark = _lines(path)
    width = len(lines[0][1]) if lines else 0
    if len(lines) < 3 or width < 3:
        raise JobError(
            f"{_WHAT}: {path.name} has fewer than two lines of readings either way; give places "
            "along X in the first row and along Y in the first column"
        )
    if len(lines) * width > MOST_READINGS:
        raise JobError(
            f"{_WHAT}: {path.name} holds {len(lines) * width} readings, more than {MOST_READINGS}; "
            "keep the highest of several, or give a mesh"
        )
    lines[0][1][0] = ""  # the corner may say anything
    figures = np.array([_figures(path, line, width, mark) for line in lines]) * factor
    table = HeightTable(x=figures[0, 1:], y=figures[1:, 0], heights=figures[1:, 1:], file=path.name)
    for places, name in ((table.x, "row"), (table.y, "column")):
        if not (np.diff(places) > 0).all():
            raise JobError(
                f"{_WHAT}: places in the first {name} of {path.name} do not rise from one to the "
                "next, or one is missing; give them all, in order"
            )
        farthest = float(places[np.argmax(np.abs(places))])
        if abs(farthest) > FARTHEST_MM:
            raise JobError(
                f"{_WHAT}: the first {name} of {path.name} holds a place at {farthest:.6g} mm, "
                f"more than {FARTHEST_MM:.0f} mm away; correct it, or set file_unit"
            )
    return table


def _lines(path: Path) -> tuple[list[Line], str]:
    """Return the lines that hold anything, and what parts their cells."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        mark = next((each for each in ";\t" if each in text), ",")
        rows = list(enumerate(csv.reader(text.splitlines(), delimiter=mark), start=1))
    except (OSError, ValueError, csv.Error) as fault:
        raise JobError(
            f"{_WHAT}: {path} cannot be read as text; check the path, and save the table as CSV"
        ) from fault
    return [(number, row) for number, row in rows if any(cell.strip() for cell in row)], mark


def _figures(path: Path, line: Line, width: int, mark: str) -> list[float]:
    """Read a line; cells left out at its end are not known, like empty ones."""
    number, cells = line
    if len(cells) > width:
        raise JobError(
            f"{_WHAT}: line {number} of {path.name} has {len(cells)} cells and the first has "
            f"{width}; give a place along X over each column"
        )
    found = [_figure(cell if mark == "," else cell.replace(",", ".")) for cell in cells]
    if None in found:
        place = found.index(None)
        raise JobError(
            f'{_WHAT}: "{cells[place].strip()[:20]}" in line {number}, column {place + 1} of '
            f"{path.name} is no number; give plain figures in file_unit, or leave the cell empty"
        )
    known = [figure for figure in found if figure is not None]
    return known + [math.nan] * (width - len(known))


def _figure(cell: str) -> float | None:
    """Read a cell: NaN if it is empty, None if it is no number."""
    if not cell.strip():
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
