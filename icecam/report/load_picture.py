"""Where the hours of a job go, and what cutting asks of the spindle while they pass."""

from io import BytesIO
from textwrap import fill
from typing import Final, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, SubFigure
from matplotlib.lines import Line2D
from matplotlib.markers import CARETDOWN
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator
from numpy.typing import NDArray

from icecam.estimate.load import Load, Series, spindle_power_w
from icecam.estimate.runtime import StageSeconds, runtime
from icecam.ice.band import Band
from icecam.plan import Result
from icecam.proving import StageResult
from icecam.report.bits_picture import NONE_DARK, RAMP
from icecam.report.letters import drawable
from icecam.units import S_PER_MIN

Floats = NDArray[np.float64]

NAME: Final = "load-and-hours"
WIDTH_IN: Final = 8.0
DOTS_AN_INCH: Final = 150
SLICES: Final = 600
"""Slices of time that a stage is drawn in."""
HEADROOM: Final = 1.3
"""Height of a panel over the most in it: words stand over what is drawn, never on it."""
PARTS: Final = ("cutting at feed", "slowed by corners", "travel", "bit change and start")
_CHANGE = "#d9c9a8"
_SHADES: Final = (RAMP[3], RAMP[2], RAMP[1], _CHANGE)
_LINE, _BAND, _MARK = RAMP[3], "#9cc3de", NONE_DARK
_BAR_IN, _PANEL_IN, _ROUND_IN = 0.42, 1.7, 1.5
"""Height of a bar and of a panel; of what stands round the bars, and round the panels."""
_NAME_LETTERS, _TEXT_LETTERS = 24, 88
"""Letters in a line: of a name beside its bar, and across the page."""
_TICKS_MIN: Final = (1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440)
_MOST_TICKS: Final = 9
SHORT_MIN: Final = 5.0
"""Marks of whole minutes would be too few for a shorter stage."""


class Drawn(NamedTuple):
    """A stage as drawn: ends of its slices of time, s (k + 1,), and the most of each, W (k,)."""

    edges: Floats
    power: Band[Floats]


def bar_minutes(seconds: StageSeconds) -> tuple[float, ...]:
    """Return minutes by `PARTS`; they add up to those of the stage.

    >>> bar_minutes(StageSeconds(cutting=600.0, slowed=60.0, rapids=120.0, dwells=5.0,
    ...                          bit_change=55.0, snow_stops=0.0))
    (9.0, 1.0, 2.0, 1.0)
    """
    parts = (
        seconds.cutting - seconds.slowed, seconds.slowed, seconds.rapids,
        seconds.bit_change + seconds.dwells,
    )  # fmt: skip
    return tuple(each / S_PER_MIN for each in parts)


def clock(minutes: float) -> str:
    """Return hours and minutes.

    >>> clock(95.2)
    '1:35'
    """
    whole = round(minutes)
    return f"{whole // 60}:{whole % 60:02d}"


def watts(value: float) -> str:
    """Return a power with the digits that mean something.

    >>> watts(1234.5), watts(3.26), watts(0.03)
    ('1234 W', '3.3 W', 'under 0.1 W')
    """
    if value < 0.1:
        return "under 0.1 W" if value > 0 else "0 W"
    return f"{value:.0f} W" if value >= 10 else f"{value:.1f} W"


def largest_in_slices(values: Floats, begins: Floats, ends: Floats, edges: Floats) -> Floats:
    """Return the largest value in each slice of time; 0 where there is none.

    Parameters
    ----------
    values : (m,) not below 0, each from its begin to its end
    begins, ends : (m,) s, rising, one after the other, from `edges[0]` on
    edges : (k + 1,) s, rising; a slice runs from one to the next
    """
    most = np.zeros(len(edges) - 1)
    if len(values) == 0:
        return most
    own = np.clip(np.searchsorted(edges, begins, side="right") - 1, 0, len(most) - 1)
    np.maximum.at(most, own, values)
    # What began in an earlier slice and lasts: at most one value stands at the edge of a slice.
    nth = np.searchsorted(begins, edges[:-1], side="right") - 1
    lasts = (nth >= 0) & (ends[nth] > edges[:-1])
    reached: Floats = np.maximum(most, np.where(lasts, values[nth], 0.0))
    return reached


