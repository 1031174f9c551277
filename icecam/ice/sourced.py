"""One constant with its range and where it comes from.

`source` is a key of `icecam.ice.references`; where nothing was measured the constant is `assumed`
and `source` says why this number.
"""

from dataclasses import dataclass

from icecam.ice.band import Band


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """One constant.

    Raises
    ------
    ValueError : a value outside its own range, or no source
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    conditions: str
    source: str
    assumed: bool = False

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.name} is {self.value}, outside {self.low} to {self.high}")
        if not self.source:
            raise ValueError(f"{self.name} has no source")

    def band(self) -> Band[float]:
        """Take value and range as a band."""
        return Band(low=self.low, best=self.value, high=self.high)


def printed(name: str, value: float, unit: str, conditions: str, source: str) -> Sourced:
    """Record a constant that a source gives without a range."""
    return Sourced(
        name=name,
        value=value,
        unit=unit,
        low=value,
        high=value,
        conditions=conditions,
        source=source,
    )
