"""Figures asked for beside figures measured, as one table at the end of the run.

Nothing fails for being slow: a busy machine is no defect. The table says what fell short.
"""

import time
from collections.abc import Callable
from typing import Final, TypeVar

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from tests.bench.figures import Figure, Note, Timed

Result = TypeVar("Result")


FIGURES: Final = pytest.StashKey[list[Figure]]()


def pytest_configure(config: pytest.Config) -> None:
    config.stash[FIGURES] = []


@pytest.fixture
def figure(request: pytest.FixtureRequest) -> Note:
    """Add a row to the table."""
    return request.config.stash[FIGURES].append


@pytest.fixture
def timed(benchmark: BenchmarkFixture, figure: Note) -> Timed:
    """Run some work once, note its seconds by the wall clock, return what it gives."""

    def run(what: str, aim: float, work: Callable[[], Result]) -> Result:
        begun = time.perf_counter()
        result: Result = benchmark.pedantic(work, rounds=1)  # type: ignore[no-untyped-call]
        figure(Figure(what, time.perf_counter() - begun, aim))
        return result

    return run


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    figures = terminalreporter.config.stash[FIGURES]
    if not figures:
        return
    table = Table("what", "measured", "aim", "", title="figures, by the wall clock", box=SIMPLE)
    for row in figures:
        verdict = "" if row.measured <= row.aim else "short"
        table.add_row(
            row.what, f"{row.measured:.3g} {row.unit}", f"{row.aim:g} {row.unit}", verdict
        )
    console = Console(width=100)
    with console.capture() as said:
        console.print(table)
    terminalreporter.write(said.get())
