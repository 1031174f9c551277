"""Blocks, paths and cuts that the tests of the proof share."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.profile import Cylinder, cutting_end
from icecam.job.records import Bit
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.prove.carving import Carved, carve

Floats = NDArray[np.float64]
Points = Sequence[Sequence[float]] | Floats


def path_of(points: Points, cuts: Sequence[bool] | None = None, feed: float = 50.0) -> Toolpath:
    """Return moves through the points, all cutting unless told; line n + 1 holds move n."""
    stations = np.asarray(points, dtype=np.float64)
    count = len(stations) - 1
    cut = np.ones(count, dtype=np.bool_) if cuts is None else np.array(cuts, dtype=np.bool_)
    return Toolpath(
        start=stations[0],
        ends=stations[1:],
        kind=np.where(cut, CUT, RAPID).astype(np.int8),
        feed=np.where(cut, feed, np.nan),
        line=np.arange(1, count + 1, dtype=np.int32),
    )


def block(x: float, y: float, top: float, cell: float) -> HeightField:
    """Return level ice about the origin: cells' centres from -x / 2 to x / 2, half a cell in."""
    nx, ny = round(x / cell), round(y / cell)
    grid = Grid(-x / 2 + cell / 2, -y / 2 + cell / 2, cell, nx, ny)
    return HeightField(grid=grid, heights=np.full((ny, nx), top))


def cut(
    ice: HeightField,
    bit: Bit,
    points: Points,
    cuts: Sequence[bool] | None = None,
    above: tuple[Cylinder, ...] = (),
) -> Carved:
    return carve(ice, path_of(points, cuts), cutting_end(bit), above)


def visits(places: Floats, safe: float) -> tuple[Floats, list[bool]]:
    """Return points and kinds of a path that plunges at each place (n, 3), rapids between."""
    over = places.copy()
    over[:, 2] = safe
    rounds = np.stack([over, places, over], axis=1).reshape(-1, 3)
    return rounds, [False, *([True, False, False] * len(places))][1 : len(rounds)]
