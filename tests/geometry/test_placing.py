"""How a sculpture comes to lie in its block.

The body to turn is a box whose six faces stand at distances of their own from one corner mark, so
each way of lying has its own box around the mark; all of it worked out by hand.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from icecam.errors import MeshError
from icecam.geometry.mesh import Mesh
from icecam.geometry.placing import Placed, check_not_tiny, place
from icecam.job.records import Block, Face, Sculpture, Unit
from tests.geometry.mesh_files import Floats, box, steady

FACES: tuple[Face, ...] = ("top", "bottom", "front", "back", "left", "right")
TURNS = (0, 90, 180, 270)
BLOCK = Block(size=(200.0, 150.0, 100.0), temperature=-10.0, floor=12.0)


def _mesh(triangles: Floats, unit: str = "mm") -> Mesh:
    """Volume by the divergence theorem; the file is named for the messages."""
    volume = float(np.linalg.det(triangles).sum() / 6)
    return Mesh(
        triangles=triangles,
        watertight=True,
        volume=volume,
        degenerate=0,
        file="owl.stl",
        unit=unit,
    )


def _how(
    up: Face = "top",
    turn: int = 0,
    *,
    unit: Unit = "mm",
    scale: float = 1.0,
    fit: bool = False,
    margin: float = 10.0,
) -> Sculpture:
    return Sculpture(unit=unit, up=up, turn=turn, scale=scale, fit=fit, margin=margin)  # type: ignore[arg-type]


# A house: floor 30 (X) by 20 (Y), 40 high. Each face carries a knob of its own width at its middle.
KNOBS = {"bottom": 1.0, "top": 2.0, "front": 3.0, "back": 4.0, "left": 5.0, "right": 6.0}
MIDDLES = {
    "bottom": (15, 10, 0),
    "top": (15, 10, 40),
    "front": (15, 0, 20),
    "back": (15, 20, 20),
    "left": (0, 10, 20),
    "right": (30, 10, 20),
}


def _house() -> Floats:
    """Box, then a cube for each knob, in the order of `KNOBS`; knobs stand out by half."""
    parts = [box((0, 0, 0), (30, 20, 40))]
    for face, width in KNOBS.items():
        x, y, z = MIDDLES[face]
        h = width / 2
        parts.append(box((x - h, y - h, z - h), (x + h, y + h, z + h)))
    return np.concatenate(parts)


def _directions(placed: Placed) -> dict[str, tuple[int, int, int]]:
    """Where the knob of each face points from the middle of the house, found by its width."""
    parts = placed.mesh.triangles.reshape(7, 36, 3)
    house = (parts[0].min(axis=0) + parts[0].max(axis=0)) / 2
    pointing = {}
    for knob in parts[1:]:
        width = float(np.ptp(knob[:, 0])) / placed.scale
        face = next(name for name, w in KNOBS.items() if abs(w - width) < 1e-6)
        away = (knob.min(axis=0) + knob.max(axis=0)) / 2 - house
        axis = int(np.argmax(np.abs(away)))
        assert np.abs(np.delete(away, axis)).max() < 1e-6
        unit = np.zeros(3, dtype=int)
        unit[axis] = np.sign(away[axis])
        pointing[face] = (int(unit[0]), int(unit[1]), int(unit[2]))
    return pointing


UP, DOWN, AWAY, NEAR, LEFT, RIGHT = (
    (0, 0, 1), (0, 0, -1), (0, 1, 0), (0, -1, 0), (-1, 0, 0), (1, 0, 0)
)  # fmt: skip
LIES: dict[Face, dict[str, tuple[int, int, int]]] = {
    "top": {"top": UP, "bottom": DOWN, "front": NEAR, "back": AWAY, "left": LEFT, "right": RIGHT},
    # Rolled over about X: what was behind is in front.
    "bottom": {
        "top": DOWN, "bottom": UP, "front": AWAY, "back": NEAR, "left": LEFT, "right": RIGHT
    },
    # On its back, head away from who stands before the block, like one asleep.
    "front": {"top": AWAY, "bottom": NEAR, "front": UP, "back": DOWN, "left": LEFT, "right": RIGHT},
    # On its face, head away: its left is on the right.
    "back": {"top": AWAY, "bottom": NEAR, "front": DOWN, "back": UP, "left": RIGHT, "right": LEFT},
    # On its right side, head away: its front looks left.
    "left": {"top": AWAY, "bottom": NEAR, "left": UP, "right": DOWN, "front": RIGHT, "back": LEFT},
    "right": {"top": AWAY, "bottom": NEAR, "right": UP, "left": DOWN, "front": LEFT, "back": RIGHT},
}  # fmt: skip


# Turning --------------------------------------------------------------------------------------


@pytest.mark.parametrize("up", FACES)
def test_the_face_asked_for_lands_up(up: Face) -> None:
    """By hand: lay a die so, its head away; a mirrored body would fail too."""
    assert _directions(place(_mesh(_house()), _how(up), BLOCK)) == LIES[up]


@pytest.mark.parametrize("up", FACES)
@pytest.mark.parametrize("turn", TURNS)
def test_turn_is_against_the_clock_seen_from_above(up: Face, turn: int) -> None:
    """By definition: (x, y) goes to (-y, x) in each quarter; what is up stays up."""
    expected = LIES[up]
    for _ in range(turn // 90):
        expected = {name: (-y, x, z) for name, (x, y, z) in expected.items()}
    assert _directions(place(_mesh(_house()), _how(up, turn), BLOCK)) == expected


@pytest.mark.parametrize("up", FACES)
@pytest.mark.parametrize("turn", TURNS)
def test_size_and_volume_after_turning(up: Face, turn: int) -> None:
    """By hand: 30 by 20 by 40 without knobs, lying so; a turn keeps the volume, a scale cubes."""
    x, y, z = {
        "top": (30, 20, 40), "bottom": (30, 20, 40), "front": (30, 40, 20),
        "back": (30, 40, 20), "left": (20, 40, 30), "right": (20, 40, 30),
    }[up]  # fmt: skip
    plain = _mesh(box((0, 0, 0), (30, 20, 40)))
    placed = place(plain, _how(up, turn, scale=1.5), BLOCK)
    size = placed.mesh.high - placed.mesh.low
    swapped = (y, x, z) if turn in (90, 270) else (x, y, z)
    np.testing.assert_allclose(size, 1.5 * np.array(swapped))
    assert placed.scale == 1.5
    assert placed.mesh.volume == pytest.approx(24_000 * 3.375)
    assert np.linalg.det(placed.mesh.triangles).sum() / 6 == pytest.approx(24_000 * 3.375)


# Lying in the block ---------------------------------------------------------------------------


def test_it_lies_in_the_middle_and_its_margin_below_the_top() -> None:
    """By hand, as the README says: as high as its margin allows."""
    placed = place(_mesh(box((7, -3, 90), (37, 17, 130))), _how(margin=10.0), BLOCK)
    np.testing.assert_allclose(placed.mesh.low, [85.0, 65.0, 50.0])
    np.testing.assert_allclose(placed.mesh.high, [115.0, 85.0, 90.0])


@pytest.mark.parametrize(
    ("height", "top"), [(40.0, 90.0), (78.0, 90.0), (80.0, 92.0), (88.0, 100.0)]
)
def test_a_tall_one_gives_up_its_margin_but_never_the_floor(height: float, top: float) -> None:
    """By hand: 100 mm of ice, 12 of floor, 10 of margin; 78 mm fit between, 88 fit at all."""
    placed = place(_mesh(box((0, 0, 0), (30, 20, height))), _how(margin=10.0), BLOCK)
    assert placed.mesh.high[2] == pytest.approx(top)
    assert placed.mesh.low[2] >= 12.0 - 1e-9


def test_unit_of_the_file_stands_in_the_matrix() -> None:
    """Inches go in, mm come out (NIST SP 811, B.8: 25.4 exactly)."""
    inches = box((0, 0, 0), (2, 1, 3))
    placed = place(_mesh(inches * 25.4, "in"), _how("front", 90, unit="in", scale=0.5), BLOCK)
    mapped = inches @ placed.to_block[:3, :3].T + placed.to_block[:3, 3]
    np.testing.assert_allclose(mapped, placed.mesh.triangles, atol=1e-9)
    np.testing.assert_allclose(np.ptp(mapped.reshape(-1, 3), axis=0), [38.1, 25.4, 12.7])
    assert placed.to_block[3].tolist() == [0, 0, 0, 1]


# Fitting --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "scale", "size"),
    [
        # Room inside a margin of 10 mm: 180 by 130 by 78 mm (floor 12, margin on top only).
        ((90.0, 13.0, 7.8), 2.0, (180.0, 26.0, 15.6)),
        ((20.0, 26.0, 10.0), 5.0, (100.0, 130.0, 50.0)),
        ((100.0, 100.0, 156.0), 0.5, (50.0, 50.0, 78.0)),
        ((360.0, 260.0, 156.0), 0.5, (180.0, 130.0, 78.0)),
    ],
)
def test_fit_by_hand(
    body: tuple[float, float, float], scale: float, size: tuple[float, float, float]
) -> None:
    """Whatever scale the job names, the tightest axis decides."""
    placed = place(_mesh(box((0, 0, 0), body)), _how(fit=True, scale=7.0, margin=10.0), BLOCK)
    assert placed.scale == pytest.approx(scale)
    np.testing.assert_allclose(placed.mesh.high - placed.mesh.low, size)
    assert placed.mesh.high[2] == pytest.approx(90.0)


sides = st.floats(0.5, 5000.0)
bodies = st.tuples(sides, sides, sides)
corners = st.tuples(*[st.floats(-3000.0, 3000.0)] * 3)
blocks = st.builds(
    lambda x, y, z, floor: Block(size=(x, y, z), temperature=-10.0, floor=floor * z),
    st.floats(50.0, 2000.0),
    st.floats(50.0, 2000.0),
    st.floats(50.0, 500.0),
    st.floats(0.0, 0.5),
)


@steady
@given(
    body=bodies,
    corner=corners,
    block=blocks,
    up=st.sampled_from(FACES),
    turn=st.sampled_from(TURNS),
    margin=st.floats(0.0, 20.0),
)
def test_fitted_it_touches_its_margin_on_the_tightest_axis_and_nowhere_passes_it(
    body: tuple[float, float, float],
    corner: tuple[float, float, float],
    block: Block,
    up: Face,
    turn: int,
    margin: float,
) -> None:
    """By definition of the largest evenly scaled body inside a box."""
    low = np.array(corner)
    mesh = _mesh(box(corner, tuple(low + body)))
    placed = place(mesh, _how(up, turn, fit=True, margin=margin), block)
    room = np.array([*block.size[:2], block.size[2] - margin])
    gaps = [
        *(placed.mesh.low - (margin, margin, block.floor)),
        *(room - (margin, margin, 0) - placed.mesh.high),
    ]
    assert min(gaps) > -1e-6
    # X and Y are centred, Z lies against the top: the tightest has no gap on both its sides.
    assert min(max(gaps[k], gaps[k + 3]) for k in range(3)) < 1e-6
    middle = (placed.mesh.low + placed.mesh.high)[:2] / 2
    np.testing.assert_allclose(middle, np.array(block.size)[:2] / 2, atol=1e-6)


@pytest.mark.parametrize(("margin", "fits"), [(74.0, True), (75.0, False), (80.0, False)])
def test_a_margin_that_leaves_no_room_is_refused(margin: float, fits: bool) -> None:
    """By hand: twice 75 mm is the width of the block; beyond, a scale would turn negative."""
    block = Block(size=(200.0, 150.0, 100.0), temperature=-10.0, floor=0.0)
    how = _how(fit=True, margin=margin)
    if fits:
        assert place(_mesh(box((0, 0, 0), (1, 1, 1))), how, block).scale == pytest.approx(2.0)
        return
    with pytest.raises(MeshError, match=r"owl\.stl .*sculpture\.margin = .*smaller margin"):
        place(_mesh(box((0, 0, 0), (1, 1, 1))), how, block)


# Too large ------------------------------------------------------------------------------------


def _refusal(mesh: Mesh, how: Sculpture, block: Block) -> str:
    with pytest.raises(MeshError) as refusal:
        place(mesh, how, block)
    told = str(refusal.value)
    assert "\n" not in told
    assert told.startswith("owl.stl")
    assert " or --fit" in told
    return told


def _named_scale(told: str) -> float:
    found = re.search(r"sculpture\.scale = (\S+)", told)
    assert found
    return float(found[1])


def test_too_large_says_size_room_and_scale() -> None:
    """By hand: 100 by 100 by 156 mm at 2 against 200 by 150 by 88; 78 mm of 156 is half."""
    mesh = _mesh(box((0, 0, 0), (100, 100, 156)))
    told = _refusal(mesh, _how(scale=2.0), BLOCK)
    assert "200.0 x 200.0 x 312.0 mm" in told
    assert "200.0 x 150.0 x 88.0 mm" in told
    assert 0.499 <= _named_scale(told) <= 0.5


@pytest.mark.parametrize("axis", range(3))
def test_the_block_itself_is_the_limit(axis: int) -> None:
    """A body as large as the ice above the floor is let in; a hundredth more is not."""
    room = np.array([200.0, 150.0, 88.0])
    place(_mesh(box((0, 0, 0), tuple(room))), _how(), BLOCK)
    room[axis] += 0.01
    _refusal(_mesh(box((0, 0, 0), tuple(room))), _how(), BLOCK)


@steady
@given(
    body=bodies,
    block=blocks,
    up=st.sampled_from(FACES),
    scale=st.floats(0.01, 100.0),
    margin=st.floats(0.0, 400.0),
)
def test_the_scale_it_names_fits_and_is_not_far_from_the_largest(
    body: tuple[float, float, float], block: Block, up: Face, scale: float, margin: float
) -> None:
    """Typed in as printed, it must be accepted; a tenth of a percent is left on the table."""
    mesh = _mesh(box((0, 0, 0), body))
    try:
        place(mesh, _how(up, scale=scale, margin=margin), block)
    except MeshError as refusal:
        named = _named_scale(str(refusal))
        lying = re.search(r"--up (\w+)", str(refusal))
    else:
        assume(False)
    if lying:
        other = next(face for face in FACES if face == lying[1])
        assert other != up
        place(mesh, _how(other, scale=scale, margin=margin), block)
    assert 0 < named < scale
    placed = place(mesh, _how(up, scale=named, margin=margin), block)
    x, y, z = block.size
    room = np.array([x - 2 * margin, y - 2 * margin, z - block.floor - margin])
    if room.min() <= 0:  # No margin can be kept; the whole of the ice is the limit.
        room = np.array([x, y, z - block.floor])
    filled = ((placed.mesh.high - placed.mesh.low) / room).max()
    assert 0.9989 < filled <= 1 + 1e-9


@pytest.mark.parametrize(("side", "fits"), [(4.99, False), (5.0, True)])
def test_what_nobody_carves_is_taken_for_another_unit(side: float, fits: bool) -> None:
    """5 mm at the longest is the limit stated in the code; a metre read as mm lies far below."""
    mesh = _mesh(box((0, 0, 0), (1.0, side, 1.0)))
    if fits:
        check_not_tiny(mesh)
        return
    with pytest.raises(MeshError, match=r"4\.99 mm at its longest, .*; set sculpture\.unit"):
        check_not_tiny(mesh)


# Any way of lying -----------------------------------------------------------------------------


@steady
@given(
    corners=st.lists(st.tuples(*[st.floats(-40, 40)] * 3), min_size=4, max_size=12),
    up=st.sampled_from(FACES),
    turn=st.sampled_from(TURNS),
    scale=st.floats(0.05, 1.0),
    unit=st.sampled_from(["mm", "cm", "m", "in"]),
)
def test_placing_keeps_shape_and_the_matrix_tells_it(
    corners: list[tuple[float, float, float]], up: Face, turn: int, scale: float, unit: Unit
) -> None:
    """A similarity, by definition: every length times one factor, the sense of a screw kept."""
    points = np.array(corners)
    assume(np.ptp(points, axis=0).min() > 1.0)
    triangles = np.stack([points[:-2], points[1:-1], points[2:]], axis=1)
    mesh = replace(_mesh(triangles, unit), watertight=False, volume=0.0)
    placed = place(mesh, _how(up, turn, scale=scale, unit=unit), BLOCK)
    each = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[unit]
    mapped = triangles / each @ placed.to_block[:3, :3].T + placed.to_block[:3, 3]
    np.testing.assert_allclose(mapped, placed.mesh.triangles, atol=1e-7)
    before, after = triangles.reshape(-1, 3), placed.mesh.triangles.reshape(-1, 3)
    lengths = np.linalg.norm(before[:, None] - before, axis=2)
    np.testing.assert_allclose(
        np.linalg.norm(after[:, None] - after, axis=2), scale * lengths, atol=1e-9
    )
    assert np.linalg.det(placed.to_block[:3, :3]) == pytest.approx((scale * each) ** 3)
    assert placed.mesh.low[2] >= BLOCK.floor - 1e-9
    assert (placed.mesh.high <= np.array(BLOCK.size) + 1e-9).all()
