"""Finishing: sweeps on shallow ice, level rings on steep walls, only where ice was left.

Takes tip heights of a bit, the ice before it; gives pieces of path that rest on the sculpture.
"""

from dataclasses import dataclass, replace
from math import inf, radians, sqrt, tan
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.sweeping import sweep
from icecam.kernels.compiled import over_stripes
from icecam.kernels.profile import Profile
from icecam.kernels.standing import bites, bites_at, may_bite
from icecam.paths.pieces import Pieces

STEEP: Final = tan(radians(60))
"""From here on walls are cut in level rings."""
TILTED: Final = tan(radians(30))
"""From here on sweeps lie twice as close, so that scallops on the slope stay within height."""
CLOSER: Final = sqrt(3) / 2
"""Stepover in plan over stepover on the slope, at 30 degrees; a ring's step at 60 is the same."""
CLIFF: Final = 0.8
"""Radii of the tip from node to node: a higher wall ends a cut, for the machine would stop at its
foot and at its top and climb between."""
BITE_SAMPLES: Final = 7
"""Samples of ice across the radius of a large bit when asking what it would take."""
ROUNDING_MM: Final = 1e-6
"""Of bites, which are kept in half as many digits."""


def stepover_for(profile: Profile, scallop: float) -> float:
    """Distance of rows that leave cusps of height `scallop` (mm).

    Exact for a ball on a flat (a chord's sagitta, geometry); a vee's flanks meet at that height. A
    flat tip counts for nothing: on a slope it touches with its corner. Without a corner its rows
    lie a radius apart, and it leaves steps on slopes.

    >>> round(stepover_for(Profile(0, 3.0, inf, 3.0, 3.0, 3.0), 0.05), 5)
    1.09087
    """
    if profile.corner > 0.0:
        high = min(scallop, profile.corner)
        return 2 * sqrt(2 * profile.corner * high - high * high)
    if profile.flank < inf:
        return 2 * scallop / profile.flank
    return profile.radius


def tip_radius(profile: Profile) -> float:
    """Return the size of the tip that decides how fine its grid and its chords must be (mm)."""
    return max(profile.corner + profile.flat, 0.2)


def tip_pitch(profile: Profile, stepover: float) -> tuple[float, int]:
    """Pitch of the grid of tips and its nodes from row to row.

    Rows lie `stepover` times `CLOSER` apart; an even number of nodes, each at most a quarter of
    the radius of the tip.
    """
    rows = stepover * CLOSER
    finest = max((profile.corner + profile.flat) / 2, 0.2)
    half = max(1, int(np.ceil(rows / 2 / finest)))
    return rows / (2 * half), 2 * half


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Need:
    """Where a bit is needed: over its grid of tips (ny, nx).

    free : where the bit may go
    bite : mm of ice that matters it would take there, along its normal
    depth : mm of any ice it would take there, upright; as little as is of no use may be told as 0
    """

    grid: Grid
    tips: Heights
    free: NDArray[np.bool_]
    bite: NDArray[np.float32]
    depth: NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matter:
    """The ice before a stage, and how much of what matters the bit would take of it.

    matters : cells of the ice that is to go; elsewhere it may stay
    tops : no ice within the bit's radius of a square's middle stands higher
    finest : mm, cells that are looked at lie no further apart
    """

    ice: HeightField
    matters: NDArray[np.bool_]
    tops: HeightField
    profile: Profile
    finest: float = inf

    def bite(self, points: NDArray[np.float64]) -> NDArray[np.float32]:
        """Return the thickest ice (n,) that matters along the bit's normal, at tips (n, 3), mm."""
        tops = self.tops.heights[self.tops.grid.nearest(points[:, 0], points[:, 1])]
        found, g = np.zeros(len(points), dtype=np.float32), self.ice.grid
        over_stripes(
            len(points),
            lambda first, last: bites_at(
                found, first, last, points, tops, self.ice.heights, self.matters,
                (g.x0, g.y0, g.pitch), self.stride, self.profile,
            ),
        )  # fmt: skip
        return found

    def may_bite(self, low: Heights, high: Heights, z: Heights, least: float) -> NDArray[np.bool_]:
        """Mark (n,) where a tip at height z (n,) could bite more than `least` (mm).

        It stands somewhere in the box between low and high (n, 2); all cells are looked at.
        """
        found, g, t = np.zeros(len(z), dtype=np.bool_), self.ice.grid, self.tops.grid
        over_stripes(
            len(z),
            lambda first, last: may_bite(
                found, first, last, low, high, z, least - ROUNDING_MM, self.tops.heights,
                (t.x0, t.y0, t.pitch), self.ice.heights, self.matters, (g.x0, g.y0, g.pitch),
                self.profile,
            ),
        )  # fmt: skip
        return found

    def after(self, cuts: Pieces) -> "Matter":
        """Return what is left of the ice after these cuts alone."""
        if len(cuts) == 0:
            return self
        heights = self.ice.heights.copy()
        first, last = cuts.starts[1:-1], cuts.starts[1:-1] - 1
        # from cut to cut over all ice: on a way through it every cell would be looked at
        over = cuts.points[np.column_stack([last, first]).ravel()]
        over[:, 2] = heights.max()
        points = np.insert(cuts.points, np.repeat(first, 2), over, axis=0)
        between = np.zeros(len(points) - 1, dtype=np.bool_)
        between[(last + 2 * np.arange(len(last)))[:, None] + np.arange(3)] = True
        sweep(heights, self.ice.grid, points, between, self.profile)
        return replace(self, ice=replace(self.ice, heights=heights))

    def sparse(self, finest: float) -> "Matter":
        """Return as few cells of it as are looked at if they lie no more than `finest` mm apart."""
        apart, grid = replace(self, finest=finest).stride, self.ice.grid
        heights = np.ascontiguousarray(self.ice.heights[::apart, ::apart])
        few = Grid(grid.x0, grid.y0, grid.pitch * apart, *reversed(heights.shape))
        matters = np.ascontiguousarray(self.matters[::apart, ::apart])
        field = HeightField(grid=few, heights=heights)
        return replace(self, ice=field, matters=matters, finest=finest)

    @property
    def stride(self) -> int:
        """Cells from one that is looked at to the next."""
        size = self.profile.corner if self.profile.corner > 0.0 else self.profile.radius
        return max(1, int(min(size / BITE_SAMPLES, self.finest) / self.ice.grid.pitch))


