"""The sculpture as read: same body from every kind of file, measured, mended or refused."""

from math import pi
from pathlib import Path

import gsw  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.geometry.mesh import Mesh, read
from icecam.ice.properties import density_kg_m3
from tests.geometry.mesh_files import (
    BOX,
    WRITERS,
    Floats,
    ball,
    ball_volume,
    binary_stl,
    box,
    obj,
    saved,
    steady,
    text_stl,
    three_mf,
)
from tests.ice.printed import table

BOX_VOLUME = 11.5 * 20.25 * 30


def _sorted(triangles: Floats) -> list[list[list[float]]]:
    """Triangles whatever their order, each from its least corner on, its turn kept."""
    turned = [min(t[k:] + t[:k] for k in range(3)) for t in triangles.tolist()]
    return sorted(turned)


# Reading --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", WRITERS)
def test_every_kind_of_file_gives_the_same_triangles(kind: str, tmp_path: Path) -> None:
    """Files written by hand from the published forms (`mesh_files`)."""
    suffix, write = WRITERS[kind]
    mesh = read(saved(tmp_path, f"box.{suffix}", write(BOX)))
    assert _sorted(mesh.triangles) == _sorted(BOX)
    assert mesh.watertight
    assert mesh.degenerate == 0
    assert mesh.file == f"box.{suffix}"
    assert mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-12)


@pytest.mark.parametrize("kind", WRITERS)
def test_every_kind_of_file_holds_a_ball(kind: str, tmp_path: Path) -> None:
    suffix, write = WRITERS[kind]
    body = ball(20.0, 12, 24)
    mesh = read(saved(tmp_path, f"ball.{suffix}", write(body)))
    assert mesh.triangles.shape == body.shape
    assert mesh.watertight
    np.testing.assert_allclose(np.linalg.norm(mesh.triangles, axis=2), 20.0, atol=2e-6)


def test_binary_stl_may_begin_with_the_word_of_the_text_form(tmp_path: Path) -> None:
    """The 80 bytes of the header are free; many exporters write "solid" there."""
    path = saved(tmp_path, "box.stl", b"solid box" + binary_stl(BOX)[9:])
    assert _sorted(read(path).triangles) == _sorted(BOX)


def test_a_text_stl_may_hold_several_solids(tmp_path: Path) -> None:
    far = BOX + 64.0
    mesh = read(saved(tmp_path, "two.stl", text_stl(BOX) + text_stl(far)))
    assert _sorted(mesh.triangles) == _sorted(np.concatenate([BOX, far]))


def test_suffix_may_be_in_capitals(tmp_path: Path) -> None:
    assert len(read(saved(tmp_path, "BOX.STL", binary_stl(BOX))).triangles) == 12


def test_faces_with_four_corners_are_split(tmp_path: Path) -> None:
    """A square pyramid of OBJ: volume a2 h / 3 (Euclid XII.7)."""
    corners = "v 0 0 0\nv 6 0 0\nv 6 6 0\nv 0 6 0\nv 3 3 5\n"
    faces = "f 4 3 2 1\nf 1 2 5\nf 2 3 5\nf 3 4 5\nf 4 1 5\n"
    mesh = read(saved(tmp_path, "pyramid.obj", (corners + faces).encode()))
    assert len(mesh.triangles) == 6
    assert mesh.volume == pytest.approx(60.0)


def test_parts_of_a_3mf_lie_where_it_builds_them(tmp_path: Path) -> None:
    """3MF Core Specification, 3.3: row vectors, x' = x M, shift in the last row."""
    turned = "0 1 0 -1 0 0 0 0 1 100 0 0"  # x to y, y to -x: a quarter turn against the clock
    mesh = read(saved(tmp_path, "two.3mf", three_mf(BOX, ("", turned))))
    assert len(mesh.triangles) == 24
    assert mesh.volume == pytest.approx(2 * BOX_VOLUME)
    np.testing.assert_allclose(mesh.low, [-5.0, -5.0, 1.0])
    np.testing.assert_allclose(mesh.high, [98.0, 22.25, 31.0])


@pytest.mark.parametrize(
    ("unit", "factor"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)]
)
def test_units_are_exact(unit: str, factor: float, tmp_path: Path) -> None:
    """SI prefixes, ISO 80000-1; 1 in = 25.4 mm exactly, NIST SP 811 table B.8."""
    body = box((0.0, 0.0, 0.0), (1.0, 2.0, 4.0))
    mesh = read(saved(tmp_path, "box.obj", obj(body)), unit=unit)
    assert mesh.high.tolist() == [factor, 2 * factor, 4 * factor]
    assert mesh.volume == pytest.approx(8 * factor**3, rel=1e-12)


def test_triangles_cannot_be_changed(tmp_path: Path) -> None:
    mesh = read(saved(tmp_path, "box.stl", binary_stl(BOX)))
    with pytest.raises(ValueError, match="read-only"):
        mesh.triangles[0, 0, 0] = 1.0


