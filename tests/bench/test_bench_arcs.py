"""What arcs save: lines, bytes and minutes of each stage, written with and without them.

A controller that reads few lines a second gains most, so minutes stand for the machine of the job
and for one of 30 lines a second (judgement: an old controller fed over a serial line).
"""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console
from rich.table import Table

from icecam.estimate.runtime import runtime
from icecam.job.file import load
from icecam.job.records import Job
from icecam.paths.toolpath import CUT, Toolpath
from icecam.plan import Result, carve_stages, set_up
from icecam.proving import StageResult
from icecam.units import S_PER_MIN
from post import dialect as dialects
from post.reader import read
from post.writer import Header, write
from tests.bench.figures import Figure, Note

MODELS = Path(__file__).parents[2] / "models"
SLOW_RATE = 30.0
HEADS = (
    "stage",
    "lines",
    "with arcs",
    "saved",
    "arcs",
    "kB",
    "with",
    "min",
    "with",
    "slow",
    "with",
)


def owl() -> tuple[str, Job]:
    """The owl lying on its back in the default block."""
    job = load(None)
    return "owl.stl", replace(job, sculpture=replace(job.sculpture, up="front"))


def tile() -> tuple[str, Job]:
    """The sample job."""
    return "panel.stl", load(MODELS / "lantern-tile.toml")


def straight(done: StageResult, job: Job) -> bytes:
    """Return the text of a stage without arcs."""
    path = done.planned.moved((-job.block.zero[0], -job.block.zero[1], -job.block.zero[2]))
    header = Header(
        comments=(),
        tool=1,
        spindle_rpm=done.stage.spindle_rpm,
        spindle_start=job.machine.spindle.start,
        clearance_z=float(done.path.start[2]) - job.block.zero[2],
    )
    return write(path, header, dialects.load(job.output.dialect), unit=job.output.unit)


def rows_of(result: Result) -> Iterator[tuple[str, list[float]]]:
    """One row a stage: its name, then figures in the order of the heads."""
    job = result.scene.job
    slow = replace(job.machine, block_rate=SLOW_RATE)
    for done in result.stages:
        text, plain = done.file.text, straight(done, job)
        before = read(plain).toolpath
        lines, fewer = (len(np.unique(path.line)) for path in (before, done.path))
        minutes = [
            runtime(path, machine).total / S_PER_MIN
            for machine in (job.machine, slow)
            for path in (before, done.path)
        ]
        saved = 100 * (1 - fewer / lines)
        sizes = [len(plain) / 1e3, len(text) / 1e3]
        yield done.stage.name, [lines, fewer, saved, done.arcs, *sizes, *minutes]


@pytest.mark.long
@pytest.mark.parametrize("scene", [owl, tile], ids=["owl", "tile"])
def test_lines_and_minutes_with_and_without(scene: type) -> None:
    """Measured alone; what must hold is that files are clean and no stage has more lines."""
    file, job = scene()
    result = carve_stages(set_up(MODELS / file, job))
    table = Table(*HEADS, title=file)
    for stage, figures in rows_of(result):
        table.add_row(stage[:16], *(f"{figure:.4g}" for figure in figures))
        assert figures[1] <= figures[0]
    Console(width=110).print(table)
    assert result.clean


def spiral(count: int) -> Toolpath:
    """Cuts of about 0.3 mm on a spiral around the work zero."""
    share = np.arange(count + 1)
    radius = np.sqrt(20.0**2 + 0.02 * share)
    angle = 0.3 * np.cumsum(1 / radius)
    points = np.column_stack(
        [radius * np.cos(angle), radius * np.sin(angle), np.full(count + 1, 5)]
    )
    return Toolpath(
        start=points[0],
        ends=points[1:],
        kind=np.full(count, CUT, np.int8),
        feed=np.full(count, 50.0),
        line=np.zeros(count, np.int32),
    )


def test_cost_of_finding_arcs(figure: Note) -> None:
    """Two million moves that are all arcs, and how cost grows with their number."""
    header = Header(
        comments=(), tool=1, spindle_rpm=9000, spindle_start=0, clearance_z=5, arc_tolerance=0.02
    )
    plain = dialects.load("plain")
    write(spiral(100), header, plain)
    took = []
    for count in (250_000, 2_000_000):
        path = spiral(count)
        began = time.perf_counter()
        text = write(path, header, plain)
        took.append(time.perf_counter() - began)
        assert text.count(b"\n") < count / 10
    figure(Figure("write 2 M moves as arcs", took[1], 5.0))
    figure(Figure("the same over the time for an eighth of them", took[1] / took[0], 12.0, ""))
