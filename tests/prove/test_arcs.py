"""An arc that leaves its chord to cut into the sculpture, from text to the proof."""

import pytest

from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from icecam.prove.carving import carve
from icecam.prove.proof import GOUGE_MM, deepest_gouge
from post.reader import read
from tests.geometry.mesh_files import box
from tests.prove.moves import block

BIT = Bit(
    name="flat", shape="flat", diameter=6.0, flutes=2, flute_length=30, shank=6.0, stick_out=50
)
HALF = 6.0
CLEAR = 8.0 + BIT.diameter / 2


def gouge_by(line: str) -> float:
    """Deepest cut into a wall at y = 8 when a line leads from x = -6 to 6, one radius off it."""
    wall = surface_of(box((-8.0, -8.0, 0.0), (8.0, 8.0, 20.0)))
    ice = block(30.0, 30.0, 20.0, 0.1)
    text = f"G21 G90 G17\nG0 X-{HALF} Y{CLEAR} Z30\nG1 Z4 F600\n{line}\nG1 Z30\nM2\n"
    carved = carve(ice, read(text.encode()).toolpath, cutting_end(BIT))
    return deepest_gouge(carved.ice, sculpture_heights(wall, ice.grid), wall).depth


@pytest.mark.parametrize("bulge", [0.2, 0.5, 1.5])
def test_an_arc_into_the_sculpture_is_found(bulge: float) -> None:
    """By geometry: around a centre away from the wall it bulges into it by its sagitta.

    The arc's chords as read lie up to 0.002 mm inside it; the centres of cells up to 0.1 mm short
    of the deepest place; the proof says at most 0.026 mm, above 0.1 mm a third too much.
    """
    rise = (HALF**2 - bulge**2) / (2 * bulge)
    found = gouge_by(f"G3 X{HALF} Y{CLEAR} I{HALF} J{rise:.3f}")
    assert found > GOUGE_MM
    assert bulge - 0.102 <= found <= 1.34 * bulge


def test_the_arc_the_other_way_and_the_chord_are_clear() -> None:
    """By geometry: the same ends, joined straight or by an arc that bulges off the wall."""
    for line in (f"G1 X{HALF}", f"G2 X{HALF} Y{CLEAR} I{HALF} J-8.75"):
        assert gouge_by(line) == 0.0
