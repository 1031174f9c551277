"""Every limit broken once, and kept once just inside.

By hand from the meaning of the records (icecam/job/records.py): the travel runs from the block's
corner, given or in the middle; the nose stands `stick_out` above the tip. Common practice, no
source: a spindle that is off, or turns against the clock, does not cut.
"""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from icecam.job.records import Block
from icecam.paths.toolpath import Toolpath
from icecam.prove.limits import SLACK_MM, broken_limits, corner_in_travel
from tests.estimate.machines import machine
from tests.geometry.bits import make_bit
from tests.prove.moves import Points, path_of

BIT: Final = make_bit("ball", 6.0, stick_out=60.0)
BLOCK: Final = Block(size=(300.0, 200.0, 150.0), temperature=-10.0, floor=20.0)
GANTRY: Final = replace(
    machine(speed=(200.0, 150.0, 80.0)), travel=(700.0, 600.0, 300.0), nose_lowest=50.0
)
"""The block's corner lies at (200, 200); the tip goes from -10 to 290 above the bed."""
ON: Final = [(0, 12_000.0)]
START: Final = (150.0, 100.0, 160.0)


def broken(
    path: Toolpath, spindle: list[tuple[int, float]] = ON, block: Block = BLOCK
) -> list[str]:
    return broken_limits(path, spindle, BIT, block, GANTRY)


def through(*points: tuple[float, float, float]) -> Toolpath:
    return path_of([START, *points, START], [False] * (len(points) + 1))


def test_corner_in_travel() -> None:
    """By hand: in the middle, (700 - 300) / 2 and (600 - 200) / 2; or where it is said to be."""
    assert corner_in_travel(BLOCK, GANTRY) == (200.0, 200.0)
    assert corner_in_travel(replace(BLOCK, corner=(30.0, 45.0)), GANTRY) == (30.0, 45.0)


LAST: Final = [
    ("X", "below", (-200.0, 100.0, 160.0), (-1.0, 0.0, 0.0)),
    ("X", "above", (500.0, 100.0, 160.0), (1.0, 0.0, 0.0)),
    ("Y", "below", (150.0, -200.0, 160.0), (0.0, -1.0, 0.0)),
    ("Y", "above", (150.0, 400.0, 160.0), (0.0, 1.0, 0.0)),
    ("Z", "above", (150.0, 100.0, 290.0), (0.0, 0.0, 1.0)),
    ("Z", "below", (150.0, 100.0, -10.0), (0.0, 0.0, -1.0)),
]


@pytest.mark.parametrize(("axis", "side", "last", "out"), LAST)
def test_travel(
    axis: str, side: str, last: tuple[float, float, float], out: tuple[float, float, float]
) -> None:
    """The last place in travel is allowed, 1.5 mm more is one sentence with its line.

    Z at its lowest lies in the floor as well, which is another sentence.
    """
    beyond = tuple((np.array(last) + 1.5 * np.array(out)).tolist())
    assert [text for text in broken(through(last)) if "travel" in text] == []
    found = [text for text in broken(through((150.0, 100.0, 170.0), beyond)) if "travel" in text]
    assert found == [f"{axis} goes 1.5 mm {side} the machine's travel (line 2)"]


def test_travel_with_the_corner_given_counts_from_there() -> None:
    """By hand: with the corner at 30, 45, X runs from -30 to 670 and Y from -45 to 555."""
    block = replace(BLOCK, corner=(30.0, 45.0))
    assert broken(through((-30.0, -45.0, 160.0), (670.0, 555.0, 160.0)), block=block) == []
    found = broken(through((-31.0, -47.0, 160.0), (673.0, 559.0, 160.0)), block=block)
    assert found == [
        "X goes 1.0 mm below the machine's travel (line 1)",
        "X goes 3.0 mm above the machine's travel (line 2)",
        "Y goes 2.0 mm below the machine's travel (line 1)",
        "Y goes 4.0 mm above the machine's travel (line 2)",
    ]


