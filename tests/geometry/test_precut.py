"""Ice before carving against closed forms: corners cut off, boxes, tables by hand."""

from dataclasses import replace
from itertools import product
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.errors import JobError, MeshError
from icecam.geometry.field import HeightField, Heights
from icecam.geometry.precut import check_enough, ice_before, read_remains, volume_gone
from icecam.job.records import Block, Point, Precut, Sawn
from icecam.prove.carving import whole_block

SIZE = (60.0, 50.0, 40.0)
X, Y, Z = SIZE
CELL = 0.25
WHOLE = whole_block(SIZE, CELL)
CORNERS = np.array(list(product((0.0, X), (0.0, Y), (0.0, Z))))


def block_of(precut: Precut, margin: float = 0.0) -> Block:
    return Block(size=SIZE, temperature=-10.0, floor=2.0, precut=precut, precut_margin=margin)


def ice_of(precut: Precut, margin: float = 0.0) -> HeightField:
    return ice_before(read_remains(block_of(precut, margin)), WHOLE)


def corner_cut(a: float, b: float, c: float, z: float = Z) -> Sawn:
    """Cut the front left corner off at lengths along its three edges, at the top or the bed."""
    down = z - c if z else c
    return Sawn(through=((a, 0.0, z), (0.0, b, z), (0.0, 0.0, down)), gone=(0.0, 0.0, z))


def upright(a: float, b: float) -> Sawn:
    """Saw the front left edge off."""
    return Sawn(through=((a, 0.0, 0.0), (0.0, b, 0.0), (0.0, b, Z)), gone=(0.0, 0.0, 20.0))


lengths = st.floats(8.0, 38.0)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(a=lengths, b=lengths, c=lengths, margin=st.sampled_from([0.0, 1.0, 2.5]))
def test_a_corner_sawn_off_is_a_sixth_of_its_box(
    a: float, b: float, c: float, margin: float
) -> None:
    """V = abc / 6 (volume of a tetrahedron, any textbook of geometry); a plane moved outwards by m
    cuts off a similar one, its height h over the corner, 1/h2 = 1/a2 + 1/b2 + 1/c2, less m."""
    high = 1 / sqrt(1 / a**2 + 1 / b**2 + 1 / c**2)
    gone = volume_gone(ice_of(Precut(sawn=(corner_cut(a, b, c),)), margin), SIZE)
    exact = a * b * c / 6 * max(0.0, 1 - margin / high) ** 3
    # half a cell along the foot of the cut, where it is not yet as deep as a cell's rise
    assert gone == pytest.approx(exact, abs=CELL**2 * c / min(a, b) * (a + b))


@settings(max_examples=25, deadline=None, derandomize=True)
@given(a=lengths, b=lengths)
def test_an_edge_sawn_off_is_half_its_box(a: float, b: float) -> None:
    """V = abZ / 2, a prism; off by no more than half of the cells along its face."""
    gone = volume_gone(ice_of(Precut(sawn=(upright(a, b),))), SIZE)
    assert gone == pytest.approx(a * b * Z / 2, abs=CELL / 2 * max(a, b) * Z)


def test_an_undercut_counts_as_solid() -> None:
    """Heights know no overhang: a corner gone at the bed leaves the ice over it."""
    with pytest.raises(JobError, match="takes nothing off the block"):
        ice_of(Precut(sawn=(corner_cut(20.0, 15.0, 12.0, z=0.0),)))
    both = Precut(sawn=(corner_cut(20.0, 15.0, 12.0, z=0.0), upright(30.0, 30.0)))
    one = Precut(sawn=(upright(30.0, 30.0),))
    np.testing.assert_array_equal(ice_of(both).heights, ice_of(one).heights)


def test_two_cuts_that_meet_leave_nothing_beyond_the_line_they_meet_in() -> None:
    """Gone above z = 20 + x and below z = 60 - x: ice up to 40 where x > 20, none before."""
    over = Sawn(through=((0, 0, 20), (0, Y, 20), (20, 0, 40)), gone=(0, 0, 40))
    under = Sawn(through=((40, 0, 20), (40, Y, 20), (20, 0, 40)), gone=(0, 0, 0))
    heights = ice_of(Precut(sawn=(over, under))).heights
    np.testing.assert_array_equal(heights[:, WHOLE.grid.x < 20], 0.0)
    np.testing.assert_array_equal(heights[:, WHOLE.grid.x > 20.5], Z)


