"""Job files from anywhere: taken, or refused in one sentence that names the file.

Ten thousand damaged files with `-m long`, else 500; likewise tables of heights.
"""

from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest

from icecam.errors import JobError
from icecam.geometry.field import cells
from icecam.geometry.precut import read_remains
from icecam.job.checks import problems
from icecam.job.file import default_text, load
from icecam.job.records import Block, Precut
from icecam.job.text import job_text
from tests.damage import damaged
from tests.job.content import defaults, toml

TABLE: Final = b"y \\ x,0,250,500,1016\n0,180,254,254,254\n300,180,230,,254\n508,170,200,254,254\n"
TABLES: Final = (TABLE, TABLE.replace(b",", b";").replace(b"180", b"180,5"))


def try_jobs(folder: Path, count: int, seed: int) -> None:
    """What is taken holds no contradiction, and says the same when written and read again."""
    files = [default_text().encode(), toml(defaults()).encode()]
    random, path, taken = np.random.default_rng(seed), folder / "job.toml", 0
    for _ in range(count):
        path.write_bytes(damaged(files, random)[1])
        try:
            job = load(path)
        except JobError as refusal:
            told = str(refusal)
            assert told.startswith(f"{path}: ")
            assert len(told.splitlines()) == 1
            continue
        taken += 1
        assert problems(job) == ()
        again = folder / "again.toml"
        again.write_text(job_text(job), encoding="utf-8")
        assert load(again) == job
    assert 0.02 * count < taken < 0.98 * count


def test_damaged_jobs(tmp_path: Path) -> None:
    try_jobs(tmp_path, 500, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_damaged_jobs(seed: int, tmp_path: Path) -> None:
    try_jobs(tmp_path, 1000, seed)


def try_tables(folder: Path, count: int, seed: int) -> None:
    random, path, taken = np.random.default_rng(seed), folder / "left.csv", 0
    block = Block(size=(1016.0, 508.0, 254.0), temperature=-10.0, floor=12.0)
    block = replace(block, precut=Precut(heights=str(path)))
    for _ in range(count):
        path.write_bytes(damaged(TABLES, random)[1])
        try:
            heights = read_remains(block).heights(cells(block.size[:2], 20.0), 5.0).heights
        except JobError as refusal:
            told = str(refusal)
            assert len(told.splitlines()) == 1
            assert "left.csv" in told
            continue
        taken += 1
        assert not np.isnan(heights).any()
        assert heights.max() <= block.size[2] + 1e-9
    assert 0.02 * count < taken < 0.98 * count


def test_damaged_tables_of_heights(tmp_path: Path) -> None:
    try_tables(tmp_path, 500, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_damaged_tables(seed: int, tmp_path: Path) -> None:
    try_tables(tmp_path, 1000, seed)
