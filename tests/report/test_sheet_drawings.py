"""Drawings of the job sheet are to scale and hold the dimensions of the things they show."""

import re
from dataclasses import replace
from math import cos, hypot, radians, sin, tan
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.job.records import Bit
from icecam.report.drawing import chain
from icecam.report.sheet_bits import bit_drawing, common_scale, half_outline
from icecam.report.sheet_views import Mark, from_above, from_front, from_side, lie_of
from icecam.report.sheet_zero import zero_drawing
from tests.geometry.bits import make_bit
from tests.report.sheet_jobs import AT, RADIUS, SHAPES, SIZE, dome
from tests.report.sheet_tree import by_class, number_of, points_of, words_of


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


def test_nothing_is_drawn_between_bodies_that_stand_apart() -> None:
    """Two domes, 3 mm apart along X: two half discs from the front, one from the side."""
    result = dome()
    mesh = result.scene.placed.mesh
    away = (2 * RADIUS + 3.0, 0.0, 0.0)
    both = np.concatenate([mesh.triangles, mesh.triangles + away])
    placed = replace(result.scene.placed, mesh=replace(mesh, triangles=both))
    result = replace(result, scene=replace(result.scene, placed=placed))
    lie = lie_of(result, 98.0)
    (front,) = by_class(from_front(result, lie), "sculpture")
    assert front.attrib["d"].count("M") == 2
    edges = AT[0] + np.array([-RADIUS, RADIUS, RADIUS + 3.0, 3 * RADIUS + 3.0])
    x = points_of(front)[:, 0] / lie.scale
    assert (x.min(), x.max()) == pytest.approx((edges[0], edges[3]), abs=0.3)
    halfway = edges[1:3].mean()
    gap = x[x < halfway].max(), x[x > halfway].min()
    assert gap == pytest.approx(tuple(edges[1:3]), abs=0.3)
    (side,) = by_class(from_side(result, lie), "sculpture")
    assert side.attrib["d"].count("M") == 1


def test_the_lowest_tip_is_drawn_at_its_height() -> None:
    result = dome()
    lie = lie_of(result, 98.0)
    (line,) = by_class(from_front(result, lie), "lowest")
    lowest = min(stage.path.ends[:, 2].min() for stage in result.stages)
    assert (SIZE[2] - number_of(line, "y1") / lie.scale) == pytest.approx(lowest, abs=0.01)


@settings(max_examples=60, deadline=None, derandomize=True)
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


@pytest.mark.parametrize(
    "places",
    [
        ((17.0, 15.0), (17.0, 15.0), (17.0, 15.0)),
        ((17.0, 15.0), (18.5, 15.0), (17.0, 16.5)),
        ((0.0, 0.0), (36.0, 30.0), (36.0, 0.0)),
    ],
)
def test_letters_of_marks_stand_free(places: tuple[tuple[float, float], ...]) -> None:
    """Dots at their places, rings of 2 mm beside them: in the block, none on a dot or a ring."""
    lie = lie_of(dome(), 98.0)
    marks = [Mark(letter=each, at=at) for each, at in zip("ABC", places, strict=True)]
    drawn = from_above(dome(), lie, marks)
    dots, rings = (
        np.array(
            [
                (number_of(each, "cx"), number_of(each, "cy"))
                for each in by_class(drawn, name)
                if each.tag == "circle"
            ]
        )
        for name in ("mark-dot", "mark")
    )
    for dot, (x, y) in zip(dots, places, strict=True):
        assert dot == pytest.approx([x * lie.scale, (SIZE[1] - y) * lie.scale], abs=0.01)
    assert rings.min() >= 2.0
    for nth, ring in enumerate(rings):
        assert np.hypot(*(dots - ring).T).min() >= 2.0
        for other in rings[:nth]:
            assert np.hypot(*(ring - other)) >= 4.0
