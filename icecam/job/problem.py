"""One thing wrong in a job, where it is, and how it is told to the sculptor."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

Where = tuple[str | int, ...]
"""Path to a value: names of tables and keys, places in lists counted from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What is wrong at `where`; `text` goes on from the key: what is wrong, then the remedy."""

    where: Where
    text: str


def key(where: Where) -> str:
    """Write the path to a value as a sculptor counts: places in lists from 1.

    >>> key(("rack", 0, "diameter")), key(())
    ('rack[1].diameter', 'the job')
    """
    parts = [f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in where]
    return "".join(parts).removeprefix(".") or "the job"


def shown(value: object) -> str:
    """Write a value as it stands in the file, cut short if it is long.

    >>> shown(True), shown("40 lb"), shown([1, 2.5])
    ('true', '"40 lb"', '[1, 2.5]')
    """
    try:
        text = json.dumps(value, ensure_ascii=False, default=str)
    except ValueError:  # Python writes no whole number of thousands of digits
        text = "too long to show"
    return text if len(text) <= 60 else text[:57] + "..."


def figure(value: float) -> str:
    """Write a number to a thousandth, without trailing zeros.

    >>> figure(125.0), figure(0.25), figure(1 / 3)
    ('125', '0.25', '0.333')
    """
    return f"{value:.3f}".rstrip("0").rstrip(".")


def sentence(source: str, problems: Sequence[Problem]) -> str:
    """Return one sentence: the first problem in full, and how many more there are."""
    first, *others = problems
    more = f"; and {len(others)} more problem{'s' * (len(others) > 1)}" if others else ""
    return f"{source}: {key(first.where)} {first.text}{more}"
