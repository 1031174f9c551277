"""Slow twins of the text kernels, written from NISTIR 6556 in plain Python.

Moves are written with exact fractions, and read with regular expressions, dictionaries and complex
numbers. Nothing is shared with the kernels.
"""

import cmath
import math
import re
from dataclasses import dataclass, field
from fractions import Fraction

Point = tuple[float, float, float]


def as_decimal(ticks: int, decimals: int) -> str:
    """Plain decimal of ticks 10^-decimals: no exponent, no plus, no needless zeros, no -0."""
    whole, rest = divmod(abs(ticks), 10**decimals)
    text = str(whole)
    if rest:
        text += "." + str(rest).zfill(decimals).rstrip("0")
    return "-" + text if ticks < 0 else text


def written_moves(
    moves: list[tuple[Point, bool, float]],
    *,
    decimals: int,
    feed_decimals: int,
    mm_per_unit: Fraction,
    step: int,
) -> list[str]:
    """Lines of moves (end in mm, whether it cuts, feed in mm/s), nothing known before the first."""
    lines: list[str] = []
    there: list[int | None] = [None, None, None]
    motion, feed, number = None, None, 0
    for end, cuts, speed in moves:
        goal = [round(Fraction(value) / mm_per_unit * 10**decimals) for value in end]
        if goal == there:
            continue
        words = []
        if step:
            number = number + step if number + step <= 99999 else step
            words.append(f"N{number}")
        if motion != cuts:
            words.append("G1" if cuts else "G0")
            motion = cuts
        for letter, ticks, old in zip("XYZ", goal, there, strict=True):
            if ticks != old:
                words.append(letter + as_decimal(ticks, decimals))
        there = list(goal)
        if cuts:
            ticks = math.floor(Fraction(speed) * 60 / mm_per_unit * 10**feed_decimals)
            if ticks != feed:
                words.append("F" + as_decimal(ticks, feed_decimals))
                feed = ticks
        lines.append(" ".join(words))
    return lines


class RefusedError(Exception):
    """The line that is not RS-274/NGC as the reader wants it."""

    def __init__(self, line: int) -> None:
        super().__init__(f"line {line}")
        self.line = line


@dataclass
class Arc:
    """An arc: axes of its plane, centre and turn in rad there (positive counter-clockwise)."""

    axes: tuple[int, int, int]
    centre: complex
    turn: float


@dataclass
class Move:
    """One move of the text, mm and mm/s."""

    begin: Point
    end: Point
    cuts: bool
    feed: float
    line: int
    arc: Arc | None = None


@dataclass
class Reading:
    """Everything a text gives, and the modes in force while it is read."""

    position: list[float | None]
    moves: list[Move] = field(default_factory=list)
    events: list[tuple[int, str, float, int]] = field(default_factory=list)
    start: Point | None = None
    scale: float | None = None
    feed: float = 0.0
    speed: float = 0.0
    turning: int = 0
    tool: float = 0.0
    motion: float = 80.0
    plane: float = 17.0
    incremental: bool = False
    line: int = 0

    def known(self) -> Point | None:
        """The position, if all of it is known."""
        x, y, z = self.position
        return None if x is None or y is None or z is None else (x, y, z)

    def event(self, kind: str, value: float) -> None:
        self.events.append((len(self.moves), kind, value, self.line))


_WORD = re.compile(rb"\|*([FGIJKMPRSTXYZ])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_G: list[set[float]] = [
    {4, 53},
    {0, 1, 2, 3, 80},
    {17, 18, 19},
    {90, 91},
    {94},
    {20, 21},
    {40},
    {49},
    {54},
]
_G += [{61, 61.1, 64}]
_M: list[set[float]] = [{0, 1, 2, 30, 60}, {6}, {3, 4, 5}, {7, 8, 9}, {48, 49}]
_PLANES = {17.0: (0, 1, 2), 18.0: (2, 0, 1), 19.0: (1, 2, 0)}


def _demand(met: bool) -> None:
    if not met:
        raise ValueError


