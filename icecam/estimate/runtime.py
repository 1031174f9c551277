"""How long a machine takes for a toolpath: a Toolpath and a Machine in, seconds a move out.

Straight moves under the speed and acceleration of each axis, a speed limit at each corner, and
look-ahead over the whole file. Acceleration changes at once unless the machine has a jerk limit.

Arcs of a text are chords in a Toolpath, and chords stand for them here too: moves of one line. The
arc that rounds the corner between two chords touches both in the middle, so its radius is that of
the arc they stand for, times the cosine of half the turn between them; it is passed at v^2 = a R,
with a what the axes give towards the middle, as the arc itself would be, whatever the corner
tolerance. All chords of an arc together are one block to the block rate.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from icecam.errors import JobError
from icecam.estimate.ramps import with_jerk
from icecam.job.records import Machine
from icecam.kernels import lookahead
from icecam.kernels.compiled import over_stripes
from icecam.paths.toolpath import CUT, RAPID, Toolpath

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runtime:
    """Time of each move, and how fast the bit passes between them.

    Parameters
    ----------
    seconds : (n,) float64, s, of each move
    speeds : (n + 1,) float64, mm/s, at the start of the path and at the end of each move

    Raises
    ------
    ValueError : shapes that do not match
    """

    seconds: Floats
    speeds: Floats

    def __post_init__(self) -> None:
        if self.seconds.ndim != 1 or self.speeds.shape != (len(self.seconds) + 1,):
            raise ValueError(
                f"runtime has seconds {self.seconds.shape} and speeds {self.speeds.shape}, "
                "expected (n,) and (n + 1,)"
            )
        for name in ("seconds", "speeds"):
            array = np.ascontiguousarray(getattr(self, name), dtype=np.float64).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def total(self) -> float:
        """Seconds of all moves together."""
        return float(self.seconds.sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class StageSeconds:
    """Where the time of a stage goes, s.

    cutting : all cutting moves; slowed : the part of it that corners and ramps add to length over
    feed, so no part of the total by itself
    """

    cutting: float
    slowed: float
    rapids: float
    dwells: float
    bit_change: float
    snow_stops: float
    warm_up: float = 0.0

    @property
    def total(self) -> float:
        """Seconds from the end of the stage before to the end of this one."""
        machine = self.cutting + self.rapids + self.dwells + self.bit_change
        return machine + self.snow_stops + self.warm_up


def runtime(path: Toolpath, machine: Machine) -> Runtime:
    """Time the path with the corner speeds that `corner_speeds` finds, from rest to rest.

    See `runtime_at_corners` for the model.
    """
    points, axes = _points(path), _axis_limits(machine)
    corners = _arc_corners(path, points, axes)
    return _timed(path, machine, points, corners)


def runtime_at_corners(path: Toolpath, machine: Machine, corners: Floats) -> Runtime:
    """Time the path with given speed limits at its points.

    Parameters
    ----------
    path : n moves; rapids run as fast as the axes allow
    machine : axis speeds, accelerations and jerks, block rate
    corners : (n + 1,) mm/s, not below 0, most speed at the start and at the end of each move;
        infinite where nothing limits it

    Returns
    -------
    the least seconds under the model

    Raises
    ------
    ValueError : corners of another shape, or below zero, or no number

    Notes
    -----
    With u the direction of a move and v, a the limits of axis k: path speed is the least of the
    feed, v_k / |u_k| and length of the line times block rate; path acceleration is the least
    a_k / |u_k|. A move without length stops the machine for one block. Within these the squares of
    the speeds are raised as far as they go, which is the least time. With a jerk limit see
    `icecam.estimate.ramps.with_jerk`. Source: mechanics; no constant.
    """
    count = len(path)
    limit = np.ascontiguousarray(corners, dtype=np.float64)
    if limit.shape != (count + 1,):
        raise ValueError(f"corner speeds have shape {limit.shape}, expected {(count + 1,)}")
    if not (limit >= 0).all():
        raise ValueError("a corner speed is below zero or no number")
    return _timed(path, machine, _points(path), limit)


def _timed(path: Toolpath, machine: Machine, points: Floats, corners: Floats) -> Runtime:
    """Allocate and run the look-ahead; ten million points are not worth copying twice."""
    count, axes = len(path), _axis_limits(machine)
    feed = np.where(path.kind == RAPID, np.inf, path.feed)
    limits = np.zeros((count, 3))
    over_stripes(
        count, lambda a, b: lookahead.move_limits(points, feed, path.line, axes, limits, a, b)
    )
    block_seconds = 1 / axes.block_rate
    speeds, seconds = np.zeros(count + 1), np.zeros(count)
    if count and machine.jerk is None:
        lookahead.look_ahead(limits, corners, block_seconds, speeds, seconds)
    elif count:
        jerk = np.array(machine.jerk, dtype=np.float64)
        speeds, seconds = with_jerk(points, limits, jerk, corners, block_seconds)
    return Runtime(seconds=seconds, speeds=speeds)


def corner_speeds(path: Toolpath, machine: Machine) -> Floats:
    """Return the speed at each corner of the arc that the corner tolerance leaves room for.

    Parameters
    ----------
    path : n moves
    machine : corner tolerance and axis accelerations

    Returns
    -------
    (n + 1,) mm/s; 0 at both ends, infinite between collinear moves

    Notes
    -----
    An arc tangent to both moves replaces the corner in the controller's motion. With t the angle
    the direction turns by, an arc of radius R passes the corner at R (1 / cos(t/2) - 1), which is
    kept within the tolerance, and touches the moves R tan(t/2) from the corner, kept within half
    of the shorter line of the text, so that neighbouring arcs never overlap. Speed is the most at
    which v^2 / R, taken on each axis in every direction that the arc's inward normal passes
    through, stays within that axis' acceleration. Tolerance 0 is a full stop at any corner, and so
    is a reversal. Between chords of one arc there is no corner, so no tolerance holds. Only speed
    comes from the arc: the length stays that of the straight moves. Acceleration along the path
    may come on top, as nothing shares the limit between the two.
    Source: geometry of a fillet; no constant.
    """
    return _arc_corners(path, _points(path), _axis_limits(machine))


def chord_corner_speeds(path: Toolpath, machine: Machine) -> Floats:
    """Return corner speeds for moves that are chords of a smooth curve, to compare with.

    Parameters
    ----------
    path : n moves
    machine : axis accelerations; its corner tolerance is not used

    Returns
    -------
    (n + 1,) mm/s; 0 at both ends, infinite between collinear moves

    Notes
    -----
    The jump in an axis' speed, spread over the time of one mean move, stays within its
    acceleration: v^2 <= a_k mean(l) / |du_k|. This is a finite difference of the curve's
    curvature; never slower than `corner_speeds`. Source: mechanics; no constant.
    """
    points, axes = _points(path), _axis_limits(machine)
    return _each_corner(
        points, lambda corners, a, b: lookahead.chord_corner_speeds(points, axes, corners, a, b)
    )


def stage_seconds(
    run: Runtime,
    path: Toolpath,
    *,
    dwells: float,
    bit_change: float,
    snow_stops: int = 0,
    snow_stop: float = 0.0,
) -> StageSeconds:
    """Add to the moves of a stage what else keeps the machine busy.

    Parameters
    ----------
    run : seconds of the moves of `path`
    path : the stage
    dwells : s, pauses written in the file, the spindle's start among them
    bit_change : s, 0 if the bit stays
    snow_stops : how often the cut is stopped to clear snow
    snow_stop : s, each time

    Raises
    ------
    ValueError : a runtime of another path
    JobError : a time or a count below zero
    """
    if len(run.seconds) != len(path):
        raise ValueError(f"runtime of {len(run.seconds)} moves for a path of {len(path)}")
    parts = {"dwells": dwells, "bit_change": bit_change, "snow_stop": snow_stop}
    for name, value in {**parts, "snow_stops": snow_stops}.items():
        if not value >= 0:
            raise JobError(f"{name} is {value:g}; give a number that is not below 0")
    cut = path.kind == CUT
    cutting = float(run.seconds[cut].sum())
    at_feed = float((path.lengths[cut] / path.feed[cut]).sum())
    return StageSeconds(
        cutting=cutting,
        slowed=max(0.0, cutting - at_feed),
        rapids=float(run.seconds[~cut].sum()),
        dwells=dwells,
        bit_change=bit_change,
        snow_stops=snow_stops * snow_stop,
    )


def _arc_corners(path: Toolpath, points: Floats, axes: lookahead.AxisLimits) -> Floats:
    """Corner speeds by the arcs that round the corners; see `corner_speeds`."""
    return _each_corner(
        points,
        lambda corners, a, b: lookahead.arc_corner_speeds(points, path.line, axes, corners, a, b),
    )


def _each_corner(points: Floats, rule: Callable[[Floats, int, int], None]) -> Floats:
    """Run a rule over all points but the first and the last, where the bit rests."""
    corners = np.zeros(len(points))
    over_stripes(max(len(points) - 2, 0), lambda a, b: rule(corners, a + 1, b + 1))
    return corners


def _points(path: Toolpath) -> Floats:
    """Return the (n + 1, 3) points that the moves join."""
    return np.concatenate([path.start[None], path.ends])


def _axis_limits(machine: Machine) -> lookahead.AxisLimits:
    """Return what a kernel needs of the machine."""
    return lookahead.AxisLimits(
        speed=np.array(machine.speed, dtype=np.float64),
        acceleration=np.array(machine.acceleration, dtype=np.float64),
        block_rate=float(machine.block_rate),
        corner_tolerance=float(machine.corner_tolerance),
    )
