"""Load of spindle and bit against worked stages, carved slots and figures worked by hand.

Sources: forms of milling as in handbooks (power is specific energy times removal rate, torque is
power over angular speed, chips by the engaged arc); sections of slots from the geometry of circles;
the law of specific energy is assumed, see the README.
"""

from math import pi
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.estimate.load import (
    Load,
    Setting,
    idle_loss_w,
    percentile_by_time,
    spindle_power_w,
    stage_load,
)
from icecam.estimate.stretches import Taken
from icecam.ice.cutting import engagement_angle
from icecam.job.records import Bit, Spindle
from icecam.paths.toolpath import CUT, Toolpath
from tests.geometry.bits import BITS, make_bit
from tests.ice.printed import as_printed, table
from tests.prove.moves import block, cut, path_of, visits

Floats = NDArray[np.float64]

WORKED = table("ice_cutting.toml")["stage"]
RPM = 18000.0
TEETH_A_SECOND = RPM * 2 / 60
CELL = 0.25
SPINDLE = Spindle(
    least_rpm=6000.0,
    most_rpm=24000.0,
    power=((6000.0, 500.0), (18000.0, 2000.0), (24000.0, 1000.0)),
    start=5.0,
    body=80.0,
)


def load_of(
    path: Toolpath,
    seconds: Floats,
    removed: Floats,
    depth: Floats,
    bit: Bit,
    *,
    cell: float = CELL,
    rpm: float = RPM,
    chip: float = 1.0,
) -> Load:
    taken = Taken(removed, depth, np.full(len(depth), chip), cell)
    return stage_load(path, seconds, taken, Setting(bit, SPINDLE, rpm, -10.0))


def carved_load(bit: Bit, points: list[tuple[float, float, float]], feed: float) -> Load:
    """A block 60 x 40, 30 high, carved in cells of 0.1 mm at a steady feed, plunges included."""
    path = path_of(points, feed=feed)
    found = cut(block(60.0, 40.0, 30.0, 0.1), bit, points)
    taken = Taken(found.removed, found.depth, found.chip, 0.1)
    return stage_load(path, path.lengths / feed, taken, Setting(bit, SPINDLE, RPM, -10.0))


def energy_mpa(chip: float) -> float:
    """The assumed law at -10 degC, as the README states it."""
    return float(4.0 * (chip / 0.1) ** -0.4)


@pytest.mark.parametrize("stage", WORKED, ids=lambda row: f"{row['diameter']} mm")
def test_stage_as_worked(stage: dict[str, Any]) -> None:
    """A level move of 200 mm with depth, stepover and feed of the worked stages."""
    feed = TEETH_A_SECOND * stage["chip_load"]
    reach = stage["reach"]
    bit = make_bit("flat", stage["diameter"], flute=reach, stick_out=reach)
    found = load_of(
        path_of([(0, 0, 0), (200, 0, 0)]),
        np.array([200 / feed]),
        np.array([200 * stage["depth"] * stage["stepover"]]),
        np.array([stage["depth"]]),
        bit,
    )
    assert found.removal_mean * 60 / 1000 == as_printed(stage["removal"])
    assert found.series.width[0] == pytest.approx(stage["stepover"])
    assert found.chip_mean == as_printed(stage["mean_chip"])
    for band in (found.mean, found.p95, found.peak):
        assert band.best == as_printed(stage["power"])
        assert band.high == as_printed(stage["power_high"])
    assert found.side_force.best == as_printed(stage["force"])
    assert found.side_force.high == as_printed(stage["force_high"])
    assert 1000 * found.deflection.best == as_printed(stage["deflection"])
    assert 1000 * found.deflection.high == as_printed(stage["deflection_high"])


def test_torque_and_share_of_the_spindle_by_hand() -> None:
    """The worked slot, 90 W: T [N m] = 9549.297 P [kW] / n; of 2000 W that is 4.5 %."""
    stage = WORKED[1]
    feed = TEETH_A_SECOND * 0.30
    removed = np.array([200 * 12.7 * 12.7])
    path, seconds, depth = path_of([(0, 0, 0), (200, 0, 0)]), np.array([200 / feed]), [12.7]
    found = load_of(path, seconds, removed, np.array(depth), make_bit("flat", stage["diameter"]))
    watts = found.peak.best
    assert found.torque.best == pytest.approx(9549.297e3 * watts / 1000 / RPM, rel=1e-6)
    assert found.percent.best == pytest.approx(watts / 20)
    assert found.percent.high == pytest.approx(2.5 * found.percent.best)


