"""The output folder: written whole beside its place, then put there in one step."""

import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from icecam.errors import OutputError
from icecam.job.records import Job
from icecam.job.text import job_text

OURS: Final = re.compile(
    r"(REFUSED-)?(\d+[a-z]?-(rough|finish)-[\w-]+|all-stages[\w-]*)\.\w+"
    r"|from-above\.png|load-and-hours\.(png|svg)|summary\.json|job\.html|bits\.\w+"
    r"|job\.toml|precut-(mesh|heights)\.\w+"
)
"""Names of files that this program writes; nothing else is ever replaced."""


def check_free(folder: Path, *, force: bool) -> None:
    """Refuse a place that cannot be written or holds something already.

    Raises
    ------
    OutputError : says what to change
    """
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file; name a folder with --out")
    if folder.exists() and not force:
        raise OutputError(f"{folder} exists already; use --force to replace it, or another --out")
    strange = (
        [file.name for file in folder.iterdir() if not OURS.fullmatch(file.name)]
        if (folder.exists())
        else []
    )
    if strange:
        raise OutputError(
            f"{folder} also holds {min(strange)}, which is not ours to replace; move it first, or "
            "name another folder with --out"
        )
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise OutputError(f"{parent} does not exist; make it first")
    if not os.access(parent, os.W_OK):
        raise OutputError(f"{parent} cannot be written by you; choose another --out")


@contextmanager
def beside(folder: Path) -> Iterator[Path]:
    """Give a temporary folder that becomes `folder` if all goes well, and vanishes if not."""
    parent = folder.absolute().parent
    try:
        temporary = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=parent))
    except OSError as fault:
        raise OutputError(
            f"{parent} cannot be written ({fault.strerror}); choose another --out"
        ) from fault
    try:
        yield temporary
        temporary.chmod(0o755)
        if folder.exists():
            old = temporary.with_name(temporary.name + "-old")
            folder.rename(old)
            temporary.rename(folder)
            shutil.rmtree(old)
        else:
            temporary.rename(folder)
    except OSError as fault:
        raise OutputError(
            f"{folder} could not be written ({fault.strerror}); free space or use another --out"
        ) from fault
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def fill(folder: Path, files: Mapping[str, bytes], summary: Mapping[str, Any]) -> None:
    """Write the files of a job and its summary."""
    for name, text in files.items():
        (folder / name).write_bytes(text)
    (folder / "summary.json").write_text(json.dumps(summary, indent=1) + "\n", encoding="utf-8")


def add(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put more files into a folder, each whole or not at all; what is there is never replaced.

    Raises
    ------
    OutputError : a name that is taken, or a folder that cannot be written
    """
    for name in files:
        if (folder / name).exists():
            raise OutputError(f"{folder / name} exists already; move it away first")
    put: list[Path] = []
    whole = False
    try:
        with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder) as temporary:
            for name, text in files.items():
                (Path(temporary) / name).write_bytes(text)
            for name in files:
                (Path(temporary) / name).rename(folder / name)
                put.append(folder / name)
        whole = True
    except OSError as fault:
        raise OutputError(
            f"{folder} could not be written ({fault.strerror}); free space there, or copy the "
            "folder to where you may write"
        ) from fault
    finally:
        for path in [] if whole else put:
            path.unlink(missing_ok=True)


def job_files(job: Job) -> dict[str, bytes]:
    """Return the job as used, and the files that it names, so that a folder stands by itself."""
    precut = job.block.precut
    files: dict[str, bytes] = {}
    names: dict[str, str] = {}
    for key, path in (("mesh", precut.mesh), ("heights", precut.heights)):
        if path:
            names[key] = f"precut-{key}{Path(path).suffix}"
            files[names[key]] = Path(path).read_bytes()
    precut = replace(precut, mesh=names.get("mesh"), heights=names.get("heights"))
    block = replace(job.block, precut=precut)
    return {"job.toml": job_text(replace(job, block=block)).encode(), **files}
