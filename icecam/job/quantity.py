"""Numbers with units as a sculptor writes them, turned into mm, mm/s, s at the edge.

A job file may hold `12.7` (mm), `"1/2 in"`, `"5400 mm/min"`, `"-10 C"`.
"""

import re
from collections.abc import Callable, Mapping
from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from icecam import units

_QUANTITY: Final = re.compile(r"\s*([-+]?[\d./ ]*\d\.?)\s*([^\d\s.][^\s]*)?\s*")


def _reader(what: str, factors: Mapping[str, float], plain: str) -> Callable[[object], object]:
    """Return a function that turns `"1/2 in"` into a number in the inside unit `plain`."""

    def read(value: object) -> object:
        if not isinstance(value, str):
            return value
        match = _QUANTITY.fullmatch(value)
        known = ", ".join(factors)
        if not match:
            raise ValueError(f"{value!r} is not a {what}; write a number and one of: {known}")
        figure, unit = match.group(1), match.group(2) or plain
        if unit not in factors:
            raise ValueError(f"{unit!r} is not a unit of {what}; use one of: {known}")
        return units.number(figure) * factors[unit]

    return read


def _temperature(value: object) -> object:
    if not isinstance(value, str):
        return value
    match = re.fullmatch(r"\s*([-+]?\d+\.?\d*)\s*([CF])?\s*", value)
    if not match:
        raise ValueError(f"{value!r} is not a temperature; write a number and C or F")
    figure = float(match.group(1))
    return (figure - 32) / 1.8 if match.group(2) == "F" else figure


_finite = Field(allow_inf_nan=False, strict=True)
Length = Annotated[float, BeforeValidator(_reader("length", units.LENGTHS, "mm")), _finite]
Speed = Annotated[float, BeforeValidator(_reader("speed", units.SPEEDS, "mm/s")), _finite]
Acceleration = Annotated[
    float, BeforeValidator(_reader("acceleration", units.ACCELERATIONS, "mm/s2")), _finite
]
Time = Annotated[float, BeforeValidator(_reader("time", units.TIMES, "s")), _finite]
Degrees = Annotated[float, BeforeValidator(_reader("angle", units.ANGLES_DEG, "deg")), _finite]
Temperature = Annotated[float, BeforeValidator(_temperature), _finite]
Number = Annotated[float, _finite]
