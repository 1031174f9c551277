"""Job files: what is laid over the defaults, and the one sentence for whatever is wrong."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from icecam.errors import JobError
from icecam.job.file import default_text, load
from tests.job.content import changed, toml, write

BIT = """[[rack]]
name = "only"
shape = "flat"
diameter = 6
flutes = 2
flute_length = "20 mm"
shank = 6
stick_out = "4 cm"
"""


def refusal(folder: Path, text: str) -> str:
    """Return the sentence for a job file, without the path of its folder."""
    path = write(folder, text)
    with pytest.raises(JobError) as caught:
        load(path)
    sentence = str(caught.value)
    assert sentence.startswith(f"{path}: ")
    assert "\n" not in sentence
    return sentence.removeprefix(f"{path}: ")


def test_the_printed_job_is_the_default_job(tmp_path: Path) -> None:
    assert load(write(tmp_path, default_text())) == load(None)
    assert load(write(tmp_path, "")) == load(None)


def test_every_line_that_waits_behind_a_comment_sign_works(tmp_path: Path) -> None:
    text, count = re.subn(r"(?m)^# (\w+ = )", r"\1", default_text())
    assert count == 27
    job = load(write(tmp_path, text))
    assert (job.block.corner, job.quality.cell) == ((142.0, 196.0), 0.25)
    assert (job.rack[0].chip_load, job.output.unit) == (0.15, "in")


def test_defaults_in_millimetres() -> None:
    """Sizes as the trade gives them, by hand: 1 in = 25.4 mm (international inch, 1959)."""
    job = load(None)
    assert job.block.size == pytest.approx((1016, 508, 254), rel=1e-15)
    assert [bit.diameter for bit in job.rack] == [12.7, 12.7, 6.35, 3.175, 1.5875]
    assert [bit.stick_out for bit in job.rack] == [125, 125, 75, 60, 55]
    assert {bit.spindle_rpm for bit in job.rack} == {None}
    assert (job.block.corner, job.quality.cell, job.output.unit) == (None, None, None)


def test_tables_are_laid_over_and_may_be_partial(tmp_path: Path) -> None:
    text = '[machine]\nname = "mine"\n[machine.spindle]\nstart = "1 min"\n'
    text += '[block]\ntemperature = "14 F"'
    job, default = load(write(tmp_path, text)), load(None)
    assert (job.machine.name, job.machine.spindle.start, job.block.temperature) == ("mine", 60, -10)
    assert job.machine.travel == default.machine.travel
    assert job.machine.spindle.power == default.machine.spindle.power
    assert (job.rack, job.quality, job.block.size) == (
        default.rack,
        default.quality,
        default.block.size,
    )


def test_a_rack_replaces_the_whole_rack(tmp_path: Path) -> None:
    (bit,) = load(write(tmp_path, BIT)).rack
    assert (bit.name, bit.diameter, bit.stick_out, bit.nut) == ("only", 6, 40, 34)
    assert (bit.chip_load, bit.spindle_rpm, bit.corner_radius) == (None, None, 0)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b'\xef\xbb\xbfproject = "swan"\r\n')
    assert load(path).project == "swan"


LENGTH = r"as a number or as text with a unit \(mm, cm, m, in, inch, ft, um\)"
KNOWN = "is not a known key"
SENTENCES = [
    (
        'block.size = ["40 lb", 1, 1]',
        r'block\.size\[1\] is "40 lb", and "lb" is not a unit of length; '
        rf"give a length above 0 to 10000 mm, {LENGTH}",
    ),
    ("block.temperature = 5", r"block\.temperature is 5; give a temperature from -30 to 0 C, .*"),
    ('block.temperature = "50 F"', r'block\.temperature is "50 F"; give a temperature .*\(C, F\)'),
    ("block.floor = true", r"block\.floor is true; give a length from 0 to 10000 mm.*"),
    ("block.size = [1, 2]", r"block\.size is \[1, 2\]; give a list of 3, each a length above 0.*"),
    ('block.size = "1 m"', r'block\.size is "1 m"; give a list of 3, each a length above 0.*'),
    ("block.siz = 1", rf"block\.siz {KNOWN}; did you mean block\.size\?"),
    ("[blok]\nfloor = 1", rf"blok {KNOWN}; did you mean block\?"),
    ("[machine.spindle]\nbdy = 1", r"machine\.spindle\.bdy .* mean machine\.spindle\.body\?"),
    ("scallop = 1", rf"scallop {KNOWN}; it belongs to \[quality\]"),
    ("power = 1", rf"power {KNOWN}; it belongs to \[machine\.spindle\]"),
    ("stick_out = 1", rf"stick_out {KNOWN}; it belongs to \[\[rack\]\]"),
    ("[block]\nproject = 1", r"block\.project .*; it belongs to the top of the file"),
    ("scalop = 1", rf"scalop {KNOWN}; did you mean scallop of \[quality\]\?"),
    ("[output]\nqqqq = 1", rf"output\.qqqq {KNOWN}; the keys of output are dialect, unit, .*"),
    ("block = 3", r"block is 3; give a table with the keys size, temperature, floor, .*"),
    ("[rack]\nname = 'a'", r'rack is \{"name": "a"\}; give a list of 1 to 12, each a table .*'),
    ("rack = []", r"rack is \[\]; give a list of 1 to 12, each a table .*"),
    ("rack = [1]", r"rack\[1\] is 1; give a table with the keys name, .*"),
    (
        BIT.replace("flutes = 2\n", ""),
        r'rack\[1\]\.flutes \("only"\) is missing; give a whole number from 1 to 8',
    ),
    (
        BIT.replace("shape", "shap"),
        rf'rack\[1\]\.shap \("only"\) {KNOWN}; '
        r"did you mean rack\[1\]\.shape\?; and 1 more problem",
    ),
    (BIT.replace('"only"', "7"), r"rack\[1\]\.name is 7; give text in quotes of 1 to 40 .*"),
    (BIT.replace("= 2\n", "= 2.5\n"), r'rack\[1\]\.flutes \("only"\) is 2\.5; give a whole .*'),
    ("sculpture.turn = 45", r"sculpture\.turn is 45; give one of 0, 90, 180, 270"),
    ("sculpture.turn = false", r"sculpture\.turn is false, and true and false are not numbers; .*"),
    ('sculpture.up = "up"', r'sculpture\.up is "up"; give one of "top", "bottom", "front", .*'),
    ("sculpture.fit = 1", r"sculpture\.fit is 1; give true or false"),
    ("quality.cell = nan", r"quality\.cell is NaN; give a length from 0\.01 to 10 mm.*"),
    ("quality.cell = 1979-05-27", r'quality\.cell is "1979-05-27"; give a length .*'),
    ("block.floor = 0x1" + "0" * 5000, r"block\.floor is too long to show; give a length .*"),
    ('project = " "', r'project is " ", and it cannot be read on a sheet; give text in quotes .*'),
    (f'project = "{"a" * 90}"', r'project is "a{56}\.\.\.; give text in quotes of 1 to 80 .*'),
    (
        "feeds.plunge = 2\nfeeds.slot = 2\nquality.cell = 99",
        rf"quality\.cell is 99; .* {LENGTH}; and 2 more problems",
    ),
    ("block.floor = 300", r"block\.floor is 300 mm, as high as the block of 254 mm .*; give .*"),
    ("quality.detail = 0.05\nblock.floor = 300", r"block\.floor is 300 mm.*; and 1 more problem"),
]


@pytest.mark.parametrize(("text", "expected"), SENTENCES)
def test_each_problem_is_one_sentence(tmp_path: Path, text: str, expected: str) -> None:
    assert re.fullmatch(expected, refusal(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nblock.floor = 1/2 in\n", 2),
        ("[block\n", 1),
        ("\n\nproject = 'open", 3),
        ("feeds = {plunge = 1", 1),
        ("[block]\n[block]\n", 2),
        ("project = 'a'\nproject = 'b'", 2),
    ],
)
def test_bad_toml_names_its_line(tmp_path: Path, text: str, line: int) -> None:
    sentence = refusal(tmp_path, text)
    assert sentence.startswith("this is not valid TOML, ")
    assert f"at line {line}," in sentence
    assert sentence.endswith("mend that line (text and figures with a unit go in quotes)")


def test_toml_beyond_the_parser(tmp_path: Path) -> None:
    assert "too long or lists lie too deep" in refusal(tmp_path, "a = " + "9" * 5000)
    assert "too long or lists lie too deep" in refusal(tmp_path, "a = " + "[" * 20000)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"none\.toml: there is no such file; .*`icecam job`$"):
        load(tmp_path / "none.toml")
    with pytest.raises(JobError, match=r": this is a folder; give the path of a job file$"):
        load(tmp_path)
    path = write(tmp_path, "")
    path.write_bytes(b"project = '\xe9'")
    with pytest.raises(JobError, match=r"byte 12 is not UTF-8 text; save the file as UTF-8"):
        load(path)
    path.write_bytes('project = "a"'.encode("utf-16"))
    with pytest.raises(JobError, match="is not UTF-8 text"):
        load(path)
    with pytest.raises(JobError, match=r"cannot be read \(.*\); check the path$"):
        load(path / "below.toml")
    with pytest.raises(JobError, match=r"cannot be read \(.*\); check the path$"):
        load(tmp_path / "a\0b.toml")


def told(path: Path) -> str:
    """Return the sentence of a refusal, or nothing."""
    try:
        load(path)
    except JobError as error:
        return str(error)
    return ""


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(alphabet=st.characters(codec="utf-8"), max_size=40))
def test_any_text_is_read_or_refused_in_one_line(tmp_path: Path, text: str) -> None:
    path = write(tmp_path, text)
    assert told(path).startswith(f"{path}: ") or load(path) == load(None)
    assert len(told(path).splitlines()) <= 1


json_like = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(-(2**70), 2**70),
        st.floats(),
        st.sampled_from(["1 in", "5 lb", "flat", "top", "", "mm"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(["size", "name", "x", "shape", "power"]), inner, max_size=3
        ),
    ),
    max_leaves=5,
)
PLACES = ["project", "block", "block.size", "block.floor", "block.odd", "machine"]
PLACES += ["machine.spindle", "machine.spindle.power"]
PLACES += ["rack", "rack[1]", "rack[1].nut", "rack[2].name", "rack[1].odd"]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.sampled_from(PLACES), value=json_like)
def test_any_value_anywhere_is_taken_or_refused(tmp_path: Path, place: str, value: object) -> None:
    path = write(tmp_path, toml(changed({place: value})))
    sentence, table = told(path), re.split(r"\W", place)[0]
    assert sentence == "" or sentence.startswith(f"{path}: {table}")
    assert len(sentence.splitlines()) <= 1
