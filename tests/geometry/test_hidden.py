"""Share of a surface that is not seen from above, on bodies where it is known by hand."""

from math import cos, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.geometry.drop import sculpture_heights, surface_of
from icecam.geometry.field import cells
from icecam.geometry.mesh import Mesh
from icecam.geometry.placing import hidden_share, place
from icecam.job.records import Block, Face, Sculpture
from tests.geometry.mesh_files import Floats, ball, box, steady


def _hidden(triangles: Floats, size: tuple[float, float], *, cell: float) -> float:
    heights = sculpture_heights(surface_of(triangles, closed=True), cells(size, cell))
    return hidden_share(triangles, heights)


@pytest.mark.parametrize("sides", [(30.0, 20.0, 40.0), (10.0, 10.0, 10.0), (60.0, 50.0, 2.0)])
def test_hidden_of_a_box(sides: tuple[float, float, float]) -> None:
    """By hand: only the lid is seen; a cube hides five of six."""
    a, b, c = sides
    lid, whole = a * b, 2 * (a * b + b * c + c * a)
    body = box((5, 5, 1), (5 + a, 5 + b, 1 + c))
    assert _hidden(body, (70, 60), cell=0.5) == pytest.approx(1 - lid / whole, abs=1e-12)


@pytest.mark.parametrize("cell", [0.25, 1.0])
def test_hidden_of_a_ball_is_half(cell: float) -> None:
    """By symmetry: belts of facets lie above and below the equator in equal area."""
    body = ball(20.0, 40, 80) + 25.0
    assert _hidden(body, (50, 50), cell=cell) == pytest.approx(0.5, abs=1e-9)


def _pyramid(sides: int, radius: float, height: float, tip: int) -> Floats:
    """On a regular polygon at z = 30, its tip `height` above (tip 1) or below it (tip -1)."""
    angle = 2 * np.pi * np.arange(sides + 1) / sides
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    start, end = ring[:-1], ring[1:]
    peak = np.broadcast_to([0.0, 0.0, tip * height], start.shape)
    flanks = np.stack([start, end, peak], axis=1)
    base = np.stack([end, start, np.zeros_like(start)], axis=1)
    whole: Floats = np.concatenate([flanks, base])[:, ::tip] + (30, 30, 30)
    return whole


@pytest.mark.parametrize("sides", [4, 7, 60])
@pytest.mark.parametrize("height", [5.0, 25.0])
def test_hidden_of_a_pyramid_on_its_base_and_on_its_tip(sides: int, height: float) -> None:
    """Regular pyramid, from memory: base n/2 r2 sin(2 pi/n), flanks n times half edge times slant.

    Standing it hides its base, on its tip its flanks.
    """
    r = 20.0
    base = sides / 2 * r**2 * sin(2 * pi / sides)
    flanks = sides * r * sin(pi / sides) * sqrt(height**2 + (r * cos(pi / sides)) ** 2)
    standing, hanging = _pyramid(sides, r, height, 1), _pyramid(sides, r, height, -1)
    share = base / (base + flanks)
    assert _hidden(standing, (60, 60), cell=0.5) == pytest.approx(share, abs=1e-9)
    assert _hidden(hanging, (60, 60), cell=0.5) == pytest.approx(1 - share, abs=1e-9)


def _plate_of_squares(side: int, top: float) -> Floats:
    """A plate from z = 0 to `top` whose upper face is split into squares of 2 mm."""
    plate = box((0, 0, 0), (side, side, top))
    lid = np.concatenate(
        [
            box((x, y, 0), (x + 2, y + 2, top))[2:4]
            for x in range(0, side, 2)
            for y in range(0, side, 2)
        ]
    )
    return np.concatenate([plate[:2], plate[4:], lid])


@pytest.mark.parametrize("over", [20, 40])
def test_hidden_under_a_table(over: int) -> None:
    """By hand: a plate of 60 mm square, 4 high, under a table top, 6 thick, 20 mm above it.

    Seen: the top of the table and the plate that it leaves free, together as much as the plate.
    """
    low, high = 30 - over / 2, 30 + over / 2
    table = np.concatenate([_plate_of_squares(60, 4.0), box((low, low, 24), (high, high, 30))])
    whole = 2 * 60**2 + 4 * 60 * 4 + 2 * over**2 + 4 * over * 6
    assert _hidden(table, (60, 60), cell=0.5) == pytest.approx(1 - 60**2 / whole, abs=1e-9)


@steady
@given(step=st.integers(1, 29), lower=st.floats(1.0, 30.0), upper=st.floats(1.0, 30.0))
def test_hidden_of_a_stair(step: int, lower: float, upper: float) -> None:
    """By hand: two boxes against each other; lids are seen, walls, however high, are not."""
    stair = np.concatenate([box((0, 0, 0), (step, 20, lower)), box((step, 0, 0), (30, 20, upper))])
    rest = 30 - step
    whole = 2 * 20 * 30 + 2 * (step + 20) * lower + 2 * (rest + 20) * upper
    share = _hidden(stair, (30, 20), cell=0.5)
    assert share == pytest.approx(1 - 600 / whole, abs=1e-9)


def test_hidden_of_an_open_body_whichever_way_it_faces() -> None:
    """By hand: a lid and four walls without a bottom; bits rest on either side of a facet."""
    body = box((0, 0, 0), (30, 20, 10))[2:, ::-1]
    heights = sculpture_heights(surface_of(body, closed=False), cells((30, 20), 0.5))
    assert hidden_share(body, heights, closed=False) == pytest.approx(1 - 600 / 1600)


def test_hidden_turns_with_the_body() -> None:
    """By hand: a house lying on its back shows its front."""
    house = box((0, 0, 0), (30, 20, 40))
    mesh = Mesh(triangles=house, watertight=True, volume=24e3, degenerate=0, file="house.stl")
    block = Block(size=(200.0, 150.0, 100.0), temperature=-10.0, floor=12.0)
    lying: tuple[tuple[Face, int], ...] = (("top", 600), ("front", 1200), ("left", 800))
    for up, seen in lying:
        how = Sculpture(unit="mm", up=up, turn=90, scale=1.0, fit=False, margin=10.0)
        placed = place(mesh, how, block)
        whole = 2 * (30 * 20 + 20 * 40 + 30 * 40)
        share = _hidden(placed.mesh.triangles, (200, 150), cell=1.0)
        assert share == pytest.approx(1 - seen / whole, abs=1e-12)
