"""What a key of the job may hold, in words, read off the records themselves."""

from collections.abc import Sequence
from dataclasses import is_dataclass
from typing import Annotated, Literal, get_args, get_origin, get_type_hints

from annotated_types import Ge, Gt, Le, Len, Lt

from icecam.job.problem import Where, shown
from icecam.job.quantity import Measure
from icecam.job.records import Job


def keys_of(where: Where) -> tuple[str, ...]:
    """Return the keys of the table at `where`; none if no table stands there."""
    kind = _bare(_kind_at(where))[0]
    return tuple(get_type_hints(kind)) if is_dataclass(kind) else ()


def tables(where: Where = ()) -> tuple[Where, ...]:
    """Return the path of every table at and below `where`; a list of tables counts once."""
    if get_origin(_bare(_kind_at(where))[0]) is tuple:
        where = (*where, 0)
    if not keys_of(where):
        return ()
    below = (table for name in keys_of(where) for table in tables((*where, name)))
    return (where, *below)


def allowed(where: Where) -> str:
    """Say what the value at `where` may be: its kind, range, units.

    >>> allowed(("block", "temperature"))
    'a temperature from -30 to 0 C, as a number or as text with a unit (C, F)'
    """
    return _words(_kind_at(where))


def _kind_at(where: Where) -> object:
    """Return the declared type at the end of a path through the records."""
    kind: object = Job
    for part in where:
        bare, _ = _bare(kind)
        if isinstance(part, str):
            kind = get_type_hints(bare, include_extras=True)[part]
        else:
            members = get_args(bare)
            kind = members[0] if members[-1] is Ellipsis else members[part]
    return kind


def _bare(kind: object) -> tuple[object, Sequence[object]]:
    """Split a declared type into the plain type and its metadata; `| None` falls away."""
    if type(None) in get_args(kind):
        kind = next(member for member in get_args(kind) if member is not type(None))
    if get_origin(kind) is Annotated:
        inner, *metadata = get_args(kind)
        return inner, metadata
    return kind, ()


def _words(kind: object) -> str:
    """Describe a declared type."""
    bare, metadata = _bare(kind)
    if is_dataclass(bare):
        return f"a table with the keys {', '.join(get_type_hints(bare))}"
    if get_origin(bare) is Literal:
        return "one of " + ", ".join(shown(choice) for choice in get_args(bare))
    if get_origin(bare) is tuple:
        return _list_words(get_args(bare), metadata)
    if bare is bool:
        return "true or false"
    if bare is str:
        return f"text in quotes of {_length(metadata)} characters"
    return _number_words(bare, metadata)


def _list_words(members: Sequence[object], metadata: Sequence[object]) -> str:
    """Describe a list; a fixed one counts its values, and alike values are described once."""
    if members[-1] is Ellipsis:
        return f"a list of {_length(metadata)}, each {_words(members[0])}"
    words = [_words(member) for member in members]
    if len(set(words)) == 1:
        return f"a list of {len(words)}, each {words[0]}"
    return f"a list of {len(words)}: {', then '.join(words)}"


def _number_words(bare: object, metadata: Sequence[object]) -> str:
    """Describe a number by its measure and bounds."""
    bounds: list[str] = []
    for bound in metadata:
        if isinstance(bound, Gt | Ge):
            low = bound.gt if isinstance(bound, Gt) else bound.ge
            bounds.insert(0, f"{'above' if isinstance(bound, Gt) else 'from'} {low}")
        elif isinstance(bound, Lt | Le):
            high = bound.lt if isinstance(bound, Lt) else bound.le
            bounds.append(f"to{' below' if isinstance(bound, Lt) else ''} {high}")
    span = " ".join(bounds)
    for measure in metadata:
        if isinstance(measure, Measure):
            units = ", ".join(measure.units)
            article = "an" if measure.what[0] in "aeiou" else "a"
            start = f"{article} {measure.what} {span} {measure.plain}"
            return f"{start}, as a number or as text with a unit ({units})"
    return f"a {'whole ' if bare is int else ''}number {span}"


def _length(metadata: Sequence[object]) -> str:
    """Write how many characters or values are allowed."""
    length = next(item for item in metadata if isinstance(item, Len))
    return f"{length.min_length} to {length.max_length}"
