"""The output folder: written whole beside its place, then put there in one step.

Whenever a run is killed, the folder is as it was or all new; what the run left beside it goes when
the next one begins. Two runs never write to one folder: the second is refused.
"""

import ctypes
import fcntl
import hashlib
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from icecam.errors import OutputError
from icecam.job.records import Job
from icecam.job.text import job_text

OURS: Final = re.compile(
    r"(REFUSED-)?(\d+[a-z]?-(rough|finish)[\w-]*|all-stages[\w-]*)\.\w+"
    r"|from-above\.png|load-and-hours\.(png|svg)|summary\.json|job\.html|bits\.\w+"
    r"|job\.toml|precut-(mesh|heights)\.\w+"
)
"""Names of files that this program writes; nothing else is ever replaced."""
_HERE, _EXCHANGE = -100, 2
"""AT_FDCWD and RENAME_EXCHANGE of renameat2(2)."""


@contextmanager
def claimed(folder: Path, *, force: bool) -> Iterator[None]:
    """Keep a folder for this run from now to its end.

    Raises
    ------
    OutputError : another run has it, it cannot be written, or it holds something already
    """
    with ExitStack() as held:
        try:
            place = folder.resolve()
            held.enter_context(_locked(folder, place))
            _tidy(place)
            check_free(folder, force=force)
            _temporary(place).rmdir()  # whether it can be made is known now, not after the work
        except OutputError:
            raise
        except OSError as fault:
            raise OutputError(
                f"{folder} cannot be written ({fault.strerror}); choose another --out"
            ) from fault
        yield


@contextmanager
def _locked(folder: Path, place: Path) -> Iterator[None]:
    """Hold the lock of a place; the system drops it when the process ends, however it ends."""
    digest = hashlib.sha256(os.fsencode(place)).hexdigest()[:16]
    path = Path(tempfile.gettempdir()) / f"icecam-{os.getuid()}-{digest}.lock"
    with open(path, "a+", opener=lambda name, flags: os.open(name, flags | os.O_NOFOLLOW)) as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            raise OutputError(
                f"{folder} is being written by another run, process {lock.read(20) or 'unknown'}; "
                "wait for it, end it, or use another --out"
            ) from None
        lock.truncate(0)
        lock.write(str(os.getpid()))
        lock.flush()
        yield


def _temporary(place: Path) -> Path:
    return Path(tempfile.mkdtemp(prefix=f".{place.name}.icecam-", dir=place.parent))


def _tidy(place: Path) -> None:
    """Take away what killed runs left beside a folder; the lock says that they are over."""
    left = re.compile(rf"\.{re.escape(place.name)}\.icecam-[a-z0-9_]{{8}}(-old)?")
    beside = sorted(place.parent.glob(".*.icecam-*"), reverse=True)
    for path in (*beside, *place.glob(".*.icecam-*")):
        found = left.fullmatch(path.name)
        if found and found[1] and not place.exists():
            path.rename(place)
        elif found:
            shutil.rmtree(path, ignore_errors=True)


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
    _check_ours(folder)
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise OutputError(f"{parent} does not exist; make it first")
    for needed in (parent, folder) if folder.exists() else (parent,):
        if not os.access(needed, os.W_OK):
            raise OutputError(f"{needed} cannot be written by you; choose another --out")


def _check_ours(folder: Path) -> None:
    """Refuse to replace a folder that holds anything else than this program writes."""
    names = [file.name for file in folder.iterdir()] if folder.exists() else []
    strange = [name for name in names if not OURS.fullmatch(name)]
    if strange:
        raise OutputError(
            f"{folder} also holds {min(strange)}, which is not ours to replace; move it first, or "
            "name another folder with --out"
        )


@contextmanager
def beside(folder: Path) -> Iterator[Path]:
    """Give a temporary folder that becomes `folder` if all goes well, and vanishes if not."""
    place = folder.resolve()
    try:
        temporary = _temporary(place)
    except OSError as fault:
        raise OutputError(
            f"{place.parent} cannot be written ({fault.strerror}); choose another --out"
        ) from fault
    try:
        yield temporary
        temporary.chmod(0o755)
        _check_ours(place)
        _put(temporary, place)
    except OutputError:
        raise
    except OSError as fault:
        raise OutputError(
            f"{folder} could not be written ({fault.strerror}); free space or use another --out"
        ) from fault
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _put(temporary: Path, folder: Path) -> None:
    """Put a folder in the place of another, which goes; in one step where the system can."""
    if not folder.exists():
        temporary.rename(folder)
    elif _exchanged(temporary, folder):
        shutil.rmtree(temporary)
    else:
        old = temporary.with_name(temporary.name + "-old")
        folder.rename(old)
        temporary.rename(folder)
        shutil.rmtree(old)


def _exchanged(one: Path, other: Path) -> bool:
    """Let two folders change places at once; whether the system could, see renameat2(2)."""
    with suppress(AttributeError, OSError):
        rename = ctypes.CDLL(None).renameat2
        return bool(rename(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0)
    return False


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
    place = folder.resolve()
    try:
        with (
            _locked(folder, place),
            tempfile.TemporaryDirectory(prefix=f".{place.name}.icecam-", dir=folder) as temporary,
        ):
            for name, text in files.items():
                (Path(temporary) / name).write_bytes(text)
            for name in files:
                (Path(temporary) / name).rename(folder / name)
                put.append(folder / name)
        whole = True
    except OutputError:
        raise
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
