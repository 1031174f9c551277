"""Properties of ice against IAPWS R10-06(2009), through iapws, through gsw, and as printed."""

from collections.abc import Callable

import gsw  # type: ignore[import-untyped]
import numpy as np
import pytest
from iapws import IAPWS95, _Ice  # type: ignore[import-untyped]
from iapws._iapws import _Sublimation_Pressure  # type: ignore[import-untyped]

from icecam.errors import JobError
from icecam.ice.constants import EVAPORATION_HEAT, MELTING_HEAT, MELTING_POINT
from icecam.ice.properties import (
    conductivity_w_m_k,
    density_kg_m3,
    diffusivity,
    growth,
    linear_expansion_1_k,
    melting_heat_j_kg,
    specific_heat_j_kg_k,
    sublimation_pressure_pa,
    warming_heat_j_kg,
)
from tests.ice.printed import as_printed, table

ROWS = table("ice_density.toml")["row"]
HEAT_ROWS = table("ice_heat.toml")["row"]
CONDUCTIVITY_ROWS = table("ice_conductivity.toml")["row"]
SPAN = np.linspace(-30, 0, 301)


def over_span(quantity: Callable[[float], float]) -> list[float]:
    return [quantity(float(each)) for each in SPAN]


@pytest.mark.filterwarnings("ignore:Metastable ice:UserWarning")
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['temperature_k']} K")
def test_outside_library_gives_the_printed_density(row: dict[str, str]) -> None:
    # Not a test of ours: it makes sure that the library next door is a fair witness.
    found = _Ice(float(row["temperature_k"]), float(row["pressure_mpa"]))
    assert found["rho"] == as_printed(row["density"])


def test_density_at_0_degc_from_printed_figures() -> None:
    # From the printed melting point at 101325 Pa, 0.002519 K colder by the printed expansion.
    row = ROWS[1]
    warmer = float(row["temperature_k"]) - 273.15
    printed = float(row["density"]) * (1 + float(row["cubic_expansion"]) * warmer)
    assert density_kg_m3(0.0) == pytest.approx(printed, abs=5e-5)


def test_density_over_the_range_against_gsw() -> None:
    temperatures = np.linspace(-30, 0, 601)
    found = [density_kg_m3(float(each)) for each in temperatures]
    np.testing.assert_allclose(found, gsw.rho_ice(temperatures, 0.0), rtol=0, atol=1e-5)


def test_density_over_the_range_against_iapws() -> None:
    for temperature in np.linspace(-30, 0, 61):
        wanted = _Ice(273.15 + float(temperature), 0.101325)["rho"]
        assert density_kg_m3(float(temperature)) == pytest.approx(wanted, abs=1e-5)


@pytest.mark.filterwarnings("ignore:Metastable ice:UserWarning")
@pytest.mark.parametrize("row", HEAT_ROWS, ids=lambda row: f"{row['temperature_k']} K")
def test_outside_library_gives_the_printed_heat(row: dict[str, str]) -> None:
    found = _Ice(float(row["temperature_k"]), float(row["pressure_mpa"]))
    assert found["cp"] == as_printed(row["specific_heat"])
    assert found["h"] == as_printed(row["enthalpy"])
    assert found["alfav"] == as_printed(row["cubic_expansion"])


def test_heat_at_0_degc_from_printed_figures() -> None:
    # The row at 101325 Pa stands 0.002519 K above 0 degC, where the heat is 7.4 J/kg/K2 steeper:
    # the slope between the two printed rows, whose pressures differ too little to matter.
    cold, warm = HEAT_ROWS[1], HEAT_ROWS[0]
    steps = float(warm["temperature_k"]) - float(cold["temperature_k"])
    heats = [1000 * float(row["specific_heat"]) for row in (cold, warm)]
    printed = heats[0] - (heats[1] - heats[0]) / steps * 0.002519
    assert specific_heat_j_kg_k(0.0) == pytest.approx(printed, abs=0.006)
    assert linear_expansion_1_k(0.0) == pytest.approx(0.000159841589458 / 3, abs=2.5e-9)


def test_heat_over_the_range_against_gsw() -> None:
    wanted = gsw.cp_ice(SPAN, 0.0)
    np.testing.assert_allclose(over_span(specific_heat_j_kg_k), wanted, rtol=0, atol=4e-4)
    melting_point = gsw.t_freezing(0.0, 0.0, 0.0)
    warming = gsw.enthalpy_ice(melting_point, 0.0) - gsw.enthalpy_ice(SPAN, 0.0)
    np.testing.assert_allclose(over_span(warming_heat_j_kg), warming, rtol=0, atol=0.02)
    melting = warming + gsw.latentheat_melting(0.0, 0.0)
    np.testing.assert_allclose(over_span(melting_heat_j_kg), melting, rtol=0, atol=0.1)


