"""From a sculpture and a job to proven files: composition only.

Each stage is planned on the ice the ones before it left, written as text, read back, and the block
is carved by what was read. What the proof says is about the text.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import pairwise
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.bounds import kept_feeds, too_hard
from icecam.errors import MeshError
from icecam.estimate.runtime import runtime
from icecam.geometry.drop import Surface, sculpture_heights, surface_of
from icecam.geometry.field import HeightField, Heights
from icecam.geometry.mesh import read as read_mesh
from icecam.geometry.placing import Placed, check_not_tiny, hidden_share, place
from icecam.geometry.precut import check_enough, ice_before, read_remains, volume_gone
from icecam.geometry.walls import Walls
from icecam.heads import Subject, header
from icecam.job.records import Job
from icecam.kernels.compiled import begun
from icecam.memory import check_memory, sizes_of
from icecam.paths.feeds import feeds_met, slots_met
from icecam.paths.finish_stage import Finish, finish_stage
from icecam.paths.resting import Resting, near_sculpture, resting_of
from icecam.paths.rough_stage import rough_stage
from icecam.paths.stages import Stage, ladder
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import GRAZE_MM, cell_for, whole_block
from icecam.prove.proof import IceLeft, closed_by, deepest_gouge, ice_left
from icecam.proving import (
    Held,
    StageResult,
    TextFile,
    Tried,
    asked_by,
    carved_by,
    judged,
    proven_stage,
    with_feeds,
)
from post import dialect as dialects
from post import reader, writer

TRIES: Final = 10
"""Rounds of leaving out cuts in which a part above the cutting end meets ice."""

Say = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """The sculpture in the block, ready to be planned on.

    wanted : its heights seen from above; ice : the block before carving, with its margin on if
        something of it is gone
    gone : mm3 by which that falls short of a whole block
    hidden : share of the sculpture's surface that is not seen from above
    spared : bits that were in the rack, and without which the work is quicker
    """

    job: Job
    placed: Placed
    surface: Surface
    wanted: HeightField
    ice: HeightField
    gone: float
    hidden: float
    spared: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """All stages, the block at the end, and what is left on it.

    reachable : heights to which the bits could have brought the ice
    walls : the thinnest of the sculpture at each height
    """

    scene: Scene
    stages: tuple[StageResult, ...]
    ice: HeightField
    left: IceLeft
    reachable: Heights
    walls: Walls
    unused: tuple[str, ...]

    @property
    def clean(self) -> bool:
        """Whether every stage is."""
        return all(stage.clean for stage in self.stages)

    def file_name(self, stage: StageResult) -> str:
        """Name of a stage's file; it says REFUSED if any stage of the job is not clean."""
        return stage.file.name if self.clean else f"REFUSED-{stage.file.name}"

    def files(self) -> dict[str, bytes]:
        """Return all files by name."""
        return {self.file_name(stage): stage.file.text for stage in self.stages}


def set_up(sculpture: Path, job: Job) -> Scene:
    """Read the sculpture, lay it in its block, look at it from above.

    Raises
    ------
    MeshError : no mesh to carve, or too small or too large
    JobError : more cells, places or triangles than memory is taken for
    """
    mesh = read_mesh(sculpture, unit=job.sculpture.unit)
    placed = place(mesh, job.sculpture, job.block)
    check_not_tiny(placed.mesh)
    check_memory(sizes_of(placed.mesh, job, cell_for(job)))
    return scene_of(placed, job)


