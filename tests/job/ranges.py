"""What each key of a job may hold, written down a second time, from the meaning of the key.

Lengths in mm, times in s, angles in deg, temperatures in C. The bounds are common practice or mere
sanity (no source): they catch slips of the unit, not fine points.
"""

from typing import Final, NamedTuple


class Range(NamedTuple):
    """Span of a number: whether its ends belong to it, and the unit its comment must name."""

    low: float
    low_included: bool
    high: float
    high_included: bool
    unit: str

    def inside(self) -> list[float]:
        """Return numbers that must be taken: the ends that belong, and one between."""
        ends = [self.low] * self.low_included + [self.high] * self.high_included
        return [*ends, (self.low + self.high) / 2]

    def beyond(self) -> list[float]:
        """Return numbers that must be refused: past both ends, and ends that do not belong."""
        ends = [self.low] * (not self.low_included) + [self.high] * (not self.high_included)
        return [*ends, self.low - 1e-6 * max(1, abs(self.low)), self.high * (1 + 1e-6) + 1e-6]

    def words(self) -> str:
        """Return the span as the comments write it."""
        low = "from" if self.low_included else "above"
        high = "to" if self.high_included else "to below"
        return f"{low} {self.low:.10g} {high} {self.high:.10g} {self.unit}".strip()


def _above(low: float, high: float, unit: str) -> Range:
    return Range(low, False, high, True, unit)


def _from(low: float, high: float, unit: str) -> Range:
    return Range(low, True, high, True, unit)


