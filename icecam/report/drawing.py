"""What drawings of the job sheet are made of: lines, areas, words, dimensions; mm of paper.

Y points down, as in SVG. One unit is one millimetre on the printed sheet.
"""

from collections.abc import Sequence
from itertools import pairwise
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
_ABOVE_MM, _BESIDE_MM = 0.7, 1.0
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
    group = tag("g", cls="dimension")
    edges = np.concatenate([[0.0], np.cumsum(lengths)]) * scale
    for nth, (a, b) in enumerate(pairwise(edges)):
        if b - a > 0:
            side = (nth == len(lengths) - 1) - (nth == 0) if len(lengths) > 1 else 0
            said = f"{ends[0]}{lengths[nth]:.1f}{ends[1]}"
            group.append(_dimension(start, (a, b), said, side, upright, lengths[nth]))
    return group


def _dimension(
    start: tuple[float, float],
    span: tuple[float, float],
    said: str,
    side: int,
    upright: bool,
    length: float,
) -> Element:
    """One dimension; an upright figure too long for it stands beyond the end of the chain."""
    (x, y), (a, b) = start, span
    beside = upright and side != 0 and b - a <= len(said) * LETTER * TEXT_MM
    along = (a + b) / 2 if not beside else (a - _BESIDE_MM if side < 0 else b + _BESIDE_MM)
    anchor = "middle" if not beside else ("end" if side < 0 else "start")
    off = TEXT_MM / 3 if beside else -_ABOVE_MM
    if beside and length >= 100.0:
        said = f"{length:.0f}"

    def at(way: float, off: float) -> tuple[float, float]:
        return (x + off, y - way) if upright else (x + way, y + off)

    return tag(
        "g",
        line(at(a, 0.0), at(b, 0.0), "thin length"),
        *(line(at(end, -_TICK_MM), at(end, _TICK_MM), "thin") for end in (a, b)),
        words(said, at(along, off), anchor=anchor, upright=upright),
        data_mm=length,
    )
