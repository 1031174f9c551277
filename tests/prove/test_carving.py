"""Carving against the slow twin, and what each move meets."""

from math import pi, tau
from typing import Final

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.geometry import sweeping
from icecam.geometry.field import Grid, HeightField
from icecam.geometry.profile import Cylinder, cutting_end, cylinders
from icecam.kernels.profile import height
from icecam.prove.carving import GRAZE_MM, carve, whole_block
from icecam.prove.proof import RAPID_MM
from tests.geometry.bits import BITS, make_bit, solid_of
from tests.prove.moves import block, cut, path_of
from tests.reference import carve as twin
from tests.reference.profile import Solid

Floats = NDArray[np.float64]
Move = tuple[tuple[float, float, float], bool]

ROUNDING: Final = 1e-6
CHIP: Final = 0.05
GRID: Final = Grid(0.5, 0.25, 0.5, 22, 19)
"""More cells than a tile of 16 either way."""
LEVEL: Final = 10.0

_whole = st.integers(-2, 12).map(float)
_x = _whole | st.floats(-2, 13)
_z = st.integers(5, 12).map(float) | st.floats(3, 13) | st.floats(9.5, 10)
_place = st.tuples(_x, _x, _z)
_part = st.builds(Cylinder, st.just("part"), st.floats(0.1, 4), st.floats(0.1, 8))


@st.composite
def ways(draw: st.DrawFn) -> list[Move]:
    """Start and up to four moves: slanted, level or upright, rapid or cutting."""
    place = draw(_place)
    found = [(place, False)]
    for _ in range(draw(st.integers(1, 4))):
        x, y, z = draw(_place)
        kind = draw(st.sampled_from(["slanted", "level", "plunge", "along x", "along y"]))
        if kind == "level":
            z = place[2]
        elif kind == "plunge":
            x, y = place[:2]
        elif kind == "along x":
            y = place[1]
        elif kind == "along y":
            x = place[0]
        place = (x, y, z)
        found.append((place, draw(st.sampled_from([True, True, False]))))
    return found


def by_twin(
    ice: HeightField, moves: list[Move], solid: Solid, parts: tuple[Cylinder, ...]
) -> twin.Met:
    """Return what the twin says; the parts are slimmer by what may graze."""
    x, y = ice.grid.x, ice.grid.y
    points = np.array([place for place, _ in moves])
    found = []
    for a, b, (_, cuts) in zip(points[:-1], points[1:], moves[1:], strict=True):
        above = []
        for part in parts:
            slim = max(part.radius - GRAZE_MM, 0.0)
            lift = np.array([0.0, 0.0, part.base])
            disc = Solid(flat=slim, corner=0.0, taper=0.0, radius=slim)
            above.append(twin.swept(disc, a + lift, b + lift, x, y))
        touch = twin.first_touch(solid, a, b, x, y)
        found.append(twin.Move(twin.swept(solid, a, b, x, y), above, cuts, touch))
    return twin.carved(twin.Between(ice.heights, ice.heights), found)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.sampled_from(sorted(BITS)), ways(), st.tuples(_part, _part), st.integers(0, 99))
@example("vee", [((3.0, 3.0, 12.0), False), ((3.0, 3.0, 5.0), True)], (), 0)
@example("flat", [((0.5, 0.25, 9.0), False), ((8.0, 0.25, 9.0), True)], (), 0)
def test_any_moves_of_any_bit(
    name: str, moves: list[Move], parts: tuple[Cylinder, ...], seed: int
) -> None:
    """The slow twin sets the bit down along each move, and bounds what lies between."""
    rng = np.random.default_rng(seed)
    rough = np.full((GRID.ny, GRID.nx), LEVEL)
    if seed % 2:
        rough -= rng.uniform(0.0, 5.0, rough.shape) * (rng.uniform(size=rough.shape) < 0.3)
    ice = HeightField(grid=GRID, heights=rough)
    met = by_twin(ice, moves, solid_of(BITS[name]), parts)
    path = path_of([place for place, _ in moves], [cuts for _, cuts in moves[1:]])
    found = carve(ice, path, cutting_end(BITS[name]), parts)
    rapid = np.array([not cuts for _, cuts in moves[1:]])
    for figure, bounds in (
        (found.ice.heights, met.ice),
        (found.removed / GRID.pitch**2, met.taken),
        (found.rapid_depth[rapid], met.depth.of(rapid)),
        (found.depth[~rapid], met.mean.of(~rapid)),
        (found.contact_depth, met.contact),
    ):
        assert (figure >= bounds.low - ROUNDING).all()
        assert (figure <= bounds.high + ROUNDING).all()
    assert (found.rapid_depth[~rapid] == 0.0).all()
    assert (found.depth[rapid] == 0.0).all()
    # the twin looks at steps of the way, and a chip changes fast where a bit grazes ice
    assert (found.chip >= met.chip.low - CHIP).all()
    assert (found.chip[rapid] == 0.0).all()
    if name in ("ball", "flat") and len({place[2] for place, _ in moves}) == 1:
        assert (found.chip <= met.chip.high + CHIP).all()


