"""The command line as the sculptor meets it: exit codes, sentences, files, nothing left behind."""

import hashlib
import json
import re
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import numpy as np
import pytest
import trimesh

from icecam import cli
from icecam.job.file import default_text

JOB = """
[block]
size = [70, 50, 24]
floor = 4
[sculpture]
fit = true
margin = 4
[quality]
detail = 0.4
cell = 0.4
"""


@pytest.fixture(scope="module")
def dome(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a ball, closed below, as binary STL."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
    half = trimesh.convex.convex_hull(ball.vertices[ball.vertices[:, 2] > -1e-9])
    path = tmp_path_factory.mktemp("mesh") / "dome.stl"
    half.export(path)
    return path


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("job") / "job.toml"
    path.write_text(JOB)
    return path


@pytest.fixture(scope="module")
def carved(dome: Path, job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "dome-cut"
    assert cli.main(["carve", str(dome), "--job", str(job), "--out", str(out)]) == cli.CLEAN
    return out


def test_every_stage_has_its_file_and_nothing_else_lies_there(carved: Path) -> None:
    told = json.loads((carved / "summary.json").read_text())
    files = {stage["file"] for stage in told["stages"]}
    assert files == {path.name for path in carved.glob("*.ngc")}
    assert len(files) == len(told["stages"]) >= 2
    pictures = {"from-above.png", "load-and-hours.png", "load-and-hours.svg", "job.html"}
    others = pictures | {"summary.json", "job.toml"}
    assert {path.name for path in carved.iterdir()} == files | others
    for path in carved.glob("*.png"):
        assert path.read_bytes().startswith(b"\x89PNG")
    assert not list(carved.parent.glob(".*"))


def test_summary_adds_up(carved: Path) -> None:
    told = json.loads((carved / "summary.json").read_text())
    minutes = sum(stage["minutes"] for stage in told["stages"])
    assert told["totals"]["minutes"] == pytest.approx(minutes, abs=1e-3)
    litres = sum(stage["removed_litres"] for stage in told["stages"])
    assert told["totals"]["removed_litres"] == pytest.approx(litres, abs=1e-3)
    assert told["clean"] is True
    assert told["proof"]["deepest_gouge_mm"] <= 0.05
    assert told["block"]["mass_kg"] == pytest.approx(70 * 50 * 24e-6 * 0.91817, abs=1e-3)
    kinds = [stage["kind"] for stage in told["stages"]]
    assert kinds[0] == "rough"
    assert set(kinds[1:]) == {"finish"}


def test_digests_are_those_of_the_files(carved: Path, dome: Path) -> None:
    """FIPS 180-4, as the standard library has it."""
    told = json.loads((carved / "summary.json").read_text())
    assert told["sculpture"]["sha256"] == hashlib.sha256(dome.read_bytes()).hexdigest()
    for stage in told["stages"]:
        text = (carved / stage["file"]).read_bytes()
        assert stage["sha256"] == hashlib.sha256(text).hexdigest()
    (used,) = told["job"]
    digest = hashlib.sha256((carved / "job.toml").read_bytes()).hexdigest()
    assert used == {"file": "job.toml", "sha256": digest}


def words_up_to(text: str, line: int) -> dict[str, float]:
    """Return the last X, Y and Z up to a line, counted from 1, of a plain file in mm."""
    lines = [re.sub(r"\(.*?\)", "", each) for each in text.splitlines()[:line]]
    return {name: float(value) for name, value in re.findall(r"([XYZ])([-0-9.]+)", " ".join(lines))}


def test_load_of_each_stage(carved: Path) -> None:
    """Energy over time is the mean; torque by P = T omega; the peak stands in the line it names."""
    told = json.loads((carved / "summary.json").read_text())
    for stage in told["stages"]:
        load, rpm = stage["load"], stage["spindle_rpm"]
        assert load["mean_w"] == stage["load_w"]
        for part in ("mean_w", "p95_w", "peak_w"):
            assert load[part]["high"] == pytest.approx(2.5 * load[part]["best"], abs=2e-4)
        watts = load["peak_w"]["high"]
        assert watts >= load["p95_w"]["high"] > 0
        assert load["torque_peak_nmm"] == pytest.approx(9549.3 * watts / rpm, rel=1e-3, abs=1e-3)
        # The machine of the default job: 1500 W from 18000 to 24000 rpm.
        assert 18000 <= rpm <= 24000
        assert load["peak_percent_of_spindle"] == pytest.approx(watts / 15, abs=1e-3)
        assert 0 < load["chip_mean_mm"] <= load["chip_largest_mm"]
        chip = stage["feed_mm_min"] / rpm / stage["bit"]["flutes"]
        assert load["chip_largest_mm"] <= chip * 1.01
        rate = load["removal_mm3_s"]
        assert rate["mean"] * stage["minutes"] * 60 >= stage["removed_litres"] * 1e6 * 0.98
        text = (carved / stage["file"]).read_text()
        at = words_up_to(text, load["peak_line"])
        x, y, z = load["peak_at_mm"]
        assert at["Z"] == pytest.approx(z, abs=1e-3)
        centre = re.search(r"I([-0-9.]+) J([-0-9.]+)", text.splitlines()[load["peak_line"] - 1])
        if centre is None:
            assert [at["X"], at["Y"]] == pytest.approx([x, y], abs=1e-3)
            continue
        # on an arc the peak lies anywhere on its circle
        before = words_up_to(text, load["peak_line"] - 1)
        off = float(centre[1]), float(centre[2])
        radius = np.hypot(x - before["X"] - off[0], y - before["Y"] - off[1])
        assert radius == pytest.approx(np.hypot(*off), abs=4e-3)


def test_every_key_of_the_load_is_documented(carved: Path) -> None:
    told = json.loads((carved / "summary.json").read_text())
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    row = next(line for line in readme.splitlines() if line.startswith("| `load` of a stage |"))
    for key in told["stages"][0]["load"]:
        assert f"`{key}`" in row, key


def test_matrix_takes_the_mesh_into_the_block(carved: Path, dome: Path) -> None:
    told = json.loads((carved / "summary.json").read_text())
    matrix = np.array(told["sculpture"]["to_block"])
    vertices = trimesh.load_mesh(dome).vertices
    placed = vertices @ matrix[:3, :3].T + matrix[:3, 3]
    size = np.ptp(placed, axis=0)
    assert size == pytest.approx(told["sculpture"]["size_mm"], abs=1e-3)
    assert placed[:, 2].min() >= 4 - 1e-6
    assert placed[:, 2].max() <= 24 + 1e-6
    assert (placed[:, 0].min() + placed[:, 0].max()) / 2 == pytest.approx(35, abs=1e-3)


def test_an_existing_folder_stays_unless_forced(
    carved: Path, dome: Path, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (carved / "summary.json").read_bytes()
    arguments = ["carve", str(dome), "--job", str(job), "--out", str(carved)]
    assert cli.main(arguments) == cli.BAD_INPUT
    assert "--force" in capsys.readouterr().err
    assert (carved / "summary.json").read_bytes() == before
    assert cli.main([*arguments, "--force"]) == cli.CLEAN
    assert (carved / "summary.json").read_bytes() == before


def test_a_folder_of_something_else_is_never_replaced(
    dome: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("keep me")
    arguments = ["carve", str(dome), "--out", str(tmp_path / "letters"), "--force"]
    assert cli.main(arguments) == cli.BAD_INPUT
    assert "not ours to replace" in capsys.readouterr().err
    assert (tmp_path / "letters" / "dear.txt").read_text() == "keep me"


def _bad_cases(folder: Path) -> list[tuple[list[str], str]]:
    (folder / "words.stl").write_text("this is no mesh")
    (folder / "empty.stl").write_bytes(b"\0" * 80 + b"\0\0\0\0")
    (folder / "typo.toml").write_text("[block]\nsise = [1, 2, 3]\n")
    (folder / "lb.toml").write_text('[block]\nsize = ["40 lb", 500, 250]\n')
    (folder / "dialect.toml").write_text('[output]\ndialect = "klingon"\n')
    owl = str(Path(__file__).parents[2] / "models" / "owl.stl")
    return [
        ([str(folder / "none.stl")], "does not exist"),
        ([str(folder / "words.stl")], "words.stl"),
        ([str(folder / "empty.stl")], "empty.stl"),
        ([str(folder)], "no mesh"),
        ([owl, "--unit", "m"], "sculpture.unit"),
        ([owl, "--unit", "in"], "--fit"),
        ([owl, "--job", str(folder / "none.toml")], "none.toml"),
        ([owl, "--job", str(folder / "typo.toml")], "size"),
        ([owl, "--job", str(folder / "lb.toml")], "lb"),
        ([owl, "--job", str(folder / "dialect.toml")], "klingon"),
        ([owl, "--out", str(folder / "no" / "where")], "does not exist"),
    ]


@pytest.mark.parametrize("case", range(11))
def test_bad_input_is_one_sentence_and_exit_2(
    case: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments, expected = _bad_cases(tmp_path)[case]
    before = sorted(tmp_path.rglob("*"))
    if "--out" not in arguments:
        arguments = [*arguments, "--out", str(tmp_path / "out")]
    assert cli.main(["carve", *arguments]) == cli.BAD_INPUT
    told = capsys.readouterr()
    assert expected in told.err
    assert "Traceback" not in told.err
    assert len(told.err.strip().splitlines()) == 1
    assert sorted(tmp_path.rglob("*")) == before


def test_job_prints_the_defaults(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["job"]) == cli.CLEAN
    printed = capsys.readouterr().out
    assert printed == default_text()
    assert tomllib.loads(printed)["block"]["size"]


def test_help_needs_no_heavy_package() -> None:
    """What makes help slow is what it imports; time itself is a benchmark."""
    code = (
        "import sys; from icecam import cli\n"
        "try: cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & "
        "{'numpy', 'numba', 'scipy', 'shapely', 'trimesh', 'pydantic', 'rich', 'matplotlib'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopped_by_hand_leaves_nothing(
    number: signal.Signals, dome: Path, job: Path, tmp_path: Path
) -> None:
    out = tmp_path / "stopped"
    command = [sys.executable, "-m", "icecam.cli", "carve", str(dome)]
    running = subprocess.Popen(
        [*command, "--job", str(job), "--out", str(out)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    time.sleep(1.5)
    running.send_signal(number)
    _, told = running.communicate(timeout=120)
    assert running.returncode == cli.STOPPED
    assert b"nothing was written" in told
    assert list(tmp_path.iterdir()) == []


def test_a_refused_job_is_named_so(
    dome: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A machine too low for its bits: the travel limit breaks, the files say REFUSED, exit 3."""
    low = tmp_path / "low.toml"
    low.write_text(JOB + "[machine]\ntravel = [75, 50, 420]\n")
    out = tmp_path / "out"
    assert cli.main(["carve", str(dome), "--job", str(low), "--out", str(out)]) == cli.REFUSED
    told = json.loads((out / "summary.json").read_text())
    assert told["clean"] is False
    assert told["proof"]["limits_broken"]
    names = [path.name for path in out.glob("*.ngc")]
    assert names
    assert all(name.startswith("REFUSED-") for name in names)
    assert "REFUSED" in capsys.readouterr().out
