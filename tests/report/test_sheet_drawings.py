"""Drawings of the job sheet are to scale and hold the dimensions of the things they show."""

import re
from itertools import pairwise
from math import cos, hypot, radians, sin, tan
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.job.records import Bit
from icecam.report.drawing import chain
from icecam.report.outlines import MOST_CELLS, bands, shadow, skyline
from icecam.report.sheet_axes import round_up, time_marks
from icecam.report.sheet_bits import bit_drawing, common_scale, half_outline
from icecam.report.sheet_plots import feed_plot, load_plot, mean_feed
from icecam.report.sheet_views import from_above, from_front, from_side, lie_of, simplified
from icecam.report.sheet_zero import zero_drawing
from tests.geometry.bits import make_bit
from tests.report.sheet_jobs import AT, RADIUS, SHAPES, SIZE, dome
from tests.report.sheet_tree import by_class, number_of, points_of, words_of

Floats = NDArray[np.float64]


def ranges_of(element: ET.Element) -> tuple[float, float, float, float]:
    """Return width and height of an area, and its least x and y."""
    points = points_of(element)
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return x1 - x0, y1 - y0, x0, y0


@pytest.mark.parametrize("bit", SHAPES, ids=[bit.name for bit in SHAPES])
def test_bits_are_to_scale(bit: Bit) -> None:
    """Every part over the scale is as long and as wide as the bit's record says."""
    scale = common_scale(SHAPES)
    drawn = bit_drawing(bit, scale)
    (part,) = (each for each in drawn if each.get("data-scale"))
    assert number_of(part, "data-scale") == pytest.approx(scale, abs=1e-6)
    (shank,), (nut,), (flutes, *_) = (by_class(part, name) for name in ("shank", "nut", "flutes"))
    long, wide, begins, _ = ranges_of(flutes)
    widest = bit.diameter
    if bit.taper_deg:
        tip = 0.0 if bit.shape == "vee" else bit.diameter / 2 * (1 - sin(radians(bit.taper_deg)))
        rim = bit.diameter * (cos(radians(bit.taper_deg)) if bit.shape != "vee" else 1.0)
        widest = rim + 2 * (bit.flute_length - tip) * tan(radians(bit.taper_deg))
    assert begins == pytest.approx(0.0, abs=0.01)
    assert long / scale == pytest.approx(bit.flute_length, abs=0.02 / scale)
    assert wide / scale == pytest.approx(widest, abs=0.02 / scale)
    assert number_of(shank, "height") / scale == pytest.approx(bit.shank, abs=0.01 / scale)
    assert number_of(nut, "height") / scale == pytest.approx(bit.nut, abs=0.01 / scale)
    assert number_of(nut, "x") / scale == pytest.approx(bit.stick_out, abs=0.01 / scale)
    assert number_of(nut, "width") / scale == pytest.approx(bit.nut_length, abs=0.01 / scale)
    (length,) = by_class(drawn, "length")
    assert number_of(length, "x2") / scale == pytest.approx(bit.stick_out, abs=0.01 / scale)
    assert f"{bit.stick_out:.1f}" in words_of(drawn)


@pytest.mark.parametrize("bit", SHAPES, ids=[bit.name for bit in SHAPES])
def test_bits_fit_their_drawing(bit: Bit) -> None:
    drawn = bit_drawing(bit, common_scale(SHAPES))
    left, top, width, height = (float(each) for each in drawn.attrib["viewBox"].split())
    for each in drawn.iter("rect"):
        assert number_of(each, "x") + number_of(each, "width") <= left + width
        assert number_of(each, "height") <= height
    (lens,) = by_class(drawn, "lens")
    long, wide, *_ = ranges_of(next(lens.iter("path")))
    assert wide <= 12.81
    assert 0 < long <= 7.6
    assert top == 0.0


def test_the_tip_is_enlarged_by_what_is_written() -> None:
    """A ball of 2 mm at 4 to 1 is 8 mm wide on paper."""
    drawn = bit_drawing(make_bit("ball", 2.0), 0.3)
    (lens,) = by_class(drawn, "lens")
    assert words_of(lens) == "tip 4:1"
    _, wide, *_ = ranges_of(next(lens.iter("path")))
    assert wide == pytest.approx(8.0, abs=0.05)


