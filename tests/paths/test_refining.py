"""Chords over curved tip surfaces against closed forms, walls against their definition."""

from math import pi, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.paths.pieces import Pieces, pieces_of
from icecam.paths.refining import RING_CHORD_MM, SHORTEST_MM, refined, rounded

Floats = NDArray[np.float64]


class Caps:
    """The tip of a ball over points and a floor at 0: the greatest of spheres' tops (closed form).

    Along y = 0; each point is (x, y, z).
    """

    def __init__(self, points: list[tuple[float, float, float]], radius: float) -> None:
        self.points = np.array(points).reshape(-1, 3)
        self.radius = radius

    def __call__(self, on_chord: Floats) -> Floats:
        off = np.hypot(
            on_chord[:, :1] - self.points[None, :, 0], on_chord[:, 1:2] - self.points[None, :, 1]
        )
        round_ = np.sqrt(np.maximum(self.radius**2 - off**2, 0.0)) - self.radius
        tops = np.where(off <= self.radius, self.points[None, :, 2] + round_, -np.inf)
        highest: Floats = np.maximum(tops.max(axis=1, initial=0.0), 0.0)
        return highest


def _rows(tip: Caps, ends: list[tuple[float, float]], spacing: float) -> Pieces:
    lines = []
    for first, last in ends:
        x = np.linspace(first, last, max(int((last - first) / spacing), 1) + 1)
        line = np.stack([x, np.zeros_like(x), np.zeros_like(x)], axis=1)
        line[:, 2] = tip(line)
        lines.append(line)
    return pieces_of(lines)


def _cut_below(tip: Caps, line: Floats, slack: float) -> float:
    """Deepest that a line lies inside the spheres, along their normals, or below the floor.

    Below a sphere's widest place its sides are upright; they may be met up to `slack` further on.
    """
    share = np.linspace(0.0, 1.0, 21)[:, None, None]
    places = (line[:-1] + share * (line[1:] - line[:-1])).reshape(-1, 3)
    deepest = float(-places[:, 2].min())
    for x, y, z in tip.points:
        over = np.maximum(places[:, 2] - (z - tip.radius), 0.0)
        off = places - np.array([x, y, 0.0])
        inside = tip.radius - np.sqrt(off[:, 0] ** 2 + off[:, 1] ** 2 + over**2)
        beside = np.abs(off[:, 0]) + slack
        after = tip.radius - np.sqrt(beside**2 + off[:, 1] ** 2 + over**2)
        near = np.hypot(beside, off[:, 1]) >= tip.radius
        deepest = max(deepest, float(np.where(near, after, inside).max()))
    return deepest


_places = st.lists(
    st.tuples(st.floats(0, 20), st.floats(0, 1), st.floats(0, 3)), min_size=1, max_size=6
)


@given(_places, st.floats(0.5, 4.0))
def test_no_chord_cuts_below_the_tip_by_more_than_it_may(
    points: list[tuple[float, float, float]], radius: float
) -> None:
    """Closed form: spheres' tops over points. A wall may be met within 0.04 mm in plan.

    The sagitta r - sqrt(r^2 - l^2 / 4) of a chord of l^2 = 8 r h is a little more than h.
    """
    sagitta = radius - sqrt(radius**2 - 2 * radius * 0.015)
    tip = Caps(points, radius)
    pieces = refined(_rows(tip, [(-5.0, 10.0), (11.0, 25.0)], radius / 4), radius, tip)
    assert len(pieces) == 2
    for n in range(2):
        assert _cut_below(tip, pieces[n], 2 * SHORTEST_MM) <= sagitta + 1e-9
        # walls are climbed straight up: nothing goes backwards
        assert (np.diff(pieces[n][:, 0]) >= 0).all()


@pytest.mark.parametrize("radius", [0.5, 2.0, 6.0])
def test_no_more_points_than_the_sagitta_calls_for(radius: float) -> None:
    """On a round top chords may be sqrt(8 r h) long; halving leaves none shorter than half."""
    tip = Caps([(0.0, 0.0, 0.0)], radius)
    tip.points[0, 2] = radius
    line = _rows(tip, [(-radius / 2, radius / 2)], radius)
    found = refined(line, radius, tip)[0]
    lengths = np.linalg.norm(np.diff(found, axis=0), axis=1)
    longest = sqrt(8 * radius * 0.015)
    assert lengths.max() <= longest
    # halves in plan of a chord just too long, on slopes of up to 30 degrees
    assert lengths.min() >= longest / 2 * np.cos(np.radians(35))


def test_points_given_stay_and_new_ones_rest_on_the_surface() -> None:
    """By definition: halving adds, it does not move."""
    tip = Caps([(0.0, 0.0, 2.0), (3.0, 0.5, 1.0)], 2.0)
    given_ = _rows(tip, [(-3.0, 6.0)], 0.7)
    found = refined(given_, 2.0, tip)[0]
    kept = (np.abs(found[:, None] - given_.points[None]) < 1e-12).all(axis=2)
    assert (kept.any(axis=0)).all()
    level = found[(np.abs(found[:, 2] - tip(found)) > 1e-9)]
    # only the points that climb a wall stand above the surface, over its lower side
    assert (level[:, 2] >= tip(level)).all()


