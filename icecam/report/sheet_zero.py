"""Where X0 Y0 Z0 is on the block, and how the block is held: two drawings that are not to scale."""

from itertools import pairwise
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from icecam.report.drawing import Box, Points, area, drawing, line, rectangle, words
from icecam.report.markup import tag

ZERO_BOX: Final = Box(0.0, 0.0, 58.0, 34.0)
HOLD_BOX: Final = Box(0.0, 0.0, 58.0, 27.0)
_EDGE: Final = Box(9.0, 6.0, 38.0, 23.0)
_LOW_EDGE: Final = Box(9.0, 15.0, 33.0, 15.0)
"""Where block and zero are drawn; arrows and letters reach beyond it, more so of a zero that is not
at the block's front left corner on the bed."""
_ARROW_MM: Final = 11.0
_DEPTH: Final = (0.42, 0.30)
"""How far a millimetre of Y goes to the right and up in the drawing."""
_FACES: Final = (
    ("face front", ((0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1))),
    ("face top", ((0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1))),
    ("face right", ((1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1))),
)
"""Corners of the faces that are seen, as shares of the block's sides."""
_AXES: Final = (("X", (1.0, 0.0)), ("Y", _DEPTH), ("Z", (0.0, 1.0)))


def zero_drawing(size: tuple[float, float, float], zero: tuple[float, float, float]) -> Element:
    """Return the block from the front left, with a dot and arrows at work zero.

    Parameters
    ----------
    size : sides of the block, mm
    zero : work zero from its front left corner at the bed, mm
    """
    seen = [corner for _, face in _FACES for corner in face]
    corners = _flat(np.array([*(np.multiply(corner, size) for corner in seen), zero]))
    low, high = corners.min(axis=0), corners.max(axis=0)
    edge = _LOW_EDGE if any(zero) else _EDGE
    scale = float(min((edge.width, edge.height) / np.maximum(high - low, 1e-9)))
    shift = np.array([edge.x, edge.y + edge.height]) - (low[0] * scale, -low[1] * scale)
    paper = corners * (scale, -scale) + shift
    faces = paper[:-1].reshape(len(_FACES), 4, 2)
    at = paper[-1]
    return drawing(
        ZERO_BOX,
        "Work zero on the block",
        *(area([face], cls) for face, (cls, _) in zip(faces, _FACES, strict=True)),
        *(_arrow(at, np.array(way), name) for name, way in _AXES),
        tag("circle", cx=float(at[0]), cy=float(at[1]), r=1.5, cls="zero"),
        cls="zero-drawing",
    )


def _flat(points: Points) -> Points:
    """Draw points (n, 3) on paper (n, 2), up positive."""
    flat: Points = points[:, [0, 2]] + points[:, [1]] * _DEPTH
    return flat


def _arrow(at: Points, way: Points, name: str) -> Element:
    """Return an arrow of an axis with its letter."""
    along = way * (1, -1) / np.hypot(*way)
    across = along[::-1] * (1, -1)
    tip = at + along * _ARROW_MM
    head = np.array([tip, tip - along * 2.2 + across * 0.9, tip - along * 2.2 - across * 0.9])
    letter = tip + along * 2.0 + (0.0, 1.0)
    return tag(
        "g",
        line(tuple(at), tuple(tip - along * 2.0), "axis"),
        area([head], "axis-head"),
        words(name, (float(letter[0]), float(letter[1])), cls="axis-name"),
    )


def hold_drawing(lowest: float, floor: float) -> Element:
    """Return the block on the bed with clamps beside it and the height they must stay under.

    lowest : height of the lowest tip over the bed, mm; floor : ice that stays uncut, mm
    """
    bed, block = 22.0, Box(17.0, 4.0, 24.0, 18.0)
    height, depth = 7.5, 5.0 if floor > 0 else 0.0
    wedge = np.array([(0.0, 0.0), (6.0, 0.0), (6.0, -3.2), (1.6, -5.4), (0.0, -5.4)])
    right = wedge * (1, 1) + (block.x + block.width, bed)
    left = wedge * (-1, 1) + (block.x, bed)
    return drawing(
        HOLD_BOX,
        "Clamps beside the block, lower than the lowest tip",
        rectangle(block, "block"),
        rectangle(Box(block.x, bed - depth, block.width, depth), "floor"),
        area([left], "clamp"),
        area([right], "clamp"),
        line((4.0, bed - height), (54.0, bed - height), "lowest"),
        line((2.0, bed), (56.0, bed), "bed"),
        *_pole(6.0, bed - height, bed),
        words("lowest tip", (57.0, bed - height - 3.6), anchor="end", cls="small"),
        words(f"{lowest:.1f} mm", (57.0, bed - height - 1.0), anchor="end"),
        words("clamp", (block.x - 3.4, bed + 3.4), cls="small"),
        words("clamp", (block.x + block.width + 3.4, bed + 3.4), cls="small"),
        words(f"floor {floor:.1f} mm", (block.x + block.width / 2, bed + 3.4), cls="small"),
        cls="hold",
    )


def _pole(x: float, top: float, foot: float) -> list[Element]:
    """Return an upright line with a head at each end."""
    return [
        line((x, top), (x, foot), "thin"),
        *(
            line(a, b, "thin")
            for y, down in ((top, 1.0), (foot, -1.0))
            for a, b in pairwise([(x - 0.7, y + down), (x, y), (x + 0.7, y + down)])
        ),
    ]
