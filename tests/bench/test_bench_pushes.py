"""How hard every stage pushes on each thin wall of the demo sculptures, against what it bears.

The strength of ice and the push of a cut are held to their sources in tests/ice, what a wall bears
to beam theory in tests/estimate.
"""

import numpy as np
import pytest
from rich.console import Console
from rich.table import Table

from icecam.estimate.pushes import borne_beside
from tests.bench.demos import carved

NEAREST = 8
"""Walls in the table: those whose pushes come nearest to what they bear."""


@pytest.mark.long
@pytest.mark.parametrize("name", ["crane", "panel"])
def test_no_push_is_more_than_its_wall_surely_bears(name: str) -> None:
    result = carved(name)
    table = Table("stage", "wall mm", "at z", "bears N", "most push N", "pushes", title=name)
    rows = []
    for done in result.stages:
        series = done.load.series
        beside = borne_beside(series, done.path, done.stage, result.walls)
        for k in np.unique(beside.wall[series.telling & (beside.wall >= 0)]).tolist():
            here = series.telling & (beside.wall == k)
            bears, push = float(beside.force[here][0]), float(series.side_force.high[here].max())
            wall = f"{result.walls.thickness[k]:.1f}", f"{result.walls.z[k]:.0f}"
            told = done.stage.name[:18], *wall, f"{bears:.1f}", f"{push:.1f}", str(here.sum())
            rows.append((push / bears, told))
    for _, told in sorted(rows, reverse=True)[:NEAREST]:
        table.add_row(*told)
    Console(width=100).print(table)
    assert len(rows) > 10
    assert max(share for share, _ in rows) <= 1.0
