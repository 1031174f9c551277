"""Drafts of a stage: heights read off a grid, walls looked for once, cuts as in the plan."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage
from scipy.interpolate import RegularGridInterpolator

from icecam.geometry.field import Grid, HeightField
from icecam.geometry.walls import no_walls
from icecam.paths.drafting import read_off
from icecam.paths.finish_stage import finish_stage
from icecam.paths.rings import CLOSE_MM, rings
from icecam.paths.stages import ladder
from icecam.paths.standing import HALF_DIAGONAL, spread
from icecam.paths.toolpath import CUT, RAPID
from tests.geometry import solids
from tests.paths.scenes import BALL, FLAT, job_for, roughed

Floats = NDArray[np.float64]


@given(st.integers(1, 6), st.integers(1, 6), st.integers(0, 2**31))
def test_heights_between_nodes_are_bilinear(ny: int, nx: int, seed: int) -> None:
    """Against scipy's interpolation; beside the grid its edge counts."""
    rng = np.random.default_rng(seed)
    field = HeightField(grid=Grid(2.0, -1.0, 0.5, nx, ny), heights=rng.normal(size=(ny, nx)))
    points = rng.uniform([1.0, -2.0], [3.0 + nx / 2, nx / 2], (20, 2))
    # scipy wants two nodes a side: a single one counts twice
    table = np.pad(field.heights, ((0, 1), (0, 1)), mode="edge")
    rule = RegularGridInterpolator((-1.0 + np.arange(ny + 1) / 2, 2 + np.arange(nx + 1) / 2), table)
    inside = np.clip(points, [2.0, -1.0], [2 + (nx - 1) / 2, -1 + (ny - 1) / 2])
    np.testing.assert_allclose(read_off(field, points), rule(inside[:, ::-1]), atol=1e-12)


def _around(tip: Callable[[Floats], Floats], step: float) -> Floats:
    """Points (n, 2) as radius and height of draft rings round the origin."""
    grid = Grid(-16.0, -15.0, 0.5, 65, 61)
    x, y = np.meshgrid(grid.x - 0.1, grid.y - 0.2)
    found = rings(
        tip(np.hypot(x, y)),
        grid,
        np.ones(x.shape, dtype=np.int32),
        np.ones(x.shape, dtype=np.bool_),
        np.full(x.shape, -np.inf),
        step,
        lambda points: tip(np.hypot(points[:, 0] - 0.1, points[:, 1] - 0.2)),
        exact=False,
    )
    points = found.points
    return np.column_stack([np.hypot(points[:, 0] - 0.1, points[:, 1] - 0.2), points[:, 2]])


def test_a_draft_finds_walls_as_exactly_as_a_plan() -> None:
    """A wall 12 mm high at a radius of 9 (definition): every ring lies there, as near as said."""
    found = _around(lambda rho: np.where(rho <= 9.0, 12.0, 0.0), 1.3)
    assert len(np.unique(found[:, 1])) == 9
    assert (found[:, 0] > 9.0).all()
    assert (found[:, 0] <= 9.0 + CLOSE_MM).all()


def test_a_draft_takes_gentle_ice_for_straight_between_nodes() -> None:
    """A cone is straight outwards: along an edge of a square it bends by p^2 / 8 rho (geometry)."""
    found = _around(lambda rho: 30.0 - 2.0 * rho, 2.0)
    rho, z = found.T
    away = (rho > 3.0) & (rho < 14.0)
    off = np.abs(rho[away] - (30.0 - z[away]) / 2.0)
    assert (off <= 0.5**2 / 8 / (rho[away] - 0.5) + 1e-9).all()


@pytest.mark.parametrize("radius", [15.0, 20.0])
def test_a_draft_goes_as_far_as_the_plan(radius: float) -> None:
    """No outside source: the plan is what the draft stands for; cuts, and all moves, within 3 %."""
    job = job_for((60.0, 60.0, 30.0), (FLAT, BALL))
    after = roughed(solids.hemisphere(radius, 5.0) + np.array([30.0, 30.0, 4.0]), job)
    stage = ladder(job)[1]
    plan, draft = (
        finish_stage(
            stage, job, after.surface, after.wanted, after.carved.ice, no_walls(), exact=exact
        ).path()
        for exact in (True, False)
    )
    for kinds in ([CUT], [CUT, RAPID]):
        ways = [float(path.lengths[np.isin(path.kind, kinds)].sum()) for path in (plan, draft)]
        assert ways[1] == pytest.approx(ways[0], rel=0.03)


@settings(max_examples=40)
@given(st.integers(1, 30), st.integers(1, 30), st.floats(0.0, 40.0), st.integers(0, 2**31))
def test_greatest_within_a_circle(ny: int, nx: int, radius: float, seed: int) -> None:
    """Against scipy's filter with the circle as its footprint."""
    rng = np.random.default_rng(seed)
    heights = rng.normal(size=(ny, nx))
    heights[rng.random((ny, nx)) < 0.3] = -np.inf
    reach = radius / 2.0 + 2 * HALF_DIAGONAL
    size = int(np.ceil(reach))
    y, x = np.ogrid[-size : size + 1, -size : size + 1]
    circle = x * x + y * y <= reach * reach
    expected = ndimage.maximum_filter(heights, footprint=circle, mode="constant", cval=-np.inf)
    found = spread(HeightField(grid=Grid(0.0, 0.0, 2.0, nx, ny), heights=heights), radius)
    np.testing.assert_array_equal(found, expected)
