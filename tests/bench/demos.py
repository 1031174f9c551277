"""The demo sculptures carved whole by the default job, once for all benchmarks."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

from icecam.job.file import load
from icecam.job.records import Face, Job
from icecam.plan import Result, carve_stages, set_up

MODELS: Final = Path(__file__).parents[2] / "models"
FACES: Final[dict[str, Face]] = {"owl": "front", "crane": "front", "panel": "top"}


def job_of(face: Face) -> Job:
    """Return the default job for a sculpture whose `face` looks up."""
    job = load(None)
    return replace(job, sculpture=replace(job.sculpture, up=face))


@cache
def carved(name: str) -> Result:
    """Return a demo sculpture carved and proven."""
    return carve_stages(set_up(MODELS / f"{name}.stl", job_of(FACES[name])))
