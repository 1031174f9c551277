"""All that the page must know of a job, packed: stages, moves, clock, load, key frames, marks."""

from collections.abc import Sequence
from math import inf
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from icecam import __version__
from icecam.check import BareResult
from icecam.estimate.load import spindle_power_w
from icecam.estimate.runtime import runtime
from icecam.geometry.drop import sculpture_heights
from icecam.geometry.field import Grid
from icecam.geometry.profile import cylinders
from icecam.geometry.sweeping import TILE
from icecam.job.describe import describe
from icecam.kernels.compiled import begun
from icecam.paths.toolpath import RAPID, Toolpath
from icecam.plan import Result
from icecam.prove.proof import thickness
from icecam.proving import StageResult, TextFile
from icecam.units import MM3_PER_LITRE, MM_PER_INCH, S_PER_MIN
from icecam.viewer.frames import Cut, grid_for, key_frames, on_grid, residues
from icecam.viewer.marks import marks_of
from icecam.viewer.pack import Section, pack, plain, whole
from icecam.viewer.skeleton import skeleton
from post.dialect import load as load_dialect

WANTED_STEP_MM: Final = 0.02
"""Heights of the sculpture are told to the page in steps of this."""
NO_SCULPTURE: Final = "held against no sculpture"
_PER_W, _PER_MM, _PER_S = 10.0, 1000.0, 1000.0
"""Whole numbers a unit: power, chip thickness, time; ice taken is in mm3."""


def dry_run(result: Result | BareResult, warnings: Sequence[str]) -> bytes:
    """Return what the page shows of a job.

    Parameters
    ----------
    warnings : sentences, those of a stage with its name and a colon in front
    """
    job = result.scene.job
    texts = begun(lambda: _texts(result))
    grid = grid_for(result.scene.ice, job.block.size)
    ice = on_grid(result.scene.ice, grid)
    cuts = [Cut(stage.path, stage.stage.cutting, stage.carved.depth) for stage in result.stages]
    frames = key_frames(ice, cuts, job.block.size[2])
    seconds = [runtime(stage.path, job.machine).seconds for stage in result.stages]
    stages, starts, moves, sections = [], 0.0, 0, list[Section]()
    for nth, stage in enumerate(result.stages):
        told = _stage(stage, result) | {"start": starts}
        stages.append(told)
        starts += stage.seconds.total
        takes, moves = frames.takes[moves : moves + len(stage.path)], moves + len(stage.path)
        sections += _moves(str(nth), stage, seconds[nth], takes, told)
        sections += _load(str(nth), stage)
    head = {
        "icecam": __version__,
        "project": job.project,
        "sculpture": _name_of(result),
        "bare": isinstance(result, BareResult),
        "block": list(job.block.size),
        "floor": job.block.floor,
        "detail": job.quality.detail,
        "seconds": starts,
        "snow": _snow_stops(result, seconds),
        "grid": grid._asdict(),
        "tile": TILE,
        "across": frames.across,
        "step": frames.step,
        "wanted_step": WANTED_STEP_MM,
        "stages": stages,
        "marks": [mark._asdict() for mark in marks_of(result, warnings)],
    }
    rest = residues(frames.drops)
    sections += [
        whole("frame moves", frames.moves),
        whole("frame counts", frames.counts),
        whole("frame tiles", frames.tiles),
        plain("drops low", (rest & 255).astype(np.uint8).tobytes()),
        plain("drops high", (rest >> 8).astype(np.uint8).tobytes()),
        *texts(),
        *(_no_sculpture(grid) if isinstance(result, BareResult) else _sculpture(result, grid)),
    ]
    return pack(head, sections)


def _stage(stage: StageResult, whole_job: Result | BareResult) -> dict[str, Any]:
    """Return what is true of a stage as a whole; mm, mm/s, s, W."""
    job, planned = whole_job.scene.job, stage.stage
    dialect = load_dialect(job.output.dialect)
    inches = stage.file.unit == "in"
    decimals = dialect.decimals_in if inches else dialect.decimals_mm
    load = stage.load
    profile = planned.cutting._asdict()
    return {
        "name": planned.name,
        "kind": planned.kind,
        "file": whole_job.file_name(stage),
        "bit": planned.bit.name,
        "told": describe(planned.bit),
        "diameter": 2 * planned.cutting.radius,
        "flutes": planned.bit.flutes,
        "rpm": planned.spindle_rpm,
        "gives": spindle_power_w(job.machine.spindle, planned.spindle_rpm),
        "profile": profile | {"flank": None if profile["flank"] == inf else profile["flank"]},
        "parts": [
            {"name": part.name, "radius": part.radius, "base": part.base}
            for part in cylinders(planned.bit, job.machine.spindle.body)
        ],
        "decimals": decimals,
        "unit": MM_PER_INCH if inches else 1.0,
        "zero": list(job.block.zero),
        "pause": stage.seconds.bit_change + stage.seconds.dwells,
        "change": stage.seconds.bit_change,
        "seconds": stage.seconds.total,
        "litres": float(stage.carved.removed.sum()) / MM3_PER_LITRE,
        "load": [load.mean.low, load.mean.best, load.mean.high],
    }


