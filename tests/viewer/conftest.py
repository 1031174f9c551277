"""A real browser, the dry run of a small job in it, and what it must never do."""

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from icecam.report.warnings import warnings_of
from icecam.viewer.data import dry_run
from icecam.viewer.page import FILE_NAME, job_page
from tests.viewer.scene import NAMES, result_of_five

CHROMIUM = Path("/usr/bin/chromium")
NO_GRAPHICS_CARD = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


@dataclass
class Opened:
    """A page, what it asked the network for and what it complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


def launched(arguments: list[str]) -> Iterator[Browser]:
    """Start Debian's browser; without it skip, unless the environment says that it must be here."""
    if not CHROMIUM.is_file():
        if os.environ.get("ICECAM_BROWSER_NEEDED"):
            pytest.fail(f"{CHROMIUM} is missing; apt-get install chromium")
        pytest.skip(f"{CHROMIUM} is missing: the dry run is tried in that browser only")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", *arguments]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    yield from launched(NO_GRAPHICS_CARD)


@pytest.fixture(scope="session")
def five_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """job.html of a job with a bit of each shape and names that would break a careless page."""
    result = result_of_five()
    data = dry_run(result, [*warnings_of(result), f"{NAMES} is too warm"])
    path = tmp_path_factory.mktemp("page") / FILE_NAME
    path.write_bytes(job_page("<p id='sheet'>sheet</p>", "#sheet { margin: 0 }", NAMES, data))
    return path


def opened(
    browser: Browser, address: str, *, width: int = 1280, height: int = 800, dark: bool = False,
    before: str = "",
) -> Opened:  # fmt: skip
    """Open a file without a network; `before` runs ahead of the page's own script."""
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        offline=True,
        has_touch=width < 1000,
    )
    page = context.new_page()
    got = Opened(page)
    page.on("request", lambda request: got.requests.append(request.url))
    page.on("pageerror", lambda fault: got.complaints.append(str(fault)))
    page.on("console", lambda said: got.complaints.append(f"{said.type}: {said.text}"))
    if before:
        page.add_init_script(before)
    page.goto(address)
    page.wait_for_selector("#dry-run[data-ready]", state="attached")
    return got


@pytest.fixture(scope="session")
def five(browser: Browser, five_file: Path) -> Iterator[Opened]:
    got = opened(browser, five_file.as_uri())
    yield got
    got.page.context.close()
