"""Ways between cuts against the ice as it stands, cell by cell, and against a carved block."""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import sqrt
from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.geometry.field import HeightField, cells
from icecam.geometry.profile import Cylinder, cutting_end, cylinders
from icecam.paths.cut_order import Cuts
from icecam.paths.pieces import Pieces, pieces_of
from icecam.paths.resting import Rest
from icecam.paths.standing import COARSE_MM, FINER_MM, Standing, parts_above
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from icecam.paths.ways import Terrain, find_ways, kept_ways
from icecam.prove.carving import Carved, carve
from tests.geometry.bits import solid_of
from tests.paths.scenes import BALL, GOING, SPINDLE_MM, linked, resting_on
from tests.reference.profile import Solid
from tests.reference.standing import travel_height

Floats = NDArray[np.float64]
SAFE_MM, CLEAR_MM, SLOW_MM = GOING.safe, GOING.clearance, 0.5
"""As documented: the last 0.5 mm down to the ice go as slowly as into it."""
SIDE_MM: Final = 60.0
OFF_MM: Final = 0.025
"""Chords may take 0.015 mm, straightening 0.01 mm (DEVELOPERS)."""
TOWER_MM: Final = 7.5
ROUND: Final = 1e-9
CELL_MM: Final = 0.5
DIAGONAL: Final = 0.7072
"""Half that of a square of 1 mm."""

BALL_SOLID: Final = solid_of(BALL)
ABOVE: Final = cylinders(BALL, SPINDLE_MM)


def _flat_end(part: Cylinder) -> Solid:
    return Solid(flat=part.radius, corner=0.0, taper=0.0, radius=part.radius)


CUTTING_PART: Final = [(BALL_SOLID, 0.0)]
PARTS_ABOVE: Final = [(_flat_end(part), part.base) for part in ABOVE]


def _clear_of(
    ice: HeightField, a: Floats, b: Floats, parts: list[tuple[Solid, float]], slack: float = 0.0
) -> float:
    """Lowest tip height on the way a-b, by the slow twin over all cells."""
    return travel_height(ice.heights, ice.grid.x, ice.grid.y, a[:2], b[:2], parts, slack)


# A landscape with towers of ice on it, and cuts on it


