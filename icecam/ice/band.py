"""A number known only between bounds."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Value = TypeVar("Value", float, NDArray[np.float64])
"""One number, or an array of them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band(Generic[Value]):
    """Least, likeliest and most of one quantity, all in the same unit.

    Raises
    ------
    ValueError : not low <= best <= high
    """

    low: Value
    best: Value
    high: Value

    def __post_init__(self) -> None:
        if not (np.all(self.low <= self.best) and np.all(self.best <= self.high)):
            raise ValueError(f"a band runs {self.low}, {self.best}, {self.high}; it has to rise")

    def each(self, change: Callable[[Value], Value]) -> "Band[Value]":
        """Return the band of a rising function of this one.

        >>> Band(low=1.0, best=2.0, high=4.0).each(lambda each: 3 * each).high
        12.0
        """
        return Band(low=change(self.low), best=change(self.best), high=change(self.high))
