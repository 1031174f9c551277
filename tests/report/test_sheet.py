"""The job sheet says what summary.json and the files say, refuses in words, and escapes names."""

import re
from dataclasses import replace
from itertools import pairwise
from math import floor
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from icecam.job.records import Precut, Sawn
from icecam.plan import Result, scene_of
from icecam.report.sheet import job_sheet
from icecam.report.sheet_words import precut_words
from icecam.report.summary import summary
from tests.report.sheet_jobs import (
    EVIL,
    SIZE,
    WIDEST,
    called,
    dome,
    in_block,
    of_stages,
    refused,
    troubled,
)
from tests.report.sheet_tree import by_class, number_of, tree_of, words_of

BLOCK = {"precut_litres": 11.2, "precut_margin_mm": 5.0}


def hours(minutes: float) -> str:
    """Write minutes as a clock, half minutes to the even one."""
    whole = round(minutes)
    return f"{floor(whole / 60)}:{whole - 60 * floor(whole / 60):02d} h"


def lasts(minutes: float) -> str:
    return hours(minutes) if minutes >= 1 else f"{minutes:.1f} min"


def snow(litres: float) -> str:
    return f"{litres:.1f} L" if litres >= 0.1 else "under 0.1 L"


def pages_of(root: ET.Element) -> list[ET.Element]:
    return by_class(root, "sheet-page")


def test_the_glance_is_the_summary() -> None:
    told = summary(dome())
    (glance,) = by_class(tree_of(dome()), "glance")
    facts = {each[0].text: words_of(each[1]) for each in glance}
    assert facts == {
        "from start to end": hours(told["hours"]["total_minutes"]),
        "bits": str(len(told["stages"])),
        "snow": snow(told["hours"]["snow_litres"]),
        "block": f"{told['block']['mass_kg']:.1f} kg",
        "piece": f"{told['sculpture']['mass_kg']:.1f} kg",
    }


def test_each_stage_is_the_summary() -> None:
    told = summary(dome())["stages"]
    assert np.nanmax(dome().stages[1].path.feed) > 1.5 * dome().stages[1].stage.feed
    rows = by_class(tree_of(dome()), "stage")
    assert len(rows) == len(told) == 3
    for row, stage, done in zip(rows, told, dome().stages, strict=True):
        (settings,) = by_class(row, "settings")
        names, values = settings[::2], settings[1::2]
        said = {name.text: words_of(value) for name, value in zip(names, values, strict=True)}
        assert words_of(by_class(row, "file")[0]) == stage["file"]
        assert words_of(by_class(row, "hours")[0]) == lasts(stage["time"]["total_minutes"])
        assert said["speed"] == f"{stage['spindle_rpm']:.0f} rpm"
        check_feed(said["feed"], stage["feed_mm_min"], np.nanmax(done.path.feed) * 60)
        down, rows_apart = re.findall(r"[\d.]+(?= mm)", said["step"])
        assert float(down) == pytest.approx(stage["step_down_mm"], abs=0.005)
        assert float(rows_apart) == pytest.approx(stage["stepover_mm"], abs=0.005)
        check_load(said["load"], stage)
        assert said["snow"] == f"{snow(stage['time']['snow_litres'])}, no stops to clear it"


def check_feed(said: str, usual: float, fastest: float) -> None:
    """The feed of the stage, and the fastest of the file if thin chips let it go faster."""
    feeds = [usual, fastest] if fastest > 1.01 * usual else [usual]
    mm, inches = ("-".join(f"{each / unit:.0f}" for each in feeds) for unit in (1.0, 25.4))
    assert said == f"{mm} mm/min ({inches} in/min)"


def check_load(said: str, stage: dict[str, dict[str, dict[str, float]]]) -> None:
    """Mean low, best, high, and the most: each within the digits written."""
    mean, most = said.split(", most ")
    band = stage["load_w"]
    figures = mean.removesuffix(" W").split(" / ")
    ends = ("low", "best", "high") if len(figures) == 3 else ("high",)
    for figure, end in zip(figures, ends, strict=True):
        check_watts(figure, band[end])  # type: ignore[arg-type]
    check_watts(most.removesuffix(" W"), stage["load"]["peak_w"]["high"])


def check_watts(figure: str, value: float) -> None:
    if figure.startswith(("<", "under")):
        assert value < 0.1
    else:
        assert float(figure) == pytest.approx(value, abs=0.5 if "." not in figure else 0.05)


def test_the_clock_runs_on_from_stage_to_stage() -> None:
    told = summary(dome())
    minutes = [stage["time"]["total_minutes"] for stage in told["stages"]]
    edges = np.concatenate([[0.0], np.cumsum(minutes)])
    when = [words_of(each) for each in by_class(tree_of(dome()), "when")]
    assert when == [f"{hours(a).removesuffix(' h')} to {hours(b)}" for a, b in pairwise(edges)]
    assert edges[-1] == pytest.approx(told["hours"]["total_minutes"], abs=1e-3)


