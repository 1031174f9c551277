"""How the sculpture lies in the block: seen from above, from the front and from the right side.

All three are drawn to one scale, with the block's corner at front left at the origin.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from icecam.plan import Result
from icecam.report.drawing import Box, Points, area, chain, drawing, line, rectangle, words
from icecam.report.markup import tag
from icecam.report.outlines import bands, shadow, skylines
from icecam.report.sheet_zero import HOLD_BOX, ZERO_BOX
from icecam.units import MM_PER_INCH

WIDTH_MM: Final = 190.0
_GAP: Final = 3.0
"""Least width between drawings."""
_LEFT, _RIGHT, _TOP, _FOOT = 12.5, 9.0, 11.0, 8.0
_SIDE_LEFT: Final = 4.0
_CAPTION: Final = 4.0
_LEVEL_TOP: Final = 10.0
_INNER, _OUTER = 2.2, 7.2
"""How far dimension lines stand off the block."""
_ASIDE_MM, _WAYS, _INSIDE_MM = (3.3, 7.8), 8, 2.5
"""How far off its place the letter of a mark stands, in how many directions it may, and how far
from the block's edge it should."""
_OFF_DOTS_MM, _OFF_RINGS_MM = 2.7, 4.4
"""How far off other places and letters it should stand."""
_PLACES: Final = 200
_BANDS: Final = 4
_NEAR_MM: Final = 0.04
"""Points of a drawing that bend a line less are left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on the sculpture that the words refer to by its letter; x, y in mm."""

    letter: str
    at: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lie:
    """The block and what lies in it, mm of ice, and how large it is drawn.

    low, high : (3,) corners of the box round the sculpture; lowest : of all tips
    scale : mm of paper for one mm of ice; beside : whether zero and clamps stand beside all views
    """

    size: Points
    low: Points
    high: Points
    floor: float
    lowest: float
    scale: float
    beside: bool


def lie_of(result: Result, height_mm: float) -> Lie:
    """Choose the largest scale at which the views fit the width and `height_mm` of paper.

    Zero and clamps stand over the view from the side, or beside all views if that lets them be
    larger, as it does for a block that is high or short.
    """
    mesh, block = result.scene.placed.mesh, result.scene.job.block
    x, y, z = block.size
    around = _LEFT + _RIGHT, _SIDE_LEFT + _RIGHT
    above, level = _TOP + _FOOT, _LEVEL_TOP + _FOOT
    views = (height_mm - above - level) / (y + z)
    over = min(
        views,
        (WIDTH_MM - sum(around) - _GAP) / (x + y),
        (WIDTH_MM - around[0] - ZERO_BOX.width - _GAP) / x,
        (height_mm - ZERO_BOX.height - HOLD_BOX.height - level) / z,
    )
    beside = min(
        views,
        (WIDTH_MM - sum(around) - ZERO_BOX.width - 2 * _GAP) / (x + y),
        (height_mm - above - HOLD_BOX.height) / y,
        (height_mm - level - ZERO_BOX.height) / z,
    )
    return Lie(
        size=np.array(block.size),
        low=mesh.low,
        high=mesh.high,
        floor=block.floor,
        lowest=min(float(stage.path.ends[:, 2].min()) for stage in result.stages),
        scale=max(over, beside),
        beside=beside > over,
    )


def from_above(result: Result, lie: Lie, marks: Sequence[Mark]) -> Element:
    """Return the view from above: heights in shades, sizes and places in X and Y."""
    x, y = lie.size[:2] * lie.scale
    wanted = result.scene.wanted

    def drawn(rings: Sequence[Points], cls: str) -> Element:
        held = [np.clip(ring, 0.0, lie.size[:2]) for ring in rings]
        paper = [simplified(ring * (1, -1) * lie.scale + (0, y)) for ring in held]
        return area([ring for ring in paper if len(ring) > 2], cls)

    steps = bands(wanted, _BANDS)
    return drawing(
        Box(-_LEFT, -_TOP, x + _LEFT + _RIGHT, y + _TOP + _FOOT),
        "The block from above with the sculpture in it",
        rectangle(Box(0, 0, x, y), "block"),
        drawn(shadow(wanted), "sculpture"),
        *(drawn(rings, f"band band-{nth}") for nth, rings in enumerate(steps, start=1)),
        *_chains(lie, 0, (0.0, 0.0)),
        *_chains(lie, 1, (0.0, y), upright=True),
        *_marks(marks, lie),
        words("from above, front below", (0.0, y + _CAPTION), anchor="start", cls="caption"),
        cls="view above",
    )


def from_front(result: Result, lie: Lie) -> Element:
    """Return the view from the front: X to the right, Z up."""
    x, z = lie.size[0] * lie.scale, lie.size[2] * lie.scale
    return drawing(
        Box(-_LEFT, -_LEVEL_TOP, x + _LEFT + _RIGHT, z + _LEVEL_TOP + _FOOT),
        "The block from the front with the sculpture in it",
        *_level(result, lie, 0),
        words("from the front", (0.0, z + _CAPTION), anchor="start", cls="caption"),
        *_chains(lie, 2, (0.0, z), upright=True),
        cls="view front",
    )


