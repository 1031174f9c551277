"""Plots of load and feed on the job sheet hold the figures of the stages."""

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.report.sheet_axes import round_up, time_marks
from icecam.report.sheet_plots import feed_plot, load_plot, mean_feed
from tests.report.sheet_jobs import dome
from tests.report.sheet_tree import by_class, number_of, points_of


def scale_of(drawn: ET.Element) -> tuple[float, float, float]:
    """Return foot and top of a plot, mm of paper, and the value at its top."""
    texts = [each for each in drawn.iter("text") if each.get("text-anchor") == "end"]
    marks = {float(each.text or ""): number_of(each, "y") - 0.5 for each in texts}
    return marks[0.0], marks[max(marks)], max(marks)


def test_load_plots_reach_the_peaks() -> None:
    for stage in dome().stages:
        drawn = load_plot(stage, dome())
        foot, top, most = scale_of(drawn)
        for name, peak in (
            ("load-line", stage.load.peak.best),
            ("load-band", stage.load.peak.high),
        ):
            highest = points_of(by_class(drawn, name)[0])[:, 1].min()
            value = (foot - highest) / (foot - top) * most
            assert value == pytest.approx(peak, abs=0.006 / (foot - top) * most * 2)


def test_feed_plots_hold_the_mean_feed() -> None:
    """Way over time of all cutting moves, from the path, against the area under the plot."""
    for stage in dome().stages:
        stretches = stage.load.series.stretches
        begins = np.cumsum(stretches.seconds) - stretches.seconds
        total = float(stretches.seconds.sum())
        feed = mean_feed(stage, begins, total, 40)
        cut = stage.path.kind == 1
        assert feed.mean() * total == pytest.approx(stage.path.lengths[cut].sum(), rel=1e-6)
        drawn = feed_plot(stage, dome())
        foot, top, most = scale_of(drawn)
        (dashed,) = by_class(drawn, "feed-set")
        value = (foot - number_of(dashed, "y1")) / (foot - top) * most
        assert value == pytest.approx(stage.stage.feed * 60, rel=0.01)
        highest = points_of(by_class(drawn, "feed-area")[0])[:, 1].min()
        assert (foot - highest) / (foot - top) * most <= np.nanmax(stage.path.feed) * 60 * 1.01


@given(value=st.floats(1e-6, 1e6))
def test_round_up(value: float) -> None:
    top = round_up(value)
    assert value * (1 - 1e-6) <= top <= 2 * value
    assert re.fullmatch(r"[1-8]0*|10*|0\.0*[1-8]|[1-8]e[-+]\d+", f"{top:g}")


@given(minutes=st.floats(0.5, 1e5), most=st.integers(2, 12))
def test_time_marks(minutes: float, most: int) -> None:
    marks = time_marks(minutes, most)
    assert marks[0] == 0.0
    assert marks[-1] <= minutes
    assert len(marks) <= most + 1
    assert np.ptp(np.diff(marks)) == 0.0 if len(marks) > 2 else True


def test_nothing_is_drawn_before_the_bit_is_changed() -> None:
    """Load and feed stand at 0 until bit change and spindle start are over, and rise soon then."""
    for stage in dome().stages:
        total, before = stage.seconds.total, stage.seconds.bit_change + stage.seconds.dwells
        assert before > 0
        slice_ = total / 150
        for drawn, name in (
            (load_plot(stage, dome()), "load-line"),
            (feed_plot(stage, dome()), "feed-area"),
        ):
            points = points_of(by_class(drawn, name)[0])
            foot, *_ = scale_of(drawn)
            rises = points[points[:, 1] < foot - 0.05, 0].min()
            left, right = points[:, 0].min(), points[:, 0].max()
            seconds = (rises - left) / (right - left) * total
            assert seconds >= before - 1.01 * slice_
        cut = np.flatnonzero(stage.path.kind == 1)[0]
        ways = stage.path.lengths[:cut].sum()
        assert seconds <= before + 2 * slice_ + ways / 20.0
