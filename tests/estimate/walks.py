"""Random paths and machines for property tests, and the limits of their moves by the slow twin."""

import math

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.job.records import Machine
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from tests.estimate.machines import machine
from tests.reference import lookahead as twin

Floats = NDArray[np.float64]
near = st.integers(-40, 40).map(lambda tenths: tenths / 4)
positive = st.floats(20, 2000)
triples = st.tuples(positive, positive, positive)


@st.composite
def walks(draw: st.DrawFn) -> Toolpath:
    """Paths of cuts and rapids over a coarse lattice, so that turns of 0, 90, 180 deg occur."""
    steps = draw(st.lists(st.tuples(near, near, near).filter(any), min_size=1, max_size=25))
    count = len(steps)
    kind = np.array(draw(st.lists(st.sampled_from([RAPID, CUT]), min_size=count, max_size=count)))
    feed = np.array(draw(st.lists(st.floats(1, 300), min_size=count, max_size=count)))
    return Toolpath(
        start=np.zeros(3),
        ends=np.cumsum(np.array(steps), axis=0),
        kind=kind.astype(np.int8),
        feed=np.where(kind == CUT, feed, np.nan),
        line=np.zeros(count, np.int32),
    )


machines = st.builds(
    machine, speed=triples, acceleration=triples, corner_tolerance=st.sampled_from([0, 0.01, 1.0])
)


def twin_limits(path: Toolpath, gantry: Machine) -> Floats:
    """Limits of the moves by the twin."""
    feed = np.where(path.kind == RAPID, math.inf, path.feed)
    points = np.vstack([path.start, path.ends])
    speed, push = np.array(gantry.speed), np.array(gantry.acceleration)
    limits = twin.move_limits(points, feed, speed, push)
    limits[:, 1] = np.minimum(limits[:, 1], limits[:, 0] * gantry.block_rate)
    return limits