def _moves(
    nth: str,
    stage: StageResult,
    seconds: NDArray[np.float64],
    takes: NDArray[np.bool_],
    told: dict[str, Any],
) -> list[Section]:
    """Points in ticks of the text, the end of each move on the clock, kind, feed and line.

    Kind: 0 rapid, 1 takes ice, 2 cuts none.
    """
    path = stage.path
    tick = told["unit"] / 10 ** told["decimals"]
    feed = np.where(path.kind == RAPID, 0.0, np.nan_to_num(path.feed) * S_PER_MIN)
    return [
        *(
            whole(f"{axis} {nth}", _ticks(path, k, told["zero"], tick))
            for k, axis in enumerate("xyz")
        ),
        whole(f"clock {nth}", np.rint(np.cumsum(seconds) * _PER_S)),
        whole(f"kind {nth}", np.where(path.kind == RAPID, 0, np.where(takes, 1, 2))),
        whole(f"feed {nth}", np.rint(feed)),
        whole(f"line {nth}", path.line),
    ]


def _ticks(path: Toolpath, axis: int, zero: Sequence[float], tick: float) -> NDArray[np.float64]:
    """Return one coordinate of all points, whole ticks from the zero of the text."""
    places = np.append(path.start[axis], path.ends[:, axis]) - zero[axis]
    return np.rint(places / tick)


def _texts(result: Result | BareResult) -> list[Section]:
    """Return the text of each file by its name; stages of one file share it."""
    lines: dict[str, list[NDArray[np.int32]]] = {}
    for stage in result.stages:
        lines.setdefault(result.file_name(stage), []).append(stage.path.line)
    texts = {result.file_name(stage): stage.file for stage in result.stages}
    return [
        plain(f"text {name}", _text(texts[name], np.concatenate(some)))
        for name, some in lines.items()
    ]


def _text(file: TextFile, lines: NDArray[np.int32]) -> bytes:
    """Return the text as the page takes it; numbers of other hands stay as they stand."""
    return file.text if file.foreign else skeleton(file.text, lines)


def _load(nth: str, stage: StageResult) -> list[Section]:
    """Of each stretch: its moves, power, chip, and the ice that the stage has taken by its end."""
    series = stage.load.series
    first, last = series.stretches.first, series.stretches.last
    taken = np.cumsum(series.stretches.removed)
    return [
        whole(f"first {nth}", first),
        whole(f"moves {nth}", last - first, steps=False),
        whole(f"power {nth}", np.rint(series.power.best * _PER_W), steps=False),
        whole(f"chip {nth}", np.rint(series.chip_mean * _PER_MM), steps=False),
        whole(f"taken {nth}", np.rint(taken)),
    ]


def _snow_stops(result: Result | BareResult, seconds: Sequence[NDArray[np.float64]]) -> list[float]:
    """Moments (s of the machine's clock) at which so much snow has gathered that it must go."""
    freezer = result.scene.job.freezer
    stops, gathered, end = list[float](), 0.0, 0.0
    for stage, each in zip(result.stages, seconds, strict=True):
        end += stage.seconds.total
        clock = end - each.sum() + np.cumsum(each)
        litres = gathered + np.cumsum(stage.carved.removed) / MM3_PER_LITRE * freezer.snow_bulk
        full = np.floor(litres / freezer.snow_stop_litres)
        before = np.concatenate([[np.floor(gathered / freezer.snow_stop_litres)], full[:-1]])
        stops += np.repeat(clock, (full - before).astype(int)).tolist()
        gathered = float(litres[-1])
    return stops


def _name_of(result: Result | BareResult) -> str:
    """Return the file of the sculpture."""
    return NO_SCULPTURE if isinstance(result, BareResult) else result.scene.placed.mesh.file


def _no_sculpture(grid: Grid) -> list[Section]:
    """Return the same of no sculpture: nothing is wanted anywhere."""
    nothing = np.zeros(grid.ny * grid.nx, dtype=np.int64)
    unreached = np.packbits(nothing.astype(np.bool_)).tobytes()
    return [whole("wanted", nothing), plain("unreached", unreached)]


def _sculpture(result: Result, grid: Grid) -> list[Section]:
    """Heights of the sculpture on the page's grid, and where no bit can bring the ice near it."""
    scene = result.scene
    wanted = scene.wanted if scene.wanted.grid == grid else sculpture_heights(scene.surface, grid)
    seen = np.isfinite(wanted.heights)
    steps = np.zeros(wanted.heights.shape, dtype=np.int64)
    steps[seen] = np.rint(np.maximum(wanted.heights[seen], 0.0) / WANTED_STEP_MM).astype(int) + 1
    out = thickness(result.reachable, scene.wanted) > scene.job.quality.detail
    if scene.wanted.grid != grid:
        x, y = np.broadcast_arrays(grid.x[None, :], grid.y[:, None])
        rows, columns = scene.wanted.grid.nearest(x.ravel(), y.ravel())
        out = out[rows, columns].reshape(seen.shape)
    return [
        whole("wanted", steps.ravel()),
        plain("unreached", np.packbits(out & seen, axis=None, bitorder="little").tobytes()),
    ]
