"""Answers for the default job against worked figures of other sources.

The equations themselves are held to published values in tests/ice.
"""

from dataclasses import replace

import pytest

from icecam.estimate.keeping import (
    block_caution,
    display,
    film,
    keeping,
    piece_caution,
    room_heat,
    sublimation,
    tempering_hours,
)
from icecam.ice.keeping_constants import FREEZER_FILM
from icecam.job.file import load
from icecam.job.records import AirSpeed
from tests.ice.slab_by_steps import middle_share_by_steps

JOB = load(None)


def test_a_full_block_needs_a_hoist() -> None:
    """1016 x 508 x 254 mm at 918.17 kg/m3 (IAPWS at -10 C): 120.4 kg = 265 lb; NIOSH: 23 kg."""
    caution = block_caution(JOB, 0.0)
    assert caution.mass_kg == pytest.approx(1.016 * 0.508 * 0.254 * 918.17, rel=1e-4)
    assert caution.hoist
    assert caution.lifting_index > 120.4 / 23.0


def test_a_small_piece_is_for_one() -> None:
    caution = piece_caution(JOB, 3e6)
    assert caution.mass_kg == pytest.approx(2.7545, rel=1e-4)
    assert caution.people == 1


@pytest.mark.parametrize(("speed", "mm"), [("still", 0.13), ("light fan", 0.33), ("blower", 0.65)])
def test_sublimation_follows_the_air(speed: AirSpeed, mm: float) -> None:
    """Film 4, 10, 20 W/m2/K, humidity 0.8, -10 C, worked from Chilton and Colburn by hand:

    j = h / (rho c Le^(2/3)) x 0.2 x 259.9 Pa / (461.5 x 263.15), rho c = 1.342 x 1005, a day.
    """
    found = sublimation(replace(JOB.freezer, air_speed=speed))
    assert found.best == pytest.approx(mm, abs=0.006)
    assert found.low == pytest.approx(found.best / 2)
    assert found.high == pytest.approx(found.best * 2)
    assert film(FREEZER_FILM, speed).best == {"still": 4, "light fan": 10, "blower": 20}[speed]


def test_tempering_against_small_steps() -> None:
    """By finite differences 1 K of the first 10 is left in the middle of the 254 mm slab then.

    k, cp, rho at -15 C: 2.26 W/m/K, 1986 J/kg/K, 919 kg/m3 (Yen 1981; IAPWS); film 10 W/m2/K.
    """
    seconds = tempering_hours(JOB).best * 3600.0
    fourier = 2.26 / (1986.0 * 919.0) * seconds / 0.127**2
    assert middle_share_by_steps(fourier, 10.0 * 0.127 / 2.26) == pytest.approx(0.1, abs=2e-3)


def test_heat_by_hand() -> None:
    """By hand: 700 W of router and lights and 200 W of a person for 10 h are 32.4 MJ.

    120.4 kg from -20 to -10 C: heats to 0 C of 40.47 and 20.60 kJ/kg (IAPWS) differ by 2.39 MJ.
    """
    heat = room_heat(JOB, 36000.0, 0.0)
    assert heat.carving.best == pytest.approx(32.4)
    assert heat.block == pytest.approx(-120.4 * (40.47 - 20.60) / 1000.0, rel=1e-3)


def test_display_as_worked() -> None:
    """Worked apart from this project: 2.5 mm/h at 20 C still, a 12 mm wall 2.4 h; so 0.4 h a mm."""
    shown = display(JOB, 1000.0)
    assert shown.loss_mm_h.best == pytest.approx(2.5, rel=0.06)
    assert shown.wall_hours.best == pytest.approx(2.4, rel=0.06)
    assert shown.detail_hours.best == pytest.approx(0.4, rel=0.06)


def test_all_together_and_an_open_mesh() -> None:
    """No outside source: the record holds the answers above, and no piece without a volume."""
    told = keeping(JOB, volume=3e6, height=1000.0, seconds=36000.0)
    assert told.piece_lift is not None
    assert told.piece_lift.people == 1
    assert told.display.wall_hours.best == display(JOB, 1000.0).wall_hours.best
    assert keeping(JOB, volume=None, height=300.0, seconds=0.0).piece_lift is None
