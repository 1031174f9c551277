"""Feeds that follow the ice: as fast as keeps the thickest chip at the chip load of the stage.

Takes a path and how each of its moves really met the ice; gives a feed for each. A round tip that
takes a thin layer slides along it and cuts thin chips, so it may go faster; where it takes none, it
goes as if the layer were as thick as a bit may be set too low. A bit that roughs goes slower in
full slots, and only there.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from icecam.job.records import Machine
from icecam.kernels.profile import Profile
from icecam.paths.loops import BESIDE
from icecam.paths.stages import Stage
from icecam.paths.toolpath import CUT, Toolpath

FACTORS: Final = (1.4, 2.0, 2.8, 4.0)
"""Feeds that are written, over that of the stage; few, so that the text holds few F words. Beyond
the last a tooth would leave marks as long as a tenth of the bit."""
LOW_MM: Final = 0.1
"""The bit may be set too low by so much (common practice, no source)."""
AHEAD_MM: Final = 1.0
"""Ice met within this of a move counts for it: so much may it lie off, and cells blur its edge."""
SHORTEST_MM: Final = 5.0
"""A faster stretch is at least so long."""

Floats = NDArray[np.float64]


def feeds_met(path: Toolpath, chip: Floats, stage: Stage, machine: Machine) -> Floats:
    """Return the feed (n,) mm/s of each move, NaN on rapids.

    Parameters
    ----------
    path : n moves
    chip : (n,) thickest chip of each move over its chip load, as carving found it

    Notes
    -----
    Only moves at the feed of the stage are changed; none becomes slower.
    """
    share = _set_low(chip, stage.cutting)
    able = (path.kind == CUT) & (np.abs(path.feed - stage.feed) < 1e-3 * stage.feed)
    factor, lengths = np.ones(len(path)), path.lengths
    for level in FACTORS:
        fast = _long(_all_near(~able | (share * level <= 1), lengths) & able, lengths)
        factor = np.where(fast, level, factor)
    return np.minimum(path.feed * factor, np.maximum(path.feed, min(machine.speed[:2])))


def slots_met(path: Toolpath, removed: Floats, depth: Floats, stage: Stage, slot: float) -> Floats:
    """Return the feed (n,) mm/s of each move of roughing, NaN on rapids.

    Parameters
    ----------
    path : n moves; those that may cut a full slot are slow
    removed, depth : (n,) mm3 and mm, the ice that each took and how deep, as carving found it
    slot : feed of full slots over that of the stage

    Notes
    -----
    Level moves at the slow feed get that of the stage where the ice that is taken within a radius
    of the bit is no wider than what counts as no slot between two loops. None becomes slower.
    """
    lengths, level = path.lengths, path.begins[:, 2] == path.ends[:, 2]
    slow = (path.kind == CUT) & level & np.isclose(path.feed, slot * stage.feed, rtol=1e-3)
    widest, sides, reach = BESIDE * stage.stepover, depth * lengths, stage.cutting.radius
    narrow = _within(reach, removed, lengths) <= widest * _within(reach, sides, lengths)
    # among longer ones that take less it would hardly show
    narrow &= (removed <= widest * sides) | (lengths < AHEAD_MM)
    fast = _long(_all_near(~slow | narrow, lengths) & slow, lengths)
    return by_line(np.where(fast, stage.feed, path.feed), path.line)


def by_line(feed: Floats, line: NDArray[np.int32]) -> Floats:
    """Give all moves of a line, the chords of an arc, the slowest of their feeds."""
    first = np.flatnonzero(np.diff(line, prepend=line[:1] - 1))
    slowest: Floats = np.minimum.reduceat(feed, first)
    return slowest[np.searchsorted(first, np.arange(len(feed)), "right") - 1]


def _set_low(chip: Floats, profile: Profile) -> Floats:
    """Return the chip of a bit that stands `LOW_MM` lower; all of its load if it is not a ball.

    A chip of sin b comes of ice that reaches R cos b from the line of the ball's centre.
    """
    if profile.flat > 0 or profile.corner == 0:
        return np.ones(len(chip))
    cosine = np.maximum(np.sqrt(1 - chip**2) - LOW_MM / profile.corner, 0.0)
    share: Floats = np.sqrt(1 - cosine**2)
    return share


def _all_near(marked: NDArray[np.bool_], lengths: Floats) -> NDArray[np.bool_]:
    """Whether all moves within `AHEAD_MM` of each, before and after, are marked."""
    near: NDArray[np.bool_] = _within(AHEAD_MM, ~marked, lengths) == 0
    return near


def _within(reach: float, each: NDArray[np.generic], lengths: Floats) -> Floats:
    """Return the sum of `each` (n,) over all moves within `reach` (mm) of each, and it too."""
    ends = np.cumsum(lengths)
    total = np.concatenate([[0.0], np.cumsum(each)])
    first = np.searchsorted(ends, ends - lengths - reach, "right")
    last = np.searchsorted(ends - lengths, ends + reach, "left")
    found: Floats = total[last] - total[first]
    return found


def _long(marked: NDArray[np.bool_], lengths: Floats) -> NDArray[np.bool_]:
    """Return the marks of runs that are at least `SHORTEST_MM` long."""
    run = np.cumsum(np.diff(marked, prepend=False) != 0)
    length = np.bincount(run, weights=lengths)
    long: NDArray[np.bool_] = marked & (length[run] >= SHORTEST_MM)
    return long
