"""Legible and large enough: contrast, names of controls, sizes, on screens small and large."""

import re
from typing import Any

import pytest
from playwright.sync_api import Browser

from icecam.viewer.bundle import asset
from tests.viewer.conftest import Opened, opened
from tests.viewer.contrast import ratio

TEXT, PART = 4.5, 3.0
"""WCAG 2.1, 1.4.3 (text, level AA) and 1.4.11 (parts of controls)."""
TARGET_PX = 44
"""WCAG 2.1, 2.5.5: size of a target."""


def tokens(dark: bool) -> dict[str, str]:
    """Colours of the style sheets; the dark ones lie over the light ones."""
    found: dict[str, str] = {}
    for name in ("tokens.css", "dry_run.css"):
        text = asset(name)
        light = re.search(r":root \{(.*?)\n\}", text, re.DOTALL)
        night = re.search(r"scheme: dark\) \{\s*:root \{(.*?)\n  \}", text, re.DOTALL)
        assert light
        assert night
        for part in (light, *([night] if dark else [])):
            found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", part.group(1)))
    return found


def test_the_ratio_is_that_of_the_standard() -> None:
    """Black on white is 21:1; #767676 on white is the palest grey that passes, from memory 4.54."""
    assert ratio("#000000", "#ffffff") == pytest.approx(21.0)
    assert ratio("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("dark", [False, True])
def test_contrast_of_all_pairs_that_meet(dark: bool) -> None:
    t = tokens(dark)
    grounds = [t["page"], t["surface"], t["surface-sunk"]]
    pairs = [(t[ink], ground, TEXT) for ink in ("text", "text-quiet") for ground in grounds]
    pairs += [(t[ink], t["surface"], TEXT) for ink in ("action", "good", "warning", "refused")]
    pairs += [(t["on-action"], t["action"], TEXT)]
    pairs += [(t["warning"], t["warning-fill"], TEXT), (t["refused"], t["refused-fill"], TEXT)]
    pairs += [(t["text"], t["warning-fill"], TEXT), (t["text"], t["refused-fill"], TEXT)]
    pairs += [(t["on-stage-dark"], t[f"stage-{n}"], TEXT) for n in (1, 2, 3)]
    pairs += [(t["on-stage-pale"], t[f"stage-{n}"], TEXT) for n in (4, 5, 6)]
    pairs += [(t[part], ground, PART) for part in ("edge", "focus") for ground in grounds[:2]]
    pairs += [(t["dr-accent"], t["page"], PART)]
    short = [(a, b, round(ratio(a, b), 2)) for a, b, least in pairs if ratio(a, b) < least]
    assert not short


@pytest.mark.parametrize("dark", [False, True])
def test_stages_grow_paler_in_steps_that_can_be_told_apart(dark: bool) -> None:
    """Lightness alone orders them, so no kind of colour blindness mixes them up."""
    t = tokens(dark)
    steps = [(t[f"stage-{n}"], t[f"stage-{n + 1}"]) for n in range(1, 6)]
    assert all(ratio(a, b) > 1.2 for a, b in steps)
    assert all(ratio("#000000", a) < ratio("#000000", b) for a, b in steps)


CONTROLS = "button, input, select, summary, [role=slider], [role=application]"


def test_every_control_has_a_name(five: Opened) -> None:
    """By the accessibility tree of the browser."""
    session = five.page.context.new_cdp_session(five.page)
    nodes: list[dict[str, Any]] = session.send("Accessibility.getFullAXTree")["nodes"]
    roles = {"button", "checkbox", "slider", "combobox", "spinbutton", "application"}
    roles |= {"DisclosureTriangle", "group", "dialog", "img"}
    named: dict[str, list[str]] = {}
    for node in nodes:
        role = node.get("role", {}).get("value")
        if role in roles and not node.get("ignored"):
            named.setdefault(role, []).append(node.get("name", {}).get("value", ""))
    assert {"button", "checkbox", "slider", "combobox", "spinbutton", "application"} <= set(named)
    assert not [role for role, names in named.items() if role != "group" and "" in names]


@pytest.mark.parametrize(
    ("width", "height", "dark"),
    [(390, 844, False), (820, 1180, True), (1280, 720, True), (1920, 1080, False)],
)
def test_everything_fits_and_is_large_enough(
    browser: Browser, five: Opened, width: int, height: int, dark: bool
) -> None:
    file = five.requests[0]
    got = opened(browser, file, width=width, height=height, dark=dark)
    page = got.page
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        """([what, least]) => [...document.querySelectorAll(what)].filter((one) => {
            const tick = one.matches("input[type=checkbox]");
            const box = (tick ? one.closest("label") : one).getBoundingClientRect();
            return box.width && (box.height < least || box.width < least);
        }).map((one) => one.outerHTML.slice(0, 80))""",
        [CONTROLS, TARGET_PX],
    )
    assert small == []
    picture = page.locator("#dr-picture").bounding_box()
    assert picture is not None
    assert picture["width"] >= min(width - 40, 600)
    assert picture["height"] >= 250
    assert got.complaints == []
    page.context.close()


def test_a_machine_without_webgl_sees_the_block_from_above(browser: Browser, five: Opened) -> None:
    mock = """
        const real = HTMLCanvasElement.prototype.getContext;
        HTMLCanvasElement.prototype.getContext = function (kind, ...more) {
            return kind.startsWith("webgl") ? null : real.call(this, kind, ...more);
        };"""
    got = opened(browser, five.requests[0], before=mock)
    page = got.page
    note = page.locator("#dr-note")
    assert note.is_visible()
    assert "no WebGL2" in note.inner_text()
    page.evaluate("dryRun.toTime(Infinity); dryRun.rest()")
    shades = page.evaluate(
        """(() => {
            const canvas = document.querySelector("#dr-ice");
            const pen = canvas.getContext("2d");
            const { data } = pen.getImageData(0, canvas.height / 2, canvas.width, 1);
            return new Set(data).size;
        })()"""
    )
    assert shades > 20
    page.locator("#dr-ribbon").focus()
    before = page.evaluate("dryRun.moment.time")
    page.keyboard.press("ArrowLeft")
    assert page.evaluate("dryRun.moment.time") < before
    told = page.evaluate(
        "dryRun.pointAt(...dryRun.camera.project([dryRun.ice.x0 + 60 * dryRun.ice.pitch,"
        " dryRun.ice.y0 + 60 * dryRun.ice.pitch, 0]))"
    )
    assert told["height"] > 0
    assert got.complaints == []
    page.context.close()


def test_a_lost_graphics_card_falls_back(browser: Browser, five: Opened) -> None:
    got = opened(browser, five.requests[0])
    page = got.page
    page.evaluate("dryRun.view.gl.getExtension('WEBGL_lose_context').loseContext()")
    page.wait_for_selector("#dr-note.dr-note-stays")
    assert page.evaluate("dryRun.flat")
    page.evaluate("dryRun.toTime(100)")
    page.context.close()