def load_pictures(result: Result) -> dict[str, bytes]:
    """Return the page as PNG and SVG by name of file; the same bytes for the same result."""
    files = {}
    with mpl.rc_context({"svg.hashsalt": "icecam"}):
        figure = figure_of(result)
        for kind, extra in (("png", "Software"), ("svg", "Date")):
            stream = BytesIO()
            figure.savefig(stream, format=kind, dpi=DOTS_AN_INCH, metadata={extra: None})
            files[f"{NAME}.{kind}"] = stream.getvalue()
    return files


def figure_of(result: Result) -> Figure:
    """Return the page: a bar for the hours of each stage, below a panel for its load."""
    count = len(result.stages)
    heights = [_BAR_IN * count + _ROUND_IN, _PANEL_IN * count + _ROUND_IN]
    figure = Figure(figsize=(WIDTH_IN, sum(heights)))
    figure.set_layout_engine("constrained", w_pad=0.1, h_pad=0.08)
    FigureCanvasAgg(figure)
    top, below = figure.subfigures(2, 1, squeeze=False, height_ratios=heights)[:, 0]
    _draw_hours(top, result)
    _draw_loads(below, result)
    return figure


def _folded(text: str, letters: int) -> str:
    return fill(text, letters, break_on_hyphens=False)


def _label(result: StageResult) -> str:
    return drawable(f"{result.stage.number} {result.stage.kind}: {result.stage.bit.name}")


def _draw_hours(part: SubFigure, result: Result) -> None:
    """Draw the bars, each with its hours at the end, and a legend of their parts."""
    axes = part.subplots()
    rows = np.arange(len(result.stages))
    minutes = np.array([bar_minutes(stage.seconds) for stage in result.stages])
    begins = np.cumsum(minutes, axis=1) - minutes
    for nth, shade in enumerate(_SHADES):
        axes.barh(
            rows, minutes[:, nth], left=begins[:, nth], height=0.62, color=shade,
            edgecolor="white", linewidth=0.5,
        )  # fmt: skip
    ends = minutes.sum(axis=1)
    for row, end in zip(rows, ends, strict=True):
        axes.annotate(
            clock(end), (end, row), xytext=(5, 0), textcoords="offset points", va="center"
        )
    names = [_folded(_label(stage), _NAME_LETTERS) for stage in result.stages]
    axes.set_yticks(rows, labels=names, parse_math=False, fontsize=9)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.1 * float(ends.max()))
    axes.set_xlabel("minutes; at the end of each bar hours:minutes")
    _plain(axes)
    said = (
        f"{drawable(result.scene.placed.mesh.file)}: {clock(float(ends.sum()))} hours of machine "
        "time, stops for snow and warming up apart"
    )
    part.suptitle(_folded(said, _TEXT_LETTERS), parse_math=False, fontsize=10)
    handles = [
        Patch(facecolor=shade, label=name) for shade, name in zip(_SHADES, PARTS, strict=True)
    ]
    part.legend(handles=handles, loc="outside lower center", ncols=4, frameon=False, fontsize=9)


def _draw_loads(part: SubFigure, result: Result) -> None:
    """Draw a panel for each stage, and say what is in them."""
    panels = part.subplots(len(result.stages), 1, squeeze=False)[:, 0]
    for axes, stage in zip(panels, result.stages, strict=True):
        _draw_load(axes, stage, result)
    idle = result.stages[0].load.idle
    said = (
        f"What cutting asks of the spindle: the most in each {SLICES}th of a stage, each stage on "
        f"its own scale. Idle loss comes on top, not drawn: {watts(idle.best)} "
        f"({watts(idle.low)} to {watts(idle.high)}, assumed)."
    )
    part.suptitle(_folded(said, _TEXT_LETTERS), fontsize=10)
    handles = [
        Line2D([], [], color=_LINE, label="best estimate"),
        Patch(facecolor=_BAND, label="low to high"),
        Line2D([], [], color=_MARK, marker="v", linestyle="", label="peak: W, line of the file"),
        Patch(facecolor=_CHANGE, label=PARTS[-1]),
    ]
    part.legend(handles=handles, loc="outside lower center", ncols=4, frameon=False, fontsize=9)


