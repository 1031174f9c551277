"""Codes of RS-274/NGC text that the reader knows, and the reasons for which it refuses a line.

Source of letters, codes and groups: NISTIR 6556, 3.3.2 and table 4. What the table has and this
list has not is refused as unknown.
"""

from typing import Final

import numpy as np

LONGEST_LINE: Final = 256
"""Characters of a line without its end. Source: NISTIR 6556, 3.3."""
FARTHEST: Final = 99999.0
"""mm; a coordinate beyond is a slip, no router is that long."""
LARGEST_NUMBER: Final = 9_999_999.0

# rows of `codes`: the G code in tenths or the M code of each modal group, -1 without one
NONMODAL: Final = 0
MOTION_GROUP: Final = 1
PLANE_GROUP: Final = 2
DISTANCE_GROUP: Final = 3
UNITS_GROUP: Final = 4
PATH_GROUP: Final = 5
STOP_GROUP: Final = 10
TOOL_GROUP: Final = 11
SPINDLE_GROUP: Final = 12
COOLANT_GROUP: Final = 13
GROUPS: Final = 15
M_WORDS: Final = 4

_G_GROUPS: Final = (
    (NONMODAL, (4, 53)),
    (MOTION_GROUP, (0, 1, 2, 3, 80)),
    (PLANE_GROUP, (17, 18, 19)),
    (DISTANCE_GROUP, (90, 91)),
    (UNITS_GROUP, (20, 21)),
    (PATH_GROUP, (61, 61.1, 64)),
    (6, (94,)),
    (7, (40,)),
    (8, (49,)),
    (9, (54,)),
)
_M_GROUPS: Final = (
    (STOP_GROUP, (0, 1, 2, 30, 60)),
    (TOOL_GROUP, (6,)),
    (SPINDLE_GROUP, (3, 4, 5)),
    (COOLANT_GROUP, (7, 8, 9)),
    (14, (48, 49)),
)

GROUP_OF_G: Final = np.full(1000, -1, np.int64)
"""Group of a G code in tenths; -1: refused."""
GROUP_OF_M: Final = np.full(100, -1, np.int64)
for _group, _g_codes in _G_GROUPS:
    GROUP_OF_G[[round(code * 10) for code in _g_codes]] = _group
for _group, _m_codes in _M_GROUPS:
    GROUP_OF_M[list(_m_codes)] = _group

# kinds of events
SPINDLE: Final = 0
DWELL: Final = 1
TOOL: Final = 2
STOP: Final = 3
END: Final = 4
COOLANT: Final = 5

# reasons
LONG_LINE: Final = 1
BAD_CHARACTER: Final = 2
UNKNOWN_LETTER: Final = 3
NO_NUMBER: Final = 4
BIG_NUMBER: Final = 5
UNCLOSED: Final = 6
NESTED: Final = 7
LINE_NUMBER: Final = 8
LETTER_TWICE: Final = 9
UNKNOWN_G: Final = 10
UNKNOWN_M: Final = 11
SAME_GROUP: Final = 12
MANY_M: Final = 13
PERCENT: Final = 14
NO_END: Final = 15
NO_MOTION: Final = 16
NO_AXES: Final = 17
UNUSED_WORD: Final = 18
NO_DWELL: Final = 19
NEGATIVE: Final = 20
NOT_WHOLE: Final = 21
NO_UNIT: Final = 22
NO_FEED: Final = 23
UNKNOWN_POSITION: Final = 24
MACHINE_MOVE: Final = 25
ARC_CENTRE: Final = 26
ARC_RADII: Final = 27
ARC_POINT: Final = 28
ARC_CIRCLE: Final = 29
ARC_SHORT: Final = 30
TOO_FAR: Final = 31
CONTROL: Final = 32
