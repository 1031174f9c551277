"""Places that are the same, found and numbered."""

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel

_MIX = -7046029254386353131
"""2^64 over the golden ratio, odd, less 2^64: products with it lie spread (Knuth, 6.4)."""


@kernel
def weld(
    places: NDArray[np.int64], table: NDArray[np.int32], firsts: NDArray[np.int64],
    numbers: NDArray[np.int64],
) -> int:  # fmt: skip
    """Give places (n, 3) numbers in the order they first come in; return how many differ.

    table : (2^k,) all -1, longer than n
    firsts : (n,) written to: for each number where it first comes
    numbers : (n,) written to: the number of each place
    """
    last = len(table) - 1
    found = 0
    for n in range(places.shape[0]):
        x, y, z = places[n, 0], places[n, 1], places[n, 2]
        mixed = ((x * _MIX + y) * _MIX + z) * _MIX
        slot = (mixed ^ (mixed >> 32)) & last
        while table[slot] >= 0:
            first = firsts[table[slot]]
            if places[first, 0] == x and places[first, 1] == y and places[first, 2] == z:
                break
            slot = (slot + 1) & last
        if table[slot] < 0:
            table[slot] = found
            firsts[found] = n
            found += 1
        numbers[n] = table[slot]
    return found
