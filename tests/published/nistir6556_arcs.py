"""Arcs of RS-274/NGC text in centre format, followed word by word in exact decimals.

Source: NISTIR 6556 (Kramer, Proctor, Messina 2000), 3.5.3 and 3.5.3.2: in the XY plane I and J are
the offsets of the centre from the current point, whatever the distance mode; at least one of X and
Y, and one of I and J, stands on the line; the radii at start and end agree within 0.0002 inch or
0.002 mm; an arc that ends where it begins is a full circle. Only G17, G90 and plain numbers.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tests.published.nistir6556 import ConformityError, words

RADII: Final = {"mm": Decimal("0.002"), "in": Decimal("0.0002")}
Point = tuple[Decimal, Decimal, Decimal]


@dataclass(frozen=True)
class Move:
    """A move in the units of the text; centre and way round of an arc, else None."""

    begin: Point
    end: Point
    feeds: bool
    centre: tuple[Decimal, Decimal] | None = None
    clockwise: bool = False

    @property
    def radii(self) -> tuple[Decimal, Decimal]:
        """From both ends of an arc to its centre."""
        assert self.centre is not None
        (x, y), (a, b) = self.begin[:2], self.centre
        u, v = self.end[:2]
        return ((x - a) ** 2 + (y - b) ** 2).sqrt(), ((u - a) ** 2 + (v - b) ** 2).sqrt()

    @property
    def turn(self) -> float:
        """Angle of an arc, rad, above 0."""
        assert self.centre is not None
        a, b = (float(part) for part in self.centre)
        from_start = np.angle(complex(float(self.begin[0]) - a, float(self.begin[1]) - b))
        from_end = np.angle(complex(float(self.end[0]) - a, float(self.end[1]) - b))
        turn = (from_start - from_end if self.clockwise else from_end - from_start) % (2 * np.pi)
        return float(turn) if turn > 0 else 2 * np.pi

    def places(self, off: float) -> NDArray[np.float64]:
        """Return places along the move, both ends among them; chords between lie `off` off it."""
        begin, end = (np.array(point, dtype=np.float64) for point in (self.begin, self.end))
        if self.centre is None:
            return np.stack([begin, end])
        first, last = (float(radius) for radius in self.radii)
        count = int(np.ceil(self.turn / np.sqrt(8 * off / first))) + 2
        share = np.linspace(0, 1, count)
        centre = complex(*(float(part) for part in self.centre))
        spoke = complex(begin[0], begin[1]) - centre
        way = np.exp(1j * share * (-self.turn if self.clockwise else self.turn))
        ring = centre + spoke * way * (1 + share * (last / first - 1))
        height = begin[2] + share * (end[2] - begin[2])
        return np.column_stack([ring.real, ring.imag, height])


def _demand(met: bool, rule: str, line: str) -> None:
    if not met:
        raise ConformityError(f"{rule}: {line!r}")


def _arc(here: Point, there: Point, numbers: dict[str, Decimal], unit: str, line: str) -> Move:
    """The arc of a line, by 3.5.3.2."""
    _demand(bool(numbers.keys() & set("XY")), "arc without X and Y", line)
    _demand(bool(numbers.keys() & set("IJ")), "arc without I and J", line)
    _demand(not numbers.keys() & set("KR"), "K or R in an arc by centre in XY", line)
    none = Decimal(0)
    centre = here[0] + numbers.get("I", none), here[1] + numbers.get("J", none)
    move = Move(here, there, True, centre, numbers["G"] == 2)
    first, last = move.radii
    _demand(first > 0 and last > 0, "centre on an end", line)
    _demand(abs(first - last) <= RADII[unit], "radii differ", line)
    return move


def follow(text: str) -> list[Move]:
    """Moves of a text once X, Y and Z are known; ConformityError for an arc that is none."""
    here: dict[str, Decimal] = {}
    unit, motion, found = "mm", Decimal(1), list[Move]()
    for line in text.splitlines():
        pairs = [(letter, Decimal(repr(value))) for letter, value in words(line.replace("%", ""))]
        codes = [value for letter, value in pairs if letter == "G"]
        unit = "in" if 20 in codes else "mm" if 21 in codes else unit
        motion = next((code for code in codes if code in (0, 1, 2, 3)), motion)
        numbers = dict(pairs) | {"G": motion}
        _demand(motion in (2, 3) or not numbers.keys() & set("IJK"), "I, J without arc", line)
        if not numbers.keys() & set("XYZ"):
            continue
        before, known = dict(here), len(here) == 3
        here |= {letter: numbers[letter] for letter in "XYZ" if letter in numbers}
        if not known:
            continue
        begin, end = ((place["X"], place["Y"], place["Z"]) for place in (before, here))
        if motion in (2, 3):
            found.append(_arc(begin, end, numbers, unit, line))
        else:
            found.append(Move(begin, end, motion == 1))
    return found
