"""Hours and keeping of the ice as one record, units in its keys: of a draft, or of a folder."""

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from icecam import __version__
from icecam.choose.draft import Drafted
from icecam.errors import OutputError
from icecam.estimate.keeping import Keeping, keeping
from icecam.estimate.runtime import StageSeconds, runtime
from icecam.estimate.working_days import Work, calendar, snow_litres, snow_stops, with_people
from icecam.ice.band import Band
from icecam.ice.handling import LiftingCaution
from icecam.job.file import machine_like
from icecam.job.profiles import PROFILES
from icecam.job.records import Job
from icecam.paths.toolpath import Toolpath
from icecam.plan import Scene
from icecam.report.hours_text import hours_text
from icecam.units import S_PER_MIN

ROWS: Final = (
    "cutting_minutes", "slowed_minutes", "travel_minutes", "spindle_start_minutes",
    "bit_change_minutes", "snow_minutes", "warm_up_minutes", "total_minutes",
)  # fmt: skip
"""Keys of a stage's time that add up to the last."""
TIME: Final = (*ROWS, "snow_litres", "snow_stops")
TOTALS: Final = (*TIME, "working_day_hours", "working_days", "hours_on_the_day_after")
_DIGITS: Final = 4


def time_records(works: Sequence[Work], job: Job) -> list[dict[str, Any]]:
    """Return where the time of each stage goes, as summary.json lists it under `time`."""
    stops = snow_stops(works, job.freezer)
    return [
        {
            **_time(seconds),
            "snow_litres": _round(snow_litres(work.ice_litres, job.freezer)),
            "snow_stops": count,
        }
        for work, seconds, count in zip(works, with_people(works, job.freezer), stops, strict=True)
    ]


def _time(seconds: StageSeconds) -> dict[str, float]:
    """Minutes by row; cutting at its feed, and apart from it what corners and ramps add."""
    rows = (
        seconds.cutting - seconds.slowed, seconds.slowed, seconds.rapids, seconds.dwells,
        seconds.bit_change, seconds.snow_stops, seconds.warm_up, seconds.total,
    )  # fmt: skip
    return {name: _round(each / S_PER_MIN) for name, each in zip(ROWS, rows, strict=True)}


def hours_totals(times: Sequence[Mapping[str, Any]], job: Job) -> dict[str, Any]:
    """Return the sums over all stages, and the calendar they fill."""
    sums: dict[str, Any] = {name: _round(sum(time[name] for time in times)) for name in ROWS}
    found = calendar(sums["total_minutes"] * S_PER_MIN, job.freezer)
    return {
        **sums,
        "snow_litres": _round(sum(time["snow_litres"] for time in times)),
        "snow_stops": sum(time["snow_stops"] for time in times),
        "working_day_hours": _round(job.freezer.working_day / 3600),
        "working_days": found.days,
        "hours_on_the_day_after": _round(found.rest / 3600),
    }


def keeping_record(scene: Scene, times: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return what block and piece ask of people and rooms, as summary.json lists it."""
    mesh, job = scene.placed.mesh, scene.job
    told = keeping(
        job,
        volume=mesh.volume if mesh.watertight else None,
        height=float((mesh.high - mesh.low).max()),
        seconds=S_PER_MIN * sum(time["total_minutes"] for time in times),
        gone=scene.gone,
    )
    return _keeping(told, job)


def _keeping(told: Keeping, job: Job) -> dict[str, Any]:
    freezer = job.freezer
    return {
        "block_lift": _lift(told.block_lift),
        "piece_lift": None if told.piece_lift is None else _lift(told.piece_lift),
        "storage_c": freezer.storage,
        "air_c": freezer.air,
        "air_humidity": freezer.air_humidity,
        "air_speed": freezer.air_speed,
        "tempering_hours": _band(told.tempering),
        "sublimation_mm_day": _band(told.sublimation),
        "carving_heat_mj": _band(told.heat.carving),
        "block_heat_mj": _round(told.heat.block),
        "event_c": freezer.event_air,
        "event_humidity": freezer.event_humidity,
        "event_loss_mm_h": _band(told.display.loss_mm_h),
        "event_detail_hours": _band(told.display.detail_hours),
        "event_wall_hours": _band(told.display.wall_hours),
    }


def machine_hours(paths: Sequence[Toolpath]) -> list[dict[str, Any]]:
    """Return hours that each machine to start from takes for the same stages, feeds as they are.

    With starts of the spindle and changes of the bit, without snow and warm-up.
    """
    found = []
    for profile in PROFILES:
        machine = machine_like(profile)
        seconds = sum(runtime(path, machine).total + machine.spindle.start for path in paths)
        seconds += machine.bit_change * (len(paths) - 1)
        found.append({"name": profile, "minutes": _round(seconds / S_PER_MIN)})
    return found


def drafted_hours(scene: Scene, stages: Sequence[Drafted]) -> dict[str, Any]:
    """Return hours and keeping of a draft."""
    job = scene.job
    works = [Work(seconds=done.seconds, ice_litres=done.ice_litres) for done in stages]
    times = time_records(works, job)
    return {
        "icecam": __version__,
        "sculpture": scene.placed.mesh.file,
        "planned": False,
        "stages": [
            {"name": done.stage.name, "time": time}
            for done, time in zip(stages, times, strict=True)
        ],
        "totals": hours_totals(times, job),
        "machines": machine_hours([done.path for done in stages]),
        "keeping": keeping_record(scene, times),
    }


def folder_hours(folder: Path) -> dict[str, Any]:
    """Return hours and keeping as the summary of a finished folder tells them.

    Raises
    ------
    OutputError : a folder without a summary of ours, or of an older one without hours
    """
    file = folder / "summary.json"
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise OutputError(
            f"{folder} holds no summary.json; name a folder that `icecam carve` made, or a mesh"
        ) from None
    except (OSError, ValueError) as fault:
        raise OutputError(
            f"{file} cannot be read as a summary ({fault}); carve the job again"
        ) from None
    try:
        record = {
            "icecam": told["icecam"],
            "sculpture": told["sculpture"]["file"],
            "planned": True,
            "stages": [
                {"name": stage["name"], "time": {key: _number(stage["time"][key]) for key in TIME}}
                for stage in told["stages"]
            ],
            "totals": {key: _number(told["hours"][key]) for key in TOTALS},
            "machines": [
                {"name": str(machine["name"]), "minutes": _number(machine["minutes"])}
                for machine in told["machines"]
            ],
            "keeping": told["keeping"],
        }
        hours_text(record)  # what cannot be told is no record of ours
    except (KeyError, TypeError, ValueError, AttributeError):
        raise OutputError(
            f"{file} holds no hours: it is damaged, or an older version wrote it; carve the job "
            "again"
        ) from None
    return record


def _number(value: object) -> int | float:
    """Return what must be a number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    return value


def _lift(caution: LiftingCaution) -> dict[str, Any]:
    return {
        "mass_kg": _round(caution.mass_kg),
        "weight_limit_kg": _round(caution.weight_limit_kg),
        "lifting_index": _round(caution.lifting_index),
        "people": caution.people,
    }


def _band(band: Band[float]) -> dict[str, float | None]:
    """Return a band; null where there is no end to it."""
    ends = {"low": band.low, "best": band.best, "high": band.high}
    return {name: _round(value) if math.isfinite(value) else None for name, value in ends.items()}


def _round(value: float) -> float:
    return round(float(value), _DIGITS)
