"""Valleys: narrow strips of ice that one run along them takes, where rows would cross them.

Takes marks on a grid of tips; gives lines along the middle of each narrow strip, moved sideways to
where the bit takes the thickest ice. The ice is carved by them at once, so that it is known what
they leave: that is traced again, and the rest is for rows and rings.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import skeletonize

from icecam.geometry.field import Grid, Heights
from icecam.kernels.compiled import over_stripes
from icecam.paths.finishing import CLIFF, Matter, Need, tip_radius
from icecam.paths.pieces import Pieces, at_cliffs, joined, pieces_of

WIDEST: Final = 5.0
"""Stepovers; wider strips are left to rows and rings."""
ROUNDS: Final = 5
HOLLOW: Final = 5.0
"""Nodes from the edge, and the width of a strip besides: what lies deeper is in none."""
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


def trace(
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
        matter = matter.after(found)
        useful = _still_useful(useful, need, found, matter, detail)
    return Traced(runs=joined(runs), matter=matter, useful=useful)


def _still_useful(useful: Marks, need: Need, runs: Pieces, matter: Matter, detail: float) -> Marks:
    """Return the useful nodes at which the bit still takes more than `detail` (mm) after `runs`.

    A bit takes no less than before where no run went within twice its radius.
    """
    row, column = np.nonzero(useful)
    near = _near_runs(row, column, need.grid, runs, 2 * matter.profile.radius)
    row, column = row[near], column[near]
    x, y = need.grid.x[column], need.grid.y[row]
    left = useful.copy()
    left[row, column] = matter.bite(np.column_stack([x, y, need.tips[row, column]])) > detail
    return left


def _near_runs(
    row: NDArray[np.intp], column: NDArray[np.intp], grid: Grid, runs: Pieces, reach: float
) -> Marks:
    """Mark the nodes (n,) that lie within `reach` (mm) of a run, and some beyond."""
    steps = np.diff(runs.points[:, :2], axis=0)
    steps[runs.starts[1:-1] - 1] = 0.0
    longest = float(np.hypot(*steps.T).max(initial=0.0))
    side = int((reach + longest) / grid.pitch) + 2
    squares = np.zeros((grid.ny // side + 1, grid.nx // side + 1), dtype=np.bool_)
    j, i = grid.nearest(*runs.points[:, :2].T)
    squares[j // side, i // side] = True
    marks: Marks = ndimage.maximum_filter(squares, size=3)[row // side, column // side]
    return marks


def valleys(marks: Marks, grid: Grid, width: float, rest: Rest, bite: Bite) -> Pieces:
    """Lines (n, 3) along the strips of marks that are no wider than `width` (mm).

    rest : height of the tip at points (n, 2); bite : the ice it takes at points (n, 3), mm
    """
    lines = middle_lines(marks, width / grid.pitch)
    if not lines:
        return pieces_of([])
    nodes = _smooth(_longer(pieces_of(lines)))
    across = _across(nodes)
    places = nodes.points[:, None] + SIDEWAYS[:, None] * across[:, None]
    plan = _plan(places.reshape(-1, 2), grid)
    taken = bite(np.column_stack([plan, rest(plan)])).reshape(-1, len(SIDEWAYS)).astype(np.float64)
    weight = np.maximum(taken - NEARLY * taken.max(axis=1, keepdims=True), 1e-9)
    off = (weight * SIDEWAYS).sum(axis=1) / weight.sum(axis=1)
    moved = _smooth(replace(nodes, points=nodes.points + off[:, None] * across))
    plan = _plan(moved.points, grid)
    return replace(nodes, points=np.column_stack([plan, rest(plan)]))


def _plan(nodes: Floats, grid: Grid) -> Floats:
    """Points (n, 2) in mm of places (n, 2) in nodes, column and row."""
    return np.array([grid.x0, grid.y0]) + grid.pitch * nodes


def middle_lines(marks: Marks, width: float) -> list[Floats]:
    """Lines of nodes (n, 2), column and row, in the middle of strips narrower than `width` nodes.

    A strip alone gives at least one line, be it of one node; branches of fewer than `SPUR` nodes
    are left out.
    """
    rows, columns = _kept(np.any(marks, axis=1)), _kept(np.any(marks, axis=0))
    marks = marks[np.ix_(rows, columns)]
    deep = width + HOLLOW
    room = _room(marks, deep)
    # thinning takes as long as marks are wide; of a hollow strip the middle is too wide as well
    middle: Marks = skeletonize(marks & (room < deep))  # type: ignore[no-untyped-call]
    narrow = middle & (2 * room - 1 <= width)
    labels, _ = ndimage.label(narrow, structure=np.ones((3, 3)))
    row, column = np.nonzero(labels)
    number = labels[row, column]
    order = np.argsort(number, kind="stable")
    nodes = list(zip(columns[column[order]].tolist(), rows[row[order]].tolist(), strict=True))
    edges = np.flatnonzero(np.diff(number[order], prepend=0, append=0)).tolist()
    lines = []
    for first, last in pairwise(edges):
        walks = _walks(nodes[first:last])
        lines += [walks[0], *(walk for walk in walks[1:] if len(walk) >= SPUR)]
    return [np.array(line, dtype=np.float64) for line in lines]


def _room(marks: Marks, most: float) -> Floats:
    """Distance of each node from the nearest that is not marked, or `most` if that is less."""
    padded = np.pad(marks, 1)
    beyond = int(min(most + 1, len(padded)))
    room = np.full(marks.shape, most)

    def work(first: int, last: int) -> None:
        begin = max(first - beyond, 0)
        window = padded[begin : last + 2 + beyond]
        if not window.all():
            found = ndimage.distance_transform_edt(window)[first + 1 - begin :, 1:-1]
            np.minimum(found[: last - first], most, out=room[first:last])

    over_stripes(len(marks), work)
    return room


def _kept(marked: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Numbers of the rows that are marked, and of one behind each row of those.

    One row without marks parts what lies on its sides as many do, and the nearest node that is not
    marked is as far from any that is.
    """
    kept = marked.copy()
    kept[1:] |= marked[:-1]
    return np.flatnonzero(kept)


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