def test_bounds_of_the_twin_are_narrow() -> None:
    """What the twin allows must be little, or it would hold nothing: a slanted cut of each bit."""
    moves: list[Move] = [((1.0, 2.0, 9.5), False), ((9.0, 7.0, 6.0), True)]
    for bit in BITS.values():
        met = by_twin(block_of_twin(), moves, solid_of(bit), ())
        width = met.ice.high - met.ice.low
        assert np.quantile(width, 0.8) < 0.1
        assert met.ice.high.min() < LEVEL - 3.0


def block_of_twin() -> HeightField:
    return HeightField(grid=GRID, heights=np.full((GRID.ny, GRID.nx), LEVEL))


@pytest.mark.parametrize("name", BITS)
def test_rough_ice_and_many_moves(name: str) -> None:
    """A walk of twenty moves over rough ice of several tiles, bounded by the twin."""
    rng = np.random.default_rng(20)
    grid = Grid(-3.0, 2.0, 0.8, 55, 43)
    ice = HeightField(grid=grid, heights=rng.uniform(4.0, 12.0, (grid.ny, grid.nx)))
    places = rng.uniform([-6.0, -1.0, 3.0], [44.0, 40.0, 14.0], (21, 3))
    cuts = (rng.uniform(size=20) < 0.7).tolist()
    moves = [
        (tuple(place.tolist()), kind) for place, kind in zip(places, [True, *cuts], strict=True)
    ]
    parts = (Cylinder("shank", 2.0, 6.0), Cylinder("collet nut", 8.0, 9.0))
    met = by_twin(ice, moves, solid_of(BITS[name]), parts)
    found = carve(ice, path_of(places, cuts), cutting_end(BITS[name]), parts)
    assert (found.ice.heights >= met.ice.low - ROUNDING).all()
    assert (found.ice.heights <= met.ice.high + ROUNDING).all()
    assert (found.contact_depth >= met.contact.low - ROUNDING).all()
    assert (found.contact_depth <= met.contact.high + ROUNDING).all()
    cutting = np.array(cuts)
    assert (found.depth[cutting] >= met.mean.low[cutting] - ROUNDING).all()
    assert (found.depth[cutting] <= met.mean.high[cutting] + ROUNDING).all()
    assert (found.removed >= met.taken.low * 0.64 - ROUNDING).all()
    assert (found.removed <= met.taken.high * 0.64 + ROUNDING).all()


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    st.sampled_from(sorted(BITS)),
    st.lists(
        st.tuples(st.floats(0, 1.5), st.floats(-2.5, 2.5), st.floats(-0.9, 0.9), st.booleans()),
        min_size=6,
        max_size=12,
    ),
)
def test_short_moves_one_after_the_other(
    name: str, steps: list[tuple[float, float, float, bool]]
) -> None:
    """Of a move that goes on where one has cut, places behind are passed over: none too many."""
    place = np.array([6.0, 5.0, 8.5])
    moves: list[Move] = [((6.0, 5.0, 12.0), False), ((6.0, 5.0, 8.5), True)]
    turned = 0.0
    for length, turn, rise, cuts in steps:
        turned += turn
        place = place + length * np.array([np.cos(turned), np.sin(turned), rise])
        moves.append(((float(place[0]), float(place[1]), float(place[2])), cuts))
    met = by_twin(block_of_twin(), moves, solid_of(BITS[name]), ())
    path = path_of([place for place, _ in moves], [cuts for _, cuts in moves[1:]])
    found = carve(block_of_twin(), path, cutting_end(BITS[name]))
    cutting = np.array([cuts for _, cuts in moves[1:]])
    for figure, bounds in (
        (found.ice.heights, met.ice),
        (found.removed / GRID.pitch**2, met.taken),
        (found.rapid_depth[~cutting], met.depth.of(~cutting)),
        (found.depth[cutting], met.mean.of(cutting)),
    ):
        assert (figure >= bounds.low - ROUNDING).all()
        assert (figure <= bounds.high + ROUNDING).all()


