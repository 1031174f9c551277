"""A job written out is read back as the same job."""

from dataclasses import replace
from pathlib import Path

import pytest

from icecam.job.file import load
from icecam.job.records import Job, Precut, Sawn
from icecam.job.text import job_text
from tests.job.content import READING

MORE = f"""
[block]
corner = [10, 20]
zero = [-5, "1/3 in", 1e-05]
[machine]
profile = "heavy gantry"
block_rate = 1e3
[quality]
cell = 0.37
[ice]
calibrate = [{{{", ".join(f"{key} = {value}" for key, value in READING.items())}}}]
[output]
unit = "in"
arcs = false
"""


def _jobs(place: Path) -> list[Job]:
    (place / "more.toml").write_text(MORE)
    plain, more = load(None), load(place / "more.toml")
    sawn = Sawn(through=((150, 0, 0), (0, 100, 0), (0, 100, 254)), gone=(0, 0, 0))
    precut = Precut(sawn=(sawn, sawn), mesh=str(place / 'as "it" stands.stl'), file_unit="cm")
    return [
        plain,
        more,
        replace(plain, project='Été = "\\ ice" # 3', rack=plain.rack[:1]),
        replace(plain, block=replace(plain.block, precut=precut)),
    ]


@pytest.mark.parametrize("which", range(4))
def test_written_and_read_back(which: int, tmp_path: Path) -> None:
    job = _jobs(tmp_path)[which]
    file = tmp_path / "job.toml"
    file.write_text(job_text(job), encoding="utf-8")
    assert load(file) == job
