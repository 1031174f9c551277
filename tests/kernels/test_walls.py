"""Distances to the air, against scipy, whose transform is exact, and the middles by them.

scipy.ndimage.distance_transform_edt: C. R. Maurer, R. Qi, V. Raghavan 2003, IEEE Trans. Pattern
Analysis and Machine Intelligence 25:265, as its documentation says.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray
from scipy import ndimage

from icecam.kernels.walls import distances_up_and_down, mark_middles, square_distances
from tests.kernels.grids import steady
from tests.reference import walls as twin

masks = arrays.arrays(
    np.bool_, st.tuples(st.integers(1, 12), st.integers(1, 14)), elements=st.booleans()
)


def distances(ice: NDArray[np.bool_], row: int, cut: int) -> NDArray[np.float64]:
    """Rows `row`.. of a section with air around, done in two pieces."""
    heights = np.where(ice, 1.0, -np.inf)
    shape = len(ice) - row, ice.shape[1]
    steps, squares = np.full(shape, -7, np.int32), np.full(shape, -7, np.int32)
    for first, last in ((0, min(cut, shape[1])), (min(cut, shape[1]), shape[1])):
        distances_up_and_down(steps, heights, 1.0, row, first, last)
    for first, last in ((0, min(cut, shape[0])), (min(cut, shape[0]), shape[0])):
        square_distances(squares, steps, first, last)
    return np.sqrt(squares)


@steady
@given(masks, st.integers(0, 3), st.integers(0, 14))
def test_distance_to_the_air(ice: NDArray[np.bool_], above: int, cut: int) -> None:
    section = np.pad(ice, 1)
    below = np.pad(section, ((above, 0), (0, 0)))
    assert np.array_equal(distances(below, above, cut), ndimage.distance_transform_edt(section))


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99, 0.999, 1.0])
def test_distance_to_the_air_in_large_sections(share: float) -> None:
    section = np.pad(np.random.default_rng(7).random((150, 210)) < share, 1)
    assert np.array_equal(distances(section, 0, 60), ndimage.distance_transform_edt(section))


@pytest.mark.parametrize("seed", range(20))
def test_middles(seed: int) -> None:
    """Against the definition, up to a widest disc."""
    rng = np.random.default_rng(seed)
    ice = ndimage.gaussian_filter(rng.standard_normal((20, 23)), 2.0) > -0.02
    section = np.pad(ice, 1)
    squares = np.rint(ndimage.distance_transform_edt(section) ** 2).astype(np.int32)
    marks = np.zeros(section.shape, dtype=np.bool_)
    for first, last in ((0, 9), (9, len(marks))):
        mark_middles(marks, squares, 0.75, 4.0, first, last)
    radius = twin.discs(np.where(section, 1.0, -np.inf), 1.0)
    expected = {q for q in radius if radius[q] <= 4 and twin.in_the_middle(q, radius)}
    assert set(zip(*(axis.tolist() for axis in np.nonzero(marks)), strict=True)) == expected
