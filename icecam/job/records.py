"""What the sculptor decides and owns: block, bits, machine, quality. Frozen records in mm and s.

They know nothing of files; `icecam.job.file` fills them from TOML. A record checks each value by
itself; `icecam.job.checks` holds what must be true between values.
"""

from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len, Lt
from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field
from pydantic.dataclasses import dataclass

from icecam.job.quantity import (
    Acceleration,
    Degrees,
    Jerk,
    Length,
    Number,
    Speed,
    Temperature,
    Time,
)

_closed = ConfigDict(extra="forbid")


def _seen(text: str) -> str:
    """Return a name that can be read on a sheet: no line breaks, not only blanks."""
    if not text.strip() or not text.isprintable():
        raise ValueError("it cannot be read on a sheet")
    return text


def _not_bool(value: object) -> object:
    """Keep `false` from passing as 0 where a list of numbers is allowed."""
    if isinstance(value, bool):
        raise ValueError("true and false are not numbers")
    return value


Shape = Literal["flat", "ball", "rounded corner", "tapered ball", "vee"]
Face = Literal["top", "bottom", "front", "back", "left", "right"]
Profile = Literal["light gantry", "mid-size gantry", "heavy gantry"]
Unit = Literal["mm", "cm", "m", "in"]
AirSpeed = Literal["still", "light fan", "blower"]
Name = Annotated[str, Len(1, 40), AfterValidator(_seen)]
Whole = Annotated[int, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]
PositiveLength = Annotated[Length, Gt(0), Le(10_000)]
LengthFromZero = Annotated[Length, Ge(0), Le(10_000)]
Offset = Annotated[Length, Ge(-10_000), Le(10_000)]
Rpm = Annotated[Number, Gt(0), Le(200_000)]
Watts = Annotated[Number, Gt(0), Le(100_000)]
Share = Annotated[Number, Ge(0), Le(1)]
Axes = tuple[PositiveLength, PositiveLength, PositiveLength]
Point = tuple[Offset, Offset, Offset]
FileName = Annotated[str, Len(1, 4000), AfterValidator(_seen)]
AxisSpeed = Annotated[Speed, Gt(0), Le(10_000)]
AxisSpeeds = tuple[AxisSpeed, AxisSpeed, AxisSpeed]
AxisAcceleration = Annotated[Acceleration, Gt(0), Le(100_000)]
AxisAccelerations = tuple[AxisAcceleration, AxisAcceleration, AxisAcceleration]
AxisJerk = Annotated[Jerk, Gt(0), Le(100_000_000)]
AxisJerks = tuple[AxisJerk, AxisJerk, AxisJerk]


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Bit:
    """One bit as it stands in the collet.

    `diameter` is the cutting diameter of a flat, ball or rounded-corner bit, the diameter of the
    ball at the tip of a tapered ball, and the flat at the tip of a vee (0 for a point).
    `taper_deg` lies between flank and axis, half the included angle. The cutting end reaches up to
    `flute_length`; the shank goes on from there to the collet nut, whose face is `stick_out` above
    the tip.
    """

    name: Name
    shape: Shape
    diameter: LengthFromZero
    corner_radius: LengthFromZero = 0.0
    taper_deg: Annotated[Degrees, Ge(0), Lt(85)] = 0.0
    flutes: Annotated[Whole, Ge(1), Le(8)]
    flute_length: PositiveLength
    shank: PositiveLength
    stick_out: PositiveLength
    nut: PositiveLength = 34.0
    nut_length: PositiveLength = 20.0
    chip_load: Annotated[Length, Gt(0), Le(10)] | None = None
    """mm a tooth; None: chosen from the ice."""
    spindle_rpm: Rpm | None = None
    """None: chosen from the machine."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Spindle:
    """Speed range, what it gives, how long it takes to start, and its body above the nut."""

    least_rpm: Rpm
    most_rpm: Rpm
    power: Annotated[tuple[tuple[Rpm, Watts], ...], Len(1, 50)]
    """Pairs of rpm and watts at the shaft, rising in rpm; straight lines between, level outside."""
    start: Annotated[Time, Ge(0), Le(3600)]
    body: PositiveLength
    """Diameter of the spindle above the collet nut."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Machine:
    """A gantry router: what its axes can do. Order of axes: X, Y, Z."""

    profile: Profile | None = None
    """The machine whose values hold where a job says nothing else; None: no profile was used."""
    name: Name
    travel: Axes
    nose_lowest: LengthFromZero
    """Height of the collet nut's face above the bed with Z at its lower end."""
    speed: AxisSpeeds
    acceleration: AxisAccelerations
    corner_tolerance: Annotated[Length, Ge(0), Le(10)]
    """How far the controller may cut a corner between two moves."""
    block_rate: Annotated[Number, Gt(0), Le(1_000_000)]
    """Moves a second that the controller takes from the file."""
    bit_change: Annotated[Time, Ge(0), Le(86_400)]
    jerk: AxisJerks | None = None
    """How fast each axis' acceleration may change; None: at once."""
    spindle: Spindle


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Sawn:
    """A straight saw cut all through the block, in block coordinates."""

    through: tuple[Point, Point, Point]
    """Three points of the cut."""
    gone: Point
    """A point on the side that was taken away."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Precut:
    """What was taken off the block before; ice stands where each of these leaves it."""

    sawn: Annotated[tuple[Sawn, ...], Len(0, 50)] = ()
    mesh: FileName | None = None
    """The block as it stands, in block coordinates."""
    heights: FileName | None = None
    """Heights of the ice over the bed, read off at crossings of lines along X and Y."""
    file_unit: Unit = "mm"
    """Of the mesh and of the heights."""

    @property
    def anything(self) -> bool:
        """Whether the block is not whole."""
        return bool(self.sawn or self.mesh or self.heights)


_WHOLE = Precut()


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Block:
    """The block as measured, how cold it is, how much stays uncut above the bed."""

    size: Axes
    temperature: Annotated[Temperature, Ge(-30), Le(0)]
    floor: LengthFromZero
    corner: tuple[LengthFromZero, LengthFromZero] | None = None
    """Where its front left corner lies in the machine's travel; None: in the middle."""
    zero: tuple[Offset, Offset, Offset] = (0.0, 0.0, 0.0)
    """Work zero in block coordinates: front left corner at bed level unless said."""
    precut_margin: Annotated[Length, Ge(0), Le(100)] = 5.0
    """Ice that may stand out of what `precut` leaves, in every direction."""
    precut: Precut = _WHOLE


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Sculpture:
    """How the mesh is read and how it lies in the block."""

    unit: Unit
    up: Face
    """Which face of the sculpture, as modelled (Z up, front towards -Y), looks up on the bed."""
    turn: Annotated[Literal[0, 90, 180, 270], BeforeValidator(_not_bool)]
    """Degrees turned about the vertical on the bed, seen from above, against the clock."""
    scale: Annotated[Number, Gt(0), Le(100_000)]
    fit: Flag
    margin: LengthFromZero
    """Ice kept between a fitted sculpture and the sides and top of the block."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Quality:
    """How fine the surface is, and what counts as done."""

    scallop: Annotated[Length, Ge(0.001), Le(10)]
    """Height of the ridge left between neighbouring finishing rows."""
    detail: Annotated[Length, Ge(0.001), Le(50)]
    """Ice a bit may leave before a smaller one is sent there."""
    bits: Literal["quickest", "all"]
    """Which bits of the rack carve: those that do it soonest, or each in its turn."""
    cell: Annotated[Length, Ge(0.01), Le(10)] | None = None
    """Grid of the proof; None: chosen from the block."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Roughing:
    """How the bulk is taken off."""

    clear: Literal["moat", "block"]
    skin: Annotated[Length, Gt(0), Le(100)]
    """Ice left on the sculpture for the finishing bits."""
    moat: PositiveLength
    """Least width of the moat round the sculpture."""
    step_down: Annotated[Number, Gt(0), Le(3)]
    """In diameters of the bit."""
    stepover: Annotated[Number, Gt(0), Le(0.7)]
    """In diameters of the bit; wider rows leave pillars in corners."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Feeds:
    """Shares of the cutting feed where the cut is harder, and heights of travel."""

    plunge: Annotated[Number, Gt(0), Le(1)]
    slot: Annotated[Number, Gt(0), Le(1)]
    ramp_deg: Annotated[Degrees, Gt(0), Le(45)]
    clearance: PositiveLength
    """Height kept above the ice on the way from cut to cut."""
    lift: PositiveLength
    """Over the block: the tip rises so high at start, end and bit change, if Z goes there."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Reading:
    """A meter read while a bit cut a straight groove or step, and while it ran idle."""

    cutting_w: Watts
    idle_w: Annotated[Number, Ge(0), Le(100_000)]
    diameter: PositiveLength
    flutes: Annotated[Whole, Ge(1), Le(8)]
    spindle_rpm: Rpm
    feed: AxisSpeed
    depth: PositiveLength
    width: PositiveLength
    temperature: Annotated[Temperature, Ge(-30), Le(0)]


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Ice:
    """Where ice gives trouble, and what the user has measured of it."""

    too_warm: Annotated[Temperature, Ge(-30), Le(0)]
    too_cold: Annotated[Temperature, Ge(-30), Le(0)]
    least_chip: Annotated[Length, Gt(0), Le(1)]
    """mm a tooth."""
    deep_slot: Annotated[Number, Gt(0), Le(100)]
    """Depth of a groove over the bit's diameter."""
    calibrate: Annotated[tuple[Reading, ...], Len(0, 50)] = ()
    """None: the usual energy of ice holds, see `icecam.ice.constants`."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Freezer:
    """The working day beside the machine, the room it stands in, the store, the event."""

    working_day: Annotated[Time, Gt(0), Le(86_400)]
    warm_up: Annotated[Time, Ge(0), Le(86_400)]
    """Of the spindle, once a day."""
    snow_bulk: Annotated[Number, Ge(1), Le(10)]
    """Litres of snow from a litre of ice."""
    snow_stop_litres: Annotated[Number, Gt(0), Le(100_000)]
    """Snow that may gather before the cut is stopped to clear it."""
    snow_stop: Annotated[Time, Ge(0), Le(86_400)]
    air: Annotated[Temperature, Ge(-30), Le(0)]
    air_humidity: Share
    """Over ice."""
    air_speed: AirSpeed
    people: Annotated[Whole, Ge(0), Le(20)]
    storage: Annotated[Temperature, Ge(-30), Le(0)]
    event_air: Annotated[Temperature, Ge(0), Le(40)]
    event_humidity: Share


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Output:
    """How the files are written."""

    dialect: Name
    unit: Literal["mm", "in"] | None = None
    """None: as the dialect says."""
    one_file: Flag = False
    """One file for the whole job; else one a stage."""
    arcs: Flag = True
    """Arcs where the dialect has them; else straight moves only."""


@dataclass(frozen=True, slots=True, kw_only=True, config=_closed)
class Job:
    """Everything `icecam carve` needs besides the mesh."""

    project: Annotated[str, Len(1, 80), AfterValidator(_seen)]
    block: Block
    ice: Ice
    freezer: Freezer
    sculpture: Sculpture
    quality: Quality
    roughing: Roughing
    feeds: Feeds
    machine: Machine
    rack: Annotated[tuple[Bit, ...], Len(1, 12)]
    output: Output
