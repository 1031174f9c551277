"""Debian's browser, for the pages that are tried in it."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserType, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture
def unpictured(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the pictures of a job, which take most of the time of a small one.

    They are drawn in tests/report, in tests/cli/test_cli.py, in tests/plan/test_check.py and for
    every name.
    """
    none = dict[str, bytes]()
    # first the module that keeps the names of the others, so that it never keeps these
    monkeypatch.setattr("icecam.report.checked.pictures_of", lambda _: none)
    monkeypatch.setattr("icecam.report.picture.pictures", lambda _: b"")
    monkeypatch.setattr("icecam.report.load_picture.load_pictures", lambda _: none)


@pytest.fixture(scope="session")
def chromium() -> Iterator[BrowserType]:
    """Start what drives the browser, once: two at a time refuse each other.

    Without the browser skip, unless the environment says that it must be here.
    """
    if not CHROMIUM.is_file():
        if os.environ.get("ICECAM_BROWSER_NEEDED"):
            pytest.fail(f"{CHROMIUM} is missing; apt-get install chromium")
        pytest.skip(f"{CHROMIUM} is missing: pages are tried in that browser only")
    with sync_playwright() as driver:
        yield driver.chromium
