"""The Night Watch: a snowy owl on a rock, head turned, tail behind the rock.

Front towards -Y, Z up, mm. The smooth bird is a field; the coat of feathers is laid on its skin.
"""

import numpy as np
import trimesh
from feathers import Coat, heights, scatter
from numpy.typing import NDArray
from shapes import Points, Values, blend, carve, ellipsoid, place, ribbon, sweep, together, turned
from surface import relax, skin, thin_out

LOW, HIGH = (-96.0, -92.0, -2.0), (96.0, 92.0, 296.0)
PITCH = 0.85
TRIANGLES = 118_000
FACE = (-11.0, -36.0, 243.0)
FACE_NEAR, FACE_LARGE = (0.0, 44.0, 400.0), (0.0, 82.0, 438.0)  # mm from the face's middle
HEAD = (0.0, -8.0, 246.0)
EYE = (10.0, 9.0, 9.6)
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
BEAK = ribbon([(0, -33, 2), (0, -42, -2), (0, -46.5, -9), (0, -44, -16)], (6.5, 5.8, 4.2, 1.6))
BROWS = [
    ribbon(
        _mirrored([(2.5, -40, 7), (12, -38.5, 13.5), (23, -32, 13), (31, -24, 5)], k),
        (4, 4.4, 3.6, 2),
    )
    for k in (-1, 1)
]


def _eyes(local: Points) -> Values:
    return np.minimum(ellipsoid(local, (15, -29.5, 3), EYE), ellipsoid(local, (-15, -29.5, 3), EYE))


def _head(local: Points) -> Values:
    """Head in its own frame: skull, facial discs, brows."""
    skull = blend(
        ellipsoid(local, (0, 0, 0), (41, 39, 36)), ellipsoid(local, (0, -8, -10), (36, 34, 27)), 12
    )
    for side in (-1, 1):
        skull = carve(skull, ellipsoid(local, (side * 17.5, -51, -2), (23, 22, 27)), 6)
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
    return blend(body, _head(turned(points, HEAD, TURN)), 36)


def _boulder(points: Points, middle: tuple[float, float, float], size: float, seed: int) -> Values:
    """Rock broken along planes, edges a little worn."""
    draw = np.random.default_rng(seed)
    value = np.full(len(points), -size)
    local = points - np.asarray(middle)
    away = np.sqrt(np.einsum("ij,ij->i", local, local)) - 1.35 * size
    if away.min() > 14.0:
        return np.asarray(away)
    count = 17
    for k in range(count):
        # planes spread evenly over the ball, then jostled
        rise = 1 - 2 * (k + 0.5) / count
        angle = 2.39996 * k + draw.uniform(-0.35, 0.35)
        face = np.array([np.cos(angle), np.sin(angle), 0.0]) * np.sqrt(1 - rise**2)
        face[2] = rise
        value = -blend(-value, size * draw.uniform(0.80, 1.02) - local @ face, 0.07 * size)
    return value


def _rock(points: Points) -> Values:
    """Outcrop: one boulder under the feet, others leaning against it."""
    value = np.full(len(points), 99.0)
    for middle, size, seed in (
        ((2, -2, 20), 62.0, 4), ((-52, -14, 8), 40.0, 7), ((54, -16, 6), 44.0, 9),
        ((14, -46, 0), 36.0, 12), ((-20, 38, 4), 40.0, 15),
    ):  # fmt: skip
        value = blend(value, _boulder(points, middle, size, seed), 4)
    core = ellipsoid(points, (0, -13, 42), (57, 50, 32))
    grain = np.sin(points[:, 2] / 3.1 + 1.5 * np.sin(points[:, 0] / 17) + np.cos(points[:, 1] / 14))
    return blend(value, core, 12) + 0.35 * grain


def _ground(points: Points) -> Values:
    """Outcrop with snow lying on whatever faces up, thicker where it is level; cut flat below."""
    if points[:, 2].min() > 112.0:
        return np.asarray(points[:, 2] - 98.0)
    rock = _rock(points)
    lumps = 1.6 * np.sin(points[:, 0] / 9.0 + 1) * np.sin(points[:, 1] / 8.0 + 2)
    snow = _rock(points - np.array([0.0, 0.0, 10.0])) + 4.4 + 0.7 * lumps
    return np.maximum(blend(rock, snow, 3.5), -points[:, 2])


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
    value = blend(bird(points), _hard(points), 1.5)
    return blend(value, _ground(points), 4)


