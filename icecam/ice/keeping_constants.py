"""Constants of keeping ice: lifting it, tempering it, what a freezer and an event take from it."""

from typing import Final

from icecam.ice.sourced import Sourced, printed


def _assumed(
    name: str, value: float, unit: str, span: tuple[float, float], conditions: str, reason: str
) -> Sourced:
    """Record a constant that rests on judgement or memory."""
    return Sourced(
        name=name,
        value=value,
        unit=unit,
        low=span[0],
        high=span[1],
        conditions=conditions,
        source=reason,
        assumed=True,
    )


def _lifting(name: str, value: float, unit: str) -> Sourced:
    """Record a number of the lifting equation that a text on ergonomics quotes."""
    return printed(name, value, unit, "one person, two hands, a steady floor", "NIOSH1994")


def _remembered(name: str, value: float, unit: str) -> Sourced:
    """Record a number of the lifting equation from memory."""
    reason = "revised NIOSH lifting equation, from memory and not read again"
    return _assumed(name, value, unit, (value, value), "one person, two hands", reason)


LIFT_MOST: Final = _lifting("heaviest load in the best posture", 23.0, "kg")
LIFT_NEAR: Final = _lifting("reach that costs nothing", 250.0, "mm")
LIFT_KNUCKLES: Final = _lifting("best height of the hands", 750.0, "mm")
LIFT_HEIGHT_FALL: Final = _lifting("fall of the load with height of the hands", 0.0003, "1/mm")
LIFT_TRAVEL_LEAST: Final = _lifting("share of the load left after long travel", 0.82, "1")
LIFT_TRAVEL_FALL: Final = _lifting("rise of that share with short travel", 45.0, "mm")
LIFT_TURN_FALL: Final = _remembered("fall of the load with turning of the body", 0.0032, "1/deg")
LIFT_FARTHEST: Final = _remembered("farthest reach of a lift", 630.0, "mm")
LIFT_HIGHEST: Final = _remembered("greatest height and travel of a lift", 1750.0, "mm")
LIFT_TURN_MOST: Final = _remembered("greatest turn of a lift", 135.0, "deg")
LIFT_GRIP: Final = _remembered("share of the load with a poor grip", 0.9, "1")

USUAL_REACH: Final = _assumed(
    "reach when a block is lifted",
    400.0,
    "mm",
    (250.0, 630.0),
    "from ankles to hands, level",
    "half of a block 20 in wide and room for feet; measure your own",
)
USUAL_TRAVEL: Final = _assumed(
    "travel when a block is lifted",
    500.0,
    "mm",
    (250.0, 1000.0),
    "up or down, from a cart or pallet to the bed",
    "common practice without a source; measure your own",
)
TEAM_OF_TWO: Final = _assumed(
    "share of their summed strength that two people lift",
    0.67,
    "1",
    (0.5, 0.85),
    "in step, each with a good hold",
    "guidance on handling loads, from memory; the lifting equation itself is for one person",
)
TEAM_OF_THREE: Final = _assumed(
    "share of their summed strength that three people lift",
    0.5,
    "1",
    (0.4, 0.75),
    "in step, each with a good hold",
    "guidance on handling loads, from memory; the lifting equation itself is for one person",
)

TEMPERING_FILM: Final = _assumed(
    "heat transfer between a block and the air it tempers in",
    10.0,
    "W/m2/K",
    (5.0, 20.0),
    "still air to a fan, radiation of the walls included",
    "usual figures for air in rooms, good to a factor of two",
)
FREEZER_FILM: Final = _assumed(
    "heat transfer between a block and the air of a freezer",
    10.0,
    "W/m2/K",
    (4.0, 20.0),
    "still air, a light fan, a blower; no radiation",
    "usual figures for air in rooms, good to a factor of two",
)
FILM_DOUBT: Final = _assumed(
    "doubt about heat transfer in air",
    2.0,
    "1",
    (1.5, 3.0),
    "still air, a light fan, a blower; a factor either way",
    "nobody measures the air at the block; usual figures are good to a factor of two",
)
FREEZER_HUMIDITY: Final = _assumed(
    "relative humidity over ice in a freezer",
    0.8,
    "1",
    (0.5, 0.95),
    "against the vapour pressure of ice at that temperature",
    "a cold coil dries the air; no measurement at hand, so put a hygrometer in",
)
ROUTER_POWER: Final = _assumed(
    "electric power of a router at work, with lights",
    700.0,
    "W",
    (500.0, 1000.0),
    "spindle of 2 kW, mostly idle loss, drives and lights",
    "idle loss from memory; cutting itself takes tens of watts; read your meter",
)
PERSON_HEAT: Final = _assumed(
    "heat of a person at work",
    200.0,
    "W",
    (100.0, 300.0),
    "light to moderate work",
    "usual figure of building services, from memory",
)

