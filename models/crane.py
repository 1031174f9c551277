"""The First Step: a crane dancing among reeds, wings raised, one foot lifted.

Thin wings, slender neck and legs, hollows no straight bit reaches. Seen from -Y it faces -X.
"""

import numpy as np
import trimesh
from shapes import Points, Ribbon, Values, blend, ellipsoid, ribbon, sweep, together
from surface import skin, thin_out

LOW, HIGH = (-190.0, -105.0, -2.0), (190.0, 105.0, 445.0)
PITCH = 1.6
TRIANGLES = 118_000


def _arc(start: Points, way: Points, bend: Points, length: float) -> Points:
    """Five knots of a curve that leaves `start` along `way` and bends by `bend`."""
    t = np.linspace(0, 1, 5)[:, None]
    return start + length * (t * way + t * t * bend)


def _wing(side: int) -> tuple[list[Ribbon], list[Ribbon]]:
    """Arm and quills of one wing; side -1 is nearer the viewer."""
    arm = np.array(
        [(-28, 14, 214), (2, 34, 262), (-22, 52, 318), (-14, 62, 352)], dtype=float
    ) * np.array([1, side, 1])
    face = np.array([(0.1, 1, -0.25), (0.1, 1, -0.3), (0.2, 1, -0.2), (0.2, 1, -0.1)])
    face = face * np.array([1, side, 1])
    bones = [ribbon(arm, (17, 14, 11, 8), (10, 9, 8, 7), face)]
    quills = []
    count = 15
    for k in range(count):
        t = k / (count - 1)
        seat = np.array([np.interp(t, [0, 0.35, 0.7, 1], arm[:, axis]) for axis in range(3)])
        lean = np.radians(-22 + 112 * t**0.9)
        way = np.array([np.cos(lean), 0.10 * side, np.sin(lean)])
        bend = np.array([0.10, 0.16 * side * (0.3 + t), -0.10 + 0.05 * t])
        long = 96 + 34 * np.sin(np.pi * (0.15 + 0.75 * t)) - 30 * t**6
        knots = _arc(seat, way, bend, long)
        quills.append(
            ribbon(knots, (8, 11, 11.5, 10.5, 5), (6.5, 6.5, 6.2, 6.0, 4.0), (0.1, side, -0.1))
        )
    return bones, quills


BODY = ribbon(
    [(-62, 0, 222), (-40, 0, 212), (0, 0, 205), (45, 0, 202), (82, 0, 196)],
    (14, 30, 38, 27, 10), (15, 33, 38, 26, 9),
)  # fmt: skip
NECK = ribbon(
    [(-44, 0, 214), (-74, 0, 236), (-82, 0, 272), (-62, -4, 308), (-62, -8, 342), (-92, -10, 362)],
    (24, 16, 11.5, 9.5, 9, 9),
)
BILL = ribbon([(-92, -10, 363), (-118, -12, 366), (-160, -14, 356)], (9, 6.5, 5))
CROWN = ribbon([(-104, -11, 368), (-86, -10, 374), (-66, -8, 368), (-52, -6, 358)], (6, 8, 6, 4.5))
TAIL = [
    ribbon(
        [(52, 4 * k, 208), (92, 8 * k, 200 - 2 * abs(k)), (128, 12 * k, 168 - 3 * abs(k)),
         (140, 14 * k, 132 + 5 * abs(k))],
        (9, 9, 8, 5), (7, 7, 6.5, 4.5), (0.4, 0.2 * k, 1),
    )
    for k in (-2, -1, 0, 1, 2)
]  # fmt: skip
LEGS = [
    ribbon([(2, -12, 190), (8, -14, 150), (14, -14, 112)], (20, 13, 9)),
    ribbon([(14, -14, 112), (6, -13, 66), (-2, -12, 18)], (8.5, 7.5, 8.5)),
    ribbon([(-8, 13, 190), (-34, 16, 160), (-58, 18, 140)], (20, 13, 9)),
    ribbon([(-58, 18, 140), (-36, 20, 116), (-10, 20, 92)], (8.5, 7.5, 7.5)),
    ribbon([(-10, 20, 92), (-20, 18, 80), (-38, 15, 76)], (7.5, 6.5, 6)),
    ribbon([(-2, -12, 18), (-22, -16, 17), (-44, -20, 13)], (8.5, 6.5, 5)),
    ribbon([(-2, -12, 18), (-14, -30, 17), (-24, -46, 13)], (8.5, 6.5, 5)),
    ribbon([(-2, -12, 18), (14, -4, 17), (28, 2, 13)], (8.5, 6.5, 5)),
]


def _reeds() -> list[Ribbon]:
    draw = np.random.default_rng(4)
    reeds = []
    for x, y, tall, lean in (
        (78, 44, 190, 0.20), (96, 20, 165, 0.32), (104, -22, 150, 0.36), (66, -46, 130, 0.22),
        (-84, 42, 180, -0.16), (-100, 16, 150, -0.30), (-92, -36, 120, -0.26), (46, 52, 150, 0.05),
    ):  # fmt: skip
        way = np.array([lean * 0.4, draw.uniform(-0.05, 0.1) * np.sign(y), 1.0])
        bend = np.array([lean * 0.7, 0.06 * np.sign(y), -0.05])
        knots = _arc(np.array([x, y, 4.0]), way, bend, tall)
        face = (draw.uniform(-0.4, 0.4), 1.0, 0.0)
        reeds.append(ribbon(knots, (9, 9.5, 8.5, 7.5, 3.5), (7, 6.5, 6, 5.5, 3), face))
    return reeds


WING_PARTS = [_wing(side) for side in (-1, 1)]
REEDS = _reeds()


def _base(points: Points) -> Values:
    """Ice floe with rings in the water round the standing foot."""
    away = np.hypot(points[:, 0] + 2, points[:, 1] + 12)
    ring = 1.6 * np.sin(away / 5.2) * np.exp(-away / 90)
    floe = ellipsoid(points, (2, 0, 2), (140, 76, 17)) - ring
    return np.maximum(floe, -points[:, 2])


def field(points: Points) -> Values:
    """Whole sculpture."""
    bird = blend(sweep(points, BODY), sweep(points, NECK), 22)
    bird = blend(bird, ellipsoid(points, (-96, -10, 363), (17, 12, 13)), 10)
    bird = blend(bird, sweep(points, BILL), 7)
    bird = blend(bird, sweep(points, CROWN), 5)
    bird = blend(bird, together(points, TAIL, 3), 14)
    for bones, quills in WING_PARTS:
        wing = blend(together(points, bones, 3), together(points, quills, 3), 8)
        bird = blend(bird, wing, 16)
    bird = blend(bird, together(points, LEGS, 7), 9)
    ground = blend(_base(points), together(points, REEDS, 3), 12)
    return blend(bird, ground, 9)


def make() -> trimesh.Trimesh:
    """Closed mesh of the crane in mm."""
    points, faces = skin(field, LOW, HIGH, PITCH)
    return thin_out(points, faces, TRIANGLES)
