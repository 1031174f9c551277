"""The one way a kernel is compiled, and the one way work is shared between cores."""

import functools
import hashlib
import itertools
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final

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


@functools.cache
def _pool(cores: int | None) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(cores)


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
    ranges = [(a, b) for a, b in itertools.pairwise(edges) if a < b]
    pool = _pool(os.cpu_count())
    for done in [pool.submit(work, a, b) for a, b in ranges]:
        done.result()
