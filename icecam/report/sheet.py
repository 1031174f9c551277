"""The job sheet: what the sculptor needs at the machine, on two A4 pages, as HTML to print.

Page 1 sets up: block, sculpture in it, zero, hold-down, proof, cautions. Page 2 runs: the clock and
one row a stage. Every figure is that of summary.json. What does not fit (more than seven or eight
stages, or many warnings) goes on to a third page.
"""

from collections.abc import Mapping
from importlib.resources import files
from itertools import accumulate, pairwise
from typing import Any, Final
from xml.etree.ElementTree import Element

from icecam.plan import Result
from icecam.report.hours_text import band_hours, lifted
from icecam.report.load_picture import clock
from icecam.report.markup import shortened, tag, written
from icecam.report.sheet_assumed import assumed_of, assumed_words
from icecam.report.sheet_bits import common_scale
from icecam.report.sheet_layout import Layout, layout_of
from icecam.report.sheet_plots import clock_bar
from icecam.report.sheet_stages import duration, litres, stage_row
from icecam.report.sheet_views import Lie, Mark, from_above, from_front, from_side, lie_of
from icecam.report.sheet_words import (
    Said,
    cautions,
    precut_words,
    proven,
    reasons,
    setting_up,
    size_words,
)
from icecam.report.sheet_zero import hold_drawing, zero_drawing
from icecam.report.summary import summary

VIEWS_MM: Final = 102.0
TIGHT_VIEWS_MM: Final = 94.0
"""Height of paper for the three views."""
MESH_LETTERS: Final = 60
"""Letters of the mesh's name; the middle of a longer one is left out."""
LONG_TITLE: Final = 30
"""Longer names of projects stand in smaller letters."""
REASONS: Final = 8
"""Reasons for a refusal that the sheet lists; the summary holds all."""


def job_sheet(result: Result) -> str:
    """Return the sheet of a job as HTML: sections for a page that has `sheet_style`."""
    told = summary(result)
    layout = layout_of(told["stages"], told["warnings"])
    pages = [_first_page(result, told, layout), *_stage_pages(result, told, layout)]
    count = len(pages)
    for nth, page in enumerate(pages, start=1):
        page.append(tag("p", f"{result.scene.job.project}, page {nth} of {count}", cls="page-foot"))
    return written(*pages)


def sheet_style() -> str:
    """Return the style of the sheet on screen and on paper; colours are those of the page."""
    return files("icecam.report").joinpath("assets", "sheet.css").read_text(encoding="utf-8")


def _first_page(result: Result, told: Mapping[str, Any], layout: Layout) -> Element:
    """Everything before the first file, or why there is none to run."""
    lie = lie_of(result, VIEWS_MM if layout.assumed_last and result.clean else TIGHT_VIEWS_MM)
    before = setting_up(result, lie.lowest) if result.clean else ()
    said = (
        *before,
        Said("What the proof says", proven(told)),
        Said("Lift and keep", _keeping(told)),
        *([Said("Take care", cautions())] if result.clean else []),
    )
    return tag(
        "section",
        _head(result, told),
        *([] if result.clean else [_refusal(result)]),
        _glance(told, result),
        _views(result, lie, told),
        tag("div", *(_said(each) for each in said), cls="columns"),
        *(_general_warnings(told) if result.clean else []),
        *([] if layout.assumed_last else [_assumed(result)]),
        cls=_page_class(layout.assumed_last),
        aria_label="Setting up",
    )


def _page_class(roomy: bool) -> str:
    return "sheet-page roomy" if roomy else "sheet-page"


