"""Constants of ice and of cutting it, and the list of all constants of the ice model."""

from dataclasses import dataclass
from typing import Final

from icecam.ice.keeping_constants import KEEPING
from icecam.ice.sourced import Sourced, printed


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipWindow:
    """Chip loads that suit one diameter of bit (mm): `load` holds the best and its range."""

    diameter: float
    load: Sourced


def _fitted(what: str, unit: str, within: str, *values: float) -> tuple[Sourced, ...]:
    """Terms of a polynomial fitted here to IAPWS R10-06, rising powers of the temperature."""
    return tuple(
        printed(
            f"{what} of ice, term of t^{power}",
            value,
            f"{unit}/degC^{power}" if power else unit,
            f"101325 Pa, t -30 to 0 degC; fitted here, within {within} {unit} of the source",
            "IAPWS2009",
        )
        for power, value in enumerate(values)
    )


DENSITY_TERMS: Final = _fitted(
    "density", "kg/m3", "8e-6", 916.72184, -0.1465224, -0.0002082779, 4.695279e-07
)
HEAT_TERMS: Final = _fitted(
    "specific heat", "J/kg/K", "0.0004", 2096.69501, 7.37453854, 0.00139698288, -8.60329267e-06
)
EXPANSION_TERMS: Final = _fitted(
    "linear expansion", "1/K", "2e-9", 5.32784862e-05, 1.6006007e-07, -4.71880018e-10
)
"""Each in rising powers of the temperature in degC."""

MELTING_POINT: Final = printed(
    "melting point of ice", 0.002519, "degC", "101325 Pa, water without air", "IAPWS2009"
)
MELTING_HEAT: Final = printed(
    "melting heat of ice", 333426.5, "J/kg", "at the melting point, 101325 Pa", "IAPWS2018"
)
EVAPORATION_HEAT: Final = printed(
    "evaporation heat of water", 2500915.0, "J/kg", "at the triple point", "IAPWS2018"
)
TRIPLE_TEMPERATURE: Final = printed(
    "triple point of water, temperature", 273.16, "K", "ice, water and vapour", "IAPWS2011"
)
TRIPLE_PRESSURE: Final = printed(
    "triple point of water, pressure", 611.657, "Pa", "ice, water and vapour", "IAPWS2011"
)


def _sublimation_term(index: int, factor: float, power: float) -> tuple[Sourced, Sourced]:
    """One term of the sublimation curve: its factor and its power."""
    name = f"sublimation curve, term {index}"
    return (
        printed(f"{name}, factor", factor, "1", "50 to 273.16 K", "IAPWS2011"),
        printed(f"{name}, power", power, "1", "50 to 273.16 K", "IAPWS2011"),
    )


SUBLIMATION_TERMS: Final = (
    _sublimation_term(1, -21.2144006, 0.00333333333),
    _sublimation_term(2, 27.3203819, 1.20666667),
    _sublimation_term(3, -6.1059813, 1.70333333),
)
"""Pairs of factor and power of the reduced temperature."""

CONDUCTIVITY_FACTOR: Final = printed(
    "conductivity of ice, factor", 9.828, "W/m/K", "as quoted in later works", "Yen1981"
)
CONDUCTIVITY_FALL: Final = printed(
    "conductivity of ice, fall with temperature", 0.0057, "1/K", "as quoted", "Yen1981"
)
CONDUCTIVITY_DOUBT: Final = Sourced(
    name="doubt about the conductivity of ice",
    value=0.07,
    unit="1",
    low=0.05,
    high=0.11,
    conditions="-30 to 0 degC, either way, as a share",
    source="2.07 by the fit, 2.14 to 2.3 W/m/K by others at 0 degC, quoted from memory",
    assumed=True,
)

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
    name = f"share of the chip load at a depth of {diameters} D"
    return printed(name, value, "1", "printed for wood and plastics", "SpiralChart")


DEPTH_SHARES: Final = (_depth_share(1, 1.0), _depth_share(2, 0.75), _depth_share(3, 0.5))
"""At depths of 1, 2 and 3 diameters."""

