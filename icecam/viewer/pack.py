"""Numbers for the page: one zlib stream (RFC 1950) of a JSON head and named sections.

Whole numbers that change little from one to the next are stored as differences, low byte first,
each byte in a plane of its own: planes of small differences are nearly all zeros.
"""

import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import each_of

LARGEST: Final = 2**31 - 1
"""The page holds whole numbers in 32 bits."""
_EFFORT: Final = 6
AT_ONCE: Final = 4_000_000
"""Bytes that are squeezed in one go; more would only keep one core busy for longer."""
_STREAM_HEAD, _LAST_BLOCK = b"\x78\x9c", b"\x03\x00"
"""Of a zlib stream of common effort; an empty last block (RFC 1951, 3.2.6)."""
_HEAD_BYTES: Final = 4


class Section(NamedTuple):
    """A named run of bytes; `planes` 0: plain bytes; `steps`: differences were stored."""

    name: str
    content: bytes
    length: int
    planes: int
    steps: bool


def plain(name: str, content: bytes) -> Section:
    """Return bytes as they are."""
    return Section(name, content, len(content), 0, False)


def whole(name: str, values: NDArray[Any], *, steps: bool = True) -> Section:
    """Return whole numbers (n,) in byte planes.

    steps : store each as its difference to the one before, the first to 0

    Raises
    ------
    ValueError : a number or a difference beyond 32 bits

    >>> whole("a", np.array([5, 6, 4])).content.hex()
    '0a0203'
    """
    numbers = np.asarray(values, dtype=np.int64)
    stored = np.diff(numbers, prepend=0) if steps else numbers
    for some in (numbers, stored):
        if len(some) and int(np.abs(some).max()) > LARGEST // 2:
            raise ValueError(f"section {name} holds {int(np.abs(some).max())}, beyond 32 bits")
    folded = np.where(stored < 0, -2 * stored - 1, 2 * stored).astype(np.uint32)
    planes = max(1, (int(folded.max(initial=0)).bit_length() + 7) // 8)
    columns = folded.astype("<u4").view(np.uint8).reshape(-1, 4)
    content = b"".join(np.ascontiguousarray(columns[:, k]).tobytes() for k in range(planes))
    return Section(name, content, len(numbers), planes, steps)


def pack(head: Mapping[str, Any], sections: Sequence[Section]) -> bytes:
    """Return head and sections as one zlib stream.

    head : what JSON holds; the list of sections is added to it as `sections`

    Raises
    ------
    ValueError : two sections of one name
    """
    table: dict[str, Any] = {}
    at = 0
    for section in sections:
        if section.name in table:
            raise ValueError(f"two sections are called {section.name}")
        table[section.name] = {
            "at": at,
            "count": section.length,
            "planes": section.planes,
            "steps": section.steps,
        }
        at += len(section.content)
    text = json.dumps({**head, "sections": table}, allow_nan=False).encode()
    contents = [len(text).to_bytes(_HEAD_BYTES, "little") + text, *(s.content for s in sections)]
    views = [memoryview(content) for content in contents]
    pieces = [v[at : at + AT_ONCE] for v in views for at in range(0, len(v), AT_ONCE)]
    check = 1
    for piece in pieces:
        check = zlib.adler32(piece, check)
    blocks = each_of(pieces, _squeezed)
    return b"".join([_STREAM_HEAD, *blocks, _LAST_BLOCK, check.to_bytes(4, "big")])


def _squeezed(piece: memoryview) -> bytes:
    """Return blocks of a stream, whole bytes, that look back at nothing before them."""
    squeeze = zlib.compressobj(_EFFORT, wbits=-zlib.MAX_WBITS)
    return squeeze.compress(piece) + squeeze.flush(zlib.Z_FULL_FLUSH)
