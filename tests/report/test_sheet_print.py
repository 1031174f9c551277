"""The job sheet in a real browser: two pages of A4, no word cut, readable in light and dark."""

import re
from collections.abc import Callable, Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import pypdfium2  # type: ignore[import-untyped]
import pytest
from playwright.sync_api import Browser, BrowserType, Dialog, Page

from icecam.plan import Result
from icecam.report.sheet import job_sheet, sheet_style
from tests.conftest import CHROMIUM
from tests.report.sheet_jobs import (
    EVIL,
    WIDEST,
    called,
    dome,
    in_block,
    of_stages,
    refused,
    troubled,
)
from tests.report.sheet_tree import tree_of

A4_POINTS: Final = (595.3, 841.9)
"""ISO 216: 210 x 297 mm, in points of 1/72 in."""
PAPER_PX: Final = 718
"""190 mm between the margins, at the 96 px an inch of CSS."""
NAMED: Final[dict[str, Callable[[], Result]]] = {
    "dome": dome,
    "seven": lambda: of_stages(7),
    "widest": lambda: called(of_stages(7, WIDEST), "W" * 80, "W" * 250),
    "twelve": lambda: of_stages(12),
    "troubled": lambda: troubled(of_stages(5)),
    "tall": lambda: in_block(dome(), (300.0, 300.0, 900.0), (0.0, 0.0, 900.0)),
    "long": lambda: in_block(dome(), (1500.0, 120.0, 40.0), (-200.0, -100.0, 0.0)),
    "deep": lambda: in_block(dome(), (60.0, 1500.0, 200.0), (30.0, 750.0, 200.0)),
    "refused": lambda: refused(dome()),
    "escaped": lambda: called(of_stages(3, EVIL), EVIL, f"{EVIL}.stl"),
}
PAGES: Final = {"twelve": 3}


@pytest.fixture(scope="module")
def browser(chromium: BrowserType) -> Iterator[Browser]:
    started = chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
    yield started
    started.close()


@cache
def document(name: str) -> str:
    """Return a page that holds the sheet of a job alone, in the colours of the whole page."""
    root = Path(__file__).parents[2]
    tokens = (root / "icecam" / "viewer" / "assets" / "tokens.css").read_text(encoding="utf-8")
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>sheet</title>'
        '<meta name="viewport" content="width=device-width">'
        f"<style>{tokens}body {{ margin: 0; background: var(--page) }}{sheet_style()}</style>"
        f"</head><body>{job_sheet(NAMED[name]())}</body></html>"
    )


def opened(
    browser: Browser, html: str, *, width: int, dark: bool = False, paper: bool = False
) -> Page:
    page = browser.new_page(
        viewport={"width": width, "height": 900}, color_scheme="dark" if dark else "light"
    )
    page.set_content(html)
    if paper:
        page.emulate_media(media="print", color_scheme="dark" if dark else "light")
    return page


def letters(text: str) -> str:
    """Leave out all blanks: a PDF does not keep them."""
    return re.sub(r"\s", "", text)


@pytest.mark.parametrize("name", NAMED)
def test_prints_on_two_pages_of_a4_with_every_word(browser: Browser, name: str) -> None:
    """All words are in the PDF, between the margins; a third page for more than fits."""
    result = NAMED[name]()
    page = opened(browser, document(name), width=1280)
    printed = pypdfium2.PdfDocument(
        BytesIO(page.pdf(prefer_css_page_size=True, print_background=True))
    )
    page.close()
    assert len(printed) == PAGES.get(name, 2)
    found = ""
    for sheet in printed:
        assert sheet.get_size() == pytest.approx(A4_POINTS, abs=1.0)
        text = sheet.get_textpage()
        found += text.get_text_bounded()
        for nth in range(text.count_rects()):
            left, foot, right, top = text.get_rect(nth)
            assert 27.0 <= left <= right <= 568.5
            assert 21.0 <= foot <= top <= 820.5
    whole = letters(found)
    for element in tree_of(result).iter():
        for said in (element.text, element.tail):
            if element.tag != "title" and element.get("class") != "page-foot" and said:
                assert letters(said) in whole, said


@pytest.mark.parametrize("name", NAMED)
@pytest.mark.parametrize(("width", "paper"), [(390, False), (800, False), (1400, False), (0, True)])
def test_nothing_is_cut_or_sticks_out(browser: Browser, name: str, width: int, paper: bool) -> None:
    html = document(name)
    page = opened(browser, html, width=width or PAPER_PX, paper=paper)
    found = page.evaluate(CUT)
    page.close()
    assert found["count"] > 100
    assert found["cut"] == []
    assert found["wide"] <= (width or PAPER_PX)


