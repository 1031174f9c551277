"""Comments that stay comments: text of people made harmless for every controller."""

import re
import textwrap
import unicodedata
from typing import Final

from post.dialect import Dialect

_ROOM: Final = 100
"""Characters of a comment at most; longer ones go on in the next."""
_NOTE: Final = "note: "
_UNSAFE: Final = re.compile(r"[^ -~]|[();%]")
_MESSAGE: Final = re.compile(r"M\s*S\s*G\s*,", re.IGNORECASE)


def cleaned(text: str) -> str:
    r"""Strip text of all that could end the comment or start anything else.

    Accents are dropped, other signs become blanks.

    >>> cleaned("Étude (no. 3)\nM3")
    'Etude no. 3 M3'
    """
    plain = "".join(
        sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign)
    )
    return " ".join(_UNSAFE.sub(" ", plain).split())


def _harmless(words: str) -> str:
    """Keep a comment from reading as a message to the screen (NISTIR 6556, 3.3.4: MSG, comma)."""
    return f"{_NOTE}{words}" if _MESSAGE.match(words) else words


def comment_lines(text: str, dialect: Dialect) -> list[str]:
    """Comments as the dialect marks them, broken between words; none if it wants none."""
    if dialect.comments == "none":
        return []
    room = min(_ROOM, dialect.max_line_length - 2)
    parts = [_harmless(part) for part in textwrap.wrap(cleaned(text), room - len(_NOTE))]
    mark = "({})" if dialect.comments == "parentheses" else "; {}"
    return [mark.format(part) for part in parts]
