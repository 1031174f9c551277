"""Every constant has a source, every reference is used, nothing is left off the list."""

import pytest

from icecam.ice import constants, keeping_constants
from icecam.ice.constants import ASSUMED, CONSTANTS, ChipWindow
from icecam.ice.references import REFERENCES
from icecam.ice.sourced import Sourced


def found_in(value: object) -> list[Sourced]:
    """All constants inside a value of the module."""
    if isinstance(value, Sourced):
        return [value]
    if isinstance(value, ChipWindow):
        return [value.load]
    if isinstance(value, tuple):
        return [each for part in value for each in found_in(part)]
    return []


def test_every_constant_of_the_module_is_on_the_list_once() -> None:
    named = {
        each
        for module in (constants, keeping_constants)
        for name, value in vars(module).items()
        if name not in {"CONSTANTS", "ASSUMED", "KEEPING"}
        for each in found_in(value)
    }
    assert named == set(CONSTANTS)
    assert len({constant.name for constant in CONSTANTS}) == len(CONSTANTS)


def test_sources_and_references_match_both_ways() -> None:
    cited = {constant.source for constant in CONSTANTS if not constant.assumed}
    assert cited == set(REFERENCES)


def test_assumed_constants_give_a_reason_not_a_key() -> None:
    assert ASSUMED
    for constant in ASSUMED:
        assert constant.source not in REFERENCES
        assert len(constant.source.split()) >= 4


@pytest.mark.parametrize(
    ("value", "source", "message"), [(3.0, "why", "outside 0.0 to 2.0"), (1.0, "", "no source")]
)
def test_refusals(value: float, source: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Sourced(name="x", value=value, unit="1", low=0.0, high=2.0, conditions="any", source=source)
