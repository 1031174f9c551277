"""The output folder when things go wrong: killed, full, closed, taken.

Whatever happens, the folder is as it was or all new, and the next run works. Kinds of failure by
their manual pages: kill(2), setrlimit(2), mount(8), flock(2).
"""

import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from icecam.errors import OutputError
from icecam.report import folder as output
from icecam.report.folder import beside, check_free, claimed
from tests.report.full_folder import put, whole

LOOP = """
import sys
from pathlib import Path
from tests.report.full_folder import put
nth = 0
print("going", flush=True)
while True:
    nth += 1
    put(Path(sys.argv[1]), f"text {nth} ")
"""


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("step_by_step", [False, True])
def test_killed_at_any_moment(number: signal.Signals, step_by_step: bool, tmp_path: Path) -> None:
    """Twelve times: old or new, whole; what was left beside goes with the next run.

    Where the system cannot let two folders change places there is a moment without the folder; then
    the next run finds the old one.
    """
    folder, chance = tmp_path / "cut", random.Random(int(number))
    without = "import icecam.report.folder as f; f._exchanged = lambda a, b: False\n"
    code = (without if step_by_step else "") + LOOP
    put(folder, "first ")
    for _ in range(12):
        running = subprocess.Popen(
            [sys.executable, "-c", code, folder], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        assert running.stdout is not None
        running.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.08))
        running.send_signal(number)
        running.communicate(timeout=20)
        assert whole(folder) if folder.exists() else step_by_step
        with claimed(folder, force=True):
            assert whole(folder)
        assert [path.name for path in tmp_path.iterdir()] == ["cut"]
    put(folder, "last ")
    assert whole(folder)
    assert [path.name for path in tmp_path.iterdir()] == ["cut"]


def test_two_runs_into_one_folder(tmp_path: Path) -> None:
    """The second is refused and told which process has it; a killed one has it no longer."""
    folder = tmp_path / "cut"
    code = (
        "import sys, time; from pathlib import Path; from icecam.report.folder import claimed\n"
        "with claimed(Path(sys.argv[1]), force=True):\n print('has it', flush=True)\n"
        " time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", code, folder], stdout=subprocess.PIPE)
    assert holder.stdout is not None
    holder.stdout.readline()
    (tmp_path / "link").symlink_to(tmp_path)
    for same in (folder, tmp_path / "x" / ".." / "cut", tmp_path / "link" / "cut"):
        with (
            pytest.raises(OutputError, match=f"another run, process {holder.pid};"),
            claimed(same, force=True),
        ):
            pass
    with claimed(tmp_path / "other", force=False):
        pass
    holder.kill()
    holder.communicate()
    with claimed(folder, force=False):
        pass


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 96 kB, if this user may mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    command = [mount or "mount", "-t", "tmpfs", "-o", "size=96k", "tmpfs", str(place)]
    if mount is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a file system")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_full_disk(tiny_disk: Path) -> None:
    folder = tiny_disk / "cut"
    put(folder, "old ")
    with pytest.raises(
        OutputError, match=r"could not be written \(No space left on device\); free"
    ):
        put(folder, "much too long to fit twice into this file system " * 4)
    assert whole(folder)
    assert [path.name for path in tiny_disk.iterdir()] == ["cut"]


def test_a_file_that_cannot_grow(tmp_path: Path) -> None:
    """The limit of setrlimit(2) on the size of a file, met half-way; no right is needed for it."""
    folder = tmp_path / "cut"
    put(folder, "old ")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, before[1]))
    try:
        with pytest.raises(OutputError, match="could not be written"):
            put(folder, "longer than two kilobytes ")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert whole(folder)
    assert [path.name for path in tmp_path.iterdir()] == ["cut"]


@pytest.mark.parametrize("name", ["n" * 250, "n" * 300, "a/" * 3000 + "b"])
def test_a_name_too_long_is_refused_before_the_work(name: str, tmp_path: Path) -> None:
    with (
        pytest.raises(OutputError, match=r"cannot be written \(File name too long\)|not exist"),
        claimed(tmp_path / name, force=False),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_what_came_into_the_folder_meanwhile_stays(tmp_path: Path) -> None:
    folder = tmp_path / "cut"
    put(folder, "old ")
    with (
        pytest.raises(OutputError, match=r"dear\.txt, which is not ours"),
        claimed(folder, force=True),
        beside(folder),
    ):
        (folder / "dear.txt").write_text("keep me")
    assert (folder / "dear.txt").read_text() == "keep me"
    assert [path.name for path in tmp_path.iterdir()] == ["cut"]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    put(tmp_path / "real", "old ")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    put(tmp_path / "link", "new ")
    assert (tmp_path / "link").is_symlink()
    assert whole(tmp_path / "real")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link", "real"]


def test_only_what_is_left_of_this_folder_is_taken_away(tmp_path: Path) -> None:
    for name in (".cut.icecam-abcd_123", ".cut.icecam-abcd_123-old", ".cut.icecam-short"):
        (tmp_path / name).mkdir()
    (tmp_path / ".cut2.icecam-abcd_123").mkdir()
    with claimed(tmp_path / "cut", force=True):
        pass
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert kept == [".cut.icecam-short", ".cut2.icecam-abcd_123", "cut"]


@pytest.mark.parametrize(
    ("name", "ours"),
    [
        ("1-rough-half-inch-flat.ngc", True),
        ("REFUSED-2-finish.nc", True),
        ("summary.json", True),
        ("summary.json.txt", False),
        ("1-rough.ngc/..", False),
        ("dear.txt", False),
        ("2-polish-x.ngc", False),
    ],
)
def test_names_that_may_be_replaced(name: str, ours: bool) -> None:
    """A bit whose name has no letters gives a file called after its stage alone."""
    assert bool(output.OURS.fullmatch(name)) is ours


def test_check_free_reads_only(tmp_path: Path) -> None:
    check_free(tmp_path / "new", force=False)
    assert list(tmp_path.iterdir()) == []
