"""Debian's browser, for the pages that are tried in it."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserType, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")


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
