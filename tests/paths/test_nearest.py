"""In which order roughing clears what waits for nothing: the nearest first, by hand."""

from dataclasses import replace

import numpy as np
import shapely

from icecam.geometry.profile import cylinder_profile
from icecam.paths.roughing import Cut, Level, Rougher
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


def test_the_bit_comes_back_along_the_next_line_of_a_collar() -> None:
    """By hand: a wall across the block, three lines on either side; no rise between the first two.

    Lines 5 mm apart at y = 30, 35, 40 and, on the other side, 90, 85, 80: the last is cut as the
    first, the second back.
    """
    wall = shapely.box(-20, 50, 180, 70)
    area = shapely.box(0, 0, 160, 120).difference(wall.buffer(10.0, join_style="mitre"))
    core = area.difference(wall.buffer(25.0, join_style="mitre"))
    block = coarse(whole_block((160.0, 120.0, 20.0), 0.5))
    cuts = replace(CUTS, radius=6.0, flat=6.0, stepover=5.0)
    rougher = Rougher(block, (160.0, 120.0), ((cylinder_profile(6.0), 0.0),), cuts)
    rougher.clear(core, 15.0, 20.0)
    before = len(rougher.path())
    rougher.trim([Level(15.0, 20.0, area, 20.0)], core)
    path = rougher.path().part(before - 1, len(rougher.path()))
    step = path.ends - path.begins
    long = np.flatnonzero((path.kind == CUT) & (np.abs(step[:, 0]) > 100.0))
    lines = dict(zip(path.ends[long, 1].round().tolist(), long, strict=True))
    assert sorted(lines) == [30.0, 35.0, 40.0, 80.0, 85.0, 90.0]
    for first, second, last in ((30.0, 35.0, 40.0), (90.0, 85.0, 80.0)):
        begins, ends = lines[first], lines[second]
        assert begins < ends < lines[last]
        assert (path.kind[begins:ends] == CUT).all()
        assert step[begins, 0] * step[ends, 0] < 0
        # along the wall the ice lies to the right
        assert np.sign(step[lines[last], 0]) == (1.0 if last == 80.0 else -1.0)