def scene_of(placed: Placed, job: Job) -> Scene:
    """Look at a placed sculpture from above.

    Raises
    ------
    MeshError : too small for the cells of the proof, or in need of ice that is gone
    JobError : what the job says of the block before carving cannot be
    """
    surface = surface_of(placed.mesh.triangles, closed=placed.mesh.watertight)
    remains = read_remains(job.block)
    ice = ice_before(remains, whole_block(job.block.size, cell_for(job)))
    wanted = sculpture_heights(surface, ice.grid)
    if not np.isfinite(wanted.heights).any():
        wide, deep, _ = placed.mesh.high - placed.mesh.low
        raise MeshError(
            f"{placed.mesh.file} would be {wide:.3g} x {deep:.3g} mm seen from above and meets "
            f"none of the proof's cells of {ice.grid.pitch:g} mm; scale it up or set a smaller "
            "quality.cell"
        )
    if job.block.precut.anything:
        check_enough(remains, wanted, job.quality.detail)
    return Scene(
        job=job,
        placed=placed,
        surface=surface,
        wanted=wanted,
        ice=ice,
        gone=volume_gone(ice, job.block.size),
        hidden=hidden_share(placed.mesh.triangles, wanted, closed=placed.mesh.watertight),
    )


def carve_stages(scene: Scene, say: Say = lambda _doing, _share: None) -> Result:
    """Plan, write, read back and prove every stage in turn.

    Where bits rest on the sculpture is found while the block is roughed, and feeds are chosen and
    a stage is judged while the next ones are planned: these wait for its ice alone.

    say : is told what is being done and which share of the stages lies behind
    """
    job, ice, wanted = scene.job, scene.ice, scene.wanted
    reachable = np.where(np.isfinite(wanted.heights), np.inf, np.nan)
    steps = ladder(job)

    def rested() -> list[Resting]:
        near = near_sculpture(wanted, job)
        # one after the other, for each holds much while it is found
        return [resting_of(step, job, scene.surface, wanted, near) for step in steps[1:]]

    resting = cache(begun(rested))
    judging: list[Callable[[], StageResult]] = []
    unused: list[str] = []
    for nth, step in enumerate(steps):
        stage = replace(step, number=len(judging) + 1)
        say(f"stage {stage.number}: {stage.kind} with {stage.bit.name}", nth / len(steps))
        if stage.kind == "rough":
            roughed = rough_stage(stage, job, scene.placed.mesh.triangles, wanted, ice)
            walls = roughed.walls
            what = _Proving(replace(stage, step_limit=roughed.limit), scene, ice, walls)
            tried = _written(what, roughed.path) if len(roughed.path) else None
        else:
            what = _Proving(stage, scene, ice, walls)
            finish = finish_stage(stage, job, resting()[nth - 1], ice, walls)
            tips = finish.tips, stage.cutting, job.quality.detail
            closing = begun(partial(closed_by, reachable, wanted, *tips))
            tried = _clear(what, finish)
            reachable = closing()
        if tried is None:
            unused.append(stage.bit.name)
            continue
        judging.append(begun(partial(_judged, what, tried)))
        ice = tried.carved.ice
    if not judging:
        raise MeshError(
            f"no bit of the rack finds ice to take off {scene.placed.mesh.file}: it fills the "
            "block above its floor, or no bit fits; check block.size, sculpture.scale and the rack"
        )
    left = ice_left(ice, wanted, reachable, job.quality.detail)
    whole = Result(
        scene=scene, stages=tuple(judge() for judge in judging), ice=ice, left=left,
        reachable=reachable, walls=walls, unused=tuple(unused),
    )  # fmt: skip
    return in_one_file(whole) if job.output.one_file else whole


class _Proving(NamedTuple):
    """A stage, and the ice that it is proven on."""

    stage: Stage
    scene: Scene
    ice: HeightField
    walls: Walls


def _clear(what: _Proving, finish: Finish) -> Tried | None:
    """Carve by a finishing stage; where shank, nut or spindle would touch ice, it stays out.

    So it does where it would push on a wall more than that surely bears, however slowly. None if
    nothing of it stays.
    """
    for _ in range(TRIES):
        if len(finish.pieces) == 0:
            return None
        tried = _written(what, finish.path())
        touching = np.flatnonzero(tried.carved.contact_depth > GRAZE_MM)
        pushing = too_hard(tried.path, tried.carved, what.stage, what.scene.job, what.walls)
        out = np.union1d(touching, pushing)
        if len(out) == 0:
            break
        moves = np.stack([tried.path.begins[out], tried.path.ends[out]], axis=1)
        finish = finish.avoiding(moves)
    return tried