def test_power_curve_by_hand() -> None:
    """Straight lines between (6000, 500), (18000, 2000), (24000, 1000), level outside."""
    asked = (3000, 6000, 10000, 18000, 21000, 24000, 30000)
    gives = [spindle_power_w(SPINDLE, rpm) for rpm in asked]
    assert gives == pytest.approx([500, 500, 1000, 2000, 1500, 1000, 1000])
    path, one = path_of([(0, 0, 0), (100, 0, 0)]), np.ones(1)
    slow = load_of(path, one, 600 * one, one, BITS["flat"], rpm=10000.0)
    assert slow.percent.best == pytest.approx(100 * slow.peak.best / 1000)


def test_idle_loss_stands_apart() -> None:
    """Assumed: 100 to 300 W for a spindle of 2 kW."""
    idle = idle_loss_w(SPINDLE)
    assert (idle.low, idle.best, idle.high) == pytest.approx((100.0, 200.0, 300.0))
    path, none = path_of([(0, 0, 0), (100, 0, 0)]), np.zeros(1)
    found = load_of(path, np.ones(1), none, none, BITS["flat"])
    assert found.idle.best == pytest.approx(200.0)
    assert found.mean.high == 0.0


@pytest.mark.parametrize(
    ("name", "depth", "section", "most", "mean"),
    [
        ("ball", 0.5, 1.12539, 0.552771, 0.284567),
        ("ball", 1.0, 3.09748, 0.745356, 0.396321),
        ("ball", 2.0, 8.25021, 0.942809, 0.541583),
        ("ball", 3.0, 14.13717, 1.0, 0.636620),
        ("rounded corner", 2.0, 11.570796, 1.0, 1.0),
        ("flat", 2.0, 12.0, 1.0, 1.0),
    ],
)
def test_carved_slot(name: str, depth: float, section: float, most: float, mean: float) -> None:
    """Sections of slots (r 3, corner 1) times the feed; all of the bit is in the ice.

    A ball 1 mm deep at 3000 mm/min takes 9292.4 mm3/min. The chip of a flat bit is 2 / pi of the
    chip load in the mean, and all of it at its thickest. A ball's edge in the ice is an arc b with
    cos b = 1 - depth / 3: its thickest chip has sin b of that, its mean depth / (3 b).
    """
    feed, z = 50.0, 30.0 - depth
    points = [(float(x), 0.013, z) for x in np.arange(-40.0, 20.0, 0.4)]
    found = carved_load(BITS[name], points, feed)
    assert found.removal_p95 == pytest.approx(section * feed, rel=0.01)
    assert found.removal_peak == pytest.approx(section * feed, rel=0.04)
    load = feed / TEETH_A_SECOND
    assert found.chip_largest == pytest.approx(most * load, rel=0.01)
    assert found.chip_mean == pytest.approx(2 / pi * mean * load, rel=0.01)
    assert found.p95.best == pytest.approx(
        energy_mpa(2 / pi * mean * load) * section * feed / 1000, rel=0.01
    )


@pytest.mark.parametrize(("share", "angle"), [(1.0, pi), (0.5, pi / 2), (0.25, pi / 3)])
def test_engagement_of_full_half_and_quarter_width(share: float, angle: float) -> None:
    """A wall is milled off by 6, 3 and 1.5 mm of a flat 6: cos(angle) = 1 - 2 share."""
    bit, aside = BITS["flat"], 6.0 * share
    points = [(-50.0, 0.05, 28.0), (50.0, 0.05, 28.0), (50.0, 0.05 + aside, 28.0)]
    found = carved_load(bit, [*points, (-50.0, 0.05 + aside, 28.0)], 50.0)
    width = found.series.width[-1]
    # 60 mm of a way of 100 lie in ice; a long move knows only its mean.
    assert width / 0.6 == pytest.approx(aside, rel=0.01)
    assert engagement_angle(width / 0.6 - 1e-9, 6.0) == pytest.approx(angle, rel=0.02)


