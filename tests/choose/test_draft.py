"""Drafts against plans of a small elevation model; the large table is in tests/bench."""

from dataclasses import replace
from pathlib import Path

import pytest

from icecam.choose.draft import draft, draft_seconds
from icecam.errors import MeshError
from icecam.job.file import load
from icecam.paths.stages import ladder
from icecam.plan import carve_stages, scene_of, set_up
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry import solids
from tests.geometry.bits import make_bit
from tests.plan.open_data import mountains


def test_a_draft_takes_as_long_as_the_plan(tmp_path: Path) -> None:
    """The plan, proven and timed from its text, is what a draft is for: stages 20 %, all 15 %."""
    file = tmp_path / "mountains.stl"
    mountains(104.0, 30.0).export(file)
    job = load(None)
    job = replace(
        job,
        block=replace(job.block, size=(120.0, 100.0, 45.0), floor=4.0),
        quality=replace(job.quality, scallop=0.15, detail=0.4, cell=0.3),
    )
    scene = set_up(file, job)
    planned = carve_stages(scene).stages
    told: list[tuple[str, float]] = []
    drafted = draft(scene, lambda doing, share: told.append((doing, share)))
    assert [done.stage.name for done in drafted] == [stage.stage.name for stage in planned]
    for quick, real in zip(drafted, planned, strict=True):
        assert quick.seconds.total == pytest.approx(real.seconds.total, rel=0.2)
        assert quick.seconds.bit_change == real.seconds.bit_change
        assert quick.seconds.dwells == pytest.approx(real.seconds.dwells)
    quick_all, real_all = (sum(one.seconds.total for one in each) for each in (drafted, planned))
    assert quick_all == pytest.approx(real_all, rel=0.15)
    # litres of the bulk are those of the proof; what finishing shaves off hangs on the cells
    assert drafted[0].ice_litres == pytest.approx(planned[0].carved.removed.sum() / 1e6, rel=0.02)
    assert [share for _, share in told] == sorted(share for _, share in told)


def test_nothing_to_take() -> None:
    """A dome already free of ice, and a sculpture that fills the block: said, not timed."""
    rack = (named("flat", make_bit("flat", 6.0, shank=6.0)), ball(3.0))
    job = job_of(rack, size=(40.0, 40.0, 20.0))
    scene = scene_of(placed(solids.hemisphere(10.0, 10.0), (20.0, 20.0, 5.0)), job)
    free = replace(scene.ice, heights=scene.wanted.heights)
    assert draft_seconds(scene, ladder(job)[1], free) is None
    full = placed(solids.hemisphere(100.0, 10.0), (20.0, 20.0, -75.0))
    high = replace(job, block=replace(job.block, floor=19.9))
    with pytest.raises(MeshError, match="no bit of the rack finds ice to take"):
        draft(scene_of(full, high))
