"""Density of ice against IAPWS R10-06(2009), through iapws, through gsw, and as printed."""

import gsw  # type: ignore[import-untyped]
import numpy as np
import pytest
from iapws import _Ice  # type: ignore[import-untyped]

from icecam.errors import JobError
from icecam.ice.properties import density_kg_m3
from tests.ice.printed import as_printed, table

ROWS = table("ice_density.toml")["row"]


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


@pytest.mark.parametrize("temperature", [-30.001, 0.001, float("nan")])
def test_temperature_out_of_range(temperature: float) -> None:
    with pytest.raises(JobError, match="outside -30 to 0 degC"):
        density_kg_m3(temperature)
