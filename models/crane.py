"""The First Step: a crane dancing among reeds, wings raised, one foot lifted.

Thin wings, slender neck and legs, hollows no straight bit reaches. Seen from -Y it faces -X.
"""

import numpy as np
import trimesh
from shapes import Points, Ribbon, Values, blend, carve, ellipsoid, ribbon, sweep, together
from surface import relax, skin, thin_out

LOW, HIGH = (-225.0, -116.0, -2.0), (225.0, 116.0, 474.0)
PITCH = 1.3
TRIANGLES = 118_000
ROWS = ((16, 1.0, 0.0, 14.0), (12, 0.60, 3.0, 13.0), (9, 0.33, 6.0, 12.5))


def _arc(start: Points, way: Points, bend: Points, length: float) -> Points:
    """Five knots of a curve that leaves `start` along `way` and bends by `bend`."""
    t = np.linspace(0, 1, 5)[:, None]
    return np.asarray(start + length * (t * way + t * t * bend))


def _quill(
    arm: Points, t: float, side: int, turn: float, row: tuple[float, float, float]
) -> Ribbon:
    """One feather: t from the elbow (0) to the wing's tip (1); row = (share, proud, half width)."""
    share, proud, wide = row
    seat = np.array([np.interp(t, [0, 0.38, 0.72, 1], arm[:, axis]) for axis in range(3)])
    lean = np.radians(-30 + 118 * t**1.1 + turn)
    way = np.array([np.cos(lean), 0.05 * side, np.sin(lean)])
    curl = 0.16 + 0.10 * t
    bend = np.array([-curl * np.sin(lean) * -0.5, (0.04 + 0.15 * t) * side, -curl * np.cos(lean)])
    long = share * (112 + 52 * np.sin(np.pi * (0.08 + 0.74 * t)) - 34 * t**5)
    outward = np.array([0.15, side, -0.12])
    knots = _arc(seat + proud * outward, way, bend, long)
    return ribbon(knots, (9, wide - 1, wide + 1, wide, 5.0), (6.5, 6.5, 6.4, 6.2, 4.5), outward)


def _wing(side: int) -> tuple[list[Ribbon], list[Ribbon]]:
    """Arm and quills of one wing; side -1 is nearer the viewer and carried lower."""
    knots = [(-34, 12, 212), (6, 36, 262), (-24, 54, 318), (-8, 66, 356)]
    turn = -12.0
    if side > 0:
        knots = [(-36, 12, 212), (-14, 38, 266), (-52, 56, 312), (-52, 66, 356)]
        turn = 13.0
    arm = np.array(knots, dtype=float) * np.array([1, side, 1])
    face = np.array([(0.1, 1, -0.25), (0.1, 1, -0.3), (0.2, 1, -0.2), (0.2, 1, -0.1)])
    bones = [ribbon(arm, (20, 15, 12, 8), (11, 10, 9, 7), face * np.array([1, side, 1]))]
    quills = [
        _quill(arm, k / (count - 1) * (1.0 if share > 0.9 else 0.93), side, turn, (share, proud, w))
        for count, share, proud, w in ROWS
        for k in range(count)
    ]
    return bones, quills


BODY = ribbon(
    [(-66, 0, 226), (-42, 0, 214), (0, 0, 205), (45, 0, 201), (86, 0, 192)],
    (15, 30, 38, 28, 9), (16, 34, 38, 26, 9),
)  # fmt: skip
NECK = ribbon(
    [(-46, 0, 216), (-78, 0, 238), (-88, 0, 276), (-68, -4, 314), (-70, -8, 348), (-98, -10, 366)],
    (25, 17, 11.5, 9, 8.5, 9),
)
BILL = ribbon([(-98, -10, 366), (-126, -12, 364), (-170, -15, 357)], (9.5, 7.2, 5.2))
PLUMES = [
    ribbon(
        [(-98, -10 + k, 374), (-80, -9 + 2 * k, 376 + h), (-54, -8 + 4 * k, 368 + 2 * h),
         (-36, -8 + 5 * k, 354 + 2 * h)],
        (5, 6, 5.5, 4),
    )
    for k, h in ((-1, 0), (1, 4))
]  # fmt: skip
TAIL = [
    ribbon(
        [(44, 5 * k, 212), (92, 10 * k, 206 - 3 * abs(k)), (132, 15 * k, 176 - 6 * abs(k)),
         (146 - 4 * abs(k), 18 * k, 128 + 9 * abs(k))],
        (10, 10.5, 9, 5.5), (7.5, 7, 6.5, 5), (0.5, 0.35 * k, 1),
    )
    for k in (-2.4, -1.6, -0.8, 0, 0.8, 1.6, 2.4)
]  # fmt: skip
LEGS = [
    ribbon([(0, -12, 190), (8, -15, 150), (15, -15, 116)], (22, 14, 9)),
    ribbon([(15, -15, 116), (7, -13, 68), (-2, -12, 20)], (9, 7.5, 8)),
    ribbon([(-12, 13, 190), (-42, 16, 164), (-70, 18, 148)], (22, 14, 9)),
    ribbon([(-70, 18, 148), (-50, 20, 118), (-26, 20, 88)], (9, 7.5, 7.5)),
]
TOES = [
    ribbon([(-26, 20, 88), (-26 - a, 20 + y, 74), (-26 - b, 20 + 2 * y, c)], (7.5, 6, 4))
    for a, b, y, c in ((20, 44, -7, 66), (15, 30, 1, 50), (6, 10, 8, 44))
] + [
    ribbon(
        [(-2, -12, 24), (-2 + 26 * c, -12 + 26 * s, 23), (-2 + 50 * c, -12 + 50 * s, 15)],
        (8, 6.5, 4.5),
    )
    for c, s in ((-1, -0.1), (-0.66, -0.74), (-0.72, 0.62), (0.75, 0.1))
]
LEAVES = (
    (84, 46, 215, 0.10, 0.55), (98, 30, 190, 0.24, 0.50), (110, 2, 165, 0.34, 0.62),
    (112, -26, 150, 0.34, 0.40), (76, -50, 150, 0.16, 0.60), (94, -44, 118, 0.34, 0.70),
    (-88, 46, 190, -0.10, -0.45), (-108, 26, 165, -0.22, -0.55), (-118, -4, 120, -0.36, -0.55),
    (-98, -38, 138, -0.20, -0.60), (-76, -52, 100, -0.05, -0.60), (52, 56, 150, 0.0, 0.40),
)  # fmt: skip
RUSHES = ((66, 52, 182, 0.04), (124, 18, 150, 0.22), (-102, 44, 150, -0.14))


