"""Toolpaths with arcs hidden in them: points of circles and helices among straight moves."""

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.paths.toolpath import CUT, RAPID, Toolpath

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bend:
    """An arc: how it begins and turns (rad), its radius, its rise, the points put on it."""

    heading: float
    turn: float
    radius: float
    rise: float
    moves: int

    def points(self, begin: Floats) -> Floats:
        """Return its points (moves, 3) after `begin`."""
        share = np.arange(1, self.moves + 1) / self.moves
        side = 1 if self.turn > 0 else -1
        spoke = -1j * side * self.radius * np.exp(1j * self.heading)
        ring = spoke * (np.exp(1j * self.turn * share) - 1)
        return np.asarray(begin + np.column_stack([ring.real, ring.imag, self.rise * share]))


_angle = st.floats(0, 2 * np.pi)
bends = st.builds(
    lambda heading, turn, way, radius, rise, step: Bend(
        heading,
        turn * way,
        radius,
        rise * radius * turn,
        max(4, int(turn / np.sqrt(8 * step / radius)) + 1),
    ),
    _angle,
    st.floats(0.4, 6.1),
    st.sampled_from([-1, 1]),
    st.floats(0.4, 60),
    st.sampled_from([0.0, 0.0, 0.1, -0.4, 0.9, -1.5]),
    st.sampled_from([0.001, 0.002, 0.006, 0.03]),
)
_walk = st.tuples(
    st.tuples(st.floats(-40, 40), st.floats(-40, 40), st.sampled_from([0.0, -1.0, 2.5])),
    st.sampled_from([CUT, CUT, RAPID]),
)
pieces = st.lists(
    st.tuples(st.one_of(bends, _walk), st.sampled_from([20.0, 55.5])), min_size=1, max_size=6
)


def joined(parts: list[tuple[Bend | tuple[tuple[float, float, float], int], float]]) -> Toolpath:
    """Return one path from above zero through all parts, each with its feed, and 3 mm more."""
    places, kinds, feeds = [np.array([0.0, 0.0, 5.0])], list[int](), list[float]()
    for part, feed in [*parts, (((3.0, 0.0, 0.0), CUT), 11.0)]:
        if isinstance(part, Bend):
            places += list(part.points(places[-1]))
            kinds += [CUT] * part.moves
            feeds += [feed] * part.moves
        else:
            places.append(places[-1] + part[0])
            kinds.append(part[1])
            feeds.append(feed)
    kind = np.array(kinds, np.int8)
    return Toolpath(
        start=places[0],
        ends=np.array(places[1:]),
        kind=kind,
        feed=np.where(kind == CUT, feeds, np.nan),
        line=np.zeros(len(kind), np.int32),
    )


def from_each_to_moves(places: Floats, points: Floats) -> Floats:
    """Distance of each place (m, 3) from the moves through points (n + 1, 3)."""
    begin, step = points[:-1], np.diff(points, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-300)
    best = np.full(len(places), np.inf)
    for origin, way, length in zip(begin, step, square, strict=True):
        share = np.clip((places - origin) @ way / length, 0, 1)
        away = np.linalg.norm(places - origin - share[:, None] * way, axis=1)
        np.minimum(best, away, out=best)
    return best


def with_middles(points: Floats) -> Floats:
    """Return points and the middles of the moves between them."""
    return np.concatenate([points, (points[1:] + points[:-1]) / 2])