def _bare(line: bytes) -> bytes:
    """Line in capitals without blanks; each comment is one bar."""
    _demand(b"|" not in re.sub(rb"\([^()]*\)|;.*", b"", line))
    comments = re.findall(rb"\([^()]*\)|;.*", line)
    _demand(not any(byte < 32 and byte != 9 for text in comments for byte in text))
    return re.sub(rb"[ \t]", b"", re.sub(rb"\([^()]*\)|;.*", b"|", line)).upper()


def _words(line: bytes) -> list[tuple[str, float]]:
    """Letters and numbers of a line."""
    rest = re.sub(rb"^/", b"", _bare(line))
    rest = re.sub(rb"^N[0-9]{1,5}(?![0-9.])", b"", rest)
    found = []
    while match := _WORD.match(rest):
        found.append((match[1].decode(), float(match[2])))
        rest = rest[match.end() :]
    _demand(rest.strip(b"|") == b"")
    _demand(all(abs(value) <= 9_999_999 for _, value in found))
    return found


def _codes(found: list[tuple[str, float]], letter: str, groups: list[set[float]]) -> set[float]:
    """Codes of a letter, one a modal group."""
    known = {float(code) for group in groups for code in group}
    codes = []
    for name, value in found:
        if name == letter:
            near = [code for code in known if abs(code - value) <= 0.0001]
            _demand(len(near) == 1)
            codes += near
    for group in groups:
        _demand(sum(code in group for code in codes) <= 1)
    return set(codes)


def _settings(now: Reading, words: dict[str, float], g: set[float], m: set[float]) -> None:
    """F, S, T, M6, spindle, coolant, dwell, plane, units, distance: the order of 3.8."""
    if "F" in words:
        _demand(now.scale is not None)
        now.feed = words["F"] * (now.scale or 0) / 60
    now.speed = words.get("S", now.speed)
    now.tool = float(round(words.get("T", now.tool)))
    if "S" in words and now.turning and not m & {3, 4, 5, 6}:
        now.event("spindle", now.turning * now.speed)
    if 6 in m:
        if now.turning:
            now.event("spindle", 0)
        now.turning = 0
        now.event("tool", now.tool)
    for spin, way in ((3, 1), (4, -1), (5, 0)):
        if spin in m:
            now.turning = way
            now.event("spindle", way * now.speed)
    for coolant in m & {7, 8, 9}:
        now.event("coolant", coolant)
    if 4 in g:
        now.event("dwell", words["P"])
    now.plane = next(iter(g & {17, 18, 19}), now.plane)
    for units, scale in ((20, 25.4), (21, 1.0)):
        if units in g:
            now.feed = now.feed if now.scale == scale else 0.0
            now.scale = scale
    if g & {90, 91}:
        now.incremental = 91 in g
    now.motion = next(iter(g & {0, 1, 2, 3, 80}), now.motion)


def _check(now: Reading, words: dict[str, float], g: set[float]) -> None:
    """What must and must not stand together."""
    given = g & {0, 1, 2, 3, 80}
    motion = next(iter(given), now.motion)
    axes = words.keys() & set("XYZ")
    _demand(bool(axes) or not (given - {80} or 53 in g))
    _demand(not axes or motion != 80)
    _demand(not words.keys() & set("IJKR") or (bool(axes) and motion in (2, 3)))
    _demand("P" not in words or bool(g & {4, 64}))
    _demand("P" in words or 4 not in g)
    _demand(all(words.get(letter, 0) >= 0 for letter in "FPST"))
    _demand(abs(words.get("T", 0) - round(words.get("T", 0))) <= 0.0001)


def _turn(begin: complex, end: complex, centre: complex, counter: bool) -> float:
    """Signed angle from begin to end around the centre, a full circle if they coincide."""
    angle = cmath.phase((end - centre) / (begin - centre))
    turn = (angle if counter else -angle) % (2 * math.pi)
    turn = 2 * math.pi if turn <= 1e-12 else turn
    return turn if counter else -turn


