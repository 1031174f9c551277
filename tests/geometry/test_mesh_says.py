"""What a file says of itself: its unit, how much it holds. It is believed, or the file is refused.

Units and how objects are built: 3MF Core Specification 1.x, 3.4, 4.1 and 4.2, from memory.
"""

import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from icecam.errors import MeshError
from icecam.geometry.mesh import read
from icecam.geometry.mesh_file import MOST_BYTES
from tests.geometry.mesh_files import (
    BOX,
    ball,
    binary_stl,
    obj,
    saved,
    text_ply,
    text_stl,
    three_mf,
)


def refused(path: Path, unit: str = "mm") -> str:
    with pytest.raises(MeshError) as refusal:
        read(path, unit=unit)
    told = str(refusal.value)
    assert path.name in told
    assert "\n" not in told
    return told


# SI prefixes, ISO 80000-1; 1 in = 25.4 mm and 1 ft = 12 in exactly, NIST SP 811 table B.8.
UNITS = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}


@pytest.mark.parametrize("unit", UNITS)
def test_a_3mf_is_read_in_its_own_unit(unit: str, tmp_path: Path) -> None:
    path = saved(tmp_path, "box.3mf", three_mf(BOX / UNITS[unit], says=f'unit="{unit}"'))
    mesh = read(path)
    np.testing.assert_allclose(mesh.high, [6.5, 22.25, 31.0], atol=1e-6)
    assert mesh.volume == pytest.approx(11.5 * 20.25 * 30, rel=1e-6)


def test_a_3mf_that_says_nothing_is_in_millimeters(tmp_path: Path) -> None:
    mesh = read(saved(tmp_path, "box.3mf", three_mf(BOX, says="")))
    assert mesh.high.tolist() == [6.5, 22.25, 31.0]
    assert mesh.unit == "mm"


def test_asked_for_in_the_unit_it_says(tmp_path: Path) -> None:
    mesh = read(saved(tmp_path, "box.3mf", three_mf(BOX / 25.4, says='unit="inch"')), unit="in")
    np.testing.assert_allclose(mesh.high, [6.5, 22.25, 31.0])
    assert mesh.unit == "in"


@pytest.mark.parametrize(("says", "asked"), [('unit="inch"', "cm"), ("", "in"), ("", "m")])
def test_asked_for_in_another_unit(says: str, asked: str, tmp_path: Path) -> None:
    told = refused(saved(tmp_path, "box.3mf", three_mf(BOX, says=says)), asked)
    assert f"asked for in {asked}" in told
    assert "leave sculpture.unit" in told


def test_a_unit_that_the_standard_does_not_have(tmp_path: Path) -> None:
    told = refused(saved(tmp_path, "box.3mf", three_mf(BOX, says='unit="parsec"')))
    assert "parsec" in told
    assert "foot, meter" in told


def nested(times: int) -> bytes:
    """Return a 3MF of the box built 2^times times: each object holds the one before it twice."""
    objects = "".join(
        f'<object id="{k + 2}"><components>' + f'<component objectid="{k + 1}"/>' * 2
        + "</components></object>"
        for k in range(times)
    )  # fmt: skip
    return three_mf(BOX, more=objects, built=times + 1)


def test_a_3mf_of_objects_within_objects(tmp_path: Path) -> None:
    """By hand: four boxes in one place are 36 triangles that stand there already."""
    mesh = read(saved(tmp_path, "box.3mf", nested(2)))
    assert (len(mesh.triangles), mesh.doubled) == (12, 36)


def test_a_3mf_that_unfolds_without_end(tmp_path: Path) -> None:
    told = refused(saved(tmp_path, "box.3mf", nested(40)))
    assert f"builds {12 * 2**40} triangles and at most" in told
    inside = '<object id="2"><components><component objectid="2"/></components></object>'
    told = refused(saved(tmp_path, "box.3mf", three_mf(BOX, more=inside, built=2)))
    assert "builds object 2 out of itself" in told


