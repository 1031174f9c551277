"""`icecam view` and the page that `icecam carve` leaves."""

import webbrowser
from pathlib import Path

import pytest

from icecam import cli
from icecam.viewer.page import FILE_NAME


def test_view_opens_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / FILE_NAME).write_text("page")
    asked: list[str] = []

    def opens(address: str) -> bool:
        asked.append(address)
        return True

    monkeypatch.setattr(webbrowser, "open", opens)
    assert cli.main(["view", str(tmp_path)]) == cli.CLEAN
    assert asked == [(tmp_path / FILE_NAME).resolve().as_uri()]


@pytest.mark.parametrize("there", [True, False])
def test_view_says_what_is_missing(
    there: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if there:
        (tmp_path / FILE_NAME).write_text("page")
    monkeypatch.setattr(webbrowser, "open", lambda _address: False)
    assert cli.main(["view", str(tmp_path)]) == cli.BAD_INPUT
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert ("by hand" if there else "holds no job.html") in said
