"""The whole chain as a sculptor runs it: a million triangles, and the first run ever."""

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.bench.figures import Figure, Note
from tests.bench.scenes import block_relief

MODELS = Path(__file__).parents[2] / "models"


def icecam(*arguments: str, **environment: str) -> tuple[float, float]:
    """Run the command; return seconds and the most memory (GB) it or one before it held."""
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "icecam.cli", *arguments],
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    took = time.perf_counter() - begun
    assert done.returncode == 0, done.stderr + done.stdout
    return took, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6


def test_help(figure: Note) -> None:
    icecam("--help")
    figure(Figure("icecam --help", icecam("--help")[0], 0.3))


@pytest.mark.long
def test_first_run_ever(figure: Note, tmp_path: Path) -> None:
    """Kernels are compiled into a folder that was empty."""
    owl, out = str(MODELS / "owl.stl"), str(tmp_path / "cut")
    took, _ = icecam("carve", owl, "--up", "front", "--out", out, NUMBA_CACHE_DIR=str(tmp_path))
    figure(Figure("first run ever, owl, compiling included", took, 90.0))


SMALL = "[block]\nsize = [200, 100, 50]\n"
MILLION = 1_000_000


@pytest.mark.parametrize(
    ("job", "triangles", "choice", "aim"),
    [
        (SMALL, MILLION // 25, "--all-bits", 10.0),
        pytest.param("", MILLION, "--all-bits", 120.0, marks=pytest.mark.long),
        pytest.param("", MILLION, "", 120.0, marks=pytest.mark.long),
    ],
)
def test_a_relief_that_fills_the_block(
    figure: Note, tmp_path: Path, job: str, triangles: int, choice: str, aim: float
) -> None:
    """Start to end with the proof: every bit, and bits chosen; a fifth as large on the way."""
    file, out = tmp_path / "relief.stl", tmp_path / "cut"
    (tmp_path / "job.toml").write_text(job)
    block_relief(triangles).export(file)
    arguments = ["--job", str(tmp_path / "job.toml"), "--fit", "--out", str(out)]
    took, memory = icecam("carve", str(file), *arguments, *choice.split())
    told = json.loads((out / "summary.json").read_text())
    assert told["sculpture"]["triangles"] >= triangles * 0.99
    assert told["proof"]["cell_mm"] <= 0.3
    assert len(told["stages"]) + len(told["spared_bits"]) == 5
    wide = told["block"]["size_mm"][0]
    what = f"{triangles} triangles, block {wide:g} mm wide, {choice or 'bits chosen'}"
    figure(Figure(what, took, aim))
    figure(Figure("most memory of it", memory, 3.0, "GB"))


CHAIN = """
import sys
from dataclasses import replace
from pathlib import Path
from icecam.job.file import load
from icecam.plan import carve_stages, set_up

job = load(None)
job = replace(job, sculpture=replace(job.sculpture, fit=True))
result = carve_stages(set_up(Path(sys.argv[1]), job))
assert result.clean and len(result.files()) == 5
print(sum(stage.seconds.total for stage in result.stages) / 3600, "hours of machine time")
"""


@pytest.mark.long
def test_from_the_mesh_to_proven_files_and_their_hours(figure: Note, tmp_path: Path) -> None:
    """A process of its own, with imports, without pictures, sheet and dry run."""
    file = tmp_path / "relief.stl"
    block_relief(MILLION).export(file)
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", CHAIN, str(file)], check=False)
    took = time.perf_counter() - begun
    assert done.returncode == 0
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    figure(Figure("mesh to proven files, hours and loads, 1,000,000 triangles", took, 60.0))
    figure(Figure("processor time of it", used.ru_utime + used.ru_stime, 120.0))
    figure(Figure("most memory of it", used.ru_maxrss / 1e6, 3.0, "GB"))


@pytest.mark.long
def test_growth(figure: Note, tmp_path: Path) -> None:
    """The same relief in a quarter to two million triangles: the ground, and so the moves, stay."""
    seconds = {}
    for triangles in (250_000, 500_000, 1_000_000, 2_000_000):
        file = tmp_path / f"{triangles}.stl"
        block_relief(triangles).export(file)
        out = str(tmp_path / "cut")
        took, _ = icecam("carve", str(file), "--fit", "--all-bits", "--out", out, "--force")
        seconds[triangles] = took
        figure(Figure(f"the chain, {triangles:,} triangles", took, 120.0 * triangles / 1e6))
    figure(
        Figure("eight times the triangles, times", seconds[2_000_000] / seconds[250_000], 8.0, "")
    )