def _sculpture(points: Floats) -> Floats:
    """Rounded hills: 14 high over 7 and 9 mm, so nowhere rounder than the ball of 1.5 mm."""
    return 18.0 + 14.0 * np.sin(points[:, 0] / 9.0) * np.sin(points[:, 1] / 7.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Linked:
    """Cuts linked over ice; `towers` (8, 8) marks squares of 7.5 mm where ice stands high."""

    ice: HeightField
    towers: NDArray[np.bool_]
    pieces: Pieces
    standing: Standing
    path: Toolpath
    carved: Carved


def _in_tower(towers: NDArray[np.bool_], points: Floats, margin: float = 0.0) -> NDArray[np.bool_]:
    """Whether points lie in a tower, more than `margin` from its sides."""
    square = np.clip((points[:, :2] / TOWER_MM).astype(int), 0, 7)
    off = points[:, :2] - TOWER_MM * square
    deep = ((off >= margin) & (off <= TOWER_MM - margin)).all(axis=1)
    return np.asarray(towers[square[:, 1], square[:, 0]] & deep)


def _cuts(towers: NDArray[np.bool_], rng: np.random.Generator, count: int = 40) -> Pieces:
    """Short cuts outside of towers, some near the one before, some far from it."""
    lines: list[Floats] = []
    here = rng.uniform(5, 55, 2)
    while len(lines) < count:
        here = np.clip(here + rng.uniform(-4, 4, 2), 5, 55)
        if rng.random() < 0.4:
            here = rng.uniform(5, 55, 2)
        plan = np.clip(here + np.linspace(0, 1, 5)[:, None] * rng.uniform(-3, 3, 2), 4, 56)
        if not _in_tower(towers, plan).any():
            lines.append(np.column_stack([plan, _sculpture(plan)]))
            here = plan[-1]
    return pieces_of(lines)


@cache
def _linked(seed: int) -> _Linked:
    """Up to 3 mm of rough ice over hills, and towers of 20 mm more, which no way may go through."""
    rng = np.random.default_rng(seed)
    grid = cells((SIDE_MM, SIDE_MM), CELL_MM)
    xx, yy = np.meshgrid(grid.x, grid.y)
    hills = _sculpture(np.stack([xx.ravel(), yy.ravel()], axis=1)).reshape(xx.shape)
    towers = rng.random((8, 8)) < 0.35
    high = np.kron(towers, np.ones((15, 15))) * 20.0
    ice = HeightField(grid=grid, heights=hills + high + rng.uniform(1.0, 3.0, xx.shape))
    pieces = _cuts(towers, rng)
    standing = Standing(ice=ice, cutting=cutting_end(BALL), above=parts_above(ABOVE))
    path = linked(pieces, standing, _sculpture, lambda points: ~_in_tower(towers, points))
    carved = carve(ice, path, cutting_end(BALL), ABOVE)
    return _Linked(
        ice=ice, towers=towers, pieces=pieces, standing=standing, path=path, carved=carved
    )


def _begins_of_pieces(pieces: Pieces, path: Toolpath) -> list[int]:
    """Numbers of the points (start of the path first) at which pieces begin, found in order.

    Where a way along the surface ends may be off by rounding.
    """
    points = np.concatenate([path.start[None], path.ends])
    at, found = 0, []
    for n in range(len(pieces)):
        length = len(pieces[n])
        while not np.allclose(points[at : at + length], pieces[n], rtol=0.0, atol=ROUND):
            at += 1
            assert at + length <= len(points)
        found.append(at)
        at += length - 1
    return found


def _ways(pieces: Pieces, path: Toolpath) -> dict[int, slice]:
    """Moves from the end of each piece to the beginning of the next, by number of the piece."""
    begins = _begins_of_pieces(pieces, path)
    return {n: slice(begins[n] + len(pieces[n]) - 1, begins[n + 1]) for n in range(len(pieces) - 1)}


def _along(pieces: Pieces, path: Toolpath) -> dict[int, Floats]:
    """Ways along the surface with their beginnings, by number of the piece they leave."""
    return {
        n: np.concatenate([path.begins[moves][:1], path.ends[moves]])
        for n, moves in _ways(pieces, path).items()
        if (path.kind[moves] == CUT).all()
    }


def _sampled(way: Floats, spacing: float) -> Floats:
    """Places (n, 3) on a line, at most `spacing` apart."""
    parts = [
        np.linspace(a, b, max(2, int(np.linalg.norm(b - a) / spacing) + 2))
        for a, b in pairwise(way)
    ]
    return np.concatenate(parts)


def _from_rest_to_rest(way: float, speed: float, acceleration: float) -> float:
    """Speed up over half of a short way, or to full speed (Galileo: s = a t^2 / 2)."""
    if way <= speed**2 / acceleration:
        return 2 * sqrt(way / acceleration)
    return way / speed + speed / acceleration


def _rise_by_hand(standing: Standing, a: Floats, b: Floats) -> float:
    """Seconds from a up, over and down to b: rapids, and the last 0.5 mm and ice at plunge feed."""
    over = min(float(standing.way(a[None], b[None])[0]) + CLEAR_MM, SAFE_MM)
    over = max(over, float(a[2]), float(b[2]))
    ground = float(standing.down(b[None])[0])
    slow = min(max(ground + SLOW_MM - float(b[2]), 0.0), over - float(b[2]))
    ways = (over - float(a[2]), over - float(b[2]) - slow)
    return (
        sum(_from_rest_to_rest(way, GOING.speed[1], GOING.acceleration[1]) for way in ways)
        + _from_rest_to_rest(float(np.hypot(*(b - a)[:2])), GOING.speed[0], GOING.acceleration[0])
        + slow / GOING.plunge
    )


SEEDS: Final = [0, 1, 2]
_seeds = pytest.mark.parametrize("seed", SEEDS)


@_seeds
def test_level_rapids_keep_the_clearance_or_stay_over_everything(seed: int) -> None:
    """By the slow twin, cell by cell: cutting end and all above it stay 3 mm over the ice.

    Or the rapid runs at the safe height.
    """
    scene = _linked(seed)
    path = scene.path
    level = (path.kind == RAPID) & (path.begins[:, 2] == path.ends[:, 2])
    assert level.sum() >= 5
    assert (path.ends[level, 2] < SAFE_MM).sum() >= 3
    for a, b in zip(path.begins[level], path.ends[level], strict=True):
        need = _clear_of(scene.ice, a, b, CUTTING_PART + PARTS_ABOVE) + CLEAR_MM
        assert a[2] >= min(need, SAFE_MM) - ROUND


@_seeds
def test_other_rapids_go_straight_up_or_down_and_stop_over_the_ice(seed: int) -> None:
    """By the slow twin: straight down a rapid ends 3 mm over the ice, for the bit and all above."""
    scene = _linked(seed)
    path = scene.path
    upright = (path.kind == RAPID) & (path.begins[:, 2] != path.ends[:, 2])
    np.testing.assert_array_equal(path.begins[upright, :2], path.ends[upright, :2])
    down = upright & (path.ends[:, 2] < path.begins[:, 2])
    assert down.sum() >= 5
    for end in path.ends[down]:
        need = _clear_of(scene.ice, end, end, CUTTING_PART + PARTS_ABOVE)
        assert end[2] >= need + CLEAR_MM - ROUND


@_seeds
def test_rapids_meet_no_ice_and_nothing_above_the_cutting_end_does(seed: int) -> None:
    """The same path carved: deepest ice met by a rapid, and by shank, nut and spindle on rapids."""
    scene = _linked(seed)
    assert scene.carved.rapid_depth.max() <= ROUND
    assert scene.carved.contact_depth[scene.path.kind == RAPID].max() == 0.0
    assert scene.carved.removed.sum() > 0


@_seeds
def test_level_rapids_rise_no_higher_than_the_ice_near_them_calls_for(seed: int) -> None:
    """By the slow twin: squares of 1 and 2 mm hold their greatest height.

    So a cell may count as a whole diagonal of its square nearer. Or a rapid lies as high as one of
    the cuts it joins.
    """
    scene = _linked(seed)
    path, pieces = scene.path, scene.pieces
    for n, moves in _ways(pieces, path).items():
        rapid = np.flatnonzero(path.kind[moves] == RAPID) + moves.start
        for move in rapid:
            a, b = path.begins[move], path.ends[move]
            if a[2] != b[2]:
                continue
            calls = max(
                _clear_of(scene.ice, a, b, CUTTING_PART, 2 * DIAGONAL * FINER_MM),
                _clear_of(scene.ice, a, b, PARTS_ABOVE, 2 * DIAGONAL * COARSE_MM),
            )
            joins = max(pieces[n][-1, 2], pieces[n + 1][0, 2])
            assert a[2] <= max(min(calls + CLEAR_MM, SAFE_MM), joins) + ROUND


@_seeds
def test_plunges_are_short_straight_and_slow(seed: int) -> None:
    """At plunge feed from no more than 0.5 mm over the ice; before that in the open, by carving.

    Each comes straight down to where a cut begins.
    """
    scene = _linked(seed)
    path = scene.path
    begins = {tuple(scene.pieces[n][0]) for n in range(len(scene.pieces))}
    plunges = np.flatnonzero(path.feed == GOING.plunge)
    assert len(plunges) >= 5
    for move in plunges:
        begin, end = path.begins[move], path.ends[move]
        np.testing.assert_array_equal(begin[:2], end[:2])
        assert path.kind[move] == CUT
        assert begin[2] > end[2]
        assert tuple(end) in begins
        ground = max(
            _clear_of(scene.ice, end, end, CUTTING_PART, 0.02),
            _clear_of(scene.ice, end, end, PARTS_ABOVE, 2 * DIAGONAL * COARSE_MM),
        )
        assert begin[2] <= ground + SLOW_MM + ROUND
    approach = path.feed == GOING.approach
    assert approach.sum() >= 5
    np.testing.assert_array_equal(path.begins[approach, :2], path.ends[approach, :2])
    assert scene.carved.removed[approach].sum() == 0.0
    for end in path.ends[approach]:
        if tuple(end) not in begins:
            need = _clear_of(scene.ice, end, end, CUTTING_PART + PARTS_ABOVE)
            assert end[2] >= need + SLOW_MM - ROUND


@_seeds
def test_all_cuts_are_in_the_path_in_their_order(seed: int) -> None:
    """By definition: each piece is found, point by point and at cutting feed, after the last."""
    scene = _linked(seed)
    path = scene.path
    for n, at in enumerate(_begins_of_pieces(scene.pieces, path)):
        moves = slice(at, at + len(scene.pieces[n]) - 1)
        assert (path.kind[moves] == CUT).all()
        assert (path.feed[moves] == GOING.feed).all()
    assert path.start[2] == SAFE_MM
    assert path.ends[-1, 2] == SAFE_MM
    assert path.kind[-1] == RAPID


@_seeds
def test_ways_along_the_surface_stay_off_the_sculpture_and_out_of_towers(seed: int) -> None:
    """Nowhere below where the bit may rest, nor where it may not take the ice (definition).

    Their points lie no more than sqrt(8 r 0.015) = 0.43 mm apart before straightening, so between
    two of them a corner of a tower may be cut by half as much.
    """
    scene = _linked(seed)
    along = _along(scene.pieces, scene.path)
    assert len(along) >= 5
    for way in along.values():
        places = _sampled(way, 0.05)
        assert (places[:, 2] >= _sculpture(places) - OFF_MM).all()
        assert not _in_tower(scene.towers, places, 0.22 + 0.01).any()


@_seeds
def test_ways_are_along_the_surface_only_where_that_is_quicker(seed: int) -> None:
    """Their length at the pace takes no longer than to rise, go over and come down.

    Kinematics by hand, as `tests/paths/test_ways.py` checks them; heights are those
    asked of `Standing`, which are tested for themselves.
    """
    scene = _linked(seed)
    along = _along(scene.pieces, scene.path)
    assert len(along) < len(scene.pieces) - 1
    for n in range(len(scene.pieces) - 1):
        a, b = scene.pieces[n][-1], scene.pieces[n + 1][0]
        rise = _rise_by_hand(scene.standing, a, b)
        if n in along:
            length = np.linalg.norm(np.diff(along[n], axis=0), axis=1).sum()
            assert length / GOING.pace <= rise + ROUND
        else:
            # what is not taken is slower, or a tower stands in its way
            places = _sampled(np.array([a, b]), 0.02)
            places[:, 2] = np.maximum(places[:, 2], _sculpture(places))
            length = np.linalg.norm(np.diff(places, axis=0), axis=1).sum()
            slower = length / GOING.pace >= rise - ROUND
            assert slower or _in_tower(scene.towers, places).any()


@_seeds
def test_ways_of_what_is_left_are_those_found_anew(seed: int) -> None:
    """Cuts parted, left out and shortened at random: the very same ways, without asking again."""
    scene, rng = _linked(seed), np.random.default_rng(seed + 1)
    cuts = Cuts(pieces=scene.pieces, lifts=rng.choice([0.0, 2.0], len(scene.pieces)))

    def terrain(rest: Rest) -> Terrain:
        def bears(points: Floats) -> NDArray[np.bool_]:
            return ~_in_tower(scene.towers, points)

        return Terrain(standing=scene.standing, going=GOING, rest=rest, bears=bears)

    asked: list[int] = []

    def counted(points: Floats, least: float | Floats = -np.inf) -> Floats:
        asked.append(len(points))
        return resting_on(_sculpture)(points, least)

    ways = find_ways(cuts.pieces, cuts.lifts, terrain(counted))
    at_first = sum(asked)
    asked.clear()
    places = rng.choice(scene.pieces.points, 4, replace=False)
    left, origin = cuts.without(places, 1.0)
    assert 2 < len(left.pieces) < 2 * len(cuts.pieces)
    some = left.pieces, left.lifts
    kept = kept_ways(ways, cuts.pieces, origin, *some, terrain(counted))
    assert sum(asked) < at_first / 2
    anew = find_ways(*some, terrain(resting_on(_sculpture)))
    np.testing.assert_array_equal(kept.ground, anew.ground)
    np.testing.assert_array_equal(kept.over, anew.over)
    assert kept.along.keys() == anew.along.keys()
    for n, way in kept.along.items():
        np.testing.assert_array_equal(way, anew.along[n])


def test_ways_of_a_cut_parted_in_two_and_of_none() -> None:
    """One cut has no way; its halves have one between them; of nothing left there is none."""
    scene = _linked(1)
    one = pieces_of([np.array([[5.0, 5.0, 50.0], [7.0, 5.0, 50.0], [9.0, 5.0, 50.0]])])
    terrain = Terrain(
        standing=scene.standing, going=GOING, rest=resting_on(_sculpture),
        bears=lambda points: ~_in_tower(scene.towers, points),
    )  # fmt: skip
    ways = find_ways(one, np.zeros(1), terrain)
    assert (len(ways.over), len(ways.along)) == (0, 0)
    halves = pieces_of([np.array([[x, 5.0, 50.0], [x + 1.0, 5.0, 50.0]]) for x in (5.0, 8.0)])
    kept = kept_ways(ways, one, np.zeros(2, np.intp), halves, np.zeros(2), terrain)
    anew = find_ways(halves, np.zeros(2), terrain)
    np.testing.assert_array_equal(kept.over, anew.over)
    assert len(kept.over) == 1
    none = kept_ways(ways, one, np.zeros(0, np.intp), pieces_of([]), np.zeros(0), terrain)
    assert (len(none.ground), len(none.over), len(none.along)) == (0, 0, 0)
