"""summary.json: what a job is, what each file does, what the proof found. Keys are stable."""

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from icecam import __version__
from icecam.check import BareResult
from icecam.estimate.load import Load
from icecam.estimate.working_days import Work
from icecam.ice.band import Band
from icecam.ice.limits import chip_temperature
from icecam.ice.properties import density_kg_m3
from icecam.job.energy import energy_of
from icecam.job.records import Bit
from icecam.paths.toolpath import CUT
from icecam.plan import Result
from icecam.proving import StageResult
from icecam.report.hours import hours_totals, keeping_record, machine_hours, time_records
from icecam.report.warnings import warnings_of
from icecam.units import MM3_PER_LITRE, S_PER_MIN

_DIGITS = 4


def summary(result: Result) -> dict[str, Any]:
    """Return the content of summary.json; keys and units stand in the README."""
    job = result.scene.job
    works = [
        Work(seconds=stage.seconds, ice_litres=stage.carved.removed.sum() / MM3_PER_LITRE)
        for stage in result.stages
    ]
    times = time_records(works, job)
    stages = [
        stage_record(stage, result) | {"time": time}
        for stage, time in zip(result.stages, times, strict=True)
    ]
    return {
        "icecam": __version__,
        "clean": result.clean,
        "sculpture": _sculpture(result),
        "block": block_record(result),
        "work_zero_mm": [_round(x) for x in result.scene.job.block.zero],
        "stages": stages,
        "unused_bits": list(result.unused),
        "spared_bits": list(result.scene.spared),
        "warnings": list(warnings_of(result)),
        "proof": _proof(result),
        "totals": {
            "minutes": _round(sum(stage["minutes"] for stage in stages)),
            "removed_litres": _round(sum(stage["removed_litres"] for stage in stages)),
        },
        "hours": hours_totals(times, job),
        "machines": machine_hours([stage.path for stage in result.stages]),
        "keeping": keeping_record(result.scene, times),
    }


def job_records(files: Mapping[str, bytes]) -> list[dict[str, str]]:
    """Return what `summary` knows nothing of: the files of the job beside it, for the key `job`.

    files : content by name, as `icecam.report.folder.job_files` gives them
    """
    return [
        {"file": name, "sha256": hashlib.sha256(content).hexdigest()}
        for name, content in files.items()
    ]


def _round(value: float) -> float:
    return round(float(value), _DIGITS)


def _sculpture(result: Result) -> dict[str, Any]:
    placed = result.scene.placed
    mesh = placed.mesh
    return {
        "file": mesh.file,
        "sha256": mesh.sha256,
        "unit": mesh.unit,
        "triangles": len(mesh.triangles) + mesh.degenerate + mesh.doubled,
        "degenerate": mesh.degenerate,
        "doubled": mesh.doubled,
        "turned_bodies": mesh.turned,
        "watertight": mesh.watertight,
        "size_mm": [_round(side) for side in mesh.high - mesh.low],
        "volume_litres": _round(mesh.volume / MM3_PER_LITRE),
        "mass_kg": _round(_mass(mesh.volume, result)),
        "hidden_share": _round(result.scene.hidden),
        "to_block": [[float(f"{figure:.9g}") for figure in row] for row in placed.to_block],
    }


def _mass(volume: float, result: Result | BareResult) -> float:
    """Kilograms of ice at the temperature of the block, from mm3."""
    return volume * 1e-9 * density_kg_m3(result.scene.job.block.temperature)


def block_record(result: Result | BareResult) -> dict[str, Any]:
    """Return the block as summary.json lists it."""
    block, gone = result.scene.job.block, result.scene.gone
    return {
        "size_mm": [_round(side) for side in block.size],
        "mass_kg": _round(_mass(float(np.prod(block.size)) - gone, result)),
        "precut_litres": _round(gone / MM3_PER_LITRE),
        "precut_margin_mm": _round(block.precut_margin),
        "temperature_c": block.temperature,
        "cutting_energy_mpa": _band(energy_of(result.scene.job)),
        "readings": len(result.scene.job.ice.calibrate),
    }


def bit_record(bit: Bit) -> dict[str, Any]:
    """Return a bit as summary.json lists it; lengths in mm."""
    ball = bit.shape in ("ball", "tapered ball")
    return {
        "name": bit.name,
        "shape": bit.shape,
        "diameter_mm": _round(bit.diameter),
        "tip_radius_mm": _round(bit.diameter / 2) if ball else 0.0,
        "corner_radius_mm": _round(bit.corner_radius),
        "taper_deg": _round(bit.taper_deg),
        "flutes": bit.flutes,
        "flute_mm": _round(bit.flute_length),
        "shank_mm": _round(bit.shank),
        "stick_out_mm": _round(bit.stick_out),
    }


