"""Bits to scale, lying with the tip to the left: cutting end, shank, collet nut."""

from collections.abc import Sequence
from math import ceil, floor, inf, pi
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from icecam.report.drawing import Box, Points, area, chain, drawing, line, rectangle, words
from icecam.report.markup import tag

WIDTH_MM: Final = 48.0
HEIGHT_MM: Final = 16.0
_LEFT: Final = 11.0
"""Room before the tip, for the tip enlarged."""
_MIDDLE: Final = 6.9
_LENS_WIDE, _LENS_MOST, _LENS_LONG = 8.0, 12.8, 7.5
_ARC_PARTS: Final = 16
_TWIST: Final = 2.6
"""Length of a turn of a flute over the bit's diameter, as drawn."""


def common_scale(bits: Sequence[Bit]) -> float:
    """Return mm of paper for one mm, at which each of the bits fits its drawing."""
    longest = max(bit.stick_out + bit.nut_length for bit in bits)
    widest = max(max(bit.nut, bit.shank, 2 * cutting_end(bit).radius) for bit in bits)
    return min((WIDTH_MM - _LEFT - 1.0) / longest, 10.0 / widest)


def half_outline(bit: Bit) -> Points:
    """Return height over the tip and radius (n, 2) of the cutting end, from the axis outwards."""
    flat, corner, flank, radius, rim, rim_height = cutting_end(bit)
    points = [(0.0, 0.0), (0.0, flat)]
    if corner > 0:
        to = np.arccos(np.clip(1 - rim_height / corner, -1.0, 1.0))
        turns = np.linspace(0.0, min(float(to), pi / 2), _ARC_PARTS + 1)[1:]
        points += [(corner * (1 - np.cos(a)), flat + corner * np.sin(a)) for a in turns]
    if flank < inf and radius > rim:
        points.append((rim_height + (radius - rim) * flank, radius))
    points.append((bit.flute_length, radius))
    return np.array(points, dtype=np.float64)


def bit_drawing(bit: Bit, scale: float) -> Element:
    """Return the drawing of a bit; `scale`: mm of paper for one mm."""
    half = half_outline(bit)
    flute, stick = bit.flute_length * scale, bit.stick_out * scale
    shank, nut = bit.shank * scale, bit.nut * scale
    return drawing(
        Box(-_LEFT, 0.0, WIDTH_MM, HEIGHT_MM),
        f"{bit.name}, drawn {scale:.2f} to 1",
        tag(
            "g",
            rectangle(Box(flute, -shank / 2, stick - flute, shank), "shank"),
            rectangle(Box(stick, -nut / 2, bit.nut_length * scale, nut), "nut"),
            area([_both_sides(half) * scale], "flutes"),
            *_edges(half, scale),
            transform=f"translate(0 {_MIDDLE})",
            data_scale=f"{scale:.6f}",
        ),
        _lens(bit, half),
        chain((0.0, HEIGHT_MM - 0.9), [bit.stick_out], scale),
        cls="bit",
    )


def _both_sides(half: Points) -> Points:
    return np.concatenate([half, (half * (1, -1))[::-1]])


def _edges(half: Points, scale: float) -> list[Element]:
    """Return slanted strokes for the flutes, as far as they are wide enough to be seen."""
    wide = float(half[:, 1].max())
    if 2 * wide * scale < 1.2:
        return []
    turn, end = 2 * wide * _TWIST / 2, float(half[-1, 0])
    strokes = []
    for at in np.arange(turn, end, turn):
        a, b = max(at - turn / 2, 0.0), at
        at_a, at_b = (float(np.interp(z, half[:, 0], half[:, 1])) for z in (a, b))
        strokes.append(line((a * scale, at_a * scale), (b * scale, -at_b * scale), "edge"))
    return strokes


def _lens(bit: Bit, half: Points) -> Element:
    """Return the tip enlarged by a whole number, and that number."""
    tip = max(2 * cutting_end(bit).rim, 1.0)
    times = floor(_LENS_WIDE / tip) if tip <= _LENS_WIDE else 1 / ceil(tip / _LENS_MOST)
    said = f"{times:g}:1" if times >= 1 else f"1:{1 / times:.0f}"
    shown = _LENS_LONG / times
    end = (shown, float(np.interp(shown, half[:, 0], half[:, 1])))
    cut = np.vstack([half[half[:, 0] < shown], end])
    cut[:, 1] = np.minimum(cut[:, 1], _LENS_MOST / 2 / times)
    return tag(
        "g",
        tag(
            "g", area([_both_sides(cut) * times], "flutes"),
            transform=f"translate({-_LEFT} {_MIDDLE})",
        ),
        words(f"tip {said}", (-_LEFT, HEIGHT_MM - 0.5), anchor="start", cls="small"),
        cls="lens",
    )  # fmt: skip
