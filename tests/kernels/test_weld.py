"""Places that are the same against a dictionary."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from icecam.kernels.weld import weld
from tests.kernels.grids import steady
from tests.reference import weld as twin

wide = st.integers(-(2**62), 2**62)


@steady
@given(
    st.lists(st.tuples(st.integers(-2, 2), wide | st.integers(0, 1), st.integers(0, 1))),
    st.integers(0, 4),
)
def test_weld(places: list[tuple[int, int, int]], more: int) -> None:
    """Few places of many that are alike; a table hardly longer than they are fills up."""
    rows = np.array(places, dtype=np.int64).reshape(-1, 3)
    table = np.full(1 << (len(rows).bit_length() + more), -1, dtype=np.int32)
    firsts, numbers = (np.full(len(rows), -7, dtype=np.int64) for _ in range(2))
    found = weld(rows, table, firsts, numbers)
    expected, begins = twin.welded(rows)
    assert numbers.tolist() == expected
    assert firsts[:found].tolist() == begins
