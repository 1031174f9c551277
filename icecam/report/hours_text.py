"""The record of hours as a table and sentences for the terminal, at most 100 columns wide."""

from collections.abc import Mapping, Sequence
from io import StringIO
from typing import Any, Final

from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

WIDTH: Final = 100
KG_PER_LB: Final = 0.45359237
MJ_PER_KWH: Final = 3.6
COLUMNS: Final = (
    ("at feed", ("cutting_minutes",)),
    ("slowed", ("slowed_minutes",)),
    ("travel", ("travel_minutes",)),
    ("bit\nchange", ("bit_change_minutes", "spindle_start_minutes")),
    ("snow", ("snow_minutes",)),
    ("warm-\nup", ("warm_up_minutes",)),
    ("h:min", ("total_minutes",)),
)
"""Heads of columns and the keys that each sums."""


def hours_text(told: Mapping[str, Any]) -> str:
    """Return table and sentences of a record of hours."""
    stream = StringIO()
    console = Console(
        file=stream, width=WIDTH, highlight=False, color_system=None,
        markup=False, emoji=False,
    )  # fmt: skip
    how = "as planned" if told["planned"] else "a draft with every bit of the rack"
    console.print(f"{told['sculpture']}: {how}; minutes, and hours in all")
    console.print(_table(told))
    days, kept = _day_lines(told["totals"]), _keeping_lines(told["keeping"])
    for line in (*days, _machine_line(told["machines"]), *kept):
        console.print(line)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"


def _table(told: Mapping[str, Any]) -> Table:
    """Return one row a stage."""
    table = Table(box=SIMPLE, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("stage", overflow="fold")
    for head, _ in COLUMNS:
        table.add_column(head, justify="right")
    for stage in told["stages"]:
        table.add_row(stage["name"], *_cells(stage["time"]))
    table.add_section()
    table.add_row("total", *_cells(told["totals"]))
    return table


def _cells(time: Mapping[str, Any]) -> list[str]:
    sums = [sum(time[key] for key in keys) for _, keys in COLUMNS]
    return [*(f"{minutes:.0f}" for minutes in sums[:-1]), _clock(sums[-1])]


def _clock(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60}:{whole % 60:02d}"


def _day_lines(totals: Mapping[str, Any]) -> list[str]:
    """Say what the time fills of a calendar, and what snow it makes."""
    days, rest = round(totals["working_days"]), _clock(60 * totals["hours_on_the_day_after"])
    whole = f"{days} working {'day' if days == 1 else 'days'} of {totals['working_day_hours']:g} h"
    litres, stops = totals["snow_litres"], totals["snow_stops"]
    return [
        f"{whole} and {rest} h on the day after" if days else f"{rest} h, within one working day",
        f"snow: {litres:.0f} litres in all, {stops:.0f} stops to clear it",
        "slowed: what corners and short moves add to length over feed; travel: over the ice at "
        "rapid; bit change: with the start of the spindle",
    ]


def _machine_line(machines: Sequence[Mapping[str, Any]]) -> str:
    """Say how long machines to start from would take for the same paths."""
    each = (f"{machine['name']} {_clock(machine['minutes'])} h" for machine in machines)
    return f"the same paths by machine, without snow and warm-up: {', '.join(each)}"


def _keeping_lines(kept: Mapping[str, Any]) -> list[str]:
    """Say what block and piece ask of people and rooms."""
    lines = [f"block {lifted(kept['block_lift'])}"]
    if kept["piece_lift"] is None:
        lines.append("piece: of unknown mass, its mesh is not closed")
    else:
        lines.append(f"piece, sawn free, {lifted(kept['piece_lift'])}")
    lost, heat = kept["sublimation_mm_day"], kept["carving_heat_mj"]
    kwh = {end: value / MJ_PER_KWH for end, value in heat.items()}
    return [
        *lines,
        f"tempering before carving, from {kept['storage_c']:g} C in air of {kept['air_c']:g} C "
        f"({kept['air_speed']}): {band_hours(kept['tempering_hours'])}",
        f"while it stands there each bare face loses {lost['best']:.2f} mm a day "
        f"({lost['low']:.2f} to {lost['high']:.2f}): wrap what is fine",
        f"the room must take away {kwh['best']:.1f} kWh ({kwh['low']:.1f} to {kwh['high']:.1f}) of "
        f"router, lights and people, {_block_heat(kept['block_heat_mj'])}",
        f"at an event at {kept['event_c']:g} C, humidity {100 * kept['event_humidity']:.0f} %: "
        f"{_loss(kept['event_loss_mm_h'])}; fine detail "
        f"{band_hours(kept['event_detail_hours'])}, a thin wall "
        f"{band_hours(kept['event_wall_hours'])}, counted from when it is wet",
        "guidance only: cold hands and iced floors make every lift harder, and nobody works alone "
        "in a freezer; local codes and trained people come before these figures",
    ]


def lifted(lift: Mapping[str, Any]) -> str:
    """Say what a mass asks of people, from the record of a lift."""
    mass = f"{lift['mass_kg']:.1f} kg ({lift['mass_kg'] / KG_PER_LB:.0f} lb)"
    limit = f"{lift['lifting_index']:.1f} times what one person should lift"
    if lift["people"] == 0:
        return f"{mass}: CAUTION, {limit}; use a hoist, nobody lifts it by hand"
    if lift["people"] == 1:
        return f"{mass}: {limit}; one person may"
    return f"{mass}: CAUTION, {limit}; {lift['people']} people in step, or a hoist"


def band_hours(band: Mapping[str, float | None]) -> str:
    """Say a band of hours; an open end is forever."""
    best, low, high = (band[end] for end in ("best", "low", "high"))
    if best is None:
        return "lasts" if low is None else f"lasts, or {low:.1f} h in a draught"
    least = f"{low:.1f}" if low is not None else "?"
    return f"{best:.1f} h ({least} to {'ever' if high is None else f'{high:.1f}'})"


def _loss(band: Mapping[str, Any]) -> str:
    return (
        f"each face loses {band['best']:.1f} mm an hour ({band['low']:.1f} to {band['high']:.1f})"
    )


def _block_heat(heat_mj: float) -> str:
    kwh = abs(heat_mj) / MJ_PER_KWH
    if kwh < 0.05:
        return "and nothing for the block"
    if heat_mj < 0:
        return f"less {kwh:.1f} kWh that the cold block takes up"
    return f"and {kwh:.1f} kWh out of the block"
