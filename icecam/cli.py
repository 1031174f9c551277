"""The command line: `icecam carve`, `icecam job`. The only module that prints."""

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from icecam import __version__
from icecam.errors import IcecamError

STOPPED_WORDS = "icecam: stopped; nothing was written"
CLEAN, BAD_INPUT, REFUSED, STOPPED = 0, 2, 3, 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="icecam",
        description="Turn a sculpted mesh into proven RS-274 files for carving clear ice.",
    )
    parser.add_argument("--version", action="version", version=f"icecam {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    carve = commands.add_parser(
        "carve", help="plan, write and prove the files that carve a sculpture"
    )
    carve.add_argument("sculpture", type=Path, help="STL, OBJ, PLY or 3MF")
    carve.add_argument("--job", type=Path, help="job file; without it the defaults hold")
    carve.add_argument("--out", type=Path, help="folder for the files (default: NAME-cut)")
    carve.add_argument("--force", action="store_true", help="replace an earlier result")
    carve.add_argument(
        "--fit", action="store_true", help="make the sculpture as large as the block allows"
    )
    carve.add_argument(
        "--up",
        choices=("top", "bottom", "front", "back", "left", "right"),
        help="face of the sculpture that lies upwards: a standing figure is carved lying, front up",
    )
    carve.add_argument("--unit", choices=("mm", "cm", "m", "in"), help="unit of the mesh file")
    commands.add_parser("job", help="print a job file with every default, explained")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns 0 clean, 2 bad input, 3 refused by the proof, 130 stopped."""
    options = _parser().parse_args(arguments)
    before = signal.signal(signal.SIGINT, _stop)
    try:
        return _job() if options.command == "job" else _carve(options)
    except IcecamError as refusal:
        print(f"icecam: {refusal}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print(STOPPED_WORDS, file=sys.stderr)
        return STOPPED
    finally:
        signal.signal(signal.SIGINT, before)


def _stop(_number: int, _frame: object) -> None:
    """End at once, while nothing is written: libraries swallow what the usual way raises."""
    if sys.stdout.isatty():
        print("\x1b[?25h", end="", flush=True)  # the cursor, which the bar hides
    print(STOPPED_WORDS, file=sys.stderr, flush=True)
    os._exit(STOPPED)


def _job() -> int:
    from icecam.job.file import default_text

    print(default_text(), end="")
    return CLEAN


def _carve(options: argparse.Namespace) -> int:
    """Plan, prove, write; heavy modules are imported here, so that help comes at once."""
    from dataclasses import replace

    from icecam.job.file import load
    from icecam.report.folder import beside, check_free, fill
    from post.dialect import load as load_dialect

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
    job = replace(job, sculpture=replace(job.sculpture, **changes))
    load_dialect(job.output.dialect)
    folder = options.out or Path(f"{options.sculpture.stem}-cut")
    check_free(folder, force=options.force)

    from rich.console import Console

    from icecam.plan import carve_stages, set_up
    from icecam.report.picture import pictures
    from icecam.report.progress import working
    from icecam.report.summary import summary
    from icecam.report.tables import proof_lines, sculpture_lines, stage_table

    console = Console(width=None if sys.stdout.isatty() else 100, highlight=False)
    with working(console) as say:
        say("reading the sculpture", 0.0)
        scene = set_up(options.sculpture, job)
        result = carve_stages(scene, lambda doing, share: say(doing, 0.1 + 0.8 * share))
        say("writing", 0.95)
        told = summary(result)
        signal.signal(signal.SIGINT, signal.default_int_handler)  # so that half a folder goes
        with beside(folder) as place:
            fill(place, result.files() | {"from-above.png": pictures(result)}, told)
    for line in sculpture_lines(told, job.sculpture.unit):
        console.print(line, soft_wrap=True)
    console.print(stage_table(told))
    for line in proof_lines(told):
        console.print(line, soft_wrap=True)
    if not result.clean:
        console.print(
            f"REFUSED: do not run these files; they lie in {folder} to be looked at",
            soft_wrap=True,
        )
        return REFUSED
    console.print(
        f"clean: no fault found in {len(result.stages)} stages; files and picture in {folder}",
        soft_wrap=True,
    )
    return CLEAN


if __name__ == "__main__":
    sys.exit(main())
