"""Every key inside, at and beyond what it may hold."""

import re
from dataclasses import fields, is_dataclass
from typing import get_args, get_origin, get_type_hints

import pytest
from pydantic import TypeAdapter, ValidationError

from icecam.job.file import default_text
from icecam.job.records import Job
from tests.job.content import changed
from tests.job.ranges import CHOICES, LISTS, NUMBERS, TEXTS, WHOLE

READER = TypeAdapter(Job)


def accepts(key: str, value: object) -> bool:
    """Say whether the records take a value; a refusal must name this very key, nothing else."""
    try:
        READER.validate_python(changed({key: value}))
    except ValidationError as error:
        where = [
            "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in fault["loc"])[1:]
            for fault in error.errors()
        ]
        assert {place[: len(key)] for place in where} == {key}
        return False
    return True


@pytest.mark.parametrize("key", NUMBERS)
def test_numbers_keep_their_range(key: str) -> None:
    span = NUMBERS[key]
    assert [value for value in span.inside() if not accepts(key, value)] == []
    assert [value for value in span.beyond() if accepts(key, value)] == []


@pytest.mark.parametrize("key", NUMBERS)
@pytest.mark.parametrize(
    "wrong", [True, False, "", "abc", "40 lb", [1], {"a": 1}, float("nan"), float("inf"), 10**400]
)
def test_a_number_is_a_finite_number(key: str, wrong: object) -> None:
    assert not accepts(key, wrong)


@pytest.mark.parametrize("key", WHOLE)
def test_whole_numbers(key: str) -> None:
    low, high = WHOLE[key]
    assert accepts(key, low)
    assert accepts(key, high)
    wrong: list[object] = [low - 1, high + 1, 2.0, 2.5, "2", True, [2]]
    assert [value for value in wrong if accepts(key, value)] == []


@pytest.mark.parametrize("key", CHOICES)
def test_choices(key: str) -> None:
    assert [value for value in CHOICES[key] if not accepts(key, value)] == []
    wrong: list[object] = ["other", "Top", "", 1, 0, -90, 360, True, False, "yes", [], 45]
    choices = [(type(choice), choice) for choice in CHOICES[key]]
    refused = [value for value in wrong if (type(value), value) not in choices]
    assert [value for value in refused if accepts(key, value)] == []


@pytest.mark.parametrize("key", TEXTS)
def test_texts(key: str) -> None:
    low, high = TEXTS[key]
    assert accepts(key, "a" * low)
    assert accepts(key, "a" * high)
    assert accepts(key, "Eisskulptur 7 é")
    wrong: list[object] = ["a" * (high + 1), "", " ", "\t", "two\nlines", "a\x00b", 5, True, ["a"]]
    assert [value for value in wrong if accepts(key, value)] == []


@pytest.mark.parametrize("key", LISTS)
def test_lists_have_their_length(key: str) -> None:
    length = LISTS[key]
    assert accepts(key, [5.0] * length)
    wrong: list[object] = [[5.0] * (length - 1), [5.0] * (length + 1), [], 5.0, "5 mm", {"x": 5.0}]
    assert [value for value in wrong if accepts(key, value)] == []


def test_the_rack_holds_1_to_12_bits() -> None:
    bit = changed({})["rack"][0]
    assert accepts("rack", [bit])
    assert accepts("rack", [bit] * 12)
    assert not accepts("rack", [])
    assert not accepts("rack", [bit] * 13)


def test_power_holds_1_to_50_pairs() -> None:
    key = "machine.spindle.power"
    assert accepts(key, [[6000, 500]])
    assert accepts(key, [[6000.0 + n, 500] for n in range(50)])
    assert not accepts(key, [])
    assert not accepts(key, [[6000.0 + n, 500] for n in range(51)])


def test_up_to_50_readings() -> None:
    reading = changed({})["ice"]["calibrate"][0]
    assert accepts("ice.calibrate", [])
    assert accepts("ice.calibrate", [reading] * 50)
    assert not accepts("ice.calibrate", [reading] * 51)
    for key in reading:
        short = {name: value for name, value in reading.items() if name != key}
        assert not accepts("ice.calibrate", [short])


