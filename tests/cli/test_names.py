"""Names that try to be something else: what people call their files, bits and projects.

The text is held against the production rules of the standard (tests/published/nistir6556.py).
"""

import json
from pathlib import Path

import pytest
import trimesh

from icecam.cli import main
from post.reader import read
from tests.published.nistir6556 import check

NAMES = {
    "a page": "<script>alert(1)<%2Fscript>",
    "a move": ") G0 Z-50 (",
    "a message": "MSG, off) M3 S9 (",
    "a loop": "%(O100",
    "markup": "[bold]owl[%2Fbold][%2F]",
    "formula": "$\\\\frac{1}$ {0} %s",
    "quotes": "a' b\" c\\\\ #",
    "accents": "\u00c9tude \u2013 owl",
    "no letters": "*** +++",
}
JOB = """
project = {name}
[block]
size = [60, 50, 25]
floor = 2
[sculpture]
fit = true
[quality]
cell = 1
detail = 1
scallop = 0.5
bits = "all"
[output]
dialect = "{dialect}"
one_file = {one_file}
[[rack]]
name = {bit}
shape = "flat"
diameter = 12
flutes = 2
flute_length = 30
shank = 12
stick_out = 60
[[rack]]
name = {ball}
shape = "ball"
diameter = 6
flutes = 2
flute_length = 30
shank = 6
stick_out = 60
"""


def carve(folder: Path, name: str, dialect: str, *, one_file: bool = False) -> Path:
    """Carve a ball whose file, project and bits have a name."""
    mesh = folder / f"{name}.stl"
    trimesh.creation.icosphere(radius=12.0).export(mesh)
    bit, ball = json.dumps(f"{name} 1"[:40]), json.dumps(f"{name} 2"[:40])
    flag = "true" if one_file else "false"
    (folder / "job.toml").write_text(
        JOB.format(name=json.dumps(name), bit=bit, ball=ball, dialect=dialect, one_file=flag)
    )
    out = folder / "cut"
    job = str(folder / "job.toml")
    for more in ([], ["--force"]):
        assert main(["carve", str(mesh), "--job", job, "--out", str(out), *more]) == 0
    return out


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
@pytest.mark.parametrize("dialect", ["plain", "lean"])
def test_a_name_is_a_name(name: str, dialect: str, tmp_path: Path) -> None:
    """Moves are those of a job with plain names; the folder can be replaced."""
    out = carve(tmp_path, name, dialect)
    calm = tmp_path / "calm"
    calm.mkdir()
    plain = carve(calm, "owl", dialect)
    texts = [sorted(folder.glob("*.nc")) + sorted(folder.glob("*.ngc")) for folder in (out, plain)]
    assert len(texts[0]) == len(texts[1]) == 2
    for file, other in zip(*texts, strict=True):
        text, calm_text = file.read_text("ascii"), other.read_text("ascii")
        if dialect == "plain":
            check(text)
        assert bare(text) == bare(calm_text)
        read(file.read_bytes())
    assert json.loads((out / "summary.json").read_text())["sculpture"]["file"] == f"{name}.stl"


def bare(text: str) -> list[str]:
    """Return the lines of a text that are no comments."""
    return [line for line in text.splitlines() if not line.startswith(("(", ";"))]


def test_names_in_one_file(tmp_path: Path) -> None:
    out = carve(tmp_path, NAMES["a move"], "plain", one_file=True)
    (file,) = out.glob("*.ngc")
    check(file.read_text("ascii"))
    assert "G0 Z-50" not in "\n".join(bare(file.read_text("ascii")))


@pytest.mark.parametrize("command", ["bits", "hours"])
def test_other_commands_take_such_names(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh = tmp_path / f"{NAMES['markup']}.stl"
    trimesh.creation.icosphere(radius=12.0).export(mesh)
    (tmp_path / "job.toml").write_text(
        JOB.format(
            name='"[red]"', bit='"[/] 1"', ball='"[bold]b"', dialect="plain", one_file="false"
        )
    )
    more = ["--out", str(tmp_path / "bits")] if command == "bits" else []
    assert main([command, str(mesh), "--job", str(tmp_path / "job.toml"), *more]) == 0
    assert NAMES["markup"] in capsys.readouterr().out.replace("\n", "")
