"""Slow twins of the questions to the ice as it stands, from their definitions."""

import numpy as np
from numpy.typing import NDArray

from tests.reference.profile import Solid, heights

Floats = NDArray[np.float64]


def travel_height(
    ice: Floats, x: Floats, y: Floats, a: Floats, b: Floats, parts: list[tuple[Solid, float]],
    slack: float = 0.0,
) -> float:  # fmt: skip
    """Least height of the tip on the straight way a-b with every part clear of the cells' ice.

    ice : (y, x) heights; parts : solids and how far their lower ends lie over the tip
    slack : how much nearer than its centre a cell's ice may stand
    """
    xx, yy = np.meshgrid(x, y)
    cells = np.stack([xx.ravel(), yy.ravel()], axis=1)
    along = b - a
    square = float(along @ along)
    share = np.clip((cells - a) @ along / square, 0, 1) if square > 0 else np.zeros(len(cells))
    off = np.linalg.norm(cells - (a + share[:, None] * along), axis=1)
    r = np.maximum(off - slack, 0.0)
    need = -np.inf
    for solid, lift in parts:
        met = r <= solid.radius
        if met.any():
            need = max(need, float((ice.ravel()[met] - heights(solid, r[met])).max()) - lift)
    return need


def greatest_near(ice: Floats, pitch: float, reach: float) -> Floats:
    """Greatest height of cells whose centre lies within `reach` of each cell's centre."""
    ny, nx = ice.shape
    jj, ii = np.mgrid[:ny, :nx]
    found = np.full(ice.shape, -np.inf)
    for j in range(ny):
        for i in range(nx):
            near = np.hypot(jj - j, ii - i) * pitch <= reach
            found[j, i] = ice[near].max()
    return found


def depth_and_bite(
    ice: Floats, matters: NDArray[np.bool_], x: Floats, y: Floats, tip: Floats, solid: Solid
) -> tuple[float, float]:
    """Thickest ice that the bit would take at a tip (3,).

    Upright, of all cells; along the bit's normal, of those that matter.
    """
    xx, yy = np.meshgrid(x, y)
    r = np.hypot(xx - tip[0], yy - tip[1]).ravel()
    inside = r <= solid.radius
    over = ice.ravel()[inside] - tip[2] - heights(solid, r[inside])
    leaning = over * _upright_share(solid, r[inside])
    return (
        float(np.max(over, initial=0.0)),
        float(np.max(leaning[matters.ravel()[inside]], initial=0.0)),
    )


def _upright_share(solid: Solid, r: Floats) -> Floats:
    """Cosine between the bit's normal at axis distance r and the axis.

    The normal on the arc points to the arc's centre, whose way is `corner` long, r - flat of it
    sideways; that on the flank stands at right angles to it.
    """
    on_flank = (r > solid.flat + solid.corner * np.cos(solid.taper)) & (solid.taper > 0.0)
    sideways = np.clip(r - solid.flat, 0.0, solid.corner)
    on_arc = np.sqrt(1.0 - (sideways / solid.corner) ** 2) if solid.corner > 0 else np.ones_like(r)
    return np.where(on_flank, np.sin(solid.taper), on_arc)


def most_in_box(
    ice: Floats, matters: NDArray[np.bool_], x: Floats, y: Floats, a: Floats, b: Floats, tip: float,
    solid: Solid,
) -> tuple[float, Floats]:  # fmt: skip
    """Thickest ice that matters along the bit's normal, at the nearest place to each cell of a box.

    a, b : (2,) corners of the box; also returns how far the box is from the cells (y, x)
    """
    off = [
        np.abs(at - np.clip(at, min(side), max(side)))
        for at, side in ((x, (a[0], b[0])), (y, (a[1], b[1])))
    ]
    r = np.hypot(*np.meshgrid(*off))
    inside = matters & (r <= solid.radius)
    over = ice[inside] - tip - heights(solid, r[inside])
    return float(np.max(over * _upright_share(solid, r[inside]), initial=0.0)), r