def _longer(lines: Pieces) -> Pieces:
    """Return lines with a node more at both ends: the bit goes on to where it takes none."""
    points, first, last = lines.points, lines.starts[:-1], lines.starts[1:] - 1
    before = 2 * points[first] - points[np.minimum(first + 1, last)]
    behind = 2 * points[last] - points[np.maximum(last - 1, first)]
    alone = first == last
    before[alone] -= (0.5, 0.0)
    behind[alone] += (0.5, 0.0)
    ends = np.stack([before, behind], axis=1).reshape(-1, 2)
    return Pieces(
        points=np.insert(points, np.column_stack([first, last + 1]).ravel(), ends, axis=0),
        starts=lines.starts + 2 * np.arange(len(lines.starts)),
    )


def _smooth(lines: Pieces) -> Pieces:
    """Return lines of means of `SMOOTH` points, fewer on a short one; their ends stay."""
    points, counts = lines.points, np.diff(lines.starts)
    first, last = (np.repeat(ends, counts) for ends in (lines.starts[:-1], lines.starts[1:] - 1))
    half = np.repeat(np.minimum(SMOOTH, counts) // 2, counts)[:, None]
    total = np.zeros_like(points)
    for off in range(-(SMOOTH // 2), SMOOTH // 2 + 1):
        at = np.arange(len(points)) + off
        # beyond an end the line goes on turned round it
        end = np.clip(at, first, last)
        there = 2 * points[end] - points[np.clip(2 * end - at, first, last)]
        total += np.where(abs(off) <= half, there, 0.0)
    return replace(lines, points=total / (2 * half + 1))


def _across(lines: Pieces) -> Floats:
    """Return unit vectors (n, 2) across the lines at their points."""
    step = np.diff(lines.points, axis=0)
    step[lines.starts[1:-1] - 1] = 0.0
    along = np.zeros_like(lines.points)
    along[:-1] += step
    along[1:] += step
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    return np.column_stack([-along[:, 1] / length, along[:, 0] / length])