def from_side(result: Result, lie: Lie) -> Element:
    """Return the view from the right side: Y to the right, Z up; the front is at the left."""
    y, z = lie.size[1] * lie.scale, lie.size[2] * lie.scale
    return drawing(
        Box(-_SIDE_LEFT, -_LEVEL_TOP, y + _SIDE_LEFT + _RIGHT, z + _LEVEL_TOP + _FOOT),
        "The block from the right side with the sculpture in it",
        *_level(result, lie, 1),
        words("from the right, front at left", (0.0, z + _CAPTION), anchor="start", cls="caption"),
        cls="view side",
    )


def _level(result: Result, lie: Lie, axis: int) -> list[Element]:
    """Block, floor, sculpture and the height of the lowest tip, seen level across an axis."""
    wide, z = lie.size[axis] * lie.scale, lie.size[2] * lie.scale
    parts = skylines(result.scene.placed.mesh.triangles, axis, _PLACES)
    paper = [simplified(part.ring * (1, -1) * lie.scale + (0, z)) for part in parts]
    floor, lowest = z - lie.floor * lie.scale, z - lie.lowest * lie.scale
    return [
        rectangle(Box(0, 0, wide, z), "block"),
        rectangle(Box(0, floor, wide, z - floor), "floor"),
        area(paper, "sculpture"),
        line((-2.0, lowest), (wide + 2.0, lowest), "lowest"),
        line((-3.0, z), (wide + 3.0, z), "bed"),
    ]


def _chains(
    lie: Lie, axis: int, start: tuple[float, float], *, upright: bool = False
) -> tuple[Element, Element]:
    """Return the block's whole size along an axis, and within it that of the sculpture."""
    low, high, size = float(lie.low[axis]), float(lie.high[axis]), float(lie.size[axis])
    x, y = start

    def off(by: float) -> tuple[float, float]:
        return (x - by - 1.0, y) if upright else (x, y - by)

    parts = [max(low, 0.0), high - low, max(size - high, 0.0)]
    inches = f" mm ({size / MM_PER_INCH:.2f} in)" if size * lie.scale > 30 else ""
    whole = chain(off(_OUTER), [size], lie.scale, upright=upright, ends=("", inches))
    return whole, chain(off(_INNER), parts, lie.scale, upright=upright)


def _marks(marks: Sequence[Mark], lie: Lie) -> list[Element]:
    """Return a dot at each place seen from above, its letter in a ring beside it."""
    wide, high = lie.size[:2] * lie.scale
    dots = [np.array((mark.at[0] * lie.scale, high - mark.at[1] * lie.scale)) for mark in marks]
    rings: list[Points] = []
    drawn = []
    for nth, (mark, dot) in enumerate(zip(marks, dots, strict=True)):
        taken = [(each, _OFF_DOTS_MM) for each in (*dots[:nth], *dots[nth + 1 :])]
        taken += [(each, _OFF_RINGS_MM) for each in rings]
        x, y = _freest(dot, taken, (wide, high))
        rings.append(np.array((x, y)))
        at = float(dot[0]), float(dot[1])
        drawn += [
            line(at, (x, y), "mark"),
            tag("circle", cx=at[0], cy=at[1], r=0.6, cls="mark-dot"),
            tag("circle", cx=x, cy=y, r=2.0, cls="mark"),
            words(mark.letter, (x, y + 0.95), cls="mark-letter"),
        ]
    return drawn


def _freest(
    dot: Points, taken: Sequence[tuple[Points, float]], block: tuple[float, float]
) -> tuple[float, float]:
    """Choose the place beside a dot that is clear of other marks and best inside the block.

    taken : places of other marks, and how far off them is clear
    """
    turns = 2 * np.pi * np.arange(_WAYS) / _WAYS
    ways = np.column_stack([np.cos(turns), -np.sin(turns)])
    places = np.concatenate([dot + aside * ways for aside in _ASIDE_MM])
    clear, near = np.zeros(len(places)), -np.repeat(_ASIDE_MM, _WAYS)
    for other, off in taken:
        clear = np.minimum(clear, np.hypot(*(places - other).T) - off)
    inside = np.minimum(places, np.array(block) - places).min(axis=1)
    # Never on another mark; of the ways that are clear one well inside the block.
    order = np.lexsort((near, np.minimum(inside, _INSIDE_MM), clear))
    x, y = places[order[-1]]
    return float(x), float(y)


def simplified(ring: Points) -> Points:
    """Leave out points of a line (n, 2) that bend it less than can be seen, mm of paper."""
    kept = [0]
    for nth in range(1, len(ring) - 1):
        a, b = ring[kept[-1]], ring[nth + 1]
        run = b - a
        between = ring[kept[-1] + 1 : nth + 1] - a
        share = np.clip(between @ run / max(float(run @ run), 1e-12), 0.0, 1.0)
        off = between - share[:, None] * run
        if np.hypot(off[:, 0], off[:, 1]).max() >= _NEAR_MM:
            kept.append(nth)
    kept.append(len(ring) - 1)
    simple: Points = ring[kept]
    return simple
