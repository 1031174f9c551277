"""Square tiles of a height field kept in whole steps: which of them fell, and by how much."""

from math import inf

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

Floats = NDArray[np.float64]


@kernel
def fallen_tiles(
    heights: Floats, step: float, tile: int, window: tuple[int, int, int, int],
    stored: NDArray[np.uint16], tops: Floats, numbers: NDArray[np.int64],
    lost: NDArray[np.uint16],
) -> int:  # fmt: skip
    """Store the heights of the tiles of a window; return how many fell since they were stored.

    heights : (ny, nx) mm
    step : mm, the unit of what is stored
    window : first and last row, first and last column of tiles, half-open
    stored : (rows * tile, columns * tile) whole steps; what lies beyond the field stays as it is
    tops : (rows, columns) mm, written to: the greatest height in each tile
    numbers : (m,) written to: the tiles that fell, row by row; m at least all of the window
    lost : (m, tile, tile) written to: steps that each of their cells lost, modulo 2^16
    """
    ny, nx = heights.shape
    first_row, last_row, first_column, last_column = window
    found = 0
    for row in range(first_row, last_row):
        for column in range(first_column, last_column):
            top, fell = -inf, False
            lost[found] = 0
            for j in range(row * tile, min((row + 1) * tile, ny)):
                for i in range(column * tile, min((column + 1) * tile, nx)):
                    height = heights[j, i]
                    steps = np.uint16(np.rint(height / step))
                    lost[found, j - row * tile, i - column * tile] = stored[j, i] - steps
                    fell |= stored[j, i] != steps
                    stored[j, i] = steps
                    top = max(top, height)
            tops[row, column] = top
            if fell:
                numbers[found] = row * tops.shape[1] + column
                found += 1
    return found
