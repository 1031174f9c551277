"""A clean job of two half balls side by side, and what its files can be spoilt with.

How deep a spoilt file cuts is worked out from the two balls alone (geometry), how deep a rapid or a
shank runs from ice that no stage touches.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import hypot, pi, sqrt
from pathlib import Path
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray

from icecam.geometry.field import HeightField
from icecam.job.file import load
from icecam.job.records import Bit, Block, Job, Shape
from icecam.paths.stages import Stage
from icecam.plan import Result, carve_stages, held_against, set_up
from icecam.proving import StageResult, TextFile, proven_stage
from post.reader import Program
from post.reader import read as read_text
from tests.reference import text as twin

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

RADIUS: Final = 12.0
SIZE: Final = (150.0, 120.0, 24.0)
TOP: Final = SIZE[2]
FLOOR: Final = 4.0
MARGIN: Final = 3.0
MIDDLES: Final = (
    (SIZE[0] / 2 - RADIUS, SIZE[1] / 2, TOP - MARGIN - RADIUS),
    (SIZE[0] / 2 + RADIUS, SIZE[1] / 2, TOP - MARGIN - RADIUS),
)
CELL: Final = 0.25
FACET_MM: Final = 0.002
"""How far the facets lie inside the balls: 12 mm in chords of 2 degrees, 12 (1 - cos 1 deg)."""


def _bit(name: str, shape: Shape, diameter: float, flute: float, shank: float, out: float) -> Bit:
    return Bit(
        name=name, shape=shape, diameter=diameter, flutes=2, flute_length=flute, shank=shank,
        stick_out=out, nut=16.0,
    )  # fmt: skip


RACK: Final = (
    _bit("flat", "flat", 12.0, 30.0, 12.0, 60.0),
    _bit("ball", "ball", 6.0, 22.0, 8.0, 60.0),
    _bit("small ball", "ball", 3.0, 12.0, 6.0, 50.0),
)


def half_balls() -> trimesh.Trimesh:
    """Return two closed half balls of `RADIUS` that touch."""
    angle = np.linspace(0.0, pi / 2, 46)
    quarter = RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    outline = np.vstack([[0.0, 0.0], quarter])
    outline[-1, 0] = 0.0
    one = trimesh.creation.revolve(outline, sections=180)
    other = one.copy()
    other.apply_translation([2 * RADIUS, 0.0, 0.0])
    whole = trimesh.util.concatenate([one, other])
    assert isinstance(whole, trimesh.Trimesh)
    return whole


def job_of() -> Job:
    job = load(None)
    return replace(
        job,
        block=Block(size=SIZE, temperature=-10.0, floor=FLOOR),
        rack=RACK,
        machine=replace(job.machine, spindle=replace(job.machine.spindle, body=24.0)),
        sculpture=replace(job.sculpture, margin=MARGIN),
        quality=replace(job.quality, cell=CELL, detail=0.2, scallop=0.1, bits="all"),
        roughing=replace(job.roughing, moat=5.0),
    )


@cache
def clean_job(folder: Path) -> Result:
    """Return the job as planned; `folder` takes the mesh."""
    half_balls().export(folder / "balls.stl")
    return carve_stages(set_up(folder / "balls.stl", job_of()))


@dataclass(frozen=True)
class Part:
    """A stage as it is about to run: the bit it is proven with, and its text in lines."""

    stage: Stage
    lines: tuple[str, ...]

    @property
    def text(self) -> bytes:
        return "".join(f"{line}\n" for line in self.lines).encode()

    def moves(self) -> list[twin.Move]:
        """Return its moves by the reader's slow twin."""
        return twin.read(self.text).moves

    def with_lines(self, after: int, more: Iterable[str]) -> "Part":
        """Put lines behind line `after`, counted from 1."""
        return replace(self, lines=(*self.lines[:after], *more, *self.lines[after:]))

    def with_line(self, number: int, line: str) -> "Part":
        """Put a line in the place of another, counted from 1."""
        return replace(self, lines=(*self.lines[: number - 1], line, *self.lines[number:]))


def parts_of(result: Result) -> tuple[Part, ...]:
    return tuple(
        Part(done.stage, tuple(done.file.text.decode().splitlines())) for done in result.stages
    )


