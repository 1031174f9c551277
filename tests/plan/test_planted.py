"""Faults planted in clean files: the proof must catch each that is over its stated tolerance.

Every fault goes into the text of a stage, which is then read and proven as any other. How bad it is
comes from geometry (tests/plan/planted.py), never from the proof. `pytest -s` prints what was
planted and caught; `-m long` plants eight times as many.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from sys import stdout
from typing import Final

import numpy as np
import pytest
import shapely

from icecam.geometry.profile import cutting_end
from icecam.job.records import Bit
from icecam.paths.stages import Stage
from icecam.plan import Result
from icecam.prove.carving import GRAZE_MM
from icecam.prove.limits import SLACK_MM
from icecam.prove.proof import GOUGE_MM, RAPID_MM, ice_left
from tests.plan.planted import (
    CELL,
    FLOOR,
    TOP,
    Part,
    Point,
    clean_job,
    hidden_between_cells,
    high_rapids,
    ice_before,
    into_balls,
    is_gentle,
    parts_of,
    proven,
    straight_cuts,
    toward,
    word,
)

ROUGH, BALL, SMALL = 0, 1, 2
ROUNDING: Final = 0.001
"""Of the words planted, mm."""


@dataclass(frozen=True)
class Fault:
    """A part that was spoilt, by how much, and from how much on the proof must refuse it."""

    part: Part
    size: float
    tolerance: float


Plant = Callable[[Part, np.random.Generator], Fault]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Result:
    result = clean_job(tmp_path_factory.mktemp("planted"))
    assert result.clean
    return result


def _size(random: np.random.Generator, most: float = 1.0) -> float:
    """Small faults as often as large ones."""
    return most * float(10.0 ** random.uniform(-2.5, 0.0))


def _gouge(part: Part, random: np.random.Generator, way: Callable[[Point, float], Point]) -> Fault:
    """Go on from a cut into a ball and come back."""
    bit = part.stage.bit
    cuts = [m for m in straight_cuts(part) if is_gentle(bit, m.end)]
    cuts.sort(key=lambda m: -into_balls(bit, np.array([m.end])))
    move = cuts[random.integers(len(cuts) // 4)]
    size = part.stage.skin + _size(random, 1.5)
    tip = np.array(move.end) + way(move.end, size)
    there = " ".join(word(*pair) for pair in zip("XYZ", tip, strict=True))
    back = " ".join(word(*pair) for pair in zip("XYZ", move.end, strict=True))
    deep = into_balls(bit, np.linspace(move.end, tip, 50))
    hidden = hidden_between_cells(bit, tuple(tip.tolist()))
    return Fault(part.with_lines(move.line, [there, back]), deep, GOUGE_MM + hidden + ROUNDING)


def plunged(part: Part, random: np.random.Generator) -> Fault:
    return _gouge(part, random, lambda _, size: (0.0, 0.0, -size))


def pushed(part: Part, random: np.random.Generator) -> Fault:
    return _gouge(part, random, toward)


def set_low(part: Part, random: np.random.Generator) -> Fault:
    """Z set too low for the whole stage: every Z word is less by as much."""
    size = _size(random)
    lines = [
        line
        if line.startswith("(")
        else " ".join(
            word("Z", float(each[1:]) - size) if each.startswith("Z") else each
            for each in line.split(" ")
        )
        for line in part.lines
    ]
    low = replace(part, lines=tuple(lines))
    cuts = [m.end for m in low.moves() if m.cuts]
    # a small bit may have nothing but runs along valleys
    tips = [tip for tip in cuts if is_gentle(part.stage.bit, tip)] or cuts
    depths = [into_balls(part.stage.bit, np.array([tip])) for tip in tips]
    worst = int(np.argmax(depths))
    hidden = hidden_between_cells(part.stage.bit, tips[worst])
    return Fault(low, depths[worst], GOUGE_MM + hidden + ROUNDING)


def too_large_a_bit(part: Part, random: np.random.Generator) -> Fault:
    """A ball of more diameter than the file was planned for."""
    bit = replace(part.stage.bit, diameter=part.stage.bit.diameter + 2 * _size(random))
    tips = [m.end for m in part.moves() if m.cuts and is_gentle(bit, m.end)]
    depths = [into_balls(bit, np.array([tip])) for tip in tips]
    worst = int(np.argmax(depths))
    hidden = hidden_between_cells(bit, tips[worst])
    return Fault(_with_bit(part, bit), depths[worst], GOUGE_MM + hidden + ROUNDING)


def _with_bit(part: Part, bit: Bit) -> Part:
    stage: Stage = replace(part.stage, bit=bit, cutting=cutting_end(bit))
    return replace(part, stage=stage)


def _corner(random: np.random.Generator) -> tuple[float, float]:
    """Return a place where ice stands through the whole job, whatever bit stands there."""
    return float(random.uniform(10.0, 18.0)), float(random.uniform(10.0, 18.0))


def _down_in_the_corner(part: Part, random: np.random.Generator, z: float, code: str) -> Part:
    """Go over standing ice by rapids, then down to `z` and up again."""
    over = high_rapids(part)
    move = over[random.integers(len(over))]
    x, y = _corner(random)
    high = word("Z", move.end[2])
    lines = [
        f"G0 {word('X', x)} {word('Y', y)}",
        f"{code} {word('Z', z)}{' F500' if code == 'G1' else ''}",
        f"G0 {high}",
        f"{word('X', move.end[0])} {word('Y', move.end[1])}",
    ]
    return part.with_lines(move.line, lines)


def _rise(bit: Bit) -> float:
    """How much higher than its tip a bit is over the nearest column of ice at the most, mm."""
    radius, half = bit.diameter / 2, CELL * 0.5**0.5
    return radius - (radius * radius - half * half) ** 0.5 if bit.shape == "ball" else 0.0


def rapid_down(part: Part, random: np.random.Generator) -> Fault:
    """A rapid that comes down too far onto ice that stands."""
    size = _size(random, 10.0)
    spoilt = _down_in_the_corner(part, random, TOP - size, "G0")
    return Fault(spoilt, size, RAPID_MM + _rise(part.stage.bit) + ROUNDING)


def rapid_across(part: Part, random: np.random.Generator) -> Fault:
    """A rapid on its way over the block that does not rise over it."""
    over = high_rapids(part)
    move = over[random.integers(len(over))]
    (x, y), size = _corner(random), _size(random, 10.0)
    lines = [
        f"{word('X', -30.0)} {word('Y', y + random.uniform(-30.0, 30.0))}",
        word("Z", TOP - size),
        f"{word('X', x)} {word('Y', y)}",
        word("Z", move.end[2]),
        f"{word('X', move.end[0])} {word('Y', move.end[1])}",
    ]
    return Fault(
        part.with_lines(move.line, lines), size, RAPID_MM + _rise(part.stage.bit) + ROUNDING
    )


def cut_made_rapid(part: Part, _: np.random.Generator) -> Fault:
    """G0 on the first move into the whole block: as deep as the tip then is under its top."""
    move = next(m for m in part.moves() if m.cuts and m.end[2] < TOP - 0.1)
    line, after = part.lines[move.line - 1], part.lines[move.line]
    spoilt = part.with_line(move.line, f"G0 {line.removeprefix('G1 ')}")
    if not after.startswith("G"):
        spoilt = spoilt.with_line(move.line + 1, f"G1 {after}")
    return Fault(spoilt, TOP - move.end[2], RAPID_MM + ROUNDING)


def shank_in_ice(part: Part, random: np.random.Generator) -> Fault:
    """A plunge deeper than the flutes of a bit whose shank is wider."""
    size = _size(random, 7.0)
    spoilt = _down_in_the_corner(part, random, TOP - part.stage.bit.flute_length - size, "G1")
    return Fault(spoilt, size, GRAZE_MM + ROUNDING)


def nut_in_ice(part: Part, random: np.random.Generator) -> Fault:
    """The bit set out 18 mm only, all of it flutes, and a plunge until the nut is in ice."""
    bit = replace(part.stage.bit, flute_length=18.0, stick_out=18.0)
    size = _size(random, 1.9)
    spoilt = _down_in_the_corner(_with_bit(part, bit), random, TOP - 18.0 - size, "G1")
    return Fault(spoilt, size, GRAZE_MM + ROUNDING)


def _limit(words: Callable[[float], list[str]], tolerance: float, most: float) -> Plant:
    """Put lines behind a high rapid that break a limit by a size in mm, mm/min or rpm."""

    def plant(part: Part, random: np.random.Generator) -> Fault:
        over = high_rapids(part)
        move = over[random.integers(len(over))]
        size = _size(random, most)
        back = [
            f"G0 {word('Z', move.end[2])}",
            f"{word('X', move.end[0])} {word('Y', move.end[1])}",
        ]
        return Fault(part.with_lines(move.line, [*words(size), *back]), size, tolerance)

    return plant


# The default machine (icecam/job/machines/mid-size-gantry.toml): travel 1300 x 900 x 420 mm, nose
# from 20 mm, 200 mm/s, 6000 to 24000 rpm. The block of 150 x 120 mm stands in the middle.
FAULTS: Final[dict[str, tuple[int, Plant]]] = {
    "gouge: plunge, 6 mm ball": (BALL, plunged),
    "gouge: plunge, 3 mm ball": (SMALL, plunged),
    "gouge: pushed sideways, roughing": (ROUGH, pushed),
    "gouge: pushed sideways, 6 mm ball": (BALL, pushed),
    "gouge: pushed sideways, 3 mm ball": (SMALL, pushed),
    "gouge: Z set too low, 6 mm ball": (BALL, set_low),
    "gouge: Z set too low, 3 mm ball": (SMALL, set_low),
    "gouge: too large a bit, 6 mm ball": (BALL, too_large_a_bit),
    "gouge: too large a bit, 3 mm ball": (SMALL, too_large_a_bit),
    "rapid: down into ice, roughing": (ROUGH, rapid_down),
    "rapid: down into ice, 6 mm ball": (BALL, rapid_down),
    "rapid: down into ice, 3 mm ball": (SMALL, rapid_down),
    "rapid: through the block, roughing": (ROUGH, rapid_across),
    "rapid: through the block, 3 mm ball": (SMALL, rapid_across),
    "rapid: the first cut as G0": (ROUGH, cut_made_rapid),
    "contact: shank": (SMALL, shank_in_ice),
    "contact: nut": (BALL, nut_in_ice),
    "limit: X below": (BALL, _limit(lambda s: [word("X", -575.0 - s)], SLACK_MM + ROUNDING, 9.0)),
    "limit: X above": (BALL, _limit(lambda s: [word("X", 725.0 + s)], SLACK_MM + ROUNDING, 9.0)),
    "limit: Y below": (BALL, _limit(lambda s: [word("Y", -390.0 - s)], SLACK_MM + ROUNDING, 9.0)),
    "limit: Y above": (SMALL, _limit(lambda s: [word("Y", 510.0 + s)], SLACK_MM + ROUNDING, 9.0)),
    "limit: Z above": (BALL, _limit(lambda s: [word("Z", 380.0 + s)], SLACK_MM + ROUNDING, 9.0)),
    "limit: floor": (
        ROUGH,
        _limit(
            lambda s: ["X-40 Y-40", f"G1 {word('Z', FLOOR - s)} F900"], SLACK_MM + ROUNDING, 4.0
        ),
    ),
    "limit: feed, mm/min": (
        SMALL,
        _limit(lambda s: [f"G1 X-50 {word('F', 12000.0 + s)}"], 0.1, 900.0),
    ),
    "limit: spindle too fast, rpm": (
        BALL,
        _limit(lambda s: [word("S", 24000.0 + s)], 0.001, 900.0),
    ),
    "limit: spindle too slow, rpm": (BALL, _limit(lambda s: [word("S", 6000.0 - s)], 0.001, 900.0)),
    "limit: spindle off": (ROUGH, _limit(lambda _: ["M5"], 0.0, 1.0)),
    "limit: spindle the other way": (ROUGH, _limit(lambda _: ["M4"], 0.0, 1.0)),
}


def _planted(job: Result, name: str, count: int) -> Iterator[tuple[Fault, bool]]:
    """Yield each fault and whether the proof refused it for what it is."""
    nth, plant = FAULTS[name]
    random = np.random.default_rng(sum(map(ord, name)))
    part, ice = parts_of(job)[nth], ice_before(job, nth)
    for _ in range(count):
        fault = plant(part, random)
        (found,) = proven(job, [fault.part], ice)
        by = {
            "gouge": found.gouge.depth > GOUGE_MM,
            "rapid": found.rapid_hits > 0,
            "contact": found.contacts > 0,
            "limit": len(found.limits) > 0,
        }
        assert found.clean != any(by.values())
        yield fault, by[name.partition(":")[0]]


def _check(job: Result, name: str, count: int) -> None:
    results = list(_planted(job, name, count))
    due = [(fault, caught) for fault, caught in results if fault.size > fault.tolerance]
    caught = [fault.size for fault, was in results if was]
    missed = [fault.size for fault, was in results if not was]
    stdout.write(
        f"{name:38s} planted {len(results):4d}  over tolerance {len(due):4d}  caught "
        f"{sum(was for _, was in due):4d}  least caught {min(caught, default=0.0):8.4f}  "
        f"most let pass {max(missed, default=0.0):8.4f}\n"
    )
    assert due
    for fault, was in due:
        assert was, (fault.size, fault.tolerance)


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_over_the_tolerance_is_caught(job: Result, name: str) -> None:
    _check(job, name, 12)


@pytest.mark.long
@pytest.mark.parametrize("name", FAULTS)
def test_many_faults(job: Result, name: str) -> None:
    _check(job, name, 100)


ORDERS: Final = [
    (BALL, SMALL),
    (ROUGH, SMALL),
    (SMALL,),
    (BALL, ROUGH, SMALL),
    (ROUGH, SMALL, BALL),
    (SMALL, BALL, ROUGH),
    (SMALL, ROUGH, BALL),
    (BALL, SMALL, ROUGH),
]


@pytest.mark.parametrize("order", ORDERS)
def test_a_missing_or_swapped_stage_is_caught(job: Result, order: tuple[int, ...]) -> None:
    parts = parts_of(job)
    found = proven(job, [parts[nth] for nth in order], job.scene.ice)
    assert not all(stage.clean for stage in found)


def test_a_last_stage_that_is_missing_shows_as_ice_left(job: Result) -> None:
    """It harms nothing, so it is not refused: what it would have taken is counted as left."""
    parts = parts_of(job)
    found = proven(job, parts[:SMALL], job.scene.ice)
    assert all(stage.clean for stage in found)
    tolerance = job.scene.job.quality.detail
    left = ice_left(found[-1].carved.ice, job.scene.wanted, job.reachable, tolerance)
    assert left.within < job.left.within - 0.02
    assert left.worst > 3 * job.left.worst


def test_a_ball_that_roughs_in_place_of_the_flat_does_the_sculpture_no_harm(job: Result) -> None:
    """It leaves more ice than planned, and the stages after it take that as well.

    Only where it left more than the clearance can one of their rapids meet ice.
    """
    parts = parts_of(job)
    spoilt = _with_bit(parts[ROUGH], parts[BALL].stage.bit)
    found = proven(job, [spoilt, *parts[BALL:]], job.scene.ice)
    assert found[0].clean
    for nth in (BALL, SMALL):
        stage, before = found[nth], found[nth - 1].carved.ice
        more = before.heights - ice_before(job, nth).heights
        assert more.max() > 1.0 or nth == SMALL
        assert (stage.gouge.depth, stage.contacts, stage.limits) == (0.0, 0, ())
        at = shapely.points(*np.meshgrid(before.grid.x, before.grid.y))
        for move in np.flatnonzero(stage.carved.rapid_depth > RAPID_MM):
            way = shapely.LineString([stage.path.begins[move, :2], stage.path.ends[move, :2]])
            near = shapely.dwithin(at, way, stage.stage.cutting.radius)
            assert more[near].max() > job.scene.job.feeds.clearance
    tolerance = job.scene.job.quality.detail
    left = ice_left(found[-1].carved.ice, job.scene.wanted, job.reachable, tolerance)
    assert left.within > job.left.within - 0.02


@pytest.mark.parametrize(("nth", "other"), [(BALL, SMALL), (SMALL, BALL)])
def test_bits_that_change_places(job: Result, nth: int, other: int) -> None:
    """A bit that is too thick gouges; one that is too thin leaves ice, or goes in to its shank."""
    parts = parts_of(job)
    spoilt = _with_bit(parts[nth], parts[other].stage.bit)
    rest = parts[nth + 1 :]
    found = proven(job, [spoilt, *rest], ice_before(job, nth))
    left = ice_left(
        found[-1].carved.ice, job.scene.wanted, job.reachable, job.scene.job.quality.detail
    )
    refused = not all(stage.clean for stage in found)
    assert refused or left.within < job.left.within - 0.02


def test_the_clean_job_stays_clean(job: Result) -> None:
    """Without a fault nothing is refused: what catches everything would prove nothing."""
    assert all(stage.clean for stage in proven(job, parts_of(job), job.scene.ice))
