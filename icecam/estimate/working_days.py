"""From the machine's time to the calendar: snow to clear, a spindle to warm, days that end."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor

from icecam.errors import JobError
from icecam.estimate.runtime import StageSeconds
from icecam.job.records import Freezer

ROUNDING = 1e-9
"""Share of a day or of a stop that is rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """A stage by itself: s, and litres of ice it takes off."""

    seconds: StageSeconds
    ice_litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """Whole working days, and s on the day after."""

    days: int
    rest: float


def snow_litres(ice_litres: float, freezer: Freezer) -> float:
    """Litres of snow from litres of ice: times `snow_bulk`."""
    return ice_litres * freezer.snow_bulk


def snow_stops(stages: Sequence[Work], freezer: Freezer) -> tuple[int, ...]:
    """Count the stops to clear snow in each stage.

    Parameters
    ----------
    stages : in the order they run

    Returns
    -------
    one each time that `snow_stop_litres` have gathered, over all stages together

    >>> from icecam.job.file import load
    >>> seconds = StageSeconds(
    ...     cutting=0.0, slowed=0.0, rapids=0.0, dwells=0.0, bit_change=0.0, snow_stops=0.0
    ... )
    >>> works = [Work(seconds=seconds, ice_litres=litres) for litres in (30.0, 25.0)]
    >>> snow_stops(works, load(None).freezer)
    (1, 1)
    """
    gathered = [0.0]
    for stage in stages:
        gathered.append(gathered[-1] + snow_litres(stage.ice_litres, freezer))
    counts = [floor(litres / freezer.snow_stop_litres + ROUNDING) for litres in gathered]
    return tuple(after - before for before, after in pairwise(counts))


def with_people(stages: Sequence[Work], freezer: Freezer) -> tuple[StageSeconds, ...]:
    """Add to each stage its stops for snow and the warming of the spindle each morning.

    Parameters
    ----------
    stages : in the order they run, their seconds without snow and warming

    Returns
    -------
    seconds of each stage; a day's warming counts in the stage that the day begins with

    Raises
    ------
    JobError : warming that takes all of the working day
    """
    able = freezer.working_day - freezer.warm_up
    if able <= 0:
        raise JobError(
            f"warming the spindle takes {freezer.warm_up:g} s of a working day of "
            f"{freezer.working_day:g} s; give a longer freezer.working_day"
        )
    found, done, days = [], 0.0, 0
    for stage, stops in zip(stages, snow_stops(stages, freezer), strict=True):
        own = replace(stage.seconds, snow_stops=stops * freezer.snow_stop, warm_up=0.0)
        done += own.total
        begun = ceil(done / able - ROUNDING)
        found.append(replace(own, warm_up=(begun - days) * freezer.warm_up))
        days = begun
    return tuple(found)


def calendar(seconds: float, freezer: Freezer) -> Calendar:
    """Lay time, warming included, over working days.

    >>> from icecam.job.file import load
    >>> calendar(20 * 3600.0, load(None).freezer)
    Calendar(days=2, rest=14400.0)
    """
    if not seconds >= 0:
        raise JobError(f"work of {seconds:g} s; give a time that is not below 0")
    days = floor(seconds / freezer.working_day + ROUNDING)
    return Calendar(days=days, rest=max(0.0, seconds - days * freezer.working_day))
