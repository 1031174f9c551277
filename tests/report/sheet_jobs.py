"""Results to make job sheets of: a dome in a small block, names, stages and faults as wanted."""

from dataclasses import replace
from functools import cache

from icecam.job.records import Bit
from icecam.plan import Result, carve_stages, scene_of
from icecam.prove.proof import Gouge
from icecam.proving import StageResult
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry import solids
from tests.geometry.bits import make_bit

RADIUS = 12.0
AT = (17.0, 15.0, 8.0)
SIZE = (36.0, 30.0, 26.0)
EVIL = "<script>alert(1)</script>"
WIDEST = "W" * 40
RACK = (
    named("flat 12", make_bit("flat", 12.0, shank=12.0)),
    named("tapered", make_bit("tapered ball", 3.0, taper=4.0, shank=6.35, stick_out=55.0)),
    ball(2.0),
)
SHAPES: tuple[Bit, ...] = (
    *RACK,
    named("rounded", make_bit("rounded corner", 10.0, corner=2.0, shank=10.0)),
    named("vee", make_bit("vee", 0.0, taper=30.0, flute=12.0, shank=8.0)),
)


@cache
def dome() -> Result:
    """Return half a ball of 12 mm in a block of 36 x 30 x 26 mm, carved by three bits.

    The mesh stands for a closed one of 5 litres, so that it has a mass of which to speak.
    """
    lying = placed(solids.hemisphere(RADIUS, 10.0), AT)
    lying = replace(lying, mesh=replace(lying.mesh, volume=5e6))
    result = carve_stages(scene_of(lying, job_of(RACK, size=SIZE, cell=0.4)))
    closed = replace(lying, mesh=replace(lying.mesh, watertight=True))
    return replace(result, scene=replace(result.scene, placed=closed))


def of_stages(count: int, name: str | None = None) -> Result:
    """Return the dome's stages over again, as many as asked for, numbered and named anew."""
    stages = (dome().stages * count)[:count]
    return replace(
        dome(), stages=tuple(_renamed(each, nth, name) for nth, each in enumerate(stages, start=1))
    )


def _renamed(result: StageResult, number: int, name: str | None) -> StageResult:
    bit = replace(result.stage.bit, name=name or result.stage.bit.name)
    stage = replace(result.stage, number=number, bit=bit)
    return replace(result, stage=stage, file=replace(result.file, name=f"{stage.name}.ngc"))


def called(result: Result, project: str, mesh: str) -> Result:
    """Return the result under other names of project and mesh."""
    scene = result.scene
    lying = replace(scene.placed, mesh=replace(scene.placed.mesh, file=mesh))
    return replace(
        result, scene=replace(scene, placed=lying, job=replace(scene.job, project=project))
    )


def in_block(
    result: Result, size: tuple[float, float, float], zero: tuple[float, float, float]
) -> Result:
    """Return the result in another block with another zero, the ice no longer cut to it."""
    block = replace(result.scene.job.block, size=size, zero=zero)
    return replace(result, scene=replace(result.scene, job=replace(result.scene.job, block=block)))


def troubled(result: Result) -> Result:
    """Return the result of a job with every warning there is, two of them about each stage."""
    ice = replace(result.scene.job.ice, least_chip=1.0, too_warm=-29, deep_slot=0.01)
    return replace(result, scene=replace(result.scene, job=replace(result.scene.job, ice=ice)))


def refused(result: Result) -> Result:
    """Return the result with a gouge in its second stage and a limit broken in its first."""
    first, second, *rest = result.stages
    limit = "X goes 3.0 mm above the machine's travel (line 12)"
    stages = (
        replace(first, limits=(limit,)),
        replace(second, gouge=Gouge(depth=0.31, at=(17.0, 15.0, 20.0))),
        *rest,
    )
    return replace(result, stages=stages)
