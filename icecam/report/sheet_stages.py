"""One stage of the job sheet: file, bit to scale, settings, load and feed over its time."""

from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element

from icecam.job.describe import describe
from icecam.plan import Result, StageResult
from icecam.report.load_picture import clock, watts
from icecam.report.markup import tag
from icecam.report.sheet_bits import bit_drawing
from icecam.report.sheet_colours import stage_class
from icecam.report.sheet_plots import feed_plot, load_plot
from icecam.units import MM_PER_INCH


def stage_row(
    stage: StageResult, told: Mapping[str, Any], starts: float, scale: float, result: Result,
    warnings: Sequence[str],
) -> Element:
    """Return a stage, with the warnings of the job that are about it.

    Parameters
    ----------
    told : its record in summary.json
    starts : minutes from the start of the job, by the stages before it
    scale : mm of paper for one mm of bit
    warnings : all those of summary.json
    """
    name = f"{stage.stage.name}: "
    beware = [each.removeprefix(name) for each in warnings if each.startswith(name)]
    return tag(
        "article",
        _head(stage, told, starts, result),
        tag(
            "div",
            tag("div", _settings(stage, told), cls="settings"),
            bit_drawing(stage.stage.bit, scale),
            load_plot(stage, result),
            feed_plot(stage, result),
            cls="stage-body",
        ),
        *(tag("p", tag("b", "Look out"), f" {each}", cls="look-out") for each in beware),
        cls="stage",
    )


def _head(
    stage: StageResult, told: Mapping[str, Any], starts: float, result: Result
) -> Element:
    """Number, file, minutes, and from when to when."""
    nth, minutes = stage.stage.number - 1, told["time"]["total_minutes"]
    shade = stage_class(nth, len(result.stages))
    return tag(
        "header",
        tag("span", str(stage.stage.number), cls=f"number {shade} on-{shade}"),
        tag("h3", told["file"], cls="file"),
        tag("strong", f"{clock(minutes)} h", cls="hours"),
        tag("span", f"{clock(starts)} to {clock(starts + minutes)} h", cls="when"),
    )


def _settings(stage: StageResult, told: Mapping[str, Any]) -> Element:
    """What the person at the machine puts in and reads off, one row a thing."""
    bit, time = stage.stage.bit, told["time"]
    feed = told["feed_mm_min"]
    rows = (
        ("bit", f"T{stage.stage.number} {bit.name}"),
        ("", describe(bit)),
        ("speed", f"{told['spindle_rpm']:.0f} rpm"),
        ("feed", f"{feed:.0f} mm/min ({feed / MM_PER_INCH:.0f} in/min)"),
        ("step", f"down {told['step_down_mm']:.2f}, rows {told['stepover_mm']:.2f} mm"),
        ("load", _load(told["load_w"])),
        ("snow", _snow(time)),
    )
    return tag(
        "dl",
        *(
            part
            for name, value in rows
            for part in (tag("dt", name), tag("dd", value))
        ),
    )


def _load(band: Mapping[str, float]) -> str:
    """Mean load while cutting: low, best and high."""
    return f"{watts(band['low'])} / {watts(band['best'])} / {watts(band['high'])}"


def _snow(time: Mapping[str, Any]) -> str:
    litres, stops = time["snow_litres"], time["snow_stops"]
    said = f"{litres:.1f} L" if litres >= 0.1 else "under 0.1 L"
    return f"{said}, {stops} stop{'s' * (stops != 1)} to clear it" if stops else f"{said}, no stop"
