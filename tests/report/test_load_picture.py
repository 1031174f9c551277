"""The page of hours and loads: bars add up, no peak is lost, words fit, always the same bytes."""

from dataclasses import replace
from functools import cache
from io import BytesIO
from itertools import pairwise
from xml.etree import ElementTree as ET

import matplotlib.image
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle, StepPatch
from matplotlib.text import Text
from numpy.typing import NDArray

from icecam.paths.toolpath import CUT
from icecam.plan import Result, carve_stages, scene_of
from icecam.proving import StageResult
from icecam.report.load_picture import (
    PARTS,
    SLICES,
    figure_of,
    largest_in_slices,
    load_pictures,
)
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry import solids
from tests.geometry.bits import make_bit

Floats = NDArray[np.float64]

FLAT = named("flat $1$ [half]", make_bit("flat", 12.0, shank=12.0))
WIDEST = "W" * 40


@cache
def carved() -> Result:
    """Return a dome, roughed and finished by two balls."""
    dome = placed(solids.hemisphere(12.0, 10.0), (15.0, 15.0, 12.0))
    rack = (FLAT, named(WIDEST, ball(6.0)), ball(2.0))
    return carve_stages(scene_of(dome, job_of(rack, size=(30.0, 30.0, 26.0), cell=0.4)))


def of_stages(count: int) -> Result:
    """Return the dome's stages over again, as many as asked for, numbered anew."""
    stages = (carved().stages * count)[:count]
    return replace(
        carved(),
        stages=tuple(
            replace(each, stage=replace(each.stage, number=nth))
            for nth, each in enumerate(stages, start=1)
        ),
    )


def weak(result: StageResult, share: float) -> StageResult:
    """Return the stage with that share of its power."""
    load = result.load

    def less(value: Floats | float) -> Floats:
        return np.asarray(share * value)

    series = replace(load.series, power=load.series.power.each(less))
    return replace(
        result,
        load=replace(
            load,
            peak=load.peak.each(lambda each: share * each),
            percent=load.percent.each(lambda each: share * each),
            series=series,
        ),
    )


def panels_of(figure: Figure) -> list[Axes]:
    return figure.axes[1:]


def bars_of(figure: Figure) -> Floats:
    """Minutes drawn, a row a stage, a column a part."""
    widths = [patch.get_width() for patch in figure.axes[0].patches if isinstance(patch, Rectangle)]
    return np.array(widths).reshape(len(PARTS), -1).T


def steps_of(axes: Axes) -> list[tuple[Floats, Floats, Floats | float]]:
    """Values, edges and foot of the band, then of the line."""
    return [each.get_data() for each in axes.patches if isinstance(each, StepPatch)]


def words_of(figure: Figure) -> list[Text]:
    """All texts that are drawn; ticks beyond the ends of an axis are not."""
    figure.canvas.draw()
    found = [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]
    beyond: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    beyond |= {id(tick.label1), id(tick.label2)}
    return [text for text in found if id(text) not in beyond]


def plain_largest(values: Floats, begins: Floats, ends: Floats, edges: Floats) -> list[float]:
    """By the definition: the most of whatever shares some time with a slice."""
    return [
        max((v for v, b, e in zip(values, begins, ends, strict=True) if b < late and e > early),
            default=0.0)
        for early, late in pairwise(edges)
    ]  # fmt: skip


