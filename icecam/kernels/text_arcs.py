"""Arcs of RS-274 text: where their centre lies, and the chords that stand in for them.

Source: NISTIR 6556, 3.5.3. Also what the state of a text holds while it is carried out.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.kernels import text_codes as tc
from icecam.kernels.compiled import kernel

# what `state` holds: position, which axes are known, and what is modal
KNOWN: Final = 3
SCALE: Final = 6
"""mm a unit of the text; 0 before G20 or G21."""
FEED: Final = 7
SPEED: Final = 8
TURNING: Final = 9
TOOL: Final = 10
MOTION: Final = 11
PLANE: Final = 12
INCREMENTAL: Final = 13
START: Final = 14
TARGET: Final = 17
ENDED: Final = 20
STATE_SIZE: Final = 21

I_WORD: Final = 8
R_WORD: Final = 17
X_WORD: Final = 23
AXES: Final = 7 << X_WORD
CENTRE: Final = 7 << I_WORD
_RADII_MM: Final = 0.002
"""Source: NISTIR 6556, 3.5.3.2."""
_RADII_IN: Final = 0.0002 * 25.4


@kernel
def plane_axes(plane: int) -> tuple[int, int, int]:
    """First and second axis of a plane, and the one across it, right-handed; G code in tenths."""
    if plane == 180:
        return 2, 0, 1
    if plane == 190:
        return 1, 2, 0
    return 0, 1, 2


@kernel
def centre_given(
    words: NDArray[np.float64], mask: int, state: NDArray[np.float64]
) -> tuple[float, float, int]:
    """Centre of an arc in centre format, mm, and a reason to refuse it or 0."""
    first, second, across = plane_axes(int(state[PLANE]))
    bits = mask & CENTRE
    if bits == 0 or bits & (1 << (I_WORD + across)):
        return 0.0, 0.0, tc.ARC_CENTRE
    centre_a, centre_b = state[first], state[second]
    if bits & (1 << (I_WORD + first)):
        centre_a += words[I_WORD + first] * state[SCALE]
    if bits & (1 << (I_WORD + second)):
        centre_b += words[I_WORD + second] * state[SCALE]
    begin = np.hypot(state[first] - centre_a, state[second] - centre_b)
    end = np.hypot(state[TARGET + first] - centre_a, state[TARGET + second] - centre_b)
    if begin == 0 or end == 0:
        return 0.0, 0.0, tc.ARC_POINT
    limit = _RADII_MM if state[SCALE] == 1.0 else _RADII_IN
    # float noise must not refuse a difference of just the limit
    if abs(begin - end) > limit + 1e-9:
        return 0.0, 0.0, tc.ARC_RADII
    if begin > tc.FARTHEST:
        return 0.0, 0.0, tc.TOO_FAR
    return centre_a, centre_b, 0


@kernel
def centre_found(radius: float, state: NDArray[np.float64]) -> tuple[float, float, int]:
    """Centre of an arc in radius format, `radius` in mm, and a reason to refuse it or 0."""
    first, second, _ = plane_axes(int(state[PLANE]))
    along_a = state[TARGET + first] - state[first]
    along_b = state[TARGET + second] - state[second]
    chord = np.hypot(along_a, along_b)
    if chord == 0:
        return 0.0, 0.0, tc.ARC_CIRCLE
    limit = _RADII_MM if state[SCALE] == 1.0 else _RADII_IN
    if not abs(radius) + limit + 1e-9 >= chord / 2:
        return 0.0, 0.0, tc.ARC_SHORT
    if abs(radius) > tc.FARTHEST:
        return 0.0, 0.0, tc.TOO_FAR
    rise = np.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    # counter-clockwise and up to half a circle: the centre lies to the left of the chord
    side = 1.0 if (radius > 0) == (state[MOTION] == 30) else -1.0
    centre_a = state[first] + along_a / 2 - side * rise * along_b / chord
    centre_b = state[second] + along_b / 2 + side * rise * along_a / chord
    return centre_a, centre_b, 0


@kernel
def count_chords(
    starts: NDArray[np.float64],
    kind: NDArray[np.int8],
    arcs: NDArray[np.float64],
    tolerance: float,
    begins: NDArray[np.int64],
) -> None:
    """Count the chords of each arc: move `i` becomes begins[i] to begins[i + 1].

    starts : (n, 3) mm; kind : (n,) int8, 2 an arc; arcs : (m, 4), see Record; begins : (n + 1,)
    """
    arc = 0
    begins[0] = 0
    for move in range(len(kind)):
        chords = 1
        if kind[move] == 2:
            first, second, _ = plane_axes(int(arcs[arc, 3]))
            radius = np.hypot(
                starts[move, first] - arcs[arc, 0], starts[move, second] - arcs[arc, 1]
            )
            # sagitta r (1 - cos(step / 2)); never coarser than a square
            step = 2 * np.arccos(max(1 - tolerance / radius, np.sqrt(0.5)))
            chords = max(1, int(np.ceil(abs(arcs[arc, 2]) / step)))
            arc += 1
        begins[move + 1] = begins[move] + chords


@kernel
def place_chords(
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
    kind: NDArray[np.int8],
    arcs: NDArray[np.float64],
    begins: NDArray[np.int64],
    points: NDArray[np.float64],
) -> None:
    """Fill the ends of all moves, arcs in chords.

    starts, ends : (n, 3) mm; begins : see `count_chords`; points : (begins[n], 3) mm. Where the
    radii at start and end differ, the chords go over from one to the other evenly.
    """
    arc = 0
    for move in range(len(kind)):
        chords = begins[move + 1] - begins[move]
        last = begins[move + 1] - 1
        points[last] = ends[move]
        if kind[move] != 2:
            continue
        first, second, across = plane_axes(int(arcs[arc, 3]))
        centre_a, centre_b, turn = arcs[arc, 0], arcs[arc, 1], arcs[arc, 2]
        from_a, from_b = starts[move, first] - centre_a, starts[move, second] - centre_b
        to_a, to_b = ends[move, first] - centre_a, ends[move, second] - centre_b
        angle, radius = np.arctan2(from_b, from_a), np.hypot(from_a, from_b)
        growth = np.hypot(to_a, to_b) - radius
        rise = ends[move, across] - starts[move, across]
        for chord in range(1, chords):
            part = chord / chords
            reach = radius + growth * part
            row = begins[move] + chord - 1
            points[row, first] = centre_a + reach * np.cos(angle + turn * part)
            points[row, second] = centre_b + reach * np.sin(angle + turn * part)
            points[row, across] = starts[move, across] + rise * part
        arc += 1
