"""The plainest reading of a plain cut file, and what its moves do, worked out by brute force.

Shares nothing with the reader, the sweeps or the tip surfaces of the project.
"""

import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]
STEP_MM = 0.15


def moves_of(file: Path) -> tuple[Floats, NDArray[np.bool_]]:
    """Return points (n + 1, 3), the first where all three axes are known, and which moves cut."""
    at, cutting = [np.nan, np.nan, np.nan], False
    points, cuts = [], []
    for line in file.read_text().splitlines():
        words = re.findall(r"([A-Z])(-?[0-9.]+)", re.sub(r"\\(.*?\\)", "", line))
        moved = False
        for letter, number in words:
            if letter == "G" and float(number) in (0.0, 1.0):
                cutting = float(number) == 1.0
            if letter in "XYZ":
                at["XYZ".index(letter)] = float(number)
                moved = True
        if moved and not np.isnan(at).any():
            points.append(tuple(at))
            cuts.append(cutting)
    return np.array(points), np.array(cuts[1:])


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
