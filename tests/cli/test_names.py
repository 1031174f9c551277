"""Names that try to be something else: what people call their files, bits and projects.

The text is held against the production rules of the standard (tests/published/nistir6556.py).
"""

import json
import os
from collections.abc import Sequence
from pathlib import Path

import pytest
import trimesh

from icecam.cli import main
from icecam.job.file import load
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
    "accents": "Étude owl",
    "no letters": "*** +++",
    "other letters": "\u51b0\u96d5",
    "no text": os.fsdecode(b"owl \xff"),
    "lines": "owl\nG0 Z-50\x1b[2J",
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


def _toml(name: str) -> str:
    """Return a name of at most 40 characters as TOML writes it; it cannot write bytes or lines."""
    text = os.fsencode(name).decode("utf-8", "replace")[:40]
    return json.dumps("".join(sign if sign.isprintable() else " " for sign in text))


def carve(
    folder: Path, name: str, dialect: str, *, one_file: bool = False, more: Sequence[str] = ()
) -> Path:
    """Carve a ball whose file, project and bits have a name."""
    mesh = folder / f"{name}.stl"
    trimesh.creation.icosphere(radius=12.0).export(mesh)
    bit, ball = _toml(f"{name} 1"), _toml(f"{name} 2")
    flag = "true" if one_file else "false"
    (folder / "job.toml").write_text(
        JOB.format(name=_toml(name), bit=bit, ball=ball, dialect=dialect, one_file=flag)
    )
    out = folder / "cut"
    job = str(folder / "job.toml")
    assert main(["carve", str(mesh), "--job", job, "--out", str(out), *more]) == 0
    return out


@pytest.fixture(scope="module", params=["plain", "lean"])
def calm(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Return a dialect and what its files say of a sculpture with a plain name."""
    out = carve(tmp_path_factory.mktemp("calm"), "owl", request.param)
    return [request.param, *(bare(text) for text in texts_of(out))]


def texts_of(out: Path) -> list[str]:
    files = sorted([*out.glob("*.nc"), *out.glob("*.ngc")])
    return [file.read_text("ascii") for file in files]


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_name_is_a_name(
    name: str, calm: list[str], tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Moves are those of a job with plain names; pictures, the same in both, are drawn once."""
    dialect, *plain = calm
    if dialect == "lean":
        request.getfixturevalue("unpictured")
    out = carve(tmp_path, name, dialect)
    texts = texts_of(out)
    assert [bare(text) for text in texts] == plain
    assert len(texts) == 2
    for text in texts:
        read(text.encode())
        if dialect == "plain":
            check(text)
    assert json.loads((out / "summary.json").read_text())["sculpture"]["file"]
    again = load(out / "job.toml")
    assert again.project == json.loads(_toml(name))
    assert [bit.name for bit in again.rack] == [json.loads(_toml(f"{name} {k}")) for k in (1, 2)]


def test_what_has_no_letters_can_be_replaced(tmp_path: Path) -> None:
    """Its files are called after their stages alone."""
    out = carve(tmp_path, NAMES["no letters"], "plain", more=["--force"])
    assert {file.name for file in carve(tmp_path, "*", "plain", more=["--force"]).iterdir()} == {
        file.name for file in out.iterdir()
    }


def bare(text: str) -> str:
    """Return the lines of a text that are no comments."""
    return "\n".join(line for line in text.splitlines() if not line.startswith(("(", ";")))


def test_names_in_one_file(tmp_path: Path) -> None:
    out = carve(tmp_path, NAMES["a move"], "plain", one_file=True)
    (file,) = out.glob("*.ngc")
    check(file.read_text("ascii"))
    assert "G0 Z-50" not in bare(file.read_text("ascii"))


@pytest.mark.parametrize("name", ["a\x1b[2Jb", "a\nicecam: clean", "a\x07", "a\udcff"])
def test_a_message_is_one_line_that_moves_nothing(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a file whose name or text holds control characters (ECMA-48)."""
    (tmp_path / f"{name}.stl").write_text("no mesh")
    (tmp_path / "job.toml").write_text(f'a = "{name.encode("utf-8", "replace").decode()}')
    for arguments in (
        ["hours", str(tmp_path / f"{name}.stl")],
        ["hours", str(tmp_path / f"{name}.stl"), "--job", str(tmp_path / "job.toml")],
        ["hours", str(tmp_path / name), "--unit", "mm"],
    ):
        assert main(arguments) == 2
        told = capsys.readouterr().err
        assert told.endswith("\n")
        assert told[:-1].isprintable()


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
