"""How long it takes to carve the block by finishing moves, and what the slow twin takes."""

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.geometry.field import HeightField
from icecam.geometry.profile import cutting_end, cylinders
from icecam.job.file import load
from icecam.paths.toolpath import CUT, Toolpath
from icecam.prove.carving import carve, whole_block
from tests.bench.figures import Timed
from tests.bench.scenes import DEEP, WIDE

SKIN_MM = 1.0
MOVES = 5_000_000
MOVES_A_ROW = 5000


def surface(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return heights (mm) of gentle hills, ten millimetres from bottom to top."""
    return np.asarray(240 + 5 * np.sin(x / 20) * np.cos(y / 15))


def sweeps(count: int) -> Toolpath:
    """Rows to and fro over the block, 0.2 mm a move, up hill and down."""
    rows = count // MOVES_A_ROW
    x = np.linspace(0, WIDE, MOVES_A_ROW)
    xx = np.concatenate([x if row % 2 == 0 else x[::-1] for row in range(rows)])
    yy = np.repeat(np.linspace(5, DEEP - 5, rows), MOVES_A_ROW)
    return Toolpath(
        start=np.array([0.0, 5.0, 270.0]),
        ends=np.column_stack([xx, yy, surface(xx, yy)]),
        kind=np.full(len(xx), CUT, np.int8),
        feed=np.full(len(xx), 24.0),
        line=np.zeros(len(xx), np.int32),
    )


@pytest.mark.parametrize(
    ("number", "aim"), [(4, 4.0), pytest.param(1, 20.0, marks=pytest.mark.long)]
)
def test_five_million_moves(timed: Timed, number: int, aim: float) -> None:
    """The finest bit of the rack, which makes the most moves, and the half-inch ball."""
    job = load(None)
    bit = job.rack[number]
    cutting, parts = cutting_end(bit), cylinders(bit, job.machine.spindle.body)
    whole = whole_block(job.block.size, 0.3)
    xx, yy = np.meshgrid(whole.grid.x, whole.grid.y)
    ice = HeightField(grid=whole.grid, heights=surface(xx, yy) + SKIN_MM)
    carve(ice, sweeps(MOVES_A_ROW), cutting, parts)  # compiles
    path = sweeps(MOVES)
    found = timed(
        f"carve by 5 M moves of {bit.name}, 0.3 mm cells",
        aim,
        lambda: carve(ice, path, cutting, parts),
    )
    assert found.removed.sum() == pytest.approx((ice.heights - found.ice.heights).sum() * 0.09)
