"""Tiles of the key frames against their slow twin."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from icecam.kernels.tiles import fallen_tiles
from tests.kernels.grids import steady
from tests.reference import tiles as twin

TILE = 4


@steady
@given(
    st.integers(5, 13),
    st.integers(5, 13),
    st.sampled_from([0.5, 0.005, 0.3]),
    st.tuples(st.integers(0, 1), st.integers(1, 2), st.integers(0, 1), st.integers(1, 2)),
    st.integers(0, 10_000),
)
def test_fallen_tiles(
    ny: int, nx: int, step: float, window: tuple[int, int, int, int], seed: int
) -> None:
    """Some cells fall, by halves of a step too; tiles at the rim hang over the field."""
    rng = np.random.default_rng(seed)
    rows, columns = -(-ny // TILE), -(-nx // TILE)
    stored = np.full((rows * TILE, columns * TILE), 60, dtype=np.uint16)
    falls = rng.integers(0, 40, (ny, nx)) * (rng.random((ny, nx)) < 0.04)
    heights = (60 - falls / 2) * step
    expected = twin.fallen(heights, step, TILE, window, stored)
    tops = np.full((rows, columns), -1.0)
    numbers = np.zeros(rows * columns, dtype=np.int64)
    lost = np.full((len(numbers), TILE, TILE), 7, dtype=np.uint16)
    count = fallen_tiles(heights, step, TILE, window, stored, tops, numbers, lost)
    assert numbers[:count].tolist() == expected.numbers
    assert lost[:count].tolist() == expected.lost
    assert (stored == expected.stored).all()
    for row in range(rows):
        for column in range(columns):
            assert tops[row, column] == expected.tops.get((row, column), -1.0)
