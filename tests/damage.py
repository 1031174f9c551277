"""Good files made bad: bytes changed, taken out, put in, repeated, cut off; numbers made odd."""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

Damage = Callable[[bytearray, np.random.Generator], bytearray]
ODD: Final = (
    b"nan", b"-inf", b"1e400", b"1e39", b"-1e-320", b"0", b"99999999999999999999", b"1,5",
    b"0x1p3", b"--1", b"1.2.3", b"\xff\xfe", b"\0", b"", b"4294967295", b"-1", b"1e5", b"(", b"%",
    b"<", b"\n",
)  # fmt: skip


def _place(content: bytearray, random: np.random.Generator) -> int:
    return int(random.integers(len(content) + 1))


def change(content: bytearray, random: np.random.Generator) -> bytearray:
    """Set a few bytes to anything."""
    for _ in range(int(random.integers(1, 9))):
        if content:
            content[int(random.integers(len(content)))] = int(random.integers(256))
    return content


def flip(content: bytearray, random: np.random.Generator) -> bytearray:
    """Turn one bit over."""
    if content:
        content[int(random.integers(len(content)))] ^= 1 << int(random.integers(8))
    return content


def take_out(content: bytearray, random: np.random.Generator) -> bytearray:
    first = _place(content, random)
    del content[first : first + int(random.integers(1, 200))]
    return content


def repeat(content: bytearray, random: np.random.Generator) -> bytearray:
    first, at = _place(content, random), _place(content, random)
    piece = content[first : first + int(random.integers(1, 400))]
    return content[:at] + piece * int(random.integers(1, 4)) + content[at:]


def cut_off(content: bytearray, random: np.random.Generator) -> bytearray:
    return content[: _place(content, random)]


def put_in(content: bytearray, random: np.random.Generator) -> bytearray:
    at = _place(content, random)
    return content[:at] + random.bytes(int(random.integers(1, 60))) + content[at:]


def odd_number(content: bytearray, random: np.random.Generator) -> bytearray:
    """Write something in the place of what stands between two blanks or quotes."""
    at = _place(content, random)
    ends = [place for sign in b' "\n' if (place := content.find(sign, at)) >= 0]
    begin = max(content.rfind(sign, 0, at) for sign in b' "\n') + 1
    end = min(ends, default=len(content))
    return content[:begin] + ODD[int(random.integers(len(ODD)))] + content[max(end, begin) :]


def swap_lines(content: bytearray, random: np.random.Generator) -> bytearray:
    lines = content.splitlines(keepends=True)
    if len(lines) > 1:
        a, b = random.integers(len(lines), size=2)
        lines[a], lines[b] = lines[b], lines[a]
    return bytearray(b"".join(lines))


DAMAGES: Final[tuple[Damage, ...]] = (
    change, flip, take_out, repeat, cut_off, put_in, odd_number, odd_number, swap_lines,
)  # fmt: skip


def damaged(files: Sequence[bytes], random: np.random.Generator) -> tuple[int, bytes]:
    """Return which of some files was taken, and it after one to three damages."""
    which = int(random.integers(len(files)))
    content = bytearray(files[which])
    for _ in range(int(random.integers(1, 4))):
        content = DAMAGES[int(random.integers(len(DAMAGES)))](content, random)
    return which, bytes(content)
