"""A part of a large sculpture that stands for the whole of it when bits are compared.

Time on a large sculpture goes by its area, so drafts on evenly spread squares of it, scaled up,
tell as much as drafts on all of it. A small one is drafted whole.
"""

from dataclasses import replace
from typing import Final

import numpy as np

from icecam.geometry.field import HeightField
from icecam.paths.resting import near_sculpture
from icecam.plan import Scene

WHOLE_MM2: Final = 60_000.0
"""Area seen from above up to which a sculpture is drafted whole, and about which is drafted of a
larger one: as much as a figure in the usual block has."""
SIDE_MM: Final = 200.0
SHIFT: Final = 0.38197
"""Shares of squares from row to row by which the pattern is shifted: the golden section, so that it
falls in with no pattern of the sculpture."""


def sample_of(scene: Scene) -> tuple[Scene, float]:
    """Return the scene with a part of its sculpture, and the area of the whole over that part."""
    wanted = scene.wanted
    seen = np.isfinite(wanted.heights)
    every = int(seen.sum() * wanted.grid.pitch**2 // WHOLE_MM2) + 1
    if every == 1:
        return scene, 1.0
    column = np.floor(wanted.grid.x / SIDE_MM)
    row = np.floor(wanted.grid.y / SIDE_MM)
    shift = np.floor(row * SHIFT * every)[:, None]
    kept = seen & ((column[None, :] + shift) % every == 0)
    if not kept.any():
        return scene, 1.0
    part = HeightField(grid=wanted.grid, heights=np.where(kept, wanted.heights, -np.inf))
    # bits also go round the edge of what is kept, where the sculpture goes on
    worked = near_sculpture(part, scene.job) & seen
    return replace(scene, wanted=part), float(seen.sum() / worked.sum())