def test_a_ball_is_round() -> None:
    """Each point of a ball's outline lies a radius off its centre."""
    half = half_outline(make_bit("ball", 6.0, flute=20.0))
    arc = half[half[:, 0] <= 3.0]
    off = [hypot(z - 3.0, r) for z, r in arc]
    assert off == pytest.approx([3.0] * len(arc))
    assert len(arc) > 10


def dimensions_of(drawn: ET.Element) -> list[tuple[float, float, str]]:
    """Return of each dimension its mm, its length on paper and its words."""
    found = []
    for each in drawn.iter("g"):
        if each.get("data-mm"):
            (length,) = by_class(each, "length")
            dx = number_of(length, "x2") - number_of(length, "x1")
            dy = number_of(length, "y2") - number_of(length, "y1")
            found.append((number_of(each, "data-mm"), hypot(dx, dy), words_of(each)))
    return found


def test_views_hold_the_bounds_of_the_mesh() -> None:
    result = dome()
    lie = lie_of(result, 98.0)
    mesh = result.scene.placed.mesh
    low, high = mesh.triangles.min(axis=(0, 1)), mesh.triangles.max(axis=(0, 1))
    for drawn, axes in ((from_above(result, lie, []), (0, 1)), (from_front(result, lie), (2,))):
        found = iter(dimensions_of(drawn))
        for axis in axes:
            parts = [SIZE[axis], low[axis], high[axis] - low[axis], SIZE[axis] - high[axis]]
            for part in (each for each in parts if each > 0):
                mm, paper, said = next(found)
                assert mm == pytest.approx(part, abs=0.01)
                assert paper / lie.scale == pytest.approx(part, abs=0.03 / lie.scale)
                assert float(said.split()[0]) == pytest.approx(part, abs=0.051)
        assert next(found, None) is None


def test_views_are_drawn_where_the_sculpture_lies() -> None:
    """The dome is half a ball: a disc from above, half discs from the sides."""
    result = dome()
    lie = lie_of(result, 98.0)
    cell = result.scene.ice.grid.pitch
    for drawn, along, across in (
        (from_above(result, lie, []), 0, 1),
        (from_front(result, lie), 0, 2),
        (from_side(result, lie), 1, 2),
    ):
        wide, high, x, y = ranges_of(by_class(drawn, "sculpture")[0])
        slack = (2 * cell if across == 1 else 0.3) * lie.scale
        tall = 2 * RADIUS if across == 1 else RADIUS
        low = AT[across] - (RADIUS if across == 1 else 0.0)
        assert wide == pytest.approx(2 * RADIUS * lie.scale, abs=slack)
        assert high == pytest.approx(tall * lie.scale, abs=slack)
        assert x == pytest.approx((AT[along] - RADIUS) * lie.scale, abs=slack)
        assert y == pytest.approx((SIZE[across] - low - tall) * lie.scale, abs=slack)
        block = by_class(drawn, "block")[0]
        assert number_of(block, "width") / lie.scale == pytest.approx(SIZE[along], abs=0.01)
        assert number_of(block, "height") / lie.scale == pytest.approx(SIZE[across], abs=0.01)


def test_the_lowest_tip_is_drawn_at_its_height() -> None:
    result = dome()
    lie = lie_of(result, 98.0)
    (line,) = by_class(from_front(result, lie), "lowest")
    lowest = min(stage.path.ends[:, 2].min() for stage in result.stages)
    assert (SIZE[2] - number_of(line, "y1") / lie.scale) == pytest.approx(lowest, abs=0.01)