@settings(deadline=None, derandomize=True)
@given(
    stretches=st.lists(
        st.tuples(st.integers(0, 30), st.integers(1, 50), st.floats(0.0, 1e3)), max_size=60
    ),
    count=st.integers(1, 40),
    rest=st.integers(0, 40),
)
def test_no_peak_is_lost(stretches: list[tuple[int, int, float]], count: int, rest: int) -> None:
    """Gap before each stretch, its length, its value; slices of whole seconds."""
    gaps, lasting = (np.array([each[n] for each in stretches], np.float64) for n in (0, 1))
    values = np.array([each[2] for each in stretches])
    ends = np.cumsum(gaps + lasting)
    begins = ends - lasting
    width = -(-(float(ends.max(initial=0.0)) + rest) // count) or 1.0
    edges = np.linspace(0.0, count * width, count + 1)
    found = largest_in_slices(values, begins, ends, edges)
    assert found.tolist() == plain_largest(values, begins, ends, edges)
    assert found.max() == values.max(initial=0.0)


def test_bars_sum_to_the_minutes_of_the_stages() -> None:
    result = carved()
    drawn = bars_of(figure_of(result))
    assert drawn.shape == (len(result.stages), 4) == (3, len(PARTS))
    for row, stage in zip(drawn, result.stages, strict=True):
        assert row.sum() == pytest.approx(stage.seconds.total / 60, rel=1e-9)
        assert (row >= 0.0).all()
        cut = stage.path.kind == CUT
        at_feed = (stage.path.lengths[cut] / stage.path.feed[cut]).sum() / 60
        assert row[0] == pytest.approx(at_feed, rel=1e-9)


def test_panels_reach_the_peaks_and_end_with_the_stage() -> None:
    """The line is as high as the best peak, the band as the high one; the mark is on the line."""
    result = carved()
    for axes, stage in zip(panels_of(figure_of(result)), result.stages, strict=True):
        (high, _, low), (best, edges, _) = steps_of(axes)
        assert best.max() == pytest.approx(stage.load.peak.best)
        assert high.max() == pytest.approx(stage.load.peak.high)
        assert np.asarray(low).max() == pytest.approx(stage.load.peak.low)
        assert len(edges) == SLICES + 1 <= 1001
        assert edges[-1] == pytest.approx(stage.seconds.total / 60)
        mark = axes.lines[-1]
        (at,), (height,) = np.asarray(mark.get_xdata()), np.asarray(mark.get_ydata())
        nth = int(np.searchsorted(edges, at, side="right")) - 1
        assert best[nth] == pytest.approx(height)
        said = " ".join(text.get_text() for text in axes.texts)
        assert f"line {stage.load.peak_line}" in said


def test_time_of_cutting_is_after_the_bit_change() -> None:
    """Nothing is cut while the bit is changed."""
    for axes, stage in zip(panels_of(figure_of(carved())), carved().stages, strict=True):
        _, (best, edges, _) = steps_of(axes)
        begins = edges[:-1][best > 0].min()
        before = (stage.seconds.bit_change + stage.seconds.dwells) / 60
        assert begins >= before - (edges[1] - edges[0])
        assert before > 0


def test_files_are_whole_and_always_the_same() -> None:
    files = load_pictures(carved())
    assert set(files) == {"load-and-hours.png", "load-and-hours.svg"}
    assert files == load_pictures(carved())
    pixels = matplotlib.image.imread(BytesIO(files["load-and-hours.png"]))
    assert pixels.shape[1] == 1200
    assert 1000 < pixels.shape[0] < 2000
    assert len(np.unique(pixels.reshape(-1, pixels.shape[2]), axis=0)) > 20
    svg = files["load-and-hours.svg"].decode()
    assert ET.fromstring(svg).tag.endswith("svg")
    assert b"date" not in files["load-and-hours.svg"].lower()


def test_the_svg_names_stages_and_total() -> None:
    """Letters are drawn as shapes; what they spell stands beside them in comments."""
    parser = ET.XMLParser(target=ET.TreeBuilder(insert_comments=True))
    root = ET.fromstring(load_pictures(carved())["load-and-hours.svg"].decode(), parser)
    said = "".join((each.text or "") for each in root.iter(ET.Comment))  # type: ignore[arg-type]
    assert "1 rough: flat $1$ [half]" in said
    assert WIDEST in said
    assert "3 finish: ball 2" in said
    minutes = round(sum(stage.seconds.total for stage in carved().stages) / 60)
    assert f"a.stl: {minutes // 60}:{minutes % 60:02d} hours" in said
    for name in (*PARTS, "best estimate", "low to high", "peak: W, line of the file"):
        assert name in said


@pytest.mark.parametrize("count", [1, 2, 6])
def test_all_words_fit(count: int) -> None:
    """No text sticks out of the page, none lies on another."""
    figure = figure_of(of_stages(count))
    assert len(panels_of(figure)) == count
    texts = words_of(figure)
    assert len(texts) > 10 * count
    boxes = [text.get_window_extent() for text in texts]
    for n, box in enumerate(boxes):
        assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, texts[n].get_text()
        assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, texts[n].get_text()
        for m in range(n):
            assert not box.overlaps(boxes[m]), (texts[n].get_text(), texts[m].get_text())


@pytest.mark.parametrize(("share", "said"), [(0.0, "0 W"), (1e-4, "under 0.1 W")])
def test_stages_that_take_hardly_any_ice(share: float, said: str) -> None:
    stage = carved().stages[0]
    figure = figure_of(replace(carved(), stages=(weak(stage, share),)))
    (axes,) = panels_of(figure)
    (label,) = (text.get_text() for text in axes.texts)
    assert label.startswith(said)
    assert "under 0.1 %" in axes.get_title(loc="left")
    assert axes.get_ylim()[1] > 1.15 * share * stage.load.peak.high


def test_a_stage_that_takes_nothing_has_no_mark() -> None:
    stage = weak(carved().stages[0], 0.0)
    nothing = replace(stage, load=replace(stage.load, peak_at=None, peak_line=None))
    (axes,) = panels_of(figure_of(replace(carved(), stages=(nothing,))))
    assert len(axes.lines) == len(axes.texts) == 0
