"""Snow, warming up and working days, by hand."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from icecam.errors import JobError
from icecam.estimate.runtime import StageSeconds
from icecam.estimate.working_days import Work, calendar, snow_litres, snow_stops, with_people
from icecam.ice.keeping_constants import SNOW_BETWEEN, SNOW_BULK, SNOW_STOP, WARM_UP
from icecam.job.file import load
from icecam.job.records import Freezer

FREEZER = load(None).freezer
HOUR = 3600.0


def work(hours: float, litres: float) -> Work:
    seconds = StageSeconds(
        cutting=hours * HOUR, slowed=0.0, rapids=0.0, dwells=0.0, bit_change=0.0, snow_stops=0.0
    )
    return Work(seconds=seconds, ice_litres=litres)


def freezer(day: float, warm: float, every: float, stop: float) -> Freezer:
    return replace(
        FREEZER, working_day=day, warm_up=warm, snow_stop_litres=every, snow_stop=stop, snow_bulk=2
    )


def test_defaults_are_those_the_readme_calls_assumed() -> None:
    assert FREEZER.snow_bulk == SNOW_BULK.value
    assert FREEZER.snow_stop_litres == SNOW_BETWEEN.value
    assert FREEZER.snow_stop == SNOW_STOP.value
    assert FREEZER.warm_up == WARM_UP.value


def test_snow_by_hand() -> None:
    """By hand: 30, 4, 46 litres of ice are 60, 68, 160 litres of snow: 1, 0, 2 stops of 50."""
    room = freezer(8 * HOUR, 0.0, 50.0, 300.0)
    works = [work(1.0, 30.0), work(1.0, 4.0), work(1.0, 46.0)]
    assert snow_litres(30.0, room) == 60.0
    assert snow_stops(works, room) == (1, 0, 2)
    assert [stage.snow_stops for stage in with_people(works, room)] == [300.0, 0.0, 600.0]


def test_mornings_by_hand() -> None:
    """By hand: days of 8 h lose 1/2 h; 7, 1 and 15 h of work end after 7, 8 and 23 of 7.5 a day.

    So the first day begins in the first stage, the second in the second, two more in the third.
    """
    room = freezer(8 * HOUR, HOUR / 2, 1e5, 0.0)
    stages = with_people([work(7.0, 0.0), work(1.0, 0.0), work(15.0, 0.0)], room)
    assert [stage.warm_up / HOUR for stage in stages] == [0.5, 0.5, 1.0]
    total = sum(stage.total for stage in stages)
    assert total == 25 * HOUR
    found = calendar(total, room)
    assert (found.days, found.rest) == (3, HOUR)


@given(
    st.lists(st.tuples(st.floats(0, 30), st.floats(0, 200)), min_size=1, max_size=6),
    st.floats(0.5, 24), st.floats(0, 0.9), st.floats(1, 300), st.floats(0, 3600),
)  # fmt: skip
def test_stages_together_are_as_one(
    works: list[tuple[float, float]], day: float, warm: float, every: float, stop: float
) -> None:
    """Where a stage ends matters to no sum, to a stop more or less for rounding."""
    room = freezer(day * HOUR, warm * day * HOUR, every, stop)
    apart = with_people([work(*each) for each in works], room)
    hours, litres = (sum(each[k] for each in works) for k in (0, 1))
    (whole,) = with_people([work(hours, litres)], room)
    assert sum(stage.snow_stops for stage in apart) == pytest.approx(whole.snow_stops, abs=stop)
    total = sum(stage.total for stage in apart)
    assert total == pytest.approx(whole.total, abs=stop + room.warm_up + 1e-6)
    days = calendar(total, room)
    assert days.days * room.working_day + days.rest == pytest.approx(total)
    assert days.rest <= room.working_day * (1 + 1e-6)


def test_refusals() -> None:
    with pytest.raises(JobError, match=r"takes 3600 s of a working day of 3600 s; give a longer"):
        with_people([work(1.0, 1.0)], freezer(HOUR, HOUR, 10.0, 0.0))
    with pytest.raises(JobError, match="work of -1 s"):
        calendar(-1.0, FREEZER)
