"""The unit convention and every conversion factor.

Inside: N, mm, s, MPa, rad, degC. A bare name is in these; anything else carries a suffix
(`feed_mm_min`, `spindle_rpm`, `power_w`).
"""

import re
from typing import Final

MM_PER_INCH: Final = 25.4
S_PER_MIN: Final = 60.0
MM3_PER_LITRE: Final = 1e6

LENGTHS: Final = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "um": 1e-3,
}
"""Length units accepted in a job file, in mm."""
SPEEDS: Final = {
    "mm/s": 1.0,
    "mm/min": 1 / S_PER_MIN,
    "m/min": 1000 / S_PER_MIN,
    "in/min": MM_PER_INCH / S_PER_MIN,
    "in/s": MM_PER_INCH,
}
ACCELERATIONS: Final = {"mm/s2": 1.0, "m/s2": 1000.0, "in/s2": MM_PER_INCH}
JERKS: Final = {"mm/s3": 1.0, "m/s3": 1000.0, "in/s3": MM_PER_INCH}
TIMES: Final = {"s": 1.0, "min": S_PER_MIN, "h": 3600.0}
ANGLES_DEG: Final = {"deg": 1.0}

_FRACTION = re.compile(r"(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)")


def number(text: str) -> float:
    """Read a decimal, a fraction or a mixed number, as printed on a bit or a tape.

    Raises
    ------
    ValueError : not a number

    >>> number("1/16"), number("1 1/2"), number("-10.5")
    (0.0625, 1.5, -10.5)
    """
    match = _FRACTION.fullmatch(text.strip())
    if not match:
        return float(text)
    whole, top, bottom = match.groups(default="0")
    if int(bottom) == 0:
        raise ValueError(f"{text!r} divides by zero")
    return int(whole) + int(top) / int(bottom)
