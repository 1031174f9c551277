"""sample_output is what today's code makes, number by number.

Another processor may differ in the last printed digit, no more.
"""

import re
from pathlib import Path

import pytest

from icecam import cli

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_output" / "lantern-tile"
NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")


DIGEST = re.compile(r"\b[0-9a-f]{64}\b")
"""Of a file that may differ in last digits; tests/cli holds digests against files."""


def _last_digit(text: str) -> float:
    """Size of one unit in the last printed digit."""
    if "e" in text:
        mantissa, exponent = text.split("e")
        return _last_digit(mantissa) * 10.0 ** int(exponent)
    return 10.0 ** -len(text.partition(".")[2])


def assert_same_numbers(old: str, new: str, name: str) -> None:
    assert old.count("\n") == new.count("\n"), f"{name}: another number of lines"
    lines = (DIGEST.sub("digest", text).splitlines() for text in (old, new))
    for number, (a, b) in enumerate(zip(*lines, strict=True), start=1):
        if a == b:
            continue
        assert NUMBER.sub("#", a) == NUMBER.sub("#", b), f"{name}, line {number}: {a!r} != {b!r}"
        for x, y in zip(NUMBER.findall(a), NUMBER.findall(b), strict=True):
            unit = max(_last_digit(x), _last_digit(y))
            assert abs(float(x) - float(y)) <= 1.001 * unit, (
                f"{name}, line {number}: {a!r} != {b!r}"
            )


def test_sample_output_is_rebuilt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    out = tmp_path / "lantern-tile"
    job = "models/lantern-tile.toml"
    assert cli.main(["carve", "models/panel.stl", "--job", job, "--out", str(out)]) == cli.CLEAN
    assert {path.name for path in out.iterdir()} == {path.name for path in SAMPLE.iterdir()}
    for path in sorted(SAMPLE.iterdir()):
        if path.suffix not in (".png", ".svg", ".html"):  # shown from the same numbers
            assert_same_numbers(path.read_text(), (out / path.name).read_text(), path.name)


@pytest.mark.long
def test_same_bytes_on_one_core_and_two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    found = []
    for cores in (1, 2):
        monkeypatch.setattr("os.cpu_count", lambda cores=cores: cores)
        out = tmp_path / f"on-{cores}"
        job = "models/lantern-tile.toml"
        assert cli.main(["carve", "models/panel.stl", "--job", job, "--out", str(out)]) == cli.CLEAN
        found.append({file.name: file.read_bytes() for file in out.iterdir()})
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("new", "same"),
    [("X1.235 Y2", True), ("X1.234 Y2", True), ("X1.237 Y2", False), ("X1.234 Z2", False)],
)
def test_the_comparison_can_fail(new: str, same: bool) -> None:
    if same:
        assert_same_numbers("X1.234 Y2", new, "text")
    else:
        with pytest.raises(AssertionError):
            assert_same_numbers("X1.234 Y2", new, "text")