def test_cells_over_the_edge_count_with_what_lies_in_the_block() -> None:
    size = (60.1, 49.9, 40.0)
    ice = whole_block(size, CELL)
    assert volume_gone(ice, size) == 0.0
    lower = HeightField(grid=ice.grid, heights=ice.heights - 10.0)
    assert volume_gone(lower, size) == pytest.approx(60.1 * 49.9 * 10.0)


# Meshes


def cut_block(folder: Path, cuts: tuple[Sawn, ...], scale: float = 1.0) -> Path:
    """Write the hull of the block's corners left by some cuts, and the cuts' own points."""
    points = [*CORNERS]
    for cut in cuts:
        points = [point for point in points if not np.allclose(point, cut.gone)]
        points += [np.array(point) for point in cut.through]
    path = folder / "block.stl"
    trimesh.Trimesh(points).convex_hull.apply_scale(scale).export(path)
    return path


CUTS = (
    corner_cut(22.0, 17.0, 25.0),
    Sawn(through=((X, Y - 18, Z), (X - 30, Y, Z), (X, Y, Z - 12)), gone=(X, Y, Z)),
)


@pytest.mark.parametrize(("unit", "scale"), [("mm", 1.0), ("in", 1 / 25.4)])
def test_a_mesh_leaves_the_same_ice_as_the_cuts_it_was_made_by(
    tmp_path: Path, unit: str, scale: float
) -> None:
    path = cut_block(tmp_path, CUTS, scale)
    by_mesh = ice_of(Precut(mesh=str(path), file_unit=unit))  # type: ignore[arg-type]
    np.testing.assert_allclose(by_mesh.heights, ice_of(Precut(sawn=CUTS)).heights, atol=1e-3)


def test_a_margin_grows_both_alike_but_for_the_edges(tmp_path: Path) -> None:
    """On faces both move by the margin; round an edge the mesh grows less, never below the face."""
    path = cut_block(tmp_path, CUTS)
    by_mesh = ice_of(Precut(mesh=str(path)), 3.0).heights
    by_cuts = ice_of(Precut(sawn=CUTS), 3.0).heights
    assert (by_mesh <= by_cuts + 1e-3).all()
    assert (by_mesh >= ice_of(Precut(sawn=CUTS)).heights).all()
    assert np.mean(np.abs(by_mesh - by_cuts) > 1e-3) < 0.02


def test_a_box_grows_by_a_ball(tmp_path: Path) -> None:
    """Closed form: at a distance d beside a lid of height h, up to sqrt(m2 - d2) more than h."""
    box = trimesh.creation.box(bounds=[[20, 15, 0], [40, 35, 30]])
    box.export(tmp_path / "box.stl")
    grown = ice_of(Precut(mesh=str(tmp_path / "box.stl")), 4.0)
    x, y = np.meshgrid(grown.grid.x, grown.grid.y)
    aside = np.hypot(np.maximum(np.abs(x - 30) - 10, 0), np.maximum(np.abs(y - 25) - 10, 0))
    ball = 30.0 + np.sqrt(np.maximum(16.0 - aside**2, 0.0))
    sure = np.abs(aside - 4.0) > 1e-6
    np.testing.assert_allclose(
        grown.heights[sure], np.where(aside < 4.0, ball, 0.0)[sure], atol=1e-6
    )


@settings(max_examples=10, deadline=None, derandomize=True)
@given(margins=st.tuples(st.floats(0.0, 6.0), st.floats(0.0, 6.0)))
def test_more_margin_is_never_less_ice(
    tmp_path_factory: pytest.TempPathFactory, margins: tuple[float, float]
) -> None:
    path = cut_block(tmp_path_factory.mktemp("mesh"), CUTS)
    remains = read_remains(block_of(Precut(mesh=str(path), sawn=(upright(20.0, 20.0),))))
    less, more = (remains.heights(WHOLE.grid, margin).heights for margin in sorted(margins))
    assert (less <= more + 1e-9).all()
    assert more.max() <= Z