@pytest.mark.parametrize("share", [1.0, 0.5, 0.25])
@pytest.mark.parametrize("name", ["flat", "ball", "rounded corner", "tapered ball"])
def test_chips_are_those_of_the_share_of_the_slot(name: str, share: float) -> None:
    """By hand: chips of 2 / pi and 1, 2 / pi and 1, 0.47746 and 0.8660 of the chip load.

    Of these balls (3 and 0.8 mm, 0.5 deep) have 0.284567 and 0.526804 in the mean, their thickest
    being 0.552771 and 0.927025 as measured; see `test_carved_slot`.
    """
    bit, feed, depth = BITS[name], 48.0, 0.5
    whole = {"flat": 3.0, "ball": 1.12539, "rounded corner": 6 * 0.5 - 2 * 0.192824}
    # Rounded corner: the segment (acos(0.5) - 0.5 sqrt(0.75)) / 2 = 0.307092 of 1 x 0.5 is kept.
    # Ball of radius 0.8: 0.64 acos(0.375) - 0.3 sqrt(0.55).
    section = whole.get(name, 0.64 * np.arccos(0.375) - 0.3 * np.sqrt(0.55))
    path = path_of([(0, 0, 0), (100, 0, 0)])
    removed = np.array([100 * share * section])
    mean, largest = {1.0: (2 / pi, 1.0), 0.5: (2 / pi, 1.0), 0.25: (0.477465, 0.866025)}[share]
    tips = {"ball": (0.284567, 0.552771), "tapered ball": (0.526804, 0.927025)}
    rounded, chip = tips.get(name, (1.0, largest))
    found = load_of(path, np.array([100 / feed]), removed, np.array([depth]), bit, chip=chip)
    load = feed / TEETH_A_SECOND
    assert found.chip_mean == pytest.approx(mean * rounded * load, rel=1e-4)
    assert found.chip_largest == pytest.approx(chip * load, rel=1e-4)


def test_chips_follow_the_feed_that_is_reached() -> None:
    """By hand: programmed 50 mm/s, but 100 mm take 10 s instead of 2: a fifth of the chip."""
    path = path_of([(0, 0, 0), (100, 0, 0)], feed=50.0)
    found = load_of(path, np.array([10.0]), np.array([600.0]), np.ones(1), BITS["flat"])
    assert found.chip_largest == pytest.approx(10.0 / TEETH_A_SECOND)
    assert found.removal_mean == pytest.approx(60.0)


def test_a_plunge_cuts_chips_as_thick_as_its_chip_load() -> None:
    """By hand: a flat 6 goes 4 mm down in 2 s: 2 mm/s over 600 teeth a second; 9 pi 2 mm3/s."""
    path = path_of([(0, 0, 4), (0, 0, 0)])
    found = load_of(path, np.array([2.0]), np.array([36 * pi]), np.array([4.0]), BITS["flat"])
    chip = 2.0 / 600
    assert found.chip_mean == found.chip_largest == pytest.approx(chip)
    assert found.removal_peak == pytest.approx(18 * pi)
    # Thinner than 0.01 mm the energy no longer rises.
    assert found.peak.best == pytest.approx(energy_mpa(0.01) * 18 * pi / 1000)
    assert found.side_force.best == pytest.approx(energy_mpa(0.01) * 3.0 * chip)


def test_energy_of_plunges_is_specific_energy_times_volume() -> None:
    """Chips of plunges are all as thick, so energy is u times what is missing afterwards.

    12 mm/s down over 600 teeth a second: 0.02 mm, 7.6146 MPa by the assumed law.
    """
    rng = np.random.default_rng(5)
    places = rng.uniform([-25, -15, 12], [25, 15, 29], (40, 3))
    points, cuts = visits(places, 32.0)
    path = path_of(points, cuts)
    ice = block(60.0, 40.0, 30.0, 0.2)
    found = cut(ice, BITS["ball"], points, cuts)
    missing = float((ice.heights - found.ice.heights).sum()) * 0.04
    load = load_of(path, path.lengths / 12.0, found.removed, found.depth, BITS["ball"], cell=0.2)
    energy = 4.0 * 5**0.4
    assert missing > 3000.0
    assert load.series.energy_j.best == pytest.approx(energy * missing / 1000, rel=1e-9)
    assert load.series.energy_j.high == pytest.approx(2.5 * energy * missing / 1000, rel=1e-9)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.integers(0, 10_000), st.sampled_from(sorted(BITS)))
