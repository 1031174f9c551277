"""Places and moments worth a look: what may go wrong, what is thin, where the load is highest.

Takes a result, gives one record a mark; the page lists them, jumps to them and shows where.
"""

from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np

from icecam.check import BareResult
from icecam.estimate.pushes import worst_push
from icecam.geometry.walls import Walls
from icecam.plan import Result
from icecam.prove.carving import GRAZE_MM
from icecam.prove.proof import GOUGE_MM, RAPID_MM
from icecam.proving import StageResult

Kind = Literal["fault", "warning", "wall", "load", "deepest", "left"]
Place = tuple[float, float, float]

MOST_FAULTS: Final = 20
"""Marks of one kind of fault a stage, deepest first: more say nothing new."""
THIN_MM: Final = 12.0
MOST_WALLS: Final = 5
APART_MM: Final = 25.0
"""Two thin places closer than this are one wall."""


class Mark(NamedTuple):
    """What, in words; stage counted from 0 and move in it, None for a whole job or stage; where."""

    kind: Kind
    words: str
    stage: int | None = None
    move: int | None = None
    at: Place | None = None


def marks_of(result: Result | BareResult, warnings: Sequence[str]) -> tuple[Mark, ...]:
    """Return all marks of a job.

    warnings : sentences, those of a stage with its name and a colon in front
    """
    stages = list(enumerate(result.stages))
    return (
        *(mark for nth, stage in stages for mark in _faults(nth, stage, result.walls)),
        *(_warning(words, result) for words in warnings),
        *(mark for nth, stage in stages for mark in _loads(nth, stage)),
        *_deepest(result),
        *_walls(result),
        *(() if isinstance(result, BareResult) else _left(result)),
    )


def _faults(nth: int, stage: StageResult, walls: Walls) -> Iterator[Mark]:
    """Name what the proof refuses, with its place where it has one."""
    carved, path = stage.carved, stage.path
    for depth, least, words in (
        (carved.rapid_depth, RAPID_MM, "rapid through {0:.2f} mm of ice"),
        (carved.contact_depth, GRAZE_MM, "shank, nut or spindle in {0:.2f} mm of ice"),
    ):
        bad = np.flatnonzero(depth > least)
        for move in bad[np.argsort(-depth[bad], kind="stable")][:MOST_FAULTS].tolist():
            at = _place(path.ends[move])
            yield Mark("fault", words.format(depth[move]), nth, move, at)
    if stage.gouge.depth > GOUGE_MM and stage.gouge.at is not None:
        words = f"cut {stage.gouge.depth:.2f} mm into the sculpture"
        yield Mark("fault", words, nth, _nearest(stage, stage.gouge.at), stage.gouge.at)
    push = worst_push(stage.load.series, path, stage.stage, walls)
    for limit in stage.limits:
        if push is not None and _named(push.at) in limit:
            move = int(np.searchsorted(path.line, push.line, side="right")) - 1
            yield Mark("fault", limit, nth, move, push.at)
        else:
            yield Mark("fault", limit, nth)


def _loads(nth: int, stage: StageResult) -> Iterator[Mark]:
    """Where the spindle works hardest."""
    load = stage.load
    if load.peak_at is None or load.peak_line is None:
        return
    moves = np.flatnonzero(stage.path.line == load.peak_line)
    ends = stage.path.ends[moves]
    move = int(moves[np.argmin(np.abs(ends - load.peak_at).sum(axis=1))])
    words = f"highest load of the stage, {load.peak.best:.2g} W"
    yield Mark("load", words, nth, move, load.peak_at)


def _warning(words: str, result: Result | BareResult) -> Mark:
    """Find the stage of a sentence, and the place if it names one that is known."""
    for nth, stage in enumerate(result.stages):
        if not words.startswith(f"{stage.stage.name}: "):
            continue
        said = words.removeprefix(f"{stage.stage.name}: ")
        said = said[:1].upper() + said[1:]
        groove = stage.groove
        if groove is not None and _named(groove.at) in words:
            return Mark("warning", said, nth, _nearest(stage, groove.at), _place(groove.at))
        return Mark("warning", said, nth)
    return Mark("warning", words[:1].upper() + words[1:])


def _named(at: Sequence[float]) -> str:
    """Write a place as sentences name it."""
    return f"x {at[0]:.0f}, y {at[1]:.0f}, z {at[2]:.0f} mm"


def _deepest(result: Result | BareResult) -> Iterator[Mark]:
    """Lowest cutting move of all, the first of equals; none if no file takes ice."""
    lows = [
        np.where(stage.carved.removed > 0, stage.path.ends[:, 2], np.inf) for stage in result.stages
    ]
    nth = int(np.argmin([low.min() for low in lows]))
    if not np.isfinite(lows[nth]).any():
        return
    move = int(np.argmin(lows[nth]))
    at = _place(result.stages[nth].path.ends[move])
    yield Mark("deepest", f"deepest cut, {at[2]:.1f} mm over the bed", nth, move, at)


def _walls(result: Result | BareResult) -> Iterator[Mark]:
    """Thinnest walls, a few that stand apart."""
    walls = result.walls
    shown: list[Place] = []
    for k in np.argsort(walls.thickness, kind="stable").tolist():
        if walls.thickness[k] > THIN_MM or len(shown) == MOST_WALLS:
            return
        at = (float(walls.at[k, 0]), float(walls.at[k, 1]), float(walls.z[k]))
        if all(np.hypot(at[0] - x, at[1] - y) > APART_MM for x, y, _ in shown):
            shown.append(at)
            stands = f", stands {walls.stands[k]:.0f} mm above here"
            yield Mark("wall", f"wall {walls.thickness[k]:.1f} mm thick{stands}", at=at)


def _left(result: Result) -> Iterator[Mark]:
    """Where most ice stays on the sculpture."""
    left = result.left
    yield Mark("left", f"most ice that bits leave, {left.worst:.2f} mm", at=left.worst_at)
    if left.hand_worst_at is not None:
        words = f"most ice for the hand, {left.hand_worst:.2f} mm"
        yield Mark("left", words, at=left.hand_worst_at)


def _nearest(stage: StageResult, at: Sequence[float]) -> int:
    """Move that took ice and ends nearest to a place."""
    away = np.abs(stage.path.ends - np.asarray(at)).sum(axis=1)
    return int(np.argmin(np.where(stage.carved.removed > 0, away, np.inf)))


def _place(at: Sequence[float]) -> Place:
    x, y, z = (float(value) for value in at)
    return x, y, z