@settings(max_examples=60, deadline=None)
@given(
    lengths=st.lists(st.floats(0.0, 3000.0), min_size=1, max_size=3),
    scale=st.floats(0.01, 2.0),
    upright=st.booleans(),
)
def test_a_chain_adds_up(lengths: list[float], scale: float, upright: bool) -> None:
    drawn = chain((5.0, 100.0), lengths, scale, upright=upright)
    found = dimensions_of(drawn)
    kept = [each for each in lengths if each * scale > 0]
    assert len(found) <= len(kept)
    assert sum(paper for _, paper, _ in found) == pytest.approx(sum(kept) * scale, abs=0.05)


BOX = st.tuples(*[st.floats(-20.0, 20.0)] * 3)


@settings(max_examples=60, deadline=None)
@given(
    corners=st.lists(st.tuples(BOX, BOX, BOX), min_size=1, max_size=5), axis=st.sampled_from([0, 1])
)
def test_skyline_against_every_edge_cut_by_hand(
    corners: list[tuple[tuple[float, ...], ...]], axis: int
) -> None:
    """Each edge cut at each place by the rule of three, one after the other."""
    triangles = np.array(corners, dtype=np.float64)
    found = skyline(triangles, axis, 7)
    for place, low, high in zip(*found, strict=True):
        heights = []
        for triangle in triangles.tolist():
            for n in range(3):
                a, b = triangle[n], triangle[(n + 1) % 3]
                if a[axis] == b[axis] == place:
                    heights += [a[2], b[2]]
                elif min(a[axis], b[axis]) <= place <= max(a[axis], b[axis]) and a[axis] != b[axis]:
                    share = (place - a[axis]) / (b[axis] - a[axis])
                    heights.append(a[2] + share * (b[2] - a[2]))
        assert low == pytest.approx(min(heights, default=np.inf), abs=1e-6)
        assert high == pytest.approx(max(heights, default=-np.inf), abs=1e-6)


def area_of(ring: Floats) -> float:
    """Area of a ring: the shoelace formula."""
    x, y = ring.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


@pytest.mark.parametrize("count", [60, 500])
def test_shadow_and_bands_of_a_cone(count: int) -> None:
    """Rings of a cone are circles: that at a share of its height has what is left of its radius."""
    pitch = 60.0 / count
    grid = Grid(pitch / 2, pitch / 2, pitch, count, count)
    off = np.hypot(grid.x[None, :] - 30.0, grid.y[:, None] - 30.0)
    cone = HeightField(grid=grid, heights=np.where(off <= 20.0, 20.0 - off, -np.inf))
    rings = [shadow(cone), *bands(cone, 3)]
    assert [len(each) for each in rings] == [1, 1, 1, 1]
    for (ring,), radius in zip(rings, (20.0, 15.0, 10.0, 5.0), strict=True):
        drawn = 60.0 / min(count, MOST_CELLS)
        assert np.sqrt(area_of(ring) / np.pi) == pytest.approx(radius, abs=0.9 * drawn)


def test_a_field_that_fills_the_block_is_outlined_by_its_edge() -> None:
    full = HeightField(grid=Grid(0.5, 0.5, 1.0, 10, 6), heights=np.full((6, 10), 4.0))
    (ring,) = shadow(full)
    assert ring.min(axis=0) == pytest.approx([0.0, 0.0])
    assert ring.max(axis=0) == pytest.approx([10.0, 6.0])
    assert bands(full, 4) == []


@settings(max_examples=80, deadline=None)
@given(points=st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50)), min_size=2, max_size=40))
def test_simplified_lines_stay_where_they_are(points: list[tuple[float, float]]) -> None:
    """Every point left out lies within 0.08 mm of paper of the line that is left."""
    ring = np.array(points)
    kept = simplified(ring)
    assert kept[0] == pytest.approx(ring[0])
    assert kept[-1] == pytest.approx(ring[-1])
    for point in ring:
        assert min(way_to(point, a, b) for a, b in pairwise(kept)) <= 0.08


def way_to(point: Floats, a: Floats, b: Floats) -> float:
    """Distance of a point from a stretch."""
    run = b - a
    long = float(run @ run)
    share = min(max(float((point - a) @ run) / long, 0.0), 1.0) if long > 0 else 0.0
    return float(np.hypot(*(point - a - share * run)))


