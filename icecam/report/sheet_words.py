"""The sentences of the job sheet: how to set up, what the proof says, what to beware of."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np

from icecam.check import BareResult
from icecam.plan import Result
from icecam.prove.proof import GOUGE_MM
from icecam.units import MM_PER_INCH

RAISED_MM: Final = 10.0
"""Air under the lowest tip in a run above the block."""


class Said(NamedTuple):
    """A head and its sentences."""

    head: str
    lines: tuple[str, ...]


def setting_up(result: Result, lowest: float) -> tuple[Said, ...]:
    """Say how to hold the block, where zero is, and what to do before the first file."""
    return (
        Said("1 Hold the block", _holding(result, lowest)),
        Said("2 Set zero", _zero(result)),
        Said("3 Before the first file", _first_run(result, lowest)),
    )


def _holding(result: Result, lowest: float) -> tuple[str, ...]:
    job = result.scene.job
    (x0, y0), (x1, y1) = _way_of_spindle(result)
    return (
        "Bed clean and level, block square to X, front left corner where zero will be. Freeze it "
        "down with a little water, or clamp it: a block loose on wet ice slides.",
        f"Nothing may stand in the block's footprint. Clamps beside it: lower than {lowest:.1f} mm "
        f"(lowest tip of all files). Nothing higher within X {x0:.0f} to {x1:.0f} and Y {y0:.0f} "
        f"to {y1:.0f} mm of its corner: there the spindle passes.",
        f"Floor: {job.block.floor:.1f} mm of ice above the bed stay uncut.",
    )


def _way_of_spindle(result: Result) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest X, Y that bit, nut or spindle pass over, from the block's corner, mm."""
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for stage in result.stages:
        bit, body = stage.stage.bit, result.scene.job.machine.spindle.body
        half = max(stage.stage.cutting.radius, bit.nut / 2, body / 2)
        points = np.vstack([stage.path.start, stage.path.ends])[:, :2]
        low = np.minimum(low, points.min(axis=0) - half)
        high = np.maximum(high, points.max(axis=0) + half)
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


def _zero(result: Result) -> tuple[str, ...]:
    job = result.scene.job
    x, y, z = job.block.zero
    corner = "the block's front left corner"
    sides = f"{_off(x, 'right', 'left')} and {_off(y, 'behind', 'in front')}, seen from {corner}"
    across = f"at {corner}" if x == y == 0 else sides
    up = "on the bed" if z == 0 else f"{z:.1f} mm above the bed"
    top = job.block.size[2] - z
    again = (
        "Set Z again with each bit: the files hold no tool lengths. X and Y stay."
        if not job.output.one_file
        else "One file with changes of bit: only for a machine that measures each bit after M6."
    )
    return (
        f"X0 Y0: {across}. Z0: {up}; the block's top is then at Z {top:.1f} mm.",
        again,
        "Touch off on the cold machine with cold bits; brush snow from bed, bit and collet first.",
    )


def _off(length: float, ahead: str, back: str) -> str:
    """Say how far off and to which side.

    >>> _off(-2.0, "right", "left")
    '2.0 mm left'
    """
    return f"{abs(length):.1f} mm {ahead if length >= 0 else back}"


def _first_run(result: Result, lowest: float) -> tuple[str, ...]:
    job = result.scene.job
    warm = job.freezer.warm_up / 60
    return (
        f"Warm up the spindle for {warm:.0f} min." if warm else "Warm up the spindle.",
        _raised(result, lowest),
        "Then begin each file at a low feed, hand on the stop, until the first cuts look right. "
        "A proof does not replace looking.",
    )


def _raised(result: Result, lowest: float) -> str:
    """Say how to run above the block, or over the empty bed if Z does not go that high."""
    job = result.scene.job
    lift = job.block.size[2] - lowest + RAISED_MM
    reach = job.machine.nose_lowest + job.machine.travel[2]
    fits = all(
        max(float(stage.path.start[2]), float(stage.path.ends[:, 2].max())) + lift
        <= reach - stage.stage.bit.stick_out
        for stage in result.stages
    )
    if fits:
        return (
            f"Raised run above the block: set Z zero {lift:.0f} mm higher, run the first file so, "
            f"hand on the stop; the lowest tip passes {RAISED_MM:.0f} mm over the block. Then set "
            "Z back."
        )
    return (
        "Z does not go high enough for a raised run above this block: run the first file over the "
        "empty bed before the block is laid, hand on the stop, and set zero anew after that."
    )


