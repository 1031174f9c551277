"""What the records refuse, told in the words of the job file."""

import difflib
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from icecam.job.allowed import allowed, keys_of, tables
from icecam.job.problem import Problem, Where, key, shown

_UNKNOWN = "unexpected_keyword_argument"


def faults(error: ValidationError, content: Mapping[str, Any]) -> tuple[Problem, ...]:
    """Return one problem for each refusal; unknown keys first, as they often explain the rest.

    Parameters
    ----------
    error : what pydantic found
    content : the job as read, in which the refused values are looked up
    """
    every = error.errors(include_url=False)
    places = {fault["loc"][:depth] for fault in every for depth in range(len(fault["loc"]))}
    # A list that holds a wrong value is called too short as well, for want of that value.
    found = [fault for fault in every if fault["loc"] not in places]
    rank = {_UNKNOWN: 0, "missing": 2}
    ordered = sorted(found, key=lambda fault: rank.get(fault["type"], 1))
    return tuple(
        _problem(fault["type"], fault["loc"], str(fault.get("ctx", {}).get("error", "")), content)
        for fault in ordered
    )


def _problem(kind: str, where: Where, reason: str, content: Mapping[str, Any]) -> Problem:
    """Turn one refusal into a problem."""
    name = _bit_name(where, content)
    if kind == _UNKNOWN:
        return Problem(where=where, text=f"{name}is not a known key; {_suggestion(where)}")
    if kind == "missing" and isinstance(where[-1], str):
        return Problem(where=where, text=f"{name}is missing; give {allowed(where)}")
    if kind == "missing":
        where = where[:-1]
    because = f", and {reason}" if reason else ""
    value = shown(_value_at(where, content))
    return Problem(where=where, text=f"{name}is {value}{because}; give {allowed(where)}")


def _value_at(where: Where, content: Mapping[str, Any]) -> object:
    """Return the value as it stands in the file."""
    value: Any = content
    for part in where:
        value = value[part]
    return value


def _bit_name(where: Where, content: Mapping[str, Any]) -> str:
    """Return the name of the bit a key belongs to, for a rack of several."""
    if len(where) < 3 or where[0] != "rack" or where[2] == "name":
        return ""
    name = content["rack"][where[1]].get("name")
    return f"({shown(name)}) " if isinstance(name, str) else ""


def _suggestion(where: Where) -> str:
    """Say which key was probably meant: this one elsewhere, the nearest beside it, or anywhere."""
    table, wrong = where[:-1], str(where[-1])
    homes = {name: home for home in reversed(tables()) for name in keys_of(home)}
    if wrong in homes:
        return f"it belongs to {_heading(homes[wrong])}"
    beside = keys_of(table)
    near = _nearest(wrong, beside)
    if near:
        return f"did you mean {key((*table, near))}?"
    near = _nearest(wrong, tuple(homes))
    if near:
        return f"did you mean {near} of {_heading(homes[near])}?"
    return f"the keys of {key(table)} are {', '.join(beside)}"


def _nearest(wrong: str, names: Sequence[str]) -> str:
    """Return the name most like `wrong`, or nothing if none is near."""
    return next(iter(difflib.get_close_matches(wrong.lower(), names, n=1, cutoff=0.6)), "")


def _heading(table: Where) -> str:
    """Write the line that opens a table in the file."""
    if not table:
        return "the top of the file"
    return "[[rack]]" if table[0] == "rack" else f"[{key(table)}]"