def documented(kind: type, heading: str) -> list[tuple[str, str]]:
    """Walk a record: (heading of the table in the file, key) for each field below it."""
    keys = []
    for field in fields(kind):
        below = get_type_hints(kind)[field.name]
        if is_dataclass(below) and isinstance(below, type):
            inner = f"{heading.strip('[]')}.{field.name}".strip(".")
            keys += documented(below, f"[{inner}]")
        elif not heading and get_args(below) and is_dataclass(get_args(below)[0]):
            keys += documented(get_args(below)[0], f"[[{field.name}]]")
        else:
            keys.append((heading, field.name))
    return keys


def comment_above(heading: str, key: str) -> str:
    """Return the comment above the first line that shows a key, in one line."""
    text = default_text()
    section = text[text.index(f"\n{heading}\n") if heading else 0 :]
    section = section[: section.index("\n\n\n")] if "\n\n\n" in section else section
    lines = section.splitlines()
    at = next(n for n, line in enumerate(lines) if re.match(rf"(# )?{key} = ", line))
    while at and not lines[at - 1].startswith("# "):
        at -= 1  # a comment may stand above two keys that belong together
        assert re.match(r"\w+ = ", lines[at]), f"no comment above {key}"
    first = at
    while lines[first - 1].startswith("# ") and not re.match(r"# \w+ = ", lines[first - 1]):
        first -= 1
    return " ".join(line.removeprefix("# ") for line in lines[first:at])


EVERY_KEY = documented(Job, "")


def leaves(kind: object, key: str) -> list[str]:
    """Every value that a record may hold, its key as messages write it, lists by their place 1."""
    if isinstance(kind, type) and is_dataclass(kind):
        hints = get_type_hints(kind)
        below = [leaves(hints[field.name], f"{key}.{field.name}") for field in fields(kind)]
        return [leaf for some in below for leaf in some]
    parts = [part for part in get_args(kind) if part not in (type(None), ...)]
    if get_origin(kind) is tuple:
        alike = len(set(parts)) == 1
        return leaves(parts[0], f"{key}[1]") if alike else [f"{key}[1]", f"{key}[2]"]
    nested = [part for part in parts if get_origin(part) is tuple or is_dataclass(part)]
    return leaves(nested[0], key) if nested else [key.strip(".")]


def test_every_value_of_the_model_has_a_case() -> None:
    """Read off the records themselves: a new field, however deep, fails until it is tried."""
    tried = NUMBERS.keys() | WHOLE.keys() | CHOICES.keys() | TEXTS.keys()
    every = leaves(Job, "")
    assert len(every) > 80
    alike = {re.sub(r"\[\d\]", "[1]", key) for key in tried}
    assert sorted(set(every) - alike - {"machine.spindle.power[1][2]"}) == []
    assert "machine.spindle.power[1][2]" in tried


def dotted(heading: str, key: str) -> str:
    """Write a key of the file as messages do."""
    table = heading.strip("[]") + ("[1]" if heading.startswith("[[") else "")
    return f"{table}.{key}".strip(".")


@pytest.mark.parametrize(("heading", "key"), EVERY_KEY)
def test_the_printed_job_explains_every_key(heading: str, key: str) -> None:
    comment = comment_above(heading, key)
    name = dotted(heading, key)
    assert len(comment.split()) >= 5
    spans = [
        span.words() for full, span in NUMBERS.items() if re.sub(r"(?<!rack)\[.*", "", full) == name
    ]
    spans += ["{} to {}".format(*WHOLE[full]) for full in WHOLE if full.startswith(f"{name}[1].")]
    choices = [str(choice).lower() for choice in CHOICES.get(name, ())]
    lengths = TEXTS | WHOLE
    counts = ["{} to {}".format(*lengths[name])] if name in lengths else []
    assert spans or choices or counts
    assert [word for word in spans + choices + counts if word not in comment] == []


def test_the_tables_name_every_key() -> None:
    known = NUMBERS.keys() | WHOLE.keys() | CHOICES.keys() | TEXTS.keys()
    tested = {re.sub(r"(?<!rack)\[\d\].*", "", key) for key in known}
    assert tested == {dotted(heading, key) for heading, key in EVERY_KEY}
