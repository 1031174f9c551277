"""Thick ice: cuts that meet more than a step-down of it, gathered place by place.

There the bit goes down in layers. One place is finished before the bit goes on to the next, so the
layers of one do not send it across the whole block.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from icecam.paths.pieces import Pieces

THIN: Final = 0
"""The number of cuts that meet no thick ice."""


def thick_places(deep: NDArray[np.bool_], apart: float) -> NDArray[np.int32]:
    """Return the number of the place at each deep node (ny, nx), `THIN` elsewhere.

    Nodes less than `apart` nodes from another of the same place, twice over, belong to it.
    """
    if not deep.any():
        return np.zeros(deep.shape, dtype=np.int32)
    near = ndimage.distance_transform_edt(~deep) <= apart
    labels, _ = ndimage.label(near, structure=np.ones((3, 3)))
    return np.where(deep, labels, THIN).astype(np.int32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gathered:
    """Cuts by place: the number of each piece (pieces,), middles (places, 2) mm of 1, 2, ..."""

    number: NDArray[np.int64]
    middles: NDArray[np.float64]

    def order(self, start: NDArray[np.float64]) -> list[int]:
        """Return the numbers of the places, each the nearest to the one before."""
        left, order, here = self.middles.copy(), [], start[:2]
        for _ in range(len(left)):
            nearest = int(np.argmin(np.hypot(*(left - here).T)))
            order.append(nearest + 1)
            here = self.middles[nearest]
            left[nearest] = np.inf
        return order


def gathered(pieces: Pieces, place: NDArray[np.int64]) -> Gathered:
    """Gather pieces by the places that they meet; those that meet several join them to one.

    place : (points,) number of the place at each point, `THIN` for none
    """
    count = len(pieces)
    piece = np.repeat(np.arange(count), np.diff(pieces.starts))
    thick = place != THIN
    nodes = count + int(place.max(initial=0)) + 1
    pairs = (piece[thick], count + place[thick])
    graph = coo_array((np.ones(int(thick.sum())), pairs), shape=(nodes, nodes))
    _, label = connected_components(graph, directed=False)
    meets = np.zeros(count, dtype=np.bool_)
    meets[piece[thick]] = True
    names, group = np.unique(label[:count][meets], return_inverse=True)
    numbers = np.full(count, THIN, dtype=np.int64)
    numbers[meets] = group + 1
    sums = np.zeros((len(names), 2))
    np.add.at(sums, group, pieces.points[pieces.starts[:-1], :2][meets])
    middles = sums / np.bincount(group, minlength=len(names))[:, None]
    return Gathered(number=numbers, middles=middles)
