"""In which order roughing clears what waits for nothing: the nearest first, by hand."""

import numpy as np
import shapely

from icecam.geometry.profile import cylinder_profile
from icecam.paths.roughing import Cut, Rougher
from icecam.paths.standing import coarse
from icecam.paths.toolpath import CUT
from icecam.prove.carving import whole_block

CUTS = Cut(
    radius=3.0, flat=3.0, ridge=0.0, stepover=3.0, feed=50.0, slot_feed=25.0, approach=20.0,
    ramp_deg=3.0, clearance=3.0, safe=25.0,
)  # fmt: skip


def test_pockets_are_cleared_one_after_the_other_from_where_the_bit_stands() -> None:
    """Five pockets in a row along x, given in no order: from the corner of the block on."""
    wests = [70.0, 10.0, 90.0, 30.0, 50.0]
    area = shapely.MultiPolygon([shapely.box(x, 10, x + 12, 25) for x in wests])
    block = coarse(whole_block((120.0, 40.0, 20.0), 0.5))
    bit = ((cylinder_profile(3.0), 0.0),)
    rougher = Rougher(block, (120.0, 40.0), bit, CUTS)
    rougher.clear(area, 15.0, 20.0)
    path = rougher.path()
    level = (path.kind == CUT) & (path.begins[:, 2] == 15.0) & (path.ends[:, 2] == 15.0)
    pocket = (path.ends[level, 0] - 10.0) // 20.0
    assert set(pocket) == {0.0, 1.0, 2.0, 3.0, 4.0}
    assert (np.diff(pocket) >= 0).all()
