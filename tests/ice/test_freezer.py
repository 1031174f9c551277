"""Loss and heat in a freezer against worked figures, another formula of the trade, and gsw."""

from collections.abc import Callable
from typing import Any

import gsw  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws._iapws import _Sublimation_Pressure  # type: ignore[import-untyped]

from icecam.errors import JobError
from icecam.ice.band import Band
from icecam.ice.freezer import carving_heat_mj, cooling_heat_mj, sublimation_mm_per_day
from tests.ice.printed import as_printed, table

ROWS = table("keeping.toml")["sublimation"]


def just(value: float) -> Band[float]:
    return Band(low=value, best=value, high=value)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['degc']} degC")
@pytest.mark.parametrize(("name", "film"), [("still_4", 4), ("fan_10", 10), ("blower_20", 20)])
def test_sublimation_as_worked(row: dict[str, Any], name: str, film: float) -> None:
    found = sublimation_mm_per_day(row["degc"], film_w_m2_k=just(film), humidity=just(0.8))
    assert found.best == as_printed(row[name])
    assert found.low == found.best == found.high


def test_sublimation_at_its_worst_as_worked() -> None:
    # Worked apart from this project: blower, humidity 0.5, -10 degC.
    assert sublimation_mm_per_day(-10.0).high == as_printed("1.6")


@pytest.mark.parametrize("degc", [-25.0, -15.0, -5.0])
@pytest.mark.parametrize("wind", [1.0, 2.0, 5.0])
def test_band_holds_the_bulk_formula_of_snow(degc: float, wind: float) -> None:
    # rho C U (q_s - q_a) with C = 1.5e-3 (usual over snow fields, from memory), humidity 0.8.
    vapour = 0.2 * _Sublimation_Pressure(degc + 273.15) * 1e6 / (461.5 * (degc + 273.15))
    lost = 1.5e-3 * wind * vapour * 86400 / gsw.rho_ice(degc, 0.0) * 1000
    band = sublimation_mm_per_day(degc)
    assert band.low < lost < band.high


@given(cold=st.floats(-30, 0), warm=st.floats(-30, 0), dry=st.floats(0, 1), wet=st.floats(0, 1))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_more_is_lost_warm_and_dry(cold: float, warm: float, dry: float, wet: float) -> None:
    cold, warm = sorted((cold, warm))
    dry, wet = sorted((dry, wet))
    least = sublimation_mm_per_day(cold, humidity=just(wet))
    most = sublimation_mm_per_day(warm, humidity=just(dry))
    assert 0 <= least.best <= most.best * (1 + 1e-12)
    assert sublimation_mm_per_day(warm, humidity=just(1.0)).high == 0.0


def test_cooling_heat_against_gsw() -> None:
    wanted = 120.0 * (gsw.enthalpy_ice(-4.0, 0.0) - gsw.enthalpy_ice(-18.0, 0.0)) / 1e6
    assert cooling_heat_mj(120.0, -4.0, -18.0) == pytest.approx(wanted, abs=1e-5)
    assert cooling_heat_mj(120.0, -18.0, -4.0) == pytest.approx(-wanted, abs=1e-5)


def test_carving_heat_by_hand() -> None:
    # 2 h at 800 W are 1.6 kWh of 3.6 MJ; two people of 200 W add 0.8 kWh.
    assert carving_heat_mj(7200.0, electric_w=just(800.0)).best == pytest.approx(1.6 * 3.6)
    assert carving_heat_mj(7200.0, electric_w=just(800.0), people=2).best == pytest.approx(
        2.4 * 3.6
    )
    # Usual range of 0.5 to 1 kW, from memory.
    assumed = carving_heat_mj(1000.0)
    assert (assumed.low, assumed.high) == (0.5, 1.0)


@pytest.mark.parametrize(
    ("message", "call"),
    [
        ("outside -30 to 0", lambda: sublimation_mm_per_day(2.0)),
        ("within 0 to 1", lambda: sublimation_mm_per_day(-9.0, humidity=just(80.0))),
        ("heat transfer of -1", lambda: sublimation_mm_per_day(-9.0, film_w_m2_k=just(-1.0))),
        ("block of -1 kg", lambda: cooling_heat_mj(-1.0, -5.0, -9.0)),
        ("outside -30 to 0", lambda: cooling_heat_mj(1.0, 15.0, -9.0)),
        ("time of -1", lambda: carving_heat_mj(-1.0)),
        ("power of -5", lambda: carving_heat_mj(1.0, electric_w=just(-5.0))),
        ("number of people of -1", lambda: carving_heat_mj(1.0, people=-1)),
    ],
)
def test_refusals(message: str, call: Callable[[], Any]) -> None:
    with pytest.raises(JobError, match=message):
        call()