def proven(result: Result, parts: Sequence[Part], ice: HeightField) -> list[StageResult]:
    """Prove parts one after the other, each read from its text, on what the ones before leave."""
    found, held = [], held_against(result.scene, result.walls)
    for part in parts:
        program: Program = read_text(part.text)
        file = TextFile(name="spoilt", text=part.text, unit=program.unit)
        path = program.toolpath
        job = result.scene.job
        found.append(proven_stage(part.stage, path, file, program, job, ice, held))
        ice = found[-1].carved.ice
    return found


def ice_before(result: Result, nth: int) -> HeightField:
    """Return the block before the stage at a place of the list."""
    return result.stages[nth - 1].carved.ice if nth else result.scene.ice


def into_balls(bit: Bit, tips: Floats) -> float:
    """Deepest that a bit reaches into either ball from tips (n, 3), mm; below 0 if clear of both.

    No more than into the facets. A ball bit is two balls that meet; of a flat one the lowest disc
    is nearest to the middle.
    """
    deepest = -np.inf
    for middle in MIDDLES:
        away = tips - np.array(middle)
        flat = np.hypot(away[:, 0], away[:, 1])
        if bit.shape == "ball":
            r = bit.diameter / 2
            depth = RADIUS + r - np.hypot(flat, away[:, 2] + r)
            low = away[:, 2] + r > 0.0
        else:
            depth = RADIUS - np.hypot(np.maximum(flat - bit.diameter / 2, 0.0), away[:, 2])
            low = away[:, 2] > 0.0
        if low.any():
            deepest = max(deepest, float(depth[low].max()) - FACET_MM)
    return deepest


def hidden_between_cells(bit: Bit, tip: Point) -> float:
    """How much less deep a bit may look to columns of ice than it is in the nearer ball, mm.

    The column nearest to the deepest place stands up to half a diagonal of a cell beside it, along
    a slope farther; between two balls that meet the depth falls by s^2 / 2 (1 / r + 1 / R), behind
    the rim of a flat bit by the way itself as seen along the normal.
    """
    half = CELL * sqrt(0.5)
    radius = bit.diameter / 2
    up = _upright(bit, tip)
    if bit.shape == "ball":
        return (half / up) ** 2 / 2 * (1 / radius + 1 / RADIUS)
    return half * sqrt(1.0 - up * up) + half * half / 2 * (1 / radius + 1 / RADIUS)


def _upright(bit: Bit, tip: Point) -> float:
    """How level the nearer ball is where a bit comes closest to it: the normal's share along Z."""
    x, y, z = np.array(tip) - min(MIDDLES, key=lambda m: hypot(m[0] - tip[0], m[1] - tip[1]))
    flat, up = hypot(x, y), z
    if bit.shape == "ball":
        up += bit.diameter / 2
    else:
        flat = max(flat - bit.diameter / 2, 0.0)
    return float(up / hypot(flat, up))


def is_gentle(bit: Bit, tip: Point) -> bool:
    """Whether a bit meets the nearer ball where it slopes by less than 60 degrees."""
    return _upright(bit, tip) > 0.5


def straight_cuts(part: Part) -> list[twin.Move]:
    """Return the straight cuts behind which lines may be put: G1 is in force there."""
    return [move for move in part.moves() if move.cuts and move.arc is None]


def high_rapids(part: Part) -> list[twin.Move]:
    """Return rapids that end over the whole block, and behind which ice is cut."""
    moves = part.moves()
    last = max(nth for nth, move in enumerate(moves) if move.cuts)
    return [move for move in moves[:last] if not move.cuts and move.end[2] > TOP + 1.0]


def word(letter: str, value: float) -> str:
    return f"{letter}{value:.4f}"


def toward(point: Point, length: float) -> Point:
    """Return the way of a length from a point to the middle of the nearer ball, level."""
    middle = min(MIDDLES, key=lambda m: hypot(m[0] - point[0], m[1] - point[1]))
    across = (middle[0] - point[0], middle[1] - point[1])
    far = hypot(*across) or 1.0
    return across[0] / far * length, across[1] / far * length, 0.0
