"""What README and DEVELOPERS claim, held against the code."""

import argparse
import json
import re
import tomllib
from pathlib import Path
from typing import Any

from icecam.arguments import parser
from icecam.ice.constants import ASSUMED

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_assumed_constant_stands_in_the_readme() -> None:
    for constant in ASSUMED:
        rows = [line for line in README.splitlines() if line.startswith(f"| {constant.name} |")]
        assert len(rows) == 1, constant.name
        assert f"| {constant.value:g}" in rows[0]
        assert f"| {constant.low:g} to {constant.high:g} |" in rows[0]


def test_every_package_has_a_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["test"]
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for requirement in wanted:
        name = re.split(r"[>=<\[]", requirement)[0]
        assert re.search(rf"\b{name}\b", table), name


def _keys(record: Any) -> set[str]:  # noqa: ANN401 - whatever JSON holds
    if isinstance(record, dict):
        inner = [_keys(value) for value in record.values()]
        return set(record).union(*inner)
    if isinstance(record, list):
        return set().union(*[_keys(value) for value in record])
    return set()


def test_every_key_of_the_summary_is_documented() -> None:
    told = json.loads((ROOT / "sample_output" / "lantern-tile" / "summary.json").read_text())
    section = README.split("## summary.json")[1].split("## Honest limits")[0]
    for key in _keys(told):
        assert f"`{key}`" in section, key


def test_top_level_holds_what_was_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "icecam", "post", "tests", "models"}
    names = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert names - {"icecam.egg-info", "build"} == agreed | {"sample_output"}


def _options(of: argparse.ArgumentParser) -> set[str]:
    """Names of the options of a command, but for those that every command has."""
    return {name for action in of._actions for name in action.option_strings} - {"-h", "--help"}


def test_every_option_of_a_command_stands_in_the_readme() -> None:
    (commands,) = (
        action for action in parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    assert "split" in commands.choices
    for command, of in commands.choices.items():
        assert f"icecam {command}" in README
        for option in _options(of):
            assert re.search(rf"{option}\b", README), f"{command} {option}"


def test_the_readme_commands_are_commands() -> None:
    lines = [line for line in README.splitlines() if ".venv/bin/icecam" in line]
    assert len(lines) == 1
    arguments = lines[0].split(".venv/bin/icecam ")[1].split()
    options = parser().parse_args(arguments)
    assert (ROOT / options.sculpture).is_file()
