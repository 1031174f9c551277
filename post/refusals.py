"""Why a line of text is refused, in words: what is wrong, and what to change."""

from typing import Final

from icecam.errors import TextError
from icecam.kernels import text_codes as tc

_SHOWN: Final = 120
"""Characters of a line that a message repeats."""

REASONS: Final = {
    tc.LONG_LINE: (
        "is longer than 256 characters",
        "break it into shorter lines, one move on each",
    ),
    tc.BAD_CHARACTER: (
        "holds a character that starts no word",
        "write plain letters and numbers only, without variables, expressions or other signs",
    ),
    tc.UNKNOWN_LETTER: (
        "uses a letter that is not read here, or a number with an exponent",
        "write the program for three axes with X Y Z, I J K R, F G M N P S T",
    ),
    tc.NO_NUMBER: ("has a letter without a number", "write the number behind the letter"),
    tc.BIG_NUMBER: ("holds a number beyond 9999999", "correct the number"),
    tc.UNCLOSED: ("opens a comment and does not close it", "close it on the same line"),
    tc.NESTED: ("opens a comment inside a comment", "keep parentheses out of comments"),
    tc.CONTROL: ("has a control character in a comment", "take it out"),
    tc.LINE_NUMBER: (
        "has an N that is no line number",
        "write N first on the line, with one to five digits and nothing else",
    ),
    tc.LETTER_TWICE: ("has a letter twice", "write each letter but G and M once a line"),
    tc.UNKNOWN_G: (
        "has a G code that is not read here",
        "write the path with G0 to G3 in G54 and G94, without offsets, cycles or compensation",
    ),
    tc.UNKNOWN_M: ("has an M code that is not read here", "take it out, or do it by hand"),
    tc.SAME_GROUP: (
        "has two codes that exclude each other",
        "write one code of a modal group a line",
    ),
    tc.MANY_M: ("has more than four M words", "spread them over two lines"),
    tc.PERCENT: (
        "has a percent sign out of place",
        "write it alone on the first line that is not blank and once more at the end",
    ),
    tc.NO_END: (
        "is the last one, and the program has no end",
        "check that the file is complete, and end it with M2 or M30",
    ),
    tc.NO_MOTION: (
        "has X, Y or Z while no motion is in force",
        "write G0, G1, G2 or G3 before it",
    ),
    tc.NO_AXES: (
        "asks for a motion without the X, Y or Z it needs",
        "give the end of the motion on the same line",
    ),
    tc.UNUSED_WORD: (
        "has I, J, K, R or P where nothing uses it",
        "write I, J, K, R on arcs, P with G4 or G64 only",
    ),
    tc.NO_DWELL: ("waits with G4 but not for how long", "add P with the time"),
    tc.NEGATIVE: ("has F, P, S or T below zero", "write it from zero up"),
    tc.NOT_WHOLE: ("has a T that is no whole number", "write the number of the bit"),
    tc.NO_UNIT: (
        "has a length or feed before the unit is known",
        "write G20 or G21 on a line before it",
    ),
    tc.NO_FEED: (
        "cuts without a feed above zero",
        "write F on it or before it, and anew after a change of unit",
    ),
    tc.UNKNOWN_POSITION: (
        "cuts, or moves by increments, before the position is known",
        "give X, Y and Z by rapids first",
    ),
    tc.MACHINE_MOVE: (
        "moves in machine coordinates (G53), which cannot be placed in the work",
        "take it out, or keep it a rapid in G90 before X, Y and Z are given",
    ),
    tc.ARC_CENTRE: (
        "has an arc that does not say where its centre is",
        "write either R or the offsets I, J, K of the plane in force",
    ),
    tc.ARC_RADII: (
        "has an arc whose start and end differ in radius by more than 0.002 mm (0.0002 in)",
        "write the arc with more decimals",
    ),
    tc.ARC_POINT: ("has an arc around its own start or end", "correct the centre"),
    tc.ARC_CIRCLE: (
        "has an arc with R that ends where it begins",
        "write a full circle with its centre",
    ),
    tc.ARC_SHORT: ("has an arc with R too small to reach its end", "correct R"),
    tc.TOO_FAR: ("reaches beyond 99999 mm", "check the unit and the number"),
}


def refused(data: bytes, *, name: str, reason: int, line: int, first: int, place: int) -> TextError:
    """Return the error for a line; `first` and `place` are where it and its fault start."""
    what, change = REASONS[reason]
    text = data[first : first + 4 * _SHOWN].partition(b"\n")[0].rstrip(b"\r")
    shown = text.decode("ascii", "backslashreplace")
    if len(shown) > _SHOWN:
        shown = shown[:_SHOWN] + "..."
    where = f"{name}, line {line}" + (f", column {place - first + 1}" if place > first else "")
    return TextError(f'{where}: "{shown}" {what}; {change}')
