"""Published figures, typed as printed, and the tolerance of their last digit."""

import tomllib
from importlib.resources import files
from typing import Any

import pytest


def table(name: str) -> dict[str, Any]:
    """Read a table of tests/published."""
    return tomllib.loads((files("tests.published") / name).read_text(encoding="utf-8"))


def as_printed(figure: str) -> Any:  # noqa: ANN401 - pytest's own comparison object
    """Compare equal to what rounds to the printed figure."""
    _, _, decimals = figure.partition(".")
    return pytest.approx(float(figure), abs=0.5000001 * 10.0 ** -len(decimals), rel=0)
