"""What a job will hold: against what runs held, and refused before anything is begun."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam import cli
from icecam.errors import JobError, TextError
from icecam.estimate.stretches import Taken, join
from icecam.job.file import load
from icecam.memory import (
    MOST_BYTES,
    Sizes,
    block_sizes,
    check_memory,
    check_texts,
    needed_bytes,
    nodes_of,
    stretches_of,
)
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import cell_for

PANEL = Path(__file__).parents[1] / "models" / "panel.stl"


@pytest.mark.parametrize(
    ("sizes", "measured_mb"),
    [
        (Sizes(cells=890_000, cell=0.3, triangles=200_000, nodes=70_000), 588),
        (Sizes(cells=12_500_000, cell=0.08, triangles=200_000, nodes=70_000), 1720),
        (Sizes(cells=890_000, cell=0.3, triangles=200_000, nodes=7_280_784), 1813),
        (Sizes(cells=5_740_000, cell=0.3, triangles=118_000, nodes=602_000), 1441),
        (Sizes(cells=5_738_000, cell=0.3, triangles=5_012_814, nodes=4_721_552), 2960),
        (Sizes(cells=5_740_000, cell=0.3, moves=2_000_000, stretches=136_000), 864),
        (Sizes(cells=5_740_000, cell=0.3, moves=20_000_000, stretches=1_360_000), 5176),
    ],
)
def test_what_runs_held(sizes: Sizes, measured_mb: float) -> None:
    """Peak of the process as the system told it, whole runs on x86-64 Linux, Python 3.11."""
    assert 0.75 * measured_mb <= needed_bytes(sizes) / 1e6 <= 1.6 * measured_mb


def test_the_usual_jobs_are_taken() -> None:
    """The default block at its own cells with a mesh of five million triangles, twice as fine."""
    job = load(None)
    sizes = block_sizes(job, cell_for(job))._replace(triangles=5_000_000)
    check_memory(sizes._replace(nodes=nodes_of(job, 996.0, 488.0)))
    fine = replace(job, quality=replace(job.quality, scallop=0.05))
    check_memory(sizes._replace(nodes=nodes_of(fine, 996.0, 488.0)))


@pytest.mark.parametrize("cell", [0.01, 0.05, 0.09])
def test_the_cell_that_is_told_fits(cell: float) -> None:
    job = load(None)
    with pytest.raises(JobError, match=r"GB of memory.*set quality\.cell to") as told:
        check_memory(block_sizes(job, cell)._replace(triangles=1000))
    wider = float(re.findall(r"quality\.cell to ([\d.]+) mm", str(told.value))[0])
    assert cell < wider <= 0.13
    check_memory(block_sizes(job, wider)._replace(triangles=1000))


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        (Sizes(cells=1000, cell=1.0, nodes=300_000_000), "larger quality.scallop"),
        (Sizes(cells=1000, cell=1.0, triangles=90_000_000), "million or fewer"),
        (Sizes(cells=1000, cell=1.0, moves=90_000_000), r"in parts of 24\.8 million"),
    ],
)
def test_what_takes_most_is_named(sizes: Sizes, words: str) -> None:
    with pytest.raises(JobError, match=words) as told:
        check_memory(sizes)
    assert f"{needed_bytes(sizes) / 1e9:.1f} GB" in str(told.value)
    assert needed_bytes(sizes) > MOST_BYTES


def test_more_of_anything_needs_more() -> None:
    least = Sizes(cells=1, cell=1.0)
    for name in ("cells", "triangles", "nodes", "moves", "stretches"):
        assert needed_bytes(least._replace(**{name: 2_000_000})) > needed_bytes(least)


@given(st.integers(2, 300), st.floats(0.05, 3.0), st.integers(0, 2**31))
def test_stretches_are_no_more_than_foretold(count: int, size: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    steps = random.normal(0, size, (count, 3)) * random.integers(0, 2, (count, 3))
    kind = (random.random(count) < 0.9).astype(np.int8)
    path = Toolpath(
        start=np.zeros(3),
        ends=np.cumsum(steps, axis=0),
        kind=kind,
        feed=np.where(kind == 1, 1.0, np.nan),
        line=np.arange(1, count + 1, dtype=np.int32),
    )
    ones = np.ones(count)
    found = join(path, ones, Taken(ones, ones, ones, 0.3))
    assert len(found.first) <= stretches_of(path, 0.3)


@pytest.mark.parametrize(("key", "value"), [("cell", 0.02), ("scallop", 0.0015)])
def test_the_command_refuses_before_it_begins(
    key: str, value: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, out = tmp_path / "job.toml", tmp_path / "cut"
    file.write_text(f"[sculpture]\nfit = true\n[quality]\n{key} = {value}\n")
    assert cli.main(["carve", str(PANEL), "--job", str(file), "--out", str(out)]) == cli.BAD_INPUT
    said = capsys.readouterr().err
    assert "GB of memory" in said
    assert f"quality.{key}" in said
    assert not out.exists()


def test_texts_too_long_are_not_read(tmp_path: Path) -> None:
    """A file with a hole: as long as it says, and empty."""
    file = tmp_path / "long.ngc"
    with file.open("wb") as opened:
        opened.truncate(1_200_000_000)
    with pytest.raises(TextError, match=r"long\.ngc hold 1200 MB and at most 1000 MB"):
        check_texts([file])
