"""A part of a large sculpture against the whole of it: area by definition, time by full drafts."""

from dataclasses import replace

import numpy as np
import pytest

from icecam.choose import sample
from icecam.choose.draft import draft_stages
from icecam.choose.sample import sample_of
from icecam.job.file import load
from icecam.paths.stages import ladder
from icecam.plan import Scene, set_up
from tests.plan.open_data import mountains


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    file = tmp_path_factory.mktemp("sample") / "mountains.stl"
    mountains(220.0, 40.0).export(file)
    job = load(None)
    job = replace(
        job,
        block=replace(job.block, size=(250.0, 230.0, 60.0), floor=4.0),
        quality=replace(job.quality, scallop=0.15, detail=0.4, cell=0.4),
        rack=job.rack[:3],
    )
    return set_up(file, job)


def test_a_small_sculpture_is_its_own_sample(scene: Scene) -> None:
    assert sample_of(scene) == (scene, 1.0)


def test_drafts_of_a_third_tell_the_time_of_the_whole(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Squares of 55 mm, a third of them: stages within 25 % of drafts of everything."""
    seen = np.isfinite(scene.wanted.heights)
    area = float(seen.sum()) * scene.wanted.grid.pitch**2
    monkeypatch.setattr(sample, "WHOLE_MM2", area / 2.5)
    monkeypatch.setattr(sample, "SIDE_MM", 55.0)
    part, scale = sample_of(scene)
    kept = np.isfinite(part.wanted.heights)
    assert not (kept & ~seen).any()
    assert 0.2 < kept.sum() / seen.sum() < 0.5
    np.testing.assert_array_equal(part.wanted.heights[kept], scene.wanted.heights[kept])
    assert 1.0 < scale < seen.sum() / kept.sum()
    stages = ladder(scene.job)
    rough = draft_stages(scene, stages[:1])[0]
    whole, some = (draft_stages(replace(each, ice=rough.ice), stages[1:]) for each in (scene, part))
    for one, other in zip(whole, some, strict=True):
        quick = scale * (other.seconds.cutting + other.seconds.rapids)
        assert quick == pytest.approx(one.seconds.cutting + one.seconds.rapids, rel=0.25)
