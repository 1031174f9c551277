"""Files that hold no sculpture: each refused in one sentence that names it and says what to do."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.errors import IcecamError, MeshError
from icecam.geometry.mesh import Mesh, read
from tests.geometry.mesh_files import (
    BOX,
    WRITERS,
    Floats,
    binary_ply,
    binary_stl,
    box,
    obj,
    saved,
    steady,
    text_ply,
    text_stl,
    three_mf,
)


def _refused(path: Path, unit: str = "mm") -> str:
    with pytest.raises(MeshError) as refusal:
        read(path, unit=unit)
    return str(refusal.value)


def _with(value: float) -> Floats:
    body = BOX.copy()
    body[3, 1, 2] = value
    return body


_NOISE = np.random.default_rng(7).bytes(2000)
_LINE = np.array([[[0.0, 0.0, 0.0], [1.0, 2.0, 3.0], [2.0, 4.0, 6.0]]])
_FAR_CORNER = text_ply(BOX).replace(b"3 33 34 35", b"3 33 34 99")

BAD: dict[str, tuple[str, bytes, str]] = {
    "nothing at all, STL": ("bad.stl", b"", "no triangles"),
    "nothing at all, OBJ": ("bad.obj", b"", "no triangles"),
    "nothing at all, PLY": ("bad.ply", b"", "cannot be read as PLY"),
    "nothing at all, 3MF": ("bad.3mf", b"", "cannot be read as 3MF"),
    "no facets, STL": ("bad.stl", binary_stl(BOX[:0]), "no triangles"),
    "no facets, text STL": ("bad.stl", text_stl(BOX[:0]), "no triangles"),
    "no faces, OBJ": ("bad.obj", b"v 0 0 0\nv 1 2 3\n", "no triangles"),
    "no faces, PLY": ("bad.ply", text_ply(BOX[:0]), "no triangles"),
    "text, STL": ("bad.stl", b"a letter, not a mesh\n" * 9, "no triangles"),
    "text, OBJ": ("bad.obj", b"a letter, not a mesh\n" * 9, "no triangles"),
    "text, PLY": ("bad.ply", b"a letter, not a mesh\n" * 9, "cannot be read as PLY"),
    "text, 3MF": ("bad.3mf", b"a letter, not a mesh\n" * 9, "cannot be read as 3MF"),
    "noise, STL": ("bad.stl", _NOISE, "cannot be read as STL"),
    "noise, OBJ": ("bad.obj", _NOISE, "cannot be read as OBJ"),
    "noise, PLY": ("bad.ply", _NOISE, "cannot be read as PLY"),
    "noise, 3MF": ("bad.3mf", _NOISE, "cannot be read as 3MF"),
    "cut off in its header, STL": ("bad.stl", binary_stl(BOX)[:60], "no triangles"),
    "cut off before its facets, STL": ("bad.stl", binary_stl(BOX)[:84], "says 12 triangles"),
    "cut off in a facet, STL": ("bad.stl", binary_stl(BOX)[:-20], "cannot be read as STL"),
    "cut off between facets, STL": ("bad.stl", binary_stl(BOX)[:-50], "cannot be read as STL"),
    "cut off, PLY": ("bad.ply", binary_ply(BOX)[:-20], "cannot be read as PLY"),
    "cut off, 3MF": ("bad.3mf", three_mf(BOX)[:-200], "cannot be read as 3MF"),
    "of another kind": ("bad.3mf", binary_stl(BOX), "cannot be read as 3MF"),
    "a corner that is not there, OBJ": ("bad.obj", b"v 0 0 0\nv 1 2 3\nf 1 2 9\n", "read as OBJ"),
    "a corner that is not there, PLY": ("bad.ply", _FAR_CORNER, "does not hold"),
    "not a number, STL": ("bad.stl", binary_stl(_with(np.nan)), "no numbers"),
    "not a number, text STL": ("bad.stl", text_stl(_with(np.nan)), "no numbers"),
    "not a number, OBJ": ("bad.obj", obj(_with(np.nan)), "no numbers"),
    "not a number, PLY": ("bad.ply", binary_ply(_with(np.nan)), "no numbers"),
    "not a number, 3MF": ("bad.3mf", three_mf(_with(np.nan)), "no numbers"),
    "infinite, STL": ("bad.stl", binary_stl(_with(np.inf)), "no numbers"),
    "infinite, OBJ": ("bad.obj", obj(_with(-np.inf)), "no numbers"),
    "flat": ("bad.obj", obj(BOX * (1, 1, 0)), "is flat"),
    "a plane upright": ("bad.obj", obj(BOX * (0, 1, 1)), "is flat"),
    "only lines": ("bad.obj", obj(_LINE), "only triangles without area"),
    "far too large": ("bad.stl", binary_stl(BOX * 1000), "30000 mm long read in mm"),
    "larger than any ice": ("bad.obj", obj(BOX * 1e30), "3e+31 mm long read in mm"),
    "of another program": ("bad.step", b"ISO-10303-21;", "use one of: stl, obj, ply, 3mf"),
    "without a suffix": ("bad", binary_stl(BOX), "use one of: stl, obj, ply, 3mf"),
}


def _is_one_sentence(told: str) -> bool:
    return "\n" not in told and ". " not in told and not told.endswith(".") and len(told) < 250


@pytest.mark.parametrize("what", BAD)
def test_bad_file_is_refused_in_one_sentence_that_says_what_to_do(
    what: str, tmp_path: Path
) -> None:
    name, content, expected = BAD[what]
    told = _refused(saved(tmp_path, name, content)).replace(str(tmp_path), "")
    assert name in told
    assert expected in told
    assert _is_one_sentence(told)
    assert any(word in told for word in ("export", "repair", "use one of", "set ", "give a"))
    assert "Error" not in told  # the reader's own words are no help to a sculptor


@pytest.mark.parametrize("unit", ["mm", "cm", "m", "in"])
def test_size_is_held_in_mm_whatever_the_unit(unit: str, tmp_path: Path) -> None:
    """20 m is the limit stated in the code; one mm more in any unit is too much."""
    each = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[unit]
    for side, fits in ((19_999.0, True), (20_001.0, False)):
        path = saved(tmp_path, "long.obj", obj(box((0, 0, 0), (side / each, 1, 1))))
        if fits:
            assert read(path, unit=unit).high[0] == pytest.approx(side)
        else:
            told = _refused(path, unit)
            assert f"read in {unit}" in told
            assert "sculpture.unit" in told


def test_missing_file_and_folder(tmp_path: Path) -> None:
    (tmp_path / "folder.stl").mkdir()
    for name in ("none.stl", "folder.stl", "no/where.obj"):
        told = _refused(tmp_path / name)
        assert name in told
        assert "check the path" in told
        assert _is_one_sentence(told.replace(str(tmp_path), ""))
    assert "use one of" in _refused(tmp_path)


def test_text_ply_cut_off_is_refused(tmp_path: Path) -> None:
    """Its head says twelve faces (Turk 1994); six are there."""
    lines = text_ply(BOX).splitlines(keepends=True)
    _refused(saved(tmp_path, "bad.ply", b"".join(lines[:-6])))


@steady
@given(data=st.data(), kind=st.sampled_from(["binary STL", "binary PLY", "3MF"]))
def test_a_file_cut_off_anywhere_is_refused(data: st.DataObject, kind: str, tmp_path: Path) -> None:
    """These say how long they are: a half sculpture must never be carved."""
    suffix, write = WRITERS[kind]
    whole = write(BOX)
    length = data.draw(st.integers(0, len(whole) - 1))
    assert f"bad.{suffix}" in _refused(saved(tmp_path, f"bad.{suffix}", whole[:length]))


@steady
@given(
    kind=st.sampled_from(sorted(WRITERS)),
    places=st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_damaged_bytes_are_read_or_refused_never_a_crash(
    kind: str, places: list[tuple[int, int]], tmp_path: Path
) -> None:
    suffix, write = WRITERS[kind]
    content = bytearray(write(BOX))
    for place, value in places:
        content[place % len(content)] = value
    outcome = _outcome(saved(tmp_path, f"bad.{suffix}", bytes(content)))
    if isinstance(outcome, str):
        assert "bad." in outcome
        assert "\n" not in outcome
    else:
        assert np.isfinite(outcome.triangles).all()
        assert len(outcome.triangles) > 0
        assert outcome.volume >= 0


def _outcome(path: Path) -> Mesh | str:
    try:
        return read(path)
    except IcecamError as refusal:
        return str(refusal)


def test_the_library_says_nothing_on_the_terminal(tmp_path: Path) -> None:
    """Some exporters write this for the normal of a face without area; it is read all the same."""
    content = text_stl(BOX).replace(b"normal 0 0 0", b"normal -1.#IND -1.#IND -1.#IND", 1)
    path = saved(tmp_path, "box.stl", content)
    code = "import sys, pathlib, icecam.geometry.mesh as m; m.read(pathlib.Path(sys.argv[1]))"
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, check=True)
    assert done.stdout == done.stderr == b""
