"""Mesh files written by hand from their published forms, and bodies with faces known by hand.

STL: two forms as in the StereoLithography Interface Specification (3D Systems, 1989), from memory.
OBJ: vertices and faces as in the format's appendix (Wavefront, 1992), from memory. PLY: G. Turk,
"The PLY polygon file format" (1994), from memory. 3MF: 3MF Core Specification 1.x (3MF
Consortium) in an Open Packaging container (ISO/IEC 29500-2), from memory.
"""

import struct
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Final

import numpy as np
from hypothesis import HealthCheck, settings
from numpy.typing import NDArray

Floats = NDArray[np.float64]

steady = settings(
    deadline=None,
    derandomize=True,
    max_examples=100,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

_SPACE = "http://schemas.openxmlformats.org/package/2006"
_MODEL = "http://schemas.microsoft.com/3dmanufacturing"
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>'


def binary_stl(triangles: Floats) -> bytes:
    """80 bytes, number of facets, 50 bytes a facet: normal and corners in 32 bits, two spare."""
    facets = [b"\0" * 12 + t.astype("<f4").tobytes() + b"\0\0" for t in triangles]
    return b"\0" * 80 + struct.pack("<I", len(triangles)) + b"".join(facets)


def text_stl(triangles: Floats) -> bytes:
    facets = (
        "facet normal 0 0 0\nouter loop\n"
        + "".join(f"vertex {x!r} {y!r} {z!r}\n" for x, y, z in corners)
        + "endloop\nendfacet\n"
        for corners in triangles.tolist()
    )
    return f"solid body\n{''.join(facets)}endsolid body\n".encode()


def obj(triangles: Floats) -> bytes:
    corners = (f"v {x!r} {y!r} {z!r}\n" for x, y, z in triangles.reshape(-1, 3).tolist())
    faces = (f"f {3 * i + 1} {3 * i + 2} {3 * i + 3}\n" for i in range(len(triangles)))
    return ("".join(corners) + "".join(faces)).encode()


def _ply_head(triangles: Floats, form: str) -> bytes:
    return (
        f"ply\nformat {form} 1.0\nelement vertex {3 * len(triangles)}\n"
        "property double x\nproperty double y\nproperty double z\n"
        f"element face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()


def text_ply(triangles: Floats) -> bytes:
    corners = (f"{x!r} {y!r} {z!r}\n" for x, y, z in triangles.reshape(-1, 3).tolist())
    faces = (f"3 {3 * i} {3 * i + 1} {3 * i + 2}\n" for i in range(len(triangles)))
    return _ply_head(triangles, "ascii") + ("".join(corners) + "".join(faces)).encode()


def binary_ply(triangles: Floats) -> bytes:
    faces = [struct.pack("<B3i", 3, 3 * i, 3 * i + 1, 3 * i + 2) for i in range(len(triangles))]
    corners = triangles.astype("<f8").tobytes()
    return _ply_head(triangles, "binary_little_endian") + corners + b"".join(faces)


def three_mf(
    triangles: Floats,
    items: tuple[str, ...] = ("",),
    *,
    says: str = 'unit="millimeter"',
    more: str = "",
    built: int = 1,
) -> bytes:
    """One object; it is built once for each of `items`, their 3MF transforms (empty: none).

    says : attributes of the model; more : objects beside the one; built : id of the one built
    """
    corners = triangles.reshape(-1, 3).tolist()
    vertices = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in corners)
    faces = "".join(
        f'<triangle v1="{3 * i}" v2="{3 * i + 1}" v3="{3 * i + 2}"/>' for i in range(len(triangles))
    )
    build = "".join(
        f'<item objectid="{built}"' + (f' transform="{item}"' if item else "") + "/>"
        for item in items
    )
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_SPACE}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" '
        'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{_SPACE}/relationships"><Relationship '
        f'Target="/3D/3dmodel.model" Id="r" Type="{_MODEL}/2013/01/3dmodel"/></Relationships>',
        "3D/3dmodel.model": f'<model {says} xmlns="{_MODEL}/core/2015/02"><resources>'
        f'<object id="1" type="model"><mesh><vertices>{vertices}</vertices><triangles>{faces}'
        f"</triangles></mesh></object>{more}</resources><build>{build}</build></model>",
    }
    return _zipped({name: _HEAD + text for name, text in parts.items()})


def _zipped(parts: dict[str, str]) -> bytes:
    whole = BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return whole.getvalue()


WRITERS: Final[dict[str, tuple[str, Callable[[Floats], bytes]]]] = {
    "binary STL": ("stl", binary_stl),
    "text STL": ("stl", text_stl),
    "OBJ": ("obj", obj),
    "text PLY": ("ply", text_ply),
    "binary PLY": ("ply", binary_ply),
    "3MF": ("3mf", three_mf),
}


def saved(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


_FACES: Final = (
    ((0, 0, 0), (0, 1, 0), (1, 1, 0), (1, 0, 0)),
    ((0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)),
    ((0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1)),
    ((0, 1, 0), (0, 1, 1), (1, 1, 1), (1, 1, 0)),
    ((0, 0, 0), (0, 0, 1), (0, 1, 1), (0, 1, 0)),
    ((1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1)),
)
"""Unit cube: bottom, top, front, back, left, right; corners against the clock from outside."""


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Floats:
    """(12, 3, 3) mm, two triangles a face in the order bottom, top, front, back, left, right."""
    corners = np.array(_FACES, dtype=np.float64)
    split = corners[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3, 3)
    placed: Floats = np.array(low) + split * (np.array(high) - np.array(low))
    return placed


BOX: Final = box((-5.0, 2.0, 1.0), (6.5, 22.25, 31.0))
"""Sides 11.5, 20.25 and 30 mm; every figure is exact in 32 bits."""


def ball(radius: float, rings: int, sides: int) -> Floats:
    """Closed by meridians and parallels; corners lie on the sphere."""
    polar = np.linspace(0, np.pi, rings + 1)[:, None]
    around = 2 * np.pi * (np.arange(sides + 1) % sides) / sides
    r = np.sin(polar) * (np.arange(rings + 1) % rings > 0)[:, None]
    points = np.stack([r * np.cos(around), r * np.sin(around), np.cos(polar) + 0 * around], axis=2)
    points[-1, :, 2] = -1.0
    a, b, c, d = points[:-1, :-1], points[:-1, 1:], points[1:, :-1], points[1:, 1:]
    caps_and_belts = np.concatenate(
        [
            np.stack([a, c, d], axis=2).reshape(-1, 3, 3)[: (rings - 1) * sides],
            np.stack([a, d, b], axis=2).reshape(-1, 3, 3)[sides:],
        ]
    )
    scaled: Floats = radius * caps_and_belts
    return scaled


def ball_volume(radius: float, rings: int, sides: int) -> float:
    """Volume of `ball`: frusta of pyramids, h/3 (A1 + A2 + sqrt(A1 A2)), any handbook of geometry.

    Cross sections are regular polygons, A = n/2 r^2 sin(2 pi/n).
    """
    polar = np.linspace(0, np.pi, rings + 1)
    z, r = radius * np.cos(polar), radius * np.sin(polar)
    area = sides / 2 * np.sin(2 * np.pi / sides) * r**2
    between = np.sqrt(np.abs(area[:-1] * area[1:]))
    return float(np.sum((z[:-1] - z[1:]) / 3 * (area[:-1] + area[1:] + between)))
