"""Meshes from anywhere: each is set in its block or refused in one sentence, quickly, in silence.

Ten thousand damaged files and as many odd bodies with `-m long`, five hundred of each otherwise;
a few of them are carved to the end.
"""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from icecam.cli import main
from icecam.errors import IcecamError
from icecam.job.file import load
from icecam.job.records import Block, Job
from icecam.plan import set_up
from tests.damage import damaged
from tests.geometry.mesh_files import BOX, WRITERS, ball, box, saved

Floats = NDArray[np.float64]

SIZE: Final = (60.0, 50.0, 40.0)
LONGEST_S: Final = 20.0
FIGURE: Final = np.concatenate([ball(9.0, 6, 8), box((-3, -3, -20), (3, 3, -5))])
KINDS: Final = tuple(sorted(WRITERS))
GOOD: Final = tuple(
    (WRITERS[kind][0], WRITERS[kind][1](body)) for kind in KINDS for body in (BOX, FIGURE)
)


def job_of(*, fit: bool) -> Job:
    job = load(None)
    return replace(
        job,
        block=Block(size=SIZE, temperature=-10.0, floor=4.0),
        sculpture=replace(job.sculpture, fit=fit, margin=2.0),
        quality=replace(job.quality, cell=2.0),
    )


def outcome(path: Path, job: Job) -> str:
    """Set a sculpture in its block; return the refusal, or nothing, and check either."""
    begin = time.monotonic()
    try:
        scene = set_up(path, job)
    except IcecamError as refusal:
        told = str(refusal)
        assert "\n" not in told, told
        assert path.name in told or "the mesh is made of slivers" in told
        assert len(told) < 500
    else:
        told = ""
        mesh = scene.placed.mesh
        assert np.isfinite(mesh.triangles).all()
        assert (mesh.low > -1e-6).all()
        assert (mesh.high < np.array(SIZE) + 1e-6).all()
        assert not np.isnan(scene.wanted.heights).any()
        assert 0.0 <= scene.hidden <= 1.0
        assert mesh.volume >= 0.0
    assert time.monotonic() - begin < LONGEST_S
    return told


def damaged_files(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    random = np.random.default_rng(seed)
    for _ in range(count):
        which, content = damaged([file for _, file in GOOD], random)
        yield GOOD[which][0], content


def try_damaged(folder: Path, count: int, seed: int) -> None:
    taken = 0
    for nth, (suffix, content) in enumerate(damaged_files(count, seed)):
        path = saved(folder, f"bad.{suffix}", content)
        taken += not outcome(path, job_of(fit=nth % 2 == 0))
    assert 0.02 * count < taken < 0.98 * count
    assert len(list(folder.iterdir())) <= len({suffix for suffix, _ in GOOD})


def test_damaged_files(tmp_path: Path) -> None:
    try_damaged(tmp_path, 500, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_damaged_files(seed: int, tmp_path: Path) -> None:
    try_damaged(tmp_path, 1000, seed)


def odd_body(random: np.random.Generator) -> Floats:
    """Return triangles in no order: any number, of any size, some alike, some flat, some huge."""
    count = int(random.choice([1, 1, 2, 3, 12, 60, 300]))
    body = random.normal(size=(count, 3, 3)) * 10.0 ** random.uniform(-8, 6)
    if random.uniform() < 0.3:
        body = np.round(body * 10.0 ** -np.floor(np.log10(np.abs(body).max())))
    if random.uniform() < 0.3:
        body[:, :, int(random.integers(3))] *= 10.0 ** random.uniform(-12, 0)
    if random.uniform() < 0.3:
        body[:, 2] = body[:, 0] + (body[:, 1] - body[:, 0]) * random.uniform(-2, 2, (count, 1))
    if random.uniform() < 0.2:
        odd = [np.nan, np.inf, -np.inf, 1e300, -1e300, 1e-300, -0.0]
        body.flat[int(random.integers(body.size))] = odd[int(random.integers(len(odd)))]
    if random.uniform() < 0.2:
        body = np.concatenate([body, body, body[:, ::-1]])
    moved: Floats = body + random.normal() * 10.0 ** random.uniform(-3, 7)
    return moved


def try_odd(folder: Path, count: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    taken = 0
    for nth in range(count):
        suffix, write = WRITERS[KINDS[int(random.integers(len(KINDS)))]]
        with np.errstate(over="ignore"):
            content = write(odd_body(random))
        taken += not outcome(saved(folder, f"odd.{suffix}", content), job_of(fit=nth % 2 == 0))
    assert 0.02 * count < taken < 0.98 * count


def test_odd_bodies(tmp_path: Path) -> None:
    try_odd(tmp_path, 500, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_odd_bodies(seed: int, tmp_path: Path) -> None:
    try_odd(tmp_path, 1000, seed)


CARVED: Final = """
[block]
size = [60, 50, 40]
floor = 4
[sculpture]
fit = true
margin = 4
[quality]
cell = 1
detail = 1
scallop = 0.5
bits = "all"
"""


def try_carving(folder: Path, count: int, seed: int) -> None:
    """Carve damaged files by the command: clean, or refused and nothing left."""
    (folder / "job.toml").write_text(CARVED)
    codes = []
    for nth, (suffix, content) in enumerate(damaged_files(count, seed)):
        path, out = saved(folder, f"bad.{suffix}", content), folder / f"cut-{nth}"
        code = main(["carve", str(path), "--job", str(folder / "job.toml"), "--out", str(out)])
        assert code in (0, 2)
        assert (out / "summary.json").exists() == (code == 0)
        assert out.exists() == (code == 0)
        codes.append(code)
    assert {0, 2} <= set(codes)
    assert not list(folder.glob(".*"))


@pytest.mark.usefixtures("unpictured")
def test_damaged_files_are_carved_clean_or_refused(tmp_path: Path) -> None:
    try_carving(tmp_path, 5, 21)


@pytest.mark.long
def test_dozens_of_damaged_files_are_carved_clean_or_refused(tmp_path: Path) -> None:
    try_carving(tmp_path, 48, 22)


def test_slivers_without_number_are_refused_at_once(tmp_path: Path) -> None:
    """A ball of 600,000 slivers that all meet at its poles, 0.3 um wide at the equator."""
    begin = time.monotonic()
    body = ball(15.0, 2, 300_000)
    facets = np.zeros(len(body), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("no", "<u2")])
    facets["corners"] = body
    content = bytes(80) + len(body).to_bytes(4, "little") + facets.tobytes()
    told = outcome(saved(tmp_path, "slivers.stl", content), job_of(fit=False))
    assert "triangles lie over a square of 1 mm" in told
    assert time.monotonic() - begin < LONGEST_S
