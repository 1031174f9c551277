"""What drawings of the job sheet are made of: lines, areas, words, dimensions; mm of paper.

Y points down, as in SVG. One unit is one millimetre on the printed sheet.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import inf
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from icecam.report.markup import Content, figure, tag

Points = NDArray[np.float64]

TEXT_MM: Final = 2.7
"""Height of letters in drawings."""
LETTER: Final = 0.62
"""Width to reckon with for a figure, in heights of letters."""
_TICK_MM: Final = 0.8
_ABOVE_MM, _BESIDE_MM = 1.0, 1.0
"""Space between a dimension line and its figure over it, or beyond its end."""


class Box(NamedTuple):
    """Left, top, width and height of a drawing."""

    x: float
    y: float
    width: float
    height: float


def drawing(box: Box, label: str, *content: Content, cls: str) -> Element:
    """Return a drawing that is as wide as its box on paper and shrinks on narrow screens."""
    return tag(
        "svg",
        tag("title", label),
        *content,
        cls=f"drawing {cls}",
        viewBox=" ".join(figure(side) for side in box),
        style=f"--paper-width: {figure(box.width)}mm",
        role="img",
        aria_label=label,
    )


def line(a: tuple[float, float], b: tuple[float, float], cls: str) -> Element:
    """Return a straight line."""
    return tag("line", x1=a[0], y1=a[1], x2=b[0], y2=b[1], cls=cls)


def rectangle(box: Box, cls: str) -> Element:
    """Return an upright rectangle."""
    return tag("rect", x=box.x, y=box.y, width=box.width, height=box.height, cls=cls)


def words(
    text: str,
    at: tuple[float, float],
    *,
    anchor: str = "middle",
    cls: str = "",
    upright: bool = False,
) -> Element:
    """Return a text; `at` is the foot of its letters; an upright one reads from below."""
    turned = {"transform": f"rotate(-90 {figure(at[0])} {figure(at[1])})"} if upright else {}
    return tag(
        "text", text, x=at[0], y=at[1], text_anchor=anchor, cls=f"words {cls}".strip(), **turned
    )


def area(rings: Sequence[Points], cls: str) -> Element:
    """Return closed rings (n, 2) as one area; what an even number of them holds is a hole."""
    told = "".join(
        "M" + "L".join(f"{figure(x)} {figure(y)}" for x, y in ring) + "Z" for ring in rings
    )
    return tag("path", d=told, cls=cls, fill_rule="evenodd")


def chain(
    start: tuple[float, float],
    lengths: Sequence[float],
    scale: float,
    *,
    upright: bool = False,
    ends: tuple[str, str] = ("", ""),
) -> Element:
    """Return a line of dimensions, one after the other, each with its figure in mm.

    Parameters
    ----------
    start : where the first begins, mm of paper
    lengths : mm; those of 0 are left out
    scale : mm of paper for one mm
    upright : from the foot up instead of from left to right
    ends : before and after the figure of a dimension that stands alone
    """
    edges = np.concatenate([[0.0], np.cumsum(lengths)]) * scale
    kept = np.diff(edges) > 0
    spans = [span for span, keep in zip(pairwise(edges), kept, strict=True) if keep]
    shown = [length for length, keep in zip(lengths, kept, strict=True) if keep]
    said = [ends[0] + _figure(length, scale, upright=upright) + ends[1] for length in shown]
    group = tag("g", cls="dimension")
    for span, length, text, middle in zip(
        spans, shown, said, _middles(spans, said, upright=upright), strict=True
    ):
        group.append(_dimension(start, span, (text, middle), upright, length))
    return group


def _figure(length: float, scale: float, *, upright: bool) -> str:
    """Write a length to a tenth of a mm; a long one that stands beyond an end to a whole one."""
    tenths = f"{length:.1f}"
    long = upright and len(tenths) * LETTER * TEXT_MM >= length * scale
    return f"{length:.0f}" if long and length >= 100.0 else tenths


def _middles(
    spans: Sequence[tuple[float, float]], said: Sequence[str], *, upright: bool
) -> list[float]:
    """Choose where figures stand along a chain, so that none lies on another.

    Each over its dimension; an upright one too long for the first or last stands beyond its end,
    where it would meet other lines; what would still meet the one before is pushed on.
    """
    middles: list[float] = []
    least = -inf
    for nth, ((a, b), text) in enumerate(zip(spans, said, strict=True)):
        half = len(text) * LETTER * TEXT_MM / 2
        wanted = (a + b) / 2
        if upright and len(spans) > 1 and b - a <= 2 * half:
            if nth == 0:
                wanted = a - _BESIDE_MM - half
            elif nth == len(spans) - 1:
                wanted = b + _BESIDE_MM + half
        middles.append(max(wanted, least + half))
        least = middles[-1] + half + _BESIDE_MM
    return middles


def _dimension(
    start: tuple[float, float],
    span: tuple[float, float],
    figure_at: tuple[str, float],
    upright: bool,
    length: float,
) -> Element:
    """Return one dimension with its figure, over the line or in line with it beyond an end."""
    (x, y), (a, b), (said, middle) = start, span, figure_at
    off = -_ABOVE_MM if not upright or a <= middle <= b else TEXT_MM / 3

    def at(way: float, off: float) -> tuple[float, float]:
        return (x + off, y - way) if upright else (x + way, y + off)

    return tag(
        "g",
        line(at(a, 0.0), at(b, 0.0), "thin length"),
        *(line(at(end, -_TICK_MM), at(end, _TICK_MM), "thin") for end in (a, b)),
        words(said, at(middle, off), upright=upright),
        data_mm=length,
    )