@pytest.mark.parametrize("name", BITS)
def test_cells_on_the_very_rim_are_cut_by_whichever_move_comes(name: str) -> None:
    """By definition: a cell as far away as the bit is wide stands at the height of its rim.

    Two moves meet in each of 200 places, the first up or down or level, so that the cell lies on
    the rim of their common point alone.
    """
    rng = np.random.default_rng(7)
    bit, shape = BITS[name], cutting_end(BITS[name])
    radius = shape.radius
    heights = np.full((21, 21), 99.0)
    for _ in range(200):
        cell = rng.integers(5, 15, 2)
        i, j = int(cell[0]), int(cell[1])
        corner = 0.3 * i + 0.15 + radius
        middle = 0.3 * j + 0.15
        ice = HeightField(grid=Grid(0.15, 0.15, 0.3, 21, 21), heights=heights)
        rise, turn = rng.choice([-0.7, 0.0, 0.7]), rng.uniform(-1.2, 1.2)
        points = [
            (corner + 2.0, middle, 20.0 + 2.0 * rise),
            (corner, middle, 20.0),
            (corner + 2.0 * np.cos(turn), middle + 2.0 * np.sin(turn), 20.0),
        ]
        found = cut(ice, bit, points)
        assert found.ice.heights[j, i] == pytest.approx(20.0 + height(shape, radius), abs=1e-9)


def test_removed_ice_is_what_is_missing_afterwards() -> None:
    """Conservation: litres of all moves together are those between the ice before and after."""
    rng = np.random.default_rng(2)
    ice = whole_block((60.0, 40.0, 20.0), 0.5)
    places = rng.uniform([0.0, 0.0, 10.0], [60.0, 40.0, 22.0], (60, 3))
    found = cut(ice, BITS["rounded corner"], places)
    missing = float((ice.heights - found.ice.heights).sum()) * 0.25
    assert missing > 1000.0
    assert found.removed.sum() == pytest.approx(missing, rel=1e-12)


def test_facing_a_block_takes_its_top() -> None:
    """By hand: 1 mm off a block 40 x 30 is 1200 mm3, 0.0012 L.

    Seven rows of 48 mm by a flat 6; six steps of 5 mm beyond the edges, 3 mm up and 48 mm back
    take nothing.
    """
    rows = [
        (x, y, 19.0) for k, y in enumerate(range(0, 31, 5)) for x in ((-4, 44), (44, -4))[k % 2]
    ]
    back = [(44.0, 30.0, 22.0), (-4.0, 30.0, 22.0)]
    found = cut(whole_block((40.0, 30.0, 20.0), 0.5), BITS["flat"], [*rows, *back])
    assert found.removed.sum() == pytest.approx(1200.0, abs=1e-9)
    assert (found.ice.heights == 19.0).all()
    np.testing.assert_allclose(found.depth[found.removed > 0.0], 1.0, atol=1e-12)
    lengths = path_of([*rows, *back]).lengths
    air = lengths[found.removed == 0.0].sum() / lengths.sum()
    assert air == pytest.approx((6 * 5 + 3 + 48) / (7 * 48 + 6 * 5 + 3 + 48))


def test_rapids_through_ice_are_counted_and_take_nothing() -> None:
    """By hand: rapids over, on, 2 mm into and down into the ice; only the last two meet it."""
    ice = block(40.0, 40.0, 20.0, 0.5)
    points = [(-30, 0, 25), (30, 0, 25), (30, 0, 20), (-30, 0, 20), (-30, 0, 18), (30, 0, 18)]
    more = [(30, 5, 30), (0, 5, 30), (0, 5, 13)]
    found = cut(ice, BITS["flat"], [*points, *more], [False] * 8)
    np.testing.assert_allclose(found.rapid_depth, [0, 0, 0, 0, 2, 0, 0, 7], atol=1e-12)
    assert int((found.rapid_depth > RAPID_MM).sum()) == 2
    assert (found.removed == 0.0).all()
    assert (found.ice.heights == 20.0).all()


