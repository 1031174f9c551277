"""Heights swept by a profile that goes along straight moves: cut, or only tested."""

from math import ceil, inf
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, Heights
from icecam.geometry.profile import cylinder_profile
from icecam.kernels.carve import SQUARES, carve_rows
from icecam.kernels.compiled import between
from icecam.kernels.profile import Profile

TILE: Final = 16
MOVES_AT_ONCE: Final = 200_000
SHARES: Final = 6
"""Stripes of rows that share a batch of moves; more would only look at more moves twice."""
NOTHING_ABOVE: Final = ((cylinder_profile(0.0), inf),)


def sweep(
    heights: Heights,
    grid: Grid,
    points: NDArray[np.float64],
    rapid: NDArray[np.bool_],
    cutting: Profile,
    parts: tuple[tuple[Profile, float], ...] = (),
) -> NDArray[np.float64]:
    """Lower `heights` by a cutting end that goes from point to point.

    Parameters
    ----------
    heights : (ny, nx) mm, written to
    points : (n + 1, 3) mm, tips
    rapid : (n,) moves that are tested and do not cut
    parts : what stands over the cutting end, tested only: profile and height over the tip

    Returns
    -------
    (5, n) for each move: sum of ice taken over the cells (mm; 0 for rapids), sum of its squares,
    deepest ice met, deepest contact of a part, thickest chip over the chip load

    Notes
    -----
    Each cell takes the lowest point of the moving profile over its centre (geometry). The bytes of
    the result do not depend on the number of cores.
    """
    met = np.zeros((5, len(rapid)))
    tested = parts or NOTHING_ABOVE
    rows, columns = (np.arange(0, size, TILE) for size in heights.shape)
    tops = np.maximum.reduceat(np.maximum.reduceat(heights, rows, axis=0), columns, axis=1)
    for begin in range(0, len(rapid), MOVES_AT_ONCE):
        end = min(begin + MOVES_AT_ONCE, len(rapid))
        some = points[begin : end + 1], rapid[begin:end], cutting, tested, tops, met[:, begin:end]
        _sweep_some(heights, grid, *some)
    return met


def sweep_rows(
    heights: Heights,
    grid: Grid,
    rows: tuple[int, int],
    points: NDArray[np.float64],
    rapid: NDArray[np.bool_],
    cutting: Profile,
    tops: Heights,
) -> NDArray[np.float64]:
    """Do the same in some rows alone, at once; see `sweep`.

    rows : first and last of whole tiles of `TILE` cells, half-open
    tops : (ny, nx) of tiles, the greatest height of each in those rows, or more; written to
    """
    met = np.zeros((5, len(rapid)))
    frame = (grid.x0, grid.y0, grid.pitch)
    nearby = _within_reach(tops, grid.pitch, (cutting, NOTHING_ABOVE[0][0]))
    carve_rows(
        heights, frame, *rows, points, rapid, cutting, NOTHING_ABOVE, nearby, tops, TILE, met
    )
    return met


def _sweep_some(
    heights: Heights,
    grid: Grid,
    points: NDArray[np.float64],
    rapid: NDArray[np.bool_],
    cutting: Profile,
    parts: tuple[tuple[Profile, float], ...],
    tops: Heights,
    met: NDArray[np.float64],
) -> None:
    """Sweep some moves in a row; writes to `heights`, `tops` and `met`."""
    frame = (grid.x0, grid.y0, grid.pitch)
    nearby = _within_reach(tops, grid.pitch, (cutting, *(part for part, _ in parts)))
    by_stripe: dict[int, NDArray[np.float64]] = {}

    def work(first: int, last: int) -> None:
        results = by_stripe.setdefault(first, np.zeros((5, len(rapid))))
        carve_rows(
            heights, frame, first, last, points, rapid, cutting, parts, nearby, tops, TILE, results
        )

    between(_edges(points[:, 1], grid), work)
    for first in sorted(by_stripe):
        sums, most = np.split(by_stripe[first], [SQUARES + 1])
        met[: SQUARES + 1] += sums
        np.maximum(met[SQUARES + 1 :], most, out=met[SQUARES + 1 :])


def _edges(y: NDArray[np.float64], grid: Grid) -> list[int]:
    """Rows of whole tiles that share the work: about as many of the points lie in each stripe."""
    quantiles = np.quantile(y, np.arange(1, SHARES) / SHARES)
    rows = np.clip((quantiles - grid.y0) / grid.pitch, 0, grid.ny).astype(int) // TILE * TILE
    return [0, *rows.tolist(), grid.ny]


def _within_reach(tops: Heights, cell: float, profiles: tuple[Profile, ...]) -> NDArray[np.float64]:
    """For each tile the highest ice within reach of each profile, (profiles, rows, columns)."""
    return np.stack(
        [
            ndimage.maximum_filter(tops, size=2 * ceil(profile.radius / (TILE * cell)) + 1)
            for profile in profiles
        ]
    )
