"""Smooth noise in the plane from seeded slopes on a lattice, the same on every machine."""

import numpy as np
from shapes import Values

LATTICE = 64


def smooth(x: Values, y: Values, size: float, seed: int) -> Values:
    """Noise of about -1..1 with lumps of about `size` mm."""
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi, (LATTICE, LATTICE))
    across, up = x / size + 0.37 * seed, y / size + 0.61 * seed
    i, j = np.floor(across).astype(int), np.floor(up).astype(int)
    u, v = across - i, up - j

    def corner(di: int, dj: int) -> Values:
        turn = angle[(j + dj) % LATTICE, (i + di) % LATTICE]
        return np.asarray((u - di) * np.cos(turn) + (v - dj) * np.sin(turn))

    s, t = u**3 * (u * (6 * u - 15) + 10), v**3 * (v * (6 * v - 15) + 10)
    low = corner(0, 0) * (1 - s) + corner(1, 0) * s
    high = corner(0, 1) * (1 - s) + corner(1, 1) * s
    return np.asarray(1.6 * (low * (1 - t) + high * t))


def ridged(x: Values, y: Values, size: float, seed: int, octaves: int = 5) -> Values:
    """Sharp crests and rounded hollows in 0..1, as of weathered rock."""
    total, weight, scale, carry = np.zeros_like(x), 0.0, 1.0, np.ones_like(x)
    for k in range(octaves):
        turn = 0.9 * k
        p, q = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
        crest = (1.0 - np.abs(np.clip(smooth(p, q, size / 2**k, seed + k), -1, 1))) ** 2
        total += scale * crest * carry
        carry = np.clip(1.4 * crest, 0.0, 1.0)
        weight += scale
        scale *= 0.5
    return np.asarray(total / weight)
