"""Numbers with units as a sculptor writes them, turned into mm, mm/s, s at the edge.

A job file may hold `12.7` (mm), `"1/2 in"`, `"5400 mm/min"`, `"14 F"`. Each kind of quantity is a
`Measure`; the annotated types below carry theirs along, so that messages can name its units.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from operator import mul
from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from icecam import units

_QUANTITY: Final = re.compile(
    r"\s*([-+]?)\s*(\d+\s+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+\.?\d*|\.\d+)\s*([^\s\d.]\S*)?\s*",
    re.ASCII,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """A kind of quantity.

    Parameters
    ----------
    what : its name, for messages
    plain : unit of a number without one, the unit used inside
    units : from the name of each accepted unit to the step that turns a figure into `plain`
    """

    what: str
    plain: str
    units: Mapping[str, Callable[[float], float]]

    def read(self, value: object) -> object:
        """Turn text like `"1/2 in"` into a number in `plain`; let anything but text through.

        Raises
        ------
        ValueError : text that is no figure, or a unit of another kind

        >>> LENGTH.read("1/2 in"), LENGTH.read(7)
        (12.7, 7)
        """
        if not isinstance(value, str):
            return value
        match = _QUANTITY.fullmatch(value)
        if not match:
            raise ValueError(f"that is not a {self.what}")
        sign, figure, unit = match.groups()
        if (unit or self.plain) not in self.units:
            raise ValueError(f'"{unit}" is not a unit of {self.what}')
        try:
            size = units.number(figure)
        except OverflowError:
            raise ValueError(f"that is too large for a {self.what}") from None
        return self.units[unit or self.plain](-size if sign == "-" else size)


def _by_factor(factors: Mapping[str, float]) -> dict[str, Callable[[float], float]]:
    """Return the step of each unit that is a plain multiple."""
    return {unit: partial(mul, factor) for unit, factor in factors.items()}


def _from_fahrenheit(figure: float) -> float:
    """Return degrees Celsius; exact by definition of the Fahrenheit scale."""
    return (figure - 32) * 5 / 9


LENGTH: Final = Measure(what="length", plain="mm", units=_by_factor(units.LENGTHS))
SPEED: Final = Measure(what="speed", plain="mm/s", units=_by_factor(units.SPEEDS))
ACCELERATION: Final = Measure(
    what="acceleration", plain="mm/s2", units=_by_factor(units.ACCELERATIONS)
)
JERK: Final = Measure(what="jerk", plain="mm/s3", units=_by_factor(units.JERKS))
TIME: Final = Measure(what="time", plain="s", units=_by_factor(units.TIMES))
ANGLE: Final = Measure(what="angle", plain="deg", units=_by_factor(units.ANGLES_DEG))
TEMPERATURE: Final = Measure(
    what="temperature", plain="C", units={"C": float, "F": _from_fahrenheit}
)

_finite: Final = Field(allow_inf_nan=False, strict=True)
Length = Annotated[float, BeforeValidator(LENGTH.read), _finite, LENGTH]
Speed = Annotated[float, BeforeValidator(SPEED.read), _finite, SPEED]
Acceleration = Annotated[float, BeforeValidator(ACCELERATION.read), _finite, ACCELERATION]
Jerk = Annotated[float, BeforeValidator(JERK.read), _finite, JERK]
Time = Annotated[float, BeforeValidator(TIME.read), _finite, TIME]
Degrees = Annotated[float, BeforeValidator(ANGLE.read), _finite, ANGLE]
Temperature = Annotated[float, BeforeValidator(TEMPERATURE.read), _finite, TEMPERATURE]
Number = Annotated[float, _finite]
