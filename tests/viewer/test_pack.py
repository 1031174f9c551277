"""What the page is given: sections, skeletons, bytes in a page, key frames, coarser cells."""

import json
import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, cells
from icecam.geometry.sweeping import TILE
from icecam.prove.carving import whole_block
from icecam.viewer.embed import KEPT_AWAY, MARK, SHIFT, embedded
from icecam.viewer.frames import (
    MOST_ALONG,
    MOST_CELLS,
    Cut,
    grid_for,
    key_frames,
    on_grid,
    residues,
)
from icecam.viewer.marks import marks_of
from icecam.viewer.pack import AT_ONCE, pack, plain, whole
from icecam.viewer.page import job_page
from icecam.viewer.skeleton import skeleton
from tests.viewer.scene import result_of_five


@given(st.binary(max_size=200))
def test_embedded_bytes_come_back_and_hold_nothing_that_breaks_a_page(data: bytes) -> None:
    held = embedded(data)
    assert not any(byte in held for byte in KEPT_AWAY if byte != MARK)
    back = re.sub(rb"=(.)", lambda hit: bytes([hit[1][0] - SHIFT]), held, flags=re.DOTALL)
    assert back == data


def unfold(content: bytes, count: int, planes: int, steps: bool) -> list[int]:
    """Whole numbers by the words of the docstrings: planes, sign in the lowest bit, differences."""
    numbers, last = [], 0
    for n in range(count):
        folded = sum(content[plane * count + n] << (8 * plane) for plane in range(planes))
        value = -(folded + 1) // 2 if folded % 2 else folded // 2
        last = last + value if steps else value
        numbers.append(last)
    return numbers


@given(st.lists(st.integers(-(2**29), 2**29), max_size=30), st.booleans())
@settings(max_examples=60, derandomize=True)
def test_whole_numbers_come_back(values: list[int], steps: bool) -> None:
    section = whole("n", np.array(values, dtype=np.int64), steps=steps)
    assert unfold(section.content, section.length, section.planes, section.steps) == values


def test_numbers_beyond_the_page_are_refused() -> None:
    with pytest.raises(ValueError, match="beyond 32 bits"):
        whole("n", np.array([2**40]))
    with pytest.raises(ValueError, match="two sections"):
        pack({}, [plain("a", b""), plain("a", b"")])


def test_a_packed_head_tells_where_sections_lie() -> None:
    raw = zlib.decompress(pack({"project": "x"}, [plain("a", b"12"), plain("b", b"345")]))
    length = int.from_bytes(raw[:4], "little")
    head, body = json.loads(raw[4 : 4 + length]), raw[4 + length :]
    place = head["sections"]["b"]
    assert head["project"] == "x"
    assert body[place["at"] : place["at"] + place["count"]] == b"345"


def of_page(page: bytes) -> bytes:
    """Take the packed bytes out of a page again."""
    (held,) = re.findall(rb'id="dry-run-data">(.*?)</script>', page, flags=re.DOTALL)
    return re.sub(rb"=(.)", lambda hit: bytes([hit[1][0] - SHIFT]), held, flags=re.DOTALL)


