"""The job, the files and the sculpture that the command line asks for.

Heavy modules are imported where they are needed, so that help comes at once.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from icecam.errors import JobError, OutputError

if TYPE_CHECKING:
    from icecam.job.records import Job
    from icecam.resume.digests import Changed

AS_IT_IS: Final = "; what is told here is what it does as it is: put the old back, or carve anew"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What is to be checked; `changed` : what is not as it was when it was proven."""

    job: "Job"
    files: tuple[Path, ...]
    sculpture: Path | None
    changed: "tuple[Changed, ...]" = ()


def read_job(options: argparse.Namespace) -> "Job":
    """Read the job file, with what the command line says about the sculpture.

    Raises
    ------
    JobError : a job that cannot be used
    """
    from icecam.job.file import load

    job = load(options.job)
    changes = {
        key: value
        for key, value in (
            ("fit", options.fit or None),
            ("up", options.up),
            ("unit", options.unit),
        )
        if value is not None
    }
    return replace(job, sculpture=replace(job.sculpture, **changes))


def only_folder(options: argparse.Namespace, folder: Path) -> Path:
    """Return a finished folder; it must be asked for with the job it was carved with.

    Raises
    ------
    JobError : another job, or a sculpture that lies otherwise
    """
    if options.job or options.fit or options.up or options.unit:
        raise JobError(
            f"{folder} is a finished folder, whose job is settled; leave out --job, --fit, "
            "--up and --unit, or name the file"
        )
    return folder


def to_check(options: argparse.Namespace) -> Asked:
    """Return what a check is to look at: a finished folder, or files on a job that is named.

    Raises
    ------
    JobError : no job, or one that cannot be used
    OutputError : a folder that carve did not make, or no place for what is found
    """
    from icecam.report.checked import check_no_cut_files
    from icecam.report.folder import check_free
    from post.dialect import load as load_dialect

    folder = len(options.files) == 1 and (options.files[0] / "summary.json").is_file()
    asked = _folder(options) if folder else _files(options)
    load_dialect(asked.job.output.dialect)
    if options.out:
        check_free(options.out, force=options.force)
        check_no_cut_files(options.out)
    return asked


def _files(options: argparse.Namespace) -> Asked:
    """Files by name; their job must be named, for their zero hangs on it."""
    if options.job is None:
        raise JobError(
            "a check needs --job: the block, its zero, the machine and the bits that the files are "
            "for; `icecam job` writes one to begin with (a folder that `icecam carve` made has its "
            "own)"
        )
    if options.sculpture is None and (options.fit or options.up or options.unit):
        raise JobError("--fit, --up and --unit say how a sculpture lies; name it with --sculpture")
    return Asked(job=read_job(options), files=tuple(options.files), sculpture=options.sculpture)


def _folder(options: argparse.Namespace) -> Asked:
    """All files of a finished folder, held against its summary."""
    from icecam.resume.digests import changed_files, changed_sculpture, names_of
    from icecam.resume.folder import job_of, read_summary
    from icecam.resume.proof import sculpture_near

    place = only_folder(options, options.files[0])
    told, job = read_summary(place), job_of(place)
    try:
        sculpture = options.sculpture or sculpture_near(place, str(told["sculpture"]["file"]))
        changed = changed_files(place, told)
        if sculpture is not None:
            changed += changed_sculpture(sculpture, told)
        files = tuple(place / name for name in names_of(told))
    except (KeyError, TypeError) as fault:
        raise OutputError(
            f"{place / 'summary.json'} does not hold what `icecam carve` writes ({fault!r}); name "
            "the cut files and their job"
        ) from None
    changed = tuple(each._replace(words=each.words + AS_IT_IS) for each in changed)
    return Asked(job=job, files=files, sculpture=sculpture, changed=changed)
