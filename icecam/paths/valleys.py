"""Valleys: narrow strips of ice that one run along them takes, where rows would cross them.

Takes marks on a grid of tips; gives lines along the middle of each narrow strip, moved sideways to
where the bit takes the thickest ice. The ice is carved by them at once, so that it is known what
they leave: that is traced again, a little wider each time, and the rest is for rows and rings.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import skeletonize

from icecam.geometry.field import Grid, HeightField, Heights
from icecam.geometry.sweeping import sweep
from icecam.kernels.profile import Profile
from icecam.paths.finishing import CLIFF, Matter, Need, need_for, tip_radius
from icecam.paths.pieces import Pieces, at_cliffs, joined, pieces_of

WIDEST: Final = 5.0
"""Stepovers; wider strips are left to rows and rings."""
ROUNDS: Final = 5
SPUR: Final = 3
"""Branches of a strip with fewer nodes are not gone along."""
SIDEWAYS: Final = np.linspace(-1.0, 1.0, 9)
"""Places across a line, in nodes, where the ice is looked at."""
NEARLY: Final = 0.7
"""Places that take this share of the thickest ice count for the middle."""
SMOOTH: Final = 5
"""Points of a line of which each takes the mean; nodes alone would make it a staircase."""
BESIDE: Final = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1))

Node = tuple[int, int]
Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]
Rest = Callable[[Floats], Heights]
Bite = Callable[[Floats], NDArray[np.float32]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traced:
    """Runs along valleys, the ice after them, and the tips at which the bit still is useful."""

    runs: Pieces
    matter: Matter
    useful: Marks


def traced(
    need: Need, useful: Marks, matter: Matter, rest: Rest, detail: float, stepover: float
) -> Traced:
    """Trace what is useful and narrow, as often as that takes ice.

    rest : height of the tip at points (n, 2); detail, stepover : mm
    """
    runs: list[Pieces] = []
    for _ in range(ROUNDS):
        found = valleys(useful, need.grid, WIDEST * stepover, rest, matter.bite)
        found = at_cliffs(found, CLIFF * tip_radius(matter.profile))
        if len(found) == 0:
            break
        runs.append(found)
        matter = replace(matter, ice=_cut(matter.ice, found, matter.profile))
        around = need.free & ndimage.binary_dilation(useful, iterations=1)
        need = need_for(HeightField(grid=need.grid, heights=need.tips), matter, around)
        useful = need.bite > detail
    return Traced(runs=joined(runs), matter=matter, useful=useful)


def _cut(ice: HeightField, runs: Pieces, profile: Profile) -> HeightField:
    """Return the ice carved by the runs alone."""
    heights = ice.heights.copy()
    between = np.zeros(len(runs.points) - 1, dtype=np.bool_)
    between[runs.starts[1:-1] - 1] = True
    sweep(heights, ice.grid, runs.points, between, profile)
    return HeightField(grid=ice.grid, heights=heights)


def valleys(marks: Marks, grid: Grid, width: float, rest: Rest, bite: Bite) -> Pieces:
    """Lines (n, 3) along the strips of marks that are no wider than `width` (mm).

    rest : height of the tip at points (n, 2); bite : the ice it takes at points (n, 3), mm
    """
    lines = [_smooth(_longer(line)) for line in middle_lines(marks, width / grid.pitch)]
    if not lines:
        return pieces_of([])
    nodes = pieces_of(lines)
    across = _across(nodes)
    places = nodes.points + SIDEWAYS[:, None, None] * across
    plan = _plan(places.reshape(-1, 2), grid)
    taken = bite(np.column_stack([plan, rest(plan)])).reshape(len(SIDEWAYS), -1).astype(np.float64)
    weight = np.maximum(taken - NEARLY * taken.max(axis=0), 1e-9)
    off = (weight * SIDEWAYS[:, None]).sum(axis=0) / weight.sum(axis=0)
    moved = Pieces(points=nodes.points + off[:, None] * across, starts=nodes.starts)
    plan = _plan(np.concatenate([_smooth(moved[n]) for n in range(len(moved))]), grid)
    return Pieces(points=np.column_stack([plan, rest(plan)]), starts=nodes.starts)


def _plan(nodes: Floats, grid: Grid) -> Floats:
    """Points (n, 2) in mm of places (n, 2) in nodes, column and row."""
    return np.array([grid.x0, grid.y0]) + grid.pitch * nodes


def middle_lines(marks: Marks, width: float) -> list[Floats]:
    """Lines of nodes (n, 2), column and row, in the middle of strips narrower than `width` nodes.

    A strip alone gives at least one line, be it of one node; branches of fewer than `SPUR` nodes
    are left out.
    """
    room = ndimage.distance_transform_edt(np.pad(marks, 1))[1:-1, 1:-1]
    middle: Marks = skeletonize(marks)  # type: ignore[no-untyped-call]
    narrow = middle & (2 * room - 1 <= width)
    labels, _ = ndimage.label(narrow, structure=np.ones((3, 3)))
    row, column = np.nonzero(labels)
    number = labels[row, column]
    order = np.argsort(number, kind="stable")
    nodes = list(zip(column[order].tolist(), row[order].tolist(), strict=True))
    edges = np.flatnonzero(np.diff(number[order], prepend=0, append=0)).tolist()
    lines = []
    for first, last in pairwise(edges):
        walks = _walks(nodes[first:last])
        lines += [walks[0], *(walk for walk in walks[1:] if len(walk) >= SPUR)]
    return [np.array(line, dtype=np.float64) for line in lines]


def _walks(nodes: list[Node]) -> list[list[Node]]:
    """Return walks over all nodes, the longest first, each as straight as it goes."""
    left = set(nodes)

    def beside(node: Node) -> list[Node]:
        return [at for x, y in BESIDE if (at := (node[0] + x, node[1] + y)) in left]

    ends = [node for node in nodes if len(beside(node)) == 1]
    walks = []
    for start in (*ends, *nodes):
        if start not in left:
            continue
        left.remove(start)
        walk, behind = [start], start
        while found := beside(walk[-1]):
            x, y = walk[-1]
            on = [(a - x) * (x - behind[0]) + (b - y) * (y - behind[1]) for a, b in found]
            behind = walk[-2] if len(walk) > 1 else start
            walk.append(found[on.index(max(on))])
            left.remove(walk[-1])
        walks.append(walk)
    return sorted(walks, key=len, reverse=True)


def _longer(line: Floats) -> Floats:
    """Return the line with a node more at both ends: the bit goes on to where it takes none."""
    if len(line) == 1:
        return np.array([[-0.5, 0.0], [0.0, 0.0], [0.5, 0.0]]) + line
    return np.concatenate([[2 * line[0] - line[1]], line, [2 * line[-1] - line[-2]]])


def _smooth(line: Floats) -> Floats:
    """Return means of `SMOOTH` points along the line, fewer on a short one; its ends stay."""
    half = min(SMOOTH, len(line)) // 2
    before, after = line[half:0:-1], line[-2 : -half - 2 : -1]
    turned = np.concatenate([2 * line[0] - before, line, 2 * line[-1] - after])
    smooth: Floats = sliding_window_view(turned, 2 * half + 1, axis=0).mean(axis=-1)
    return smooth


def _across(lines: Pieces) -> Floats:
    """Return unit vectors (n, 2) across the lines at their points."""
    step = np.diff(lines.points, axis=0)
    step[lines.starts[1:-1] - 1] = 0.0
    along = np.zeros_like(lines.points)
    along[:-1] += step
    along[1:] += step
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    return np.column_stack([-along[:, 1] / length, along[:, 0] / length])
