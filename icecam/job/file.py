"""A job file in, a checked `Job` out.

The defaults are a job file too, the one that `default_text` gives; a file of the sculptor's own is
laid over it table by table, and what both say of the machine over the profile they name. Whatever
is wrong comes out as one `JobError` sentence.
"""

import os
import re
import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from icecam.errors import JobError
from icecam.job.checks import problems
from icecam.job.faults import faults
from icecam.job.problem import sentence
from icecam.job.profiles import PROFILES, profile_values
from icecam.job.records import Job, Machine, Profile

_reader: Final = TypeAdapter(Job)


def default_text() -> str:
    """Return the job file that holds every default, with a comment on each key."""
    defaults = resources.files("icecam.job").joinpath("defaults", "job.toml")
    return defaults.read_text(encoding="utf-8")


def load(path: Path | None) -> Job:
    """Read a job file over the defaults and check it.

    Parameters
    ----------
    path : TOML file in UTF-8; None for the defaults alone

    Returns
    -------
    the whole job, in mm, s, C

    Raises
    ------
    JobError : a file that cannot be read, or a value that cannot be used; one sentence that names
        file and key, what is wrong, what is allowed

    >>> load(None).block.size
    (1016.0, 508.0, 254.0)
    """
    content = tomllib.loads(default_text())
    if path is not None:
        content = _overlay(content, _beside(_parsed(_text(path), path), path))
    content = _over_profile(content)
    source = "the defaults" if path is None else str(path)
    try:
        job = _reader.validate_python(content)
    except ValidationError as error:
        raise JobError(sentence(source, faults(error, content))) from None
    found = problems(job)
    if found:
        raise JobError(sentence(source, found))
    return job


def machine_like(profile: Profile) -> Machine:
    """Return the machine of a profile with nothing said besides.

    >>> machine_like("light gantry").travel[2]
    390.0
    """
    content = tomllib.loads(default_text())
    content["machine"]["profile"] = profile
    return _reader.validate_python(_over_profile(content)).machine


def _text(path: Path) -> str:
    """Read a file as UTF-8, with or without a byte order mark."""
    if os.path.isdir(path):
        raise JobError(f"{path}: this is a folder; give the path of a job file")
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise JobError(
            f"{path}: there is no such file; check the path, or write one with `icecam job`"
        ) from None
    except UnicodeDecodeError as error:
        raise JobError(
            f"{path}: byte {error.start + 1} is not UTF-8 text; save the file as UTF-8"
        ) from None
    except (OSError, ValueError) as error:
        raise JobError(f"{path}: the file cannot be read ({error}); check the path") from None


def _parsed(text: str, path: Path) -> dict[str, Any]:
    """Parse TOML; a mistake is told with its line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        at_end = f"at line {text.count(chr(10)) + 1}, the end of the file"
        message = message.replace("at end of document", at_end)
        what = re.sub(r"^\w", lambda first: first.group().lower(), message)
        remedy = "mend that line (text and figures with a unit go in quotes)"
        raise JobError(f"{path}: this is not valid TOML, {what}; {remedy}") from None
    except (ValueError, RecursionError):
        raise JobError(
            f"{path}: a number is too long or lists lie too deep; shorten what the file holds"
        ) from None


def _beside(content: dict[str, Any], path: Path) -> dict[str, Any]:
    """Look for the files that a job names beside the job itself."""
    block = content.get("block")
    precut = block.get("precut") if isinstance(block, dict) else None
    if not isinstance(block, dict) or not isinstance(precut, dict):
        return content
    found = {
        name: str(path.parent / precut[name])
        for name in ("mesh", "heights")
        if isinstance(precut.get(name), str) and precut[name].strip()
    }
    return content | {"block": block | {"precut": precut | found}}


def _over_profile(content: dict[str, Any]) -> dict[str, Any]:
    """Lay the machine over the profile it names, or over any profile if that name is refused."""
    machine = content["machine"]
    if not isinstance(machine, dict):
        return content
    named = next((name for name in PROFILES if name == machine["profile"]), PROFILES[0])
    return content | {"machine": _overlay(profile_values(named), machine)}


def _overlay(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Lay one table over another; tables within merge, anything else is replaced."""
    merged = dict(below)
    for name, value in above.items():
        under = below.get(name)
        tables = isinstance(under, dict) and isinstance(value, dict)
        merged[name] = _overlay(below[name], value) if tables else value
    return merged
