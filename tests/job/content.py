"""Small tools to build job content for tests: plain dicts, keys written as in messages."""

import copy
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import icecam.job
from icecam.job.file import default_text

MACHINES: Final = Path(icecam.job.__file__).parent / "machines"
MACHINE: Final = tomllib.loads((MACHINES / "mid-size-gantry.toml").read_text(encoding="utf-8"))

READING: Final = {
    "cutting_w": 210,
    "idle_w": 150,
    "diameter": 12.7,
    "flutes": 2,
    "spindle_rpm": 18000,
    "feed": 75,
    "depth": 12,
    "width": 12.7,
    "temperature": -10,
}

SAWN: Final = {"through": [[150, 0, 0], [0, 100, 0], [0, 100, 254]], "gone": [0, 0, 0]}


def defaults() -> dict[str, Any]:
    """Return the default job as plain TOML content, with the values of its machine."""
    content = tomllib.loads(default_text())
    spindle = MACHINE["spindle"] | content["machine"]["spindle"]
    content["machine"] = MACHINE | content["machine"] | {"spindle": spindle}
    return content


def changed(changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the defaults with some values replaced, by keys like `rack[1].nut`."""
    content = copy.deepcopy(defaults())
    content["block"].setdefault("corner", [100, 100])
    content["block"]["precut"] |= {
        "sawn": [copy.deepcopy(SAWN)],
        "mesh": "a.stl",
        "heights": "a.csv",
    }
    content["machine"].setdefault("jerk", [10000, 10000, 5000])
    content["ice"].setdefault("calibrate", [dict(READING)])
    for key, value in changes.items():
        found = re.findall(r"\[(\d+)\]|(\w+)", key)
        parts = [int(number) - 1 if number else name for number, name in found]
        place: Any = content
        for part in parts[:-1]:
            place = place[part]
        place[parts[-1]] = value
    return content


def toml(content: Mapping[str, Any]) -> str:
    """Write content as TOML inline tables: JSON of our plain values, with `=` for `:`."""
    return "".join(f"{name} = {_value(value)}\n" for name, value in content.items())


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{name} = {_value(item)}" for name, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value)


def write(folder: Path, text: str) -> Path:
    """Write a job file and return its path."""
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path
