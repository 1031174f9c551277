"""Every constant of the ice model, with its range and where it comes from.

`source` is a key of `icecam.ice.references`; where nothing was measured the constant is `assumed`
and `source` says why this number.
"""

from dataclasses import dataclass
from typing import Final


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipWindow:
    """Chip loads that suit one diameter of bit (mm): `load` holds the best and its range."""

    diameter: float
    load: Sourced


def _density_term(power: int, value: float) -> Sourced:
    """One coefficient of the density fit."""
    return Sourced(
        name=f"density of ice, term of t^{power}",
        value=value,
        unit=f"kg/m3/degC^{power}" if power else "kg/m3",
        low=value,
        high=value,
        conditions="101325 Pa, t -30 to 0 degC; cubic fitted here, within 8e-6 kg/m3 of the source",
        source="IAPWS2009",
    )


DENSITY_TERMS: Final = (
    _density_term(0, 916.72184),
    _density_term(1, -0.1465224),
    _density_term(2, -0.0002082779),
    _density_term(3, 4.695279e-07),
)
"""Rising powers of the temperature in degC."""

ENERGY: Final = Sourced(
    name="specific cutting energy",
    value=4.0,
    unit="MPa",
    low=1.6,
    high=10.0,
    conditions="-10 degC, mean chip 0.1 mm, rake 10 to 30 deg, sharp; three times more when dull",
    source="no measurement above 1 m/s was found; where bounds from shear, crushing and the "
    "warming of chips overlap",
    assumed=True,
)
ENERGY_CHIP: Final = Sourced(
    name="mean chip at which the specific energy is stated",
    value=0.1,
    unit="mm",
    low=0.1,
    high=0.1,
    conditions="choice of the reference point",
    source="a round number amid the chips of router bits",
    assumed=True,
)
ENERGY_EXPONENT: Final = Sourced(
    name="fall of specific energy with chip thickness",
    value=0.4,
    unit="1",
    low=0.2,
    high=0.7,
    conditions="mean chip 0.01 to 5 mm",
    source="a power law is known from grinding other brittle solids, the exponent is judgement; "
    "slow planing of lake ice with chips of 5 mm may point nearer to 0.2",
    assumed=True,
)
ENERGY_TEMPERATURE: Final = Sourced(
    name="rise of specific energy with cold",
    value=0.03,
    unit="1/K",
    low=0.01,
    high=0.05,
    conditions="-30 to 0 degC",
    source="taken to follow the hardness of single crystals, which rises 3.2 % a kelvin; not "
    "measured in cutting",
    assumed=True,
)
ENERGY_DATUM: Final = Sourced(
    name="temperature at which energy and chip load are stated",
    value=-10.0,
    unit="degC",
    low=-10.0,
    high=-10.0,
    conditions="choice of the reference point",
    source="a usual temperature of ice on a machine",
    assumed=True,
)
EDGE_RADIUS: Final = Sourced(
    name="chip thickness below which an edge rubs",
    value=0.01,
    unit="mm",
    low=0.005,
    high=0.02,
    conditions="sharp carbide",
    source="the size of a sharp edge's radius, from memory; the energy no longer rises below it",
    assumed=True,
)
LEAST_CHIP_LOAD: Final = Sourced(
    name="least chip load",
    value=0.015,
    unit="mm",
    low=0.010,
    high=0.015,
    conditions="any bit",
    source="above the edge radius with some room, so that each tooth cuts rather than melts",
    assumed=True,
)
CHIP_LOAD_TEMPERATURE: Final = Sourced(
    name="growth of chip load with warmth",
    value=0.01,
    unit="1/K",
    low=0.0,
    high=0.03,
    conditions="-30 to 0 degC",
    source="warm ice melts in thin chips, cold ice spalls under thick ones; a mild slope",
    assumed=True,
)


def _window(name: str, diameter: float, low: float, best: float, high: float) -> ChipWindow:
    """One diameter's window; all rest on the same judgement."""
    return ChipWindow(
        diameter=diameter,
        load=Sourced(
            name=f"chip load of a {name} bit",
            value=best,
            unit="mm",
            low=low,
            high=high,
            conditions="-10 degC, depth up to one diameter, two flutes, plastics style",
            source="judgement, kept below the upper end of sellers' charts for soft plastic",
            assumed=True,
        ),
    )


CHIP_WINDOWS: Final = (
    _window("1/16 in", 1.5875, 0.02, 0.04, 0.075),
    _window("1/8 in", 3.175, 0.05, 0.08, 0.15),
    _window("1/4 in", 6.35, 0.10, 0.16, 0.25),
    _window("3/8 in", 9.525, 0.125, 0.20, 0.30),
    _window("1/2 in", 12.7, 0.15, 0.25, 0.40),
)
"""Rising in diameter."""


def _depth_share(diameters: int, value: float) -> Sourced:
    """One point of the depth rule."""
    return Sourced(
        name=f"share of the chip load at a depth of {diameters} D",
        value=value,
        unit="1",
        low=value,
        high=value,
        conditions="printed for wood and plastics",
        source="SpiralChart",
    )


DEPTH_SHARES: Final = (_depth_share(1, 1.0), _depth_share(2, 0.75), _depth_share(3, 0.5))
"""At depths of 1, 2 and 3 diameters."""

CONSTANTS: Final[tuple[Sourced, ...]] = (
    *DENSITY_TERMS,
    ENERGY,
    ENERGY_CHIP,
    ENERGY_EXPONENT,
    ENERGY_TEMPERATURE,
    ENERGY_DATUM,
    EDGE_RADIUS,
    LEAST_CHIP_LOAD,
    CHIP_LOAD_TEMPERATURE,
    *(window.load for window in CHIP_WINDOWS),
    *DEPTH_SHARES,
)
ASSUMED: Final = tuple(constant for constant in CONSTANTS if constant.assumed)
"""What no source backs, for the README and the job sheet."""
