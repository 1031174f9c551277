"""A small job with a bit of each shape: a hill with a step, in a block of a few centimetres."""

from dataclasses import replace
from functools import cache

import numpy as np
import trimesh
from numpy.typing import NDArray

from icecam.geometry.mesh import Mesh
from icecam.geometry.placing import place
from icecam.job.file import load
from icecam.job.records import Bit, Job, Shape
from icecam.plan import Result, carve_stages, scene_of

SIZE = (52.0, 40.0, 20.0)
NAMES = "<script>alert(1)</script> & \"Frost\" 'n' </script>"


def bit(name: str, shape: Shape, diameter: float, **more: float) -> Bit:
    return Bit(
        name=name, shape=shape, diameter=diameter, flutes=2, flute_length=16.0, shank=6.0,
        stick_out=45.0, **more,
    )  # fmt: skip


RACK = (
    bit("corner 8", "rounded corner", 8.0, corner_radius=1.5),
    bit("ball 5 </script>", "ball", 5.0),
    bit("flat 4", "flat", 4.0),
    bit("vee", "vee", 1.6, taper_deg=20.0),
    bit("taper 1.2", "tapered ball", 1.2, taper_deg=6.0),
)


def hill() -> NDArray[np.float64]:
    """Triangles (n, 3, 3) of half a ball that stands on a plate."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=11.0)
    half = trimesh.convex.convex_hull(ball.vertices[ball.vertices[:, 2] > -1e-9])
    half.apply_translation([0.0, 0.0, 5.0])
    plate = trimesh.creation.box((34.0, 26.0, 5.0))
    plate.apply_translation([0.0, 0.0, 2.5])
    return np.concatenate([half.triangles, plate.triangles])


def job_of_five() -> Job:
    job = load(None)
    return replace(
        job,
        project=NAMES,
        block=replace(job.block, size=SIZE, floor=3.0),
        sculpture=replace(job.sculpture, margin=2.0),
        quality=replace(job.quality, scallop=0.15, detail=0.2, cell=0.3, bits="all"),
        rack=RACK,
    )


@cache
def result_of_five() -> Result:
    job = job_of_five()
    mesh = Mesh(
        triangles=hill(), watertight=True, volume=1.0, degenerate=0,
        file="<img src=x onerror=alert(1)>.stl",
    )  # fmt: skip
    return carve_stages(scene_of(place(mesh, job.sculpture, job.block), job))


@cache
def result_in_one_file() -> Result:
    """Two bits, one file in inches with line numbers, zero on top of the block's middle."""
    job = job_of_five()
    job = replace(
        job,
        block=replace(job.block, zero=(26.0, 20.0, 20.0)),
        output=replace(job.output, dialect="numbered-inch", one_file=True),
        rack=RACK[:2],
    )
    mesh = Mesh(triangles=hill(), watertight=True, volume=1.0, degenerate=0, file="hill.stl")
    return carve_stages(scene_of(place(mesh, job.sculpture, job.block), job))
