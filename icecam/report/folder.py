"""The output folder: written whole beside its place, then put there in one step."""

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from icecam.errors import OutputError


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
    if folder.exists() and not (folder / "summary.json").exists() and any(folder.iterdir()):
        raise OutputError(
            f"{folder} holds files that are no job of this program; name another folder with --out"
        )
    if not folder.absolute().parent.is_dir():
        raise OutputError(f"{folder.absolute().parent} does not exist; make it first")


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
            f"{folder} could not be written ({fault.strerror}); free some space"
        ) from fault
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def fill(folder: Path, files: Mapping[str, bytes], summary: Mapping[str, Any]) -> None:
    """Write the files of a job and its summary."""
    for name, text in files.items():
        (folder / name).write_bytes(text)
    (folder / "summary.json").write_text(json.dumps(summary, indent=1) + "\n", encoding="utf-8")
