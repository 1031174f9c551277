"""Small sculptures in blocks, racks, and what is asked of them."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from icecam.geometry.mesh import Mesh
from icecam.geometry.placing import Placed
from icecam.job.file import load
from icecam.job.records import Bit, Job
from tests.geometry.bits import make_bit

Floats = NDArray[np.float64]


def placed(triangles: Floats, at: tuple[float, float, float]) -> Placed:
    """Return triangles (n, 3, 3) as an open sculpture moved to `at`."""
    mesh = Mesh(
        triangles=triangles + np.array(at), watertight=False, volume=0.0, degenerate=0, file="a.stl"
    )
    return Placed(mesh=mesh, to_block=np.eye(4), scale=1.0)


def job_of(
    rack: tuple[Bit, ...],
    *,
    size: tuple[float, float, float] = (60.0, 60.0, 40.0),
    detail: float = 0.25,
    cell: float = 0.25,
) -> Job:
    """Return a job without a floor whose whole block is cleared."""
    job = load(None)
    return replace(
        job,
        block=replace(job.block, size=size, floor=0.0),
        quality=replace(job.quality, scallop=0.1, detail=detail, cell=cell),
        roughing=replace(job.roughing, clear="block"),
        rack=rack,
    )


def named(name: str, bit: Bit) -> Bit:
    """Return the bit under another name."""
    return replace(bit, name=name)


def ball(diameter: float, *, stick_out: float = 60.0, flute: float = 25.0) -> Bit:
    """Return a ball named by its diameter."""
    bit = make_bit("ball", diameter, shank=diameter, stick_out=stick_out, flute=flute)
    return named(f"ball {diameter:g}", bit)
