"""Contradictions between the values of a job: each case at its limit, just past it, and the key.

The relations are geometry or common practice (no source); numbers are worked out by hand from the
defaults: block 1016 x 508 x 254 mm, floor 12, clearance 3, travel 1300 x 900 x 420, nose_lowest 20.
"""

from collections.abc import Mapping
from math import cos, hypot, radians, sin
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from icecam.job.bits import widest
from icecam.job.checks import problems
from icecam.job.problem import key
from icecam.job.records import Bit, Job
from tests.job.content import changed

READER = TypeAdapter(Job)
W = "block.precut.sawn[1]"
R, S, C = "rack[1].", "machine.spindle.", "ice.calibrate[1]"
ROUNDED = {f"{R}shape": "rounded corner", f"{R}corner_radius": 1}
VEE = {f"{R}shape": "vee", f"{R}diameter": 0, f"{R}taper_deg": 45, f"{R}flute_length": 10}
FITTED = {"sculpture.fit": True}
NARROW = {**FITTED, "block.size[2]": 100}
STUBBY = {**FITTED, "block.size[1]": 100}
M, Q = "machine.corner_tolerance", "quality.cell"
ROUGH = {"quality.detail": 1}
POINTED = {
    **{"name": "point", "shape": "vee", "diameter": 0, "taper_deg": 45, "flutes": 2},
    **{"flute_length": 10, "shank": 12, "stick_out": 80, "nut": 34},
}
SHORT = {f"{R}flute_length": 30}