@pytest.mark.parametrize("more", [-1, 0, 1, AT_ONCE + 7])
def test_content_longer_than_a_piece_comes_back_whole(more: int) -> None:
    """One stream of many pieces, in a page: all that any reader of zlib (RFC 1950) gives back.

    What is squeezed holds letters of a text and numbers in planes, the last piece of each short.
    """
    rng = np.random.default_rng(11)
    text = rng.integers(32, 48, AT_ONCE + more, dtype=np.uint8).tobytes()
    values = rng.integers(-(2**27), 2**27, AT_ONCE // 2)
    sections = [plain("text", text), whole("values", values), plain("end", b"end")]
    unpacked = zlib.decompressobj()
    raw = unpacked.decompress(of_page(job_page("", "", "t", pack({"project": "x"}, sections))))
    assert (unpacked.eof, unpacked.unused_data) == (True, b"")
    length = int.from_bytes(raw[:4], "little")
    head, body = json.loads(raw[4 : 4 + length]), raw[4 + length :]
    assert body == b"".join(section.content for section in sections)
    for section in sections:
        told = head["sections"][section.name]
        assert body[told["at"] :][: len(section.content)] == section.content
        assert (told["count"], told["planes"]) == (section.length, section.planes)
    assert len(sections[1].content) > AT_ONCE


def test_a_skeleton_keeps_words_and_comments() -> None:
    text = b"N10 G1 X1.5 Y-2 F30 (X3)\nN20 Z.5\nN30 G3 X0 Y1 I2 J-1\nM2 (Z9)\n"
    bare = skeleton(text, np.array([1, 2, 3], dtype=np.int32))
    assert bare == (b"N10 G1 \x01 \x02 F30 (X3)\nN20 \x03\nN30 G3 \x01 \x02 I2 J-1\nM2 (Z9)\n")


@pytest.mark.parametrize(
    "size", [(1016.0, 508.0, 254.0), (3000.0, 300.0, 200.0), (60.0, 40.0, 20.0)]
)
def test_cells_of_the_page_are_few_enough(size: tuple[float, float, float]) -> None:
    ice = whole_block(size, 0.3)
    grid = grid_for(ice, size)
    assert grid.nx * grid.ny <= 1.01 * MOST_CELLS
    assert max(grid.nx, grid.ny) <= MOST_ALONG
    assert grid.pitch >= ice.grid.pitch
    assert (grid == ice.grid) == (size[0] == 60.0)
    assert grid.nx * grid.pitch >= size[0] - 1e-9


def test_a_field_on_coarser_cells_takes_the_nearest() -> None:
    rng = np.random.default_rng(2)
    fine = cells((6.0, 4.0), 0.5)
    field = HeightField(grid=fine, heights=rng.uniform(0, 9, (fine.ny, fine.nx)))
    grid = cells((6.0, 4.0), 0.8)
    got = on_grid(field, grid).heights
    for j, y in enumerate(grid.y):
        for i, x in enumerate(grid.x):
            away = np.hypot(fine.x[None, :] - x, fine.y[:, None] - y)
            assert got[j, i] in field.heights[away < away.min() + 1e-9]


def test_key_frames_add_up_to_the_carved_block() -> None:
    """Sums of what was lost, tile by tile, are the block after the moves of each frame."""
    result = result_of_five()
    top = result.scene.job.block.size[2]
    cuts = [Cut(stage.path, stage.stage.cutting, stage.carved.depth) for stage in result.stages]
    frames = key_frames(result.scene.ice, cuts, top)
    grid, tile = result.ice.grid, TILE
    now = np.full((-(-grid.ny // tile) * tile, frames.across * tile), round(top / frames.step))
    edges = np.cumsum([0, *frames.counts])
    paths = [cut.path for cut in cuts]
    ends = np.cumsum([len(path) for path in paths])
    checked = 0
    for frame in range(len(frames.moves)):
        for v in range(edges[frame], edges[frame + 1]):
            j, i = divmod(int(frames.tiles[v]), frames.across)
            now[j * tile : (j + 1) * tile, i * tile : (i + 1) * tile] -= frames.drops[v]
        done = int(frames.moves[frame])
        nth = int(np.searchsorted(ends, done))
        if done != ends[nth]:
            continue
        checked += 1
        heights = now[: grid.ny, : grid.nx] * frames.step
        away = np.abs(heights - result.stages[nth].carved.ice.heights)
        assert away.max() <= frames.step / 2 + 1e-9
    assert checked == len(paths)
    assert frames.moves[0] == 0
    removed = np.concatenate([stage.carved.removed for stage in result.stages])
    assert frames.takes[removed > 1e-6].all()
    assert not frames.takes[removed == 0].any()


@given(arrays(np.uint16, (2, 4, 4), elements=st.integers(0, 65_000)))
@settings(max_examples=40, derandomize=True)
def test_residues_are_undone_by_sums(drops: NDArray[np.uint16]) -> None:
    folded = residues(drops).astype(np.int64)
    signed = np.where(folded % 2, -(folded + 1) // 2, folded // 2)
    sums = signed.cumsum(axis=2).cumsum(axis=1) % 2**16
    assert (sums == drops).all()


def test_a_page_escapes_its_title_and_takes_any_letter() -> None:
    page = job_page(
        "<p>5 \u00b0C \u2014</p>", "p { margin: 0 }", "</title><script>x", b"\x00<=\r\xff"
    )
    assert b"&lt;/title&gt;&lt;script&gt;x" in page
    assert b"5 &#176;C &#8212;" in page
    assert page.count(b"<script") == 2
    assert b"default-src 'none'" in page


@pytest.mark.parametrize("style", ["p{} </style><script>", "p::before { content: '\u2014' }"])
def test_a_style_sheet_that_cannot_stand_in_a_page_is_refused(style: str) -> None:
    with pytest.raises(ValueError, match="style sheet"):
        job_page("", style, "t", b"")


def test_faults_become_marks() -> None:
    result = result_of_five()
    stage = result.stages[1]
    deep = np.zeros(len(stage.path))
    deep[[5, 9]] = 0.4, 1.5
    hurt = replace(
        stage,
        carved=replace(stage.carved, rapid_depth=deep, contact_depth=deep[::-1].copy()),
        limits=("X reaches too far",),
    )
    marks = marks_of(replace(result, stages=(result.stages[0], hurt, *result.stages[2:])), [])
    faults = [mark for mark in marks if mark.kind == "fault"]
    assert [mark.move for mark in faults[:2]] == [9, 5]
    assert "rapid through 1.50 mm" in faults[0].words
    assert len([mark for mark in faults if "shank" in mark.words]) == 2
    assert faults[-1].words == "X reaches too far"
    assert all(mark.stage == 1 for mark in faults)
