"""Make the README's pictures from the pages of the sample job: python models/pictures.py.

Needs the test extra and Debian's chromium.
"""

from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "sample_output" / "lantern-tile" / "job.html"
PICTURES = ROOT / "sample_output"
ARGUMENTS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader"]
MOMENT = 0.62
"""Share of the job that lies behind in the picture of the dry run."""


def main() -> None:
    """Write job-sheet.png and dry-run.png into sample_output."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=[*ARGUMENTS, "--enable-unsafe-swiftshader"]
        )
        _take(browser, ".sheet-page", PICTURES / "job-sheet.png", 900)
        _take(browser, ".dry-run", PICTURES / "dry-run.png", 1280)
        browser.close()


def _take(browser: Browser, part: str, file: Path, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto(PAGE.as_uri())
    page.wait_for_timeout(2000)
    ribbon = page.get_by_role("slider").first
    ribbon.scroll_into_view_if_needed()
    box = ribbon.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + MOMENT * box["width"], box["y"] + box["height"] / 2)
    page.wait_for_timeout(4000)
    page.locator(part).first.screenshot(path=str(file))
    page.close()


if __name__ == "__main__":
    main()
