"""Machines to start from: what a job file takes from them, and what it says if there is none.

Their values are assumed (common practice, no source); the order of their runtimes is what tells a
light machine from a heavy one.
"""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from icecam.errors import JobError
from icecam.estimate.runtime import runtime
from icecam.job.file import default_text, load
from icecam.job.profiles import PROFILES
from icecam.job.records import Machine
from icecam.paths.toolpath import CUT, RAPID, Toolpath
from tests.job.content import MACHINES, write


def machine_of(folder: Path, profile: str, more: str = "") -> Machine:
    """Return the machine of a job that names a profile."""
    return load(write(folder, f'[machine]\nprofile = "{profile}"\n{more}')).machine


@pytest.mark.parametrize("profile", PROFILES)
def test_a_profile_gives_what_its_file_says(tmp_path: Path, profile: str) -> None:
    """Every profile holds the default block with the default bits, or the job would be refused."""
    file = MACHINES / f"{profile.replace(' ', '-')}.toml"
    said = tomllib.loads(file.read_text(encoding="utf-8"))
    found = machine_of(tmp_path, profile)
    assert (found.profile, found.name) == (profile, profile)
    for key in said.keys() - {"spindle"}:
        wanted = said[key]
        assert getattr(found, key) == (tuple(wanted) if isinstance(wanted, list) else wanted), key
    for key in said["spindle"].keys() - {"power"}:
        assert getattr(found.spindle, key) == said["spindle"][key], key
    assert [list(pair) for pair in found.spindle.power] == said["spindle"]["power"]


def test_every_profile_has_its_file_that_calls_its_values_assumed() -> None:
    files = sorted(MACHINES.glob("*.toml"))
    assert [file.stem for file in files] == sorted(name.replace(" ", "-") for name in PROFILES)
    assert [file.name for file in files if "# Assumed: " not in file.read_text("utf-8")] == []


def test_other_keys_go_before_the_profile(tmp_path: Path) -> None:
    light = machine_of(tmp_path, "light gantry")
    mine = 'name = "mine"\nacceleration = [300, "0.4 m/s2", 100]\n[machine.spindle]\nstart = 11\n'
    found = machine_of(tmp_path, "light gantry", mine)
    assert found == replace(
        light,
        name="mine",
        acceleration=(300.0, 400.0, 100.0),
        spindle=replace(light.spindle, start=11.0),
    )


def test_jerk_may_be_given_to_any_machine(tmp_path: Path) -> None:
    assert load(None).machine.jerk is None
    given = 'jerk = ["10 m/s3", 9000, 500]'
    assert machine_of(tmp_path, "mid-size gantry", given).jerk == (10_000.0, 9000.0, 500.0)


def test_the_default_is_the_mid_size_one_and_its_values_are_printed(tmp_path: Path) -> None:
    assert load(None).machine == machine_of(tmp_path, "mid-size gantry")
    text = default_text()
    table = text[text.index("[machine]") : text.index("# The rack:")]
    shown = re.sub(r"(?m)^# (\w+ = )", r"\1", table.replace("# jerk", "## jerk"))
    assert load(write(tmp_path, shown)).machine == load(None).machine
    assert shown.count("\n") > len(re.findall(r"(?m)^\w+ = ", shown)) == 14


@pytest.mark.parametrize("wrong", ['"feather gantry"', "3", "true", '["light gantry"]'])
def test_a_profile_that_is_not_there_is_refused_with_those_that_are(
    tmp_path: Path, wrong: str
) -> None:
    path = write(tmp_path, f"[machine]\nprofile = {wrong}\n")
    with pytest.raises(JobError) as caught:
        load(path)
    assert str(caught.value) == (
        f"{path}: machine.profile is {wrong}; "
        'give one of "light gantry", "mid-size gantry", "heavy gantry"'
    )


def test_the_same_path_takes_longest_on_the_light_and_shortest_on_the_heavy(
    tmp_path: Path,
) -> None:
    """Long rows, a wavy line in short chords, steps in Z and rapids, each by itself."""
    along = np.linspace(0, 200, 501)
    wave = np.stack([along, 10 * np.sin(along / 8), 3 * np.cos(along / 5)], axis=1)
    rows = np.array([(x, 2.0 * row, 0.0) for row in range(15) for x in (0, 300)[:: (-1) ** row]])
    steps = np.array([(n // 2, 0.0, 5.0 * (n % 4 in (1, 2))) for n in range(60)])
    machines = [machine_of(tmp_path, name) for name in PROFILES]
    for points, kind in ((wave, CUT), (rows, CUT), (steps, CUT), (rows, RAPID)):
        count = len(points) - 1
        path = Toolpath(
            start=points[0],
            ends=points[1:],
            kind=np.full(count, kind, np.int8),
            feed=np.full(count, 90.0 if kind == CUT else np.nan),
            line=np.zeros(count, np.int32),
        )
        light, middle, heavy = (runtime(path, machine).total for machine in machines)
        assert light > middle > heavy
