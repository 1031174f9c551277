"""Load and feed of a stage over its time, and the clock of the whole job."""

from collections.abc import Mapping, Sequence
from typing import Any, Final
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from icecam.plan import Result
from icecam.proving import StageResult
from icecam.report.drawing import Box, drawing, line, rectangle, words
from icecam.report.load_picture import clock, sampled, stretch_begins
from icecam.report.markup import figure, tag
from icecam.report.sheet_axes import Axes, frame, round_up, time_marks
from icecam.report.sheet_colours import stage_class
from icecam.units import S_PER_MIN

Floats = NDArray[np.float64]

WIDTH_MM, HEIGHT_MM = 42.0, 16.0
CLOCK_WIDTH_MM, CLOCK_HEIGHT_MM = 190.0, 14.0
SLICES: Final = 150
"""Slices of time that are drawn, each with the most load in it; 600 are a multiple of it."""
_AREA: Final = Box(9.0, 3.4, 30.5, 9.0)


def load_plot(stage: StageResult, result: Result) -> Element:
    """Return the load of cutting: a band from low to high, a line for the best estimate."""
    begins, total = _begins(stage, result)
    drawn = sampled(stage.load.series, begins, total)
    low, best, high = (
        each.reshape(SLICES, -1).max(axis=1)
        for each in (drawn.power.low, drawn.power.best, drawn.power.high)
    )
    axes = Axes(area=_AREA, minutes=total / S_PER_MIN, most=round_up(float(high.max())))
    return drawing(
        Box(0, 0, WIDTH_MM, HEIGHT_MM),
        f"Load of stage {stage.stage.number} over time",
        _stairs(axes, high, "load-band", low),
        _stairs(axes, best, "load-line"),
        *frame(axes, "cutting load, W"),
        cls="plot load",
    )


def feed_plot(stage: StageResult, result: Result) -> Element:
    """Return the feed reached while cutting, and a dashed line at the feed of the stage."""
    begins, total = _begins(stage, result)
    feed = mean_feed(stage, begins, total, SLICES) * S_PER_MIN
    set_feed = stage.stage.feed * S_PER_MIN
    axes = Axes(
        area=_AREA, minutes=total / S_PER_MIN, most=round_up(max(float(feed.max()), set_feed))
    )
    left, width = _AREA.x, _AREA.width
    y = axes.y(set_feed)
    return drawing(
        Box(0, 0, WIDTH_MM, HEIGHT_MM),
        f"Feed of stage {stage.stage.number} over time",
        _stairs(axes, feed, "feed-area", np.zeros(SLICES)),
        line((left, y), (left + width, y), "feed-set"),
        *frame(axes, "feed reached, mm/min"),
        cls="plot feed",
    )


def _begins(stage: StageResult, result: Result) -> tuple[Floats, float]:
    """When each stretch begins, and the whole stage; s from the end of the stage before."""
    before = stage.seconds.bit_change + stage.seconds.dwells
    return before + stretch_begins(stage, result), stage.seconds.total


def mean_feed(stage: StageResult, begins: Floats, total: float, slices: int) -> Floats:
    """Return the mean speed of cutting (slices,) in each slice of time, mm/s; 0 where none cuts.

    Notes
    -----
    A stretch runs evenly from its begin for its seconds; what of it lies in a slice counts there.
    Way over time, no constant.
    """
    stretches = stage.load.series.stretches
    if len(begins) == 0:
        return np.zeros(slices)
    times = np.column_stack([begins, begins + stretches.seconds]).ravel()
    edges = np.linspace(0.0, total, slices + 1)
    way, spent = (
        np.diff(np.interp(edges, times, _steps(each)))
        for each in (stretches.length, stretches.seconds)
    )
    speed: Floats = np.divide(way, spent, out=np.zeros(slices), where=spent > 1e-9)
    return speed


def _steps(each: Floats) -> Floats:
    """Return the sums before and after each value, (2n,)."""
    after = np.cumsum(each)
    sums: Floats = np.column_stack([after - each, after]).ravel()
    return sums


def _stairs(axes: Axes, values: Floats, cls: str, base: Floats | None = None) -> Element:
    """Return a line of stairs, or the area between two."""
    edges = np.linspace(0.0, axes.minutes, len(values) + 1)
    told = _along(axes, edges, values)
    if base is not None:
        back = _along(axes, edges[::-1], base[::-1])
        told += "L" + back[1:] + "Z"
    return tag("path", d=told, cls=cls)


def _along(axes: Axes, edges: Floats, values: Floats) -> str:
    told = [f"M{figure(axes.x(edges[0]))} {figure(axes.y(values[0]))}"]
    for nth, value in enumerate(values):
        told.append(f"V{figure(axes.y(value))}H{figure(axes.x(edges[nth + 1]))}")
    return "".join(told)


def clock_bar(stages: Sequence[Mapping[str, Any]], day_hours: float) -> Element:
    """Return the hours from start to end: stages in their shades, changes and warm-up between.

    stages : those of summary.json; day_hours : length of a working day
    """
    total = sum(stage["time"]["total_minutes"] for stage in stages)
    axes = Axes(area=Box(3.5, 1.0, CLOCK_WIDTH_MM - 8.0, 7.0), minutes=total, most=1.0)
    foot = axes.area.y + axes.area.height
    drawn, at = [], 0.0
    for nth, stage in enumerate(stages):
        drawn += _bar(axes, at, stage["time"], nth, len(stages))
        at += stage["time"]["total_minutes"]
    for minutes in time_marks(total, 12):
        x = axes.x(minutes)
        drawn.append(line((x, foot), (x, foot + 1.0), "thin"))
        drawn.append(words(clock(minutes), (x, foot + 4.0)))
    for day in range(1, int(total / (60 * day_hours) - 1e-9) + 1):
        x = axes.x(60 * day_hours * day)
        drawn.append(line((x, 0.0), (x, foot + 1.0), "day"))
    return drawing(
        Box(0, 0, CLOCK_WIDTH_MM, CLOCK_HEIGHT_MM),
        f"The whole job: {clock(total)} h from start to end",
        *drawn,
        cls="clock",
    )


def _bar(axes: Axes, at: float, time: Mapping[str, Any], nth: int, count: int) -> list[Element]:
    """Return warm-up, change with start, and the run of a stage; its number in the run."""
    idle = time["warm_up_minutes"], time["bit_change_minutes"] + time["spindle_start_minutes"]
    runs = time["total_minutes"] - sum(idle)
    top, height = axes.area.y, axes.area.height
    parts = []
    for minutes, cls in (
        (idle[0], "warming"), (idle[1], "changing"), (runs, stage_class(nth, count)),
    ):  # fmt: skip
        x, width = axes.x(at), axes.x(at + minutes) - axes.x(at)
        parts.append(tag("g", rectangle(Box(x, top, width, height), cls), data_minutes=minutes))
        at += minutes
    if width > 3.0:
        cls = f"bar-number on-{stage_class(nth, count)}"
        parts.append(words(str(nth + 1), (x + width / 2, top + height / 2 + 1.2), cls=cls))
    return parts