Case = tuple[str, dict[str, Any], dict[str, Any]]
CASES: list[Case] = [
    # key that is blamed, values that just pass, values that just fail
    ("block.floor", {"block.floor": 253.9}, {"block.floor": 254}),
    ("block.size[1]", {"block.corner": [284, 0]}, {"block.corner": [284.01, 0]}),
    ("block.size[2]", {"block.corner": [0, 392]}, {"block.corner": [0, 392.01]}),
    ("block.size[1]", {"machine.travel[1]": 1116}, {"machine.travel[1]": 1115.9}),
    (
        "sculpture.margin",
        {"sculpture.margin": 241, **FITTED},
        {"sculpture.margin": 242, **FITTED},
    ),
    ("sculpture.margin", {**NARROW, "sculpture.margin": 49}, {**NARROW, "sculpture.margin": 50}),
    ("sculpture.margin", {**STUBBY, "sculpture.margin": 49}, {**STUBBY, "sculpture.margin": 50}),
    (f"{S}least_rpm", {f"{S}least_rpm": 18000, f"{S}most_rpm": 18000}, {f"{S}most_rpm": 5999}),
    # Where the example cut, from x 150 to y 100, gets nearer to a line, a side or the block's edge.
    (
        f"{W}.through",
        {f"{W}.through[3]": [0, 98.7, 0]},
        {f"{W}.through[3]": [0, 98.9, 0]},
    ),
    (f"{W}.gone", {f"{W}.gone": [148, 0, 7]}, {f"{W}.gone": [148.3, 0, 7]}),
    (
        W,
        {f"{W}.through": [[0.1, 0, 0], [0.1, 9, 0], [0.1, 0, 9]]},
        {f"{W}.through": [[-0.1, 0, 0], [-0.1, 9, 0], [-0.1, 0, 9]], f"{W}.gone": [-9, 0, 0]},
    ),
    (
        W,
        {f"{W}.through": [[1015, 0, 0], [1015, 9, 0], [1015, 0, 9]]},
        {f"{W}.through": [[1017, 0, 0], [1017, 9, 0], [1017, 0, 9]]},
    ),
    ("quality.detail", {"quality.detail": 0.1}, {"quality.detail": 0.099}),
    ("machine.corner_tolerance", {M: 0.25}, {M: 0.251}),
    ("machine.corner_tolerance", {M: 0.2, "quality.detail": 0.2}, {M: 0.2, "quality.detail": 0.19}),
    # The smallest bit is the 1/16 in ball: 1.5875 mm wide, its tip 0.79375 mm round.
    ("quality.cell", {"quality.cell": 1.5875}, {"quality.cell": 1.588}),
    ("quality.cell", {"quality.cell": 0.5, "rack[1]": POINTED}, {Q: 0.51, "rack[1]": POINTED}),
    ("quality.scallop", {**ROUGH, "quality.scallop": 0.79375}, {**ROUGH, "quality.scallop": 0.794}),
    # The block's corner lies 100 mm by 100 mm into the travel of 1300 x 900 mm.
    ("block.zero[1]", {"block.zero[1]": -100}, {"block.zero[1]": -100.01}),
    ("block.zero[1]", {"block.zero[1]": 1200}, {"block.zero[1]": 1200.01}),
    ("block.zero[2]", {"block.zero[2]": -100}, {"block.zero[2]": -100.01}),
    ("block.zero[2]", {"block.zero[2]": 800}, {"block.zero[2]": 800.01}),
    ("feeds.lift", {"feeds.lift": 3}, {"feeds.lift": 2.99}),
    (f"{S}least_rpm", {f"{S}least_rpm": 18000}, {f"{S}least_rpm": 24001}),
    (f"{S}power[3]", {f"{S}power[3][1]": 18001}, {f"{S}power[3][1]": 18000}),
    ("rack[2].name", {"rack[2].name": "other"}, {"rack[2].name": "half-inch flat"}),
    ("ice.too_cold", {"ice.too_cold": -5}, {"ice.too_cold": -4.9}),
    ("freezer.warm_up", {"freezer.warm_up": 28799}, {"freezer.warm_up": 28800}),
    (C, {f"{C}.width": 12.7}, {f"{C}.width": 12.71}),
    (C, {f"{C}.idle_w": 200}, {f"{C}.idle_w": 210}),
    (C, {f"{C}.cutting_w": 1500}, {f"{C}.cutting_w": 1800}),
    (f"{R}chip_load", {f"{R}chip_load": 0.4}, {f"{R}chip_load": 0.41}),
    (f"{R}nut", {f"{R}nut": 80}, {f"{R}nut": 80.1}),
    (f"{R}nut", {f"{S}body": 34}, {f"{S}body": 33.9}),
    (f"{R}spindle_rpm", {f"{R}spindle_rpm": 6000}, {f"{R}spindle_rpm": 5999}),
    (f"{R}spindle_rpm", {f"{R}spindle_rpm": 24000}, {f"{R}spindle_rpm": 24001}),
    (f"{R}shank", {f"{R}shank": 34}, {f"{R}shank": 34.1}),
    (f"{R}flute_length", {f"{R}flute_length": 125}, {f"{R}flute_length": 125.1}),
    (f"{R}diameter", {f"{R}diameter": 0.01}, {f"{R}diameter": 0}),
    (f"{R}corner_radius", {**ROUNDED, f"{R}corner_radius": 6.35}, {f"{R}corner_radius": 1}),
    (f"{R}corner_radius", ROUNDED, {**ROUNDED, f"{R}corner_radius": 6.36}),
    (f"{R}corner_radius", ROUNDED, {**ROUNDED, f"{R}corner_radius": 0}),
    (f"{R}taper_deg", {}, {f"{R}taper_deg": 1}),
    (f"{R}taper_deg", VEE, {**VEE, f"{R}taper_deg": 0}),
    ("rack[4].taper_deg", {}, {"rack[4].taper_deg": 0}),
    # A ball of 12.7 mm is 6.35 mm high to its full width.
    ("rack[2].flute_length", {"rack[2].flute_length": 6.35}, {"rack[2].flute_length": 6.34}),
    # 2 % over the 1/4 in shank is 0.127 mm, at 3 deg 0.127 / 2 / tan(3 deg) = 1.2117 mm of flute.
    ("rack[4].flute_length", {"rack[4].flute_length": 33.0}, {"rack[4].flute_length": 33.1}),
    # 45 deg a side: twice the flute length wide; four shanks of 12.7 mm are 50.8 mm.
    (f"{R}flute_length", {**VEE, f"{R}flute_length": 25.3}, {**VEE, f"{R}flute_length": 25.5}),
    # Nut between 20 and 440 mm: 440 - 254 - 3 = 183 mm is the longest stick-out.
    (f"{R}stick_out", {f"{R}stick_out": 183}, {f"{R}stick_out": 183.01}),
    (f"{R}stick_out", {"feeds.clearance": 61}, {"feeds.clearance": 61.01}),
    # Nut no lower than 60 mm: over a floor of 12 mm at least 48 mm of stick-out.
    (
        f"{R}stick_out",
        {"machine.nose_lowest": 60, f"{R}stick_out": 48, **SHORT},
        {"machine.nose_lowest": 60, f"{R}stick_out": 47.99, **SHORT},
    ),
]