# Tables


def table_text(x: Heights, y: Heights, z: Heights, mark: str = ",", point: str = ".") -> str:
    """Write a table as a spreadsheet does."""
    rows = [["", *x], *([at, *row] for at, row in zip(y, z, strict=True))]
    return "\n".join(mark.join(str(cell).replace(".", point) for cell in row) for row in rows)


LINES_X, LINES_Y = np.linspace(0, X, 7), np.linspace(0, Y, 6)
READINGS = np.round(20.0 + 19.0 * np.random.default_rng(4).random((6, 7)), 2)


def by_hand(readings: Heights) -> Heights:
    """Return the highest of the four readings round each cell of the proof, looked up singly."""
    expected = np.empty((WHOLE.grid.ny, WHOLE.grid.nx))
    for j, y in enumerate(WHOLE.grid.y):
        for i, x in enumerate(WHOLE.grid.x):
            row, column = int(np.sum(y >= LINES_Y) - 1), int(np.sum(x >= LINES_X) - 1)
            expected[j, i] = readings[row : row + 2, column : column + 2].max()
    return expected


@pytest.mark.parametrize(("mark", "point"), [(",", "."), (";", ","), ("\t", "."), (";", ".")])
def test_a_table_comes_back_as_it_was_written(tmp_path: Path, mark: str, point: str) -> None:
    path = tmp_path / "heights.csv"
    path.write_text(table_text(LINES_X, LINES_Y, READINGS, mark, point), encoding="utf-8-sig")
    heights = ice_of(Precut(heights=str(path))).heights
    np.testing.assert_allclose(heights, by_hand(READINGS), atol=1e-9)


def test_a_table_in_inches(tmp_path: Path) -> None:
    path = tmp_path / "heights.csv"
    path.write_text(table_text(LINES_X / 25.4, LINES_Y / 25.4, READINGS / 25.4))
    heights = ice_of(Precut(heights=str(path), file_unit="in")).heights
    np.testing.assert_allclose(heights, by_hand(READINGS), atol=1e-9)


def test_what_is_not_known_counts_as_whole(tmp_path: Path) -> None:
    """An empty cell, or one left out, makes the squares round it whole; so is all beyond."""
    path = tmp_path / "heights.csv"
    rows = ["corner,10,20,30,40,50", "10,30,30,30,30,30", "", "20,30,30,30,,30", "30,30,30,30,30"]
    path.write_text("\n".join(rows))
    ice = ice_of(Precut(heights=str(path)))
    x, y = np.array([15.0, 35.0, 45.0, 5.0, 55.0]), np.array([15.0, 25.0, 15.0, 20.0, 40.0])
    np.testing.assert_array_equal(ice.heights[ice.grid.nearest(x, y)], [30, Z, Z, Z, Z])


BAD_TABLES = [
    ("", "fewer than two lines"),
    ("a,1,2\n1,5,5\n", "fewer than two lines"),
    ("a,0,60\n0,5,5\n50,5,much\n", r'"much" in line 3, column 3 of heights.csv is no number'),
    ("a,0,60\n0,5,nan\n50,5,5\n", r'"nan" in line 2, column 3'),
    ("a,0,60\n0,5,5,5\n50,5,5\n", "line 2 of heights.csv has 4 cells and the first has 3"),
    ("a,60,0\n0,5,5\n50,5,5\n", "places in the first row of heights.csv do not rise"),
    ("a,0,60\n0,5,5\n,5,5\n", "places in the first column of heights.csv do not rise"),
    ("a,0,60\n0,5,5\n50,5,90\n", "gives 90.0 mm at x 60, y 50 mm, 50.0 mm beyond the block"),
    ("a,0,60\n0,5,-9\n50,5,5\n", "gives -9.0 mm at x 60, y 0 mm, 9.0 mm beyond the block"),
    ("a,0,60\n0,1,1\n50,1,1\n", "leaves no ice above the floor of 2 mm, the highest .* 1.0 mm"),
    ("a,0,60\n0,40,40\n50,40,40\n", "takes nothing off the block"),
    ("a,0,1e30\n0,5,5\n50,5,5\n", r"first row of heights.csv holds a place at 1e\+30 mm"),
    ("a,0,60\n-10001,5,5\n50,5,5\n", "first column of heights.csv holds a place at -10001 mm"),
]


