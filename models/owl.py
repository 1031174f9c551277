"""The Night Watch: a snowy owl on a rock, head turned, tail behind the rock.

Front towards -Y, Z up, mm. The smooth bird is a field; the coat of feathers is laid on its skin.
"""

import numpy as np
import trimesh
from feathers import Coat, heights, scatter
from shapes import Points, Values, blend, carve, ellipsoid, place, ribbon, sweep, together, turned
from surface import normals, skin, thin_out

LOW, HIGH = (-92.0, -92.0, -2.0), (92.0, 92.0, 296.0)
PITCH = 0.9
TRIANGLES = 118_000
HEAD = (0.0, -8.0, 246.0)
TURN = (4.0, 5.0, 20.0)


def _mirrored(knots: list[tuple[float, float, float]], side: int) -> list[tuple[float, ...]]:
    return [(side * x, y, z) for x, y, z in knots]


WINGS = [
    ribbon(
        _mirrored([(47, -8, 207), (61, -4, 170), (57, 14, 125), (38, 40, 88), (16, 56, 58)], k),
        (14, 33, 35, 23, 7),
        (11, 12, 11, 9, 5),
        _mirrored([(1, -0.2, 0.5), (1, 0, 0), (0.9, 0.45, 0), (0.6, 0.8, 0), (0.3, 0.95, 0)], k),
    )
    for k in (-1, 1)
]
TAIL = ribbon([(0, 36, 108), (0, 55, 66), (0, 62, 22)], (20, 25, 27), (12, 8, 6), (0, 1, 0.2))
LEGS = [
    ribbon(_mirrored([(22, -18, 112), (25, -32, 88), (26, -42, 75)], k), (22, 17, 10))
    for k in (-1, 1)
]
TOES = [
    ribbon(
        _mirrored([(26, -42, 78), (26 + 7 * d, -54, 78), (26 + 13 * d, -65 + 4 * abs(d), 73)], k),
        (8, 6.5, 5.5),
    )
    for k in (-1, 1)
    for d in (-1, 0, 1)
]
TALONS = [
    ribbon(
        _mirrored(
            [
                (26 + 12.5 * d, -64 + 4 * abs(d), 74),
                (26 + 14 * d, -71 + 4 * abs(d), 71),
                (26 + 14.5 * d, -74 + 4 * abs(d), 63),
            ],
            k,
        ),
        (3.6, 3.0, 1.4),
    )
    for k in (-1, 1)
    for d in (-1, 0, 1)
]
BEAK = ribbon([(0, -33, 4), (0, -43, 0), (0, -47, -8), (0, -44, -15)], (6, 5.5, 4, 1.5))
BROWS = [
    ribbon(_mirrored([(3, -40, 6), (13, -39, 13), (27, -30, 19)], k), (3.5, 4.5, 3))
    for k in (-1, 1)
]


def _eyes(local: Points) -> Values:
    return np.minimum(
        ellipsoid(local, (15, -33.5, 3), (8, 8, 8)), ellipsoid(local, (-15, -33.5, 3), (8, 8, 8))
    )


def _head(local: Points) -> Values:
    """Head in its own frame: skull, facial discs, brows."""
    skull = blend(
        ellipsoid(local, (0, 0, 0), (41, 39, 36)), ellipsoid(local, (0, -8, -10), (36, 34, 27)), 12
    )
    for side in (-1, 1):
        skull = carve(skull, ellipsoid(local, (side * 17, -50, 0), (21, 20, 24)), 7)
    for brow in BROWS:
        skull = blend(skull, sweep(local, brow), 9)
    return skull


def _trunk(points: Points) -> Values:
    body = blend(
        ellipsoid(points, (0, -6, 130), (55, 50, 58)),
        ellipsoid(points, (0, -9, 172), (52, 46, 54)),
        30,
    )
    body = blend(body, ellipsoid(points, (0, 16, 172), (52, 38, 62)), 25)
    return blend(body, _head(turned(points, HEAD, TURN)), 26)