TURNS: Final = "turns a minute"
NUMBERS: Final[dict[str, Range]] = {
    "block.size[1]": _above(0, 10000, "mm"),
    "block.size[2]": _above(0, 10000, "mm"),
    "block.size[3]": _above(0, 10000, "mm"),
    "block.temperature": _from(-30, 0, "C"),
    "block.floor": _from(0, 10000, "mm"),
    "block.corner[1]": _from(0, 10000, "mm"),
    "block.corner[2]": _from(0, 10000, "mm"),
    "block.zero[1]": _from(-10000, 10000, "mm"),
    "block.zero[2]": _from(-10000, 10000, "mm"),
    "block.zero[3]": _from(-10000, 10000, "mm"),
    "block.precut_margin": _from(0, 100, "mm"),
    "block.precut.sawn[1].through[1][1]": _from(-10000, 10000, "mm"),
    "block.precut.sawn[1].through[3][3]": _from(-10000, 10000, "mm"),
    "block.precut.sawn[1].gone[1]": _from(-10000, 10000, "mm"),
    "block.precut.sawn[1].gone[3]": _from(-10000, 10000, "mm"),
    "ice.too_warm": _from(-30, 0, "C"),
    "ice.too_cold": _from(-30, 0, "C"),
    "ice.least_chip": _above(0, 1, "mm"),
    "ice.deep_slot": _above(0, 100, ""),
    "ice.calibrate[1].cutting_w": _above(0, 100000, ""),
    "ice.calibrate[1].idle_w": _from(0, 100000, ""),
    "ice.calibrate[1].diameter": _above(0, 10000, "mm"),
    "ice.calibrate[1].spindle_rpm": _above(0, 200000, TURNS),
    "ice.calibrate[1].feed": _above(0, 10000, "mm/s"),
    "ice.calibrate[1].depth": _above(0, 10000, "mm"),
    "ice.calibrate[1].width": _above(0, 10000, "mm"),
    "ice.calibrate[1].temperature": _from(-30, 0, "C"),
    "freezer.working_day": _above(0, 86400, "s"),
    "freezer.warm_up": _from(0, 86400, "s"),
    "freezer.snow_bulk": _from(1, 10, ""),
    "freezer.snow_stop_litres": _above(0, 100000, ""),
    "freezer.snow_stop": _from(0, 86400, "s"),
    "freezer.air": _from(-30, 0, "C"),
    "freezer.air_humidity": _from(0, 1, ""),
    "freezer.storage": _from(-30, 0, "C"),
    "freezer.event_air": _from(0, 40, "C"),
    "freezer.event_humidity": _from(0, 1, ""),
    "sculpture.scale": _above(0, 100000, ""),
    "sculpture.margin": _from(0, 10000, "mm"),
    "quality.scallop": _from(0.001, 10, "mm"),
    "quality.detail": _from(0.001, 50, "mm"),
    "quality.cell": _from(0.01, 10, "mm"),
    "roughing.skin": _above(0, 100, "mm"),
    "roughing.moat": _above(0, 10000, "mm"),
    "roughing.step_down": _above(0, 3, ""),
    "roughing.stepover": _above(0, 0.7, ""),
    "feeds.plunge": _above(0, 1, ""),
    "feeds.slot": _above(0, 1, ""),
    "feeds.ramp_deg": _above(0, 45, "deg"),
    "feeds.clearance": _above(0, 10000, "mm"),
    "feeds.lift": _above(0, 10000, "mm"),
    "machine.travel[1]": _above(0, 10000, "mm"),
    "machine.travel[2]": _above(0, 10000, "mm"),
    "machine.travel[3]": _above(0, 10000, "mm"),
    "machine.nose_lowest": _from(0, 10000, "mm"),
    "machine.speed[1]": _above(0, 10000, "mm/s"),
    "machine.speed[2]": _above(0, 10000, "mm/s"),
    "machine.speed[3]": _above(0, 10000, "mm/s"),
    "machine.acceleration[1]": _above(0, 100000, "mm/s2"),
    "machine.acceleration[2]": _above(0, 100000, "mm/s2"),
    "machine.acceleration[3]": _above(0, 100000, "mm/s2"),
    "machine.jerk[1]": _above(0, 100000000, "mm/s3"),
    "machine.jerk[2]": _above(0, 100000000, "mm/s3"),
    "machine.jerk[3]": _above(0, 100000000, "mm/s3"),
    "machine.corner_tolerance": _from(0, 10, "mm"),
    "machine.block_rate": _above(0, 1000000, ""),
    "machine.bit_change": _from(0, 86400, "s"),
    "machine.spindle.least_rpm": _above(0, 200000, TURNS),
    "machine.spindle.most_rpm": _above(0, 200000, TURNS),
    "machine.spindle.power[1][1]": _above(0, 200000, ""),
    "machine.spindle.power[1][2]": _above(0, 100000, ""),
    "machine.spindle.start": _from(0, 3600, "s"),
    "machine.spindle.body": _above(0, 10000, "mm"),
    "rack[1].diameter": _from(0, 10000, "mm"),
    "rack[1].corner_radius": _from(0, 10000, "mm"),
    "rack[1].taper_deg": Range(0, True, 85, False, "deg"),
    "rack[1].flute_length": _above(0, 10000, "mm"),
    "rack[1].shank": _above(0, 10000, "mm"),
    "rack[1].stick_out": _above(0, 10000, "mm"),
    "rack[1].nut": _above(0, 10000, "mm"),
    "rack[1].nut_length": _above(0, 10000, "mm"),
    "rack[1].chip_load": _above(0, 10, "mm"),
    "rack[1].spindle_rpm": _above(0, 200000, TURNS),
}
WHOLE: Final = {
    "freezer.people": (0, 20),
    "rack[1].flutes": (1, 8),
    "ice.calibrate[1].flutes": (1, 8),
}
CHOICES: Final[dict[str, tuple[object, ...]]] = {
    "freezer.air_speed": ("still", "light fan", "blower"),
    "block.precut.file_unit": ("mm", "cm", "m", "in"),
    "sculpture.unit": ("mm", "cm", "m", "in"),
    "sculpture.up": ("top", "bottom", "front", "back", "left", "right"),
    "sculpture.turn": (0, 90, 180, 270),
    "sculpture.fit": (True, False),
    "machine.profile": ("light gantry", "mid-size gantry", "heavy gantry"),
    "quality.bits": ("quickest", "all"),
    "roughing.clear": ("moat", "block"),
    "rack[1].shape": ("flat", "ball", "rounded corner", "tapered ball", "vee"),
    "output.unit": ("mm", "in"),
    "output.one_file": (True, False),
    "output.arcs": (True, False),
}
TEXTS: Final = {
    "project": (1, 80),
    "block.precut.mesh": (1, 4000),
    "block.precut.heights": (1, 4000),
    "machine.name": (1, 40),
    "rack[1].name": (1, 40),
    "output.dialect": (1, 40),
}
LISTS: Final = {
    "block.size": 3,
    "block.corner": 2,
    "block.zero": 3,
    "block.precut.sawn[1].through[1]": 3,
    "block.precut.sawn[1].gone": 3,
    "machine.travel": 3,
    "machine.speed": 3,
    "machine.acceleration": 3,
    "machine.jerk": 3,
    "machine.spindle.power[1]": 2,
}