def proven(told: Mapping[str, Any]) -> tuple[str, ...]:
    """Say what the proof found, from summary.json; letters stand for places on the view."""
    proof, hidden = told["proof"], 100 * told["sculpture"]["hidden_share"]
    gouge = proof["deepest_gouge_mm"]
    cut = (
        "No cut goes below the sculpture"
        if gouge == 0
        else f"No cut goes below the sculpture by more than {gouge:.3f} mm, "
        f"at {place(proof['gouge_at_mm'])}"
    )
    lines = [
        f"{cut} (over {GOUGE_MM:.2f} mm is refused). Rapids through ice: {proof['rapid_hits']}. "
        f"Shank, nut or spindle in ice: {proof['contacts']}. Limits of travel, feed, spindle or "
        f"floor broken: {len(proof['limits_broken'])}.",
        f"Ice left where bits reach: {100 * proof['reachable_within_tolerance']:.1f} % of the area "
        f"is within {proof['tolerance_mm']:g} mm, 99 % within {proof['left_p99_mm']:.2f} mm; most, "
        f"{proof['left_worst_mm']:.2f} mm, at {place(proof['left_worst_at_mm'])} (A).",
    ]
    if proof["unreachable_worst_at_mm"]:
        lines.append(
            f"For the hand: {100 * proof['unreachable_share']:.1f} % of the area seen from above "
            f"no bit reaches; most ice there, {proof['unreachable_worst_mm']:.1f} mm, at "
            f"{place(proof['unreachable_worst_at_mm'])} (B)."
        )
    lines.append(
        f"Saw free and carve by hand: {hidden:.0f} % of the whole surface, underside included, "
        "faces down or lies hidden."
    )
    lines.append(
        f"Checked every {proof['cell_mm']:g} mm, by carving a block from the files as written and "
        "read back. It sees no clamps, no slipping bit, no moving block, no crack."
    )
    return tuple(lines)


def place(at: Sequence[float]) -> str:
    """Write a place in block coordinates."""
    return "X {:.1f} Y {:.1f} Z {:.1f}".format(*at)


def cautions() -> tuple[str, ...]:
    """Say what hurts people in this work."""
    return (
        "Spindle: stop it before a hand, brush or gauge comes near. No gloves, sleeves or cords "
        "beside a turning bit.",
        "Flying ice: glasses, guard in place, nobody in line with the bit.",
        "Cold: never alone; warm breaks, dry gloves; the door must open from inside.",
        "Floor: snow and wet ice are slippery; clear them, wear spikes.",
        "Dry ice gives off a heavy gas that suffocates unseen: never in a closed room without "
        "ventilation and a CO2 alarm.",
        "Local codes, the makers' manuals and trained people come before this sheet.",
    )


def reasons(result: Result | BareResult) -> tuple[str, ...]:
    """Say why a job is refused, stage by stage."""
    found = []
    for stage in result.stages:
        name = stage.stage.name
        if stage.gouge.depth > GOUGE_MM:
            found.append(
                f"{name}: cuts {stage.gouge.depth:.3f} mm into the sculpture; at most "
                f"{GOUGE_MM:.2f} mm is let pass"
            )
        if stage.rapid_hits:
            found.append(f"{name}: {stage.rapid_hits} rapids through ice")
        if stage.contacts:
            found.append(f"{name}: shank, nut or spindle in ice in {stage.contacts} moves")
        found += [f"{name}: {limit}" for limit in stage.limits]
    return tuple(found)


def precut_words(told: Mapping[str, Any]) -> tuple[str, ...]:
    """Say what of the block is gone before; nothing of a whole one."""
    block = told["block"]
    if not block["precut_litres"]:
        return ()
    return (
        f"{block['precut_litres']:.1f} L of this block are gone before, as the job says: compare "
        f"that with the block on the bed. Up to {block['precut_margin_mm']:g} mm more ice may "
        "stand round what is left.",
    )


def size_words(size: Sequence[float]) -> str:
    """Write the sides of a block in mm and in.

    >>> size_words((1016.0, 508.0, 254.0))
    '1016.0 x 508.0 x 254.0 mm (40.00 x 20.00 x 10.00 in)'
    """
    mm = " x ".join(f"{side:.1f}" for side in size)
    inches = " x ".join(f"{side / MM_PER_INCH:.2f}" for side in size)
    return f"{mm} mm ({inches} in)"
