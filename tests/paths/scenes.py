"""Small jobs, solids by hand and questions to paths by definition, shared by the tests of paths."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from math import inf
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from icecam.geometry.drop import Surface, sculpture_heights, surface_of
from icecam.geometry.field import HeightField
from icecam.geometry.profile import cylinders
from icecam.job.file import load
from icecam.job.records import Bit, Job
from icecam.paths.linking import link
from icecam.paths.pieces import Pieces
from icecam.paths.resting import Rest
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.standing import Standing
from icecam.paths.toolpath import CUT, Toolpath
from icecam.paths.ways import Bears, Going, Terrain, find_ways
from icecam.prove.carving import Carved, carve, whole_block

Floats = NDArray[np.float64]

FLAT = Bit(
    name="flat 6", shape="flat", diameter=6.0, flutes=2, flute_length=30.0, shank=6.0,
    stick_out=50.0,
)  # fmt: skip
BALL = Bit(
    name="ball 3", shape="ball", diameter=3.0, flutes=2, flute_length=20.0, shank=3.0,
    stick_out=50.0,
)  # fmt: skip
SPINDLE_MM = 80.0
GOING = Going(
    feed=40.0, plunge=12.0, approach=18.0, speed=(100.0, 25.0), acceleration=(500.0, 300.0),
    clearance=3.0, safe=63.0, pitch=0.5, tip=BALL.diameter / 2,
    beside=0.0,
)  # fmt: skip


def job_for(
    size: tuple[float, float, float],
    rack: tuple[Bit, ...] = (FLAT, BALL),
    *,
    clear: Literal["moat", "block"] = "block",
    floor: float = 2.0,
    scallop: float = 0.1,
    detail: float = 0.25,
    skin: float = 1.0,
    moat: float = 12.0,
) -> Job:
    """Return a job on a block of `size`; ramps of 5 degrees and a clearance of 3 mm."""
    job = load(None)
    spindle = replace(job.machine.spindle, body=SPINDLE_MM)
    return replace(
        job,
        block=replace(job.block, size=size, floor=floor),
        quality=replace(job.quality, scallop=scallop, detail=detail),
        roughing=replace(job.roughing, clear=clear, skin=skin, moat=moat),
        feeds=replace(job.feeds, ramp_deg=5.0, clearance=3.0),
        machine=replace(job.machine, spindle=spindle),
        rack=rack,
    )


def prism(outline: shapely.Polygon, bottom: float, top: float) -> Floats:
    """Triangles (n, 3, 3) of an upright prism."""
    faces = shapely.get_parts(shapely.constrained_delaunay_triangles(outline))
    flat = np.stack([shapely.get_coordinates(shapely.normalize(face))[2::-1] for face in faces])
    lid = np.dstack([flat, np.full(flat.shape[:2], top)])
    under = np.dstack([flat[:, ::-1], np.full(flat.shape[:2], bottom)])
    sides = []
    around = shapely.orient_polygons(outline)
    for ring in (around.exterior, *around.interiors):
        a, b = shapely.get_coordinates(ring)[:-1], shapely.get_coordinates(ring)[1:]
        low, high = np.full((len(a), 1), bottom), np.full((len(a), 1), top)
        a0, a1, b0, b1 = (np.hstack(pair) for pair in ((a, low), (a, high), (b, low), (b, high)))
        sides += [np.stack([a0, b0, b1], axis=1), np.stack([a0, b1, a1], axis=1)]
    return np.concatenate([lid, under, *sides])


def footed(outline: shapely.Polygon, bottom: float, top: float) -> Floats:
    """Triangles of an upright prism on a foot 1 mm wide, without thickness.

    The foot shows from above how far down the upright wall goes.
    """
    foot = prism(outline.buffer(1.0, join_style="mitre"), bottom - 1.0, bottom)
    face = foot[foot[:, :, 2].min(axis=1) == bottom]
    return np.concatenate([prism(outline, bottom, top), face])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roughed:
    """A roughing stage, its path, and the block carved by it."""

    job: Job
    stage: Stage
    surface: Surface
    wanted: HeightField
    path: Toolpath
    carved: Carved


def roughed(triangles: Floats, job: Job, cell: float = 0.25) -> Roughed:
    """Rough triangles out of the job's block."""
    surface = surface_of(triangles, closed=True)
    ice = whole_block(job.block.size, cell)
    wanted = sculpture_heights(surface, ice.grid)
    stage = ladder(job)[0]
    path = rough_stage(stage, job, triangles, wanted, ice).path
    above = cylinders(stage.bit, job.machine.spindle.body)
    carved = carve(ice, path, stage.cutting, above)
    return Roughed(job=job, stage=stage, surface=surface, wanted=wanted, path=path, carved=carved)


