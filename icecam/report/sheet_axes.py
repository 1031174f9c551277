"""Axes of the small plots on the job sheet: round marks, their words, and where they stand."""

from dataclasses import dataclass
from math import floor, log10
from typing import Final
from xml.etree.ElementTree import Element

from icecam.report.drawing import Box, line, words
from icecam.report.load_picture import clock

TIME_STEPS: Final = (1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 720, 1440, 2880, 7200)
"""Minutes between marks of time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """A plot: its area on paper, mm, and what its right and upper edge stand for."""

    area: Box
    minutes: float
    most: float

    def x(self, minutes: float) -> float:
        """Return where a time stands, mm of paper."""
        return self.area.x + self.area.width * minutes / self.minutes

    def y(self, value: float) -> float:
        """Return where a value stands, mm of paper."""
        return self.area.y + self.area.height * (1 - value / self.most)


def round_up(value: float) -> float:
    """Return the least of 1, 2, 3, 4, 5, 6, 8 times a power of ten that is not below a value.

    >>> round_up(47.9), round_up(0.32), round_up(0.0)
    (50.0, 0.4, 1.0)
    """
    if value <= 0:
        return 1.0
    power = 10.0 ** floor(log10(value))
    rounds = (times * power for times in (1, 2, 3, 4, 5, 6, 8, 10))
    return float(f"{next(each for each in rounds if each >= value * (1 - 1e-9)):.6g}")


def time_marks(minutes: float, most: int) -> list[float]:
    """Return times of day-like steps from 0 on, at most so many more.

    >>> time_marks(95.0, 4)
    [0.0, 30.0, 60.0, 90.0]
    """
    fits = (step for step in TIME_STEPS if minutes / step <= most)
    step = next(fits, TIME_STEPS[-1] * (1 + int(minutes / TIME_STEPS[-1] / most)))
    return [float(step * nth) for nth in range(int(minutes / step) + 1)]


def frame(axes: Axes, title: str, *, marks: int = 4) -> list[Element]:
    """Return both axes with their marks; the title stands over the plot and holds the unit."""
    left, top, width, height = axes.area
    foot = top + height
    drawn = [words(title, (left, top - 1.2), anchor="start", cls="small")]
    for value in (0.0, axes.most / 2, axes.most):
        y = axes.y(value)
        drawn.append(line((left - 0.8, y), (left, y), "thin"))
        drawn.append(words(f"{value:g}", (left - 1.2, y + 0.5), anchor="end", cls="small"))
    for minutes in time_marks(axes.minutes, marks):
        x = axes.x(minutes)
        drawn.append(line((x, foot), (x, foot + 0.8), "thin"))
        drawn.append(words(clock(minutes), (x, foot + 3.4), cls="small"))
    drawn.append(line((left, top), (left, foot), "thin"))
    drawn.append(line((left, foot), (left + width, foot), "thin"))
    return drawn