def _judged(what: _Proving, tried: Tried) -> StageResult:
    """Choose the feeds of a stage that was carved, and judge it.

    They follow the ice it met; where it would ask too much of spindle, bit or walls, it is slowed.
    """
    stage, job = what.stage, what.scene.job
    path, carved = tried.path, tried.carved
    if stage.kind == "finish":
        met = feeds_met(path, carved.chip, stage, job.machine)
    else:
        met = slots_met(path, carved.removed, carved.depth, stage, job.feeds.slot)
    tried = _fed(what, tried, met)
    asked = asked_by(tried, job)
    for _ in range(TRIES):
        feeds = kept_feeds(asked.load.series, tried.path, stage, job, what.walls)
        if feeds is None:
            break
        tried = _fed(what, tried, feeds)
        asked = asked_by(tried, job)
    return judged(tried, asked, what.ice, job, held_against(what.scene, what.walls))


def _written(what: _Proving, path: Toolpath) -> Tried:
    """Write a stage, read it back, and carve by what was read."""
    return carved_by(what.stage, path, *_read_back(what, path), what.scene.job, what.ice)


def _fed(what: _Proving, tried: Tried, feeds: NDArray[np.float64]) -> Tried:
    """Write a stage with other feeds; it goes the very same way, so the same ice was carved."""
    planned = replace(tried.path, feed=feeds)
    return with_feeds(tried, planned, *_read_back(what, planned), what.scene.job)


def _read_back(what: _Proving, path: Toolpath) -> tuple[TextFile, reader.Program]:
    stage, scene = what.stage, what.scene
    dialect = dialects.load(scene.job.output.dialect)
    text = writer.write(*_part(stage, path, scene), dialect, unit=scene.job.output.unit)
    program = reader.read(text, name=stage.name, dwell_unit=dialect.dwell_unit)
    name = f"{stage.name}.{dialect.extension}"
    return TextFile(name=name, text=text, unit=program.unit), program


def in_one_file(result: Result) -> Result:
    """Return the job written as one file with bit changes, read back and proven anew."""
    scene = result.scene
    dialect = dialects.load(scene.job.output.dialect)
    parts = [_part(done.stage, done.planned, scene) for done in result.stages]
    text = writer.write_job(parts, dialect, unit=scene.job.output.unit)
    program = reader.read(text, name="all stages", dwell_unit=dialect.dwell_unit)
    file = TextFile(name=f"all-stages.{dialect.extension}", text=text, unit=program.unit)
    edges = [event.before for event in program.events if event.kind == "tool"]
    edges = [0, *edges[1:], len(program.toolpath)]
    ice, stages, held = scene.ice, [], held_against(scene, result.walls)
    for done, (first, last) in zip(result.stages, pairwise(edges), strict=True):
        part = program.part(first, last)
        stages.append(proven_stage(done.stage, done.planned, file, part, scene.job, ice, held))
        ice = stages[-1].carved.ice
    return replace(result, stages=tuple(stages), ice=ice)


def _part(stage: Stage, path: Toolpath, scene: Scene) -> tuple[Toolpath, writer.Header]:
    """Path in work coordinates and the header to write it with."""
    job = scene.job
    x, y, z = job.block.zero
    in_work = path.moved((-x, -y, -z))
    subject = Subject(job=job, sculpture=scene.placed.mesh.file, gone=scene.gone)
    return in_work, header(stage, subject, in_work, runtime(path, job.machine).total)


def held_against(scene: Scene, walls: Walls) -> Held:
    """Return what a block is held against that a sculpture was carved of."""
    return Held(lambda left: deepest_gouge(left, scene.wanted, scene.surface), walls)
