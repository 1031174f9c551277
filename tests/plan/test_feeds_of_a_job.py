"""Feeds that a whole job ends up with: slow in full slots alone."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from icecam.job.file import load
from icecam.paths.feeds import slots_met
from icecam.paths.rough_stage import rough_stage
from icecam.paths.toolpath import CUT, Toolpath
from icecam.plan import carve_stages, set_up
from tests.plan.open_data import mountains


def test_roughing_is_slow_only_where_its_ice_is_wide(tmp_path: Path) -> None:
    """By definition of a full slot: fewer slow ways than were planned, and none that need not be.

    What is planned may cut a slot; what carving found decides.
    """
    file = tmp_path / "mountains.stl"
    mountains(72.0, 24.0).export(file)
    job = load(None)
    job = replace(
        job,
        block=replace(job.block, size=(88.0, 76.0, 42.0)),
        rack=job.rack[:1],
        sculpture=replace(job.sculpture, up="top"),
        quality=replace(job.quality, cell=0.4),
    )
    scene = set_up(file, job)
    done = carve_stages(scene).stages[0]
    planned = rough_stage(done.stage, job, scene.placed.mesh.triangles, scene.wanted, scene.ice)
    slow = job.feeds.slot * done.stage.feed

    def slow_mm(path: Toolpath) -> float:
        level = (path.kind == CUT) & (path.begins[:, 2] == path.ends[:, 2])
        return float(path.lengths[level & np.isclose(path.feed, slow, rtol=1e-3)].sum())

    assert 0.0 < slow_mm(done.path) < 0.9 * slow_mm(planned.path)
    carved = done.carved
    again = slots_met(done.path, carved.removed, carved.depth, done.stage, job.feeds.slot)
    np.testing.assert_array_equal(again, done.path.feed)
