"""Comments that stay comments: text of people made harmless for every controller."""

import re
import unicodedata
from typing import Final

from post.dialect import Dialect

_ROOM: Final = 100
"""Characters of a comment at most; longer ones are cut."""
_UNSAFE: Final = re.compile(r"[^ -~]|[();%]")
_MESSAGE: Final = re.compile(r"M\s*S\s*G\s*,", re.IGNORECASE)


def cleaned(text: str, room: int) -> str:
    r"""Strip text of all that could end the comment or start anything else.

    Accents are dropped, other signs become blanks, the rest is cut to `room` characters. It never
    reads as a message to the operator's screen (NISTIR 6556, 3.3.4: MSG and a comma).

    >>> cleaned("Étude (no. 3)\nM3", 20)
    'Etude no. 3 M3'
    """
    plain = "".join(
        sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign)
    )
    words = " ".join(_UNSAFE.sub(" ", plain).split())
    if _MESSAGE.match(words):
        words = f"note: {words}"
    return words[:room].strip()


def comment_line(text: str, dialect: Dialect) -> str:
    """Comment as the dialect marks it; empty if nothing is left of it, or none are wanted."""
    words = cleaned(text, min(_ROOM, dialect.max_line_length - 2))
    if not words or dialect.comments == "none":
        return ""
    return f"({words})" if dialect.comments == "parentheses" else f"; {words}"
