"""Bytes inside a page: one character each, where base64 would make the file a third larger.

The page states windows-1252, in which every byte is a character and every character a byte (WHATWG
Encoding Standard, index windows-1252). Four bytes may not stand in a script element: 0 and carriage
return, which a parser of HTML changes, `<`, which could end it, and the mark that stands before
those (WHATWG HTML, 13.2.3.5 and 13.2.5.4).
"""

from typing import Final

MARK: Final = b"="
KEPT_AWAY: Final = (MARK, b"\x00", b"\r", b"<")
SHIFT: Final = 64
"""What is added to a byte behind the mark."""
CHARSET: Final = "windows-1252"


def embedded(data: bytes) -> bytes:
    r"""Return bytes as they may stand in a script element of a page in windows-1252.

    >>> embedded(b"a<\x00=\r")
    b'a=|=@=}=M'
    """
    for byte in KEPT_AWAY:
        data = data.replace(byte, MARK + bytes([byte[0] + SHIFT]))
    return data


def in_plain_letters(html: str) -> bytes:
    """Return HTML in ASCII; other letters become character references.

    >>> in_plain_letters("<p>5 \u00b0C")
    b'<p>5 &#176;C'
    """
    return html.encode("ascii", "xmlcharrefreplace")
