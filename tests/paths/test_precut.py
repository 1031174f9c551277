"""Roughing a block of which something is gone, against areas by definition and the block carved."""

from dataclasses import dataclass, replace
from functools import cache
from math import inf

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.field import HeightField, cells
from icecam.geometry.precut import ice_before, read_remains
from icecam.geometry.profile import cylinders
from icecam.job.records import Job, Precut, Sawn
from icecam.paths.precut import OFF_MM, gone_at, meeting_ice, open_below
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import CUT, Toolpath
from icecam.prove.carving import GRAZE_MM, Carved, carve, whole_block
from icecam.prove.proof import RAPID_MM
from tests.geometry.solids import hemisphere
from tests.paths.scenes import job_for

SIZE = (150.0, 120.0, 40.0)
X, Y, Z = SIZE
BLOCK = shapely.box(0, 0, X, Y)
RADIUS = 3.0
CELL = 0.25
SAWN = (
    Sawn(through=((48, 0, 0), (0, 44, 0), (0, 44, Z)), gone=(0, 0, 0)),
    Sawn(through=((X, 70, Z), (100, Y, Z), (X, Y, 6)), gone=(X, Y, Z)),
    Sawn(through=((0, Y - 20, Z), (X, Y - 20, Z), (0, Y, 18)), gone=(0, Y, Z)),
)


# Areas


def _mm(low: float, high: float) -> st.SearchStrategy[float]:
    """Lengths to a thousandth: outlines of 1e-308 mm are none."""
    return st.floats(low, high).map(lambda length: round(length, 3))


boxes = st.builds(
    lambda x, y, wide, deep: shapely.box(x, y, x + wide, y + deep),
    _mm(-20, 140), _mm(-20, 110), _mm(1, 60), _mm(1, 60),
)  # fmt: skip
discs = st.builds(
    lambda x, y, radius: shapely.Point(x, y).buffer(radius),
    _mm(0, 150), _mm(0, 120), _mm(1, 30),
)  # fmt: skip
areas = st.lists(st.one_of(boxes, discs), min_size=1, max_size=4).map(shapely.union_all)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(kept=areas, gone=areas)
def test_all_ice_that_would_be_swept_is_swept(kept: BaseGeometry, gone: BaseGeometry) -> None:
    """By definition: of the ice, what the whole area sweeps and what is left of it sweeps."""
    area = BLOCK.buffer(RADIUS / 2).difference(kept)
    met = meeting_ice(area, gone, SIZE[:2], RADIUS)
    assert met.difference(area.buffer(1e-6)).area < 1e-6
    ice = BLOCK.difference(gone)
    swept = area.buffer(RADIUS - OFF_MM).intersection(ice)
    assert swept.difference(met.buffer(RADIUS, quad_segs=32)).area < 2e-3
    # no place of it is farther from ice than the bit is wide
    assert met.difference(ice.buffer(RADIUS + 0.01, quad_segs=32)).area < 1e-3 or (
        met.difference(BLOCK).area > 0
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(kept=areas, gone=areas)
def test_below_an_open_place_no_ice_stands_that_was_not_taken(
    kept: BaseGeometry, gone: BaseGeometry
) -> None:
    """A bit that goes deeper anywhere there meets, above, only what the level swept or none."""
    area = BLOCK.buffer(RADIUS / 2).difference(kept)
    met = meeting_ice(area, gone, SIZE[:2], RADIUS)
    open_ = open_below(met, area, met, gone, RADIUS)
    standing = BLOCK.difference(gone).difference(met.buffer(RADIUS, quad_segs=32))
    entered = open_.buffer(RADIUS - 2 * OFF_MM)
    assert entered.intersection(standing).area < 2e-3


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1), st.floats(5, 35))
def test_nothing_stands_where_ice_is_gone(seed: int, z: float) -> None:
    """By definition: no square higher than z lies in it; well inside what is lower all of it is."""
    rng = np.random.default_rng(seed)
    grid = cells((60.0, 40.0), 1.0)
    x, y = np.meshgrid(grid.x, grid.y)
    slope = rng.normal(size=2)
    heights = np.clip(20.0 + slope[0] * (x - 30) + slope[1] * (y - 20), 0.0, 40.0)
    gone = gone_at(HeightField(grid=grid, heights=heights), z, 9.0)
    shapely.prepare(gone)
    high = heights > z
    squares = shapely.box(x - 0.49, y - 0.49, x + 0.49, y + 0.49)
    assert not shapely.intersects(gone, squares[high]).any()
    deep = ~high & (heights + 4.0 * np.hypot(*slope) < z)
    assert shapely.contains_xy(gone, x[deep], y[deep]).all()


def test_of_a_whole_block_nothing_changes() -> None:
    area = shapely.box(3, 3, 40, 30)
    gone = gone_at(whole_block(SIZE, 1.0), 39.0, 9.0)
    assert gone.is_empty
    assert meeting_ice(area, gone, SIZE[:2], RADIUS) is area
    assert open_below(area, area, area, gone, RADIUS) is area


