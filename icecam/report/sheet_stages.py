"""One stage of the job sheet: file, bit to scale, settings, load and feed over its time."""

from collections.abc import Mapping, Sequence
from typing import Any, Final
from xml.etree.ElementTree import Element

from icecam.job.describe import describe
from icecam.paths.toolpath import CUT
from icecam.plan import Result
from icecam.proving import StageResult
from icecam.report.load_picture import clock, watts
from icecam.report.markup import shortened, tag
from icecam.report.sheet_bits import bit_drawing
from icecam.report.sheet_colours import stage_class
from icecam.report.sheet_layout import LONG_FILE, warnings_about
from icecam.report.sheet_plots import feed_plot, load_plot
from icecam.units import MM_PER_INCH, S_PER_MIN

BIT_LETTERS: Final = 28
"""Letters of a bit's name beside its file, which bears the whole of it."""


def stage_row(
    stage: StageResult,
    told: Mapping[str, Any],
    starts: float,
    scale: float,
    result: Result,
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
    beware = warnings_about(stage.stage.name, warnings)
    return tag(
        "article",
        _head(stage, told, starts, result),
        _put_in(stage, result),
        tag(
            "div",
            _settings(stage, told),
            bit_drawing(stage.stage.bit, scale),
            load_plot(stage, result),
            feed_plot(stage, result),
            cls="stage-body",
        ),
        *(tag("p", tag("b", "Look out"), f" {each}", cls="look-out") for each in beware),
        cls="stage",
    )


def _head(stage: StageResult, told: Mapping[str, Any], starts: float, result: Result) -> Element:
    """Return number, file, minutes, and from when to when."""
    nth, minutes = stage.stage.number - 1, told["time"]["total_minutes"]
    shade = stage_class(nth, len(result.stages))
    when = f"{clock(starts)} to {clock(starts + minutes)} h"
    return tag(
        "header",
        tag("span", str(stage.stage.number), cls=f"number {shade} on-{shade}"),
        tag("h3", told["file"], cls="file long" if len(told["file"]) > LONG_FILE else "file"),
        tag("strong", duration(minutes), cls="hours"),
        *([tag("span", when, cls="when")] if result.clean else []),
    )


def _put_in(stage: StageResult, result: Result) -> Element:
    """Say which bit to put in, or in refused and joined files only which it is."""
    bit, job = stage.stage.bit, result.scene.job
    asked = result.clean and not job.output.one_file
    zero = "Set zero" if stage.stage.number == 1 else "Set Z again"
    return tag(
        "p",
        tag("b", f"{'Put in ' * asked}T{stage.stage.number} {shortened(bit.name, BIT_LETTERS)}"),
        f": {describe(bit)}, shank {bit.shank:.4g} mm",
        *((". ", tag("b", zero)) if asked else ()),
        cls="put-in",
    )


def _settings(stage: StageResult, told: Mapping[str, Any]) -> Element:
    """Return what the person at the machine sets or watches, one row a thing."""
    cutting = stage.path.feed[stage.path.kind == CUT]
    feed = told["feed_mm_min"], max(told["feed_mm_min"], float(cutting.max()) * S_PER_MIN)
    most = told["load"]["peak_w"]["high"]
    rows = (
        ("speed", f"{told['spindle_rpm']:.0f} rpm"),
        ("feed", f"{_span(*feed)} mm/min ({_span(*(each / MM_PER_INCH for each in feed))} in/min)"),
        ("step", f"down {told['step_down_mm']:.2f} mm, rows {told['stepover_mm']:.2f} mm"),
        ("load", f"{_load(told['load_w'])}, most {watts(most)}"),
        ("snow", _snow(told["time"])),
    )
    return tag(
        "dl",
        *(part for name, value in rows for part in (tag("dt", name), tag("dd", value))),
        cls="settings",
    )


def _span(usual: float, fastest: float) -> str:
    """Write the feed of a stage, and how fast it goes where chips are thin.

    >>> _span(2880.0, 2880.2), _span(2880.0, 5760.0)
    ('2880', '2880-5760')
    """
    return f"{usual:.0f}" if round(usual) == round(fastest) else f"{usual:.0f}-{fastest:.0f}"


def _load(band: Mapping[str, float]) -> str:
    """Write the mean load while cutting: low, best and high.

    >>> _load({"low": 5.97, "best": 14.92, "high": 37.31}), _load({"low": 0.0, "high": 0.02})
    ('6.0 / 15 / 37 W', 'under 0.1 W')
    """
    if band["high"] < 0.1:
        return watts(band["high"])
    parts = (watts(band[end]).removesuffix(" W") for end in ("low", "best", "high"))
    return f"{' / '.join(parts).replace('under ', '<')} W"


def _snow(time: Mapping[str, Any]) -> str:
    stops = time["snow_stops"]
    return f"{litres(time['snow_litres'])}, {stops or 'no'} stop{'s' * (stops != 1)} to clear it"


def litres(value: float) -> str:
    """Write a volume of snow.

    >>> litres(22.24), litres(1.86), litres(0.04)
    ('22 L', '1.9 L', 'under 0.1 L')
    """
    if value < 0.1:
        return "under 0.1 L"
    return f"{value:.0f} L" if value >= 10 else f"{value:.1f} L"


def duration(minutes: float) -> str:
    """Write how long something takes.

    >>> duration(95.2), duration(0.42)
    ('1:35 h', '0.4 min')
    """
    return f"{clock(minutes)} h" if minutes >= 1 else f"{minutes:.1f} min"