def found(changes: Mapping[str, Any]) -> dict[str, str]:
    """Return the problems of the changed defaults, by key."""
    job = READER.validate_python(changed(changes))
    return {key(problem.where): problem.text for problem in problems(job)}


@pytest.mark.parametrize(("blamed", "passing", "failing"), CASES)
def test_each_relation_at_its_limit(
    blamed: str, passing: dict[str, Any], failing: dict[str, Any]
) -> None:
    assert blamed not in found(passing)
    text = found(failing)[blamed]
    assert ";" in text, "a remedy follows what is wrong"
    assert any(word in text for word in ("give", "set", "raise", "take", "order"))


@pytest.mark.parametrize(("blamed", "passing", "failing"), CASES)
def test_a_bit_is_called_by_its_name(
    blamed: str, passing: dict[str, Any], failing: dict[str, Any]
) -> None:
    text = found(failing)[blamed]
    if blamed.startswith("rack[1]."):
        assert text.startswith('("half-inch flat") ')


def test_a_block_left_in_the_middle_may_fill_the_travel() -> None:
    content = changed({"machine.travel[1]": 1016, "machine.travel[2]": 508})
    content["block"].pop("corner")
    assert problems(READER.validate_python(content)) == ()
    content["machine"]["travel"][1] = 507.9
    (problem,) = problems(READER.validate_python(content))
    assert key(problem.where) == "block.size[2]"
    assert "by 0.1 mm" in problem.text


def test_a_block_in_the_middle_has_its_zero_within_the_travel() -> None:
    """(1300 - 1016) / 2 = 142 mm of travel lie left of it, (900 - 508) / 2 = 196 mm before it."""
    for zero, refused in (([-142, -196, 0], 0), ([-142.01, -196, 0], 1), ([0, 705, -9000], 1)):
        content = changed({"block.zero": zero})
        content["block"].pop("corner")
        assert len(problems(READER.validate_python(content))) == refused


def test_a_margin_does_not_matter_unless_fitted() -> None:
    assert found({"sculpture.margin": 9000}) == {}


def test_numbers_in_a_message_are_the_right_ones() -> None:
    text = found({f"{R}stick_out": 200})[f"{R}stick_out"]
    assert "457 mm above the bed, 17 mm more than Z allows" in text
    low = {"machine.nose_lowest": 100, f"{R}stick_out": 80}
    text = found(low)[f"{R}stick_out"]
    assert "8 mm above the block's floor" in text
    assert "at least 88 mm" in text
    assert "block.floor to 20 mm" in text


@given(tip=st.floats(0.1, 10), taper=st.floats(0.5, 60), more=st.floats(0.0, 50))
def test_the_flank_of_a_tapered_ball_is_a_tangent_of_its_ball(
    tip: float, taper: float, more: float
) -> None:
    """Exact geometry: the flank stays as far from the ball's middle as the ball's radius."""
    slope, radius = radians(taper), tip / 2
    length = radius * (1 - sin(slope)) + more
    bit = Bit(
        name="x",
        shape="tapered ball",
        diameter=tip,
        taper_deg=taper,
        flutes=2,
        flute_length=max(length, 1e-3),
        shank=10,
        stick_out=100,
    )
    across, up = widest(bit) / 2, bit.flute_length - radius
    along = (sin(slope), cos(slope))
    distance = abs(across * along[1] - up * along[0])
    assert distance == pytest.approx(radius, rel=1e-9)
    assert hypot(across, up) >= radius * (1 - 1e-9)