def test_a_rapid_through_a_slot_is_clear_only_where_the_slot_is() -> None:
    """By hand: a slot 6 wide, 5 deep, over x < 0; a rapid 4 deep stops being clear past x = 3."""
    points = [(-30, 0, 30), (-30, 0, 15), (0, 0, 15), (-30, 0, 16), (0, 0, 16), (10, 0, 16)]
    kinds = [False, True, False, False, False]
    found = cut(block(40.0, 20.0, 20.0, 0.5), BITS["flat"], points, kinds)
    np.testing.assert_allclose(found.rapid_depth, [0, 0, 0, 0, 4], atol=1e-12)


THICK: Final = make_bit("ball", 4.0, flute=6.0, shank=8.0, stick_out=30.0)


@pytest.mark.parametrize(
    ("depth", "expected"), [(5.9, 0.0), (6.0, 0.0), (6.5, 0.5), (10.0, 4.0), (31.5, 25.5)]
)
def test_a_shank_wider_than_its_slot_touches(depth: float, expected: float) -> None:
    """By hand: a shank 8 wide begins 6 above the tip of a ball 4 wide; the rest lies in ice."""
    ice = block(60.0, 60.0, 100.0, 0.5)
    points = [(-20, 0, 110), (-20, 0, 100 - depth), (20, 0, 100 - depth)]
    found = cut(ice, THICK, points, [True, True], cylinders(THICK, 80.0))
    np.testing.assert_allclose(found.contact_depth, [expected, expected], atol=1e-12)
    assert int((found.contact_depth > GRAZE_MM).sum()) == (2 if expected else 0)


def test_the_nut_touches_the_wall_beside_it() -> None:
    """By hand: a nut 34 wide, 30 above the tip, 15 from a wall 40 high: 10 mm of it lie inside.

    With 17.5 mm of room, or a nut 45 mm up, it is clear.
    """
    grid = Grid(0.25, 0.25, 0.5, 80, 60)
    step = np.where(grid.x > 20.0, 40.0, 0.0) * np.ones((60, 1))
    ice = HeightField(grid=grid, heights=step)
    for away, stick_out, expected in ((15.0, 30.0, 10.0), (17.5, 30.0, 0.0), (15.0, 45.0, 0.0)):
        bit = make_bit("ball", 6.0, flute=20.0, shank=6.0, stick_out=stick_out)
        x = 20.0 - away
        points = [(x, 5.0, 0.0), (x, 25.0, 0.0)]
        found = cut(ice, bit, points, [True], cylinders(bit, 80.0)[:2])
        assert found.contact_depth[0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("off", "touches"), [(0.04, False), (0.06, True)])
def test_a_graze_is_clear(off: float, touches: bool) -> None:
    """`GRAZE_MM` is 0.05 sideways: a wall 0.04 inside the shank counts as clear, 0.06 does not."""
    grid = Grid(0.005, 0.0, 0.01, 2000, 3)
    wall = np.where(grid.x > 10.0, 50.0, 0.0) * np.ones((3, 1))
    bit = make_bit("flat", 2.0, flute=5.0, shank=6.0, stick_out=60.0)
    points = [(7.0 + off, 0.0, 0.0), (7.0 + off, 0.01, 0.0)]
    ice = HeightField(grid=grid, heights=wall)
    found = cut(ice, bit, points, [False], cylinders(bit, 80.0)[:1])
    assert found.contact_depth[0] == pytest.approx(45.0 if touches else 0.0)


@pytest.mark.parametrize(("name", "depth"), [("flat", 3.0), ("ball", 36 / (4.5 * pi))])
def test_depth_of_a_cut_is_the_mean_of_what_it_takes(name: str, depth: float) -> None:
    """By hand: 3 mm into level ice and back through the air.

    Across a slot of a ball of 3 mm depths are sqrt(9 - x^2): their squares sum to 36,
    they to half a disc.
    """
    points = [(-20, 0, 17), (0, 0, 17), (20, 0, 17), (-20, 0, 17.5)]
    ice = HeightField(grid=Grid(-30.0, -10.0, 0.1, 601, 201), heights=np.full((201, 601), 20.0))
    found = cut(ice, BITS[name], points, [True, True, True])
    assert found.depth[:2] == pytest.approx(depth, rel=0.03)
    assert found.depth[2] == pytest.approx(0.0, abs=1e-12)


