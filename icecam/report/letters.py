"""Names as pictures can draw them."""

import functools

from matplotlib.font_manager import findfont, get_font


@functools.cache
def _known() -> frozenset[int]:
    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def drawable(text: str) -> str:
    r"""Return text with a question mark for each sign that the font of the pictures lacks.

    >>> drawable("owl \N{CJK UNIFIED IDEOGRAPH-51B0}")
    'owl ?'
    """
    return "".join(sign if ord(sign) in _known() or sign == "\n" else "?" for sign in text)
