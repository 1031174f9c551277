"""The plainest reading of a plain cut file, and what its moves do, worked out by brute force.

Shares nothing with the reader, the sweeps or the tip surfaces of the project.
"""

import re
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]
STEP_MM = 0.15


def moves_of(file: Path) -> tuple[Floats, NDArray[np.bool_]]:
    """Return points (n + 1, 3), the first where all three axes are known, and which moves cut."""
    return moves_in(file.read_text().splitlines())[:2]


def moves_in(lines: Iterable[str]) -> tuple[Floats, NDArray[np.bool_], NDArray[np.intp]]:
    """Return the same of lines, and the line of each move, counted from 1.

    An arc (NISTIR 6556, 3.5.3.2: I and J from its start) becomes moves of half a degree.
    """
    at, motion = [np.nan, np.nan, np.nan], 0.0
    points: list[tuple[float, ...]] = []
    cuts: list[bool] = []
    where: list[int] = []
    for nth, line in enumerate(lines, start=1):
        words = re.findall(r"([A-Z])(-?[0-9.]+)", re.sub(r"\\(.*?\\)", "", line))
        moved, before, numbers = False, list(at), dict(words)
        for letter, number in words:
            if letter == "G" and float(number) in (0.0, 1.0, 2.0, 3.0):
                motion = float(number)
            if letter in "XYZ":
                at["XYZ".index(letter)] = float(number)
                moved = True
        if moved and motion in (2.0, 3.0):
            offset = complex(float(numbers["I"]), float(numbers["J"]))
            round_it = arc(np.array(before), np.array(at), offset, 1 if motion == 3.0 else -1)
            points += [tuple(point) for point in round_it.tolist()]
            cuts += [True] * len(round_it)
            where += [nth] * len(round_it)
        elif moved and not np.isnan(at).any():
            points.append(tuple(at))
            cuts.append(motion == 1.0)
            where.append(nth)
    return np.array(points), np.array(cuts[1:]), np.array(where[1:])


def arc(begin: Floats, end: Floats, offset: complex, way: int) -> Floats:
    """Return places on an arc after its begin, half a degree apart, the end the last of them."""
    spokes = -offset, complex(*(end - begin)[:2]) - offset
    turn = way * np.angle(spokes[1] / spokes[0]) % (2 * np.pi)
    share = np.linspace(0.0, 1.0, int(np.ceil(turn / np.radians(0.5))) + 1)[1:]
    ring = complex(*begin[:2]) + offset + spokes[0] * np.exp(1j * way * turn * share)
    height = begin[2] + share * (end[2] - begin[2])
    places = np.column_stack([ring.real, ring.imag, height])
    places[-1] = end
    return places


def samples(points: Floats, which: NDArray[np.bool_]) -> Floats:
    """Return points along the moves marked, no farther apart than `STEP_MM`."""
    begin, end = points[:-1][which], points[1:][which]
    count = np.ceil(np.linalg.norm(end - begin, axis=1) / STEP_MM).astype(int) + 1
    share = np.concatenate([np.linspace(0.0, 1.0, n) for n in count])[:, None]
    begin, end = np.repeat(begin, count, axis=0), np.repeat(end, count, axis=0)
    return np.asarray(begin + share * (end - begin))


def lowest_over(places: Floats, tips: Floats, solid: Solid, top: float) -> Floats:
    """Return the lowest point of a bit over each place (m, 2), of tips (n, 3); at most `top`."""
    near = cKDTree(tips[:, :2]).query_ball_point(places, solid.radius)
    found = np.full(len(places), top)
    for n, who in enumerate(near):
        if who:
            r = np.hypot(*(tips[who, :2] - places[n]).T)
            found[n] = min(top, (tips[who, 2] + heights(solid, r)).min())
    return found


def inset(solid: Solid, by: float) -> Solid:
    """Return all of a solid that is `by` or more from its outside; its tip is put at zero again."""
    if solid.corner >= by:
        return solid.swollen(-by)
    if solid.corner > 0.0 or solid.taper > 0.0:
        raise ValueError("neither flat nor round enough")
    return Solid(flat=solid.flat - by, corner=0.0, taper=0.0, radius=solid.radius - by)
