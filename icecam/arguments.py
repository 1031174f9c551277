"""What the command line takes: commands, options and their words."""

import argparse
from pathlib import Path

from icecam import __version__


def parser() -> argparse.ArgumentParser:
    """Return what reads the arguments of every command."""
    reads = argparse.ArgumentParser(
        prog="icecam",
        description="Turn a sculpted mesh into proven RS-274 files for carving clear ice.",
    )
    reads.add_argument("--version", action="version", version=f"icecam {__version__}")
    commands = reads.add_subparsers(dest="command", required=True, metavar="COMMAND")
    carve = commands.add_parser(
        "carve", help="plan, write and prove the files that carve a sculpture"
    )
    _take_sculpture(carve, "cut")
    carve.add_argument(
        "--all-bits",
        action="store_true",
        help="use every bit of the rack, also where it would be quicker without (plans sooner)",
    )
    check = commands.add_parser(
        "check", help="prove cut files of any origin on the block of a job; nothing is planned"
    )
    _take_files(check)
    view = commands.add_parser("view", help="open job sheet and dry run of a finished folder")
    view.add_argument("folder", type=Path, help="folder of `carve` or `check`")
    bits = commands.add_parser("bits", help="say what each bit can reach, and which to use")
    _take_sculpture(bits, "bits")
    bits.add_argument("--json", action="store_true", help="print numbers instead of the table")
    hours = commands.add_parser(
        "hours", help="say how long carving takes, and what the ice asks of people and rooms"
    )
    hours.add_argument("what", type=Path, help="STL, OBJ, PLY or 3MF, or a folder `carve` made")
    _take_placing(hours)
    hours.add_argument("--json", action="store_true", help="print numbers instead of the table")
    _take_stops(commands)
    commands.add_parser("job", help="print a job file with every default, explained")
    return reads


def _take_stops(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the commands for a folder that is at the machine."""
    resume = commands.add_parser("resume", help="write the file that goes on after a stop")
    resume.add_argument("folder", type=Path, help="folder that `carve` made")
    resume.add_argument(
        "--stage", required=True, help="number of the stage, or the file that ran: 3, 3b, a name"
    )
    stop = resume.add_mutually_exclusive_group(required=True)
    stop.add_argument("--line", type=int, help="line of the file that the machine shows, from 1")
    stop.add_argument("--time", help="time since the file was started: 1:42 or 1:42:30 (hours)")
    stop.add_argument(
        "--at", metavar="X,Y,Z", help="place of the tip as the machine shows it: --at=12,40.5,-3"
    )
    resume.add_argument(
        "--overlap", type=float, default=5.0, help="seconds of cutting done again (default: 5)"
    )
    split = commands.add_parser("split", help="cut long stages into parts for working days")
    split.add_argument("folder", type=Path, help="folder that `carve` made")
    length = split.add_mutually_exclusive_group(required=True)
    length.add_argument("--hours", type=float, help="longest part in hours")
    length.add_argument("--minutes", type=float, help="longest part in minutes")
    for command in (resume, split):
        command.add_argument(
            "--sculpture", type=Path, help="its mesh, if it does not lie in the folder or beside it"
        )


def _take_sculpture(command: argparse.ArgumentParser, ending: str) -> None:
    """Add what every command that reads a sculpture takes."""
    command.add_argument("sculpture", type=Path, help="STL, OBJ, PLY or 3MF")
    command.add_argument("--out", type=Path, help=f"folder for the files (default: NAME-{ending})")
    command.add_argument("--force", action="store_true", help="replace an earlier result")
    _take_placing(command)


def _take_files(command: argparse.ArgumentParser) -> None:
    """Add what a check of finished files takes."""
    command.add_argument(
        "files",
        type=Path,
        nargs="+",
        help="RS-274 files in the order they run, or a folder of `carve`",
    )
    command.add_argument("--sculpture", type=Path, help="STL, OBJ, PLY or 3MF to hold them against")
    command.add_argument(
        "--bits", help="names of the rack's bits that cut them, in order: NAME,NAME,..."
    )
    command.add_argument("--out", type=Path, help="folder for summary and dry run (default: none)")
    command.add_argument("--force", action="store_true", help="replace an earlier result")
    command.add_argument("--job", type=Path, help="job file of block, zero, machine and bits")
    _take_lie(command)


def _take_placing(command: argparse.ArgumentParser) -> None:
    """Add the job, and what the command line may say of the sculpture in it."""
    command.add_argument("--job", type=Path, help="job file; without it the defaults hold")
    _take_lie(command)


def _take_lie(command: argparse.ArgumentParser) -> None:
    """Add what the command line may say of how a sculpture lies."""
    command.add_argument(
        "--fit", action="store_true", help="make the sculpture as large as the block allows"
    )
    command.add_argument(
        "--up",
        choices=("top", "bottom", "front", "back", "left", "right"),
        help="face of the sculpture that lies upwards: a standing figure is carved lying, front up",
    )
    command.add_argument(
        "--unit",
        choices=("mm", "cm", "m", "in"),
        help="unit of the mesh file; a 3MF file says its own",
    )
