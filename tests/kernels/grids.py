"""Small grids, bits and numbers that the tests of the kernels draw from."""

from typing import Final

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.profile import make_profile
from icecam.kernels.profile import Profile
from tests.geometry.bits import BITS, solid_of
from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]

steady = settings(deadline=None, derandomize=True, max_examples=100)
GAP: Final = 1e-9
"""mm: whether a place at the very rim counts is up to rounding."""
SOLIDS: Final = [solid_of(bit) for bit in BITS.values()]

whole = st.integers(-3, 12).map(float)
number = whole | st.floats(-3, 12).map(lambda value: round(value, 9))
"""Whole numbers fall on nodes and rims; no way is so short that its square is no number."""
point = st.tuples(number, number).map(np.array)


def evenly(start: float, step: float, count: int) -> Floats:
    return np.asarray(start + step * np.arange(count), dtype=np.float64)


def eroded(tips: Floats, pitch: float, solid: Solid) -> Floats:
    """Ice left by tips over all nodes: scipy's grey erosion, the bit as structuring element."""
    reach = int(solid.radius / pitch)
    steps = evenly(-reach * pitch, pitch, 2 * reach + 1)
    r: Floats = np.hypot(steps[None, :], steps[:, None])
    inside: NDArray[np.bool_] = r <= solid.radius
    return np.asarray(
        ndimage.grey_erosion(  # type: ignore[call-overload]
            tips,
            footprint=inside,
            structure=-heights(solid, np.minimum(r, solid.radius)),
            mode="constant",
            cval=np.inf,
        )
    )


def profile_of(solid: Solid) -> Profile:
    return make_profile(
        flat=solid.flat, corner=solid.corner, taper=solid.taper, radius=solid.radius
    )


@st.composite
def heights_over(draw: st.DrawFn, ny: int, nx: int, *, holes: float | None = None) -> Floats:
    """Heights (ny, nx): level, rough, or in steps; some are `holes` if given."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    kind = draw(st.sampled_from(["level", "rough", "steps"]))
    found = np.full((ny, nx), 4.0)
    if kind == "rough":
        found = rng.uniform(0.0, 8.0, (ny, nx))
    elif kind == "steps":
        found = rng.integers(0, 4, (ny, nx)) * 2.0
    if holes is not None and draw(st.booleans()):
        found = np.where(rng.uniform(size=(ny, nx)) < 0.2, holes, found)
    return found
