"""Slow twin of the thinnest wall of a section: every disc of it against every place."""

from math import atan, hypot, inf, sin, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cell = tuple[int, int]


class Wall(NamedTuple):
    """What a place says: thickness, centre of its disc, how high it stands; in cells."""

    thickness: float
    centre: Cell
    stands: float


def discs(heights: Floats, z: float) -> dict[Cell, float]:
    """Radius of the disc around each cell of the section: the way to the nearest cell of air."""
    ny, nx = heights.shape
    cells = [(j, i) for j in range(-1, ny + 1) for i in range(-1, nx + 1)]
    ice = [
        (j, i)
        for j, i in cells
        if 0 <= j < ny and 0 <= i < nx and not np.isnan(heights[j, i]) and heights[j, i] >= z
    ]
    air = set(cells) - set(ice)
    return {(j, i): min(hypot(j - v, i - u) for v, u in air) for j, i in ice}


def in_the_middle(place: Cell, radius: dict[Cell, float]) -> bool:
    """Whether the air recedes by less than 0.75 a cell towards all eight neighbours."""
    j, i = place
    around = [(j + v, i + u) for v in (-1, 0, 1) for u in (-1, 0, 1) if (v, u) != (0, 0)]
    gains = (
        (radius.get(q, 0.0) - radius[place]) / (sqrt(2) if q[0] != j and q[1] != i else 1)
        for q in around
    )
    return max(gains) < 0.75


def walls(heights: Floats, z: float, least: float, speck: int, widest: float) -> list[Wall]:
    """All places that are walls by the definition, lengths in cells."""
    radius = discs(heights, z)
    ratio = 1 / (1 - sin(atan(0.5)))
    found = []
    for place in sorted(radius):
        r = radius[place]
        if not in_the_middle(place, radius):
            continue
        near = [q for q in radius if _apart(place, q) <= max(least, ratio * r)]
        if any(radius[q] > ratio * r for q in near):
            continue
        holding = [q for q in near if _apart(place, q) < radius[q]]
        # The place's own disc first, then by rows: the first of the largest gives the thickness.
        centre = max([place, *sorted(holding)], key=lambda q: radius[q])
        thickness = 2 * radius[centre] - 1
        stands = float(min(heights[place], heights[centre]) - z)
        slender = stands >= thickness and stands >= least
        if slender and radius[centre] <= widest and _span(place, set(radius)) >= speck:
            found.append(Wall(thickness, centre, float(heights[centre] - z)))
    return found


def thinnest(heights: Floats, z: float, least: float, speck: int, widest: float) -> list[Wall]:
    """The walls that no other is thinner than."""
    found = walls(heights, z, least, speck, widest)
    thin = min((wall.thickness for wall in found), default=inf)
    return [wall for wall in found if wall.thickness == thin]


def _apart(a: Cell, b: Cell) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])


def _span(place: Cell, ice: set[Cell]) -> int:
    """Rows or columns, whichever are more, of what is connected to a place, corners too."""
    island, edge = {place}, {place}
    while edge:
        edge = {
            (j + v, i + u) for j, i in edge for v in (-1, 0, 1) for u in (-1, 0, 1)
        } & ice - island
        island |= edge
    rows, columns = [j for j, _ in island], [i for _, i in island]
    return max(max(rows) - min(rows), max(columns) - min(columns)) + 1
