"""Limits against worked stages, beam theory and the published formulation of ice."""

import gsw  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.errors import BitError, JobError
from icecam.ice.constants import CARBIDE_STRENGTH, ICE_TENSION, SAFETY
from icecam.ice.cutting import specific_energy
from icecam.ice.limits import (
    chip_temperature,
    shank_force,
    side_force_a_mm,
    wall_force,
    wall_needed,
)

WORKED = [
    (12.7, 0.15, 12.7, 6.35, 7.8, 19.0),
    (12.7, 0.30, 12.7, 12.7, 11.8, 29.0),
    (6.35, 0.12, 6.35, 3.175, 3.4, 8.5),
    (3.175, 0.06, 3.175, 1.27, 1.1, 2.8),
    (1.5875, 0.03, 0.8, 0.24, 0.16, 0.41),
]
"""Diameter, chip load, depth, width (mm), force of a tooth best and high (N), to two figures:
worked by hand from handbook formulas of milling, two flutes, -10 degC, the assumed energy."""


@pytest.mark.parametrize(("diameter", "load", "depth", "width", "best", "high"), WORKED)
def test_worked_stages(
    diameter: float, load: float, depth: float, width: float, best: float, high: float
) -> None:
    force = side_force_a_mm(load, width, diameter, 2, -10.0)
    assert force.best * depth == pytest.approx(best, rel=0.04)
    assert force.high * depth == pytest.approx(high, rel=0.04)


def test_teeth_that_are_in_the_ice_together_add_up() -> None:
    two = side_force_a_mm(0.2, 10.0, 10.0, 2, -10.0).best
    assert side_force_a_mm(0.2, 10.0, 10.0, 4, -10.0).best == pytest.approx(2 * two)
    assert side_force_a_mm(0.2, 10.0, 10.0, 1, -10.0).best == pytest.approx(two)


@given(
    st.floats(0.02, 0.5), st.floats(0.1, 1.0), st.integers(1, 6), st.floats(-30.0, 0.0)
)  # fmt: skip
def test_more_chip_more_force(load: float, share: float, flutes: int, cold: float) -> None:
    one = side_force_a_mm(load, share * 6.0, 6.0, flutes, cold)
    more = side_force_a_mm(2 * load, share * 6.0, 6.0, flutes, cold)
    assert one.high < more.high <= 2 * one.high * (1 + 1e-12)


@pytest.mark.parametrize(("force", "thickness"), [(1.0, 4.1), (5.0, 9.3), (20.0, 18.5)])
def test_walls(force: float, thickness: float) -> None:
    """Plate held at its foot, 0.7 MPa over a factor of 2: worked by hand."""
    assert wall_force(thickness) == pytest.approx(force, rel=0.03)
    assert wall_needed(wall_force(thickness)) == pytest.approx(thickness)


def test_a_wall_by_its_stress() -> None:
    """Bending stress from the integral of y^2 over the section (beam theory), force at the top."""
    thickness, height = 14.0, 60.0
    y = (np.arange(200_000) + 0.5) / 200_000 * thickness - thickness / 2
    second_moment = height * float((y**2).mean()) * thickness
    stress = wall_force(thickness) * height * (thickness / 2) / second_moment
    assert stress == pytest.approx(ICE_TENSION.low / SAFETY.value, rel=1e-6)


def test_a_shank_by_its_stress() -> None:
    """Bending stress from the integral of y^2 over a disc (beam theory)."""
    diameter, arm = 6.0, 40.0
    y = (np.arange(200_000) + 0.5) / 200_000 * diameter - diameter / 2
    chord = 2 * np.sqrt(diameter**2 / 4 - y**2)
    second_moment = float((y**2 * chord).mean()) * diameter
    stress = shank_force(arm, diameter) * arm * (diameter / 2) / second_moment
    assert stress == pytest.approx(CARBIDE_STRENGTH.low / SAFETY.value, rel=1e-5)


@pytest.mark.parametrize("temperature", [-28.0, -20.0, -12.5, -10.0, -5.0, -2.0])
@pytest.mark.parametrize("chip", [0.01, 0.03, 0.1, 0.3])
def test_chips_warm_by_the_work_put_in(temperature: float, chip: float) -> None:
    """Enthalpy of ice by TEOS-10 (gsw): work over density is what the chip gains."""
    warm = chip_temperature(chip, temperature)
    energy = specific_energy(chip, temperature)
    room = gsw.enthalpy_ice(0.0, 0.0) - gsw.enthalpy_ice(temperature, 0.0)
    for end, u in ((warm.low, energy.low), (warm.best, energy.best), (warm.high, energy.high)):
        gained = gsw.enthalpy_ice(end, 0.0) - gsw.enthalpy_ice(temperature, 0.0)
        given_ = u * 1e6 / gsw.rho_ice(temperature, 0.0)
        assert gained == pytest.approx(min(given_, room), abs=2.0)


@pytest.mark.parametrize(
    ("temperature", "melts"), [(-2.0, 3.84), (-5.0, 9.54), (-10.0, 18.9), (-20.0, 37.2)]
)
def test_energy_at_which_chips_melt(temperature: float, melts: float) -> None:
    """Heat to the melting point a volume, MJ/m3, tabled from IAPWS R10-06(2009)."""
    ratio = melts / specific_energy(0.1, temperature).best
    thin, thick = 0.1 * (ratio * 1.02) ** -2.5, 0.1 * (ratio * 0.98) ** -2.5
    if thin >= 0.01:
        assert chip_temperature(thin, temperature).best == 0.0
    assert chip_temperature(thick, temperature).best < 0.0


def test_refusals() -> None:
    with pytest.raises(JobError, match="-31"):
        chip_temperature(0.1, -31.0)
    with pytest.raises(BitError, match="stepover"):
        side_force_a_mm(0.1, 7.0, 6.0, 2, -10.0)