@steady
@given(
    kind=st.sampled_from(sorted(WRITERS)),
    low=st.tuples(*[st.integers(-400, 400)] * 3),
    sides=st.tuples(*[st.integers(1, 800)] * 3),
    order=st.permutations(range(12)),
)
def test_any_box_whatever_the_order_of_its_faces(
    kind: str,
    low: tuple[int, int, int],
    sides: tuple[int, int, int],
    order: list[int],
    tmp_path: Path,
) -> None:
    """Quarters of a millimetre are exact in 32 bits; volume by hand."""
    a, b, c = (side / 4 for side in sides)
    x, y, z = (corner / 4 for corner in low)
    suffix, write = WRITERS[kind]
    body = box((x, y, z), (x + a, y + b, z + c))[order]
    mesh = read(saved(tmp_path, f"box.{suffix}", write(body)))
    assert _sorted(mesh.triangles) == _sorted(body)
    assert mesh.watertight
    assert mesh.volume == pytest.approx(a * b * c, rel=1e-9)


# Measures -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rings", "sides"), [(4, 5), (16, 32), (48, 96)])
def test_volume_of_a_ball(rings: int, sides: int, tmp_path: Path) -> None:
    """Exact for the facets; below 4/3 pi r3 (Archimedes) by what the facets cut off."""
    mesh = read(saved(tmp_path, "ball.obj", obj(ball(50.0, rings, sides))))
    assert mesh.volume == pytest.approx(ball_volume(50.0, rings, sides), rel=1e-6)
    perfect = 4 / 3 * pi * 50.0**3
    # Sagitta of each chord, 1 - cos(half the angle), both ways, over the whole surface 4 pi r2.
    cut_off = 4 * pi * 50.0**3 * (2 - np.cos(pi / (2 * rings)) - np.cos(pi / sides))
    assert perfect - cut_off < mesh.volume < perfect


def test_volume_far_from_the_origin(tmp_path: Path) -> None:
    mesh = read(saved(tmp_path, "far.obj", obj(BOX + 9000.0)))
    assert mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-6)


def test_mass_of_a_block_of_forty_by_twenty_by_ten_inches(tmp_path: Path) -> None:
    """Cubic inch: 1.638 706 E-05 m3 (NIST SP 811, B.8); ice: IAPWS R10-06(2009) through gsw."""
    block = box((0.0, 0.0, 0.0), (40.0, 20.0, 10.0))
    mesh = read(saved(tmp_path, "block.stl", binary_stl(block)), unit="in")
    cubic_metres = 8000 * 1.638706e-5
    assert mesh.volume * 1e-9 == pytest.approx(cubic_metres, rel=5e-7)
    for temperature in (-30.0, -10.0, -2.0):
        mass = mesh.volume * 1e-9 * density_kg_m3(temperature)
        assert mass == pytest.approx(cubic_metres * gsw.rho_ice(temperature, 0.0), rel=1e-6)


def test_mass_of_a_cubic_metre_at_the_melting_point(tmp_path: Path) -> None:
    """IAPWS R10-06(2009), Table 6, at normal pressure and 0.0025 K above 0 degC."""
    printed = table("ice_density.toml")["row"][1]
    mesh = read(saved(tmp_path, "cube.stl", binary_stl(box((0, 0, 0), (1, 1, 1)))), unit="m")
    mass = mesh.volume * 1e-9 * density_kg_m3(0.0)
    assert mass == pytest.approx(float(printed["density"]), abs=1e-3)


def test_corners_of_the_box_around(tmp_path: Path) -> None:
    mesh = read(saved(tmp_path, "box.stl", binary_stl(BOX)))
    assert mesh.low.tolist() == [-5.0, 2.0, 1.0]
    assert mesh.high.tolist() == [6.5, 22.25, 31.0]


# Watertight or not ----------------------------------------------------------------------------

OPEN = {
    "a triangle missing": BOX[1:],
    "a face missing": BOX[2:],
    "one triangle turned over": np.concatenate([BOX[:1, ::-1], BOX[1:]]),
    "a triangle and its back": np.concatenate([BOX, BOX[:1, ::-1]]),
    "a sheet in the air": np.concatenate([BOX, [[[0, 0, 40], [9, 0, 40], [0, 9, 45]]]]),
}


@pytest.mark.parametrize("what", OPEN)
def test_what_is_not_closed_has_no_volume(what: str, tmp_path: Path) -> None:
    """By definition: closed when each edge has two facets, passed once each way."""
    mesh = read(saved(tmp_path, "open.obj", obj(OPEN[what])))
    assert not mesh.watertight
    assert mesh.volume == 0.0
    assert _sorted(mesh.triangles) == _sorted(OPEN[what])


@pytest.mark.parametrize("kind", WRITERS)
def test_triangles_that_stand_twice_are_left_out_and_counted(kind: str, tmp_path: Path) -> None:
    """From whichever corner each is written; the body is closed as it was."""
    suffix, write = WRITERS[kind]
    twice = np.concatenate([BOX, BOX[:, [1, 2, 0]], BOX[3:5, [2, 0, 1]]])
    mesh = read(saved(tmp_path, f"twice.{suffix}", write(twice)))
    assert mesh.doubled == 14
    assert mesh.degenerate == 0
    assert mesh.watertight
    assert mesh.volume == pytest.approx(BOX_VOLUME)
    assert len(mesh.triangles) == 12


