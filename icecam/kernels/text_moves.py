"""RS-274 text carried out line by line: where the tip goes, and what happens between moves.

Takes the bytes of a text, gives its moves with arcs still whole, and its events. Order inside a
line: NISTIR 6556, 3.8. Arcs: 3.5.3. Lengths are turned into mm, feeds into mm/s, on reading.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.kernels import text_codes as tc
from icecam.kernels.compiled import kernel
from icecam.kernels.text_arcs import (
    AXES,
    CENTRE,
    ENDED,
    FEED,
    INCREMENTAL,
    KNOWN,
    MOTION,
    PLANE,
    R_WORD,
    SCALE,
    SPEED,
    START,
    STATE_SIZE,
    TARGET,
    TOOL,
    TURNING,
    X_WORD,
    centre_found,
    centre_given,
    plane_axes,
)
from icecam.kernels.text_words import after_blanks, read_line

_F: Final = 5
_P: Final = 15
_S: Final = 18
_T: Final = 19
_NO_MOTION: Final = 800  # G80 in tenths
_ARCS: Final = (20, 30)


class Record(NamedTuple):
    """What a text gives.

    ends (n, 3) mm; kind (n,) int8, 0 rapid, 1 straight cut, 2 arc; feed (n,) mm/s; line (n,);
    arcs (m, 4): first and second coordinate of the centre in the plane, turn in rad, G code of
    the plane; events (k, 4): moves before it, kind, value, line; counts (4,): moves, arcs, events,
    line.
    """

    ends: NDArray[np.float64]
    kind: NDArray[np.int8]
    feed: NDArray[np.float64]
    line: NDArray[np.int32]
    arcs: NDArray[np.float64]
    events: NDArray[np.float64]
    counts: NDArray[np.int64]


@kernel
def first_state(start: NDArray[np.float64]) -> NDArray[np.float64]:
    """State before the first line; an axis of `start`, (3,) mm, that is NaN is not known."""
    state = np.zeros(STATE_SIZE)
    for axis in range(3):
        known = not np.isnan(start[axis])
        state[KNOWN + axis] = 1.0 if known else 0.0
        state[axis] = start[axis] if known else 0.0
        state[START + axis] = start[axis]
    state[MOTION] = _NO_MOTION
    state[PLANE] = 170
    return state


@kernel
def _event(record: Record, kind: int, value: float) -> None:
    """Note something that happens before the next move."""
    row = record.counts[2]
    record.events[row, 0] = record.counts[0]
    record.events[row, 1] = kind
    record.events[row, 2] = value
    record.events[row, 3] = record.counts[3]
    record.counts[2] = row + 1


@kernel
def _all_known(state: NDArray[np.float64]) -> bool:
    """Whether the position is known on all axes."""
    return bool(state[KNOWN] * state[KNOWN + 1] * state[KNOWN + 2] > 0)


@kernel
def _check_motion(mask: int, codes: NDArray[np.int64], state: NDArray[np.float64]) -> int:
    """Reason to refuse axis words, arc words and motion words that do not go together, or 0."""
    given = codes[tc.MOTION_GROUP]
    motion = given if given >= 0 else int(state[MOTION])
    axes = mask & AXES
    if ((given >= 0 and given != _NO_MOTION) or codes[tc.NONMODAL] == 530) and axes == 0:
        return tc.NO_AXES
    if axes and motion == _NO_MOTION:
        return tc.NO_MOTION
    if mask & (CENTRE | 1 << R_WORD) and not (axes and motion in _ARCS):
        return tc.UNUSED_WORD
    return 0


@kernel
def _check_numbers(words: NDArray[np.float64], mask: int, codes: NDArray[np.int64]) -> int:
    """Reason to refuse F, P, S and T, or 0."""
    dwell = codes[tc.NONMODAL] == 40
    if mask & (1 << _P) and not (dwell or codes[tc.PATH_GROUP] == 640):
        return tc.UNUSED_WORD
    if dwell and not mask & (1 << _P):
        return tc.NO_DWELL
    for letter in (_F, _P, _S, _T):
        if mask & (1 << letter) and words[letter] < 0:
            return tc.NEGATIVE
    if mask & (1 << _T) and abs(words[_T] - np.rint(words[_T])) > 0.0001:
        return tc.NOT_WHOLE
    return 0


@kernel
def _set_spindle(
    words: NDArray[np.float64],
    mask: int,
    codes: NDArray[np.int64],
    state: NDArray[np.float64],
    record: Record,
) -> None:
    """Carry out S, T, M6, M3 to M5 and M7 to M9."""
    code = codes[tc.SPINDLE_GROUP]
    if mask & (1 << _S):
        state[SPEED] = words[_S]
        if state[TURNING] != 0 and code < 0 and codes[tc.TOOL_GROUP] < 0:
            _event(record, tc.SPINDLE, state[TURNING] * state[SPEED])
    if mask & (1 << _T):
        state[TOOL] = np.rint(words[_T])
    if codes[tc.TOOL_GROUP] >= 0:
        if state[TURNING] != 0:  # a change stops the spindle; source: NISTIR 6556, 3.6.3
            _event(record, tc.SPINDLE, 0.0)
        state[TURNING] = 0.0
        _event(record, tc.TOOL, state[TOOL])
    if code >= 0:
        state[TURNING] = 1.0 if code == 3 else (-1.0 if code == 4 else 0.0)
        _event(record, tc.SPINDLE, state[TURNING] * state[SPEED] + 0.0)
    if codes[tc.COOLANT_GROUP] >= 0:
        _event(record, tc.COOLANT, float(codes[tc.COOLANT_GROUP]))


@kernel
def _set_modes(
    words: NDArray[np.float64],
    mask: int,
    codes: NDArray[np.int64],
    state: NDArray[np.float64],
    record: Record,
) -> int:
    """Carry out what comes before motion, in the order of 3.8; a reason to refuse it, or 0."""
    if mask & (1 << _F):
        if state[SCALE] == 0:
            return tc.NO_UNIT
        state[FEED] = words[_F] * state[SCALE] / 60.0
    _set_spindle(words, mask, codes, state, record)
    if codes[tc.NONMODAL] == 40:
        _event(record, tc.DWELL, words[_P])
    if codes[tc.PLANE_GROUP] >= 0:
        state[PLANE] = codes[tc.PLANE_GROUP]
    if codes[tc.UNITS_GROUP] >= 0:
        scale = 25.4 if codes[tc.UNITS_GROUP] == 200 else 1.0
        if scale != state[SCALE]:
            state[FEED] = 0.0  # the standard leaves open what F means after a change of units
        state[SCALE] = scale
    if codes[tc.DISTANCE_GROUP] >= 0:
        state[INCREMENTAL] = 1.0 if codes[tc.DISTANCE_GROUP] == 910 else 0.0
    if codes[tc.MOTION_GROUP] >= 0:
        state[MOTION] = codes[tc.MOTION_GROUP]
    return 0


@kernel
def _leave_frame(mask: int, state: NDArray[np.float64]) -> int:
    """Move in machine coordinates: the axes named are not known any more; a reason, or 0."""
    if state[MOTION] != 0 or state[INCREMENTAL] != 0 or _all_known(state):
        return tc.MACHINE_MOVE
    for axis in range(3):
        if mask & (1 << (X_WORD + axis)):
            state[KNOWN + axis] = 0.0
    return 0


@kernel
def _aim(words: NDArray[np.float64], mask: int, state: NDArray[np.float64]) -> int:
    """Put the end of the move into `state`, mm; a reason to refuse it, or 0."""
    for axis in range(3):
        state[TARGET + axis] = state[axis]
        if not mask & (1 << (X_WORD + axis)):
            continue
        value = words[X_WORD + axis] * state[SCALE]
        if state[INCREMENTAL] != 0:
            if state[KNOWN + axis] == 0:
                return tc.UNKNOWN_POSITION
            value += state[axis]
        if not abs(value) <= tc.FARTHEST:
            return tc.TOO_FAR
        state[TARGET + axis] = value
    return 0


@kernel
def _go(state: NDArray[np.float64], record: Record, kind: int) -> None:
    """Note a move to the target and stand there."""
    row = record.counts[0]
    for axis in range(3):
        record.ends[row, axis] = state[TARGET + axis]
        state[axis] = state[TARGET + axis]
    record.kind[row] = kind
    record.feed[row] = state[FEED] if kind > 0 else np.nan
    record.line[row] = record.counts[3]
    record.counts[0] = row + 1


@kernel
def _go_straight(mask: int, state: NDArray[np.float64], record: Record, kind: int) -> None:
    """Move straight to the target; until all axes are known, only remember where the axes are."""
    if _all_known(state):
        moved = False
        for axis in range(3):
            moved |= state[TARGET + axis] != state[axis]
        if moved:
            _go(state, record, kind)
        return
    for axis in range(3):
        if mask & (1 << (X_WORD + axis)):
            state[KNOWN + axis] = 1.0
            state[axis] = state[TARGET + axis]
    if _all_known(state):
        state[START : START + 3] = state[:3]


@kernel
def _go_round(
    words: NDArray[np.float64], mask: int, state: NDArray[np.float64], record: Record
) -> int:
    """Note an arc to the target; a reason to refuse it, or 0."""
    first, second, _ = plane_axes(int(state[PLANE]))
    if not mask & (1 << (X_WORD + first) | 1 << (X_WORD + second)):
        return tc.NO_AXES
    if mask & (1 << R_WORD):
        if mask & CENTRE:
            return tc.ARC_CENTRE
        centre_a, centre_b, reason = centre_found(words[R_WORD] * state[SCALE], state)
    else:
        centre_a, centre_b, reason = centre_given(words, mask, state)
    if reason:
        return reason
    begin = np.arctan2(state[second] - centre_b, state[first] - centre_a)
    end = np.arctan2(state[TARGET + second] - centre_b, state[TARGET + first] - centre_a)
    turn = end - begin if state[MOTION] == 30 else begin - end
    if turn <= 1e-12:  # an arc that ends where it begins is a full circle
        turn += 2 * np.pi
    row = record.counts[1]
    record.arcs[row, 0], record.arcs[row, 1] = centre_a, centre_b
    record.arcs[row, 2] = turn if state[MOTION] == 30 else -turn
    record.arcs[row, 3] = state[PLANE]
    record.counts[1] = row + 1
    _go(state, record, 2)
    return 0


@kernel
def _move(
    words: NDArray[np.float64],
    mask: int,
    codes: NDArray[np.int64],
    state: NDArray[np.float64],
    record: Record,
) -> int:
    """Carry out the motion of a line; a reason to refuse it, or 0."""
    if not mask & AXES:
        return 0
    if state[SCALE] == 0:
        return tc.NO_UNIT
    if codes[tc.NONMODAL] == 530:
        return _leave_frame(mask, state)
    reason = _aim(words, mask, state)
    motion = int(state[MOTION])
    if motion > 0 and reason == 0:
        if not _all_known(state):
            reason = tc.UNKNOWN_POSITION
        elif not state[FEED] > 0:
            reason = tc.NO_FEED
    if reason == 0 and motion in _ARCS:
        reason = _go_round(words, mask, state, record)
    elif reason == 0:
        _go_straight(mask, state, record, 1 if motion == 10 else 0)
    return reason


@kernel
def _run_line(
    words: NDArray[np.float64],
    mask: int,
    codes: NDArray[np.int64],
    state: NDArray[np.float64],
    record: Record,
) -> int:
    """Carry out one line; a reason to refuse it, or 0."""
    reason = _check_motion(mask, codes, state)
    if reason == 0:
        reason = _check_numbers(words, mask, codes)
    if reason == 0:
        reason = _set_modes(words, mask, codes, state, record)
    if reason == 0:
        reason = _move(words, mask, codes, state, record)
    stop = codes[tc.STOP_GROUP]
    if reason == 0 and stop >= 0:
        state[ENDED] = 1.0 if stop in (2, 30) else 0.0
        _event(record, tc.END if stop in (2, 30) else tc.STOP, float(stop))
    return reason


@kernel
def _line_end(text: NDArray[np.uint8], first: int) -> int:
    """Place of the line feed that ends the line, or the end of the text."""
    last = first
    while last < len(text) and text[last] != 10:
        last += 1
    return last


@kernel
def run_text(
    text: NDArray[np.uint8], state: NDArray[np.float64], record: Record
) -> tuple[int, int, int]:
    """Carry out a text; a reason to refuse it or 0, and the places of its last line and of why.

    text : (n,) uint8; state : (STATE_SIZE,) float64, kept up to date.
    """
    words = np.zeros(26)
    codes = np.zeros(tc.GROUPS, np.int64)
    first, latest, opened, fresh = 0, 0, False, True
    while first < len(text):
        feed = _line_end(text, first)
        last = feed - 1 if feed > first and text[feed - 1] == 13 else feed
        record.counts[3] += 1
        if last - first > tc.LONGEST_LINE:
            return tc.LONG_LINE, first, first
        at = after_blanks(text, first, last)
        if at < last and text[at] == 37:  # %
            if after_blanks(text, at + 1, last) < last or not (fresh or opened):
                return tc.PERCENT, first, at
            if opened:
                _event(record, tc.END, 0.0)
                return 0, first, at
            opened, fresh = True, False
        elif at < last:
            fresh = False
            mask, reason, at = read_line(text, first, last, words, codes)
            if reason == 0:
                reason = _run_line(words, mask, codes, state, record)
            if reason or state[ENDED] > 0:
                return reason, first, at
        latest, first = first, feed + 1
    return tc.NO_END, latest, latest
