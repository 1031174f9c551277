"""Machines and paths that the tests of the runtime share; figures of no real machine."""

from collections.abc import Sequence

import numpy as np

from icecam.job.records import Machine, Spindle
from icecam.paths.toolpath import CUT, Toolpath

Triple = tuple[float, float, float]


def machine(
    *,
    speed: Triple = (1000.0, 1000.0, 1000.0),
    acceleration: Triple = (500.0, 500.0, 500.0),
    corner_tolerance: float = 0.0,
    block_rate: float = 1e6,
) -> Machine:
    """Return a machine; the block rate limits nothing unless given."""
    return Machine(
        name="gantry of the tests",
        travel=(1500.0, 1500.0, 400.0),
        nose_lowest=0.0,
        speed=speed,
        acceleration=acceleration,
        corner_tolerance=corner_tolerance,
        block_rate=block_rate,
        bit_change=60.0,
        spindle=Spindle(
            least_rpm=6000.0,
            most_rpm=24000.0,
            power=((6000.0, 500.0), (24000.0, 2000.0)),
            start=5.0,
            body=80.0,
        ),
    )


def cut_path(points: Sequence[Sequence[float]] | np.ndarray, feed: float) -> Toolpath:
    """Return cutting moves through the points, all at one feed (mm/s)."""
    stations = np.asarray(points, dtype=np.float64)
    count = len(stations) - 1
    return Toolpath(
        start=stations[0],
        ends=stations[1:],
        kind=np.full(count, CUT, np.int8),
        feed=np.full(count, feed),
        line=np.zeros(count, np.int32),
    )


def corner_caps(path: Toolpath, speed: float) -> np.ndarray:
    """Return one speed for all corners, rest at both ends."""
    caps = np.full(len(path) + 1, speed)
    caps[[0, -1]] = 0.0
    return caps
