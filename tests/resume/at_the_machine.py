"""What a machine does with a text, worked out from the text alone by the plainest reading of it.

A stop is a text cut short: what stands then is what its lines before the stop have left.
"""

from dataclasses import dataclass

import numpy as np

from icecam.geometry.field import HeightField
from icecam.geometry.profile import cylinders
from icecam.paths.stages import Stage
from icecam.paths.toolpath import Toolpath
from icecam.prove.carving import GRAZE_MM, carve
from icecam.prove.proof import RAPID_MM
from icecam.resume.folder import CutFolder
from tests.plan.from_text import moves_in


@dataclass(frozen=True, kw_only=True, eq=False)
class Left:
    """The ice a text leaves, and how many moves of it met what they must not."""

    ice: HeightField
    rapid_hits: int
    contacts: int


def path_of(text: str, unit: float = 1.0) -> Toolpath:
    """Read the moves of a text, mm in work coordinates; `unit` mm."""
    lines = ["" if line.startswith("(") else line for line in text.splitlines()]
    points, cuts, where = moves_in(lines)
    ends = points[1:] * unit
    return Toolpath(
        start=points[0] * unit,
        ends=ends,
        kind=cuts.astype(np.int8),
        feed=np.where(cuts, 1.0, np.nan),
        line=where.astype(np.int32),
    )


def run(folder: CutFolder, stage: Stage, path: Toolpath, ice: HeightField) -> Left:
    """Carve the ice by moves in work coordinates."""
    job = folder.subject.job
    above = cylinders(stage.bit, job.machine.spindle.body)
    carved = carve(ice, path.moved(job.block.zero), stage.cutting, above)
    return Left(
        ice=carved.ice,
        rapid_hits=int((carved.rapid_depth > RAPID_MM).sum()),
        contacts=int((carved.contact_depth > GRAZE_MM).sum()),
    )


def until(text: str, line: int) -> str:
    """Cut a text short before a line, counted from 1."""
    return "\n".join(text.splitlines()[: line - 1])


def away(one: HeightField, other: HeightField) -> float:
    """Farthest that the heights of two blocks lie apart, mm."""
    return float(np.abs(one.heights - other.heights).max())
