"""The largest that is asked for: what it holds and how long it takes. Long, minutes each.

Measured against 6 GB, and against what `icecam.memory` foretells.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import TextIO

import numpy as np
import pytest

from icecam.job.file import load
from icecam.memory import Sizes, needed_bytes, nodes_of
from tests.bench.figures import Figure, Note
from tests.bench.scenes import DEEP, WIDE, block_relief

MOST_GB = 6.0
OWL = Path(__file__).parents[2] / "models" / "owl.stl"
LARGE = """
[block]
size = [2000, 1000, 500]
floor = 200
[sculpture]
up = "front"
scale = 1.5
[machine]
travel = [2200, 1200, 700]
"""


def run(*arguments: str) -> tuple[float, float]:
    """Run the command; return its seconds and the most memory (GB) that it held."""
    begun = time.perf_counter()
    command = [sys.executable, "-m", "icecam.cli", *arguments]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return time.perf_counter() - begun, usage.ru_maxrss / 1e6


def note(figure: Note, what: str, took: float, held: float, sizes: Sizes) -> None:
    """Write a row each for seconds, memory, and memory as foretold."""
    figure(Figure(what, took, 1500.0))
    figure(Figure("most memory of it", held, MOST_GB, "GB"))
    figure(Figure("as foretold", needed_bytes(sizes) / 1e9, MOST_GB, "GB"))
    assert held <= MOST_GB
    assert 0.75 * held <= needed_bytes(sizes) / 1e9 <= 1.8 * held


@pytest.mark.long
def test_five_million_triangles(figure: Note, tmp_path: Path) -> None:
    file, out = tmp_path / "relief.stl", tmp_path / "cut"
    block_relief(5_000_000).export(file)
    took, held = run("carve", str(file), "--fit", "--all-bits", "--out", str(out))
    told = json.loads((out / "summary.json").read_text())
    count = told["sculpture"]["triangles"]
    assert count >= 5_000_000
    nodes = nodes_of(load(None), WIDE, DEEP)
    sizes = Sizes(cells=5_738_000, cell=0.3, triangles=count, nodes=nodes)
    assert told["proof"]["cell_mm"] == sizes.cell
    note(figure, "5 M triangles, whole block, --all-bits", took, held, sizes)


@pytest.mark.long
def test_block_of_two_metres(figure: Note, tmp_path: Path) -> None:
    """Its cells are chosen by their number, so it holds no more than a small one."""
    job, out = tmp_path / "job.toml", tmp_path / "cut"
    job.write_text(LARGE)
    took, held = run("carve", str(OWL), "--job", str(job), "--out", str(out))
    told = json.loads((out / "summary.json").read_text())
    wide, deep, _ = told["sculpture"]["size_mm"]
    assert told["proof"]["cell_mm"] == 0.58
    nodes = nodes_of(load(job), wide, deep)
    sizes = Sizes(cells=5_945_000, cell=0.58, triangles=118_000, nodes=nodes)
    note(figure, "block 2000 x 1000 x 500 mm, owl 1.5 times", took, held, sizes)


@pytest.mark.long
@pytest.mark.parametrize("page", [False, True])
def test_twenty_million_moves(figure: Note, tmp_path: Path, page: bool) -> None:
    """Rows of moves of 0.1 mm over the whole block, in the form of any other hand."""
    file, job, rows, along = tmp_path / "rows.ngc", tmp_path / "job.toml", 2000, 10_000
    job.write_text("")
    with file.open("w") as text:
        write_rows(text, rows, along)
    asked = ("--out", str(tmp_path / "checked")) if page else ()
    took, held = run("check", str(file), "--job", str(job), "--bits", "half-inch ball", *asked)
    moves = rows * along
    sizes = Sizes(cells=5_738_000, cell=0.3, moves=moves, stretches=moves // 15)
    note(figure, f"check of 20 M moves{' with its page' if page else ''}", took, held, sizes)
    if page:
        length = (tmp_path / "checked" / "job.html").stat().st_size
        figure(Figure("its page", length / 1e6, 25.0, "MB"))


def write_rows(text: TextIO, rows: int, along: int) -> None:
    """Write waves of 2 mm, to and fro, 2 to 6 mm below the top of the default block."""
    text.write("%\nG21 G17 G90 G94\nT1 M6\nS18000 M3\nG0 Z260\nG0 X0 Y1\nG1 Z252 F2700\n")
    for row, y in enumerate(np.linspace(1.0, 507.0, rows).tolist()):
        x = np.linspace(0.0, 1016.0, along)[:: 1 if row % 2 == 0 else -1]
        z = 250.0 + np.sin(x / 30) * np.cos(y / 40) + 0.02 * np.sin(7 * x)
        text.write(f"Y{y:.3f} F9000\n")
        moves = zip(x.tolist(), z.tolist(), strict=True)
        text.writelines(f"X{at:.3f} Z{high:.3f}\n" for at, high in moves)
    text.write("G0 Z260\nM5\nM2\n%\n")
