"""The cutting energy that holds for a job: from the user's own readings, or the usual one."""

from icecam.ice.band import Band
from icecam.ice.calibration import PowerReading, energy_of_readings
from icecam.ice.cutting import USUAL_ENERGY
from icecam.job.records import Job, Reading


def power_reading(reading: Reading) -> PowerReading:
    """Return a reading of the job as the ice model takes it."""
    return PowerReading(
        cutting_w=reading.cutting_w,
        idle_w=reading.idle_w,
        spindle_rpm=reading.spindle_rpm,
        flutes=reading.flutes,
        diameter=reading.diameter,
        feed=reading.feed,
        depth=reading.depth,
        width=reading.width,
        temperature=reading.temperature,
    )


def energy_of(job: Job) -> Band[float]:
    """Return the specific cutting energy at the reference point (MPa), as a checked job has it."""
    if not job.ice.calibrate:
        return USUAL_ENERGY
    return energy_of_readings([power_reading(each) for each in job.ice.calibrate])