def centres(field: HeightField) -> NDArray[np.object_]:
    """Points over a field's nodes, (ny, nx)."""
    return np.asarray(shapely.points(*np.meshgrid(field.grid.x, field.grid.y)))


def places_on(path: Toolpath, spacing: float) -> tuple[Floats, NDArray[np.intp]]:
    """Places (n, 3) along all moves, at most `spacing` apart, and the move of each."""
    counts = np.maximum(np.ceil(path.lengths / spacing).astype(np.intp), 1) + 1
    which = np.repeat(np.arange(len(path)), counts)
    within = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = (within / (counts[which] - 1))[:, None]
    begins = path.begins[which]
    return begins + share * (path.ends[which] - begins), which


def cutting_lines(path: Toolpath, z: float) -> NDArray[np.object_]:
    """Lines seen from above of the cuts that lie level at height `z`."""
    level = (path.kind == CUT) & (path.begins[:, 2] == z) & (path.ends[:, 2] == z)
    ends = np.stack([path.begins[level, :2], path.ends[level, :2]], axis=1)
    return np.asarray(shapely.linestrings(ends))


def heights_of_levels(path: Toolpath) -> Floats:
    """Heights at which there are level cuts."""
    level = (path.kind == CUT) & (path.begins[:, 2] == path.ends[:, 2])
    return np.unique(path.ends[level, 2])


def highest_within(ice: HeightField, x: float, y: float, radius: float) -> float:
    """Greatest height of the cells whose centre lies within `radius` of a place."""
    xx, yy = np.meshgrid(ice.grid.x, ice.grid.y)
    near = np.hypot(xx - x, yy - y) <= radius
    return float(ice.heights[near].max()) if near.any() else -inf


def cut_too_early(
    points: Floats, when: NDArray[np.int64], bears: Floats, reach: float
) -> list[list[int]]:
    """Pairs of points of which the second stands too high over the first, but is cut no sooner.

    points : (n, 3); when : (n,) number of the cut of each; bears : (n,) mm others may be higher
    """
    near = KDTree(points[:, :2]).query_pairs(reach - 1e-9, output_type="ndarray")
    low, high = np.concatenate([near, near[:, ::-1]]).T
    z = points[:, 2]
    wrong = (z[high] > z[low] + bears[low] + 1e-9) & (when[high] >= when[low])
    found: list[list[int]] = np.column_stack([low, high])[wrong].tolist()
    return found


@cache
def tower() -> Roughed:
    """A footed tower 20 x 16, 4 to 16 mm high, roughed out of a block 90 x 70 x 20."""
    job = job_for((90.0, 70.0, 20.0))
    return roughed(footed(TOWER, 4.0, 16.0), job)


TOWER = shapely.box(35.0, 27.0, 55.0, 43.0)


def resting_on(heights: Callable[[Floats], Floats]) -> Rest:
    """Return where a tip rests on heights (n,) at points (n, 2)."""
    return lambda points, least: np.maximum(heights(points), least)


def linked(
    cuts: Pieces, standing: Standing, heights: Callable[[Floats], Floats], bears: Bears,
    going: Going = GOING,
) -> Toolpath:  # fmt: skip
    """Return cuts on a surface, none of them lifted, linked to one path."""
    terrain = Terrain(standing=standing, going=going, rest=resting_on(heights), bears=bears)
    return link(cuts, find_ways(cuts, np.zeros(len(cuts)), terrain), going)