# A dome out of a block with two corners and an edge sawn off


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    job: Job
    stage: Stage
    ice: HeightField
    path: Toolpath
    carved: Carved


@cache
def dome(clear: str, sawn: tuple[Sawn, ...]) -> Scene:
    job = job_for(SIZE, clear=clear, floor=2.0)  # type: ignore[arg-type]
    block = replace(job.block, precut=Precut(sawn=sawn), precut_margin=2.0)
    job = replace(job, block=block)
    triangles = hemisphere(30.0, 3.0) + np.array([74.0, 58.0, 3.0])
    ice = ice_before(read_remains(block), whole_block(SIZE, CELL))
    wanted = sculpture_heights(surface_of(triangles, closed=True), ice.grid)
    stage = ladder(job)[0]
    path = rough_stage(stage, job, triangles, wanted, ice).path
    carved = carve(ice, path, stage.cutting, cylinders(stage.bit, job.machine.spindle.body))
    return Scene(job=job, stage=stage, ice=ice, path=path, carved=carved)


def in_air(scene: Scene) -> tuple[float, float]:
    """Return the way at feed that takes nothing, mm, and its share."""
    cut, length = scene.path.kind == CUT, scene.path.lengths
    air = float(length[cut & (scene.carved.removed <= 0)].sum())
    return air, air / float(length[cut].sum())


CLEAR = ["block", "moat"]


@pytest.mark.parametrize("clear", CLEAR)
def test_it_is_carved_as_out_of_a_whole_block(clear: str) -> None:
    """The same ice is left, but for what was gone: of a moat, a thin wall beside a cut goes too."""
    whole, cut = dome(clear, ()), dome(clear, SAWN)
    more = cut.carved.ice.heights - np.minimum(whole.carved.ice.heights, cut.ice.heights)
    assert np.mean(more > 0.01) < 1e-3
    if clear == "block":
        assert np.mean(more < -0.01) < 1e-3


@pytest.mark.parametrize("clear", CLEAR)
@pytest.mark.parametrize("margin", [0.0, 2.0])
def test_no_rapid_and_no_shank_meets_ice(clear: str, margin: float) -> None:
    """Planned with a margin of 2 mm, carved out of the block as sawn and with the margin on."""
    scene = dome(clear, SAWN)
    ice = read_remains(scene.job.block).heights(scene.ice.grid, margin)
    above = cylinders(scene.stage.bit, scene.job.machine.spindle.body)
    found = carve(ice, scene.path, scene.stage.cutting, above)
    assert found.rapid_depth.max() <= RAPID_MM
    assert found.contact_depth.max() <= GRAZE_MM
    assert (found.ice.heights <= scene.carved.ice.heights + 1e-9).all()


@pytest.mark.parametrize("clear", CLEAR)
def test_less_way_and_no_more_air_than_out_of_a_whole_block(clear: str) -> None:
    """Of a moat the way may be longer: walls of waste that a cut made thin are cleared with it."""
    whole, cut = dome(clear, ()), dome(clear, SAWN)
    (air, share), (air_whole, share_whole) = in_air(cut), in_air(whole)
    if clear == "block":
        assert cut.path.lengths.sum() < 0.95 * whole.path.lengths.sum()
    assert air < air_whole + 100.0
    assert share < share_whole + 0.01


@pytest.mark.parametrize("clear", CLEAR)
def test_level_cuts_stay_where_ice_was(clear: str) -> None:
    """No level move of more than 5 mm lies where the bit, all along, is off ice above its height.

    Beside the block, from where bits come in, is not looked at.
    """
    scene, g = dome(clear, SAWN), dome(clear, SAWN).ice.grid
    path = scene.path
    level = (path.kind == CUT) & (path.begins[:, 2] == path.ends[:, 2]) & (path.lengths > 5.0)
    middle = (path.begins + path.ends)[level] / 2
    inside = (middle[:, :2] > 0).all(axis=1) & (middle[:, :2] < (X, Y)).all(axis=1)
    assert inside.sum() > 100
    for x, y, z in middle[inside]:
        reach = RADIUS + 1.0
        j, i = g.nearest(np.array([x - reach, x + reach]), np.array([y - reach, y + reach]))
        part = scene.ice.heights[j[0] : j[1] + 1, i[0] : i[1] + 1]
        assert part.max(initial=-inf) > z


@pytest.mark.parametrize("clear", CLEAR)
def test_full_slots_are_no_more_than_out_of_a_whole_block(clear: str) -> None:
    """Way at full feed on which the ice taken, over length and depth, is three quarters of a bit.

    Either way there is some, in sharp corners.
    """

    def share(scene: Scene) -> float:
        path, taken = scene.path, scene.carved.removed
        fast = (path.kind == CUT) & (path.feed > 0.99 * scene.stage.feed) & (path.lengths > 2.0)
        length = path.lengths[fast]
        wide = taken[fast] / length / scene.stage.step_down / (2 * RADIUS)
        return float(length[wide > 0.75].sum() / length.sum())

    assert share(dome(clear, SAWN)) < share(dome(clear, ())) + 0.01