def _draw_load(axes: Axes, stage: StageResult, result: Result) -> None:
    """Draw the load of a stage over its time, the peak marked."""
    load, machine = stage.load, result.scene.job.machine
    before = stage.seconds.bit_change + stage.seconds.dwells
    begins = before + stretch_begins(stage, result)
    drawn = sampled(load.series, begins, stage.seconds.total)
    unit = S_PER_MIN
    _time_axis(axes, stage.seconds.total / unit)
    axes.stairs(
        drawn.power.high, drawn.edges / unit, baseline=drawn.power.low, fill=True, color=_BAND
    )
    axes.stairs(drawn.power.best, drawn.edges / unit, baseline=None, color=_LINE, linewidth=0.9)
    axes.axvspan(0.0, before / unit, 0.0, 0.07, color=_CHANGE, linewidth=0)
    axes.set_ylim(0.0, HEADROOM * float(drawn.power.high.max()) or 1.0)
    axes.yaxis.set_major_locator(MaxNLocator(4))
    axes.set_ylabel("cutting, W")
    gives = spindle_power_w(machine.spindle, stage.stage.spindle_rpm)
    share = load.percent.best
    said = (
        f"{_label(stage)}\npeak {f'{share:.1f}' if share >= 0.1 else 'under 0.1'} % of the "
        f"{gives:.0f} W that the spindle gives at {stage.stage.spindle_rpm:.0f} rpm"
    )
    axes.set_title(said, loc="left", parse_math=False, fontsize=9)
    _plain(axes)
    if load.peak_line is not None:
        at = begins[_peak(load)] + load.series.stretches.seconds[_peak(load)] / 2
        _mark_peak(axes, float(at) / unit, stage.seconds.total / unit, load)


def stretch_begins(stage: StageResult, result: Result) -> Floats:
    """When each stretch begins, s after the machine first moves (m,)."""
    seconds = runtime(stage.path, result.scene.job.machine).seconds
    begins: Floats = (np.cumsum(seconds) - seconds)[stage.load.series.stretches.first]
    return begins


def sampled(series: Series, begins: Floats, total: float) -> Drawn:
    """Return what is drawn of the stretches whose figures count: the most in each slice of time.

    Parameters
    ----------
    series : m stretches
    begins : (m,) s, when each begins
    total : s, of the stage
    """
    which = _which(series)
    edges = np.linspace(0.0, total, SLICES + 1)
    ends = begins + series.stretches.seconds
    power = Band(
        low=largest_in_slices(np.where(which, series.power.low, 0.0), begins, ends, edges),
        best=largest_in_slices(np.where(which, series.power.best, 0.0), begins, ends, edges),
        high=largest_in_slices(np.where(which, series.power.high, 0.0), begins, ends, edges),
    )
    return Drawn(edges, power)


def _which(series: Series) -> NDArray[np.bool_]:
    """Return the stretches that the figures of `Load` are about."""
    return series.counts if series.counts.any() else series.stretches.took


def _peak(load: Load) -> int:
    """Return the stretch of the peak."""
    return int(np.argmax(np.where(_which(load.series), load.series.power.best, -1.0)))


def _mark_peak(axes: Axes, at: float, total: float, load: Load) -> None:
    """Mark the peak, with its watts and line over all that is drawn."""
    top = axes.get_ylim()[1]
    axes.plot([at, at], [load.peak.best, top], color=_MARK, linewidth=0.8)
    axes.plot([at], [load.peak.best], marker=CARETDOWN, color=_MARK, markersize=8, linestyle="")
    left = at > total / 2
    axes.annotate(
        f"{watts(load.peak.best)}, line {load.peak_line}", (at, top),
        xytext=(-4 if left else 4, 0), textcoords="offset points", va="top",
        ha="right" if left else "left", color=_MARK, fontsize=9,
    )  # fmt: skip


def _time_axis(axes: Axes, minutes: float) -> None:
    """Mark hours and minutes along the minutes drawn, or minutes alone in a short stage."""
    axes.set_xlim(0.0, minutes)
    if minutes < SHORT_MIN:
        axes.set_xlabel("minutes since the stage began", fontsize=9)
        return
    step = next((each for each in _TICKS_MIN if minutes / each <= _MOST_TICKS), _TICKS_MIN[-1])
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _nth: clock(value)))
    axes.set_xlabel("hours:minutes since the stage began", fontsize=9)


def _plain(axes: Axes) -> None:
    """Leave out the frame where it says nothing."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=9)
