"""Slow twin of the numbers of places: a dictionary."""

import numpy as np
from numpy.typing import NDArray


def welded(places: NDArray[np.int64]) -> tuple[list[int], list[int]]:
    """Number of each place, and where each number first comes."""
    known: dict[tuple[int, ...], int] = {}
    firsts: list[int] = []
    numbers = []
    for n, place in enumerate(places.tolist()):
        if tuple(place) not in known:
            known[tuple(place)] = len(known)
            firsts.append(n)
        numbers.append(known[tuple(place)])
    return numbers, firsts