@pytest.mark.parametrize("zero", [(0.0, 0.0, 0.0), (508.0, 254.0, 254.0), (-300.0, 0.0, 300.0)])
def test_zero_is_drawn_at_its_place(zero: tuple[float, float, float]) -> None:
    """Corner, middle of the top, and beside the block: by the corners of the drawn faces."""
    size = (1016.0, 508.0, 254.0)
    drawn = zero_drawing(size, zero)
    front, _, right = (points_of(each) for each in by_class(drawn, "face"))
    origin, x_way = front[0], (front[1] - front[0]) / size[0]
    z_way, y_way = (front[3] - front[0]) / size[2], (right[1] - right[0]) / size[1]
    at = origin + x_way * zero[0] + y_way * zero[1] + z_way * zero[2]
    (dot,) = drawn.iter("circle")
    assert (number_of(dot, "cx"), number_of(dot, "cy")) == pytest.approx(at, abs=0.03)
    assert re.findall(r"\b[XYZ]\b", words_of(drawn)) == ["X", "Y", "Z"]


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
        assert (foot - highest) / (foot - top) * most <= stage.stage.feed * 60 * 1.01


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


@pytest.mark.parametrize("zero", [(0.0, 0.0, 0.0), (300.0, 300.0, 900.0), (-50.0, 20.0, 900.0)])
@pytest.mark.parametrize("size", [(300.0, 300.0, 900.0), (1016.0, 508.0, 254.0)])
def test_arrows_of_zero_stay_in_their_drawing(
    size: tuple[float, float, float], zero: tuple[float, float, float]
) -> None:
    drawn = zero_drawing(size, zero)
    _, _, width, height = (float(each) for each in drawn.attrib["viewBox"].split())
    for each in (*by_class(drawn, "axis-head"), *by_class(drawn, "face")):
        points = points_of(each)
        assert points.min() >= 0.0
        assert (points <= (width, height)).all()
    for letter in drawn.iter("text"):
        assert 2.0 <= number_of(letter, "x") <= width - 2.0
        assert 3.0 <= number_of(letter, "y") <= height


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


def test_zero_has_z_upwards_and_x_to_the_right() -> None:
    """A block three times as high as long is drawn so, its edges along the arrows."""
    drawn = zero_drawing((300.0, 300.0, 900.0), (0.0, 0.0, 0.0))
    front, top, right = (points_of(each) for each in by_class(drawn, "face"))
    assert np.ptp(front[:, 1]) == pytest.approx(3 * np.ptp(front[:, 0]), rel=0.01)
    x_axis, y_axis, z_axis = by_class(drawn, "axis")
    assert number_of(x_axis, "x2") > number_of(x_axis, "x1")
    assert number_of(x_axis, "y2") == number_of(x_axis, "y1")
    assert number_of(z_axis, "y2") < number_of(z_axis, "y1")
    assert number_of(z_axis, "x2") == number_of(z_axis, "x1")
    back = right[1] - right[0]
    arrow = np.array(
        [number_of(y_axis, f"{each}2") - number_of(y_axis, f"{each}1") for each in "xy"]
    )
    assert arrow[0] / arrow[1] == pytest.approx(back[0] / back[1], rel=0.02)
    assert top[:, 1].max() <= front[:, 1].min() + 0.01


def test_skyline_of_a_wall_across_the_axis() -> None:
    """All of a triangle in the plane x = 5 stands at one place, from its lowest to its highest."""
    wall = np.array([[[5.0, 0.0, 1.0], [5.0, 8.0, 1.0], [5.0, 0.0, 7.0]]])
    found = skyline(wall, 0, 3)
    assert found.low == pytest.approx([1.0] * 3)
    assert found.high == pytest.approx([7.0] * 3)
    upright = np.array([[[0.0, 0.0, 0.0], [0.0, 0.0, 9.0], [4.0, 0.0, 2.0]]])
    found = skyline(upright, 0, 2)
    assert found.low == pytest.approx([0.0, 2.0])
    assert found.high == pytest.approx([9.0, 2.0])
