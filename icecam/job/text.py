"""A job as the text of a job file: everything said, in mm and s, so that it stands by itself.

Takes a checked `Job`, gives TOML that `icecam.job.file.load` reads back as the same job.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

from pydantic import TypeAdapter

from icecam.job.records import Job

_writer: Final = TypeAdapter(Job)
_HEAD: Final = "# The job as it was carved, every value said; `icecam resume` and `split` read it."


def job_text(job: Job) -> str:
    """Return the text of a job file that holds the whole job.

    Keys that hold nothing are left out, which is how a job file says so.

    >>> from icecam.job.file import load
    >>> "size = [1016.0, 508.0, 254.0]" in job_text(load(None)).splitlines()
    True
    """
    content = _writer.dump_python(job, exclude_none=True)
    return "\n".join([_HEAD, *_table(content, ())]) + "\n"


def _table(content: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    """Lines of a table: its values, then the tables within, then lists of tables."""
    tables = {key: value for key, value in content.items() if isinstance(value, Mapping)}
    lists = {key: value for key, value in content.items() if _holds_tables(value)}
    plain = {key: value for key, value in content.items() if key not in {*tables, *lists}}
    lines = [f"{key} = {_value(value)}" for key, value in plain.items()]
    for key, value in tables.items():
        name = (*path, key)
        lines += ["", f"[{'.'.join(name)}]", *_table(value, name)]
    for key, value in lists.items():
        name = (*path, key)
        for each in value:
            lines += ["", f"[[{'.'.join(name)}]]", *_table(each, name)]
    return lines


def _holds_tables(value: object) -> bool:
    return isinstance(value, tuple) and any(isinstance(each, Mapping) for each in value)


def _value(value: object) -> str:
    """Write a value that is no table on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(each) for each in value) + "]"
    return repr(value)