CARBIDE_MODULUS: Final = Sourced(
    name="modulus of carbide",
    value=600.0,
    unit="GPa",
    low=530.0,
    high=650.0,
    conditions="solid carbide of bits, room temperature or colder",
    source="usual figure of hard metal, about three times that of steel, from memory",
    assumed=True,
)
FLUTE_CORE: Final = Sourced(
    name="share of its diameter by which a fluted bit bends",
    value=0.8,
    unit="1",
    low=0.65,
    high=0.85,
    conditions="two or three flutes, against a round bar",
    source="usual figure for the flutes of end mills, from memory; measure the core of a slim bit",
    assumed=True,
)
IDLE_SHARE: Final = Sourced(
    name="idle loss over the most a spindle gives",
    value=0.1,
    unit="1",
    low=0.05,
    high=0.15,
    conditions="router spindle at working speed, warmed up",
    source="100 to 300 W for a spindle of 2 kW, from memory; read your meter with nothing cut",
    assumed=True,
)
DRIVE_EFFICIENCY: Final = Sourced(
    name="share of the drawn power that reaches the edge",
    value=0.8,
    unit="1",
    low=0.65,
    high=0.9,
    conditions="spindle motor and its inverter, what cutting adds to the meter",
    source="usual figure of small motors with inverters, from memory",
    assumed=True,
)
ICE_TENSION: Final = Sourced(
    name="tensile strength of ice",
    value=1.5,
    unit="MPa",
    low=0.7,
    high=3.1,
    conditions="-20 to -10 degC, hardly changes with temperature and rate, falls with grain size",
    source="Petrovic2003",
)
CARBIDE_STRENGTH: Final = Sourced(
    name="bending strength of carbide",
    value=3000.0,
    unit="MPa",
    low=1500.0,
    high=4000.0,
    conditions="solid carbide of bits; the low end stands for notched and used ones",
    source="usual figure of hard metal, from memory",
    assumed=True,
)
SAFETY: Final = Sourced(
    name="factor of safety on the least strength",
    value=2.0,
    unit="1",
    low=1.5,
    high=4.0,
    conditions="walls of ice and shanks of bits under the high end of the force",
    source="judgement; blocks crack at flaws that nobody sees",
    assumed=True,
)
FROSTED_SCALLOP: Final = Sourced(
    name="scallop height of a piece left frosted",
    value=0.05,
    unit="mm",
    low=0.03,
    high=0.1,
    conditions="as cut, seen from an arm's length",
    source="common practice, no source; higher ridges show as lines where light grazes them",
    assumed=True,
)
WIPED_SCALLOP: Final = Sourced(
    name="scallop height of a piece wiped clear",
    value=0.15,
    unit="mm",
    low=0.1,
    high=0.3,
    conditions="wiped with water or passed over with a flame until clear",
    source="common practice, no source; the wiping melts some tenths of a millimetre off ridges",
    assumed=True,
)

CONSTANTS: Final[tuple[Sourced, ...]] = (
    *DENSITY_TERMS,
    *HEAT_TERMS,
    *EXPANSION_TERMS,
    MELTING_POINT,
    MELTING_HEAT,
    EVAPORATION_HEAT,
    TRIPLE_TEMPERATURE,
    TRIPLE_PRESSURE,
    *(constant for term in SUBLIMATION_TERMS for constant in term),
    CONDUCTIVITY_FACTOR,
    CONDUCTIVITY_FALL,
    CONDUCTIVITY_DOUBT,
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
    CARBIDE_MODULUS,
    FLUTE_CORE,
    IDLE_SHARE,
    DRIVE_EFFICIENCY,
    ICE_TENSION,
    CARBIDE_STRENGTH,
    SAFETY,
    FROSTED_SCALLOP,
    WIPED_SCALLOP,
    *KEEPING,
)
ASSUMED: Final = tuple(constant for constant in CONSTANTS if constant.assumed)
"""What no source backs, for the README and the job sheet."""
