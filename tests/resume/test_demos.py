"""Two hundred stops of each demo sculpture; long. `-k owl` runs one, `-s` prints what was found.

What a machine has cut at a stop is worked out from the text by the plain reader, as if all lines
that it may have read ahead were undone, which leaves most ice. The way in is carved on that.
Behind it stand the old lines, to the letter. A cell ends at the lowest of all that passes over it,
in any order, so the block ends as the job leaves it, or lower where the way in went lower; and the
lines meet ice nowhere higher than without a stop. Every tenth file is carved whole, to hold this
against the ice itself. Stages behind can only bring two blocks nearer to each other.
"""

import time
from dataclasses import dataclass, replace
from pathlib import Path
from sys import stdout

import numpy as np
import pytest

from icecam import cli
from icecam.geometry.field import HeightField
from icecam.paths.toolpath import CUT, Toolpath
from icecam.resume.folder import CutFolder, CutStage, read_folder
from icecam.resume.going_on import Going, Rest, rest_after
from icecam.resume.rest import run_of
from icecam.resume.stops import at_line, restart
from tests.resume.at_the_machine import Left, away, path_of, run

MODELS = Path(__file__).parents[2] / "models"
ARGUMENTS = {"owl": ["--up", "front"], "crane": ["--up", "front"], "panel": []}
STOPS, LEAST = 200, 3
LAG = 18
"""Lines that a controller may show ahead of what it has done (judgement, no source)."""
SAME_MM, EQUAL_MM = 0.02, 1e-9
WHOLE = 10
LOOKED_AT = 40
"""Old lines behind the first that are read again: as many as set anything that stays in force."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """What the stops of a stage showed; `faults` names what must not be."""

    stops: int
    farthest: float
    carved: int
    faults: tuple[str, ...]


@pytest.mark.long
@pytest.mark.parametrize("name", ARGUMENTS)
def test_two_hundred_lines_of_a_demo(name: str, tmp_path: Path) -> None:
    begun, out = time.perf_counter(), tmp_path / "cut"
    mesh = str(MODELS / f"{name}.stl")
    assert cli.main(["carve", mesh, *ARGUMENTS[name], "--out", str(out)]) == cli.CLEAN
    found = stops_of(read_folder(out), STOPS, seed=len(name))
    stdout.write(
        f"{name}: {sum(each.stops for each in found)} stops in {len(found)} stages, "
        f"{sum(each.carved for each in found)} carved whole; farthest "
        f"{max(each.farthest for each in found):.4f} mm; {time.perf_counter() - begun:.0f} s\n"
    )
    assert sum(each.stops for each in found) >= STOPS
    assert [fault for each in found for fault in each.faults] == []
    assert max(each.farthest for each in found) <= SAME_MM


def test_the_same_of_the_tile(tile_folder: CutFolder) -> None:
    found = stops_of(tile_folder, 12, seed=3)
    assert sum(each.stops for each in found) >= 12
    assert min(each.carved for each in found) >= 1
    assert [fault for each in found for fault in each.faults] == []
    assert max(each.farthest for each in found) <= SAME_MM


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("\nG1 ", "\nG0 ", "another way"),
        ("G21", "G20", "unit"),
        ("\nM5", "\nX1\nM5", "other lines"),
    ],
)
def test_other_texts_are_told(tile_folder: CutFolder, old: str, new: str, words: str) -> None:
    cut = tile_folder.stages[1]
    text = cut.file.text.decode()
    (rest,) = rests(tile_folder, cut, tile_folder.ice_before(2), [3000])
    assert of_the_text(text, path_of(text), rest) == []
    said = rest.text.decode()
    assert old in said
    spoilt = replace(rest, text=said.replace(old, new).encode())
    assert words in " ".join(of_the_text(text, path_of(text), spoilt))


def stops_of(folder: CutFolder, stops: int, seed: int) -> list[Found]:
    """Try stops of all stages, by their moves, at least a few of each."""
    random, ice, found = np.random.default_rng(seed), folder.ice, list[Found]()
    moves = sum(cut.last - cut.first for cut in folder.stages)
    for cut in folder.stages:
        path = cut.moves.toolpath
        count = max(LEAST, -(-stops * len(path) // moves))
        cuts = path.line[path.kind == CUT]
        lines = np.unique(random.choice(cuts[cuts > cuts[0]], count)).tolist()
        found.append(replace(stops_in(folder, cut, ice, lines), stops=count))
        ice = run(folder, cut.stage, path_of(cut.file.text.decode()), ice).ice
    return found


def stops_in(folder: CutFolder, cut: CutStage, before: HeightField, lines: list[int]) -> Found:
    """Try stops of a stage, at lines in their order; `before` is the ice it begins on."""
    text = cut.file.text.decode()
    plain, ran = path_of(text), run_of(folder, cut)
    whole = run(folder, cut.stage, plain, before)
    faults = [f"{cut.file.name} itself meets ice"] if whole.rapid_hits or whole.contacts else []
    stood, done, farthest, carved = before, 0, 0.0, 0
    for nth, (line, rest) in enumerate(zip(lines, rests(folder, cut, before, lines), strict=True)):
        behind = int(np.searchsorted(plain.line, line - LAG))
        stood, done = run(folder, cut.stage, plain.part(done, behind), stood).ice, behind
        entry = run(folder, cut.stage, path_of(way_in(text, rest)), stood)
        end = HeightField(grid=stood.grid, heights=np.minimum(entry.ice.heights, whole.ice.heights))
        farthest = max(farthest, away(end, whole.ice))
        wrong = [*of_the_text(text, plain, rest), *of_the_ice(entry, rest)]
        if rest.begins > max(line - LAG, int(ran.path.line[ran.cuts[0]])):
            wrong.append("begins behind what was cut")
        if nth % WHOLE == WHOLE // 2 or len(lines) < WHOLE:
            left = run(folder, cut.stage, path_of(rest.text.decode()), stood)
            carved += 1
            wrong += of_the_ice(left, rest)
            if away(left.ice, end) > EQUAL_MM:
                wrong.append(f"ends {away(left.ice, end)} mm from what is foretold")
        faults += [f"line {line} of {cut.file.name}: {what}" for what in dict.fromkeys(wrong)]
    return Found(stops=len(lines), farthest=farthest, carved=carved, faults=tuple(faults))


def rests(folder: CutFolder, cut: CutStage, ice: HeightField, lines: list[int]) -> list[Rest]:
    """Return the files of stops as `go_on` makes them; what they share is carved once."""
    ran, path = run_of(folder, cut), folder.in_block(cut.moves.toolpath)
    goal, stands, done = folder.carve(ice, path, cut.stage).ice, ice, 0
    found = list[Rest]()
    for line in lines:
        stop = at_line(ran, line)
        rough = cut.stage.kind == "rough"
        first = restart(ran, stop.move, 5.0, roughing=rough, ahead=stop.ahead)
        stands, done = folder.carve(stands, path.part(done, first), cut.stage).ice, first
        going = Going(stop.move, first, stands, goal)
        found.append(rest_after(folder, cut, ran, going, None))
    return found


def way_in(text: str, rest: Rest) -> str:
    """Return the lines of a file before those that it has of the old one."""
    return "\n".join(rest.text.decode().splitlines()[: -len(behind(text, rest)) - 1])


def behind(text: str, rest: Rest) -> list[str]:
    """Return the old lines behind the one it begins with, but the last percent sign."""
    return text.rstrip().removesuffix("%").splitlines()[rest.begins :]


def of_the_text(text: str, plain: Toolpath, rest: Rest) -> list[str]:
    """Say what of the old lines does not stand in a file, or would be understood otherwise."""
    old, new = behind(text, rest), rest.text.decode().rstrip().removesuffix("%").splitlines()
    count = min(LOOKED_AT, len(old))
    again = path_of("\n".join(new[: len(new) - len(old) + count]))
    first, last = np.searchsorted(plain.line, [rest.begins, rest.begins + count + 1]).tolist()
    ahead = len(again) - (last - first)
    wrong = [] if new[-len(old) :] == old else ["has other lines than the old file"]
    if not again.part(ahead, len(again)).goes_as(plain.part(first, last)):
        wrong.append("goes another way at its beginning")
    if not set(settings(text)) <= set(settings("\n".join(new))):
        wrong.append("sets another unit, plane or distance mode")
    return wrong


def settings(text: str) -> list[str]:
    """Return the lines that set units."""
    return [line for line in text.splitlines() if line.startswith(("G20", "G21"))]


def of_the_ice(left: Left, rest: Rest) -> list[str]:
    """Say what is met, or refused by the tool."""
    found = [] if rest.verdict.clean else [f"is refused: {rest.verdict}"]
    if left.rapid_hits or left.contacts:
        found.append(f"{left.rapid_hits} rapids, {left.contacts} contacts in ice")
    return found
