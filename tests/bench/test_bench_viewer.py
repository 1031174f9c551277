"""The dry run of a large job: size of the file, time until it can be used, time of a scrub."""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import sync_playwright

from icecam.job.file import load
from icecam.plan import Result, carve_stages, set_up
from icecam.viewer.data import dry_run
from icecam.viewer.page import job_page
from tests.bench.figures import Figure, Note
from tests.bench.scenes import block_relief
from tests.conftest import CHROMIUM
from tests.viewer.conftest import NO_GRAPHICS_CARD

MOVES, FINER = 3_000_000, 4.5
"""So many moves come of a scallop so many times finer than the default."""
SCRUBS = 150


def relief(folder: Path) -> Result:
    """A relief that fills the block, carved with fine rows by every bit of the rack."""
    block_relief(1_000_000).export(folder / "relief.stl")
    job = load(None)
    job = replace(
        job,
        sculpture=replace(job.sculpture, fit=True),
        quality=replace(job.quality, scallop=job.quality.scallop / FINER),
    )
    return carve_stages(set_up(folder / "relief.stl", job))


def note_the_page(page_file: Path, figure: Note) -> None:
    """Open the page and jump through all of it; times of its thread, whatever else runs."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", *NO_GRAPHICS_CARD]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.set_default_timeout(300_000)
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})

        def busy() -> float:
            told = session.send("Performance.getMetrics")["metrics"]
            return next(float(row["value"]) for row in told if row["name"] == "ThreadTime")

        page.goto(page_file.as_uri())
        page.wait_for_selector("#dry-run[data-ready]", state="attached")
        ready, wall = busy(), float(page.get_attribute("#dry-run", "data-ready") or "nan") / 1000
        page.evaluate("dryRun.redraw = () => {}")  # frames of other moments would count as well
        rng, took = np.random.default_rng(5), []
        for share in rng.uniform(size=SCRUBS).tolist():
            before = busy()
            page.evaluate("(share) => dryRun.toTime(share * dryRun.job.head.seconds)", share)
            took.append(1000 * (busy() - before))
        cells = page.evaluate("dryRun.ice.nx * dryRun.ice.ny")
        browser.close()
    figure(Figure("dry run: cells of the page", cells / 1e6, 2.02, "M"))
    figure(Figure("dry run: ready, processor time; aim by the clock", ready, 3.0))
    figure(Figure("dry run: ready, by the clock, no graphics card", wall, 3.0))
    figure(
        Figure("dry run: to anywhere, middle, processor time", float(np.median(took)), 50.0, "ms")
    )
    figure(Figure("dry run: the same, p95", float(np.quantile(took, 0.95)), 50.0, "ms"))


@pytest.mark.long
def test_a_large_job(figure: Note, tmp_path: Path) -> None:
    result = relief(tmp_path)
    moves = sum(len(stage.path) for stage in result.stages)
    assert moves >= MOVES
    begun = time.perf_counter()
    page = job_page("", "", "relief", dry_run(result, []))
    figure(
        Figure(
            f"dry run of {moves / 1e6:.2f} M moves: making it", time.perf_counter() - begun, 30.0
        )
    )
    figure(Figure("dry run: the file", len(page) / 1e6, 25.0, "MB"))
    (tmp_path / "job.html").write_bytes(page)
    note_the_page(tmp_path / "job.html", figure)