def stage_record(result: StageResult, whole: Result | BareResult) -> dict[str, Any]:
    """Return a stage as summary.json lists it, but for its time."""
    stage, path, carved = result.stage, result.path, result.carved
    job = whole.scene.job
    cut, lengths = path.kind == CUT, path.lengths
    cut_length = float(lengths[cut].sum())
    air = float(lengths[cut & (carved.removed <= 0)].sum())
    return {
        "name": stage.name,
        "kind": stage.kind,
        "file": whole.file_name(result),
        "sha256": hashlib.sha256(result.file.text).hexdigest(),
        "units": result.file.unit,
        "bit": bit_record(stage.bit),
        "spindle_rpm": stage.spindle_rpm,
        "feed_mm_min": _round(stage.feed * S_PER_MIN),
        "chip_load_mm": _round(stage.chip),
        "step_down_mm": _round(stage.step_down),
        "step_down_limit": stage.step_limit,
        "stepover_mm": _round(stage.stepover),
        "skin_mm": stage.skin,
        "moves": len(path),
        "arcs": result.arcs,
        "cut_length_m": _round(cut_length / 1000),
        "rapid_length_m": _round(lengths[~cut].sum() / 1000),
        "air_share": _round(air / cut_length if cut_length else 0.0),
        "removed_litres": _round(carved.removed.sum() / MM3_PER_LITRE),
        "minutes": _round(result.seconds.total / S_PER_MIN),
        "load_w": _band(result.load.mean),
        "load": _load(result.load),
        "chip_temperature_c": _band(
            chip_temperature(result.load.chip_mean, job.block.temperature, energy_of(job))
        ),
        "deepest_groove_mm": 0.0 if result.groove is None else _round(result.groove.depth),
        "proof": {
            "deepest_gouge_mm": _round(result.gouge.depth),
            "rapid_hits": result.rapid_hits,
            "contacts": result.contacts,
            "limits_broken": list(result.limits),
        },
    }


def _load(load: Load) -> dict[str, Any]:
    """Return what spindle and bit feel; what one number says is the high end of its band."""
    place = load.peak_at
    return {
        "mean_w": _band(load.mean),
        "p95_w": _band(load.p95),
        "peak_w": _band(load.peak),
        "peak_at_mm": None if place is None else [_round(x) for x in place],
        "peak_line": load.peak_line,
        "peak_percent_of_spindle": _round(load.percent.high),
        "torque_peak_nmm": _round(load.torque.high),
        "removal_mm3_s": {
            "mean": _round(load.removal_mean),
            "p95": _round(load.removal_p95),
            "peak": _round(load.removal_peak),
        },
        "chip_mean_mm": _round(load.chip_mean),
        "chip_largest_mm": _round(load.chip_largest),
        "side_force_n": _round(load.side_force.high),
        "tip_deflection_mm": _round(load.deflection.high),
        "idle_w": _band(load.idle),
    }


def _band(band: Band[float]) -> dict[str, float]:
    return {"low": _round(band.low), "best": _round(band.best), "high": _round(band.high)}


def limits_broken(result: Result | BareResult) -> list[str]:
    """Return a sentence for each limit that a stage breaks, with the name of the stage."""
    return [f"{stage.stage.name}: {limit}" for stage in result.stages for limit in stage.limits]


def _proof(result: Result) -> dict[str, Any]:
    worst = max(result.stages, key=lambda stage: stage.gouge.depth)
    left = result.left
    place = worst.gouge.at
    return {
        "deepest_gouge_mm": _round(worst.gouge.depth),
        "gouge_at_mm": None if place is None else [_round(x) for x in place],
        "rapid_hits": sum(stage.rapid_hits for stage in result.stages),
        "contacts": sum(stage.contacts for stage in result.stages),
        "limits_broken": limits_broken(result),
        "reachable_within_tolerance": _round(left.within),
        "left_p99_mm": _round(left.p99),
        "left_worst_mm": _round(left.worst),
        "left_worst_at_mm": [_round(x) for x in left.worst_at],
        "unreachable_share": _round(left.unreachable),
        "unreachable_worst_mm": _round(left.hand_worst),
        "unreachable_worst_at_mm": (
            None if left.hand_worst_at is None else [_round(x) for x in left.hand_worst_at]
        ),
        "tolerance_mm": result.scene.job.quality.detail,
        "cell_mm": result.scene.ice.grid.pitch,
    }