def test_any_stage(seed: int, name: str) -> None:
    """Energy is bounded by the law at the thinnest and the thickest chip; the peak is the most."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 40))
    points = np.cumsum(
        rng.normal(0, 2, (count + 1, 3)) * rng.integers(0, 2, (count + 1, 1)), axis=0
    )
    path = path_of(points, (rng.uniform(size=count) < 0.8).tolist())
    seconds = np.maximum(path.lengths / rng.uniform(1, 90, count), 1e-3)
    cutting = path.kind == CUT
    depth = rng.uniform(0, 5, count) * rng.integers(0, 2, count) * cutting
    removed = depth * path.lengths * rng.uniform(0, 6, count)
    found = load_of(path, seconds, removed, depth, BITS[name])
    joules, most = found.series.energy_j, float((path.lengths / seconds).max() / TEETH_A_SECOND)
    volume = removed.sum() / 1000
    assert joules.best <= energy_mpa(0.01) * volume * (1 + 1e-9)
    assert joules.best >= energy_mpa(max(most, 0.01)) * volume * (1 - 1e-9)
    assert found.mean.best <= found.peak.best * (1 + 1e-12)
    assert found.p95.best <= found.peak.best
    assert found.chip_mean <= found.chip_largest <= most * (1 + 1e-9)
    assert (found.peak_at is None) == (not removed.any())


def test_peak_names_place_and_line() -> None:
    """By hand: the second move takes most in a second, the third most of all but slowly."""
    path = path_of([(0, 0, 5), (20, 0, 5), (20, 30, 5), (90, 30, 5)])
    removed, seconds = np.array([100.0, 300.0, 500.0]), np.array([1.0, 1.0, 5.0])
    found = load_of(path, seconds, removed, np.ones(3), BITS["flat"])
    assert found.peak_at == (20.0, 30.0, 5.0)
    assert found.peak_line == 2
    assert found.removal_peak == pytest.approx(300.0)
    assert found.removal_mean == pytest.approx(900.0 / 7)


def test_short_moves_do_not_make_a_peak() -> None:
    """0.3 mm between rapids, in cells of 0.25, takes 5 mm3: chance. The long move counts."""
    points = [(0, 0, 0), (50, 0, 0), (60, 0, 0), (60.3, 0, 0), (70, 0, 0)]
    path = path_of(points, [True, False, True, False])
    seconds, removed = np.array([1.0, 0.1, 0.01, 0.1]), np.array([100.0, 0.0, 5.0, 0.0])
    depth = np.array([1.0, 0.0, 1.0, 0.0])
    found = load_of(path, seconds, removed, depth, BITS["flat"])
    assert found.removal_peak == pytest.approx(100.0)
    assert found.chip_largest <= 50.0 / TEETH_A_SECOND
    # Its energy counts all the same.
    assert found.series.energy_j.best > found.mean.best * 1.0


def test_a_stage_of_nothing_but_short_moves_still_has_a_peak() -> None:
    path = path_of([(0, 0, 0), (0.3, 0, 0)])
    found = load_of(path, np.array([0.01]), np.array([1.0]), np.ones(1), BITS["flat"])
    assert found.removal_peak == pytest.approx(100.0)
    assert found.peak_line == 1


def test_grazing_moves_do_not_count_among_chips() -> None:
    """5 um deep is less than the radius of an edge, from memory 10 um: it rubs."""
    path = path_of([(0, 0, 0), (50, 0, 0), (100, 0, 0)])
    depth, removed = np.array([1.0, 0.005]), np.array([300.0, 1.5])
    found = load_of(path, np.array([2.0, 0.5]), removed, depth, BITS["flat"])
    assert found.chip_largest == pytest.approx(25.0 / TEETH_A_SECOND)
    assert found.removal_mean == pytest.approx(301.5 / 2.5)


def test_nothing_taken() -> None:
    """Back over what was cut leaves rounding of 1e-15 mm, which is no ice."""
    path = path_of([(0, 0, 0), (50, 0, 0)])
    found = load_of(path, np.ones(1), np.array([1e-14]), np.array([1e-15]), BITS["ball"])
    assert found.mean.high == found.peak.high == found.chip_mean == found.removal_p95 == 0.0
    assert found.peak_at is None
    assert found.peak_line is None


@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    st.lists(st.tuples(st.floats(0, 100), st.integers(1, 20)), min_size=1, max_size=30),
    st.sampled_from([0.25, 0.5, 0.75]),
)
def test_percentile_by_time(pairs: list[tuple[float, int]], share: float) -> None:
    """Numpy's percentile of the values, each repeated for every second it lasts."""
    values = np.array([value for value, _ in pairs])
    seconds = np.array([count for _, count in pairs])
    each = np.repeat(values, seconds)
    assert percentile_by_time(values, seconds.astype(float), share) == np.quantile(
        each, share, method="inverted_cdf"
    )


def test_arrays_that_do_not_fit_the_path() -> None:
    path, one, two = path_of([(0, 0, 0), (50, 0, 0)]), np.ones(1), np.ones(2)
    for arrays, name in (((two, one, one), "seconds"), ((one, two, one), "removed")):
        with pytest.raises(ValueError, match=f"{name} has shape"):
            load_of(path, *arrays, BITS["flat"])
    with pytest.raises(ValueError, match="depth has shape"):
        load_of(path, one, one, two, BITS["flat"])
    setting = Setting(BITS["flat"], SPINDLE, RPM, -10.0)
    with pytest.raises(ValueError, match="chip has shape"):
        stage_load(path, one, Taken(one, one, two, CELL), setting)
