"""Masses against gsw and the trade; lifting against the printed tables and worked figures."""

from collections.abc import Callable
from typing import Any

import gsw  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from icecam.errors import JobError
from icecam.ice.handling import Lift, block_mass_kg, lifting_caution, mass_kg, weight_limit_kg
from tests.ice.printed import as_printed, table

LIFTING = table("lifting.toml")
BEST = {"reach": 250.0, "height": 750.0, "travel": 250.0, "turn_deg": 0.0, "grip": 1.0}
LB_PER_KG = 1 / 0.45359237


def test_mass_against_gsw_and_in_pounds() -> None:
    litres = 1.016 * 0.508 * 0.254 * 1000
    found = block_mass_kg((1016.0, 508.0, 254.0), -10.0)
    assert found == pytest.approx(litres / 1000 * gsw.rho_ice(-10.0, 0.0), abs=1e-3)
    # Worked apart from this project: 265 lb, 26.5 lb for each inch of thickness.
    assert found * LB_PER_KG == pytest.approx(265, abs=0.5)
    assert mass_kg(1016.0 * 508.0 * 25.4, -10.0) * LB_PER_KG == as_printed("26.5")


@pytest.mark.parametrize(
    ("posture", "share"),
    [
        ({name: value * (10 if unit == "cm" else 1)}, share)
        for name, unit in (("reach", "cm"), ("height", "cm"), ("travel", "cm"), ("turn", "deg"))
        for value, share in zip(LIFTING[name][unit], LIFTING[name]["share"], strict=True)
    ],
    ids=str,
)
def test_weight_limit_as_printed(posture: dict[str, float], share: str) -> None:
    changed = {"turn_deg" if name == "turn" else name: posture[name] for name in posture}
    assert weight_limit_kg(Lift(**(BEST | changed))) / 23 == as_printed(share)


def test_shares_multiply_as_worked() -> None:
    # 23 kg x 25/40 x (0.82 + 4.5/50) = 13.1 kg, worked apart from this project.
    assert weight_limit_kg(Lift(**(BEST | {"reach": 400.0, "travel": 500.0}))) == as_printed("13.1")
    # By hand: 23 x 0.5 x 0.91 x 0.91 x 0.856 x 0.9.
    lift = Lift(reach=500.0, height=450.0, travel=500.0, turn_deg=45.0, grip=0.9)
    assert weight_limit_kg(lift) == pytest.approx(23 * 0.5 * 0.91 * 0.91 * 0.856 * 0.9)
    for nearest in ({"reach": 0.0}, {"travel": 0.0}):
        assert weight_limit_kg(Lift(**(BEST | nearest))) == 23.0


@given(
    reach=st.floats(0, 630),
    height=st.floats(0, 1750),
    travel=st.floats(0, 1750),
    turn=st.floats(0, 135),
    more=st.sampled_from(["reach", "travel", "turn_deg"]),
)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_no_posture_beats_the_best(
    reach: float, height: float, travel: float, turn: float, more: str
) -> None:
    posture = {"reach": reach, "height": height, "travel": travel, "turn_deg": turn}
    limit = weight_limit_kg(Lift(**posture))
    assert 0 < limit <= 23 * 0.9
    assert weight_limit_kg(Lift(**(posture | {more: posture[more] * 0.9}))) >= limit


@pytest.mark.parametrize(
    ("mass", "people"),
    # By hand with a limit of 23 kg: one to 23, two to 2 x 0.67 x 23 = 30.8, three to 34.5.
    [(0.0, 1), (23.0, 1), (23.1, 2), (30.8, 2), (30.9, 3), (34.5, 3), (34.6, 0)],
)
def test_how_many_people(mass: float, people: int) -> None:
    caution = lifting_caution(mass, Lift(**BEST))
    assert caution.people == people
    assert caution.hoist == (people == 0)
    assert caution.lifting_index == pytest.approx(mass / 23)


def test_whole_block_takes_a_hoist_even_in_the_best_posture() -> None:
    # Worked apart from this project: index 5.2 at best; above 3 most backs are at risk.
    caution = lifting_caution(block_mass_kg((1016.0, 508.0, 254.0), -10.0), Lift(**BEST))
    assert caution.lifting_index == as_printed("5.2")
    assert caution.hoist


@pytest.mark.parametrize(
    ("message", "call"),
    [
        ("volume that is not below 0", lambda: mass_kg(-1.0, -10.0)),
        ("outside -30 to 0", lambda: mass_kg(1.0, 5.0)),
        ("side of 0 mm", lambda: block_mass_kg((0.0, 1.0, 1.0), -10.0)),
        ("load of -1 kg", lambda: lifting_caution(-1.0, Lift())),
        ("reach of 640 mm", lambda: Lift(reach=640.0)),
        ("height of 1800 mm", lambda: Lift(height=1800.0)),
        ("travel of nan mm", lambda: Lift(travel=float("nan"))),
        ("turn of 180 deg", lambda: Lift(turn_deg=180.0)),
        ("grip of 0.5", lambda: Lift(grip=0.5)),
    ],
)
def test_refusals(message: str, call: Callable[[], Any]) -> None:
    with pytest.raises(JobError, match=message):
        call()
