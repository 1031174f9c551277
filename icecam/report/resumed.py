"""What is said of files that go on with a job."""

from collections.abc import Sequence
from pathlib import Path

from icecam.prove.proof import GOUGE_MM
from icecam.resume.going_on import Rest
from icecam.resume.parts import Split
from icecam.resume.proof import SAME_MM, Verdict
from icecam.resume.stops import clock


def rest_lines(rest: Rest, folder: Path) -> list[str]:
    """Say where a file goes on, and what the proof found."""
    lines = [
        f"goes on from line {rest.begins} of the stage and takes {clock(rest.seconds)} hours",
        *verdict_lines(rest.verdict),
    ]
    if rest.verdict.clean:
        return [*lines, f"clean: {folder / rest.name}; set Z anew before it runs"]
    return [*lines, "REFUSED: nothing was written"]


def split_lines(found: Sequence[Split], folder: Path) -> list[str]:
    """Say which parts there are, and what the proof found."""
    if not found:
        return ["no stage takes longer than that; nothing was written"]
    lines = []
    for one in found:
        lines += [
            f"{name}: {clock(seconds)} hours"
            for name, seconds in zip(one.files, one.seconds, strict=True)
        ]
        lines += verdict_lines(one.verdict)
    if all(one.verdict.clean for one in found):
        return [*lines, f"clean: parts in {folder}; run them in the order of their letters"]
    return [*lines, "REFUSED: nothing was written"]


def verdict_lines(verdict: Verdict) -> list[str]:
    """Say what a proof found."""
    gouge = (
        "the sculpture is not at hand: cuts into it were not looked for besides"
        if verdict.gouge is None
        else f"deepest cut into the sculpture {verdict.gouge:.3f} mm (allowed: {GOUGE_MM})"
    )
    return [
        f"the block ends within {verdict.away:.3f} mm of the uninterrupted job "
        f"(allowed: {SAME_MM})",
        gouge,
        f"rapids through ice: {verdict.rapid_hits}; shank, nut or spindle in ice: "
        f"{verdict.contacts}; limits broken: {len(verdict.limits)}",
        *verdict.limits,
    ]
