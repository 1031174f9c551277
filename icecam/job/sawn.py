"""Saw cuts through the block as planes, and what can be wrong with them."""

from collections.abc import Iterator
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.job.problem import Problem, figure
from icecam.job.records import Block, Sawn

CLEAR_MM: Final = 1.0
"""Points less far than this off a line or a plane do not tell where it lies (judgement)."""

Floats = NDArray[np.float64]


def plane_of(cut: Sawn) -> tuple[Floats, float]:
    """Return the direction (3,) in which ice is gone, and how far along it (mm) the cut lies.

    Ice stands where its place, times the direction, is no more than that.

    >>> way, far = plane_of(Sawn(through=((9, 0, 0), (9, 5, 0), (9, 0, 5)), gone=(0, 0, 0)))
    >>> (way + 0.0).tolist(), far
    ([-1.0, 0.0, 0.0], -9.0)
    """
    a, b, c = np.array(cut.through)
    across = np.cross(b - a, c - a)
    way: Floats = across / np.linalg.norm(across)
    way = way * np.sign((np.array(cut.gone) - a) @ way)
    return way, float(a @ way)


def sawn_problems(block: Block) -> Iterator[Problem]:
    """Refuse cuts that are no planes, that do not say what is gone, that take nothing or all."""
    corners = np.array(list(product(*((0.0, side) for side in block.size))))
    for place, cut in enumerate(block.precut.sawn):
        where = ("block", "precut", "sawn", place)
        off = _least_height(cut)
        if off < CLEAR_MM:
            yield Problem(
                where=(*where, "through"),
                text=f"lies on one line to {figure(off)} mm and makes no plane; give three points "
                "of the cut that are well apart, as where it meets three edges of the block",
            )
            continue
        way, far = plane_of(cut)
        aside = abs(float((np.array(cut.gone) - np.array(cut.through[0])) @ way))
        if aside < CLEAR_MM:
            yield Problem(
                where=(*where, "gone"),
                text=f"lies {figure(aside)} mm off the cut itself and names no side of it; give a "
                "point well inside the piece that was sawn off, such as a corner of the block",
            )
            continue
        over = corners @ way - far
        if over.max() <= 0:
            yield Problem(
                where=where,
                text=f"takes nothing: the cut passes the block by {figure(-over.max())} mm; give "
                "points of the cut as seen from the block's front left corner, at bed level",
            )
        if over.min() >= 0:
            yield Problem(
                where=where,
                text="takes the whole block; give a point of the piece that was sawn off as gone",
            )


def _least_height(cut: Sawn) -> float:
    """Least height (mm) of the triangle through three points: how far it is from a line."""
    a, b, c = np.array(cut.through)
    longest = max(float(np.linalg.norm(side)) for side in (b - a, c - b, a - c))
    doubled = float(np.linalg.norm(np.cross(b - a, c - a)))
    return doubled / longest if longest > 0 else 0.0
