"""The one way a kernel is compiled, and the one way work is shared between cores."""

import functools
import hashlib
import itertools
import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final, TypeVar

import numba


def _cache_folder() -> str:
    """Return a folder for compiled kernels that is another one after any change to any kernel.

    The compiler looks for changes in a kernel's own file only, not in the files it calls into, and
    would go on with what it compiled before a mistake there was mended.
    """
    here = Path(__file__).parent
    sources = b"".join(path.read_bytes() for path in sorted(here.glob("*.py")))
    base = Path(vars(numba.config)["CACHE_DIR"] or here / "__pycache__")
    return str(base / hashlib.sha256(sources).hexdigest()[:16])


vars(numba.config)["CACHE_DIR"] = _cache_folder()

kernel: Final = numba.njit(cache=True, nogil=True, error_model="numpy")
"""No fastmath: it breaks NaN and -inf, which height fields use."""

STRIPES: Final = 8
"""Pieces that work is cut into, fixed, so that results do not depend on the number of cores."""
FEW: Final = 200
"""So little work is done at once, sooner than it could be shared."""


Item = TypeVar("Item")
Found = TypeVar("Found")


@functools.cache
def _pool(cores: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(cores)


def begun(work: Callable[[], Found]) -> Callable[[], Found]:
    """Give work to another core; return what gives its result, to be asked once.

    Who asks does the work where nobody has begun it, so nobody waits for a free core, and work
    may be shared again.
    """
    job = _pool(os.cpu_count() or 1).submit(work)
    return lambda: work() if job.cancel() else job.result()


def each_of(items: Sequence[Item], work: Callable[[Item], Found]) -> list[Found]:
    """Return `work(item)` of each item, in their order; the work is shared among all cores."""
    jobs = [begun(functools.partial(work, item)) for item in items]
    # others begin at the front
    return [job() for job in reversed(jobs)][::-1]


def over_stripes(count: int, work: Callable[[int, int], None], *, stripes: int = STRIPES) -> None:
    """Run `work(first, last)` on disjoint half-open ranges that cover `count`, on all cores.

    Each call owns what it writes in its range; the ranges depend on `count` alone.
    """
    if count < FEW:
        work(0, count)
        return
    between([count * piece // stripes for piece in range(stripes + 1)], work)


def between(edges: Iterable[int], work: Callable[[int, int], None]) -> None:
    """Run `work(first, last)` from each edge to the next, on all cores; edges never fall."""
    each_of([(a, b) for a, b in itertools.pairwise(edges) if a < b], lambda ends: work(*ends))
