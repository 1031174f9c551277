"""A stop at any line: the new file meets nothing and the block ends as if nothing had happened.

Files are read by the plain reader of tests.plan.from_text, which shares nothing with the project's.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from icecam.check import read_parts, stages_for
from icecam.paths.toolpath import CUT
from icecam.resume.folder import CutFolder, CutStage
from icecam.resume.going_on import go_on
from icecam.resume.rest import run_of
from icecam.resume.running import running
from icecam.resume.stops import at_line
from tests.resume.at_the_machine import away, path_of, run, until

SAME_MM = 0.02
LAG = 18
"""Lines that a controller may show ahead of what it has done (judgement, no source)."""


def lines_of(cut: CutStage, count: int, seed: int) -> list[int]:
    """Random lines between the first and the last cut of a stage, without either."""
    path = cut.moves.toolpath
    cuts = path.line[path.kind == CUT]
    random = np.random.default_rng(seed)
    return sorted(random.integers(cuts[0] + 1, cuts[-1] + 1, count).tolist())


def check(folder: CutFolder, cut: CutStage, line: int, lag: int) -> None:
    stop = at_line(run_of(folder, cut), line)
    rest = go_on(folder, cut, stop.move, overlap=5.0, ahead=stop.ahead, scene=None)
    assert rest.verdict.clean
    assert rest.verdict.away <= SAME_MM
    text, before = cut.file.text.decode(), folder.ice_before(cut.stage.number)
    whole = run(folder, cut.stage, path_of(text), before)
    first = int(cut.moves.toolpath.line[0])
    begun = line - lag > first + 5
    stands = run(folder, cut.stage, path_of(until(text, line - lag)), before) if begun else None
    left = run(folder, cut.stage, path_of(rest.text.decode()), stands.ice if stands else before)
    assert left.rapid_hits == 0
    assert left.contacts == 0
    assert away(left.ice, whole.ice) <= SAME_MM


@pytest.mark.parametrize("number", [1, 2, 3])
def test_some_lines_of_each_stage(tile_folder: CutFolder, number: int) -> None:
    cut = tile_folder.stages[number - 1]
    for line in lines_of(cut, 3, seed=number):
        check(tile_folder, cut, line, lag=LAG)


@pytest.mark.long
def test_two_hundred_lines(tile_folder: CutFolder) -> None:
    for number, count in ((1, 80), (2, 60), (3, 60)):
        cut = tile_folder.stages[number - 1]
        for nth, line in enumerate(lines_of(cut, count, seed=10 + number)):
            check(tile_folder, cut, line, lag=nth % (LAG + 1))


def test_the_head_of_what_goes_on_names_its_bit(tile_folder: CutFolder, tmp_path: Path) -> None:
    """`icecam check` asks the head; three bits of the job leave no other way to tell."""
    cut, job = tile_folder.stages[1], tile_folder.subject.job
    (line,) = lines_of(cut, 1, seed=4)
    stop = at_line(run_of(tile_folder, cut), line)
    rest = go_on(tile_folder, cut, stop.move, overlap=5.0, ahead=stop.ahead, scene=None)
    file = tmp_path / rest.name
    file.write_bytes(rest.text)
    (stage,) = stages_for(read_parts([file], job), job, None)
    assert stage.bit == cut.stage.bit
    assert stage.kind == cut.stage.kind


def test_the_check_can_fail(tile_folder: CutFolder) -> None:
    """A file that goes on too late leaves ice standing, and the same measure sees it."""
    cut = tile_folder.stages[1]
    text, before = cut.file.text.decode(), tile_folder.ice_before(2)
    whole = run(tile_folder, cut.stage, path_of(text), before)
    half = len(text.splitlines()) // 2
    stands = run(tile_folder, cut.stage, path_of(until(text, half)), before)
    late = at_line(run_of(tile_folder, cut), half + 2000).move
    rest = go_on(tile_folder, cut, late, overlap=0.0, scene=None)
    left = run(tile_folder, cut.stage, path_of(rest.text.decode()), stands.ice)
    assert away(left.ice, whole.ice) > 10 * SAME_MM


def test_all_that_follows_stands_as_it_stood(tile_folder: CutFolder) -> None:
    """Line by line the old text, but for the first, which says motion and feed."""
    cut = tile_folder.stages[2]
    line = lines_of(cut, 1, seed=5)[0]
    move = at_line(run_of(tile_folder, cut), line).move
    rest = go_on(tile_folder, cut, move, overlap=5.0, scene=None)
    old, new = cut.file.text.decode().splitlines(), rest.text.decode().splitlines()
    behind = old[rest.begins :]
    assert new[-len(behind) :] == behind
    begin = new[-len(behind) - 1]
    assert re.match(r"G[123] ", begin)
    assert re.search(r" F[\d.]+$", begin)
    assert set(re.findall(r"[XYZIJ]-?[\d.]+", begin)) >= set(
        re.findall(r"[XYZIJ]-?[\d.]+", old[rest.begins - 1])
    )
    head = new[: -len(behind) - 1]
    assert "G21 G17 G90 G94 G40 G49 G80 G54" in head
    order = [
        next(n for n, each in enumerate(head) if each.startswith(w))
        for w in ("S", "G4", "G0 Z", "G0 X")
    ]
    assert order == sorted(order)
    assert any(f"goes on from line {rest.begins}" in each for each in head)


def test_the_overlap_is_as_long_as_asked(tile_folder: CutFolder) -> None:
    """Seconds between restart and stop: not less than lengths over the F words of the text."""
    cut = tile_folder.stages[1]
    line = lines_of(cut, 1, seed=6)[0]
    stage_run = run_of(tile_folder, cut)
    move = at_line(stage_run, line).move
    short, long = (
        go_on(tile_folder, cut, move, overlap=overlap, scene=None).begins for overlap in (5.0, 60.0)
    )
    path = stage_run.path
    for begins, overlap in ((short, 5.0), (long, 60.0)):
        some = (path.line >= begins) & (path.line < line)
        spent = stage_run.seconds[some & (path.kind == CUT)].sum()
        assert overlap <= spent < overlap + 30
        at_feed = (path.lengths / path.feed)[some & (path.kind == CUT)].sum()
        assert at_feed <= spent * 1.001
    assert long < short < line


def test_a_stop_in_a_ramp_begins_the_ramp_again(tile_folder: CutFolder) -> None:
    """In roughing all ways down are ramps: the new file begins where the bit last went level."""
    cut = tile_folder.stages[0]
    stage_run = run_of(tile_folder, cut)
    path = stage_run.path
    steps = path.ends - path.begins
    sinking = (path.kind == CUT) & (steps[:, 2] < 0) & (np.abs(steps[:, 0]) > 0.1)
    middle = np.flatnonzero(sinking[1:-1] & sinking[:-2] & sinking[2:]) + 1
    for move in middle[:: max(1, len(middle) // 5)].tolist():
        rest = go_on(tile_folder, cut, move, overlap=0.0, scene=None)
        first = int(np.searchsorted(path.line, rest.begins))
        assert first < move
        assert (steps[first:move, 2] < 0).all()
        assert path.kind[first - 1] != CUT or steps[first - 1, 2] >= 0
        assert rest.verdict.clean


def test_one_file_in_inches_goes_on_with_the_bits_behind(inch_folder: CutFolder) -> None:
    first, second = inch_folder.stages
    line = lines_of(first, 1, seed=7)[0]
    move = at_line(run_of(inch_folder, first), line).move
    rest = go_on(inch_folder, first, move, overlap=5.0, scene=None)
    assert rest.verdict.clean
    text = rest.text.decode()
    assert text.count(" M6") == 2
    assert text.startswith("%\n")
    assert text.endswith("M30\n%\n")
    numbers = [int(n) for n in re.findall(r"^N(\d+)", text, re.MULTILINE)]
    assert (
        numbers == list(range(10, 10 * len(numbers) + 10, 10))[: len(numbers)] or max(numbers) > 9e4
    )
    old = cut_in_two(first.file.text.decode())
    new = cut_in_two(text)
    assert path_of(old[1], 25.4).ends == pytest.approx(path_of(new[1], 25.4).ends, abs=1e-9)
    before = inch_folder.ice_before(1)
    stands = run(inch_folder, first.stage, path_of(until(old[0], line), 25.4), before)
    whole = run(inch_folder, first.stage, path_of(old[0], 25.4), before)
    left = run(inch_folder, first.stage, path_of(new[0], 25.4), stands.ice)
    assert (left.rapid_hits, left.contacts) == (0, 0)
    assert away(left.ice, whole.ice) <= SAME_MM
    assert second.file is first.file


def cut_in_two(text: str) -> tuple[str, str]:
    """Part a job of one file at its second bit change."""
    lines = text.splitlines()
    changes = [n for n, line in enumerate(lines) if line.endswith(" M6")]
    return "\n".join(lines[: changes[1]]), "\n".join(lines[changes[1] :])


def test_a_second_stop_in_the_file_that_went_on(tile_folder: CutFolder) -> None:
    """Its lines stand for those of the stage, wherever its own count begins."""
    cut = tile_folder.stages[1]
    line = lines_of(cut, 1, seed=8)[0]
    rest = go_on(
        tile_folder, cut, at_line(run_of(tile_folder, cut), line).move, overlap=5.0, scene=None
    )
    path = tile_folder.place / "again.ngc"
    path.write_bytes(rest.text)
    try:
        ran = running(tile_folder, "again.ngc")
    finally:
        path.unlink()
    new, old = rest.text.decode().splitlines(), cut.file.text.decode().splitlines()
    shown = len(new) - 40
    found, move = ran.place(at_line(ran.run, shown).move)
    assert found is cut
    assert old[int(cut.moves.toolpath.line[move]) - 1] == new[shown - 1]


def test_the_way_in_is_rapid_to_the_clearance_and_slow_at_the_end(tile_folder: CutFolder) -> None:
    """Under a flat bit the ice is the highest cell within its radius; 3 mm of clearance, 0.5 slow.

    Plunges go at 0.3 of the feed, ways down in the open at no more than Z's 80 mm/s (the job).
    """
    cut = tile_folder.stages[0]
    text, job = cut.file.text.decode(), tile_folder.subject.job
    slow = 0
    for line in lines_of(cut, 6, seed=9):
        move = at_line(run_of(tile_folder, cut), line).move
        rest = go_on(tile_folder, cut, move, overlap=5.0, scene=None)
        stands = run(
            tile_folder, cut.stage, path_of(until(text, rest.begins)), tile_folder.ice_before(1)
        )
        new = rest.text.decode().splitlines()
        behind = len(text.splitlines()) - rest.begins + 1
        head = "\n".join(new[:-behind])
        way = path_of(head)
        x, y, low = way.ends[-1]
        grid = stands.ice.grid
        under = np.hypot(*np.meshgrid(grid.x - x, grid.y - y)) <= cut.stage.bit.diameter / 2
        ice = stands.ice.heights[under].max() if under.any() else -np.inf
        assert low >= ice - 1e-6  # the bit has been there
        rapid = way.ends[way.kind != CUT][-1, 2]
        assert rapid >= ice + job.feeds.clearance - 1e-3
        assert (way.ends[:, :2] == way.ends[0, :2]).all()
        feeds = [float(f) / 60 for f in re.findall(r"F([\d.]+)", head)]
        assert all(feed <= 80.0 for feed in feeds)
        slow += len(feeds) > 1
        if len(feeds) > 1:
            assert feeds[-1] <= 0.3 * cut.stage.feed + 1e-6
            assert way.ends[-2, 2] >= ice + 0.5 - 1e-3
    assert slow > 0
