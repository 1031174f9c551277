"""What ice may do under these files, in plain words, and what to change."""

from collections.abc import Iterator
from typing import Final

from icecam.check import BareResult, Checked
from icecam.ice.limits import chip_temperature
from icecam.job.bits import tip_size
from icecam.job.energy import energy_of
from icecam.job.records import Job
from icecam.plan import Result
from icecam.proving import StageResult

NOT_PLANNED: Final = (
    "these files were not planned here: step-down, rows, skin and T numbers are told as the job "
    "has them, not as they stand in the files"
)

HELD: Final = 1e-6
"""A chip load less than asked by a smaller share than this is rounding."""


def warnings_of(result: Result | BareResult) -> tuple[str, ...]:
    """Return one sentence for each thing that may go wrong; none is a fault of the files."""
    job = result.scene.job
    found = [*_cold(job), *_skin(job)]
    if isinstance(result, Checked | BareResult):
        found.append(NOT_PLANNED)
    for stage in result.stages:
        name = stage.stage.name
        told = (*_chips(stage, job), *_snow(stage, job))
        found += [f"{name}: {words}" for words in told]
    return tuple(found)


def _cold(job: Job) -> Iterator[str]:
    """Compare the block's temperature with what ice takes well."""
    block, ice = job.block, job.ice
    if block.temperature > ice.too_warm:
        yield (
            f"ice at {block.temperature:g} C is warmer than {ice.too_warm:g} C: snow sticks and "
            "packs the flutes; let the block get colder before it is cut"
        )
    if block.temperature < ice.too_cold:
        yield (
            f"ice at {block.temperature:g} C is colder than {ice.too_cold:g} C: edges spall and "
            "thin parts crack; let the block warm up slowly before it is cut"
        )


def _skin(job: Job) -> Iterator[str]:
    """Say that roughing leaves no more than what counts as done."""
    if job.roughing.skin <= job.quality.detail:
        yield (
            f"roughing.skin of {job.roughing.skin:g} mm is no more than quality.detail of "
            f"{job.quality.detail:g} mm, so finishing bits leave what roughing left, and its steps "
            "stay on the piece; give more skin, or less for detail"
        )


def _chips(stage: StageResult, job: Job) -> Iterator[str]:
    """Name chips that rub and chips that melt."""
    planned = stage.stage
    if planned.chip < job.ice.least_chip:
        yield (
            f"chips of {planned.chip:.3f} mm a tooth are thinner than {job.ice.least_chip:g} mm: "
            "the edges rub and melt; lower rack.spindle_rpm or take a bit with fewer flutes"
        )
    asked = planned.bit.chip_load
    if asked is not None and planned.chip < asked * (1 - HELD):
        yield (
            f"chips of {planned.chip:.3f} mm a tooth instead of rack.chip_load of {asked:g} mm: "
            "the machine goes no faster; lower rack.spindle_rpm for the whole chip"
        )
    warm = chip_temperature(stage.load.chip_mean, job.block.temperature, energy_of(job))
    if warm.best >= 0.0:
        yield (
            f"mean chips of {stage.load.chip_mean:.3f} mm would melt and pack the flutes; lower "
            "rack.spindle_rpm for thicker ones, or cut colder ice"
        )


def _snow(stage: StageResult, job: Job) -> Iterator[str]:
    """Name the groove that snow does not leave."""
    groove = stage.groove
    if groove is None:
        return
    deep = groove.depth / tip_size(stage.stage.bit)
    if deep > job.ice.deep_slot:
        x, y, z = groove.at
        yield (
            f"a groove {groove.depth:.0f} mm deep, {deep:.1f} bit diameters (more than "
            f"{job.ice.deep_slot:g}), at x {x:.0f}, y {y:.0f}, z {z:.0f} mm: snow does not leave "
            "it by itself; stop there and brush or blow it out"
        )