def test_a_sliver_counts_by_its_volume() -> None:
    """By hand: 20 x 6 mm of ice 1 mm deep, and one cell of 41 mm: (480 + 41^2) / (480 + 41)."""
    grid = Grid(0.25, 0.25, 0.5, 60, 20)
    heights = np.full((20, 60), 11.0)
    heights[10, 30] = 51.0
    ice = HeightField(grid=grid, heights=heights)
    found = cut(ice, BITS["flat"], [(-10.0, 5.0, 10.0), (40.0, 5.0, 10.0)], [True])
    count = found.removed[0] / 0.25 - 40.0
    assert found.depth[0] == pytest.approx((count - 1 + 41.0**2) / (count + 40.0))
    assert found.depth[0] < 6.0


def test_parts_meet_rapids_too() -> None:
    """By hand: the thick shank down a hole that the ball itself has cut, 10 deep, as a rapid."""
    ice = block(20.0, 20.0, 50.0, 0.5)
    points = [(0, 0, 60), (0, 0, 40), (0, 0, 60), (0, 0, 41)]
    found = cut(ice, THICK, points, [True, False, False], cylinders(THICK, 80.0))
    np.testing.assert_allclose(found.contact_depth, [4.0, 4.0, 3.0], atol=1e-12)
    assert found.rapid_depth[2] == 0.0


def spiral() -> Floats:
    turn = np.linspace(0.0, 6 * tau, 700)
    radius = 25.0 * turn / turn[-1]
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), 18.0 - 0.3 * turn], axis=1)


@pytest.mark.parametrize("cores", [2, 7])
def test_same_bytes_on_any_number_of_cores(cores: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the docstring of `carve` promises; `over_stripes` asks os.cpu_count for its workers."""
    cuts = [n % 50 > 3 for n in range(699)]
    asked = []

    def bytes_on(count: int) -> list[bytes]:
        def cpu_count() -> int:
            asked.append(count)
            return count

        monkeypatch.setattr("os.cpu_count", cpu_count)
        ice = block(60.0, 60.0, 20.0, 0.25)
        found = cut(ice, THICK, spiral(), cuts, cylinders(THICK, 80.0))
        figures = (found.removed, found.depth, found.rapid_depth, found.contact_depth)
        arrays = (found.ice.heights, *figures)
        assert all(array.any() for array in arrays)
        return [array.tobytes() for array in arrays]

    assert bytes_on(1) == bytes_on(cores)
    assert set(asked) == {1, cores}


def test_moves_carved_in_batches_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many moves go in batches; where they end may show in the last digit of a sum, no more."""
    ice, cuts = block(60.0, 60.0, 20.0, 0.5), [n % 50 > 3 for n in range(699)]
    whole = cut(ice, THICK, spiral(), cuts, cylinders(THICK, 80.0))
    monkeypatch.setattr(sweeping, "MOVES_AT_ONCE", 101)
    parts = cut(ice, THICK, spiral(), cuts, cylinders(THICK, 80.0))
    np.testing.assert_array_equal(whole.ice.heights, parts.ice.heights)
    np.testing.assert_allclose(whole.removed, parts.removed, rtol=1e-12)
    np.testing.assert_allclose(whole.depth, parts.depth, rtol=1e-12)
    np.testing.assert_array_equal(whole.rapid_depth, parts.rapid_depth)
    np.testing.assert_array_equal(whole.contact_depth, parts.contact_depth)


def test_the_ice_given_is_left_as_it_was_and_no_moves_change_nothing() -> None:
    """By the docstring: the result is a new field; a path of no moves takes nothing."""
    ice = whole_block((10.0, 7.3, 5.0), 0.5)
    assert ice.heights.shape == (15, 20)
    cut(ice, BITS["flat"], [(0, 0, 1), (10, 7, 1)])
    assert (ice.heights == 5.0).all()
    none = cut(ice, BITS["flat"], [(0, 0, 1)])
    figures = (none.removed, none.depth, none.rapid_depth, none.contact_depth)
    assert all(len(figure) == 0 for figure in figures)
    np.testing.assert_array_equal(none.ice.heights, ice.heights)
