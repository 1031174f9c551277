"""Folders to go on with: carved once a session, on coarse cells, with few bits."""

from dataclasses import replace
from pathlib import Path

import pytest

from icecam import cli
from icecam.job.file import load
from icecam.job.records import Job
from icecam.job.text import job_text
from icecam.resume.folder import CutFolder, read_folder

ROOT = Path(__file__).parents[2]


def _tile() -> Job:
    job = load(ROOT / "models" / "lantern-tile.toml")
    kept = ("half-inch flat", "half-inch ball", "eighth-inch tapered ball")
    return replace(
        job,
        quality=replace(job.quality, scallop=0.3, detail=0.8, cell=0.8, bits="all"),
        rack=tuple(bit for bit in job.rack if bit.name in kept),
    )


def _carved(job: Job, place: Path) -> Path:
    file = place / "job.toml"
    file.write_text(job_text(job), encoding="utf-8")
    mesh = str(ROOT / "models" / "panel.stl")
    out = place / "cut"
    assert cli.main(["carve", mesh, "--job", str(file), "--out", str(out)]) == cli.CLEAN
    return out


@pytest.fixture(scope="session")
def tile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo tile by three bits."""
    return _carved(_tile(), tmp_path_factory.mktemp("tile"))


@pytest.fixture(scope="session")
def inches(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A smaller tile, all in one numbered file in inches, zero on top of the block."""
    job = _tile()
    block = replace(job.block, size=(100.0, 80.0, 40.0), zero=(50.0, 40.0, 40.0))
    output = replace(job.output, dialect="numbered-inch", one_file=True)
    job = replace(job, block=block, output=output, rack=job.rack[:2])
    return _carved(job, tmp_path_factory.mktemp("inches"))


@pytest.fixture(scope="session")
def tile_folder(tile: Path) -> CutFolder:
    return read_folder(tile)


@pytest.fixture(scope="session")
def inch_folder(inches: Path) -> CutFolder:
    return read_folder(inches)