def test_corners_that_nearly_meet_are_one(tmp_path: Path) -> None:
    """Exporters round each corner by itself: a nanometre is no gap, a tenth of a mm is."""
    shifted = BOX.copy()
    shifted[0, 0] += 1e-9
    assert read(saved(tmp_path, "near.obj", obj(shifted))).watertight
    shifted[0, 0] += 0.1
    assert not read(saved(tmp_path, "far.obj", obj(shifted))).watertight


def test_two_bodies_that_run_through_each_other_are_closed(tmp_path: Path) -> None:
    both = np.concatenate([BOX, BOX + 3.0])
    mesh = read(saved(tmp_path, "pair.stl", binary_stl(both)))
    assert mesh.watertight
    assert mesh.volume == pytest.approx(2 * BOX_VOLUME)


@pytest.mark.parametrize("kind", WRITERS)
def test_inside_out_is_turned_back(kind: str, tmp_path: Path) -> None:
    suffix, write = WRITERS[kind]
    mesh = read(saved(tmp_path, f"box.{suffix}", write(BOX[:, ::-1])))
    assert _sorted(mesh.triangles) == _sorted(BOX)
    assert mesh.volume == pytest.approx(BOX_VOLUME)
    assert mesh.turned == 1


def test_one_body_of_two_inside_out_is_turned_back(tmp_path: Path) -> None:
    """By hand: a head on a plinth, each closed, the head inside out."""
    plinth, head = box((0, 0, 0), (40, 40, 10)), box((15, 15, 10), (25, 25, 30))
    mesh = read(saved(tmp_path, "bust.stl", binary_stl(np.concatenate([plinth, head[:, ::-1]]))))
    assert _sorted(mesh.triangles) == _sorted(np.concatenate([plinth, head]))
    assert mesh.volume == pytest.approx(18_000.0)
    assert mesh.turned == 1


# Faces without area ---------------------------------------------------------------------------


def test_faces_without_area_are_counted_and_left_out(tmp_path: Path) -> None:
    point, line = [[1.0, 3.0, 2.0]] * 3, [[1.0, 3.0, 2.0], [1.0, 3.0, 2.0], [4.0, 3.0, 2.0]]
    nearly = [[1.0, 3.0, 2.0], [1.0, 3.0, 2.0 + 1e-9], [4.0, 3.0, 2.0]]
    path = saved(tmp_path, "box.obj", obj(np.concatenate([BOX, [point, line, nearly]])))
    mesh = read(path)
    assert mesh.degenerate == 3
    assert _sorted(mesh.triangles) == _sorted(BOX)
    assert mesh.watertight
    assert mesh.volume == pytest.approx(BOX_VOLUME)


def test_an_edge_shrunk_to_a_point_leaves_a_closed_body(tmp_path: Path) -> None:
    """Two facets of a closed mesh share each edge, so exactly two lose their area."""
    body = ball(20.0, 8, 12)
    start, end = body[30, 0], body[30, 1]
    body[np.all(body == end, axis=2)] = start + 1e-9
    mesh = read(saved(tmp_path, "ball.obj", obj(body)))
    assert mesh.degenerate == 2
    assert len(mesh.triangles) == len(body) - 2
    assert mesh.watertight


def test_a_line_of_three_corners_closes_a_split_edge(tmp_path: Path) -> None:
    """By hand: an edge halved on one side only, its two halves joined to the whole by a sliver."""
    (a, b, c), rest = BOX[0], BOX[1:]
    middle = (a + b) / 2
    split = np.array([[a, middle, c], [middle, b, c]])
    sliver = np.array([[a, b, middle]])
    mesh = read(saved(tmp_path, "split.obj", obj(np.concatenate([split, sliver, rest]))))
    assert mesh.watertight
    assert mesh.degenerate == 1
    assert mesh.volume == pytest.approx(BOX_VOLUME)
    assert not read(saved(tmp_path, "open.obj", obj(np.concatenate([split, rest])))).watertight


# Moving ---------------------------------------------------------------------------------------


def test_moved_turns_scales_and_shifts() -> None:
    """By hand: x to y, y to -x, twice as large, then 10 up; volume by the cube of the scale."""
    mesh = Mesh(triangles=BOX, watertight=True, volume=BOX_VOLUME, degenerate=1, file="a.stl")
    matrix = np.array([[0, -2, 0, 0], [2, 0, 0, 0], [0, 0, 2, 10], [0, 0, 0, 1]], dtype=np.float64)
    moved = mesh.moved(matrix)
    assert moved.low.tolist() == [-44.5, -10.0, 12.0]
    assert moved.high.tolist() == [-4.0, 13.0, 72.0]
    assert moved.volume == pytest.approx(8 * BOX_VOLUME)
    assert (moved.watertight, moved.degenerate, moved.file) == (True, 1, "a.stl")
    assert mesh.low.tolist() == [-5.0, 2.0, 1.0]
