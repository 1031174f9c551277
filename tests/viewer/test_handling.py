"""Keys, dragging, jumps, tick boxes, clicks on the ice, as a hand does them."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page

from tests.viewer.conftest import Opened, opened
from tests.viewer.scene import SIZE, result_of_five


def moment(page: Page) -> dict[str, Any]:
    told: dict[str, Any] = page.evaluate("({ ...dryRun.moment })")
    return told


@pytest.fixture
def page(five: Opened) -> Page:
    """The dry run at the begin of stage 2, seen from above, focus on the ribbon."""
    five.page.set_viewport_size({"width": 1280, "height": 800})
    five.page.evaluate(
        """() => {
            const run = dryRun;
            if (run.playing) run.play();
            run.section.on = false;
            Object.assign(run.show, { bit: true, left: false, marks: true, current: true });
            run.look("above");
            run.toMove(1, 0);
        }"""
    )
    five.page.locator("#dr-ribbon").focus()
    return five.page


def test_arrows_step_by_moves(page: Page) -> None:
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert (moment(page)["nth"], moment(page)["n"], moment(page)["share"]) == (1, 2, 0)
    page.keyboard.press("ArrowLeft")
    assert moment(page)["n"] == 1
    for _ in range(2):
        page.keyboard.press("ArrowLeft")
    before = moment(page)  # back over the begin of a stage
    assert before["nth"] == 0
    assert before["n"] == len(result_of_five().stages[0].path) - 1


def test_stages_begin_and_end_by_keys(page: Page) -> None:
    page.keyboard.press("3")
    assert (moment(page)["nth"], moment(page)["waiting"]) == (2, True)
    page.keyboard.press("PageDown")
    assert moment(page)["nth"] == 3
    page.keyboard.press("PageUp")
    assert moment(page)["nth"] == 2
    page.keyboard.press("End")
    assert moment(page)["share"] == 1
    assert page.locator("#dr-next-time").inner_text() == "0:00:00"
    page.keyboard.press("Home")
    assert moment(page)["time"] == 0


def test_deepest_and_highest(page: Page) -> None:
    stages = result_of_five().stages
    lows = [float(stage.path.ends[stage.carved.removed > 0, 2].min()) for stage in stages]
    page.keyboard.press("d")
    tip = page.evaluate("(() => { const m = dryRun.scene(); return m.tip; })()")
    assert tip[2] == pytest.approx(min(lows), abs=0.001)
    page.locator("#dr-highest").click()
    peaks = [stage.load.peak.best for stage in stages]
    nth = int(np.argmax(peaks))
    now = moment(page)
    assert now["nth"] == nth
    assert stages[nth].path.line[now["n"]] == stages[nth].load.peak_line


def test_warnings_are_jumped_to(page: Page) -> None:
    page.keyboard.press("w")
    first = page.evaluate("dryRun.chosen.words")
    assert page.evaluate("['warning', 'fault'].includes(dryRun.chosen.kind)")
    page.locator("#dr-marks button").first.click()
    assert page.evaluate("dryRun.chosen") == page.evaluate("dryRun.marks[0]")
    assert first


def test_playing_runs_the_clock(page: Page) -> None:
    page.evaluate("dryRun.toMove(1, 5)")
    begun = moment(page)["time"]
    page.keyboard.press(" ")
    assert page.locator("#dr-play").inner_text() == "Stop"
    page.wait_for_function("(begun) => dryRun.moment.time > begun + 5", arg=begun)
    page.keyboard.press(" ")
    stopped = moment(page)["time"]
    page.wait_for_timeout(120)
    assert moment(page)["time"] == stopped


def test_speed_goes_from_one_to_a_thousand(page: Page) -> None:
    for _ in range(8):
        page.keyboard.press(">")
    assert page.locator("#dr-speed").inner_text() == "1000 times"
    for _ in range(8):
        page.locator("#dr-slower").click()
    assert page.locator("#dr-speed").inner_text() == "as it runs"


def test_the_ribbon_is_dragged(page: Page) -> None:
    box = page.locator("#dr-ribbon-canvas").bounding_box()
    assert box is not None
    total = page.evaluate("dryRun.job.head.seconds")
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.25 * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.75 * box["width"], y, steps=3)
    page.mouse.up()
    assert moment(page)["time"] == pytest.approx(0.75 * total, rel=0.01)
    spoken = page.locator("#dr-ribbon").get_attribute("aria-valuetext")
    assert spoken is not None
    assert "stage" in spoken


def test_tick_boxes_and_section(page: Page) -> None:
    page.get_by_label("Ice left on the sculpture").check()
    assert page.evaluate("dryRun.show.left") is True
    page.keyboard.press("Escape")
    page.locator("#dr-ribbon").focus()
    page.keyboard.press("i")
    assert page.get_by_label("Ice left on the sculpture").is_checked() is False
    page.get_by_label("3 flat 4").check()
    assert page.evaluate("dryRun.scene().show.paths") == [False, True, True, False, False]
    page.get_by_label("3 flat 4").uncheck()
    page.locator("#dr-ribbon").focus()
    page.keyboard.press("x")
    assert page.evaluate("({ ...dryRun.section })") == {"on": True, "axis": "x", "at": SIZE[0] / 2}
    page.keyboard.press("]")
    assert page.evaluate("dryRun.section.at") == pytest.approx(SIZE[0] / 2 + SIZE[0] / 50)
    page.keyboard.press("x")
    assert page.evaluate("dryRun.section.on") is False


def test_the_line_the_machine_stands_at(page: Page) -> None:
    page.locator("#dr-find-file").select_option("2")
    stage = result_of_five().stages[2]
    line = int(stage.path.line[100])
    page.locator("#dr-find-line").fill(str(line))
    page.get_by_role("button", name="Show", exact=True).click()
    now = moment(page)
    done = int(np.searchsorted(stage.path.line, line, side="right"))
    assert (now["nth"], now["n"], now["share"]) == (2, done, 0)


def test_the_picture_turns_and_moves(page: Page) -> None:
    picture = page.locator("#dr-picture")
    picture.focus()
    before = page.evaluate("[dryRun.camera.around, dryRun.camera.up, dryRun.camera.scale]")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("+")
    after = page.evaluate("[dryRun.camera.around, dryRun.camera.up, dryRun.camera.scale]")
    assert after[0] != before[0]
    assert after[1] < before[1]
    assert after[2] == pytest.approx(before[2] / 1.25)
    assert moment(page)["n"] == 0  # arrows on the picture do not move the time
    box = picture.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 200)
    page.mouse.wheel(0, -240)
    assert page.evaluate("dryRun.camera.scale") < after[2]


def stages_that_cut(x: float, y: float, least: float) -> list[int]:
    """Stages that take more than `least` mm off the cell under a place, in the proof."""
    result = result_of_five()
    j, i = (int(k[0]) for k in result.ice.grid.nearest(np.array([x]), np.array([y])))
    fields = [result.scene.ice, *(stage.carved.ice for stage in result.stages)]
    heights = [field.heights[j, i] for field in fields]
    return [n for n, (a, b) in enumerate(pairwise(heights)) if a - b > least]


def test_a_click_tells_what_cut_there_last(page: Page) -> None:
    """Height, distance to the sculpture and stage as in the proof; the line really lowers it."""
    result = result_of_five()
    page.evaluate("dryRun.show.marks = false; dryRun.toTime(Infinity)")
    box = page.locator("#dr-overlay").bounding_box()
    assert box is not None
    asked = 0
    for x, y in [(26.25, 20.25), (12.15, 20.25), (38.25, 12.75), (26.25, 6.15)]:
        px, py = page.evaluate("([x, y]) => dryRun.camera.project([x, y, 0])", [x, y])
        page.mouse.click(box["x"] + px, box["y"] + py)
        words = page.locator("#dr-found-words").inner_text()
        cell = page.evaluate(
            """([px, py]) => { const told = dryRun.pointAt(px, py);
               return told && [told.height, told.stage ?? null, told.line ?? null]; }""",
            [px, py],
        )
        grid = result.ice.grid
        j, i = grid.nearest(np.array([x]), np.array([y]))
        height = result.ice.heights[j[0], i[0]]
        wanted = result.scene.wanted.heights[j[0], i[0]]
        assert cell[0] == pytest.approx(height, abs=0.01)
        if np.isfinite(wanted) and height - wanted > 0.02:
            assert f"{height - wanted:.1f}" in words or f"{height - wanted:.2f}"[:-1] in words
        if not stages_that_cut(x, y, 0.0):
            assert "Not cut yet" in words
            continue
        asked += 1
        assert cell[1] in stages_that_cut(x, y, 0.001)
        assert cell[1] >= max(stages_that_cut(x, y, 0.01))
        assert f"stage {cell[1] + 1}, line {cell[2]}" in words
        assert cell[2] in result.stages[cell[1]].path.line
        page.locator("#dr-found-go").click()
        after = page.evaluate("([x, y]) => dryRun.ice.heightAt(x, y)", [x, y])
        page.evaluate("dryRun.step(-1)")
        before = page.evaluate("([x, y]) => dryRun.ice.heightAt(x, y)", [x, y])
        assert after == pytest.approx(height, abs=0.01)
        assert before > after + 0.001
        page.evaluate("dryRun.toTime(Infinity)")
        page.locator("#dr-found-close").click()
    assert asked >= 2


def test_fingers_on_a_small_screen(browser: Browser, five: Opened) -> None:
    """A tap on the ribbon goes there, a tap on the ice tells of it, one finger turns the block."""
    got = opened(browser, five.requests[0], width=390, height=844)
    page = got.page
    ribbon = page.locator("#dr-ribbon-canvas").bounding_box()
    picture = page.locator("#dr-overlay").bounding_box()
    assert ribbon is not None
    assert picture is not None
    page.touchscreen.tap(ribbon["x"] + 0.9 * ribbon["width"], ribbon["y"] + 40)
    total = page.evaluate("dryRun.job.head.seconds")
    assert moment(page)["time"] == pytest.approx(0.9 * total, rel=0.02)
    page.evaluate("dryRun.show.marks = false")
    page.touchscreen.tap(picture["x"] + picture["width"] / 2, picture["y"] + picture["height"] / 2)
    page.locator("#dr-found").wait_for()
    around = page.evaluate("dryRun.camera.around")
    session = page.context.new_cdp_session(page)
    x, y = picture["x"] + 100, picture["y"] + 60
    for kind, points in (
        ("touchStart", [{"x": x, "y": y}]),
        ("touchMove", [{"x": x + 40, "y": y}]),
        ("touchEnd", []),
    ):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert page.evaluate("dryRun.camera.around") != around
    scale = page.evaluate("dryRun.camera.scale")
    for kind, wide in (("touchStart", 20), ("touchMove", 60), ("touchMove", 80), ("touchEnd", 0)):
        pair = [{"x": x - wide, "y": y, "id": 0}, {"x": x + wide, "y": y, "id": 1}]
        points = pair if wide else []
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert page.evaluate("dryRun.camera.scale") < scale
    page.context.close()


def test_keys_rest_while_a_field_is_filled_in(page: Page) -> None:
    page.locator("#dr-find-line").fill("3")
    page.locator("#dr-find-line").press("d")
    page.locator("#dr-find-line").press("2")
    assert moment(page)["nth"] == 1
    assert moment(page)["n"] == 0


def test_the_table_of_keys_opens_and_closes(page: Page) -> None:
    page.keyboard.press("?")
    assert page.locator("#dr-keys").is_visible()
    page.keyboard.press("Escape")
    assert page.locator("#dr-keys").is_hidden()
