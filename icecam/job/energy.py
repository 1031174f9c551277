"""The cutting energy that holds for a job: from the user's own readings, or the usual one."""

from icecam.ice.band import Band
from icecam.ice.calibration import PowerReading, energy_of_readings
from icecam.ice.cutting import USUAL_ENERGY
from icecam.job.records import Bit, Job, Reading


def power_reading(reading: Reading, bit: Bit) -> PowerReading:
    """Return a reading of the job with what its bit adds."""
    return PowerReading(
        cutting_w=reading.cutting_w,
        idle_w=reading.idle_w,
        spindle_rpm=reading.spindle_rpm,
        flutes=bit.flutes,
        diameter=bit.diameter,
        feed=reading.feed,
        depth=reading.depth,
        width=reading.width,
        temperature=reading.temperature,
    )


def energy_of(job: Job) -> Band[float]:
    """Return the specific cutting energy at the reference point (MPa), as a checked job has it."""
    if not job.ice.calibrate:
        return USUAL_ENERGY
    bits = {bit.name: bit for bit in job.rack}
    return energy_of_readings([power_reading(each, bits[each.bit]) for each in job.ice.calibrate])
