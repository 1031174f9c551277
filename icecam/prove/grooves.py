"""Grooves that a stage cuts: where snow does not leave by itself."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import HeightField, Heights
from icecam.paths.standing import coarse

WIDE: Final = 2
"""Ice narrower than so many diameters of the bit is a groove, or a hole: judgement."""
SQUARES: Final = 4
"""Squares of the search across a diameter of the bit."""
TOOK_MM: Final = 0.01

Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Groove:
    """How deep a groove is and its bottom, mm."""

    depth: float
    at: Place


def deepest_groove(before: HeightField, after: HeightField, diameter: float) -> Groove | None:
    """Find the deepest groove that a stage cut.

    Parameters
    ----------
    before, after : the ice on one grid
    diameter : mm, of the bit

    Returns
    -------
    None if it cut nothing

    Notes
    -----
    What no square of `WIDE` diameters fits into is a groove; its depth is counted from the lower of
    its banks (a morphological closing); beside the block there is none. Known to a quarter of the
    diameter in plan.
    """
    took = before.heights - after.heights > TOOK_MM
    if not took.any():
        return None
    window = _round(took, int(np.ceil(WIDE * diameter / after.grid.pitch)))
    after, took = after.part(*window), took[window]
    ice = coarse(after, diameter / SQUARES)
    count = max(1, round(ice.grid.pitch / after.grid.pitch))
    where = _any_in_squares(took, count)
    size = 2 * ((WIDE * SQUARES) // 2) + 1
    heights = np.where(np.isfinite(ice.heights), ice.heights, 0.0)
    crests = ndimage.maximum_filter(heights, size, mode="constant", cval=0.0)
    banks = ndimage.minimum_filter(crests, size, mode="constant", cval=0.0)
    depth: Heights = np.maximum(np.where(where, banks - heights, 0.0), 0.0)
    row, column = (int(k) for k in np.unravel_index(int(np.argmax(depth)), depth.shape))
    at = (float(ice.grid.x[column]), float(ice.grid.y[row]), float(heights[row, column]))
    return Groove(depth=float(depth[row, column]), at=at)


def _round(mask: NDArray[np.bool_], margin: int) -> tuple[slice, slice]:
    """Rows and columns that hold all marks, and `margin` nodes more on each side."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(int(rows[0]) - margin, 0), int(rows[-1]) + margin + 1),
        slice(max(int(columns[0]) - margin, 0), int(columns[-1]) + margin + 1),
    )


def _any_in_squares(mask: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Whether any node of each square of `count` nodes is marked."""
    ny, nx = mask.shape
    padded = np.pad(mask, ((0, -ny % count), (0, -nx % count)))
    rows, columns = padded.shape[0] // count, padded.shape[1] // count
    squares = padded.reshape(rows, count, columns, count)
    found: NDArray[np.bool_] = np.logical_or.reduce(squares, axis=(1, 3))
    return found
