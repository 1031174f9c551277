"""Smooth noise in the plane, the same on every machine: summed waves of seeded directions."""

import numpy as np
from numpy.typing import NDArray
from shapes import Values

LATTICE = 256


def _lattice(seed: int) -> NDArray[np.float64]:
    return np.random.default_rng(seed).uniform(-1.0, 1.0, (LATTICE, LATTICE))


def smooth(x: Values, y: Values, size: float, seed: int) -> Values:
    """Value noise in -1..1 with lumps of about `size` mm."""
    table = _lattice(seed)
    across, up = x / size, y / size
    i, j = np.floor(across).astype(int), np.floor(up).astype(int)
    u, v = across - i, up - j
    u, v = u * u * u * (u * (6 * u - 15) + 10), v * v * v * (v * (6 * v - 15) + 10)
    i0, i1, j0, j1 = i % LATTICE, (i + 1) % LATTICE, j % LATTICE, (j + 1) % LATTICE
    low = table[j0, i0] * (1 - u) + table[j0, i1] * u
    high = table[j1, i0] * (1 - u) + table[j1, i1] * u
    return low * (1 - v) + high * v


def ridged(x: Values, y: Values, size: float, seed: int, octaves: int = 5) -> Values:
    """Sharp crests and rounded hollows in 0..1, as of weathered rock."""
    total, weight, scale, carry = np.zeros_like(x), 0.0, 1.0, np.ones_like(x)
    for k in range(octaves):
        crest = (1.0 - np.abs(smooth(x, y, size / 2**k, seed + k))) ** 2
        total += scale * crest * carry
        carry = np.clip(1.4 * crest, 0.0, 1.0)
        weight += scale
        scale *= 0.5
    return total / weight
