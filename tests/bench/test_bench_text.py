"""How long two million lines of RS-274 text take to write and to read."""

import numpy as np
import pytest

from icecam.paths.toolpath import CUT, Toolpath
from post.dialect import load
from post.reader import read
from post.writer import Header, write
from tests.bench.figures import Timed

LINES = 2_000_000


def walk(count: int) -> Toolpath:
    """Cuts of about a millimetre in all directions, each with its own feed."""
    random = np.random.default_rng(274)
    steps = random.normal(0, 0.5, (count, 3))
    return Toolpath(
        start=np.array([0, 0, 60.0]),
        ends=np.abs((np.cumsum(steps, axis=0) + 400) % 800 - 400),
        kind=np.full(count, CUT, np.int8),
        feed=random.uniform(10, 90, count),
        line=np.zeros(count, np.int32),
    )


HEADER = Header(comments=(), tool=1, spindle_rpm=18000, spindle_start=3, clearance_z=60)
by_dialect = pytest.mark.parametrize("name", ["plain", "numbered-inch"])


@by_dialect
def test_write_two_million_lines(timed: Timed, name: str) -> None:
    path, dialect = walk(LINES), load(name)
    write(walk(10), HEADER, dialect)  # compiles
    data = timed(f"write 2 M lines, {name}", 2.0, lambda: write(path, HEADER, dialect))
    assert data.count(b"\n") >= LINES


@by_dialect
def test_read_two_million_lines(timed: Timed, name: str) -> None:
    data = write(walk(LINES), HEADER, load(name))
    read(write(walk(10), HEADER, load(name)))  # compiles
    program = timed(f"read 2 M lines, {name}", 2.0, lambda: read(data))
    assert program.lines >= LINES