@pytest.mark.parametrize(("text", "words"), BAD_TABLES)
def test_bad_tables_are_refused_in_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "heights.csv"
    path.write_text(text)
    with pytest.raises(JobError, match=words) as caught:
        ice_of(Precut(heights=str(path)))
    assert "\n" not in str(caught.value)


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"\xff\xfe\x00")
    for name in ("a.csv", "none.csv", ""):
        with pytest.raises(JobError, match="cannot be read as text; check the path"):
            ice_of(Precut(heights=str(tmp_path / name)))
    (tmp_path / "bad.stl").write_bytes(b"solid")
    for name in ("bad.stl", "none.stl", "a.csv"):
        with pytest.raises(JobError, match=r"block\.precut\.mesh cannot be used"):
            ice_of(Precut(mesh=str(tmp_path / name)))


@pytest.mark.parametrize(
    ("axis", "off", "side"),
    [(0, -9.0, "left"), (0, 9.0, "right"), (1, -9.0, "front"), (2, 9.0, "top"), (2, -9, "bottom")],
)
def test_a_mesh_outside_the_block(tmp_path: Path, axis: int, off: float, side: str) -> None:
    mesh = trimesh.load_mesh(cut_block(tmp_path, CUTS))
    mesh.apply_translation([off if each == axis else 0.0 for each in range(3)])
    mesh.export(tmp_path / "off.stl")
    with pytest.raises(JobError, match=rf"off.stl reaches 9.0 mm out of the block at its {side}"):
        ice_of(Precut(mesh=str(tmp_path / "off.stl")), 5.0)
    ice_of(Precut(mesh=str(tmp_path / "off.stl")), 9.5)


def flat_sculpture(low: Point, high: Point) -> HeightField:
    """Return a box seen from above."""
    g = WHOLE.grid
    inside = ((g.x > low[0]) & (g.x < high[0]))[None, :] & ((g.y > low[1]) & (g.y < high[1]))[
        :, None
    ]
    return HeightField(grid=g, heights=np.where(inside, high[2], -np.inf))


@pytest.mark.parametrize("out", [0.3, 2.0, 9.0])
def test_a_sculpture_out_of_the_ice_is_told_how_far(out: float) -> None:
    """A slab under a level saw cut at 30: it needs ice as far as it stands over it."""
    cut = Sawn(through=((0, 0, 30), (X, 0, 30), (0, Y, 30)), gone=(0, 0, Z))
    remains = read_remains(block_of(Precut(sawn=(cut,)), 5.0))
    check_enough(remains, flat_sculpture((10, 10, 0), (50, 40, 30.2)), 0.25)
    with pytest.raises(MeshError, match=r"reaches (\S+) mm out of the ice") as caught:
        check_enough(remains, flat_sculpture((10, 10, 0), (50, 40, 30 + out)), 0.25)
    said = float(str(caught.value).split("reaches ")[1].split(" ")[0])
    assert out - 0.06 <= said <= out + 0.16
    exact = replace(remains, block=replace(remains.block, precut_margin=0.0))
    with pytest.raises(MeshError):
        check_enough(exact, flat_sculpture((10, 10, 0), (50, 40, 30.2)), 0.25)


def test_a_sculpture_is_measured_sideways_at_an_upright_cut() -> None:
    """It passes a cut at x = 45 by 4 mm, however high it stands."""
    cut = Sawn(through=((45, 0, 0), (45, Y, 0), (45, 0, Z)), gone=(X, 0, 0))
    remains = read_remains(block_of(Precut(sawn=(cut,)), 5.0))
    with pytest.raises(MeshError, match=r"reaches (3\.[789]|4\.[01]) mm out of the ice.*x 49, "):
        check_enough(remains, flat_sculpture((10, 10, 0), (49, 40, 35)), 0.25)