def test_the_clock_bar_is_drawn_to_its_minutes() -> None:
    (bar,) = by_class(tree_of(dome()), "clock")
    parts = [each for each in bar.iter("g") if each.get("data-minutes")]
    widths = np.array([number_of(each[0], "width") for each in parts])
    minutes = np.array([number_of(each, "data-minutes") for each in parts])
    assert minutes.sum() == pytest.approx(summary(dome())["hours"]["total_minutes"], abs=0.05)
    assert widths / widths.sum() == pytest.approx(minutes / minutes.sum(), abs=1e-3)


def test_setting_up_holds_what_the_files_hold() -> None:
    """Lowest tip and the way of the spindle, from the moves themselves."""
    result = dome()
    ends = np.vstack([stage.path.ends for stage in result.stages])
    said = words_of(pages_of(tree_of(result))[0])
    lowest = float(re.findall(r"lower than ([\d.]+) mm", said)[0])
    assert lowest == pytest.approx(ends[:, 2].min(), abs=0.05)
    half = result.scene.job.machine.spindle.body / 2
    x0, x1, y0, y1 = (
        float(each)
        for each in re.findall(r"within X (\S+) to (\S+) and Y (\S+) to (\S+) mm", said)[0]
    )
    assert (x0, y0) == pytest.approx(ends[:, :2].min(axis=0) - half, abs=0.5)
    assert (x1, y1) == pytest.approx(ends[:, :2].max(axis=0) + half, abs=0.5)
    assert f"the block's top is then at Z {SIZE[2]:.1f} mm" in said
    assert "Set Z again with each bit" in said
    assert "A proof does not replace looking" in said


def test_a_run_above_the_block_clears_it_and_fits_z() -> None:
    """The small block lies low enough; the default one does not, and the words change."""
    result = dome()
    said = words_of(tree_of(result))
    lift = float(re.findall(r"set Z zero (\d+) mm higher", said)[0])
    ends = np.vstack([stage.path.ends for stage in result.stages])
    assert ends[:, 2].min() + lift >= SIZE[2] + 9.5
    machine = result.scene.job.machine
    top = machine.nose_lowest + machine.travel[2]
    for stage in result.stages:
        assert stage.path.ends[:, 2].max() + lift <= top - stage.stage.bit.stick_out
    low = replace(machine, travel=(*machine.travel[:2], 150.0))
    scene = replace(result.scene, job=replace(result.scene.job, machine=low))
    said = words_of(tree_of(replace(result, scene=scene)))
    assert "run the first file over the empty bed" in said
    assert "Z zero" not in said


def test_zero_off_the_corner_is_told_by_sides() -> None:
    said = words_of(tree_of(in_block(dome(), SIZE, (-20.0, 10.0, 26.0))))
    assert "X0 Y0: 20.0 mm left and 10.0 mm behind, seen from the block's front left corner" in said
    assert "Z0: 26.0 mm above the bed; the block's top is then at Z 0.0 mm" in said


def test_ice_gone_before_is_told() -> None:
    """A wedge of 10 x 10 mm is sawn off along the front."""
    assert "gone before" not in words_of(tree_of(dome()))
    result = dome()
    cut = Sawn(through=((0, 10, 26), (36, 10, 26), (0, 0, 16)), gone=(0, 0, 26))
    block = replace(result.scene.job.block, precut=Precut(sawn=(cut,)), precut_margin=0.0)
    scene = scene_of(result.scene.placed, replace(result.scene.job, block=block))
    result = replace(result, scene=scene)
    litres = summary(result)["block"]["precut_litres"]
    said = words_of(tree_of(result))
    assert f"{litres:.1f} L of this block are gone before" in said
    assert litres == pytest.approx(10 * 10 / 2 * 36 / 1e6, rel=0.05)
    assert "11.2 L of this" in precut_words({"block": BLOCK})[0]
    assert "Up to 5 mm more ice" in precut_words({"block": BLOCK})[0]


def test_proof_in_words() -> None:
    proof = summary(dome())["proof"]
    said = words_of(tree_of(dome()))
    assert "No cut goes below the sculpture" in said
    assert f"{100 * proof['reachable_within_tolerance']:.1f} % of the area is within" in said
    x, y, z = proof["left_worst_at_mm"]
    assert f"most, {proof['left_worst_mm']:.2f} mm, at X {x:.1f} Y {y:.1f} Z {z:.1f} (A)" in said
    assert f"Checked every {proof['cell_mm']:g} mm" in said


def test_cautions_name_every_danger() -> None:
    """The dangers the sheet must name: common practice, no source."""
    said = words_of(tree_of(dome()))
    for word in ("Spindle", "Flying ice", "Cold", "slippery", "Dry ice", "Local codes", "trained"):
        assert word in said
    lift = summary(dome())["keeping"]["piece_lift"]
    assert f"Piece, sawn free, {lift['mass_kg']:.1f} kg" in said


