"""How near the paths come to the least time a stage can take, as a table of every scene.

The least time of a stage knows no acceleration, no travel and no change of bit. It is held against
the time the machine moves; the time of the cuts at their feed, without what acceleration adds,
stands beside it. Roughing: what each move removes, at the step of its level or the depth it went if
that was more (beside thin walls levels lie closer for the collars alone), over stepover times feed.
Finishing: the area from which it takes more than half the tolerance, over stepover times feed. What
is left in corners and on steps, and is removed there layer by layer, is not counted, so a first
finishing bit lies far above.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import trimesh
from rich.console import Console
from rich.table import Table

from icecam.geometry.field import HeightField
from icecam.paths.toolpath import CUT, RAPID
from icecam.plan import Result, carve_stages, set_up
from icecam.prove.proof import slope_weight, thickness
from icecam.proving import StageResult
from icecam.units import S_PER_MIN
from tests.bench.demos import FACES, carved, job_of
from tests.plan.open_data import coins, mountains

RELIEFS: dict[str, Callable[[], trimesh.Trimesh]] = {
    "elevation": lambda: mountains(400.0, 80.0),
    "coins": lambda: coins(400.0, 30.0),
}
HEADS = (
    "stage", "min", "moving", "at feed", "least", "ratio", "air %", "travel %", "rises", "mean W",
    "p95 W", "peak W",
)  # fmt: skip


def least_minutes(done: StageResult, before: HeightField, result: Result) -> float:
    """Return the least minutes of a stage, see above."""
    stage, job, wanted = done.stage, result.scene.job, result.scene.wanted
    if stage.kind == "rough":
        path, carved = done.path, done.carved
        level = (path.kind == CUT) & (path.begins[:, 2] == path.ends[:, 2])
        z = np.unique(path.ends[level, 2])[::-1]
        steps = -np.diff(z, prepend=job.block.size[2])
        at = np.searchsorted(-z, -path.ends[:, 2] - 1e-9).clip(0, len(z) - 1)
        area = float((carved.removed / np.maximum(steps[at], carved.depth)).sum())
        return area / (stage.stepover * stage.feed) / S_PER_MIN
    taken = thickness(before.heights, wanted) - thickness(done.carved.ice.heights, wanted)
    over = np.nan_to_num(taken) > job.quality.detail / 2
    area = float(slope_weight(wanted.heights, wanted.grid.pitch)[over].sum()) * wanted.grid.pitch**2
    return area / (stage.stepover * stage.feed) / S_PER_MIN


def rows_of(result: Result) -> Iterator[tuple[str, list[float]]]:
    """One row a stage: its name, then figures in the order of the heads."""
    before = result.scene.ice
    for done in result.stages:
        path, lengths = done.path, done.path.lengths
        cut = path.kind == CUT
        air = float(lengths[cut & (done.carved.removed <= 0)].sum() / lengths[cut].sum())
        minutes, least = done.seconds.total / S_PER_MIN, least_minutes(done, before, result)
        moving = minutes - done.seconds.bit_change / S_PER_MIN
        at_feed = (done.seconds.cutting - done.seconds.slowed) / S_PER_MIN
        rises = int(((path.kind[1:] == RAPID) & (path.kind[:-1] == CUT)).sum())
        load = done.load
        yield done.stage.name, [
            minutes, moving, at_feed, least, moving / least if least else np.inf, 100 * air,
            100 * done.seconds.rapids / done.seconds.total, rises, load.mean.best,
            load.p95.best, load.peak.best,
        ]  # fmt: skip
        before = done.carved.ice


QUICK = "owl"
"""The one tried before a change lands; tests/plan carves smaller reliefs of the same data."""


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=() if name == QUICK else pytest.mark.long)
        for name in [*FACES, *RELIEFS]
    ],
)
def test_minutes_over_the_least_possible(name: str, tmp_path: Path) -> None:
    """Measured alone; what must hold is that the files are clean and hardly any ice is left."""
    if name in FACES:
        result = carved(name)
    else:
        file = tmp_path / f"{name}.stl"
        RELIEFS[name]().export(file)
        result = carve_stages(set_up(file, job_of("top")))
    table = Table(*HEADS, title=name)
    rows = list(rows_of(result))
    for stage, figures in rows:
        table.add_row(stage[:18], *(f"{figure:.1f}" for figure in figures))
    total, moving, at_feed, least = (sum(row[n] for _, row in rows) for n in range(4))
    left = result.left
    sums = (f"{minutes:.0f}" for minutes in (total, moving, at_feed, least))
    table.add_row("all", *sums, f"{moving / least:.1f}")
    table.caption = f"within tolerance {100 * left.within:.1f} %, 99 % of it {left.p99:.2f} mm"
    Console(width=110).print(table)
    assert result.clean
    assert left.within > 0.9
