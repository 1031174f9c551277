"""The ice in the browser against the ice that the proof's own sweep leaves, at random moments."""

from base64 import b64decode

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.geometry.field import HeightField
from icecam.paths.toolpath import CUT, Toolpath
from icecam.prove.carving import carve
from tests.viewer.conftest import Opened
from tests.viewer.scene import result_of_five

WITHIN_MM = 0.01
RIM_MM = 0.004
"""Points of the page are whole ticks of the text; a cell so near a flat's rim may go either way."""


def partly(path: Toolpath, done: int, share: float) -> Toolpath:
    """The moves that are done, and the begun one as far as it is."""
    part = path.part(0, min(done + 1, len(path)))
    ends = part.ends.copy()
    ends[-1] = part.begins[-1] + share * (part.ends[-1] - part.begins[-1])
    return Toolpath(start=part.start, ends=ends, kind=part.kind, feed=part.feed, line=part.line)


def standing(nth: int, done: int, share: float) -> HeightField:
    """The block after all stages before `nth` and a part of that one."""
    result = result_of_five()
    before = result.stages[nth - 1].carved.ice if nth else result.scene.ice
    stage = result.stages[nth]
    return carve(before, partly(stage.path, done, share), stage.stage.cutting).ice


def on_a_rim(nth: int, done: int, share: float, field: HeightField) -> NDArray[np.bool_]:
    """Cells whose centre lies on the rim of a cutting move of a stage, to a few micrometres."""
    stage = result_of_five().stages[nth]
    path = partly(stage.path, done, share)
    cutting = path.kind == CUT
    a, b = path.begins[cutting][:, :2], path.ends[cutting][:, :2]
    x, y = np.meshgrid(field.grid.x, field.grid.y)
    way = b - a
    square = np.maximum((way**2).sum(axis=1), 1e-18)
    near = np.zeros(x.shape, dtype=bool)
    for radius in {stage.stage.cutting.radius, stage.stage.cutting.flat} - {0.0}:
        for k in range(len(a)):
            share_ = ((x - a[k, 0]) * way[k, 0] + (y - a[k, 1]) * way[k, 1]) / square[k]
            share_ = np.clip(share_, 0.0, 1.0)
            away = np.hypot(x - a[k, 0] - share_ * way[k, 0], y - a[k, 1] - share_ * way[k, 1])
            near |= np.abs(away - radius) < RIM_MM
    return near


def in_the_browser(five: Opened, nth: int, done: int, share: float) -> NDArray[np.float64]:
    script = """([nth, n, share]) => {
        dryRun.toMoment({ time: 0, nth, n, share, waiting: false });
        const bytes = new Uint8Array(dryRun.ice.heights.buffer);
        let text = "";
        for (let at = 0; at < bytes.length; at += 8192)
            text += String.fromCharCode(...bytes.subarray(at, at + 8192));
        return [btoa(text), dryRun.ice.width];
    }"""
    text, width = five.page.evaluate(script, [nth, done, share])
    grid = result_of_five().ice.grid
    heights = np.frombuffer(b64decode(text), dtype="<f4").reshape(-1, width)
    return heights[: grid.ny, : grid.nx].astype(np.float64)


@pytest.mark.parametrize("nth", range(5))
def test_heights_are_those_of_the_proof_at_random_moments(five: Opened, nth: int) -> None:
    rng = np.random.default_rng(nth)
    stage = result_of_five().stages[nth]
    moments = rng.permutation(len(stage.path))[:4].tolist()  # back and forth
    excepted = 0
    for done in moments:
        share = float(rng.uniform())
        ours = standing(nth, done, share)
        off = np.abs(in_the_browser(five, nth, done, share) - ours.heights) > WITHIN_MM
        if off.any():
            rims = on_a_rim(nth, done, share, ours)
            assert not (off & ~rims).any(), f"{(off & ~rims).sum()} cells off beside a rim"
        excepted += int(off.sum())
    assert excepted <= 4 * 40, f"{excepted} cells lie on a rim"


def test_every_shape_is_there() -> None:
    shapes = {stage.stage.bit.shape for stage in result_of_five().stages}
    assert shapes == {"flat", "ball", "rounded corner", "tapered ball", "vee"}


def test_the_end_is_the_block_of_the_proof(five: Opened) -> None:
    result = result_of_five()
    last = len(result.stages) - 1
    done = len(result.stages[last].path) - 1
    ours = in_the_browser(five, last, done, 1.0)
    assert (np.abs(ours - result.ice.heights) > WITHIN_MM).sum() <= 40