def test_a_refused_job_says_so_and_advises_no_run() -> None:
    root = tree_of(refused(troubled(dome())))
    first = pages_of(root)[0]
    said = words_of(root)
    assert words_of(by_class(root, "verdict")[0]) == "REFUSED do not use these files"
    assert list(first).index(by_class(first, "refusal")[0]) == 1
    assert "2-finish-tapered: cuts 0.310 mm into the sculpture" in said
    assert "1-rough-flat-12: X goes 3.0 mm above the machine's travel (line 12)" in said
    for advice in (
        "Look out",
        "Put in",
        "Set zero",
        "set Z",
        "Before the first file",
        "hand on the stop",
    ):
        assert advice not in said
    assert not by_class(root, "clock")
    assert not by_class(root, "when")
    assert all(words_of(each).startswith("REFUSED-") for each in by_class(root, "file"))


def test_many_reasons_are_counted() -> None:
    stage = dome().stages[0]
    broken = replace(dome(), stages=(replace(stage, limits=("a limit",) * 30),))
    (box,) = by_class(tree_of(broken), "refusal")
    assert words_of(box).count("a limit") == 8
    assert "and 22 more, see summary.json" in words_of(box)


def test_a_clean_job_never_says_refused() -> None:
    assert "REFUSED" not in job_sheet(dome())
    assert words_of(by_class(tree_of(dome()), "verdict")[0]) == "Clean no fault found in 3 files"


def test_names_are_escaped() -> None:
    result = called(of_stages(3, f"{EVIL}\"'&"), EVIL, f"\x1b[2J\ud800{EVIL}.stl")
    text = job_sheet(result)
    assert "<script" not in text
    text.encode("utf-8")
    root = tree_of(result)
    assert not list(root.iter("script"))
    assert by_class(root, "sheet-head")[0][0][0].text == EVIL
    assert "\x1b" not in text


@pytest.mark.parametrize(("count", "pages"), [(1, 2), (5, 2), (8, 2), (9, 3), (12, 3)])
def test_pages(count: int, pages: int) -> None:
    root = tree_of(of_stages(count))
    assert len(pages_of(root)) == pages
    assert len(by_class(root, "stage")) == count
    assert len(by_class(root, "assumed")) == 1
    feet = [words_of(each).split(", ")[-1] for each in by_class(root, "page-foot")]
    assert feet == [f"page {nth} of {pages}" for nth in range(1, pages + 1)]


def test_seven_bits_of_the_widest_names_take_two_pages() -> None:
    assert len(pages_of(tree_of(called(of_stages(7, WIDEST), "W" * 80, "W" * 250)))) == 2


def test_warnings_stand_with_their_stage() -> None:
    result = dome()
    job = replace(result.scene.job, ice=replace(result.scene.job.ice, least_chip=1.0, too_warm=-29))
    result = replace(result, scene=replace(result.scene, job=job))
    warnings = summary(result)["warnings"]
    rows = by_class(tree_of(result), "stage")
    found = [
        words_of(each).removeprefix("Look out ") for each in by_class(tree_of(result), "look-out")
    ]
    assert len(found) == len(warnings) >= 4
    for row, stage in zip(rows, summary(result)["stages"], strict=True):
        own = [words_of(each).removeprefix("Look out ") for each in by_class(row, "look-out")]
        assert [f"{stage['name']}: {each}" for each in own] == [
            each for each in warnings if each.startswith(f"{stage['name']}: ")
        ]


def test_one_file_asks_for_a_machine_that_measures() -> None:
    result: Result = dome()
    job = replace(result.scene.job, output=replace(result.scene.job.output, one_file=True))
    said = words_of(tree_of(replace(result, scene=replace(result.scene, job=job))))
    assert "only for a machine that measures each bit after M6" in said
    assert "Set Z again" not in said.replace("Z set again", "")


def test_an_own_value_is_not_assumed() -> None:
    result = dome()
    freezer = replace(result.scene.job.freezer, snow_bulk=3.0)
    own = replace(
        result, scene=replace(result.scene, job=replace(result.scene.job, freezer=freezer))
    )
    name = "litres of snow from a litre of ice"
    assert name in words_of(by_class(tree_of(result), "assumed")[0])
    assert name not in words_of(by_class(tree_of(own), "assumed")[0])


def test_the_same_result_gives_the_same_sheet() -> None:
    assert job_sheet(dome()) == job_sheet(dome())


def test_the_end_of_a_working_day_is_marked() -> None:
    """A day of ten minutes is over more than once; its line stands at its minutes."""
    result = dome()
    freezer = replace(result.scene.job.freezer, working_day=700.0, warm_up=60.0)
    job = replace(result.scene.job, freezer=freezer)
    result = replace(result, scene=replace(result.scene, job=job))
    told = summary(result)["hours"]
    root = tree_of(result)
    days = by_class(root, "day")
    assert len(days) == told["working_days"] >= 1
    assert "Upright red line: a working day is over." in words_of(root)
    (bar,) = by_class(root, "clock")
    rectangles = list(bar.iter("rect"))
    left = number_of(rectangles[0], "x")
    right = number_of(rectangles[-1], "x") + number_of(rectangles[-1], "width")
    share = (number_of(days[0], "x1") - left) / (right - left)
    assert share == pytest.approx(700.0 / 60 / told["total_minutes"], abs=1e-3)
    assert not by_class(tree_of(dome()), "day")