def _arc(now: Reading, words: dict[str, float], begin: Point, end: Point) -> Arc:
    """The arc of a line."""
    first, second, across = axes = _PLANES[now.plane]
    scale = now.scale or 0
    limit = (0.002 if scale == 1 else 0.0002 * 25.4) + 1e-9
    _demand("XYZ"[first] in words or "XYZ"[second] in words)
    a, b = complex(begin[first], begin[second]), complex(end[first], end[second])
    counter = now.motion == 3
    if "R" in words:
        _demand(not words.keys() & set("IJK") and a != b)
        radius = words["R"] * scale
        _demand(abs(b - a) / 2 <= abs(radius) + limit and abs(radius) <= 99999)
        rise = math.sqrt(max(radius**2 - abs(b - a) ** 2 / 4, 0))
        side = 1j * (b - a) / abs(b - a) * rise
        both = [
            Arc(axes, c, _turn(a, b, c, counter)) for c in ((a + b) / 2 + side, (a + b) / 2 - side)
        ]
        pick = min if radius > 0 else max
        return pick(both, key=lambda arc: abs(arc.turn))
    _demand("IJK"[across] not in words and bool(words.keys() & set("IJK")))
    offset = complex(words.get("IJK"[first], 0), words.get("IJK"[second], 0)) * scale
    centre = a + offset
    _demand(centre not in (a, b))
    _demand(abs(abs(a - centre) - abs(b - centre)) <= limit and abs(a - centre) <= 99999)
    return Arc(axes, centre, _turn(a, b, centre, counter))


def _motion(now: Reading, words: dict[str, float], g: set[float]) -> None:
    """The move of a line."""
    axes = words.keys() & set("XYZ")
    if not axes:
        return
    _demand(now.scale is not None)
    begin = now.known()
    if 53 in g:
        _demand(begin is None and now.motion == 0 and not now.incremental)
        now.position = [
            None if letter in axes else old for letter, old in zip("XYZ", now.position, strict=True)
        ]
        return
    goal = list(now.position)
    for index, letter in enumerate("XYZ"):
        if letter in words:
            value = words[letter] * (now.scale or 0)
            if now.incremental:
                old = now.position[index]
                _demand(old is not None)
                value += old or 0
            _demand(abs(value) <= 99999)
            goal[index] = value
    cuts = now.motion > 0
    _demand(not cuts or (begin is not None and now.feed > 0))
    now.position = goal
    end = now.known()
    if begin is None:
        now.start = end
        return
    assert end is not None
    if now.motion in (2, 3):
        now.moves.append(Move(begin, end, True, now.feed, now.line, _arc(now, words, begin, end)))
    elif begin != end:
        now.moves.append(Move(begin, end, cuts, now.feed if cuts else math.nan, now.line))


def _line(now: Reading, line: bytes) -> bool:
    """Carry out a line; whether the program ends there."""
    found = _words(line)
    g, m = _codes(found, "G", _G), _codes(found, "M", _M)
    words = {letter: value for letter, value in found if letter not in "GM"}
    _demand(len(words) == sum(letter not in "GM" for letter, _ in found))
    _demand(sum(letter == "M" for letter, _ in found) <= 4)
    _check(now, words, g)
    _settings(now, words, g, m)
    _motion(now, words, g)
    for code in m & {0, 1, 60}:
        now.event("stop", code)
    for code in m & {2, 30}:
        now.event("end", code)
    return bool(m & {2, 30})


def read(text: bytes, start: Point | None = None) -> Reading:
    """Read a program; RefusedError with the line that is wrong."""
    now = Reading(position=list(start or (None, None, None)), start=start)
    opened = seen = False
    for now.line, raw in enumerate(text.removesuffix(b"\n").split(b"\n"), start=1):
        line = raw.removesuffix(b"\r")
        try:
            _demand(len(line) <= 256)
            if line.strip(b" \t") == b"%":
                _demand(opened or not seen)
                if opened:
                    now.event("end", 0)
                    return now
                opened = seen = True
            elif line.strip(b" \t"):
                seen = True
                if _line(now, line):
                    return now
        except ValueError:
            raise RefusedError(now.line) from None
    raise RefusedError(now.line)
