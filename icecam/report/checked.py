"""Checked files in summary, words and page.

Held against a sculpture they are told of as carve tells of its own; held against none, what was not
looked at is null, and the words never say clean.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from icecam import __version__
from icecam.check import BareResult, Checked
from icecam.errors import OutputError
from icecam.estimate.working_days import Work
from icecam.report.hours import hours_totals, machine_hours, time_records
from icecam.report.load_picture import load_pictures
from icecam.report.markup import tag, written
from icecam.report.picture import pictures
from icecam.report.sheet import job_sheet
from icecam.report.sheet_words import reasons
from icecam.report.summary import block_record, limits_broken, stage_record, summary
from icecam.report.tables import ice_lines, proof_lines, sculpture_lines
from icecam.report.warnings import warnings_of
from icecam.units import MM3_PER_LITRE

NOT_HELD: Final = (
    "held against no sculpture: whether they cut into it was not looked at (name its mesh with "
    "--sculpture)"
)
WRITTEN: Final = {
    "summary.json", "job.html", "from-above.png", "load-and-hours.png", "load-and-hours.svg",
}  # fmt: skip
"""All that a check writes; a folder that holds more is never replaced by one."""
_DIGITS: Final = 4


def check_no_cut_files(folder: Path) -> None:
    """Refuse to put a check in the place of a folder with cut files, which would be gone.

    Raises
    ------
    OutputError : names one of them
    """
    names = {file.name for file in folder.iterdir()} if folder.is_dir() else set()
    if names - WRITTEN:
        raise OutputError(
            f"{folder} also holds {min(names - WRITTEN)}, which a check does not write again; name "
            "another folder with --out"
        )


def told_of(result: Checked | BareResult) -> dict[str, Any]:
    """Return the content of summary.json; null where only a sculpture could tell."""
    return _bare_summary(result) if isinstance(result, BareResult) else summary(result)


def sheet_of(result: Checked | BareResult) -> str:
    """Return what stands above the dry run, as HTML for a page that has `sheet_style`."""
    return _bare_sheet(result) if isinstance(result, BareResult) else job_sheet(result)


def pictures_of(result: Checked | BareResult) -> dict[str, bytes]:
    """Return pictures by name of file; none without a sculpture, the dry run shows it all."""
    if isinstance(result, BareResult):
        return {}
    return {"from-above.png": pictures(result)} | load_pictures(result)


def lines_before(result: Checked | BareResult, told: Mapping[str, Any]) -> list[str]:
    """Say what was read, before the table of stages."""
    files = [f"{stage.file.name}: cut with {stage.stage.bit.name}" for stage in result.stages]
    if isinstance(result, BareResult):
        return files
    return [*sculpture_lines(told), *files]


def lines_after(result: Checked | BareResult, told: Mapping[str, Any]) -> list[str]:
    """Say what was found, and what no proof of files can know."""
    found = _bare_lines(told) if isinstance(result, BareResult) else proof_lines(told)
    return [
        *ice_lines(told),
        *found,
        "not looked at: the way to the place where a file first gives all of X, Y and Z",
    ]


def verdict(result: Checked | BareResult) -> str:
    """Say in one sentence what came out; clean only of what was held against a sculpture."""
    count = len({stage.file.name for stage in result.stages})
    files = f"{count} file{'s' * (count != 1)}"
    if not result.faultless:
        return f"REFUSED: do not run {'this file' if count == 1 else 'these files'}"
    if isinstance(result, BareResult):
        return f"no rapid, contact or limit speaks against {files}, {NOT_HELD}"
    return f"clean: no fault found in {files}"


def _bare_summary(result: BareResult) -> dict[str, Any]:
    """Return what is known without a sculpture."""
    job = result.scene.job
    works = [
        Work(seconds=stage.seconds, ice_litres=stage.carved.removed.sum() / MM3_PER_LITRE)
        for stage in result.stages
    ]
    times = time_records(works, job)
    stages = [stage_record(stage, result) for stage in result.stages]
    for stage, time in zip(stages, times, strict=True):
        stage["proof"]["deepest_gouge_mm"] = None
        stage["time"] = time
    return {
        "icecam": __version__,
        "clean": None if result.faultless else False,
        "sculpture": None,
        "block": block_record(result),
        "work_zero_mm": [round(float(x), _DIGITS) for x in job.block.zero],
        "stages": stages,
        "warnings": list(warnings_of(result)),
        "proof": {
            "deepest_gouge_mm": None,
            "rapid_hits": sum(stage.rapid_hits for stage in result.stages),
            "contacts": sum(stage.contacts for stage in result.stages),
            "limits_broken": limits_broken(result),
            "cell_mm": result.scene.ice.grid.pitch,
        },
        "totals": {
            key: round(sum(stage[key] for stage in stages), _DIGITS)
            for key in ("minutes", "removed_litres")
        },
        "hours": hours_totals(times, job),
        "machines": machine_hours([stage.path for stage in result.stages]),
    }


def _bare_lines(told: Mapping[str, Any]) -> list[str]:
    """Say in plain words what was found, and what was not looked at."""
    proof = told["proof"]
    return [
        f"rapids through ice: {proof['rapid_hits']}; shank, nut or spindle in ice: "
        f"{proof['contacts']}; limits broken: {len(proof['limits_broken'])}",
        f"checked every {proof['cell_mm']:g} mm, from the files as they were read",
        *(f"refused: {limit}" for limit in proof["limits_broken"]),
    ]


def _bare_sheet(result: BareResult) -> str:
    """Return verdict, reasons, files and bits."""
    said = (
        ("Not proven", " held against no sculpture", "verdict")
        if result.faultless
        else ("REFUSED", " do not use these files", "verdict refused")
    )
    found = reasons(result)
    refusal = tag("section", tag("h2", "Why"), tag("ul", *(tag("li", each) for each in found)))
    files = (
        tag("li", f"{stage.file.name}: {stage.stage.bit.name}, {stage.stage.spindle_rpm:.0f} rpm")
        for stage in result.stages
    )
    page = tag(
        "section",
        tag(
            "header",
            tag("h1", result.scene.job.project),
            tag("p", tag("b", said[0]), said[1], cls=said[2]),
            cls="sheet-head",
        ),
        tag("p", f"These files were {NOT_HELD}."),
        *([refusal] if found else []),
        tag("section", tag("h2", "Files in their order, and the bit of each"), tag("ul", *files)),
        cls="sheet-page",
        aria_label="Checked files",
    )
    return written(page)