LEWIS: Final = _assumed(
    "diffusivity of heat in air over that of vapour",
    0.88,
    "1",
    (0.82, 0.9),
    "-30 to 40 degC",
    "usual figure of humid air, from memory",
)
AIR_HEAT: Final = _assumed(
    "specific heat of air",
    1005.0,
    "J/kg/K",
    (1003.0, 1010.0),
    "dry, normal pressure, -30 to 40 degC",
    "usual figure of air, from memory",
)
AIR_PRESSURE: Final = printed("pressure of air", 101325.0, "Pa", "sea level", "Atmosphere1976")
AIR_GAS: Final = printed("gas constant of air", 287.053, "J/kg/K", "dry", "Atmosphere1976")
GRAVITY: Final = printed("gravity", 9.80665, "m/s2", "standard", "Atmosphere1976")
AIR_VISCOSITY: Final = tuple(
    printed(f"viscosity of air, {part}", value, unit, "dry", "Atmosphere1976")
    for part, value, unit in (("factor", 1.458e-6, "kg/m/s/K^0.5"), ("offset", 110.4, "K"))
)
AIR_CONDUCTIVITY: Final = tuple(
    printed(f"conductivity of air, {part}", value, unit, "dry", "Atmosphere1976")
    for part, value, unit in (
        ("factor", 2.64638e-3, "W/m/K^1.5"),
        ("offset", 245.4, "K"),
        ("power", 12.0, "K"),
    )
)
VAPOUR_GAS: Final = printed(
    "gas constant of water vapour", 461.51805, "J/kg/K", "ideal gas", "IAPWS2018"
)
SATURATION: Final = tuple(
    printed(f"vapour pressure of water, {part}", value, unit, "-40 to 50 degC", "Alduchov1996")
    for part, value, unit in (
        ("factor", 610.94, "Pa"),
        ("rise", 17.625, "1"),
        ("offset", 243.04, "K"),
    )
)
PLATE: Final = tuple(
    printed(
        f"free convection on an upright plate, {part}", value, "1", "Ra to 1e12", "Churchill1975"
    )
    for part, value in (("rest", 0.825), ("factor", 0.387), ("Prandtl part", 0.492))
)
RADIATION: Final = printed(
    "Stefan-Boltzmann constant", 5.670374e-8, "W/m2/K4", "black bodies", "CODATA2018"
)

EMISSIVITY: Final = _assumed(
    "emissivity of ice in a room",
    0.97,
    "1",
    (0.95, 0.99),
    "wet ice, walls as warm as the air",
    "usual figure of wet ice in the infrared, from memory",
)
CONVECTION_DOUBT: Final = _assumed(
    "true over computed free convection",
    1.0,
    "1",
    (0.75, 1.25),
    "a still room, upright faces; tops and rounded forms too",
    "correlations of free convection are good to about a quarter",
)
DRAUGHT_FILM: Final = _assumed(
    "heat transfer in a draught at an event",
    10.0,
    "W/m2/K",
    (5.0, 25.0),
    "doors, people, ventilation; 25 for a fan; no radiation",
    "usual figures for moving air, good to a factor of two",
)
EVENT_HUMIDITY: Final = _assumed(
    "relative humidity of a room at an event",
    0.5,
    "1",
    (0.4, 0.6),
    "heated or cooled room",
    "usual range of rooms that people find pleasant; read a hygrometer",
)

DETAIL_DEPTH: Final = _assumed(
    "loss of a face by which fine detail is gone",
    1.0,
    "mm",
    (0.5, 2.0),
    "lines and textures cut by bits of 1/16 to 1/8 in",
    "judgement: about the depth of such lines; trade pages give four hours for coarser detail",
)
WALL_THICKNESS: Final = _assumed(
    "thickness of a thin wall at an event",
    12.0,
    "mm",
    (6.0, 25.0),
    "standing free, melting from both sides",
    "common practice without a source: half an inch is thought the least that stands free",
)

SNOW_BULK: Final = _assumed(
    "litres of snow from a litre of ice",
    2.5,
    "1",
    (2.0, 3.0),
    "chips of router bits, loose",
    "loose snow of 300 to 500 kg/m3, from memory",
)
SNOW_BETWEEN: Final = _assumed(
    "snow that gathers between two stops to clear it",
    50.0,
    "l",
    (20.0, 100.0),
    "a bed about as large as the block, nothing that sucks the snow away",
    "common practice without a source; set it to how you work",
)
SNOW_STOP: Final = _assumed(
    "time of a stop to clear snow",
    300.0,
    "s",
    (120.0, 900.0),
    "shovel, brush, look at the bit",
    "common practice without a source; set it to how you work",
)
WARM_UP: Final = _assumed(
    "warming of the spindle each morning",
    600.0,
    "s",
    (300.0, 1200.0),
    "grease of bearings at -20 to -5 degC, run up slowly",
    "common practice without a source; the maker of the spindle knows",
)

KEEPING: Final[tuple[Sourced, ...]] = (
    LIFT_MOST,
    LIFT_NEAR,
    LIFT_KNUCKLES,
    LIFT_HEIGHT_FALL,
    LIFT_TRAVEL_LEAST,
    LIFT_TRAVEL_FALL,
    LIFT_TURN_FALL,
    LIFT_FARTHEST,
    LIFT_HIGHEST,
    LIFT_TURN_MOST,
    LIFT_GRIP,
    USUAL_REACH,
    USUAL_TRAVEL,
    TEAM_OF_TWO,
    TEAM_OF_THREE,
    TEMPERING_FILM,
    FREEZER_FILM,
    FILM_DOUBT,
    FREEZER_HUMIDITY,
    ROUTER_POWER,
    PERSON_HEAT,
    LEWIS,
    AIR_HEAT,
    AIR_PRESSURE,
    AIR_GAS,
    GRAVITY,
    *AIR_VISCOSITY,
    *AIR_CONDUCTIVITY,
    VAPOUR_GAS,
    *SATURATION,
    *PLATE,
    RADIATION,
    EMISSIVITY,
    CONVECTION_DOUBT,
    DRAUGHT_FILM,
    EVENT_HUMIDITY,
    DETAIL_DEPTH,
    WALL_THICKNESS,
    SNOW_BULK,
    SNOW_BETWEEN,
    SNOW_STOP,
    WARM_UP,
)
"""All of this module, for the list of all constants."""
