"""The dry run of a file that was held against no sculpture: it runs, and says so."""

from pathlib import Path

from playwright.sync_api import Browser

from icecam import cli
from tests.viewer.conftest import opened

JOB = "[block]\nsize = [60, 50, 24]\nfloor = 2\n[quality]\ncell = 0.4\n"
GROOVE = "G21 G90\nS18000 M3\nG0 Z40\nG0 X10 Y20\nG1 Z20 F600\nG91 X30\nG90 G0 Z40\nM5\nM2\n"


def test_a_bare_check_opens_and_never_speaks_of_a_sculpture_it_has_not(
    browser: Browser, tmp_path: Path
) -> None:
    """The ice stands 20 mm high in the groove and 24 beside it (by hand)."""
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "groove.nc").write_text(GROOVE)
    out = tmp_path / "seen"
    arguments = [str(tmp_path / "groove.nc"), "--job", str(tmp_path / "job.toml")]
    more = ["--bits", "half-inch flat", "--out", str(out)]
    assert cli.main(["check", *arguments, *more]) == cli.CLEAN
    got = opened(browser, (out / "job.html").as_uri())
    assert got.complaints == []
    assert "held against no sculpture" in got.page.inner_text("#dr-what")
    assert "Not proven" in got.page.inner_text(".verdict")
    told = got.page.evaluate(
        """() => {
            const run = window.dryRun;
            run.toTime(run.job.head.seconds);
            const { ice } = run;
            return [[20, 20], [20, 40]].map(([x, y]) => ice.heights[ice.cellAt(x, y).at]);
        }"""
    )
    assert got.page.evaluate("dryRun.lineText(0, 6)") == "G91 X30"
    assert [round(height, 2) for height in told] == [20, 24]
