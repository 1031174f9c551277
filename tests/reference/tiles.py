"""Slow twin of tiles kept in whole steps, from the definition."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Fallen:
    """Tiles that fell, what their cells lost, what is stored then, and the top of each tile."""

    numbers: list[int]
    lost: list[list[list[int]]]
    stored: NDArray[np.uint16]
    tops: dict[tuple[int, int], float]


def fallen(
    heights: NDArray[np.float64],
    step: float,
    tile: int,
    window: tuple[int, int, int, int],
    stored: NDArray[np.uint16],
) -> Fallen:
    """Go from tile to tile and from cell to cell; halves of a step go to the even one."""
    now, across = stored.copy(), stored.shape[1] // tile
    found = Fallen([], [], now, {})
    for row in range(window[0], window[1]):
        for column in range(window[2], window[3]):
            lost = [[0] * tile for _ in range(tile)]
            cells = [
                (row * tile + j, column * tile + i)
                for j in range(tile)
                for i in range(tile)
                if row * tile + j < len(heights) and column * tile + i < len(heights[0])
            ]
            for j, i in cells:
                steps = round(Fraction(float(heights[j, i]) / step))
                lost[j % tile][i % tile] = int(now[j, i]) - steps
                now[j, i] = steps
            found.tops[row, column] = max(float(heights[j, i]) for j, i in cells)
            if any(any(line) for line in lost):
                found.numbers.append(row * across + column)
                found.lost.append(lost)
    return found
