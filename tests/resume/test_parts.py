"""Parts for working days: none too long, each safe to start, together the whole."""

import numpy as np
import pytest

from icecam.errors import OutputError
from icecam.estimate.runtime import runtime
from icecam.paths.toolpath import CUT
from icecam.resume.folder import CutFolder
from icecam.resume.parts import Split, split
from post.reader import read
from tests.resume.at_the_machine import away, path_of, run


def minutes_of(folder: CutFolder) -> list[float]:
    """Minutes of each stage by the summary, the spindle's start among them."""
    rows = ("cutting", "slowed", "travel", "spindle_start")
    times = [stage["time"] for stage in folder.told["stages"]]
    return [sum(time[f"{row}_minutes"] for row in rows) for time in times]


@pytest.fixture(scope="module")
def limit(tile_folder: CutFolder) -> float:
    """Seconds: a bit less than a third of the longest stage."""
    return 60 * 0.3 * max(minutes_of(tile_folder))


@pytest.fixture(scope="module")
def found(tile_folder: CutFolder, limit: float) -> tuple[Split, ...]:
    return split(tile_folder, limit, None)


def test_stages_that_fit_are_left_alone(
    tile_folder: CutFolder, found: tuple[Split, ...], limit: float
) -> None:
    long = [n for n, each in enumerate(minutes_of(tile_folder), start=1) if each * 60 > limit]
    assert [one.cut.stage.number for one in found] == long
    assert all(one.verdict.clean for one in found)
    assert max(len(one.files) for one in found) >= 4


def test_names_and_heads(found: tuple[Split, ...]) -> None:
    for one in found:
        number, rest = one.cut.file.name.split("-", 1)
        assert list(one.files) == [
            f"{number}{letter}-{rest}" for letter in "abcdefghijkl"[: len(one.files)]
        ]
        for letter, text in zip("abcdefghijkl", one.files.values(), strict=False):
            head = f"(part {letter} of {one.cut.file.name}, from its line "
            assert head in text.decode()


def test_no_part_takes_longer(
    tile_folder: CutFolder, found: tuple[Split, ...], limit: float
) -> None:
    """Of its own text, with the dwell that it holds."""
    machine = tile_folder.subject.job.machine
    for one in found:
        for text, told in zip(one.files.values(), one.seconds, strict=True):
            program = read(text)
            pauses = sum(event.value for event in program.events if event.kind == "dwell")
            seconds = runtime(program.toolpath, machine).total + pauses
            assert seconds <= limit
            assert seconds == pytest.approx(told)
        assert len(one.files) <= np.ceil(sum(one.seconds) / (0.75 * limit))


def test_the_parts_together_are_the_whole(tile_folder: CutFolder, found: tuple[Split, ...]) -> None:
    for one in found:
        before = tile_folder.ice_before(one.cut.stage.number)
        whole = run(tile_folder, one.cut.stage, path_of(one.cut.file.text.decode()), before)
        ice = before
        for text in one.files.values():
            left = run(tile_folder, one.cut.stage, path_of(text.decode()), ice)
            assert (left.rapid_hits, left.contacts) == (0, 0)
            ice = left.ice
        assert away(ice, whole.ice) <= 0.02


def test_every_part_ends_high_with_the_spindle_off(found: tuple[Split, ...]) -> None:
    for one in found:
        for text in one.files.values():
            lines = [line for line in text.decode().splitlines() if not line.startswith("(")]
            assert lines[-3:] == ["M5", "M2", "%"]
            assert lines[-4].endswith("Z150") or path_of(text.decode()).ends[-1, 2] >= 53
            assert path_of(text.decode()).ends[-1, 2] >= 53


def test_a_stage_falls_apart_where_the_bit_rises_anyway(found: tuple[Split, ...]) -> None:
    """Some part begins right after a rise of the stage: nothing is cut twice there."""
    begins = 0
    for one in found:
        path = one.cut.moves.toolpath
        risen = set(path.line[1:][(path.kind[1:] == CUT) & (path.kind[:-1] != CUT)].tolist())
        for text in list(one.files.values())[1:]:
            words = text.decode().split("from its line ")[1]
            begins += int(words.split(")")[0]) in risen
    assert begins > 0


def test_one_file_is_split_stage_by_stage(inch_folder: CutFolder) -> None:
    longest = max(minutes_of(inch_folder))
    found = split(inch_folder, 60 * 0.8 * longest, None)
    assert len(found) >= 1
    assert all(one.verdict.clean for one in found)
    for one in found:
        cut, ice = one.cut, inch_folder.ice_before(one.cut.stage.number)
        for name, text in one.files.items():
            assert name.startswith(str(cut.stage.number))
            assert text.count(b" M6") == 1
            assert text.endswith(b"M30\n%\n")
            left = run(inch_folder, cut.stage, path_of(text.decode(), 25.4), ice)
            assert (left.rapid_hits, left.contacts) == (0, 0)
            ice = left.ice


def test_parts_too_short_are_refused(tile_folder: CutFolder) -> None:
    with pytest.raises(OutputError, match=r"0\.5 min are too short for stage \d.*give at least"):
        split(tile_folder, 30.0, None)