def test_a_wall_is_climbed_straight_up_on_its_lower_side() -> None:
    """A step of 5 mm at x = 1 (definition): up at its foot, down at its foot."""

    def step(points: Floats) -> Floats:
        return np.where((points[:, 0] >= 1.0) & (points[:, 0] <= 4.0), 5.0, 0.0)

    x = np.linspace(0.0, 5.0, 11)
    line = np.stack([x, np.zeros(11), step(x[:, None])], axis=1)
    found = refined(pieces_of([line]), 1.0, step)[0]
    move = np.diff(found, axis=0)
    tall = np.flatnonzero(np.abs(move[:, 2]) > 1.0)
    assert len(tall) == 2
    np.testing.assert_array_equal(move[tall, :2], 0.0)
    up, down = found[tall[0], 0], found[tall[1], 0]
    assert 1.0 - 2 * SHORTEST_MM <= up <= 1.0
    assert 4.0 <= down <= 4.0 + 2 * SHORTEST_MM


def test_pieces_are_not_joined() -> None:
    """Far from each other, they stay two; a piece of one point stays as it is."""
    tip = Caps([(0.0, 0.0, 1.0)], 2.0)
    lines = [
        np.array([[-1.0, 0.0, 0.5], [1.0, 0.0, 0.5]]),
        np.array([[50.0, 0.0, 0.0]]),
        np.array([[90.0, 0.0, 9.0], [90.1, 0.0, 9.0]]),
    ]
    found = refined(pieces_of(lines), 2.0, tip)
    assert len(found) == 3
    for n, line in enumerate(lines):
        np.testing.assert_array_equal(found[n][0], line[0])
        np.testing.assert_array_equal(found[n][-1], line[-1])
    assert len(found[1]) == 1
    assert len(found[2]) == 2


def _ring(tip: Caps, z: float, longest: float) -> Floats:
    """Closed ring (n, 3) where the tip is as high as `z`: edge of a union of discs."""
    below = np.maximum(tip.points[:, 2] - z, 0.0)
    wide = np.sqrt(np.maximum(tip.radius**2 - np.maximum(tip.radius - below, 0.0) ** 2, 0.0))
    discs = shapely.buffer(shapely.points(tip.points[:, :2]), wide + 1e-3, quad_segs=400)
    edge = max(shapely.get_parts(shapely.union_all(discs)), key=lambda part: part.area).exterior
    count = max(4, int(np.ceil(edge.length / longest)))
    along = shapely.line_interpolate_point(edge, np.linspace(0, edge.length, count + 1))
    return np.column_stack([shapely.get_coordinates(along), np.full(count + 1, z)])


@given(_places, st.floats(0.5, 6.0), st.floats(0.05, 0.7), st.floats(0.1, 0.95))
def test_no_move_of_a_ring_cuts_deeper_than_it_may(
    points: list[tuple[float, float, float]], radius: float, apart: float, deep: float
) -> None:
    """Closed form: spheres' tops over points, points of the ring up to 0.7 radii apart.

    The sagitta is the one of a chord in a sphere, r - sqrt(r^2 - l^2 / 4).
    """
    tip = Caps([(x, y, z + radius) for x, y, z in points], radius)
    z = tip.points[:, 2].max() - deep * radius
    line = _ring(tip, z, apart * radius)
    found = rounded(pieces_of([line]), radius, tip)
    assert len(found) == 1
    assert (found.points[:, 2] == z).all()
    # those given stay, in their order
    at = 0
    for point in line:
        at = next(n for n in range(at, len(found.points)) if (found.points[n] == point).all())
    sagitta = radius - sqrt(radius**2 - 2 * radius * RING_CHORD_MM)
    for move in zip(found.points[:-1], found.points[1:], strict=True):
        if np.linalg.norm(move[1] - move[0]) <= sqrt(8 * radius * RING_CHORD_MM):
            assert _cut_below(tip, np.array(move), 0.0) <= sagitta + 1e-6
        else:
            # in a notch, where it would be clear on neither side
            middle, half = (move[0] + move[1]) / 2, (move[1] - move[0]) / 2
            aside = np.array([-half[1], half[0], 0.0])
            assert (tip(np.array([middle, middle + aside, middle - aside])) > z - 1e-9).all()


def test_a_coarse_ring_would_cut_deeper() -> None:
    """Ten points round a needle: a chord of 3.9 mm at its ball's widest, 0.31 mm deep (geometry).

    Two halvings make the moves short enough, and all points rest.
    """
    tip = Caps([(0.0, 0.0, 6.35)], 6.35)
    turn = 2 * pi * np.arange(11) / 10
    line = np.column_stack([6.3501 * np.cos(turn), 6.3501 * np.sin(turn), np.full(11, 0.01)])
    assert _cut_below(tip, line, 0.0) == pytest.approx(0.31, abs=0.01)
    found = rounded(pieces_of([line]), 6.35, tip)[0]
    assert len(found) == 1 + 10 * 4
    assert (tip(found) <= 0.01).all()
    assert np.hypot(found[:, 0], found[:, 1]).max() < 6.3501 + 0.01


def test_a_move_that_is_clear_on_neither_side_stays() -> None:
    """Ice that the tip must stay out of all round (definition)."""
    line = np.array([[0.0, 0.0, 1.0], [4.0, 0.0, 1.0]])

    def ends_alone(points: Floats) -> Floats:
        at_end = (np.abs(points[:, None, :2] - line[None, :, :2]) < 1e-9).all(axis=2).any(axis=1)
        return np.where(at_end, 1.0, 5.0)

    np.testing.assert_array_equal(rounded(pieces_of([line]), 1.0, ends_alone)[0], line)
