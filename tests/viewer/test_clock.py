"""Clock, line and text at random moments against the runtime model and the file itself."""

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser

from icecam.estimate.runtime import runtime
from icecam.viewer.data import dry_run
from icecam.viewer.page import job_page
from tests.viewer.conftest import Opened, opened
from tests.viewer.scene import result_in_one_file, result_of_five

CLOCK_S = 0.002
"""The page counts milliseconds."""


def test_the_job_takes_as_long_as_the_model_says(five: Opened) -> None:
    told = five.page.evaluate("dryRun.job.head.seconds")
    total = sum(stage.seconds.total for stage in result_of_five().stages)
    assert told == pytest.approx(total, abs=CLOCK_S)


def test_move_and_line_at_random_times_are_those_of_the_model(five: Opened) -> None:
    result = result_of_five()
    starts = np.cumsum([0.0, *(stage.seconds.total for stage in result.stages)])
    rng = np.random.default_rng(7)
    tried = 0
    for time in rng.uniform(0.0, starts[-1], 60).tolist():
        nth = int(np.searchsorted(starts, time, side="right")) - 1
        stage = result.stages[nth]
        ends = np.cumsum(runtime(stage.path, result.scene.job.machine).seconds)
        pause = stage.seconds.bit_change + stage.seconds.dwells
        into = time - starts[nth] - pause
        got = five.page.evaluate(
            """(time) => {
                dryRun.toTime(time);
                const { nth, n, share, waiting } = dryRun.moment;
                return { nth, n, share, waiting, line: dryRun.job.stages[nth].line[n] };
            }""",
            time,
        )
        assert got["nth"] == nth
        assert got["waiting"] == (into < 0)
        if into < 0:
            continue
        move = int(np.searchsorted(ends, into, side="right"))
        if np.abs(ends - into).min() < CLOCK_S:
            assert abs(got["n"] - move) <= 1
            continue
        tried += 1
        assert got["n"] == move
        assert got["line"] == stage.path.line[move]
        begin = ends[move - 1] if move else 0.0
        share = (into - begin) / (ends[move] - begin)
        assert got["share"] == pytest.approx(share, abs=CLOCK_S / (ends[move] - begin))
    assert tried > 5


def test_the_text_of_a_line_is_that_of_the_file(five: Opened) -> None:
    """Every line of every file, headers and comments included."""
    for nth, stage in enumerate(result_of_five().stages):
        lines = stage.file.text.decode().split("\n")[:-1]
        got = five.page.evaluate(
            """([nth, count]) => {
                const words = [];
                for (let line = 1; line <= count; line++)
                    words.push(window.dryRun.lineText(nth, line));
                return words;
            }""",
            [nth, len(lines)],
        )
        assert got == lines


def test_the_text_of_one_file_in_inches_with_numbers(browser: Browser, tmp_path: Path) -> None:
    """Work zero elsewhere, line numbers, bit changes in the middle: still every line of moves."""
    result = result_in_one_file()
    page_file = tmp_path / "job.html"
    page_file.write_bytes(job_page("", "", "t", dry_run(result, [])))
    got = opened(browser, page_file.as_uri())
    lines = result.stages[0].file.text.decode().split("\n")
    assert len({stage.file.name for stage in result.stages}) == 1
    for nth, stage in enumerate(result.stages):
        first, last = int(stage.path.line[0]), int(stage.path.line[-1])
        script = """([nth, first, last]) => {
            const words = [];
            for (let line = first; line <= last; line++) words.push(dryRun.lineText(nth, line));
            return words;
        }"""
        assert got.page.evaluate(script, [nth, first, last]) == lines[first - 1 : last]
    got.page.evaluate("dryRun.toMove(1, 40)")
    shown = got.page.locator("#dr-readout").inner_text()
    tip = (result.stages[1].path.begins[40] - np.array(result.scene.job.block.zero)) / 25.4
    assert f"X {tip[0]:.3f} Y {tip[1]:.3f} Z {tip[2]:.3f} in" in " ".join(shown.split())
    got.page.context.close()


def test_what_is_shown_of_a_moment(five: Opened) -> None:
    page, result = five.page, result_of_five()
    stage = result.stages[1]
    move = int(np.argmax(stage.carved.removed))
    page.evaluate("([n]) => dryRun.toMove(1, n + 1)", [move - 1])
    shown = page.locator("#dr-readout").inner_text()
    assert "2 of 5, finishing" in shown
    assert f"file says {stage.path.feed[move] * 60:.0f}" in shown
    assert page.locator("#dr-line-number").inner_text() == f"Line {stage.path.line[move]}"
    line = stage.file.text.decode().split("\n")[stage.path.line[move] - 1]
    assert page.locator("#dr-line-text").inner_text() == line
    series = stage.load.series
    k = int(np.searchsorted(series.stretches.first, move, side="right")) - 1
    power, chip = page.evaluate(
        "(() => { const s = dryRun.job.stages[1];"
        " return [Math.max(...s.power) / 10, Math.max(...s.chip) / 1e3]; })()"
    )
    assert power == pytest.approx(series.power.best.max(), abs=0.051)
    assert chip == pytest.approx(series.chip_mean.max(), abs=0.00051)
    assert f"{series.chip_mean[k]:.3f} mm" in shown


def test_litres_are_those_of_the_proof(five: Opened) -> None:
    page, result = five.page, result_of_five()
    page.evaluate("dryRun.toTime(Infinity)")
    litres = sum(float(stage.carved.removed.sum()) for stage in result.stages) / 1e6
    assert f"{litres:.2f} L of {litres:.2f} L" in page.locator("#dr-readout").inner_text()
    page.evaluate("dryRun.toStage(1)")
    first = float(result.stages[0].carved.removed.sum()) / 1e6
    assert f"{first:.2f} L of" in page.locator("#dr-readout").inner_text()
