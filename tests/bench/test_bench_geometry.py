"""How long tip surfaces take over a million triangles, and walls over a block of cells."""

import numpy as np
import pytest

from icecam.geometry.drop import Surface, sculpture_heights, surface_of, tip_surface
from icecam.geometry.field import covering
from icecam.geometry.walls import walls_of
from icecam.job.file import load
from tests.bench.figures import Timed
from tests.bench.scenes import DEEP, WIDE, block_relief
from tests.geometry.bits import make_bit

POINTS = 10_000_000


@pytest.fixture(scope="module")
def relief() -> Surface:
    return surface_of(block_relief(1_000_000).triangles, closed=True)


def test_ten_million_points(relief: Surface, timed: Timed) -> None:
    """A 1.6 mm ball, as the finest bit that walks over the whole of a block."""
    pitch = (WIDE * DEEP / POINTS) ** 0.5
    grid, bit = covering((0.0, 0.0), (WIDE, DEEP), pitch), make_bit("ball", 1.6)
    tip_surface(relief, bit, covering((0.0, 0.0), (5.0, 5.0), 1.0))  # compiles
    found = timed(
        "tip surface, 1.6 mm ball, 10 M points", 2.0, lambda: tip_surface(relief, bit, grid)
    )
    assert found.heights.size >= POINTS
    assert np.isfinite(found.heights).all()


@pytest.mark.parametrize("number", range(5))
def test_bits_of_the_rack(relief: Surface, timed: Timed, number: int) -> None:
    """A million points with each bit of the default rack."""
    bit = load(None).rack[number]
    grid = covering((0.0, 0.0), (WIDE, DEEP), (WIDE * DEEP / 1e6) ** 0.5)
    tip_surface(relief, bit, covering((0.0, 0.0), (5.0, 5.0), 1.0))
    found = timed(
        f"tip surface, {bit.name}, 1 M points", 2.0, lambda: tip_surface(relief, bit, grid)
    )
    assert found.heights.max() == pytest.approx(relief.triangles[:, 2::3].max(), abs=0.5)


def test_walls_at_sixty_heights(relief: Surface, timed: Timed) -> None:
    """Cells of 0.3 mm over the whole block."""
    wanted = sculpture_heights(relief, covering((0.0, 0.0), (WIDE, DEEP), 0.3))
    walls_of(wanted.part(slice(0, 50), slice(0, 50)), np.array([90.0]))  # compiles
    top = wanted.heights.max()
    found = timed(
        "walls at 60 heights, 5.5 M cells",
        5.0,
        lambda: walls_of(wanted, np.linspace(1.0, top, 60)),
    )
    assert found.z[0] == top
    assert (found.thickness > 0).all()
