"""One line of RS-274 text taken apart into words; and the bytes of a whole text counted.

Source: NISTIR 6556, 3.3: blanks mean nothing outside comments, letters fold case, a number is
digits with at most one point and no exponent, a letter other than G and M comes once. Leniently, a
`;` outside a comment starts one that lasts to the end of the line.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels import text_codes as tc
from icecam.kernels.compiled import kernel

_G: Final = 6
_M: Final = 12
_N: Final = 13
_KNOWN: Final = sum(1 << (ord(letter) - 65) for letter in "FGIJKMNPRSTXYZ")
_TENS: Final = np.array([float(10**power) for power in range(300)])
_ENOUGH: Final = 10**16
"""Digits beyond the 17th are dropped. Source: NISTIR 6556, 3.3.2."""


@kernel
def count_bytes(text: NDArray[np.uint8]) -> NDArray[np.int64]:
    """How often each byte occurs, (256,) int64."""
    counts = np.zeros(256, np.int64)
    for byte in text:
        counts[byte] += 1
    return counts


@kernel
def after_blanks(text: NDArray[np.uint8], at: int, last: int) -> int:
    """First place from `at` on that holds no blank or tab."""
    while at < last and (text[at] == 32 or text[at] == 9):
        at += 1
    return at


@kernel
def _after_comment(text: NDArray[np.uint8], at: int, last: int) -> tuple[int, int]:
    """Place after the comment that opens at `at`, and a reason to refuse it or 0."""
    closed = text[at] == 40
    for place in range(at + 1, last):
        byte = text[place]
        if byte < 32 and byte != 9:
            return place, tc.CONTROL
        if closed and byte == 40:
            return place, tc.NESTED
        if closed and byte == 41:
            return place + 1, 0
    return (at, tc.UNCLOSED) if closed else (last, 0)


@kernel
def _read_number(text: NDArray[np.uint8], at: int, last: int) -> tuple[float, int, int, bool]:
    """Read a number: its value, the place after it, its digits, whether only digits make it up."""
    at = after_blanks(text, at, last)
    negative, plain, point = False, True, False
    if at < last and (text[at] == 43 or text[at] == 45):
        negative, plain = text[at] == 45, False
        at += 1
    mantissa, places, digits = 0, 0, 0
    while at < last:
        byte = int(np.int64(text[at]))
        if 48 <= byte <= 57:
            digits += 1
            if mantissa < _ENOUGH:
                mantissa = mantissa * 10 + (byte - 48)
                places += 1 if point else 0
            elif not point:
                return np.inf, at, digits, plain
        elif byte == 46 and not point:
            point, plain = True, False
        elif byte not in (32, 9):
            break
        at += 1
    value = mantissa / _TENS[places]
    return (-value if negative else value), at, digits, plain


@kernel
def _keep_code(letter: int, value: float, codes: NDArray[np.int64]) -> int:
    """Put a G or M code into the row of its group; return a reason to refuse it or 0."""
    unknown = tc.UNKNOWN_G if letter == _G else tc.UNKNOWN_M
    scaled = value * 10.0 if letter == _G else value
    size = len(tc.GROUP_OF_G) if letter == _G else len(tc.GROUP_OF_M)
    if not -0.5 < scaled < size - 0.5:
        return unknown
    code = int(np.rint(scaled))
    # whole within 0.0001; source: NISTIR 6556, 3.3.2
    if abs(scaled - code) > (0.001 if letter == _G else 0.0001):
        return unknown
    group = tc.GROUP_OF_G[code] if letter == _G else tc.GROUP_OF_M[code]
    if group < 0:
        return unknown
    if codes[group] >= 0:
        return tc.SAME_GROUP
    codes[group] = code
    return 0


@kernel
def _keep_word(
    letter: int, value: float, mask: int, words: NDArray[np.float64], codes: NDArray[np.int64]
) -> int:
    """Put a word into its place; return a reason to refuse it or 0."""
    if not abs(value) <= tc.LARGEST_NUMBER:
        return tc.BIG_NUMBER
    if letter in (_G, _M):
        return _keep_code(letter, value, codes)
    if mask & (1 << letter):
        return tc.LETTER_TWICE
    words[letter] = value
    return 0


@kernel
def _read_word(
    text: NDArray[np.uint8],
    at: int,
    last: int,
    mask: int,
    words: NDArray[np.float64],
    codes: NDArray[np.int64],
    fresh: bool,
) -> tuple[int, int, int]:
    """Read the word at `at`: its letter, the place after it, and a reason to refuse it or 0."""
    byte = int(np.int64(text[at]))
    letter = (byte & 0xDF) - 65
    if not 0 <= letter < 26 or byte & 0xC0 != 0x40:
        return 0, at, tc.BAD_CHARACTER
    if not _KNOWN & (1 << letter):
        return letter, at, tc.UNKNOWN_LETTER
    value, after, digits, plain = _read_number(text, at + 1, last)
    if digits == 0:
        return letter, at, tc.NO_NUMBER
    if letter == _N and not (fresh and plain and digits <= 5):
        return letter, at, tc.LINE_NUMBER
    return letter, after, _keep_word(letter, value, mask, words, codes)


@kernel
def read_line(
    text: NDArray[np.uint8],
    first: int,
    last: int,
    words: NDArray[np.float64],
    codes: NDArray[np.int64],
) -> tuple[int, int, int]:
    """Take text[first:last] apart.

    words : (26,) float64, one a letter; codes : (GROUPS,) int64. Returns the letters seen as bits,
    a reason to refuse the line or 0, and the place that the reason is about.
    """
    codes[:] = -1
    mask, m_words, fresh = 0, 0, True
    at = after_blanks(text, first, last)
    if at < last and text[at] == 47:  # a block to delete is read all the same
        at += 1
    at = after_blanks(text, at, last)
    while at < last:
        if text[at] in (40, 59):
            after, reason = _after_comment(text, at, last)
        else:
            letter, after, reason = _read_word(text, at, last, mask, words, codes, fresh)
            mask |= 1 << letter
            m_words += 1 if letter == _M else 0
            if m_words > tc.M_WORDS and reason == 0:
                after, reason = at, tc.MANY_M
        if reason:
            return mask, reason, after
        fresh = False
        at = after_blanks(text, after, last)
    return mask, 0, first
