"""How fast the load of a stage is worked out, against the time that its moves are timed in."""

import time

import numpy as np

from icecam.estimate.load import Setting, stage_load
from icecam.estimate.runtime import runtime
from icecam.estimate.stretches import Taken
from icecam.job.file import load
from tests.bench.figures import Figure, Note
from tests.bench.test_bench_runtime import GANTRY, rough_path

MOVES = 2_000_000


def test_load_of_two_million_moves(figure: Note) -> None:
    job = load(None)
    path = rough_path(MOVES)
    runtime(rough_path(2), GANTRY)
    began = time.perf_counter()
    seconds = runtime(path, GANTRY).seconds
    timed = time.perf_counter() - began
    taken = Taken(path.lengths * 0.5, np.full(MOVES, 0.5), np.ones(MOVES), 0.3)
    setting = Setting(job.rack[1], job.machine.spindle, 18000.0, -10.0)
    began = time.perf_counter()
    found = stage_load(path, seconds, taken, setting)
    took = time.perf_counter() - began
    figure(Figure("load of 2 M moves", took, 2.0))
    figure(Figure("load of 2 M moves over their runtime", took / timed, 10.0, ""))
    assert found.peak.best >= found.mean.best > 0.0
