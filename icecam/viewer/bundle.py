"""The page's own scripts, styles and markup, put together from `assets`.

Modules inside one file cannot import each other when it is opened without a server, so they are
joined into one in the order of their imports, and the import and export words are taken out.
"""

import re
from functools import cache
from importlib import resources
from typing import Final

FIRST: Final = "main.js"
"""The module that needs all others."""
STYLES: Final = ("tokens.css", "page.css", "dry_run.css")
_IMPORT: Final = re.compile(r'^import \{[^}]*\} from "\./([\w]+\.js)";\n', re.MULTILINE)
_EXPORT: Final = re.compile(r"^export (?=async function|function|class|const)", re.MULTILINE)


def asset(name: str) -> str:
    """Return a file of `assets`."""
    return resources.files("icecam.viewer").joinpath("assets", name).read_text(encoding="utf-8")


@cache
def script() -> str:
    """Return all modules as one; each comes behind those it imports.

    Raises
    ------
    ValueError : import or export words of a form that is not taken out
    """
    done: dict[str, str] = {}

    def add(name: str) -> None:
        if name in done:
            return
        done[name] = ""  # two modules may need each other's functions, which run later
        text = asset(name)
        for needed in _IMPORT.findall(text):
            add(needed)
        bare = _EXPORT.sub("", _IMPORT.sub("", text))
        odd = re.search(r"^(import|export)\b.*", bare, re.MULTILINE)
        if odd:
            raise ValueError(f"{name} holds {odd.group()!r}, which cannot be joined")
        del done[name]
        done[name] = bare

    add(FIRST)
    return "\n".join(f"// {name}\n{text}" for name, text in done.items())


@cache
def style() -> str:
    """Return all style sheets as one."""
    return "\n".join(asset(name) for name in STYLES)


@cache
def markup() -> str:
    """Return the dry run as a piece of HTML."""
    return asset("dry_run.html")
