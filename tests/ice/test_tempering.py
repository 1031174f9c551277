"""Conduction in a slab against a handbook's table, a slow twin, and worked times."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.errors import JobError
from icecam.ice.band import Band
from icecam.ice.tempering import middle_share, tempering_time
from tests.ice.printed import as_printed, table
from tests.ice.slab_by_steps import middle_share_by_steps

ROWS = table("slab.toml")["row"]


def just(value: float) -> Band[float]:
    return Band(low=value, best=value, high=value)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"biot {row['biot']}")
def test_first_root_and_weight_as_printed(row: dict[str, Any]) -> None:
    # Late, only the first term is left: two times give its root and its weight.
    late, later = (
        math.log(middle_share(fourier, row["biot"]))
        for fourier in (1 / float(row["root"]), 2 / float(row["root"]))
    )
    square = (late - later) * float(row["root"])
    assert math.sqrt(square) == as_printed(row["root"])
    assert math.exp(2 * late - later) == as_printed(row["weight"])


@pytest.mark.parametrize("biot", [0.1, 0.58, 3.0, 50.0])
@pytest.mark.parametrize("fourier", [0.02, 0.1, 0.5, 1.5])
def test_middle_against_small_steps(fourier: float, biot: float) -> None:
    wanted = middle_share_by_steps(fourier, biot)
    assert middle_share(fourier, biot) == pytest.approx(wanted, abs=5e-4)


def test_cold_surface_is_the_limit_of_strong_air() -> None:
    # By hand: 4/pi (exp(-pi^2/4 Fo) - exp(-9 pi^2/4 Fo)/3 + exp(-25 pi^2/4 Fo)/5 - ...).
    terms = [
        (-1) ** n / (2 * n + 1) * math.exp(-((n + 0.5) ** 2) * math.pi**2 * 0.1) for n in range(9)
    ]
    assert middle_share(0.1, math.inf) == pytest.approx(4 / math.pi * sum(terms), abs=1e-12)
    assert middle_share(0.1, 1e9) == pytest.approx(middle_share(0.1, math.inf), abs=1e-8)


@given(fourier=st.floats(0, 5), longer=st.floats(0, 5), biot=st.floats(1e-3, 1e6))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_share_falls_with_time_and_stronger_air(fourier: float, longer: float, biot: float) -> None:
    fourier, longer = sorted((fourier, longer))
    assert 0 <= middle_share(longer, biot) <= middle_share(fourier, biot) + 1e-12 <= 1 + 2e-12
    assert middle_share(fourier, 2 * biot) <= middle_share(fourier, biot) + 1e-12


@pytest.mark.parametrize(("film", "hours"), [(5.0, "34"), (10.0, "19"), (20.0, "11"), (1e9, "3.9")])
def test_time_of_a_block_as_worked(film: float, hours: str) -> None:
    # Worked apart from this project: 10 in, the middle within 10 % of the step, ice at -10 degC.
    found = tempering_time(254.0, -15.0, -5.0, within=1.0, film_w_m2_k=just(film))
    assert found.best / 3600 == as_printed(hours)


@given(
    thickness=st.floats(10, 600),
    start=st.floats(-30, 0),
    air=st.floats(-30, 0),
    within=st.floats(0.1, 5),
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_block_is_there_at_that_time(
    thickness: float, start: float, air: float, within: float
) -> None:
    found = tempering_time(thickness, start, air, within=within)
    assert 0 <= found.low <= found.best <= found.high
    # Conduction knows no sign: cooling takes as long as warming.
    assert tempering_time(thickness, air, start, within=within).best == found.best
    if abs(air - start) > within:
        # A weak film alone gives a floor: the whole body must follow, rho c L / h log(step/within).
        stored = 917.0 * 1870.0 * thickness / 2000
        assert found.high > stored / 5.0 * math.log(abs(air - start) / within)


def test_no_time_when_it_is_there_already() -> None:
    assert tempering_time(254.0, -10.0, -10.5).high == 0.0
    barely = tempering_time(254.0, -10.0, -11.0 - 1e-12)
    assert 0 < barely.low < 3600


@pytest.mark.parametrize(
    ("message", "call"),
    [
        ("Fourier number of -1", lambda: middle_share(-1.0, 1.0)),
        ("Biot number of 0", lambda: middle_share(1.0, 0.0)),
        ("outside -30 to 0", lambda: tempering_time(254.0, -20.0, 5.0)),
        ("outside -30 to 0", lambda: tempering_time(254.0, -40.0, -5.0)),
        ("numbers above 0", lambda: tempering_time(0.0, -20.0, -5.0)),
        ("numbers above 0", lambda: tempering_time(254.0, -20.0, -5.0, within=0.0)),
        ("heat transfer of 0", lambda: tempering_time(9.0, -9.0, -5.0, film_w_m2_k=just(0.0))),
    ],
)
def test_refusals(message: str, call: Callable[[], Any]) -> None:
    with pytest.raises(JobError, match=message):
        call()