CUT: Final = """() => {
  const cut = [], all = document.querySelectorAll('.sheet-page *')
  for (const each of all) {
    if (each.matches('.page-foot') || each.closest('.wide')) continue
    const page = each.closest('.sheet-page').getBoundingClientRect()
    const box = each.getBoundingClientRect()
    if (box.width + box.height === 0) continue
    const out = box.left < page.left - 1 || box.right > page.right + 1
    const hidden = !each.closest('svg') && each.scrollWidth > each.clientWidth + 1
      && getComputedStyle(each).display !== 'inline'
    if (out || hidden) cut.push(each.tagName + ' ' + each.textContent.slice(0, 40))
  }
  return {cut, count: all.length, wide: document.documentElement.scrollWidth}
}"""


@pytest.mark.parametrize("name", ["dome", "widest", "refused", "troubled", "tall", "long", "deep"])
def test_no_word_of_the_drawings_lies_on_another(browser: Browser, name: str) -> None:
    """Boxes of words hold the whole height of a line, so a fifth of it may touch."""
    page = opened(browser, document(name), width=PAPER_PX, paper=True)
    drawings = page.evaluate(WORDS)
    page.close()
    assert sum(len(each) for each in drawings) > 50
    for texts in drawings:
        for nth, one in enumerate(texts):
            for other in texts[:nth]:
                assert not overlap(one, other), (one["text"], other["text"])


def overlap(one: dict[str, Any], other: dict[str, Any]) -> bool:
    slack = 0.2 * min(one["width"], one["height"], other["width"], other["height"])
    across = min(one["right"], other["right"]) - max(one["left"], other["left"])
    down = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
    return bool(across > slack and down > slack)


WORDS: Final = """() => [...document.querySelectorAll('.views, .stage svg, .clock')].map(svg =>
  [...svg.querySelectorAll('text')].map(each => {
    const {left, right, top, bottom, width, height} = each.getBoundingClientRect()
    return {text: each.textContent, left, right, top, bottom, width, height}
  }))"""


@pytest.mark.parametrize("paper", [False, True])
@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("name", ["twelve", "refused"])
def test_words_stand_out(browser: Browser, name: str, dark: bool, paper: bool) -> None:
    """Contrast of all words is at least 4.5 to 1; WCAG 2.1, success criterion 1.4.3."""
    html = document(name)
    page = opened(browser, html, width=1280, dark=dark, paper=paper)
    found = page.evaluate(COLOURS)
    page.close()
    assert len(found) > 100
    for each in found:
        ratio = contrast(rgb(each["ink"]), rgb(each["ground"]))
        assert ratio >= 4.5, (each["text"], each["ink"], each["ground"])
    if paper:
        assert all(rgb(each["ink"]) != (1.0, 1.0, 1.0) for each in found if not each["bar"])
        assert {rgb(each["paper"]) for each in found} == {(1.0, 1.0, 1.0)}


COLOURS: Final = """() => {
  const clear = 'rgba(0, 0, 0, 0)', found = []
  const ground = each => {
    for (let at = each; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor
      if (colour !== clear) return colour
    }
  }
  for (const each of document.querySelectorAll('.sheet-page *')) {
    const own = [...each.childNodes].some(node => node.nodeType === 3 && node.data.trim())
    if (!own || each.matches('title')) continue
    const style = getComputedStyle(each), svg = each.closest('svg')
    const bar = [...each.classList].find(name => name.startsWith('on-stage-'))
    let under = ground(svg ? svg.parentElement : each)
    if (svg && bar) under = getComputedStyle(svg.querySelector('.' + bar.slice(3))).fill
    found.push({text: each.textContent, ink: svg ? style.fill : style.color, ground: under,
      bar: Boolean(bar), paper: getComputedStyle(each.closest('.sheet-page')).backgroundColor})
  }
  return found
}"""


def rgb(colour: str) -> tuple[float, ...]:
    """Read 'rgb(1, 2, 3)' as shares of 255."""
    assert colour.startswith("rgb(")
    return tuple(int(each) / 255 for each in re.findall(r"\d+", colour))


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance; WCAG 2.1, definition of the term."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Contrast ratio; WCAG 2.1, definition of the term: 21 for black on white."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_of_contrast() -> None:
    """WCAG 2.1 says that ratios go from 1 to 21."""
    assert contrast((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)) == pytest.approx(21.0)
    assert contrast((0.3, 0.3, 0.3), (0.3, 0.3, 0.3)) == pytest.approx(1.0)


def test_names_do_not_become_markup(browser: Browser) -> None:
    """What looks like a script in a name is shown, not run."""
    page = browser.new_page()
    said: list[str] = []

    def hear(dialog: Dialog) -> None:
        said.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", hear)
    page.set_content(document("escaped"))
    assert page.locator("script").count() == 0
    assert page.locator("h1").inner_text() == EVIL
    assert said == []
    page.close()


def test_drawings_have_names(browser: Browser) -> None:
    page = opened(browser, document("dome"), width=1280)
    images = page.get_by_role("img").all()
    assert len(images) == 3 + 2 + 1 + 3 * len(dome().stages)
    names = [each.get_attribute("aria-label") for each in images]
    assert all(names)
    assert len(set(names)) == len(names)
    page.close()
