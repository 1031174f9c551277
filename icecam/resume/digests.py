"""Whether the files of a folder are still those that were proven, by the SHA-256 of each.

Digests (FIPS 180-4) stand in summary.json. One changed byte is enough: a feed, a comment, a place.
"""

import hashlib
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
    """Compare each file of a folder with its digest.

    told : the summary of the folder

    Raises
    ------
    OutputError : a file that cannot be read
    """
    found = []
    said = {Path(stage["file"]).name: str(stage["sha256"]) for stage in told["stages"]}
    for name in names_of(told):
        digest = _digest(place / name)
        if digest != said[name]:
            found.append(
                Changed(name, f"{name} is not the file that was proven{_both(digest, said[name])}")
            )
    return tuple(found)


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