def _project(vectors: Points, normal: Points) -> Points:
    flat = vectors - np.einsum("ij,ij->i", vectors, normal)[:, None] * normal
    return np.asarray(flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-9))


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
        run, _, _, _ = place(points, wing)
        at = np.minimum(run.astype(np.intp), len(wing.widths) - 1)
        on = sweep(points, wing) < 1.5
        way = np.where(on[:, None], wing.tangents[at], way)
        length = np.where(on, 13 + 36 * np.clip(run / len(wing.widths) - 0.22, 0, 1), length)
    toes = together(points, TOES, 2) < 3
    return _project(way, normal), np.where(toes, 6.5, length)


def _groups(points: Points) -> NDArray[np.intp]:
    """Tell the part (0, 1, ...) whose feathers cover a point: trunk, wings, tail, legs."""
    parts = [_trunk(points), *[sweep(points, wing) for wing in WINGS], sweep(points, TAIL)]
    parts.append(together(points, [*LEGS, *TOES], 6))
    return np.asarray(np.argmin(parts, axis=0))


def _gaze(points: Points) -> Values:
    """Depth of the pupils, each with a spark left standing, and of the edges of the irises."""
    local = turned(points, HEAD, TURN)
    local[:, 0] = np.abs(local[:, 0])
    away = np.hypot(local[:, 0] - 15.8, local[:, 2] - 3.2)
    near = (ellipsoid(local, (15, -29.5, 3), EYE) < 0.8) & (local[:, 1] < -33)
    spark = np.hypot(local[:, 0] - 14.0, local[:, 2] - 5.0)
    pupil = 1.7 * np.clip((4.3 - away) / 1.2, 0, 1) * np.clip((spark - 1.0) / 0.8, 0, 1)
    rim = 0.35 * np.clip((away - 6.6) / 0.8, 0, 1)
    return np.where(near, pupil + rim, 0.0)


def _coat(points: Points, normal: Points, mask: Values, groups: NDArray[np.intp]) -> Coat:
    """Scatter the feathers; no two quite alike."""
    way, length = _flow(points, normal)
    pick = scatter(points, np.where(mask > 0.2, 0.40 * length, 0.0), seed=5)
    draw = np.random.default_rng(6)
    turn = draw.normal(0.0, 0.09, (len(pick), 1))
    across = np.cross(normal[pick], way[pick])
    size = length[pick] * draw.uniform(0.92, 1.1, len(pick))
    return Coat(
        middles=points[pick],
        along=way[pick] * np.cos(turn) + across * np.sin(turn),
        across=across * np.cos(turn) - way[pick] * np.sin(turn),
        lengths=size,
        widths=0.31 * size,
        lifts=(0.45 + 0.105 * size) * draw.uniform(0.85, 1.15, len(pick)),
        groups=groups[pick],
    )


def _magnified(points: Points, grow: bool) -> Points:
    """Blow up the face, or undo it: what looks larger keeps more of its triangles."""
    offset = points - np.asarray(FACE)
    far = np.sqrt(np.einsum("ij,ij->i", offset, offset))
    table = (FACE_NEAR, FACE_LARGE) if grow else (FACE_LARGE, FACE_NEAR)
    return np.asarray(FACE + offset * (np.interp(far, *table) / np.maximum(far, 1e-9))[:, None])


def make() -> trimesh.Trimesh:
    """Make the closed mesh of the owl, mm."""
    points, faces = skin(field, LOW, HIGH, PITCH)
    points = relax(points, faces, 3)
    normal = np.asarray(trimesh.Trimesh(points, faces, process=False).vertex_normals)
    bare = np.minimum(_hard(points), _ground(points))
    mask = np.clip((bare - bird(points)) / 3.0, 0, 1)
    groups = _groups(points)
    coat = _coat(points, normal, mask, groups)
    lift = mask * heights(points, groups, coat) - _gaze(points)
    coated = _magnified(points + normal * lift[:, None], grow=True)
    mesh = thin_out(coated, faces, TRIANGLES)
    return trimesh.Trimesh(_magnified(mesh.vertices, grow=False).astype(np.float32), mesh.faces)