def _leaf(x: float, y: float, tall: float, lean: float, droop: float) -> Ribbon:
    """Reed blade: broad at a third of its height, the tip hanging over."""
    t = np.linspace(0, 1, 6)[:, None]
    way = np.array([lean, 0.10 * np.sign(y), 1.0])
    fall = np.array([droop * 0.5, 0.05 * np.sign(y), -0.34 * abs(droop)])
    knots = np.array([x, y, 6.0]) + tall * (t * way + t**3 * fall)
    face = (0.35 * np.sin(x), 1.0, 0.0)
    return ribbon(knots, (9, 10, 10, 9, 7, 4.5), (7, 6.5, 6.5, 6, 5.5, 4.5), face)


def _rush(x: float, y: float, tall: float, lean: float) -> list[Ribbon]:
    """Bulrush: a stalk and its seed head."""
    foot, way = np.array([x, y, 6.0]), np.array([lean, 0.04 * np.sign(y), 1.0])
    stalk = ribbon([foot, foot + 0.5 * tall * way, foot + tall * way], (7, 6.2, 6))
    head = ribbon([foot + f * tall * way for f in (0.78, 0.88, 1.0, 1.05)], (7, 10.5, 10, 5))
    return [stalk, head]


WINGS = [_wing(side) for side in (-1, 1)]
REEDS = [_leaf(*leaf) for leaf in LEAVES] + [part for rush in RUSHES for part in _rush(*rush)]


def _base(points: Points) -> Values:
    """Floe with a broken rim, and rings in the water round the standing foot."""
    x, y = points[:, 0], points[:, 1]
    away = np.hypot(x + 2, y + 12)
    ring = 1.8 * np.sin(away / 4.6) * np.exp(-away / 70)
    angle = np.arctan2(y / 78, (x - 2) / 146)
    rim = 1 + 0.035 * np.sin(5 * angle + 1) + 0.02 * np.sin(11 * angle) + 0.012 * np.sin(23 * angle)
    plate = np.hypot((x - 2) / 146, y / 78) - rim
    return -blend(-plate * 78, 17 + 0.6 * ring - points[:, 2], 14)


def _head(points: Points) -> Values:
    skull = blend(sweep(points, NECK), ellipsoid(points, (-100, -10, 367), (18, 12.5, 13)), 10)
    skull = blend(skull, sweep(points, BILL), 6)
    for side in (-1, 1):
        skull = carve(skull, ellipsoid(points, (-109, -11 + side * 15, 370), (7, 7, 6)), 3)
        skull = blend(skull, ellipsoid(points, (-108, -11 + side * 8, 370), (4, 4, 4)), 1)
    return blend(skull, together(points, PLUMES, 3), 5)


def field(points: Points) -> Values:
    """Whole sculpture."""
    bird = blend(sweep(points, BODY), _head(points), 24)
    bird = blend(bird, together(points, TAIL, 2), 14)
    for bones, quills in WINGS:
        wing = blend(together(points, bones, 3), together(points, quills, 3.4), 9)
        bird = blend(bird, wing, 18)
    bird = blend(bird, blend(together(points, LEGS, 6), together(points, TOES, 5), 5), 10)
    ground = blend(_base(points), together(points, REEDS, 2), 10)
    return np.maximum(blend(bird, ground, 6), -points[:, 2])


def make() -> trimesh.Trimesh:
    """Make the closed mesh of the crane, mm."""
    points, faces = skin(field, LOW, HIGH, PITCH)
    return thin_out(relax(points, faces, 5), faces, TRIANGLES)