def test_a_3mf_is_read_whole_or_not_at_all(tmp_path: Path) -> None:
    """The library stops unfolding after a while and drops the rest."""
    path = saved(tmp_path, "box.3mf", nested(9))
    assert f"of its {12 * 2**9} triangles were found" in refused(path)
    whole = read(saved(tmp_path, "box.3mf", nested(3)))
    assert len(whole.triangles) + whole.doubled == 12 * 2**3


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[: len(text) - 60],
        lambda text: text.replace(b"endsolid", b"endsolit"),
        lambda text: text[: len(text) // 2],
    ],
)
def test_a_second_solid_that_is_damaged_is_not_left_away(
    damage: Callable[[bytes], bytes], tmp_path: Path
) -> None:
    """The first of two solids is whole; half of the sculpture would be carved."""
    content = text_stl(BOX) + damage(text_stl(BOX + 64.0))
    assert "of its" in refused(saved(tmp_path, "two.stl", content))


def test_a_number_that_is_none_does_not_end_the_sculpture(tmp_path: Path) -> None:
    """Whatever stops the library at the hundredth facet, the other facets are missed."""
    content = text_stl(ball(20.0, 12, 24))
    at = content.index(b"vertex", len(content) // 2)
    refused(saved(tmp_path, "ball.stl", content[:at] + b"vertex 1,5 2,5 3,5" + content[at:]))


@pytest.mark.parametrize(("promised", "held"), [(5, 12), (13, 12), (4_000_000_000, 12), (0, 12)])
def test_a_head_with_the_wrong_number(promised: int, held: int, tmp_path: Path) -> None:
    content = bytearray(binary_stl(BOX))
    content[80:84] = promised.to_bytes(4, "little")
    told = refused(saved(tmp_path, "box.stl", bytes(content)))
    assert f"says {promised} triangles, which take {84 + 50 * promised} bytes" in told
    assert f"holds {84 + 50 * held} bytes" in told


CODE = """
import resource, sys
from pathlib import Path
import icecam.geometry.mesh as mesh
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    mesh.read(Path(sys.argv[1]))
except mesh.MeshError as refusal:
    print(refusal)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.parametrize("name", ["huge.stl", "huge.obj", "huge.ply", "huge.3mf"])
def test_a_file_of_two_gigabytes_is_refused_before_it_is_read(name: str, tmp_path: Path) -> None:
    """A file with a hole in it, that takes no room on the disk; in kilobytes, getrusage(2)."""
    path = tmp_path / name
    with path.open("wb") as file:
        file.truncate(2_147_483_648)
    done = subprocess.run(
        [sys.executable, "-c", CODE, path], capture_output=True, text=True, check=True
    )
    told, more = done.stdout.splitlines()
    assert f"{name} holds 2147 MB and at most {MOST_BYTES / 1e6:.0f} MB are read" in told
    assert int(more) < 50_000


def test_a_3mf_that_unpacks_to_too_much(tmp_path: Path) -> None:
    path = tmp_path / "bomb.3mf"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package,
        package.open("3D/3dmodel.model", "w", force_zip64=True) as part,
    ):
        for _ in range(MOST_BYTES // 10_000_000 + 1):
            part.write(b" " * 10_000_000)
    assert path.stat().st_size < 2_000_000
    assert "unpacked, holds" in refused(path)


def test_other_files_that_a_mesh_names_are_not_read(tmp_path: Path) -> None:
    """A material that would never end: only the mesh itself is opened."""
    for name, content in (
        ("box.obj", b"mtllib /dev/zero\n" + obj(BOX)),
        (
            "box.ply",
            text_ply(BOX).replace(b"1.0\n", b"1.0\ncomment TextureFile /dev/zero\n", 1),
        ),
    ):
        assert len(read(saved(tmp_path, name, content)).triangles) == 12
