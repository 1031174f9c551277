"""Whether the files of a folder are still those that were proven, by the SHA-256 of each.

Digests (FIPS 180-4) stand in summary.json. One changed byte is enough: a feed, a comment, a place.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from icecam.errors import OutputError

_SHOWN: Final = 12
"""Digits of a digest that a sentence shows."""


class Changed(NamedTuple):
    """A file that is another than the summary tells of, and a sentence about it.

    stage_file : the file of the folder that the sentence stands with
    """

    stage_file: str
    words: str


def names_of(told: dict[str, Any]) -> tuple[str, ...]:
    """Return the names of the files that a summary tells of, in the order they run."""
    return tuple(dict.fromkeys(Path(stage["file"]).name for stage in told["stages"]))


def changed_files(place: Path, told: dict[str, Any]) -> tuple[Changed, ...]:
    """Compare the files of a folder with their digests: cut files, then the job and what it names.

    A sentence about the job stands with the first cut file. Summaries of older versions hold no
    digest of the job, which is taken as it is then.

    told : the summary of the folder

    Raises
    ------
    OutputError : a file that cannot be read
    """
    cuts, job = _said(told["stages"]), _said(told.get("job", []))
    first = next(iter(cuts), "")
    return (
        *(
            Changed(name, f"{name} is not the file that was proven{both}")
            for name, both in _others(place, cuts)
        ),
        *(
            Changed(first, f"{name} is not the file that was carved with{both}")
            for name, both in _others(place, job)
        ),
    )


def _said(records: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return the digest of each file that records tell of, by its name."""
    return {Path(each["file"]).name: str(each["sha256"]) for each in records}


def _others(place: Path, said: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Give each file of a folder that has another digest than said, and how they differ."""
    for name, digest in said.items():
        found = _digest(place / name)
        if found != digest:
            yield name, _both(found, digest)


def changed_sculpture(file: Path, told: dict[str, Any]) -> tuple[Changed, ...]:
    """Compare a sculpture with its digest; at most one sentence, which stands with the first file.

    Raises
    ------
    OutputError : a file that cannot be read
    """
    digest, said = _digest(file), str(told["sculpture"]["sha256"])
    if digest == said:
        return ()
    words = f"{file} is not the sculpture that was carved{_both(digest, said)}"
    return (Changed(names_of(told)[0], words),)


def _both(digest: str, said: str) -> str:
    """Show how two digests differ."""
    return f" (its SHA-256 begins {digest[:_SHOWN]}, summary.json says {said[:_SHOWN]})"


def _digest(file: Path) -> str:
    try:
        with file.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").hexdigest()
    except OSError as fault:
        raise OutputError(
            f"{file} cannot be read ({fault.strerror}); take the whole folder, or name the file"
        ) from None
