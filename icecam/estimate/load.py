"""What spindle and bit feel: from the ice that each move of a stage really takes.

Figures are those of stretches, see `icecam.estimate.stretches`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from icecam.estimate.stretches import ROUNDING_MM, STRETCH_CELLS, Stretches, Taken, join
from icecam.geometry.profile import cutting_end, slot_section
from icecam.ice.band import Band
from icecam.ice.constants import EDGE_RADIUS, IDLE_SHARE
from icecam.ice.cutting import (
    USUAL_ENERGY,
    cutting_power_w,
    engagement_angle,
    largest_chip,
    mean_chip,
    specific_energy,
    spindle_torque,
    tooth_force,
)
from icecam.job.records import Bit, Spindle
from icecam.kernels.profile import Profile
from icecam.paths.bending import tip_compliance
from icecam.paths.toolpath import Toolpath
from icecam.units import S_PER_MIN

Floats = NDArray[np.float64]
Place = tuple[float, float, float]


class Setting(NamedTuple):
    """What turns in what: rpm, degC, and the ice's specific energy at the reference point, MPa."""

    bit: Bit
    spindle: Spindle
    spindle_rpm: float
    temperature: float
    energy: Band[float] = USUAL_ENERGY


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """What each stretch asks of bit and spindle; arrays (m,), 0 where nothing is taken.

    counts : stretches long enough for their figures to mean something
    removal_rate : mm3/s
    width : mm, mean width of the cut over its depth
    chip_mean, chip_largest : mm, thickness of the chip by the feed really reached
    power : W at the edge
    side_force : N on the bit
    torque : N mm; percent : of what the spindle gives at its speed; deflection : mm, of the tip
    """

    stretches: Stretches
    counts: NDArray[np.bool_]
    removal_rate: Floats
    width: Floats
    chip_mean: Floats
    chip_largest: Floats
    power: Band[Floats]
    side_force: Band[Floats]
    torque: Band[Floats]
    percent: Band[Floats]
    deflection: Band[Floats]

    @property
    def telling(self) -> NDArray[np.bool_]:
        """Stretches (m,) whose figures are told: those that count, or all that take if none do."""
        return self.counts if self.counts.any() else self.stretches.took

    @property
    def energy_j(self) -> Band[float]:
        """Energy of all cutting, J."""
        seconds = self.stretches.seconds
        return _band(self.power, lambda power: float((power * seconds).sum()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Load:
    """A stage in few numbers, all of stretches that take ice.

    mean, p95, peak : W of cutting, the 95th percentile by time
    peak_at : mm, end of the move of the stretch at the peak that takes most ice; None if none does
    peak_line : line of the file it stands in
    removal_mean, removal_p95, removal_peak : mm3/s
    chip_mean, chip_largest : mm, the mean by time and the thickest
    percent, torque, side_force, deflection : largest of `Series`
    idle : W that the spindle takes without cutting, not part of the others
    """

    mean: Band[float]
    p95: Band[float]
    peak: Band[float]
    peak_at: Place | None
    peak_line: int | None
    removal_mean: float
    removal_p95: float
    removal_peak: float
    chip_mean: float
    chip_largest: float
    percent: Band[float]
    torque: Band[float]
    side_force: Band[float]
    deflection: Band[float]
    idle: Band[float]
    series: Series


def stage_load(path: Toolpath, seconds: Floats, taken: Taken, setting: Setting) -> Load:
    """Work out what a stage asks of spindle and bit.

    Parameters
    ----------
    path : n moves
    seconds : (n,) s, time of each move as the machine really runs it
    taken : what each move takes of the block
    setting : bit, spindle and ice

    Raises
    ------
    ValueError : arrays that do not fit the path
    JobError : a temperature out of range, or a spindle that does not turn

    Notes
    -----
    Figures of `Load` are those of stretches of at least half of `STRETCH_CELLS`; if there is none,
    of all that take ice. Chip thickness also leaves out what is cut less deep than the radius of
    an edge, which rubs.
    """
    arrays = {
        "seconds": seconds,
        "removed": taken.removed,
        "depth": taken.depth,
        "chip": taken.chip,
    }
    for name, array in arrays.items():
        if array.shape != (len(path),):
            raise ValueError(f"{name} has shape {array.shape} for a path of {len(path)} moves")
    series = series_of(join(path, seconds, taken), setting, STRETCH_CELLS / 2 * taken.cell)
    return _in_few_numbers(series, path, taken.removed, setting)


def spindle_power_w(spindle: Spindle, spindle_rpm: float) -> float:
    """Return what a spindle gives at a speed (W): straight lines between the pairs, level outside.

    >>> spindle_power_w(Spindle(least_rpm=6000, most_rpm=24000, power=((6000, 500), (18000, 1500)),
    ...                         start=5, body=80), 12000)
    1000.0
    """
    rpm, watts = zip(*spindle.power, strict=True)
    return float(np.interp(spindle_rpm, rpm, watts))


def idle_loss_w(spindle: Spindle) -> Band[float]:
    """Return what a spindle takes without cutting (W): a share of the most it gives; assumed."""
    most = max(watts for _, watts in spindle.power)
    return IDLE_SHARE.band().each(lambda share: share * most)


def series_of(stretches: Stretches, setting: Setting, shortest: float) -> Series:
    """Work out power, chip, torque, forces and bending of each stretch.

    Parameters
    ----------
    stretches : what was taken where
    setting : bit, spindle and ice
    shortest : mm, a stretch must be as long for its figures to count

    Notes
    -----
    The section of the cut is what was taken over the way seen from above, and its share of the
    section of a slot as deep (`slot_section`) is the share of the bit's width that is in the ice:
    all of it in a slot by any bit. The mean chip follows by `mean_chip` from the chip load that
    length over seconds gives, less on a rounded tip; the thickest is measured. A bit that goes
    straight down is in the ice with all of its width and cuts chips as thick as its chip load.

    Power is specific energy times removal rate. The side force is that on the teeth that are in the
    ice together, straight ones, so it is on the safe side; a bit going down counts as one tooth
    that cuts alone over half its width.
    """
    took, upright = stretches.took, stretches.upright
    full = slot_section(cutting_end(setting.bit), stretches.depth)
    share = _share_of_slot(stretches, full)
    feed = _over(stretches.length, stretches.seconds)
    load = np.where(took, feed * S_PER_MIN / setting.spindle_rpm / setting.bit.flutes, 0.0)
    mean = mean_chip(1.0, share, 1.0) * _rounded(cutting_end(setting.bit), stretches.chip)
    chip = load * np.where(upright, 1.0, mean)
    advance = load * np.where(upright, 1.0, largest_chip(1.0, share, 1.0))
    rate = np.where(took, _over(stretches.removed, stretches.seconds), 0.0)
    width = np.where(took, share * _over(full, stretches.depth), 0.0)
    power = cutting_power_w(rate, chip, setting.temperature, setting.energy)
    energy = specific_energy(chip, setting.temperature, setting.energy)
    edge = np.where(upright, width / 2, stretches.depth)
    turn = setting.bit.flutes * engagement_angle(share, 1.0) / (2 * pi)
    teeth = np.where(upright, 1.0, np.maximum(turn, 1.0))
    force = energy.each(lambda each: teeth * tooth_force(each, edge, advance))
    gives = spindle_power_w(setting.spindle, setting.spindle_rpm)
    torque, bend = spindle_torque(1.0, setting.spindle_rpm), tip_compliance(setting.bit)
    return Series(
        stretches=stretches,
        counts=took & (stretches.length >= shortest),
        removal_rate=rate,
        width=width,
        chip_mean=chip,
        chip_largest=np.where(took, load * stretches.chip, 0.0),
        power=power,
        side_force=force,
        torque=power.each(lambda each: each * torque),
        percent=power.each(lambda each: 100 * each / gives),
        deflection=force.each(lambda each: each * bend),
    )


def _share_of_slot(stretches: Stretches, full: Floats) -> Floats:
    """Share of a slot's section that is taken, above 0 and at most 1; 1 where it says nothing."""
    shares = _over(stretches.removed, stretches.plan * full)
    known = stretches.took & ~stretches.upright
    return np.where(known, np.clip(shares, ROUNDING_MM, 1.0), 1.0)


def _rounded(profile: Profile, chip: Floats) -> Floats:
    """Mean of the chip over the edge of a ball's tip, over the chip of an upright edge; else 1.

    The edge in the ice is an arc from where it cuts nothing to where it cuts the thickest chip.
    """
    if profile.flat > 0 or profile.corner == 0:
        return np.ones(len(chip))
    angle = np.arcsin(np.clip(chip, ROUNDING_MM, 1.0))
    mean: Floats = (1 - np.cos(angle)) / angle
    return mean


def _over(above: Floats, below: Floats) -> Floats:
    """Quotient; 0 where nothing stands below."""
    return np.divide(above, below, out=np.zeros(len(above)), where=below > 0)


def _in_few_numbers(series: Series, path: Toolpath, removed: Floats, setting: Setting) -> Load:
    """Mean, 95th percentile and peak of the stretches that count."""
    stretches = series.stretches
    which = series.telling
    seconds, rate = stretches.seconds[which], series.removal_rate[which]
    cuts = which & (stretches.depth >= EDGE_RADIUS.value)
    at, line = _peak_place(series, which, path, removed)

    def largest(band: Band[Floats]) -> Band[float]:
        return _band(band, lambda figure: _largest(figure[which]))

    return Load(
        mean=_band(series.power, lambda power: _mean(power[which], seconds)),
        p95=_band(series.power, lambda power: percentile_by_time(power[which], seconds, 0.95)),
        peak=largest(series.power),
        peak_at=at,
        peak_line=line,
        removal_mean=_mean(rate, seconds),
        removal_p95=percentile_by_time(rate, seconds, 0.95),
        removal_peak=_largest(rate),
        chip_mean=_mean(series.chip_mean[cuts], stretches.seconds[cuts]),
        chip_largest=_largest(series.chip_largest[cuts]),
        percent=largest(series.percent),
        torque=largest(series.torque),
        side_force=largest(series.side_force),
        deflection=largest(series.deflection),
        idle=idle_loss_w(setting.spindle),
        series=series,
    )


def _peak_place(
    series: Series, which: NDArray[np.bool_], path: Toolpath, removed: Floats
) -> tuple[Place | None, int | None]:
    """End and line of the move that takes most ice in the stretch of greatest power."""
    if not which.any():
        return None, None
    peak = int(np.argmax(np.where(which, series.power.best, -1.0)))
    first, last = int(series.stretches.first[peak]), int(series.stretches.last[peak])
    move = first + int(np.argmax(removed[first:last]))
    x, y, z = path.ends[move].tolist()
    return (x, y, z), int(path.line[move])


def percentile_by_time(values: Floats, seconds: Floats, share: float) -> float:
    """Return the least of the values that is not exceeded for `share` of the time; 0 for none."""
    if len(values) == 0:
        return 0.0
    order = np.argsort(values, kind="stable")
    behind = np.cumsum(seconds[order])
    nth = int(np.searchsorted(behind, share * behind[-1]))
    return float(values[order[min(nth, len(order) - 1)]])


def _mean(values: Floats, seconds: Floats) -> float:
    """Mean by time; 0 for none."""
    return float((values * seconds).sum() / seconds.sum()) if len(values) else 0.0


def _largest(values: Floats) -> float:
    return float(values.max(initial=0.0))


def _band(band: Band[Floats], change: Callable[[Floats], float]) -> Band[float]:
    """Return the band of one number that rises with the arrays."""
    return Band(low=change(band.low), best=change(band.best), high=change(band.high))
