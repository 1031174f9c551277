"""`icecam hours` as the sculptor meets it: of a mesh, of a finished folder, numbers, refusals."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from icecam import cli
from icecam.errors import OutputError
from icecam.report.hours import ROWS, folder_hours
from icecam.report.hours_text import hours_text
from tests.damage import damaged

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
[freezer]
working_day = "1 h"
warm_up = "6 min"
snow_bulk = 2
snow_stop_litres = 0.02
snow_stop = "1 min"
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
    assert (
        cli.main(["carve", "--all-bits", str(dome), "--job", str(job), "--out", str(out)])
        == cli.CLEAN
    )
    return out


def asked(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Return what the command prints."""
    assert cli.main(["hours", *arguments]) == cli.CLEAN
    return capsys.readouterr().out


def numbers(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(asked(capsys, *arguments, "--json"))
    return told


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Return the one sentence of a refusal."""
    assert cli.main(["hours", *arguments]) == cli.BAD_INPUT
    out, error = capsys.readouterr()
    assert out == ""
    lines = [line for line in error.splitlines() if line.startswith("icecam: ")]
    assert len(lines) == 1
    return lines[0]


def test_a_draft_and_a_folder_tell_the_same_things(
    dome: Path, job: Path, carved: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Same keys, same bits, what is kept alike; times within 15 %."""
    draft = numbers(capsys, str(dome), "--job", str(job))
    planned = numbers(capsys, str(carved))
    assert (draft.pop("planned"), planned.pop("planned")) == (False, True)
    assert list(draft) == list(planned)
    for one, other in zip(draft["stages"], planned["stages"], strict=True):
        assert one["name"] == other["name"]
        assert list(one["time"]) == list(other["time"])
    quick, real = (told["totals"]["total_minutes"] for told in (draft, planned))
    assert quick == pytest.approx(real, rel=0.15)
    for key, value in planned["keeping"].items():
        if key != "carving_heat_mj":
            assert draft["keeping"][key] == value


def test_a_heavier_machine_is_quicker_and_the_own_one_takes_what_its_rows_say(
    carved: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The job's machine is the mid-size one: without snow and warm-up its row is the total."""
    told = numbers(capsys, str(carved))
    minutes = {machine["name"]: machine["minutes"] for machine in told["machines"]}
    totals = told["totals"]
    own = totals["total_minutes"] - totals["snow_minutes"] - totals["warm_up_minutes"]
    assert minutes["mid-size gantry"] == pytest.approx(own, abs=0.02)
    assert minutes["heavy gantry"] < minutes["mid-size gantry"] < minutes["light gantry"]


def test_rows_add_up(carved: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Definition: the rows of a stage are its total, the stages together the totals."""
    told = numbers(capsys, str(carved))
    for time in (*(stage["time"] for stage in told["stages"]), told["totals"]):
        assert sum(time[key] for key in ROWS[:-1]) == pytest.approx(time["total_minutes"], abs=1e-2)
    for key in (*ROWS, "snow_litres", "snow_stops"):
        sums = sum(stage["time"][key] for stage in told["stages"])
        assert sums == pytest.approx(told["totals"][key], abs=1e-2)


def test_rows_of_a_folder_follow_its_summary(
    carved: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand from other keys: the machine's minutes, 5 min a change, 2 litres of snow a litre.

    A stop of 1 min every 0.02 litres; an hour a day of which 6 min go to the spindle.
    """
    summary = json.loads((carved / "summary.json").read_text())
    told = numbers(capsys, str(carved))
    for number, (stage, row) in enumerate(zip(summary["stages"], told["stages"], strict=True)):
        time = row["time"]
        machine = time["total_minutes"] - time["snow_minutes"] - time["warm_up_minutes"]
        assert machine == pytest.approx(stage["minutes"], abs=1e-2)
        assert time["bit_change_minutes"] == (5.0 if number else 0.0)
        assert time["snow_litres"] == pytest.approx(2 * stage["removed_litres"], abs=2e-3)
        at_feed = stage["cut_length_m"] * 1e3 / stage["feed_mm_min"]
        # plunges and slots run slower than the feed of the stage, thin chips up to 4 times faster
        fastest = 1.0 if stage["kind"] == "rough" else 4.0
        assert time["cutting_minutes"] >= at_feed / fastest - 1e-3
    totals = told["totals"]
    assert totals["snow_stops"] == int(totals["snow_litres"] / 0.02)
    assert totals["snow_minutes"] == totals["snow_stops"]
    machine = sum(stage["minutes"] for stage in summary["stages"]) + totals["snow_minutes"]
    assert totals["warm_up_minutes"] == 6.0 * -(-machine // 54.0)
    left = totals["total_minutes"] - 60.0 * totals["working_days"]
    assert totals["hours_on_the_day_after"] * 60.0 == pytest.approx(left, abs=1e-2)


@pytest.mark.parametrize("planned", [False, True])
def test_the_text_fits_and_says_what_matters(
    dome: Path, job: Path, carved: Path, planned: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = [str(carved)] if planned else [str(dome), "--job", str(job)]
    text = asked(capsys, *arguments)
    assert max(len(line) for line in text.splitlines()) <= 100
    told = numbers(capsys, *arguments)
    words = " ".join(text.split())
    for stage in told["stages"]:
        assert stage["name"] in text
        minutes = round(stage["time"]["total_minutes"])
        assert f"{minutes // 60}:{minutes % 60:02d}" in text
    for part in (
        "slowed", "travel", "snow", "warm-", "working day", "tempering", "mm a day", "kWh",
        "at an event at 20 C", "local codes and trained people",
    ):  # fmt: skip
        assert part in words
    assert f"{told['keeping']['block_lift']['mass_kg']:.1f} kg" in words


def test_nothing_is_written(
    dome: Path, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(["hours", str(dome), "--job", str(job)]) == cli.CLEAN
    assert not list(tmp_path.iterdir())


def test_refusals(
    dome: Path, job: Path, carved: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "holds no summary.json; name a folder" in refused(capsys, str(tmp_path))
    sentence = refused(capsys, str(carved), "--job", str(job))
    assert "is a finished folder, whose job is settled; leave out --job" in sentence
    refused(capsys, str(tmp_path / "none.stl"))
    refused(capsys, str(dome), "--job", str(tmp_path / "none.toml"))


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"stages": 3}', '{"icecam": 1, "sculpture": {"file": "a"}}']
)
def test_summaries_of_no_use(
    content: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "summary.json").write_text(content)
    assert "carve the job again" in refused(capsys, str(tmp_path))


def test_a_summary_without_hours_or_with_words_for_them(
    carved: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = json.loads((carved / "summary.json").read_text())
    file = tmp_path / "summary.json"
    none: dict[str, object] = {}
    for time in (none, told["stages"][0]["time"] | {"total_minutes": "ten"}):
        told["stages"][0]["time"] = time
        file.write_text(json.dumps(told))
        assert "holds no hours: it is damaged, or an older" in refused(capsys, str(tmp_path))


def test_a_damaged_summary_is_told_or_refused(carved: Path, tmp_path: Path) -> None:
    """By the hundred: bytes changed, keys gone, cut off; a table or a refusal, nothing else."""
    good = [(carved / "summary.json").read_bytes()]
    short = json.dumps({key: json.loads(good[0])[key] for key in ("icecam", "keeping")})
    random, found = np.random.default_rng(5), set[str]()
    for _ in range(600):
        (tmp_path / "summary.json").write_bytes(damaged([*good, short.encode()], random)[1])
        try:
            found.add("told" if hours_text(folder_hours(tmp_path)) else "")
        except OutputError as refusal:
            found.add("refused" if "carve the job again" in str(refusal) else str(refusal))
    assert found == {"told", "refused"}
    whole = json.loads(good[0])
    for key in whole["keeping"]:
        less = {name: value for name, value in whole["keeping"].items() if name != key}
        (tmp_path / "summary.json").write_text(json.dumps(whole | {"keeping": less}))
        assert cli.main(["hours", str(tmp_path)]) in (cli.CLEAN, cli.BAD_INPUT)