def _head(result: Result, told: Mapping[str, Any]) -> Element:
    job = result.scene.job
    count = len(result.files())
    verdict = (
        ("Clean", f" no fault found in {_counted(count, 'file')}", "verdict good")
        if result.clean
        else ("REFUSED", " do not use these files", "verdict refused")
    )
    mesh = shortened(told["sculpture"]["file"], MESH_LETTERS)
    return tag(
        "header",
        tag(
            "div",
            tag("h1", job.project, cls="long" if len(job.project) > LONG_TITLE else "short"),
            tag("p", f"{mesh}; machine: {job.machine.name}; icecam {told['icecam']}", cls="source"),
        ),
        tag("p", tag("b", verdict[0]), verdict[1], cls=verdict[2]),
        cls="sheet-head",
    )


def _refusal(result: Result) -> Element:
    found = reasons(result)
    more = len(found) - REASONS
    rest = [tag("li", f"and {more} more, see summary.json")] if more > 0 else []
    return tag(
        "section",
        tag("h2", "REFUSED: why"),
        tag("ul", *(tag("li", each) for each in found[:REASONS]), *rest),
        cls="refusal",
    )


def _glance(told: Mapping[str, Any], result: Result) -> Element:
    """Return the figures to read from two metres."""
    block, sculpture = told["block"], told["sculpture"]
    facts = [
        *(_work(told) if result.clean else []),
        ("block", f"{block['mass_kg']:.1f} kg", f"ice at {block['temperature_c']:g} C"),
    ]
    if sculpture["watertight"]:
        size = " x ".join(f"{side:.0f}" for side in sculpture["size_mm"])
        facts.append(("piece", f"{sculpture['mass_kg']:.1f} kg", f"{size} mm"))
    return tag(
        "dl",
        *(
            tag("div", tag("dt", name), tag("dd", tag("b", value)), tag("dd", note))
            for name, value, note in facts
        ),
        cls="glance",
    )


