"""Weight of ice in the hands: mass of blocks and pieces, and who may lift them."""

import math
from dataclasses import dataclass
from typing import Final

from icecam.errors import JobError
from icecam.ice.keeping_constants import (
    LIFT_FARTHEST,
    LIFT_GRIP,
    LIFT_HEIGHT_FALL,
    LIFT_HIGHEST,
    LIFT_KNUCKLES,
    LIFT_MOST,
    LIFT_NEAR,
    LIFT_TRAVEL_FALL,
    LIFT_TRAVEL_LEAST,
    LIFT_TURN_FALL,
    LIFT_TURN_MOST,
    TEAM_OF_THREE,
    TEAM_OF_TWO,
    USUAL_REACH,
    USUAL_TRAVEL,
)
from icecam.ice.properties import density_kg_m3

MM3_PER_M3: Final = 1e9


def mass_kg(volume: float, temperature: float) -> float:
    """Mass of a piece of clear ice.

    Parameters
    ----------
    volume : mm3, not below 0
    temperature : degC, -30 to 0

    Returns
    -------
    kg

    Raises
    ------
    JobError : a volume below 0, or a temperature out of range

    Notes
    -----
    Density times volume; a cloudy block with bubbles is lighter. Source: as `density_kg_m3`.

    >>> round(mass_kg(1e9, -10.0), 1)
    918.2
    """
    if not volume >= 0:
        raise JobError(f"a piece of {volume:g} mm3 has no mass; give a volume that is not below 0")
    return density_kg_m3(temperature) * volume / MM3_PER_M3


def block_mass_kg(size: tuple[float, float, float], temperature: float) -> float:
    """Mass of a block of clear ice.

    Parameters
    ----------
    size : mm, along, across and up, each above 0
    temperature : degC, -30 to 0

    Returns
    -------
    kg

    Raises
    ------
    JobError : a side that is not above 0, or a temperature out of range

    Notes
    -----
    Density times volume; source: as `density_kg_m3`.

    >>> round(block_mass_kg((1016.0, 508.0, 254.0), -10.0), 1)
    120.4
    """
    if not min(size) > 0:
        raise JobError(f"a block has a side of {min(size):g} mm; give sides above 0")
    return mass_kg(math.prod(size), temperature)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """How a load is lifted: by one person, with two hands, seldom.

    Attributes
    ----------
    reach : mm, level way from the ankles to the hands, 0 to 630
    height : mm, of the hands above the floor where the lift starts or ends, whichever is farther
        from 750; 0 to 1750
    travel : mm, up or down, 0 to 1750
    turn_deg : deg, turn of the body from straight ahead, 0 to 135
    grip : 1 for handles down to 0.9 for edges

    Raises
    ------
    JobError : a lift that the equation does not allow at all
    """

    reach: float = USUAL_REACH.value
    height: float = LIFT_KNUCKLES.value
    travel: float = USUAL_TRAVEL.value
    turn_deg: float = 0.0
    grip: float = LIFT_GRIP.value

    def __post_init__(self) -> None:
        for what, value, most, unit in (
            ("reach", self.reach, LIFT_FARTHEST.value, "mm"),
            ("height", self.height, LIFT_HIGHEST.value, "mm"),
            ("travel", self.travel, LIFT_HIGHEST.value, "mm"),
            ("turn", self.turn_deg, LIFT_TURN_MOST.value, "deg"),
        ):
            if not 0 <= value <= most:
                raise JobError(
                    f"a lift with a {what} of {value:g} {unit} lies outside 0 to {most:g} {unit}, "
                    "where no weight is safe; come closer or use a hoist"
                )
        if not LIFT_GRIP.value <= self.grip <= 1:
            raise JobError(
                f"a grip of {self.grip:g} lies outside {LIFT_GRIP.value:g} to 1; "
                "give 1 for handles, less for edges"
            )


def weight_limit_kg(lift: Lift) -> float:
    """Weight that nearly all healthy workers can lift in this way.

    Parameters
    ----------
    lift : at most once in five minutes and for no more than an hour

    Returns
    -------
    kg, up to 23

    Notes
    -----
    [NIOSH1994]_, the recommended weight limit: 23 kg less for reach, height, travel, turn and grip.
    Frequency counts as 1. Cold hands and iced floors are outside of the equation: stay below it.

    >>> round(weight_limit_kg(Lift(reach=400.0, travel=500.0, grip=1.0)), 1)
    13.1
    """
    reach = min(1.0, LIFT_NEAR.value / lift.reach) if lift.reach else 1.0
    height = 1 - LIFT_HEIGHT_FALL.value * abs(lift.height - LIFT_KNUCKLES.value)
    rise = LIFT_TRAVEL_FALL.value / lift.travel if lift.travel else math.inf
    travel = min(1.0, LIFT_TRAVEL_LEAST.value + rise)
    turn = 1 - LIFT_TURN_FALL.value * lift.turn_deg
    return LIFT_MOST.value * reach * height * travel * turn * lift.grip


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftingCaution:
    """What to know before a load is lifted.

    Attributes
    ----------
    mass_kg : kg
    weight_limit_kg : kg, for one person in this posture
    lifting_index : mass over limit; above 1 the back is at risk, above 3 much so
    people : how many may lift it, 1 to 3; 0 when only a hoist may
    """

    mass_kg: float
    weight_limit_kg: float
    lifting_index: float
    people: int

    @property
    def hoist(self) -> bool:
        """Whether it takes a hoist."""
        return self.people == 0


def lifting_caution(mass_kg: float, lift: Lift) -> LiftingCaution:
    """Weigh a load against what people may lift.

    Parameters
    ----------
    mass_kg : kg, not below 0
    lift : posture of each person

    Returns
    -------
    LiftingCaution

    Raises
    ------
    JobError : a mass below 0

    Notes
    -----
    Limit and index for one person: [NIOSH1994]_. Two and three people count with 0.67 and 0.5 of
    the sum of their limits, which is assumed; more do not get around a block.

    >>> lifting_caution(block_mass_kg((1016.0, 508.0, 254.0), -10.0), Lift()).hoist
    True
    >>> lifting_caution(10.0, Lift()).people
    1
    """
    if not mass_kg >= 0:
        raise JobError(f"a load of {mass_kg:g} kg cannot be lifted; give one that is not below 0")
    limit = weight_limit_kg(lift)
    index = mass_kg / limit
    teams = ((1, 1.0), (2, 2 * TEAM_OF_TWO.value), (3, 3 * TEAM_OF_THREE.value))
    people = next((people for people, strength in teams if index <= strength), 0)
    return LiftingCaution(
        mass_kg=mass_kg, weight_limit_kg=limit, lifting_index=index, people=people
    )
