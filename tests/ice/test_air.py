"""Air against the standard atmosphere, steam tables, a heat transfer library and a psychrometer."""

from collections.abc import Callable
from typing import Any

import ht
import numpy as np
import pytest
from fluids import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS95  # type: ignore[import-untyped]
from iapws.iapws97 import _PSat_T  # type: ignore[import-untyped]
from scipy import constants

from icecam.errors import JobError
from icecam.ice.air import (
    air_conductivity_w_m_k,
    air_density_kg_m3,
    air_viscosity_pa_s,
    free_convection_w_m2_k,
    plate_nusselt,
    saturation_pressure_pa,
    vapour_flux_kg_m2_s,
)
from icecam.ice.keeping_constants import AIR_PRESSURE, GRAVITY, RADIATION, VAPOUR_GAS
from tests.ice.printed import as_printed

SPAN = np.linspace(-40.0, 50.0, 19)


def test_constants_of_physics() -> None:
    assert RADIATION.value == pytest.approx(constants.Stefan_Boltzmann, rel=1e-7)
    assert GRAVITY.value == constants.g
    assert AIR_PRESSURE.value == constants.atm
    assert VAPOUR_GAS.value == pytest.approx(constants.R / 0.018015268, rel=2e-5)
    assert pytest.approx(IAPWS95._constants["R"] / 18.015268 * 1000) == VAPOUR_GAS.value


def test_air_as_printed_in_the_standard_atmosphere() -> None:
    # U.S. Standard Atmosphere 1976, sea level: that the library gives it makes it a fair witness.
    sea = ATMOSPHERE_1976(0)
    assert sea.rho == as_printed("1.2250")
    assert sea.mu * 1e5 == as_printed("1.7894")
    assert sea.k * 1e2 == as_printed("2.5326")


@pytest.mark.parametrize("degc", SPAN)
def test_air_against_the_library(degc: float) -> None:
    kelvin = degc + 273.15
    density = ATMOSPHERE_1976.density(kelvin, 101325.0)
    assert air_density_kg_m3(degc) == pytest.approx(density, rel=1e-5)
    assert air_viscosity_pa_s(degc) == pytest.approx(ATMOSPHERE_1976.viscosity(kelvin), rel=1e-6)
    wanted = ATMOSPHERE_1976.thermal_conductivity(kelvin)
    assert air_conductivity_w_m_k(degc) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("degc", np.linspace(0.0, 50.0, 11))
def test_vapour_pressure_against_steam_tables(degc: float) -> None:
    # IAPWS-IF97 prints 3.53658941 kPa at 300 K for its region 4.
    assert _PSat_T(300.0) * 1000 == as_printed("3.53658941")
    wanted = _PSat_T(degc + 273.15) * 1e6
    assert saturation_pressure_pa(degc) == pytest.approx(wanted, rel=0.004)


@given(exponent=st.floats(0, 12), prandtl=st.floats(0.5, 10))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_plate_against_the_library(exponent: float, prandtl: float) -> None:
    # Incropera, example 9.2, prints 147: the library says that it matches.
    assert ht.Nu_vertical_plate_Churchill(0.69, 2.63e9) == as_printed("147")
    rayleigh = 10.0**exponent
    wanted = ht.Nu_vertical_plate_Churchill(prandtl, rayleigh / prandtl)
    assert plate_nusselt(rayleigh, prandtl) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("height", [100.0, 1000.0, 2000.0])
@pytest.mark.parametrize("degc", [2.0, 20.0, 35.0])
def test_free_convection_against_the_library(degc: float, height: float) -> None:
    film = degc / 2 + 273.15
    density = ATMOSPHERE_1976.density(film, 101325.0)
    viscosity = ATMOSPHERE_1976.viscosity(film)
    conductivity = ATMOSPHERE_1976.thermal_conductivity(film)
    grashof = 9.80665 * degc / film * (height / 1000) ** 3 * (density / viscosity) ** 2
    nusselt = ht.Nu_vertical_plate_Churchill(viscosity * 1005.0 / conductivity, grashof)
    wanted = nusselt * conductivity / (height / 1000)
    assert free_convection_w_m2_k(degc, 0.0, height) == pytest.approx(wanted, rel=1e-4)
    assert free_convection_w_m2_k(0.0, degc, height) == free_convection_w_m2_k(degc, 0.0, height)


def test_vapour_by_the_psychrometer() -> None:
    # An aspirated thermometer iced over stands where the heat of the air equals that of
    # sublimation: WMO-No. 8 has 5.75e-4 of the pressure for each kelvin (from memory). That holds
    # the stem's heat and radiation too, so the analogy should come out within 12 % of it.
    heat_of_sublimation = 2.834e6
    drop_per_kelvin = 1 / (heat_of_sublimation * vapour_flux_kg_m2_s(1.0, 1.0, -5.0))
    assert drop_per_kelvin / 101325 == pytest.approx(5.75e-4, rel=0.12)


def test_vapour_goes_with_the_drop_and_the_film() -> None:
    one = vapour_flux_kg_m2_s(4.0, 100.0, 10.0)
    assert one > 0
    assert vapour_flux_kg_m2_s(8.0, -100.0, 10.0) == pytest.approx(-2 * one)
    assert vapour_flux_kg_m2_s(0.0, 100.0, 10.0) == 0.0


@pytest.mark.parametrize(
    ("message", "call"),
    [
        ("air at 51 degC", lambda: air_density_kg_m3(51.0)),
        ("air at -41 degC", lambda: air_viscosity_pa_s(-41.0)),
        ("air at nan degC", lambda: air_conductivity_w_m_k(float("nan"))),
        ("air at 100 degC", lambda: saturation_pressure_pa(100.0)),
        ("heat transfer of -1", lambda: vapour_flux_kg_m2_s(-1.0, 1.0, 0.0)),
        ("give a lower face", lambda: plate_nusselt(2e12, 0.7)),
        ("Prandtl 0", lambda: plate_nusselt(1e6, 0.0)),
        ("face 0 mm high", lambda: free_convection_w_m2_k(20.0, 0.0, 0.0)),
    ],
)
def test_refusals(message: str, call: Callable[[], Any]) -> None:
    with pytest.raises(JobError, match=message):
        call()
