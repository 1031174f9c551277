"""Folders that may only be read, by rights (chmod(2), setuid(2)) and by the mount (mount(8)).

Rights do not bind the superuser, so the command line runs as another user; the old output stays
as it was, to the byte.
"""

import os
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from icecam import cli
from icecam.errors import OutputError
from icecam.report.folder import add, claimed
from tests.report.full_folder import put, whole

NOBODY = 65534
OWL = Path(__file__).parents[2] / "models" / "owl.stl"


AS_NOBODY = f"""
import os, sys, tempfile
from icecam import cli
import icecam.choose.bits, icecam.plan, icecam.report.folder, post.dialect
os.setgroups([])
os.setgid({NOBODY})
os.setuid({NOBODY})
tempfile.tempdir = {tempfile.gettempdir()!r}
sys.exit(cli.main(sys.argv[1:]))
"""
"""What a command needs before it looks at its folder is read first: another user may not even be
let into the superuser's Python."""


def as_nobody(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command line as a user without rights on anything here."""
    command = [sys.executable, "-c", AS_NOBODY, *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that all may enter, with an earlier result in it."""
    if os.getuid() != 0:
        pytest.skip("only the superuser may become another user")
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    put(folder / "cut", "old ")
    yield folder
    shutil.rmtree(folder)


@pytest.mark.parametrize(
    ("command", "name", "open_above"),
    [
        ("carve", "cut", False),
        ("carve", "new", False),
        ("carve", "cut", True),
        ("bits", "cut", True),
    ],
)
def test_another_user_is_refused_and_the_old_output_stays(
    command: str, name: str, open_above: bool, place: Path
) -> None:
    """Where all may write above, the folder of the superuser still cannot be emptied by others."""
    if open_above:
        place.chmod(0o777)
    mode = stat.S_IMODE((place / "cut").stat().st_mode)
    before = sorted(place.rglob("*"))
    out = str(place / name)
    done = as_nobody(command, str(OWL), "--out", out, "--force")
    assert done.returncode == cli.BAD_INPUT, done.stderr
    assert "cannot be written by you; choose another --out" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stdout == ""
    assert sorted(place.rglob("*")) == before
    assert stat.S_IMODE((place / "cut").stat().st_mode) == mode
    assert whole(place / "cut")


@pytest.fixture
def read_only(tmp_path: Path) -> Iterator[Path]:
    """A file system that was made read-only with an earlier result on it."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount") or "mount"
    made = [mount, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)]
    if subprocess.run(made, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a file system")
    try:
        put(disk / "cut", "old ")
        subprocess.run([mount, "-o", "remount,ro", str(disk)], check=True)
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.parametrize("name", ["cut", "new"])
def test_a_mount_that_is_read_only(name: str, read_only: Path) -> None:
    with (
        pytest.raises(OutputError, match=r"cannot be written by you; choose another --out"),
        claimed(read_only / name, force=True),
    ):
        pass
    assert whole(read_only / "cut")
    assert [path.name for path in read_only.iterdir()] == ["cut"]


def test_nothing_is_added_on_a_mount_that_is_read_only(read_only: Path) -> None:
    """As `icecam resume` and `split` do it."""
    with pytest.raises(OutputError, match=r"could not be written \(Read-only file system\); free"):
        add(read_only / "cut", {"3-finish-ball-from-line-9.ngc": b"G21\n"})
    assert whole(read_only / "cut")


def test_the_command_line_says_so(read_only: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = str(read_only / "cut")
    assert cli.main(["carve", str(OWL), "--out", out, "--force"]) == cli.BAD_INPUT
    told = capsys.readouterr()
    assert len(told.err.strip().splitlines()) == 1
    assert told.out == ""
    assert whole(read_only / "cut")
