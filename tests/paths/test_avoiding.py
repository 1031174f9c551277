"""What a finishing stage leaves out where a part of the bit would touch ice, by hand."""

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, cells
from icecam.geometry.profile import cutting_end
from icecam.paths.cut_order import Cuts
from icecam.paths.finish_stage import Finish
from icecam.paths.pieces import pieces_of
from icecam.paths.standing import Standing
from icecam.paths.toolpath import CUT, RAPID
from icecam.paths.ways import Terrain, find_ways
from tests.paths.scenes import BALL, GOING, resting_on

Floats = NDArray[np.float64]


def _ridge(points: Floats) -> Floats:
    """Half a millimetre high from x = 18 to 22, with flanks 2 mm wide."""
    heights: Floats = np.interp(points[:, 0], [16.0, 18.0, 22.0, 24.0], [0.0, 0.5, 0.5, 0.0])
    return heights


def _finish() -> Finish:
    """Two cuts on one line, x from 4 to 10 and 30 to 56, and the way over the ridge between."""
    grid = cells((60.0, 20.0), 0.5)
    ice = HeightField(grid=grid, heights=np.full((grid.ny, grid.nx), 0.6))
    lines = [np.array([[a, 10.0, 0.0], [b, 10.0, 0.0]]) for a, b in ((4.0, 10.0), (30.0, 56.0))]
    cuts = Cuts(pieces=pieces_of(lines), lifts=np.zeros(2))
    terrain = Terrain(
        standing=Standing(ice=ice, cutting=cutting_end(BALL), above=()),
        going=GOING,
        rest=resting_on(_ridge),
        bears=lambda points: np.ones(len(points), dtype=np.bool_),
    )
    return Finish(
        cuts=cuts,
        ways=find_ways(cuts.pieces, cuts.lifts, terrain),
        terrain=terrain,
        tips=ice,
        spacing=0.75,
    )


def test_a_way_that_touches_goes_over_the_ice_and_the_cuts_stay() -> None:
    """The move over the ridge, 6 mm and more from both cuts: more than what is left out beside."""
    finish = _finish()
    path = finish.path()
    touching = np.flatnonzero((path.begins[:, 2] > 0.4) & (path.ends[:, 2] > 0.4) & (path.feed > 0))
    touching = touching[(path.begins[touching, 0] >= 15) & (path.ends[touching, 0] <= 25)]
    assert len(touching) >= 1
    moves = np.stack([path.begins[touching], path.ends[touching]], axis=1)
    after = finish.avoiding(moves)
    np.testing.assert_array_equal(after.pieces.points, finish.pieces.points)
    found = after.path()
    between = (found.begins[:, 0] < 30.0) & (found.ends[:, 0] > 10.0)
    assert between.any()
    assert (found.kind[between] == RAPID).all()
    # asked again for the same, nothing else goes
    assert len(after.avoiding(moves).path()) == len(found)


def test_a_cut_that_touches_is_left_out_near_the_place() -> None:
    """The begin of the second cut, with all within the spacing and 1 mm of it."""
    finish = _finish()
    after = finish.avoiding(np.array([[[30.0, 10.0, 0.0], [56.0, 10.0, 0.0]]]))
    assert len(after.pieces) == 1
    assert after.pieces.points[:, 0].max() == 10.0
    assert (after.path().kind == CUT).any()
