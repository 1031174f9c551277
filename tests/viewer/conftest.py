"""A real browser, the dry run of a small job in it, and what it must never do."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserType, Page

from icecam.report.warnings import warnings_of
from icecam.viewer.data import dry_run
from icecam.viewer.page import FILE_NAME, job_page
from tests.conftest import CHROMIUM
from tests.viewer.scene import NAMES, result_of_five

NO_GRAPHICS_CARD = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


@dataclass
class Opened:
    """A page, what it asked the network for and what it complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def browser(chromium: BrowserType) -> Iterator[Browser]:
    browser = chromium.launch(
        executable_path=str(CHROMIUM), args=["--no-sandbox", *NO_GRAPHICS_CARD]
    )
    yield browser
    browser.close()


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