def test_melting_point_and_heat_of_phases() -> None:
    # R10-06 prints the enthalpy of ice there; iapws gives that of water by R6-95.
    row = HEAT_ROWS[1]
    assert MELTING_POINT.value + 273.15 == as_printed("273.152519")
    water = IAPWS95(T=float(row["temperature_k"]), P=0.101325).h
    wanted = 1000 * (water - float(row["enthalpy"]))
    assert MELTING_HEAT.value == pytest.approx(wanted, abs=0.1)
    vapour, liquid = (IAPWS95(T=273.16, x=share).h for share in (1, 0))
    assert EVAPORATION_HEAT.value == pytest.approx(1000 * (vapour - liquid), abs=1)


def test_expansion_over_the_range_against_gsw() -> None:
    wanted = gsw.alpha_wrt_t_ice(SPAN, 0.0) / 3
    np.testing.assert_allclose(over_span(linear_expansion_1_k), wanted, rtol=0, atol=2e-9)


def test_growth_against_gsw() -> None:
    warmed = 1016.0 * (1 + np.trapezoid(gsw.alpha_wrt_t_ice(SPAN, 0.0) / 3, SPAN))
    assert growth(1016.0, -30.0, 0.0) == pytest.approx(warmed - 1016.0, abs=0.002)
    shrunk = growth(growth(1016.0, -20.0, -5.0) + 1016.0, -5.0, -20.0)
    assert shrunk == pytest.approx(-growth(1016.0, -20.0, -5.0), abs=1e-9)


def test_sublimation_pressure_as_printed() -> None:
    # R14-08 prints 8.94735 Pa at 230 K: that the library gives it makes it a fair witness.
    assert _Sublimation_Pressure(230.0) * 1e6 == as_printed("8.94735")
    wanted = [_Sublimation_Pressure(each + 273.15) * 1e6 for each in SPAN]
    np.testing.assert_allclose(over_span(sublimation_pressure_pa), wanted, rtol=1e-9)


def test_sublimation_pressure_follows_from_the_heat_of_sublimation() -> None:
    # Clausius and Clapeyron with vapour as an ideal gas: d ln p / dT = heat / (R T^2); the heat of
    # sublimation at the triple point is the sum of the two others and changes by 0.3 % to -30.
    heat = MELTING_HEAT.value + EVAPORATION_HEAT.value
    for each in (-29.0, -15.0, -1.0):
        around = [sublimation_pressure_pa(each + step) for step in (-0.5, 0.5)]
        slope = float(np.log(around[1] / around[0]))
        assert slope == pytest.approx(heat / (461.5 * (each + 273.15) ** 2), rel=0.005)


@pytest.mark.parametrize("row", CONDUCTIVITY_ROWS, ids=lambda row: f"{row['degc']} degC")
def test_conductivity_and_diffusivity_as_tabled(row: dict[str, str]) -> None:
    degc = float(row["degc"])
    conducted, spread = conductivity_w_m_k(degc), diffusivity(degc)
    assert conducted.best == as_printed(row["conductivity"])
    stored = gsw.rho_ice(degc, 0.0) * gsw.cp_ice(degc, 0.0)
    wanted = float(row["conductivity"]) / stored * 1e6
    assert spread.best == pytest.approx(wanted, rel=0.005 / float(row["conductivity"]))
    for band in (conducted, spread):
        assert band.low / band.best == pytest.approx(0.93)
        assert band.high / band.best == pytest.approx(1.07)


def test_conductivity_band_holds_another_author() -> None:
    # Slack 1980, from memory: 2.14 W/m/K at 0 degC; 2.2 is often quoted.
    band = conductivity_w_m_k(0.0)
    assert band.low < 2.14 < band.high
    assert band.low < 2.2 < band.high


@pytest.mark.parametrize("temperature", [-30.001, 0.001, float("nan")])
@pytest.mark.parametrize(
    "quantity",
    [
        density_kg_m3,
        specific_heat_j_kg_k,
        warming_heat_j_kg,
        melting_heat_j_kg,
        linear_expansion_1_k,
        sublimation_pressure_pa,
        conductivity_w_m_k,
        diffusivity,
    ],
)
def test_temperature_out_of_range(temperature: float, quantity: Callable[[float], object]) -> None:
    with pytest.raises(JobError, match="outside -30 to 0 degC"):
        quantity(temperature)
