from dataclasses import replace

import pytest

from icecam.errors import JobError
from post.dialect import available, load, parse

PLAIN = """
extension = "ngc"
line_number_step = 0
percent = true
comments = "parentheses"
unit = "mm"
decimals_mm = 3
decimals_in = 4
dwell_unit = "s"
program_end = "M2"
header_lines = []
footer_lines = []
tool_changes = true
path_word = ""
max_line_length = 200
arcs = true
"""


def test_each_dialect_loads_under_its_name() -> None:
    assert set(available()) >= {"plain", "numbered-inch", "lean"}
    assert [load(name).name for name in available()] == list(available())


def test_plain_is_the_standard_in_mm() -> None:
    """NISTIR 6556: parentheses (3.3.4), I and J from the start (3.5.3.2), seconds, M2 (3.6.1)."""
    assert load("plain") == parse(PLAIN.encode(), name="plain")


@pytest.mark.parametrize("name", ["plane", "", "../plain", "plain.toml"])
def test_unknown_name_lists_the_known_ones(name: str) -> None:
    with pytest.raises(JobError, match=r"no dialect.*choose one of .*lean.*plain"):
        load(name)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('unit = "mm"', 'unit = "cm"', "mine.toml: unit is 'cm'; write one of"),
        ('unit = "mm"', "", "mine.toml: unit is missing"),
        ('unit = "mm"', 'unit = "mm"\nunits = "mm"', "mine.toml: units is not known"),
        ("percent = true", 'percent = "yes"', "mine.toml: percent is 'yes'"),
        ("percent = true", "percent = 1", "mine.toml: percent is 1"),
        ("decimals_mm = 3", "decimals_mm = 9", "decimals_mm is 9; write 2 to 5"),
        ("max_line_length = 200", "max_line_length = 300", "write 80 to 254"),
        ("max_line_length = 200", "max_line_length = 40", "write 80 to 254"),
        ("header_lines = []", 'header_lines = "G64"', "header_lines is 'G64'; write a list"),
        ("header_lines = []", "header_lines = [3]", "header_lines is"),
        ("footer_lines = []", 'footer_lines = ["M9\\nM3"]', "without a line break"),
        ("footer_lines = []", 'footer_lines = ["M9 é"]', "plain characters"),
        ('extension = "ngc"', 'extension = "../x"', "is not made of letters"),
        ("decimals_mm = 3", "decimals_mm = 2", "decimals_mm is 2; with arcs, write 3 to 4, or"),
        ("decimals_in = 4", "decimals_in = 6", "decimals_in is 6; with arcs, write 4 to 5, or"),
        ("arcs = true", "arcs = 1", "arcs is 1"),
        ('program_end = "M2"', 'program_end = "M99"', "program_end is 'M99'"),
        ('unit = "mm"', "unit = ", "mine.toml is not TOML"),
    ],
)
def test_bad_file_names_file_key_and_remedy(old: str, new: str, message: str) -> None:
    with pytest.raises(JobError) as caught:
        parse(PLAIN.replace(old, new).encode(), name="mine")
    assert message in str(caught.value)
    assert "mine.toml" in str(caught.value)


def test_value_is_checked_wherever_it_comes_from() -> None:
    with pytest.raises(JobError, match="line_number_step is -5"):
        replace(load("plain"), line_number_step=-5)
