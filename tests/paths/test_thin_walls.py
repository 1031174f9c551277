"""Thin walls in finishing: what one cut beside them may take, and who is beside them.

Outside: bending of a plate held at its foot, sigma = 6 F / t^2 (beam theory, see
`icecam.ice.limits.wall_force`); strength and push are held to their sources in tests/ice.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry.walls import Walls
from icecam.ice.constants import ICE_TENSION, SAFETY
from icecam.ice.limits import side_force_a_mm
from icecam.paths.stages import ladder
from icecam.paths.thin_walls import BESIDE_MM, ThinWalls, thin_walls
from tests.paths.scenes import job_for

Floats = NDArray[np.float64]
steady = settings(deadline=None, derandomize=True, max_examples=60)
SKIN_MM = 1.0
JOB = job_for((90.0, 70.0, 60.0), skin=SKIN_MM)
STAGE = ladder(JOB)[1]
"""Finishes with a ball of 3 mm, which may go 3 mm deep."""
PUSH = side_force_a_mm(STAGE.chip, SKIN_MM, 3.0, 2, JOB.block.temperature).high
"""N a mm of a cut through the skin, at the most."""
STRENGTH = ICE_TENSION.low / SAFETY.value
"""MPa that ice surely bears."""


def bears(deepest: float) -> float:
    """Thickness (mm) at which a wall breaks by a cut so deep: 6 F / t^2 is its sure strength."""
    return float(np.sqrt(6 * PUSH * deepest / STRENGTH))


def walls(thickness: list[float], x: list[float], z: list[float], cell: float = 0.0) -> Walls:
    """Walls at y = 30."""
    at = np.column_stack([x, np.full(len(x), 30.0)])
    at[np.isinf(thickness)] = np.nan
    return Walls(
        z=np.array(z), thickness=np.array(thickness), at=at, stands=np.full(len(z), 20.0), cell=cell
    )


@pytest.mark.parametrize("cell", [0.0, 0.3])
def test_what_a_wall_bears_by_its_stress(cell: float) -> None:
    """Closed form; a wall may be measured 1.83 cells too thick, see `walls_of`.

    In between, a wall that bears the whole step-down, and none; at last one that bears next to
    nothing, for which the least is a tenth of the diameter.
    """
    thick = [bears(2.0) + 1.83 * cell, bears(3.01) + 1.83 * cell, np.inf, bears(2.99), 0.2]
    found = thin_walls(walls(thick, [10.0] * 5, [50.0, 40.0, 34.0, 24.0, 14.0], cell), STAGE, JOB)
    least = 0.1 * 3.0
    third = STRENGTH * (bears(2.99) - 1.83 * cell) ** 2 / 6 / PUSH
    np.testing.assert_allclose(found.deepest, [2.0, max(third, least), least], rtol=1e-9)
    np.testing.assert_array_equal(found.z, [50.0, 24.0, 14.0])
    np.testing.assert_allclose(found.at, np.tile([10.0, 30.0], (3, 1)))
    assert found.slab == 5.0
    # as far as the bit, its radius 1.5, touches the wall or the 2 mm beside it
    np.testing.assert_allclose(found.away, np.array(thick)[[0, 3, 4]] / 2 + 1.5 + BESIDE_MM)


@pytest.mark.parametrize(("skin", "width"), [(0.3, 0.3), (5.0, 3.0)])
def test_the_push_is_of_the_skin_or_of_a_bit_narrower_than_that(skin: float, width: float) -> None:
    """A skin of 5 mm is cut by the whole width of the ball, 3 mm; the wall has none of it left."""
    push = side_force_a_mm(STAGE.chip, width, 3.0, 2, JOB.block.temperature).high
    job = replace(JOB, roughing=replace(JOB.roughing, skin=skin))
    found = thin_walls(walls([bears(2.0)], [10.0], [50.0]), STAGE, job)
    assert abs(push / PUSH - 1) > 1e-3
    assert found.deepest[0] == pytest.approx(2.0 * PUSH / push, rel=1e-9)
    # a wall known at one height alone counts for the 2 mm over and under it
    assert found.slab == BESIDE_MM


def test_beside_nothing_thin_a_whole_step_is_borne() -> None:
    found = thin_walls(walls([np.inf, bears(3.1)], [10.0, 10.0], [50.0, 40.0]), STAGE, JOB)
    most = found.beside(np.array([[10.0, 30.0, 40.0], [10.0, 30.0, 50.0]]), 3.0)
    np.testing.assert_array_equal(most, [3.0, 3.0])


_places = st.tuples(*[st.integers(0, 12)] * 3)
_walls = st.tuples(_places, st.integers(1, 6), st.sampled_from([0.5, 1.0, 2.0, 5.0]))


@steady
@given(st.lists(_walls, max_size=6), st.lists(_places, max_size=8), st.sampled_from([1.0, 4.0]))
def test_what_is_borne_beside_a_wall_by_definition(
    some: list[tuple[tuple[int, ...], int, float]], tips: list[tuple[int, ...]], slab: float
) -> None:
    """Wall by wall and tip by tip: as near as its reach in plan, and within the slab in height."""
    at = np.array([place for place, _, _ in some], dtype=np.float64).reshape(-1, 3)
    found = ThinWalls(
        at=at[:, :2], z=at[:, 2], away=np.array([away for _, away, _ in some], dtype=np.float64),
        deepest=np.array([deepest for *_, deepest in some]),
        slab=slab,
    )  # fmt: skip
    most = found.beside(np.array(tips, dtype=np.float64).reshape(-1, 3), 3.0)
    for n, (x, y, z) in enumerate(tips):
        near = [
            k
            for k, ((u, v, w), away, _) in enumerate(some)
            if (x - u) ** 2 + (y - v) ** 2 <= away**2 and abs(z - w) <= slab
        ]
        assert most[n] == min([3.0, *(some[k][2] for k in near)])
