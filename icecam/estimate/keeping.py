"""What a block and a piece ask of people and rooms: a job and a volume in, one answer each out.

All formulas are those of `icecam.ice`; here they are asked with the values of the job.
"""

from dataclasses import dataclass
from typing import Final

from icecam.ice.band import Band
from icecam.ice.display import EventAir, display_hours, melting_rate_mm_h
from icecam.ice.freezer import carving_heat_mj, cooling_heat_mj, sublimation_mm_per_day
from icecam.ice.handling import Lift, LiftingCaution, block_mass_kg, lifting_caution, mass_kg
from icecam.ice.keeping_constants import (
    DETAIL_DEPTH,
    FILM_DOUBT,
    FREEZER_FILM,
    TEMPERING_FILM,
    WALL_THICKNESS,
)
from icecam.ice.sourced import Sourced
from icecam.ice.tempering import tempering_time
from icecam.job.records import AirSpeed, Freezer, Job

S_PER_HOUR: Final = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Heat the freezer's cooling must take away, MJ (3.6 to a kWh).

    carving : router, lights and people while the machine runs; block : from store to carving
    temperature, below 0 if the block comes in colder and cools the room
    """

    carving: Band[float]
    block: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """The piece at the event: mm/h that each face loses, h until things are gone (inf: never)."""

    loss_mm_h: Band[float]
    detail_hours: Band[float]
    wall_hours: Band[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """All answers; piece_lift is None for a mesh that is not closed, whose volume nobody knows.

    tempering : h; sublimation : mm/day
    """

    block_lift: LiftingCaution
    piece_lift: LiftingCaution | None
    tempering: Band[float]
    sublimation: Band[float]
    heat: Heat
    display: Display


def block_kg(job: Job, gone: float) -> float:
    """Mass of the block before carving (kg); `gone` mm3 of it were taken off before."""
    temperature = job.block.temperature
    return block_mass_kg(job.block.size, temperature) - mass_kg(gone, temperature)


def block_caution(job: Job, gone: float) -> LiftingCaution:
    """Mass of the block and who may lift it, see `icecam.ice.handling.lifting_caution`."""
    return lifting_caution(block_kg(job, gone), Lift())


def piece_caution(job: Job, volume: float) -> LiftingCaution:
    """Mass of the carved piece of a volume (mm3), sawn free, and who may lift it."""
    return lifting_caution(mass_kg(volume, job.block.temperature), Lift())


def film(whole: Sourced, speed: AirSpeed) -> Band[float]:
    """Heat transfer of air that moves so: W/m2/K.

    Parameters
    ----------
    whole : its low end stands for still air, its value for a light fan, its high end for a blower

    Notes
    -----
    The doubt about each is assumed.

    >>> film(FREEZER_FILM, "light fan").best
    10.0
    """
    best = {"still": whole.low, "light fan": whole.value, "blower": whole.high}[speed]
    return Band(low=best / FILM_DOUBT.value, best=best, high=best * FILM_DOUBT.value)


def tempering_hours(job: Job) -> Band[float]:
    """Hours until the middle of the block is within 1 K of the air of the carving room.

    From the temperature of the store, with air on both sides of its least thickness; see
    `icecam.ice.tempering.tempering_time`.
    """
    freezer = job.freezer
    time = tempering_time(
        min(job.block.size), freezer.storage, freezer.air,
        film_w_m2_k=film(TEMPERING_FILM, freezer.air_speed),
    )  # fmt: skip
    return time.each(lambda seconds: seconds / S_PER_HOUR)


def sublimation(freezer: Freezer) -> Band[float]:
    """Thickness (mm) that each bare face loses in a day in the carving room."""
    wet = freezer.air_humidity
    return sublimation_mm_per_day(
        freezer.air,
        film_w_m2_k=film(FREEZER_FILM, freezer.air_speed),
        humidity=Band(low=wet, best=wet, high=wet),
    )


def room_heat(job: Job, seconds: float, gone: float) -> Heat:
    """Heat that carving for so many seconds and a block from the store bring into the room."""
    mass = block_kg(job, gone)
    return Heat(
        carving=carving_heat_mj(seconds, people=job.freezer.people),
        block=cooling_heat_mj(mass, job.freezer.storage, job.block.temperature),
    )


def display(job: Job, height: float) -> Display:
    """How long a piece with faces of a height (mm) lasts at the event.

    Detail is gone when a face has lost `DETAIL_DEPTH`, a wall when both sides have met; see
    `icecam.ice.display`. Counted from when the surface is wet.
    """
    wet = job.freezer.event_humidity
    air = EventAir(temperature=job.freezer.event_air, humidity=Band(low=wet, best=wet, high=wet))
    return Display(
        loss_mm_h=melting_rate_mm_h(air, height),
        detail_hours=display_hours(DETAIL_DEPTH.value, 1, air, height),
        wall_hours=display_hours(WALL_THICKNESS.value, 2, air, height),
    )


def keeping(
    job: Job, *, volume: float | None, height: float, seconds: float, gone: float = 0.0
) -> Keeping:
    """All answers for a piece.

    Parameters
    ----------
    volume : mm3 of the sculpture; None if its mesh is not closed
    height : mm, of its faces as it is shown
    seconds : the machine runs
    gone : mm3 taken off the block before
    """
    return Keeping(
        block_lift=block_caution(job, gone),
        piece_lift=None if volume is None else piece_caution(job, volume),
        tempering=tempering_hours(job),
        sublimation=sublimation(job.freezer),
        heat=room_heat(job, seconds, gone),
        display=display(job, height),
    )
