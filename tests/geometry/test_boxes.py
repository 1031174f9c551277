"""Boxes round triangles: by definition, and the curve that numbers them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from icecam.geometry.boxes import along_curve, boxes_of
from icecam.geometry.drop import surface_of, tip_heights
from icecam.geometry.profile import make_profile
from icecam.kernels.drop import FAN
from tests.geometry import solids

Floats = NDArray[np.float64]
steady = settings(deadline=None, derandomize=True, max_examples=100)


@pytest.mark.parametrize("bits", [1, 2, 5])
def test_the_curve_goes_from_each_square_to_one_beside_it(bits: int) -> None:
    """Through each square once (definition of a curve that fills the plane)."""
    x, y = np.meshgrid(np.arange(2**bits), np.arange(2**bits))
    squares = np.column_stack([x.ravel(), y.ravel()])
    place = along_curve(squares, bits)
    assert sorted(place.tolist()) == list(range(4**bits))
    steps = np.diff(squares[np.argsort(place)], axis=0)
    assert (np.abs(steps).sum(axis=1) == 1).all()


@steady
@given(
    hnp.arrays(
        np.float64, st.tuples(st.integers(1, 90), st.just(9)), elements=st.floats(-50, 50, width=32)
    )
)
def test_each_box_is_round_what_it_holds(triangles: Floats) -> None:
    """All triangles are in the smallest boxes, and in all round those; one is round all."""
    boxes = boxes_of(triangles)
    assert sorted(boxes.order.tolist()) == list(range(len(triangles)))
    x, y, z = (triangles[boxes.order, axis::3] for axis in range(3))
    inner = np.column_stack([x.min(1), x.max(1), y.min(1), y.max(1), z.max(1)])
    sizes = [boxes.sides[a:b] for a, b in zip(boxes.levels[:-1], boxes.levels[1:], strict=True)]
    assert len(sizes[0]) == 1
    assert len(boxes.sides) == boxes.levels[-1]
    for size in reversed(sizes):
        assert len(size) == -(-len(inner) // FAN)
        for n, box in enumerate(size):
            held = inner[FAN * n : FAN * n + FAN]
            assert box.tolist() == [
                held[:, 0].min(), held[:, 1].max(), held[:, 2].min(), held[:, 3].max(),
                held[:, 4].max(),
            ]  # fmt: skip
        inner = size


def test_the_point_before_changes_nothing() -> None:
    """Points one by one, where nothing is known of the one before, give the same as in a row."""
    rng = np.random.default_rng(5)
    surface = surface_of(solids.relief(rng.uniform(0.0, 4.0, (20, 30)), 0.7))
    points = rng.uniform(-3.0, 22.0, (150, 2))
    for flat, corner, taper in ((0.0, 1.5, 0.0), (0.5, 1.0, 0.0), (1.5, 0.0, 0.0), (0.0, 0.5, 0.2)):
        profile = make_profile(flat=flat, corner=corner, taper=taper, radius=1.5)
        together = tip_heights(surface, ((profile, 0.0),), points, lowest=-1.0)
        alone = [tip_heights(surface, ((profile, 0.0),), at[None], lowest=-1.0) for at in points]
        np.testing.assert_allclose(together, np.concatenate(alone), rtol=0.0, atol=1e-12)
