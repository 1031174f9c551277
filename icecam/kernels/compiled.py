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


def each_of(items: Sequence[Item], work: Callable[[Item], Found]) -> list[Found]:
    """Return `work(item)` of each item, in their order; the work is shared among all cores.

    Who asks does, from the last item on, whatever nobody has begun, so work may itself be shared
    again and never waits for a free core.
    """
    others = (os.cpu_count() or 1) - 1
    if others == 0 or len(items) < 2:
        return [work(item) for item in items]
    begun = [_pool(others).submit(work, item) for item in items]
    own = {nth: work(items[nth]) for nth in reversed(range(len(items))) if begun[nth].cancel()}
    return [own[nth] if nth in own else begun[nth].result() for nth in range(len(items))]


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