def need_for(
    tips: HeightField, matter: Matter, free: NDArray[np.bool_], least: float = 0.0
) -> Need:
    """Ask at each tip how much of the ice it would take, of that which is thicker than `least`.

    free : tips where shank, nut and spindle are clear of ice
    """
    where = np.where(free, tips.heights, np.nan)
    shape = tips.heights.shape
    bite, depth = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    g, c, ice = tips.grid, matter.ice.grid, matter.ice.heights
    tops = matter.tops.over(g)
    over_stripes(
        g.ny,
        lambda first, last: bites(
            bite, depth, first, last, where, (g.x0, g.y0, g.pitch), ice, matter.matters,
            (c.x0, c.y0, c.pitch), tops, matter.stride, matter.profile, least,
        ),
    )  # fmt: skip
    return Need(grid=g, tips=tips.heights, free=free, bite=bite, depth=depth)


def slopes(tips: Heights, pitch: float) -> tuple[Heights, Heights]:
    """Steepest rise to a neighbour along x and along y at each node (mm a mm)."""
    return slope_along(tips, pitch, axis=1), slope_along(tips, pitch, axis=0)


def slope_along(tips: Heights, pitch: float, *, axis: int) -> Heights:
    """Steepest rise to a neighbour along y (axis 0) or x (axis 1) at each node (mm a mm)."""
    rise = np.abs(np.diff(tips, axis=axis)) / pitch
    steepest = np.zeros_like(tips)
    along, rises = (each.swapaxes(0, axis) for each in (steepest, rise))
    along[:-1] = rises
    np.maximum(along[1:], rises, out=along[1:])
    return steepest


def steep_regions(
    in_x: Heights, in_y: Heights, tips: Heights, pitch: float, width: float
) -> NDArray[np.int32]:
    """Return the number of the steep region worth rings at each node; 0 elsewhere.

    A region counts when it is higher than `width` and longer than twice that; smaller steps are
    left to the sweeps.
    """
    steep = ndimage.binary_closing(np.hypot(in_x, in_y) > STEEP, iterations=1)
    labels, count = ndimage.label(steep, structure=np.ones((3, 3)))
    if count == 0:
        return np.zeros(tips.shape, dtype=np.int32)
    index, number, heights = np.arange(1, count + 1), labels[steep], tips[steep]
    high = ndimage.maximum(heights, number, index) - ndimage.minimum(heights, number, index)
    size = np.bincount(number, minlength=count + 1)[1:] * pitch
    kept = np.concatenate([[0], np.where((high > width) & (size > 2 * width), index, 0)])
    found: NDArray[np.int32] = kept.astype(np.int32)[labels]
    return found