def _rock(points: Points) -> Values:
    """Boulder of broken planes with snow lying on it."""
    draw = np.random.default_rng(11)
    value = ellipsoid(points, (0, -2, 26), (86, 74, 58))
    for k in range(16):
        angle = 2 * np.pi * (k + draw.uniform(-0.3, 0.3)) / 16
        rise = draw.uniform(-0.1, 0.75)
        face = np.array([np.cos(angle), np.sin(angle), rise])
        face /= np.linalg.norm(face)
        away = draw.uniform(54, 66) * (1.0 if abs(face[0]) < 0.6 else 1.15)
        cut = (points - np.array([0, 0, 14.0])) @ face - away
        value = -blend(-value, -cut, 5)
    return np.maximum(value, -points[:, 2])


def _snow(points: Points) -> Values:
    wave = 2.0 * np.sin(points[:, 0] / 13 + 1) * np.cos(points[:, 1] / 11)
    return ellipsoid(points, (0, -6, 62), (66, 56, 14)) + wave


def bird(points: Points) -> Values:
    """Feathered parts of the owl, smooth."""
    value = _trunk(points)
    for wing in WINGS:
        value = blend(value, sweep(points, wing), 9)
    value = blend(value, sweep(points, TAIL), 14)
    return blend(value, together(points, [*LEGS, *TOES], 6), 8)


def _hard(points: Points) -> Values:
    """Eyes, beak and talons: the parts without feathers."""
    local = turned(points, HEAD, TURN)
    return np.minimum(
        np.minimum(_eyes(local), sweep(local, BEAK)),
        together(points, TALONS, 1),
    )


def field(points: Points) -> Values:
    """Whole sculpture without its coat."""
    ground = blend(_rock(points), _snow(points), 10)
    value = blend(bird(points), _hard(points), 1.5)
    return blend(value, ground, 4)


def _project(vectors: Points, normal: Points) -> Points:
    flat = vectors - np.einsum("ij,ij->i", vectors, normal)[:, None] * normal
    return flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-9)


def _flow(points: Points, normal: Points) -> tuple[Points, Values]:
    """Direction feathers grow in, and how long they are."""
    local = turned(points, HEAD, TURN)
    eye = np.where(local[:, :1] > 0, 1.0, -1.0) * np.array([15.0, 0, 0]) + np.array([0, -34.0, 3])
    length = np.full(len(points), 17.0)
    down = np.tile([0.0, 0.12, -1.0], (len(points), 1))
    crown = points - (np.asarray(HEAD) + np.array([-12, -40, 0]))
    mix = np.clip((points[:, 2] - 205) / 25, 0, 1)[:, None]
    way = down * (1 - mix) + mix * crown / 40
    length = np.where(mix[:, 0] > 0, 17 - 8 * mix[:, 0], length)
    face = np.linalg.norm(local - eye, axis=1)
    disc = (face < 26) & (local[:, 1] < -12)
    spread = turned(local - eye, (0, 0, 0), (0, 0, -TURN[2]))
    way = np.where(disc[:, None], spread, way)
    length = np.where(disc, 7.0, length)
    for wing in (*WINGS, TAIL):
        near, _, _, _ = place(points, wing)
        on = sweep(points, wing) < 1.5
        step = near / len(wing.widths)
        way = np.where(on[:, None], wing.tangents[near], way)
        length = np.where(on, 15 + 40 * np.clip(step - 0.2, 0, 1), length)
    toes = together(points, TOES, 2) < 3
    return _project(way, normal), np.where(toes, 7.0, length)


def make() -> trimesh.Trimesh:
    """Closed mesh of the owl in mm."""
    points, faces = skin(field, LOW, HIGH, PITCH)
    normal = normals(field, points)
    feathered = bird(points)
    bare = np.minimum(_hard(points), blend(_rock(points), _snow(points), 10))
    mask = np.clip((bare - feathered) / 3.0, 0, 1)
    way, length = _flow(points, normal)
    pick = scatter(points, np.where(mask > 0.2, 0.42 * length, 0.0), seed=5)
    coat = Coat(
        middles=points[pick],
        along=way[pick],
        across=np.cross(normal[pick], way[pick]),
        lengths=length[pick],
        widths=0.3 * length[pick],
        lifts=0.8 + 0.11 * length[pick],
    )
    lifted = points + normal * (mask * heights(points, coat))[:, None]
    return thin_out(lifted, faces, TRIANGLES)