def test_the_start_counts_too() -> None:
    """Where the first move begins is a place the machine must reach; it has the first line."""
    path = path_of([(150.0, 100.0, 292.0), START], [False])
    assert broken(path) == ["Z goes 2.0 mm above the machine's travel (line 1)"]


def test_floor() -> None:
    """By hand: 20 mm stay uncut; a tip at 20 is allowed, at 19.75 it is 0.25 in the floor."""
    assert broken(path_of([START, (150, 100, 20), START])) == []
    found = broken(path_of([START, (150, 100, 30), (150, 100, 19.75), START]))
    assert found == ["the tip goes 0.25 mm into the floor of 20.0 mm (line 2)"]


def test_rounding_of_text_breaks_nothing() -> None:
    """Four decimals of an inch are 0.00254 mm, half of which rounding may add."""
    rounding = 0.0001 * 25.4 / 2
    assert rounding < SLACK_MM < 2 * rounding
    low, out = 20.0 - rounding, 500.0 + rounding
    assert broken(path_of([START, (150, 100, low), (out, 100, 160), START])) == []


def test_feed() -> None:
    """By hand: the fastest axis does 200 mm/s, 12000 mm/min; 210 mm/s are 12600 mm/min."""
    points: Points = [START, (100, 100, 160), (50, 100, 160)]
    assert broken(path_of(points, feed=200.0)) == []
    found = broken(path_of(points, feed=210.0))
    assert found == ["feed 12600 mm/min is more than any axis of the machine can go (line 1)"]


@pytest.mark.parametrize("rpm", [5999.0, 24001.0])
def test_spindle_out_of_range(rpm: float) -> None:
    """By hand: the spindle of the tests turns at 6000 to 24000 rpm."""
    path = path_of([START, (100, 100, 160), (50, 100, 160)])
    for kept in (6000.0, 24000.0):
        assert broken(path, [(0, kept)]) == []
    found = broken(path, [(0, 12_000.0), (1, rpm)])
    assert found == [f"spindle at {rpm:.0f} rpm, outside 6000 to 24000 rpm (before line 2)"]


OFF: Final = "cuts while the spindle is not turning with the clock (line {})"


def test_cutting_with_the_spindle_off() -> None:
    """Moves 1 and 4 are rapids, 2 and 3 cut: the spindle must turn from before 2 to behind 3."""
    path = path_of(
        [START, (100, 100, 160), (50, 100, 160), (20, 100, 160), START],
        [False, True, True, False],
    )
    assert broken(path, [(1, 9000.0), (3, 0.0)]) == []
    assert broken(path, [(0, 9000.0), (4, 0.0)]) == []
    assert broken(path, []) == [OFF.format(2)]
    assert broken(path, [(2, 9000.0)]) == [OFF.format(2)]
    assert broken(path, [(0, 9000.0), (2, 0.0)]) == [OFF.format(3)]
    assert broken(path, [(0, 9000.0), (2, 0.0), (2, 9000.0)]) == []


def test_cutting_against_the_clock() -> None:
    """The reader gives turning against the clock as rpm below zero: out of range, and no cut."""
    path = path_of([START, (100, 100, 160)])
    found = broken(path, [(0, -9000.0)])
    assert len(found) == 2
    assert "spindle at -9000 rpm" in found[0]
    assert found[1] == OFF.format(1)


def test_rapids_need_no_spindle_and_no_feed() -> None:
    """A path of rapids alone breaks nothing with the spindle off."""
    assert broken(through((10.0, 10.0, 160.0)), []) == []


def test_no_moves_break_nothing() -> None:
    """A path without moves stands still inside the travel."""
    assert broken(path_of([START]), []) == []


def test_everything_at_once_is_listed_one_by_one() -> None:
    """By hand: X out on line 2, tip in the floor on line 3, too fast from line 1, spindle off."""
    points: Points = [START, (100, 100, 160), (505, 100, 160), (100, 100, 10), START]
    found = broken(path_of(points, feed=300.0), [])
    assert [text.split(" ")[0] for text in found] == ["X", "the", "feed", "cuts"]
    assert "(line 2)" in found[0]
    assert "10.00 mm into the floor" in found[1]
