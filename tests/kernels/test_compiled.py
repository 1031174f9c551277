"""Work shared among cores: in order, within one another, and what goes wrong in it."""

import threading
import time
from functools import partial

import pytest

from icecam.kernels.compiled import begun, between, each_of, over_stripes


def test_results_come_in_the_order_of_the_items() -> None:
    def late(n: int) -> int:
        time.sleep(0.002 * (n % 3))
        return n * n

    assert each_of(range(20), late) == [n * n for n in range(20)]
    assert each_of([], late) == []


@pytest.mark.parametrize("cores", [1, 2, 5])
def test_shared_work_shares_its_own(cores: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three deep, each as wide as there are cores and more: nobody may wait for a free one."""
    monkeypatch.setattr("os.cpu_count", lambda: cores)

    def deep(depth: int) -> int:
        return 1 if depth == 0 else sum(each_of([depth - 1] * 8, deep))

    found: list[int] = []
    other = threading.Thread(target=lambda: found.append(deep(3)), daemon=True)
    other.start()
    other.join(60.0)
    assert found == [512]


def test_begun_work_is_done_once_however_late_it_is_asked_for() -> None:
    done: list[int] = []

    def work(n: int) -> int:
        done.append(n)
        return n

    results = [begun(partial(work, n)) for n in range(12)]
    assert [result() for result in reversed(results)] == list(range(12))[::-1]
    assert sorted(done) == list(range(12))


def test_what_goes_wrong_in_a_share_is_told() -> None:
    def fail(first: int, _last: int) -> None:
        if first == 300:
            raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        between([0, 100, 300, 400, 500], fail)


@pytest.mark.parametrize("count", [0, 1, 199, 200, 1003])
def test_stripes_cover_all_once(count: int) -> None:
    ranges: list[tuple[int, int]] = []
    over_stripes(count, lambda first, last: ranges.append((first, last)))
    assert [n for first, last in sorted(ranges) for n in range(first, last)] == list(range(count))
