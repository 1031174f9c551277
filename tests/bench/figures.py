"""What a benchmark notes, and how it is asked to."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Figure:
    """Something measured, in its unit, and the most it should be."""

    what: str
    measured: float
    aim: float
    unit: str = "s"


Note = Callable[[Figure], None]


class Timed(Protocol):
    """Run some work once, note its seconds against an aim, return what it gives."""

    def __call__(self, what: str, aim: float, work: Callable[[], Result]) -> Result: ...
