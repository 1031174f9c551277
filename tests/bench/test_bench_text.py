"""How long two million lines of RS-274 text take to write and to read.

The aim is 2 s each. Time is that of the thread, so that other work on the machine does not count.
"""

import time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from icecam.paths.toolpath import CUT, Toolpath
from post.dialect import load
from post.reader import read
from post.writer import Header, write

LINES = 2_000_000
AIM_S = 2.0


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
def test_write_two_million_lines(benchmark: BenchmarkFixture, name: str) -> None:
    path, dialect = walk(LINES), load(name)
    write(walk(10), HEADER, dialect)  # compiles
    began = time.thread_time()
    data = benchmark.pedantic(  # type: ignore[no-untyped-call]
        write, args=(path, HEADER, dialect), rounds=1
    )
    assert time.thread_time() - began <= AIM_S
    assert data.count(b"\n") >= LINES


@by_dialect
def test_read_two_million_lines(benchmark: BenchmarkFixture, name: str) -> None:
    data = write(walk(LINES), HEADER, load(name))
    read(write(walk(10), HEADER, load(name)))  # compiles
    began = time.thread_time()
    program = benchmark.pedantic(read, args=(data,), rounds=1)  # type: ignore[no-untyped-call]
    assert time.thread_time() - began <= AIM_S
    assert program.lines >= LINES
