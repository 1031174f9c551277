"""What a mesh file says of itself: how long it is, how many triangles it holds, in which unit.

Asked before and after the library reads the file, because it takes what it finds: a file that was
cut off or damaged must not become half a sculpture.
"""

import hashlib
import re
import struct
import zipfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final
from xml.parsers import expat

from icecam.errors import MeshError
from icecam.units import LENGTHS

MOST_BYTES: Final = 400_000_000
"""A longer file is refused before it is read: some eight million triangles of binary STL."""
MOST_TRIANGLES: Final = 8_000_000
UNITS_3MF: Final = {
    "micron": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "in",
    "foot": "ft",
    "meter": "m",
}
"""3MF Core Specification, 3.4.1; a model that names none is in millimeters."""

_STL_HEAD: Final = 84
_STL_FACET: Final = 50


@dataclass(frozen=True, slots=True)
class Said:
    """Triangles that a file says it holds, None if it does not say; its unit, None likewise.

    `sha256` is the digest of the file (FIPS 180-4).
    """

    triangles: int | None = None
    unit: str | None = None
    sha256: str = ""


def asked(path: Path, kind: str) -> Said:
    """Look at a mesh file without reading its triangles.

    kind : its suffix, in small letters

    Raises
    ------
    MeshError : too long to be read; an STL of another length than it says; a 3MF that names no
        unit of the standard, or an object inside itself
    OSError, zipfile.BadZipFile, expat.ExpatError, ... : whatever is wrong with a damaged file
    """
    _check_length(path.name, path.stat().st_size)
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if kind == "stl":
        return Said(triangles=_stl_triangles(path), sha256=digest)
    if kind == "ply":
        return Said(triangles=_ply_faces(path), sha256=digest)
    return replace(_three_mf(path) if kind == "3mf" else Said(), sha256=digest)


def _check_length(name: str, length: int) -> None:
    if length > MOST_BYTES:
        raise MeshError(
            f"{name} holds {length / 1e6:.0f} MB and at most {MOST_BYTES / 1e6:.0f} MB are read; "
            "reduce the mesh to a million triangles or so, finer than any bit can follow"
        )


def _stl_triangles(path: Path) -> int:
    """Facets of an STL: as its head says in binary form, as many as end in text."""
    length = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_STL_HEAD)
        promised = struct.unpack("<I", head[-4:])[0] if len(head) == _STL_HEAD else -1
        if length == _STL_HEAD + _STL_FACET * promised:
            return int(promised)
        if promised >= 0 and (b"\0" in head or not head.isascii()):
            raise MeshError(
                f"{path.name} cannot be read as STL: its head says {promised} triangles, which "
                f"take {_STL_HEAD + _STL_FACET * promised} bytes, and it holds {length} bytes; it "
                "was cut off or damaged, export it again"
            )
        return (head + file.read()).lower().count(b"endfacet")


def _ply_faces(path: Path) -> int | None:
    """Faces a PLY file should hold, by its head (Turk 1994)."""
    with path.open("rb") as file:
        head = file.read(65536).split(b"end_header")[0]
    found = re.search(rb"element\s+face\s+(\d+)", head)
    return int(found.group(1)) if found else None


@dataclass(slots=True)
class _Model:
    """What is counted while a 3MF model goes by."""

    unit: str = "millimeter"
    triangles: dict[str, int] = field(default_factory=dict)
    parts: dict[str, list[str]] = field(default_factory=dict)
    items: list[str] = field(default_factory=list)
    elsewhere: bool = False
    here: str = ""

    def start(self, tag: str, said: dict[str, str]) -> None:
        """Take the start of an element."""
        name = tag.rpartition(":")[2]
        if name == "model":
            self.unit = said.get("unit", self.unit)
        elif name == "object":
            self.here = said.get("id", "")
            self.triangles.setdefault(self.here, 0)
            self.parts.setdefault(self.here, [])
        elif name == "triangle" and self.here in self.triangles:
            self.triangles[self.here] += 1
        elif name == "component" and self.here in self.parts:
            self.parts[self.here].append(said.get("objectid", ""))
            self.elsewhere |= any(key.endswith(":path") for key in said)
        elif name == "item":
            self.items.append(said.get("objectid", ""))

    def built(self, file: str) -> int:
        """Triangles of all items, each object as often as it is built (3MF Core, 3.4.3 and 4.2)."""
        done: dict[str, int] = {}

        def count(part: str, within: tuple[str, ...]) -> int:
            if part in within:
                raise MeshError(
                    f"{file} builds object {part[:20]} out of itself; export the sculpture again"
                )
            if part not in done:
                inner = sum(count(each, (*within, part)) for each in self.parts.get(part, []))
                done[part] = self.triangles.get(part, 0) + inner
            return done[part]

        return sum(count(item, ()) for item in self.items)


def _three_mf(path: Path) -> Said:
    """Count what a 3MF builds; nothing if some of it lies in other parts of the package."""
    model = _Model()
    parser = expat.ParserCreate()
    parser.StartElementHandler = model.start
    with zipfile.ZipFile(path) as package:
        _check_length(f"{path.name}, unpacked,", sum(part.file_size for part in package.infolist()))
        name = next(name for name in package.namelist() if "3d/3dmodel.model" in name.lower())
        with package.open(name) as text:
            parser.ParseFile(text)
    if model.unit not in UNITS_3MF:
        raise MeshError(
            f"{path.name} is in {model.unit[:20]}, which is no unit of 3MF; export it in one of: "
            f"{', '.join(UNITS_3MF)}"
        )
    triangles = model.built(path.name)
    if triangles > MOST_TRIANGLES:
        raise MeshError(
            f"{path.name} builds {triangles} triangles and at most {MOST_TRIANGLES} are read; "
            "reduce the mesh to a million triangles or so, finer than any bit can follow"
        )
    unit = UNITS_3MF[model.unit]
    return Said(triangles=None if model.elsewhere else triangles, unit=unit)


def unit_of(name: str, said: Said, unit: str) -> str:
    """Return the unit to read a file in: the one it names, else the one that was asked for.

    `mm` is what is asked for if nobody says anything, so it stands back.

    Raises
    ------
    MeshError : asked for in another unit than the file names
    """
    if said.unit is None or LENGTHS[said.unit] == LENGTHS[unit]:
        return unit
    if unit != "mm":
        raise MeshError(
            f"{name} says that it is in {said.unit}, and it is asked for in {unit}; leave "
            "sculpture.unit (or file_unit) and --unit out, or export it again"
        )
    return said.unit