def _work(told: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Hours, bits and snow."""
    hours, bits = told["hours"], len(told["stages"])
    return [
        ("from start to end", duration(hours["total_minutes"]), _days(hours)),
        ("bits", f"{bits}", f"{_counted(bits - 1, 'change')}, Z set again"),
        (
            "snow", litres(hours["snow_litres"]),
            f"{_counted(hours['snow_stops'], 'stop')} to clear it",
        ),
    ]  # fmt: skip


def _days(hours: Mapping[str, Any]) -> str:
    """Say how many working days it fills."""
    day, days = f"{hours['working_day_hours']:g} h", hours["working_days"]
    if days == 0:
        return f"in one day of {day}"
    return f"{_counted(days, 'day')} of {day} and {clock(60 * hours['hours_on_the_day_after'])} h"


def _views(result: Result, lie: Lie, told: Mapping[str, Any]) -> Element:
    """Three views and, beside them, zero and clamps."""
    block = result.scene.job.block
    return tag(
        "section",
        tag("h2", f"Block {size_words(told['block']['size_mm'])}"),
        tag(
            "div",
            from_above(result, lie, _marks(told)),
            zero_drawing(block.size, block.zero),
            *([hold_drawing(lie.lowest, lie.floor)] if result.clean else []),
            from_front(result, lie),
            from_side(result, lie),
            cls="views beside" if lie.beside else "views",
        ),
        *(tag("p", each, cls="precut") for each in precut_words(told)),
        tag("p", _key_of_views(told), cls="key-line"),
    )


def _key_of_views(told: Mapping[str, Any]) -> str:
    letters = {mark.letter for mark in _marks(told)}
    meant = (
        ("A", "most ice left where bits reach"),
        ("B", "most ice left for the hand"),
        ("C", "deepest cut into the sculpture"),
    )
    marks = (f"{letter}: {words}." for letter, words in meant if letter in letters)
    first = "Sizes in mm. Darker: higher. Dashed: lowest tip of all files. Grey: floor."
    return " ".join((first, *marks))


def _marks(told: Mapping[str, Any]) -> list[Mark]:
    """Most ice left where bits reach, most for the hand, deepest cut."""
    proof = told["proof"]
    places = (
        ("A", proof["left_worst_at_mm"]),
        ("B", proof["unreachable_worst_at_mm"]),
        ("C", proof["gouge_at_mm"]),
    )
    return [Mark(letter=letter, at=(at[0], at[1])) for letter, at in places if at]


def _keeping(told: Mapping[str, Any]) -> tuple[str, ...]:
    """Lifting and tempering."""
    kept = told["keeping"]
    piece = kept["piece_lift"]
    return (
        f"Block {lifted(kept['block_lift'])}.",
        f"Piece, sawn free, {lifted(piece)}."
        if piece
        else "Piece: of unknown mass, its mesh is not closed.",
        f"Temper the block from {kept['storage_c']:g} C in air of {kept['air_c']:g} C: "
        f"{band_hours(kept['tempering_hours'])}.",
    )


def _general_warnings(told: Mapping[str, Any]) -> list[Element]:
    """Warnings that are about no single stage."""
    names = tuple(f"{stage['name']}: " for stage in told["stages"])
    general = [each for each in told["warnings"] if not each.startswith(names)]
    return [tag("p", tag("b", "Look out"), f" {each}", cls="look-out") for each in general]


def _stage_pages(result: Result, told: Mapping[str, Any], layout: Layout) -> list[Element]:
    """Clock and stages; what is assumed stands at the end if there is room."""
    minutes = [stage["time"]["total_minutes"] for stage in told["stages"]]
    starts = accumulate(minutes[:-1], initial=0.0)
    scale = common_scale([stage.stage.bit for stage in result.stages])
    rows = [
        stage_row(stage, record, start, scale, result, told["warnings"] if result.clean else ())
        for stage, record, start in zip(result.stages, told["stages"], starts, strict=True)
    ]
    ends = list(accumulate(layout.counts, initial=0))
    parts = [rows[first:last] for first, last in pairwise(ends)]
    parts[0] = [*_clock(result, told), *parts[0]]
    if layout.assumed_last:
        parts[-1].append(_assumed(result))
    page = _page_class(layout.roomy)
    return [tag("section", *part, cls=page, aria_label="Stages") for part in parts]


def _clock(result: Result, told: Mapping[str, Any]) -> list[Element]:
    if not result.clean:
        return [tag("h2", "What each refused file would do")]
    over = " Upright red line: a working day is over." if told["hours"]["working_days"] else ""
    return [
        tag("h2", "The files in their order", tag("span", "begun at", cls="pencil")),
        tag(
            "p",
            tag("span", cls="key warming"),
            " warm up ",
            tag("span", cls="key changing"),
            " change of bit and start of the spindle. Times in h:min. Load: W at the edge, low / "
            "best / high, in the plots a band and a line; idle loss on top. Dashed: feed of the "
            "stage, faster where chips are thin. "
            f"Plots: from the change of bit on, no stops for snow.{over}",
            cls="key-line",
        ),
        tag(
            "div",
            clock_bar(told["stages"], told["hours"]["working_day_hours"]),
            cls="wide",
            tabindex="0",
            role="group",
            aria_label="Clock of the job",
        ),
    ]


def _assumed(result: Result) -> Element:
    job = result.scene.job
    constants = assumed_of(job, [stage.stage.bit.diameter for stage in result.stages])
    profile = job.machine.profile
    machine = f"values of the {profile} where the job sets no own; " if profile else ""
    return tag(
        "section",
        tag("h2", "Assumed, not measured"),
        tag("p", machine + "; ".join(assumed_words(each) for each in constants)),
        cls="assumed",
    )


def _said(said: Said) -> Element:
    lines = (tag("li", each) for each in said.lines)
    return tag("section", tag("h2", said.head), tag("ul", *lines))


def _counted(count: int, what: str) -> str:
    """Write a count with its noun.

    >>> _counted(1, "file"), _counted(2, "file"), _counted(0, "stop")
    ('1 file', '2 files', 'no stops')
    """
    if count == 1:
        return f"1 {what}"
    return f"{count or 'no'} {what}s"
