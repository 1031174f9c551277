"""Conformity of RS-274/NGC text, from the production rules of the standard.

Source: NISTIR 6556 (Kramer, Proctor, Messina, 17 August 2000), Appendix E for a line, 3.1 for a
file, 3.3 for limits, table 4 (3.4) for modal groups, 3.5 and 3.6 for what a code needs. Read in a
copy, not in the printed report; a work of the US government.
"""

import re
from typing import Any, Final

from lark import Lark, Token, Tree
from lark.exceptions import LarkError

GRAMMAR: Final = r"""
line: BLOCK_DELETE? LINE_NUMBER? segment*
?segment: word | setting | comment
comment: COMMENT
word: LETTER value
setting: "#" value "=" value
?value: NUMBER | expression | parameter | unary
parameter: "#" value
expression: "[" value (BINARY value)* "]"
unary: FUNCTION expression | "ATAN" expression "/" expression
BLOCK_DELETE: "/"
LINE_NUMBER: /N[0-9]{1,5}(?![0-9])/
LETTER: /[ABCDFGHIJKLMPQRSTXYZ]/
NUMBER: /[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)/
BINARY: "**" | "/" | "*" | "MOD" | "+" | "-" | "AND" | "OR" | "XOR"
FUNCTION: /ABS|ACOS|ASIN|COS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN/
COMMENT: /\([\t -'*-~]*\)/
"""
_PARSER: Final = Lark(GRAMMAR, start="line", parser="lalr")

G_GROUPS: Final = (
    "4 10 28 30 53 92 92.1 92.2 92.3",
    "0 1 2 3 38.2 80 81 82 83 84 85 86 87 88 89",
    "17 18 19",
    "90 91",
    "93 94",
    "20 21",
    "40 41 42",
    "43 49",
    "98 99",
    "54 55 56 57 58 59 59.1 59.2 59.3",
    "61 61.1 64",
)
M_GROUPS: Final = ("0 1 2 30 60", "6", "3 4 5", "7 8 9", "48 49")
"""Table 4."""


class ConformityError(AssertionError):
    """A line that the standard does not allow."""


def _demand(met: bool, rule: str, line: str) -> None:
    if not met:
        raise ConformityError(f"{rule}: {line!r}")


def _without_blanks(line: str) -> str:
    """3.3: blanks and tabs mean nothing outside comments, letters fold case."""
    pieces = re.split(r"(\([^)]*\))", line)
    return "".join(
        piece if piece.startswith("(") else re.sub(r"[ \t]", "", piece).upper() for piece in pieces
    )


def words(line: str) -> list[tuple[str, float]]:
    """Letters and numbers of a line; expressions count as 0."""
    try:
        tree: Tree[Any] = _PARSER.parse(_without_blanks(line))
    except LarkError as error:
        raise ConformityError(f"Appendix E: {line!r}: {error}") from error
    found = []
    for child in tree.children:
        if isinstance(child, Tree) and child.data == "word":
            letter, value = child.children
            found.append((str(letter), float(value) if isinstance(value, Token) else 0.0))
    return found


def _check_groups(found: list[tuple[str, float]], line: str) -> None:
    """3.3.5 and table 4."""
    for letter, groups in (("G", G_GROUPS), ("M", M_GROUPS)):
        codes = [value for name, value in found if name == letter]
        tables = [{float(code) for code in group.split()} for group in groups]
        _demand(all(any(c in t for t in tables) for c in codes), f"unknown {letter} code", line)
        for table in tables:
            _demand(sum(c in table for c in codes) <= 1, f"two {letter} codes of a group", line)
    others = [letter for letter, _ in found if letter not in "GM"]
    _demand(len(set(others)) == len(others), "a letter twice", line)
    _demand(sum(letter == "M" for letter, _ in found) <= 4, "more than four M words", line)


def _check_needs(found: list[tuple[str, float]], line: str) -> None:
    """3.5.1, 3.5.2, 3.5.4, 3.6.3: what a code needs on its line."""
    letters = {letter for letter, _ in found}
    codes = {value for letter, value in found if letter == "G"}
    if codes & {0.0, 1.0, 2.0, 3.0}:
        _demand(bool(letters & set("XYZABC")), "motion without axis words", line)
    if 4.0 in codes:
        _demand("P" in letters, "dwell without P", line)
    for letter, value in found:
        if letter in "FPST":
            _demand(value >= 0, f"{letter} below zero", line)


def check(text: str) -> None:
    """Raise ConformityError for the first line of a program that the standard does not allow."""
    _demand(text.endswith("\n"), "the last line has no end", text[-20:])
    lines = text.split("\n")[:-1]
    percents = [number for number, line in enumerate(lines) if line.strip() == "%"]
    if percents:
        _demand(percents == [0, len(lines) - 1], "percent lines out of place", lines[0])
        lines = lines[1:-1]
    last: list[tuple[str, float]] = []
    for line in lines:
        _demand(len(line) <= 256, "more than 256 characters", line)
        last = words(line)
        _check_groups(last, line)
        _check_needs(last, line)
    ended = ("M", 2.0) in last or ("M", 30.0) in last
    _demand(ended or bool(percents), "no end of the program", lines[-1])
