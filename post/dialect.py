"""Dialects: the habits of a controller, one TOML file each, that the writer follows.

A dialect says how the text is dressed (line numbers, percent lines, comments, units), never what
moves: every dialect writes the same path.
"""

import tomllib
from dataclasses import dataclass, fields
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any, Final, Literal, get_args, get_origin

from icecam.errors import JobError
from icecam.kernels.text import LONGEST

Unit = Literal["mm", "in"]

_RANGES: Final = {
    "line_number_step": (0, 1000),
    "decimals_mm": (2, 5),
    "decimals_in": (3, 6),
    "max_line_length": (LONGEST, 254),
}

_ARC_DECIMALS: Final = {"decimals_mm": (3, 4), "decimals_in": (4, 5)}
"""Half a tick off in each of I and J parts the radii by up to 1.42 ticks; 0.002 mm or 0.0002 in are
allowed. Source: NISTIR 6556, 3.5.3.2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """Habits of a controller.

    Parameters
    ----------
    name : its own plain name
    extension : of the files, without the point
    line_number_step : from one line number to the next; 0 writes none. They start again when five
        digits are used up
    percent : whether the text lies between two percent lines
    comments : how comments are marked; RS-274/NGC knows parentheses only
    unit : of the text, unless the job asks for another
    decimals_mm, decimals_in : of coordinates, in texts of either unit
    dwell_unit : what P of G4 counts; s in RS-274/NGC
    program_end : last word of the program
    header_lines, footer_lines : written as they are, after the comments and before the end
    tool_changes : whether T and M6 are written
    path_word : G61, G61.1 or G64, or empty to leave the controller as it is set
    arcs : whether G2 and G3 are written, with I and J counted from the start of the arc; decimals
        are then held to what the radii and the line length allow
    max_line_length : characters without the line end

    Raises
    ------
    JobError : a value that cannot be used, with its key
    """

    name: str
    extension: str
    line_number_step: int
    percent: bool
    comments: Literal["parentheses", "semicolon", "none"]
    unit: Unit
    decimals_mm: int
    decimals_in: int
    dwell_unit: Literal["s", "ms"]
    program_end: Literal["M2", "M30"]
    header_lines: tuple[str, ...]
    footer_lines: tuple[str, ...]
    tool_changes: bool
    path_word: Literal["", "G61", "G61.1", "G64"]
    arcs: bool
    max_line_length: int

    def __post_init__(self) -> None:
        for field in fields(self):
            _check_value(field.name, field.type, getattr(self, field.name))
        if not (self.extension.isascii() and self.extension.isalnum()):
            raise JobError(f'extension "{self.extension}" is not made of letters and digits')
        if self.arcs:
            self._check_arcs()
        for key in ("header_lines", "footer_lines"):
            for line in getattr(self, key):
                self._check_line(key, line)

    def _check_arcs(self) -> None:
        """Refuse decimals with which radii would not agree, or lines would get too long."""
        for key, (low, high) in _ARC_DECIMALS.items():
            if not low <= getattr(self, key) <= high:
                raise JobError(
                    f"{key} is {getattr(self, key)}; with arcs, write {low} to {high}, or set arcs "
                    "to false"
                )

    def _check_line(self, key: str, line: str) -> None:
        """Refuse a line that would not fit or not be a line."""
        room = self.max_line_length - len("N99999 ")
        if not (line.isascii() and line.isprintable() and 0 < len(line.strip()) <= room):
            raise JobError(
                f'{key} holds "{line}"; write 1 to {room} plain characters, without a line break'
            )


def _check_value(key: str, kind: Any, value: object) -> None:  # noqa: ANN401 - any type
    """Refuse a value of the wrong type, outside its range or not among its choices."""
    if get_origin(kind) is Literal:
        if value not in get_args(kind):
            choices = ", ".join(f'"{choice}"' for choice in get_args(kind))
            raise JobError(f"{key} is {value!r}; write one of {choices}")
        return
    if get_origin(kind) is tuple:
        if not isinstance(value, tuple) or not all(isinstance(item, str) for item in value):
            raise JobError(f"{key} is {value!r}; write a list of texts")
        return
    if type(value) is not kind:
        raise JobError(f"{key} is {value!r}; write a value of type {kind.__name__}")
    if isinstance(value, int) and key in _RANGES:
        low, high = _RANGES[key]
        if not low <= value <= high:
            raise JobError(f"{key} is {value}; write {low} to {high}")


def _folder() -> Traversable:
    """Where the dialects lie."""
    return resources.files("post").joinpath("dialects")


def available() -> tuple[str, ...]:
    """Names of the dialects, sorted."""
    names = [item.name for item in _folder().iterdir()]
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load(name: str) -> Dialect:
    """Read a dialect.

    Raises
    ------
    JobError : no dialect of that name, or a file that is no dialect

    >>> load("plain").extension
    'ngc'
    """
    if name not in available():
        raise JobError(f'there is no dialect "{name}"; choose one of {", ".join(available())}')
    return parse(_folder().joinpath(f"{name}.toml").read_bytes(), name=name)


def parse(data: bytes, *, name: str) -> Dialect:
    """Make a dialect from the TOML text of its file.

    Raises
    ------
    JobError : names the file, the key, and what to write
    """
    file = f"{name}.toml"
    try:
        table = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise JobError(f"dialect {file} is not TOML: {error}; correct the file") from None
    known = {field.name for field in fields(Dialect)} - {"name"}
    for key in sorted(table.keys() ^ known):
        fault = "is missing; add it" if key in known else "is not known; take it out"
        raise JobError(f"dialect {file}: {key} {fault}")
    values: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in table.items()
    }
    try:
        return Dialect(name=name, **values)
    except JobError as error:
        raise JobError(f"dialect {file}: {error}") from None
