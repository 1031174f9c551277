"""How much memory a job will hold at the most, told before it is begun.

Takes counts, gives bytes: so many for each cell, triangle and so on. The figures were measured
(tests/bench/test_bench_sizes.py) and rounded up.
"""

from collections.abc import Sequence
from math import ceil, floor, sqrt
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from icecam.errors import JobError, TextError
from icecam.estimate.stretches import STRETCH_CELLS, UPRIGHT_MM
from icecam.geometry.field import cells
from icecam.geometry.mesh import Mesh
from icecam.job.records import Job
from icecam.paths.finishing import stepover_for, tip_pitch
from icecam.paths.stages import ladder
from icecam.paths.toolpath import Toolpath

MOST_BYTES: Final = 6_000_000_000
"""A job that needs more is refused: judgement, computers of 8 GB are common."""
MOST_TEXT: Final = 1_000_000_000
"""Bytes of files that are read at once: some 50 million moves, whose figures are looked at then."""
ALWAYS: Final = 400_000_000
"""Bytes of the libraries and of what they compile."""
A_CELL: Final = 115
A_BARE_CELL: Final = 30
"""Of a block that is held against no sculpture."""
A_NODE: Final = 220
"""Moves that are planned over it included."""
A_TRIANGLE: Final = 250
"""While it is read twice as much, but then nothing else is held."""
A_MOVE: Final = 225
A_STRETCH: Final = 300


class Sizes(NamedTuple):
    """What there is to hold.

    cells : of the proof, `cell` mm wide; triangles : of the mesh, 0 without a sculpture
    nodes : places of the grid of tips of the bit that has most of them
    moves : of all files that are checked; stretches : that their loads are worked out for
    """

    cells: int
    cell: float
    triangles: int = 0
    nodes: int = 0
    moves: int = 0
    stretches: int = 0


def needed_bytes(sizes: Sizes) -> int:
    """Return the most memory that is held at once, about.

    >>> needed_bytes(Sizes(cells=6_000_000, cell=0.3, triangles=1_000_000)) / 1e9
    1.34
    """
    return ALWAYS + sum(_parts(sizes).values())


def nodes_of(job: Job, wide: float, deep: float) -> int:
    """Return the most places of a finishing bit's grid over a sculpture, `wide` x `deep` mm."""
    counts = [0]
    for stage in ladder(job):
        if stage.kind == "finish":
            pitch, _ = tip_pitch(stage.cutting, stepover_for(stage.cutting, job.quality.scallop))
            around = 2 * max(bit.diameter for bit in job.rack)
            counts.append(ceil((wide + around) / pitch) * ceil((deep + around) / pitch))
    return max(counts)


def block_sizes(job: Job, cell: float) -> Sizes:
    """Return what the block of a job holds in cells of side `cell` (mm)."""
    grid = cells(job.block.size[:2], cell)
    return Sizes(cells=grid.nx * grid.ny, cell=cell)


def sizes_of(mesh: Mesh, job: Job, cell: float) -> Sizes:
    """Return what the block and a placed sculpture hold."""
    wide, deep, _ = mesh.high - mesh.low
    nodes = nodes_of(job, float(wide), float(deep))
    return block_sizes(job, cell)._replace(triangles=len(mesh.triangles), nodes=nodes)


def check_texts(files: Sequence[Path]) -> None:
    """Refuse files that are too long to be read together.

    Raises
    ------
    TextError : says how long they are
    """
    length = sum(file.stat().st_size for file in files)
    if length > MOST_TEXT:
        raise TextError(
            f"{' and '.join(file.name for file in files)} hold {length / 1e6:.0f} MB and at most "
            f"{MOST_TEXT / 1e6:.0f} MB are read at once; check fewer files, or a file in parts"
        )


def stretches_of(path: Toolpath, cell: float) -> int:
    """Return a bound of the stretches that moves are joined to in `icecam.estimate.stretches`.

    cell : mm
    """
    steps = path.ends - path.begins
    level = np.hypot(steps[:, 0], steps[:, 1]) > UPRIGHT_MM
    breaks = np.diff(level) | (np.diff(path.kind) != 0)
    lengths, goal = path.lengths, STRETCH_CELLS * cell
    alone = lengths >= goal
    joined = float(lengths[~alone].sum()) / goal
    return min(len(path), 1 + int(breaks.sum() + 2 * alone.sum()) + ceil(joined))


def check_memory(sizes: Sizes) -> None:
    """Refuse what would hold more than `MOST_BYTES`.

    Raises
    ------
    JobError : says how much it needs, what takes most of it and what to change
    """
    needed = needed_bytes(sizes)
    if needed <= MOST_BYTES:
        return
    parts = _parts(sizes)
    what = max(parts, key=lambda name: parts[name])
    room = MOST_BYTES - needed + parts[what]
    raise JobError(
        f"this needs about {needed / 1e9:.1f} GB of memory and at most {MOST_BYTES / 1e9:g} are "
        f"taken: {_change(what, sizes, parts[what], room)}"
    )


def _parts(sizes: Sizes) -> dict[str, int]:
    """Bytes of each kind."""
    return {
        "cells": (A_CELL if sizes.triangles else A_BARE_CELL) * sizes.cells,
        "nodes": A_NODE * sizes.nodes,
        "triangles": A_TRIANGLE * sizes.triangles,
        "moves": A_MOVE * sizes.moves + A_STRETCH * sizes.stretches,
    }


def _change(what: str, sizes: Sizes, takes: int, room: int) -> str:
    """Say what takes most, and by how much less of it the rest would do."""
    share = max(room, 0) / takes
    told = f"{takes / 1e9:.1f} GB"
    if what == "cells":
        cell = ceil(101 * sizes.cell / sqrt(share)) / 100 if share > 1e-6 else 10 * sizes.cell
        return (
            f"{told} for {sizes.cells / 1e6:.0f} million cells of the proof of {sizes.cell:g} mm; "
            f"set quality.cell to {cell:g} mm or more, or leave it out"
        )
    if what == "nodes":
        return (
            f"{told} for {sizes.nodes / 1e6:.0f} million places on the rows of a finishing bit; "
            "set a larger quality.scallop, or leave the smallest bits out of the rack"
        )
    if what == "triangles":
        return (
            f"{told} for {sizes.triangles / 1e6:.1f} million triangles; reduce the mesh to "
            f"{_millions(share * sizes.triangles)} million or fewer"
        )
    return (
        f"{told} for {sizes.moves / 1e6:.0f} million moves; check fewer files at once, or a file "
        f"in parts of {_millions(share * sizes.moves)} million moves"
    )


def _millions(count: float) -> float:
    """Round down, so that what is told fits."""
    return floor(count / 1e5) / 10
