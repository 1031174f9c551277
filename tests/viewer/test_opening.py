"""The file opens by itself: no server, no network, no complaint, whatever the names are."""

from pathlib import Path

import numpy as np
from playwright.sync_api import Browser

from tests.viewer.conftest import Opened, opened
from tests.viewer.scene import NAMES, SIZE


def test_it_opens_without_network_and_without_complaint(browser: Browser, five_file: Path) -> None:
    got = opened(browser, five_file.as_uri())
    got.page.wait_for_timeout(500)
    assert got.requests == [five_file.as_uri()]
    assert got.complaints == []
    assert got.page.locator("#dr-note").is_hidden()
    got.page.context.close()


def test_names_are_texts_and_nothing_else(five: Opened) -> None:
    page = five.page
    assert page.title() == NAMES
    assert page.locator("#dr-what").inner_text() == f"{NAMES}: <img src=x onerror=alert(1)>.stl"
    assert "ball 5 </script>" in page.locator("#dr-paths").inner_text()
    assert f"{NAMES} is too warm" in page.locator("#dr-marks").inner_text().replace("\n", " ")
    assert page.locator("#dry-run img").count() == 0
    assert page.locator("script").count() == 1  # the data is gone, the page's own script stays


def test_the_ice_is_drawn(five: Opened) -> None:
    """The middle of the picture is as bright as lit ice, the corner is the page."""
    page = five.page
    page.evaluate("dryRun.toTime(0); dryRun.look('above')")
    page.wait_for_timeout(300)
    read = """() => {
        dryRun.rest();
        const { gl, canvas } = dryRun.view;
        const dot = (x, y) => {
            const out = new Uint8Array(4);
            gl.readPixels(x, y, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out);
            return [...out];
        };
        return [dot(canvas.width / 2, canvas.height / 2), dot(1, 1)];
    }"""
    middle, corner = (np.array(dot[:3], dtype=float) for dot in page.evaluate(read))
    assert np.abs(corner - [0xEE, 0xF3, 0xF6]).max() <= 2
    assert np.abs(middle - corner).max() > 15
    assert middle[2] >= middle[0]  # cold, not warm


def test_detail_falls_when_frames_come_late_and_returns_at_rest(
    browser: Browser, five_file: Path
) -> None:
    got = opened(browser, five_file.as_uri(), width=360, height=500)
    page = got.page
    late = "(() => { for (let n = 0; n < 9; n++) dryRun.detail.frameTook(120); })()"
    drawn = page.evaluate(f"() => {{ {late}; dryRun.frame(0); return dryRun.drawn.stride; }}")
    assert drawn > 2
    page.wait_for_function("() => dryRun.drawn.stride < 4")  # by itself, now that nothing moves
    soon = "(() => { for (let n = 0; n < 400; n++) dryRun.detail.frameTook(10); })()"
    page.evaluate(soon)
    assert page.evaluate("dryRun.detail.moving") == 0
    got.page.context.close()


def test_the_block_has_its_size(five: Opened) -> None:
    assert five.page.evaluate("dryRun.job.head.block") == list(SIZE)
