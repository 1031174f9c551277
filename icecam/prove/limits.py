"""What the machine may do: travel, feed, spindle, floor. Each break is one sentence."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from icecam.job.records import Bit, Block, Machine
from icecam.paths.toolpath import CUT, Toolpath
from icecam.units import S_PER_MIN

SLACK_MM = 0.002
"""Rounding of text in inches to four decimals, and a little."""


def corner_in_travel(block: Block, machine: Machine) -> tuple[float, float]:
    """Return where the block's front left corner lies in the travel of X and Y (mm)."""
    if block.corner is not None:
        return block.corner
    x, y = ((machine.travel[axis] - block.size[axis]) / 2 for axis in (0, 1))
    return x, y


def broken_limits(
    path: Toolpath,
    spindle: Sequence[tuple[int, float]],
    bit: Bit,
    block: Block,
    machine: Machine,
) -> list[str]:
    """List the limits that a path breaks.

    Parameters
    ----------
    path : tip positions in block coordinates
    spindle : (index of the move it comes before, rpm), 0 rpm for off, in order
    """
    if len(path) == 0:
        return []
    corner = corner_in_travel(block, machine)
    points = np.concatenate([path.start[None], path.ends])
    least = np.array([-corner[0], -corner[1], machine.nose_lowest - bit.stick_out])
    most = least + np.array(machine.travel)
    found = []
    for axis, name in enumerate("XYZ"):
        for side, out in (
            ("below", least[axis] - points[:, axis]),
            ("above", points[:, axis] - most[axis]),
        ):
            worst = int(np.argmax(out))
            if out[worst] > SLACK_MM:
                found.append(
                    f"{name} goes {out[worst]:.1f} mm {side} the machine's travel "
                    f"(line {_line(path, worst)})"
                )
    cut = path.kind == CUT
    deep = block.floor - path.ends[:, 2]
    if deep.max() > SLACK_MM:
        worst = int(np.argmax(deep))
        found.append(
            f"the tip goes {deep[worst]:.2f} mm into the floor of {block.floor:.1f} mm "
            f"(line {path.line[worst]})"
        )
    fast = np.where(cut, path.feed, 0.0) - max(machine.speed)
    if fast.max() > 1e-6:
        worst = int(np.argmax(fast))
        found.append(
            f"feed {path.feed[worst] * S_PER_MIN:.0f} mm/min is more than any axis of the machine "
            f"can go (line {path.line[worst]})"
        )
    return found + _spindle_limits(path, cut, spindle, machine)


def _spindle_limits(
    path: Toolpath,
    cut: NDArray[np.bool_],
    spindle: Sequence[tuple[int, float]],
    machine: Machine,
) -> list[str]:
    """Speeds out of range, and cutting with the spindle off."""
    found = []
    low, high = machine.spindle.least_rpm, machine.spindle.most_rpm
    for before, rpm in spindle:
        if rpm != 0 and not low <= rpm <= high:
            found.append(
                f"spindle at {rpm:.0f} rpm, outside {low:.0f} to {high:.0f} rpm "
                f"(before line {_line(path, before + 1)})"
            )
    edges = [(0, 0.0), *spindle, (len(path), 0.0)]
    for (first, rpm), (last, _) in pairwise(edges):
        still = np.flatnonzero(cut[first:last])
        if rpm <= 0 and len(still):
            found.append(
                "cuts while the spindle is not turning with the clock "
                f"(line {path.line[first + still[0]]})"
            )
            break
    return found


def _line(path: Toolpath, point: int) -> int:
    """Line of the move that ends at a point; the first move for the start."""
    return int(path.line[min(max(point - 1, 0), len(path) - 1)])
