"""Hours before any path is written: each stage planned as a draft, and timed like a real one.

A draft is the plan, but that nothing is written or proven: no cut is left out because a shank would
touch ice, no line is slowed because a wall or the bit would not bear it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from icecam.errors import MeshError
from icecam.estimate.runtime import StageSeconds, runtime, stage_seconds
from icecam.geometry.field import HeightField
from icecam.geometry.profile import cylinders
from icecam.geometry.walls import no_walls
from icecam.paths.feeds import feeds_met
from icecam.paths.finish_stage import finish_stage
from icecam.paths.resting import near_sculpture, resting_of
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import Toolpath
from icecam.plan import Say, Scene
from icecam.prove.carving import carve
from icecam.units import MM3_PER_LITRE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drafted:
    """A stage as a draft: where its time goes, litres of ice it takes, the ice after it."""

    stage: Stage
    path: Toolpath
    seconds: StageSeconds
    ice_litres: float
    ice: HeightField


def draft_seconds(scene: Scene, stage: Stage, ice: HeightField) -> StageSeconds | None:
    """Draft one stage on ice as it stands, for its time alone; None if it finds nothing to take."""
    found = _draft(scene, stage, ice)
    return found.seconds if found else None


def draft_stages(
    scene: Scene, stages: Sequence[Stage], say: Say = lambda _doing, _share: None
) -> tuple[Drafted, ...]:
    """Draft stages one after the other on the ice that the ones before leave.

    say : is told what is being done and which share of the stages lies behind
    """
    found: list[Drafted] = []
    for nth, step in enumerate(stages):
        stage = replace(step, number=len(found) + 1)
        say(f"a draft of stage {stage.number}, {stage.bit.name}", nth / len(stages))
        ice = found[-1].ice if found else scene.ice
        drafted = _draft(scene, stage, ice)
        if drafted is not None:
            found.append(drafted)
    return tuple(found)


def _draft(scene: Scene, stage: Stage, ice: HeightField) -> Drafted | None:
    """Draft one stage on ice as it stands; None if it finds nothing to take."""
    path = _path(scene, stage, ice)
    if len(path) == 0:
        return None
    machine = scene.job.machine
    carved = carve(ice, path, stage.cutting, cylinders(stage.bit, machine.spindle.body))
    if stage.kind == "finish":
        path = replace(path, feed=feeds_met(path, carved.chip, stage, machine))
    return Drafted(
        stage=stage,
        path=path,
        seconds=_seconds(scene, stage, path),
        ice_litres=float(carved.removed.sum()) / MM3_PER_LITRE,
        ice=carved.ice,
    )


def draft(scene: Scene, say: Say = lambda _doing, _share: None) -> tuple[Drafted, ...]:
    """Draft all stages of a scene.

    Raises
    ------
    MeshError : no bit finds ice to take

    Notes
    -----
    Held to planned stages of the demo sculptures and of an elevation model, see the benchmarks.
    """
    found = draft_stages(scene, ladder(scene.job), say)
    if not found:
        raise MeshError(
            f"no bit of the rack finds ice to take off {scene.placed.mesh.file}: it fills the "
            "block above its floor, or no bit fits; check block.size, sculpture.scale and the rack"
        )
    return found


def _seconds(scene: Scene, stage: Stage, path: Toolpath) -> StageSeconds:
    machine = scene.job.machine
    return stage_seconds(
        runtime(path, machine),
        path,
        dwells=machine.spindle.start,
        bit_change=machine.bit_change if stage.number > 1 else 0.0,
    )


def _path(scene: Scene, stage: Stage, ice: HeightField) -> Toolpath:
    """Return the path of a draft."""
    if stage.kind == "rough":
        triangles = scene.placed.mesh.triangles
        return rough_stage(stage, scene.job, triangles, scene.wanted, ice).path
    # lower bands beside a thin wall change the hours little, and drafts may begin after roughing
    walls = no_walls()
    near = near_sculpture(scene.wanted, scene.job)
    resting = resting_of(stage, scene.job, scene.surface, scene.wanted, near)
    return finish_stage(stage, scene.job, resting, ice, walls).path()
