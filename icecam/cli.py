"""The command line: `icecam carve`, `check`, `view` and so on. The only module that prints."""

import argparse
import os
import signal
import sys
from collections.abc import Mapping, Sequence
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING

from icecam.arguments import parser
from icecam.errors import IcecamError

if TYPE_CHECKING:
    from icecam.asked import Asked
    from icecam.check import BareResult, Checked
    from icecam.job.records import Job

STOPPED_WORDS = "icecam: stopped; nothing was written"
CLEAN, BAD_INPUT, REFUSED, STOPPED = 0, 2, 3, 130
_STOPS = (signal.SIGINT, signal.SIGTERM)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns 0 clean, 2 bad input, 3 refused by the proof, 130 stopped."""
    options = parser().parse_args(arguments)
    if isinstance(sys.stdout, TextIOWrapper):  # a name of a file may hold bytes that are no text
        sys.stdout.reconfigure(errors="backslashreplace")
    run = {
        "job": _job, "view": _view, "bits": _bits, "hours": _hours, "carve": _carve,
        "check": _check, "resume": _resume, "split": _split,
    }[options.command]  # fmt: skip
    before = {number: signal.signal(number, _stop) for number in _STOPS}
    try:
        return run(options)
    except IcecamError as refusal:
        print(f"icecam: {_printable(str(refusal))}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print(STOPPED_WORDS, file=sys.stderr)
        return STOPPED
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _printable(text: str) -> str:
    """Keep what a message repeats of files and names from moving the cursor or ending the line."""
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape", "surrogatepass").decode()
        for sign in text
    )


def _stop(_number: int, _frame: object) -> None:
    """End at once, while nothing is written: libraries swallow what the usual way raises."""
    if sys.stdout.isatty():
        print("\x1b[?25h", end="", flush=True)  # the cursor, which the bar hides
    print(STOPPED_WORDS, file=sys.stderr, flush=True)
    os._exit(STOPPED)


def _stop_tidily() -> None:
    """From now on something is written: raise when stopped, so that half a folder goes."""
    for number in _STOPS:
        signal.signal(number, signal.default_int_handler)


def _job(_options: argparse.Namespace) -> int:
    from icecam.job.file import default_text

    print(default_text(), end="")
    return CLEAN


def _view(options: argparse.Namespace) -> int:
    """Open job.html in the browser of this machine."""
    import webbrowser

    from icecam.errors import OutputError
    from icecam.viewer.page import FILE_NAME

    page = options.folder / FILE_NAME
    if not page.is_file():
        raise OutputError(f"{options.folder} holds no {FILE_NAME}; name a folder that carve made")
    if not webbrowser.open(page.resolve().as_uri()):
        raise OutputError(f"no browser was found to open {page}; open it by hand")
    return CLEAN


def _bits(options: argparse.Namespace) -> int:
    """Say what each bit reaches and which to use; write table, numbers and picture."""
    from icecam.asked import read_job
    from icecam.report.folder import claimed

    job = read_job(options)
    folder = options.out or Path(f"{options.sculpture.stem}-bits")
    with claimed(folder, force=options.force):
        return _bits_into(folder, options, job)


def _bits_into(folder: Path, options: argparse.Namespace, job: "Job") -> int:
    from rich.console import Console

    from icecam.choose.bits import choose
    from icecam.plan import set_up
    from icecam.report.bits_picture import bits_pictures
    from icecam.report.bits_table import bits_files
    from icecam.report.folder import beside
    from icecam.report.progress import working

    with working(Console(stderr=True)) as say:
        say("reading the sculpture", 0.0)
        scene = set_up(options.sculpture, job)
        choice = choose(scene, lambda doing, share: say(doing, 0.05 + 0.9 * share))
        say("writing", 0.95)
        files = bits_files(choice) | bits_pictures(choice)
        _stop_tidily()
        with beside(folder) as temporary:
            for name, content in files.items():
                (temporary / name).write_bytes(content)
    print(files["bits.json" if options.json else "bits.txt"].decode(), end="")
    if not options.json:
        print(f"table, numbers and picture in {folder}")
    return CLEAN


def _hours(options: argparse.Namespace) -> int:
    """Say hours and keeping, of a draft or of a finished folder; nothing is written."""
    import json

    from icecam.asked import only_folder, read_job
    from icecam.report.hours import drafted_hours, folder_hours
    from icecam.report.hours_text import hours_text

    if os.path.isdir(options.what):
        told = folder_hours(only_folder(options, options.what))
    else:
        job = read_job(options)

        from rich.console import Console

        from icecam.choose.draft import draft
        from icecam.plan import set_up
        from icecam.report.progress import working

        with working(Console(stderr=True)) as say:
            say("reading the sculpture", 0.0)
            scene = set_up(options.what, job)
            told = drafted_hours(scene, draft(scene, say))
    print(json.dumps(told, indent=1) if options.json else hours_text(told).rstrip("\n"))
    return CLEAN


def _carve(options: argparse.Namespace) -> int:
    """Plan, prove, write; heavy modules are imported here, so that help comes at once."""
    from icecam.asked import read_job
    from icecam.report.folder import claimed
    from post.dialect import load as load_dialect

    job = read_job(options)
    load_dialect(job.output.dialect)
    folder = options.out or Path(f"{options.sculpture.stem}-cut")
    with claimed(folder, force=options.force):
        return _carve_into(folder, options, job)


def _carve_into(folder: Path, options: argparse.Namespace, job: "Job") -> int:
    from rich.console import Console

    from icecam.choose.bits import choose, with_best_bits
    from icecam.plan import carve_stages, set_up
    from icecam.report.folder import beside, fill, job_files
    from icecam.report.load_picture import load_pictures
    from icecam.report.picture import pictures
    from icecam.report.progress import working
    from icecam.report.sheet import job_sheet, sheet_style
    from icecam.report.summary import job_records, summary
    from icecam.report.tables import (
        bit_lines,
        ice_lines,
        proof_lines,
        sculpture_lines,
        stage_table,
    )
    from icecam.report.warnings import warnings_of
    from icecam.viewer.data import dry_run
    from icecam.viewer.page import FILE_NAME, job_page

    width = None if sys.stdout.isatty() else 100
    console = Console(width=width, highlight=False, markup=False, emoji=False)
    with working(console) as say:
        say("reading the sculpture", 0.0)
        scene = set_up(options.sculpture, job)
        if job.quality.bits == "quickest" and not options.all_bits:
            choice = choose(scene, lambda doing, share: say(doing, 0.3 * share))
            scene = with_best_bits(scene, choice)
        result = carve_stages(scene, lambda doing, share: say(doing, 0.3 + 0.6 * share))
        say("writing", 0.95)
        used = job_files(result.scene.job)
        told = summary(result) | {"job": job_records(used)}
        _stop_tidily()
        with beside(folder) as place:
            drawn = {"from-above.png": pictures(result)} | load_pictures(result)
            data = dry_run(result, warnings_of(result))
            drawn[FILE_NAME] = job_page(job_sheet(result), sheet_style(), job.project, data)
            fill(place, result.files() | drawn | used, told)
    for line in sculpture_lines(told):
        console.print(line, soft_wrap=True)
    console.print(stage_table(told))
    for line in (*bit_lines(told), *ice_lines(told), *proof_lines(told)):
        console.print(line, soft_wrap=True)
    if not result.clean:
        console.print(
            f"REFUSED: do not run these files; they lie in {folder} to be looked at",
            soft_wrap=True,
        )
        return REFUSED
    console.print(
        f"clean: no fault found in {len(result.stages)} stages; files and pictures in {folder}",
        soft_wrap=True,
    )
    return CLEAN


def _check(options: argparse.Namespace) -> int:
    """Prove finished files; without a sculpture only what needs none."""
    from icecam.asked import to_check

    asked = to_check(options)
    if options.out is None:
        return _check_on(asked, options)
    from icecam.report.folder import claimed

    with claimed(options.out, force=options.force):
        return _check_on(asked, options)


def _check_on(asked: "Asked", options: argparse.Namespace) -> int:
    from rich.console import Console

    from icecam import check
    from icecam.plan import set_up
    from icecam.report import checked
    from icecam.report.progress import working
    from icecam.report.tables import stage_table

    width = None if sys.stdout.isatty() else 100
    console = Console(width=width, highlight=False, markup=False, emoji=False)
    with working(console) as say:
        say("reading the files", 0.0)
        parts = check.read_parts(asked.files, asked.job, asked.changed)
        stages = check.stages_for(parts, asked.job, options.bits and options.bits.split(","))
        job = check.with_bits_of(stages, asked.job)
        result: check.Checked | check.BareResult
        if asked.sculpture:
            result = check.check(set_up(asked.sculpture, job), parts, stages, say)
        else:
            result = check.check_bare(check.bare_scene(job), parts, stages, say)
        told = checked.told_of(result)
        if options.out:
            say("writing", 0.95)
            _write_checked(options.out, result, told)
    for line in checked.lines_before(result, told):
        console.print(line, soft_wrap=True)
    console.print(stage_table(told))
    for line in (*checked.lines_after(result, told), checked.verdict(result)):
        console.print(line, soft_wrap=True)
    if options.out:
        console.print(f"summary and dry run in {options.out}", soft_wrap=True)
    return CLEAN if result.faultless else REFUSED


def _write_checked(
    folder: Path, result: "Checked | BareResult", told: Mapping[str, object]
) -> None:
    """Write summary, dry run and pictures of checked files, never the files themselves."""
    from icecam.report.checked import pictures_of, sheet_of
    from icecam.report.folder import beside, fill
    from icecam.report.sheet import sheet_style
    from icecam.report.warnings import warnings_of
    from icecam.viewer.data import dry_run
    from icecam.viewer.page import FILE_NAME, job_page

    _stop_tidily()
    with beside(folder) as place:
        data = dry_run(result, warnings_of(result))
        page = job_page(sheet_of(result), sheet_style(), result.scene.job.project, data)
        fill(place, pictures_of(result) | {FILE_NAME: page}, told)


def _resume(options: argparse.Namespace) -> int:
    """Write and prove the file that goes on after a stop."""
    from rich.console import Console

    from icecam.report.folder import add
    from icecam.report.progress import working
    from icecam.report.resumed import rest_lines
    from icecam.resume.folder import read_folder
    from icecam.resume.going_on import go_on
    from icecam.resume.proof import find_sculpture
    from icecam.resume.running import running
    from icecam.resume.shown import overlap_of, stop_shown

    with working(Console(stderr=True)) as say:
        say("reading the folder", 0.0)
        overlap = overlap_of(options.overlap)
        folder = read_folder(options.folder)
        ran = running(folder, options.stage)
        stop = stop_shown(folder, ran.run, line=options.line, time=options.time, at=options.at)
        cut, move = ran.place(stop.move)
        say("carving what stands, proving the rest", 0.2)
        scene = find_sculpture(folder, options.sculpture)
        rest = go_on(folder, cut, move, overlap=overlap, ahead=stop.ahead, scene=scene)
        _stop_tidily()
        if rest.verdict.clean:
            add(options.folder, {rest.name: rest.text})
    for line in (*([stop.note] if stop.note else []), *rest_lines(rest, options.folder)):
        print(line)
    return CLEAN if rest.verdict.clean else REFUSED


def _split(options: argparse.Namespace) -> int:
    """Cut long stages into parts, prove them, write them."""
    from rich.console import Console

    from icecam.report.folder import add
    from icecam.report.progress import working
    from icecam.report.resumed import split_lines
    from icecam.resume.folder import read_folder
    from icecam.resume.parts import split
    from icecam.resume.proof import find_sculpture
    from icecam.resume.shown import limit_of

    with working(Console(stderr=True)) as say:
        say("reading the folder", 0.0)
        limit = limit_of(hours=options.hours, minutes=options.minutes)
        folder = read_folder(options.folder)
        scene = find_sculpture(folder, options.sculpture)
        found = split(folder, limit, scene, say)
        clean = all(each.verdict.clean for each in found)
        _stop_tidily()
        if clean:
            add(options.folder, {name: text for one in found for name, text in one.files.items()})
    for line in split_lines(found, options.folder):
        print(line)
    return CLEAN if clean else REFUSED


if __name__ == "__main__":
    sys.exit(main())
