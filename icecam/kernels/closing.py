"""The ice that would be left if a bit went everywhere it may."""

from math import ceil, floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from icecam.kernels.compiled import kernel
from icecam.kernels.profile import Profile, height, radius_at

Floats = NDArray[np.float64]


@kernel
def close_rows(
    left: Floats, frame: tuple[float, float, float], first: int, last: int, wanted: Floats,
    tips: Floats, tip_frame: tuple[float, float, float], lows: Floats, tile: int, profile: Profile,
    enough: float,
) -> None:  # fmt: skip
    """Lower rows first..last of `left` to the lowest point of the bit over each cell.

    wanted : (ny, nx) height of the sculpture; cells at -inf are passed over
    tips : tip heights (inf where the bit may not go); lows : least tip in squares of `tile` nodes
    enough : so near (mm) over the sculpture it does not matter how much nearer the bit comes
    """
    x0, y0, cell = frame
    tx, ty, pitch = tip_frame
    for j in range(first, last):
        y = y0 + j * cell
        for i in range(left.shape[1]):
            now, stop = left[j, i], wanted[j, i] + enough
            if wanted[j, i] == -inf or now <= stop:
                continue
            x = x0 + i * cell
            u0 = max(0, ceil((x - profile.radius - tx) / pitch))
            u1 = min(tips.shape[1] - 1, floor((x + profile.radius - tx) / pitch))
            v0 = max(0, ceil((y - profile.radius - ty) / pitch))
            v1 = min(tips.shape[0] - 1, floor((y + profile.radius - ty) / pitch))
            low = inf
            for v in range(v0 // tile, v1 // tile + 1):
                for u in range(u0 // tile, u1 // tile + 1):
                    low = min(low, lows[v, u])
            if low >= now:
                continue
            # straight over a cell the bit mostly comes near enough
            u, v = round((x - tx) / pitch), round((y - ty) / pitch)
            if u0 <= u <= u1 and v0 <= v <= v1:
                now = min(now, _under(tips, v, u, tip_frame, x, y, profile))
            if now <= stop:
                left[j, i] = now
                continue
            reach = radius_at(profile, now - low)
            u0 = max(u0, ceil((x - reach - tx) / pitch))
            u1 = min(u1, floor((x + reach - tx) / pitch))
            v0 = max(v0, ceil((y - reach - ty) / pitch))
            v1 = min(v1, floor((y + reach - ty) / pitch))
            for v in range(v0, v1 + 1):
                for u in range(u0, u1 + 1):
                    if tips[v, u] < now:
                        now = min(now, _under(tips, v, u, tip_frame, x, y, profile))
                if now <= stop:
                    break
            left[j, i] = now


@kernel
def _under(
    tips: Floats, v: int, u: int, tip_frame: tuple[float, float, float], x: float, y: float,
    profile: Profile,
) -> float:  # fmt: skip
    """Lowest point over a place of the bit at a tip; inf beside it."""
    tx, ty, pitch = tip_frame
    dx, dy = tx + u * pitch - x, ty + v * pitch - y
    r = sqrt(dx * dx + dy * dy)
    return tips[v, u] + height(profile, r) if r <= profile.radius else inf


@kernel
def thickness_rows(
    thick: Floats, first: int, last: int, ice: Floats, wanted: Floats, cell: float, window: int
) -> None:
    """Thickness of the ice over the sculpture in rows first..last: shortest way, NaN beside it.

    The least of three: straight down; across the local slope, the flatter side of each cell taken
    (none on a crest); to the sculpture's height at a neighbour up to `window` cells away.
    """
    ny, nx = ice.shape
    for j in range(first, last):
        for i in range(nx):
            if wanted[j, i] == -inf:
                thick[j, i] = np.nan
                continue
            over = ice[j, i] - wanted[j, i]
            if over <= 0.0:
                thick[j, i] = 0.0
                continue
            gx = _flatter(wanted[j, max(i - 1, 0)], wanted[j, i], wanted[j, min(i + 1, nx - 1)])
            gy = _flatter(wanted[max(j - 1, 0), i], wanted[j, i], wanted[min(j + 1, ny - 1), i])
            best = over / sqrt(1.0 + (gx * gx + gy * gy) / (cell * cell))
            for v in range(max(j - window, 0), min(j + window, ny - 1) + 1):
                for u in range(max(i - window, 0), min(i + window, nx - 1) + 1):
                    if wanted[v, u] == -inf:
                        continue
                    side = ((v - j) * (v - j) + (u - i) * (u - i)) * cell * cell
                    rise = max(ice[j, i] - wanted[v, u], 0.0)
                    if side < best * best:
                        best = min(best, sqrt(side + rise * rise))
            thick[j, i] = best


@kernel
def _flatter(before: float, here: float, after: float) -> float:
    """Return the smaller of the steps to both neighbours; none on a crest."""
    if max(before, after) <= here:
        return 0.0
    return min(abs(here - before), abs(after - here))
