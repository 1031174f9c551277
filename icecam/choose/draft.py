"""Hours before any path is written: each stage planned as a draft, and timed like a real one.

Roughing is planned as it will be; finishing reads heights off its grid of tips instead of dropping
the bit at every point. Nothing is written or proven, and no cut is left out because a shank would
touch ice. So stepovers, feeds, layers, links and the controller are those of the plan, and no
factor stands between.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from icecam.choose.reach import Say
from icecam.errors import MeshError
from icecam.estimate.runtime import StageSeconds, runtime, stage_seconds
from icecam.geometry.drop import Surface, sculpture_heights, surface_of
from icecam.geometry.field import HeightField
from icecam.geometry.placing import Placed
from icecam.geometry.profile import cylinders
from icecam.job.records import Job
from icecam.paths.finish_stage import finish_stage
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import Toolpath
from icecam.plan import cell_for
from icecam.prove.carving import carve, whole_block
from icecam.units import MM3_PER_LITRE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """A sculpture to draft stages on: for dropping bits on, from above, and the uncut block."""

    job: Job
    placed: Placed
    surface: Surface
    wanted: HeightField
    block: HeightField


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drafted:
    """A stage as a draft: where its time goes, litres of ice it takes, the ice after it."""

    stage: Stage
    seconds: StageSeconds
    ice_litres: float
    ice: HeightField


def ground_of(placed: Placed, job: Job) -> Ground:
    """Look at a placed sculpture from above, on the cells of the proof."""
    surface = surface_of(placed.mesh.triangles, closed=placed.mesh.watertight)
    block = whole_block(job.block.size, cell_for(job))
    wanted = sculpture_heights(surface, block.grid)
    return Ground(job=job, placed=placed, surface=surface, wanted=wanted, block=block)


def draft_stage(ground: Ground, stage: Stage, ice: HeightField) -> Drafted | None:
    """Draft one stage on ice as it stands; None if it finds nothing to take."""
    path = _path(ground, stage, ice)
    if len(path) == 0:
        return None
    machine = ground.job.machine
    carved = carve(ice, path, stage.cutting, cylinders(stage.bit, machine.spindle.body))
    seconds = stage_seconds(
        runtime(path, machine),
        path,
        dwells=machine.spindle.start,
        bit_change=machine.bit_change if stage.number > 1 else 0.0,
    )
    litres = float(carved.removed.sum()) / MM3_PER_LITRE
    return Drafted(stage=stage, seconds=seconds, ice_litres=litres, ice=carved.ice)


def draft_stages(
    ground: Ground, stages: Sequence[Stage], say: Say = lambda _doing, _share: None
) -> tuple[Drafted, ...]:
    """Draft stages one after the other on the ice that the ones before leave.

    say : is told what is being done and which share of the stages lies behind
    """
    found: list[Drafted] = []
    for nth, step in enumerate(stages):
        stage = replace(step, number=len(found) + 1)
        say(f"a draft of stage {stage.number}, {stage.bit.name}", nth / len(stages))
        done = draft_stage(ground, stage, found[-1].ice if found else ground.block)
        if done is not None:
            found.append(done)
    return tuple(found)


def draft(placed: Placed, job: Job, say: Say = lambda _doing, _share: None) -> tuple[Drafted, ...]:
    """Draft all stages of a job on a placed sculpture.

    Raises
    ------
    MeshError : no bit finds ice to take

    Notes
    -----
    Held to planned stages of the demo sculptures and of an elevation model: within 15 % in all.
    """
    ground = ground_of(placed, job)
    found = draft_stages(ground, ladder(job), say)
    if not found:
        raise MeshError(
            f"no bit of the rack finds ice to take off {placed.mesh.file}: it fills the block "
            "above its floor, or no bit fits; check block.size, sculpture.scale and the rack"
        )
    return found


def _path(ground: Ground, stage: Stage, ice: HeightField) -> Toolpath:
    """Return the path of a draft."""
    job = ground.job
    if stage.kind == "rough":
        path, _ = rough_stage(stage, job, ground.placed.mesh.triangles, ground.wanted, ice)
        return path
    return finish_stage(stage, job, ground.surface, ground.wanted, ice, exact=False).path()
