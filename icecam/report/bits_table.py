"""The bits of a rack as a table, as sentences, and as numbers for bits.json."""

import json
from collections.abc import Mapping
from io import StringIO
from typing import Any, Final

from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from icecam import __version__
from icecam.choose.best import Ladder
from icecam.choose.bits import FORGONE, BitReach, Choice
from icecam.ice.constants import FROSTED_SCALLOP, WIPED_SCALLOP

WIDTH: Final = 100
_DIGITS: Final = 4


def bits_record(choice: Choice) -> dict[str, Any]:
    """Return the content of bits.json; units stand in the keys, shares go from 0 to 1."""
    return {
        "icecam": __version__,
        "sculpture": choice.file,
        "tolerance_mm": choice.tolerance,
        "cell_mm": _round(choice.reach.grid.pitch),
        "area_cm2": _round(choice.reach.area.sum() / 100),
        "bits": [_bit(choice, k, bit) for k, bit in enumerate(choice.bits)],
        "unreachable_share": _round(1 - choice.reach.share(choice.whole.finish)),
        "whole_rack": _ladder(choice, choice.whole),
        "best_ladder": _ladder(choice, choice.best),
        "saved_minutes": _round(choice.saved),
        "scallop_mm": {
            "asked": _round(choice.scallop),
            "left_frosted": FROSTED_SCALLOP.value,
            "wiped_clear": WIPED_SCALLOP.value,
        },
        "assumed": {"forgone_share": FORGONE},
    }


def bits_files(choice: Choice) -> dict[str, bytes]:
    """Return the numbers as bits.json and the table as bits.txt."""
    told = bits_record(choice)
    numbers = json.dumps(told, indent=1) + "\n"
    return {"bits.json": numbers.encode(), "bits.txt": bits_text(told).encode()}


def _round(value: float) -> float:
    return round(float(value), _DIGITS)


def _bit(choice: Choice, k: int, found: BitReach) -> dict[str, Any]:
    return {
        "name": found.bit.name,
        "shape": found.bit.shape,
        "diameter_mm": found.bit.diameter,
        "alone_share": _round(found.alone),
        "adds_share": None if found.adds is None else _round(found.adds),
        "groove_mm": _round(found.groove),
        "valley_mm": _round(found.valley),
        "whole_rack_minutes": _minutes(choice.whole, k),
        "best_ladder_minutes": _minutes(choice.best, k),
    }


def _minutes(ladder: Ladder, k: int) -> float | None:
    """Minutes of bit k in a ladder, None if it is not used."""
    steps = zip((ladder.rough, *ladder.finish), ladder.minutes, strict=True)
    own = [minutes for bit, minutes in steps if bit == k]
    return _round(sum(own)) if own else None


def _ladder(choice: Choice, ladder: Ladder) -> dict[str, Any]:
    return {
        "rough": choice.bits[ladder.rough].bit.name,
        "finish": [choice.bits[k].bit.name for k in ladder.finish],
        "minutes": _round(ladder.total),
        "reached_share": _round(choice.reach.share(ladder.finish)),
    }


def bits_text(told: Mapping[str, Any]) -> str:
    """Return table and sentences of a `bits_record` as text, at most `WIDTH` columns wide."""
    stream = StringIO()
    console = Console(
        file=stream, width=WIDTH, highlight=False, color_system=None,
        markup=False, emoji=False,
    )  # fmt: skip
    console.print(f"{told['sculpture']}: {told['area_cm2']:.0f} cm2 of surface seen from above")
    console.print(_table(told))
    for line in _lines(told):
        console.print(line)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"


def _table(told: Mapping[str, Any]) -> Table:
    """Return one row a bit, largest first."""
    table = Table(box=SIMPLE, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("bit", overflow="fold")
    for name in (
        "reaches\nalone %", "adds\n%", "groove\nmm", "valley\nmm", "all bits\nh:min", "best\nh:min"
    ):  # fmt: skip
        table.add_column(name, justify="right")
    for bit in told["bits"]:
        adds = bit["adds_share"]
        table.add_row(
            bit["name"],
            f"{100 * bit['alone_share']:.1f}",
            "roughs" if adds is None else f"{100 * adds:.1f}",
            f"{bit['groove_mm']:.2f}",
            f"{bit['valley_mm']:.2f}",
            _clock(bit["whole_rack_minutes"]),
            _clock(bit["best_ladder_minutes"]),
        )
    table.add_section()
    total = [_clock(told[name]["minutes"]) for name in ("whole_rack", "best_ladder")]
    table.add_row("total", *[""] * 4, *total)
    return table


def _clock(minutes: float | None) -> str:
    if minutes is None:
        return "-"
    whole = round(minutes)
    return f"{whole // 60}:{whole % 60:02d}"


def _lines(told: Mapping[str, Any]) -> list[str]:
    """Say which bits to use, what that saves, and what the columns mean."""
    best, whole = told["best_ladder"], told["whole_rack"]
    reached = f"{100 * best['reached_share']:.1f} % of the area within {told['tolerance_mm']:g} mm"
    finish = " and ".join(
        part for part in (", ".join(best["finish"][:-1]), best["finish"][-1]) if part
    )
    lines = [f"use {best['rough']} to rough, {finish} to finish: {reached}"]
    if told["saved_minutes"] > 0:
        minutes = told["saved_minutes"]
        time = f"{minutes:.0f} min" if minutes < 60 else f"{minutes / 60:.1f} h"
        lines.append(
            f"saves {time} against the whole rack, which reaches "
            f"{100 * whole['reached_share']:.1f} %"
        )
    else:
        lines.append("every other choice from this rack takes longer or reaches less")
    scallop = told["scallop_mm"]
    return [
        *lines,
        f"quality.scallop is {scallop['asked']:g} mm: take {scallop['left_frosted']:g} if the "
        f"piece stays frosted, {scallop['wiped_clear']:g} if it is wiped with water or flame "
        "until clear (common practice)",
        f"no bit reaches {100 * told['unreachable_share']:.1f} %: bits.png shows where",
        "adds: to the larger bits that finish. groove: the narrowest, as deep as wide, that is cut "
        "to its bottom. valley: ice left where two slopes of 45 degrees meet. Ridges survive every "
        "bit.",
        "hours are those of drafts: of the whole rack, and of each bit alone after roughing; other "
        "ladders lie between, other roughing bits go by volume.",
    ]
