"""Tables for the terminal: what was read, what each stage does, what the proof found."""

from collections.abc import Mapping
from typing import Any

from rich.box import SIMPLE
from rich.table import Table

from icecam.units import MM_PER_INCH


def sculpture_lines(summary: Mapping[str, Any]) -> list[str]:
    """Say what was read and how it lies in the block."""
    sculpture, block = summary["sculpture"], summary["block"]
    size = " x ".join(f"{side:.1f}" for side in sculpture["size_mm"])
    inches = " x ".join(f"{side / MM_PER_INCH:.2f}" for side in sculpture["size_mm"])
    bulk = " x ".join(f"{side:.0f}" for side in block["size_mm"])
    lines = [
        f"{sculpture['file']}: {sculpture['triangles']} triangles, read in {sculpture['unit']}, "
        f"{size} mm ({inches} in) as it lies in the block",
        f"block {bulk} mm, {block['mass_kg']:.1f} kg of ice at {block['temperature_c']:.0f} C",
    ]
    if block["precut_litres"]:
        lines[1] += (
            f"; {block['precut_litres']:.1f} L of it are gone before, besides a margin of "
            f"{block['precut_margin_mm']:g} mm"
        )
    if sculpture["watertight"]:
        lines[0] += f", {sculpture['volume_litres']:.2f} L, {sculpture['mass_kg']:.1f} kg of ice"
    else:
        lines.append("the mesh is not watertight: it is carved from its top surface")
    if sculpture["degenerate"]:
        lines.append(f"{sculpture['degenerate']} triangles without area were left out")
    if sculpture["doubled"]:
        lines.append(f"{sculpture['doubled']} triangles that stood there already were left out")
    if sculpture["turned_bodies"]:
        lines.append(f"{sculpture['turned_bodies']} bodies were inside out and have been turned")
    lines.append(
        f"{100 * sculpture['hidden_share']:.0f} % of its surface, underside included, looks down "
        "or lies hidden: no bit from above gets there"
    )
    return lines


def bit_lines(summary: Mapping[str, Any]) -> list[str]:
    """Say which bits of the rack do not carve, and why; nothing if all do."""
    lines = []
    if summary["spared_bits"]:
        lines.append(f"quicker without: {', '.join(summary['spared_bits'])}")
    if summary["unused_bits"]:
        lines.append(f"found nothing to take: {', '.join(summary['unused_bits'])}")
    return lines


def stage_table(summary: Mapping[str, Any]) -> Table:
    """Return one row a stage; fits 80 columns."""
    table = Table(box=SIMPLE, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("stage", overflow="fold")
    for name in ("rpm", "feed\nmm/min", "cut\nm", "litres", "load\nW"):
        table.add_column(name, justify="right")
    table.add_column("h:min", justify="right")
    for stage in summary["stages"]:
        load = stage["load_w"]
        table.add_row(
            stage["name"],
            f"{stage['spindle_rpm']:.0f}",
            f"{stage['feed_mm_min']:.0f}",
            f"{stage['cut_length_m']:.0f}",
            _litres(stage["removed_litres"]),
            f"{load['low']:.0f}-{load['high']:.0f}" if load["high"] >= 1 else "< 1",
            _clock(stage["minutes"]),
        )
    total = summary["totals"]
    table.add_section()
    table.add_row(
        "total", *[""] * 3, f"{total['removed_litres']:.2f}", "", _clock(total["minutes"])
    )
    return table


def ice_lines(summary: Mapping[str, Any]) -> list[str]:
    """Say what bounds roughing, whose energy of ice holds, and what to beware of."""
    lines = [
        f"{stage['name']}: step-down {stage['step_down_limit']}"
        for stage in summary["stages"]
        if stage["kind"] == "rough"
    ]
    energy, readings = summary["block"]["cutting_energy_mpa"], summary["block"]["readings"]
    if readings:
        lines.append(
            f"cutting energy {energy['best']:.1f} MPa ({energy['low']:.1f} to "
            f"{energy['high']:.1f}), from {readings} of your own readings"
        )
    return [*lines, *(f"beware: {warning}" for warning in summary["warnings"])]


def _litres(litres: float) -> str:
    return f"{litres:.2f}" if litres >= 0.1 else f"{litres:.4f}"


def _clock(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60}:{whole % 60:02d}"


def proof_lines(summary: Mapping[str, Any]) -> list[str]:
    """Say in plain words what the proof found."""
    proof = summary["proof"]
    lines = [
        f"deepest cut into the sculpture: {proof['deepest_gouge_mm']:.3f} mm"
        + (f" at {_place(proof['gouge_at_mm'])}" if proof["gouge_at_mm"] else ""),
        f"rapids through ice: {proof['rapid_hits']}; shank, nut or spindle in ice: "
        f"{proof['contacts']}; limits broken: {len(proof['limits_broken'])}",
        f"where a bit can reach: {100 * proof['reachable_within_tolerance']:.1f} % of the area "
        f"carved to {proof['tolerance_mm']:g} mm, 99 % to {proof['left_p99_mm']:.2f} mm, worst "
        f"{proof['left_worst_mm']:.2f} mm at {_place(proof['left_worst_at_mm'])}",
    ]
    if proof["unreachable_worst_at_mm"]:
        lines.append(
            f"for the hand, where no bit of the rack can reach: "
            f"{100 * proof['unreachable_share']:.1f} % of the area, up to "
            f"{proof['unreachable_worst_mm']:.1f} mm at "
            f"{_place(proof['unreachable_worst_at_mm'])}"
        )
    lines.append(f"checked every {proof['cell_mm']:g} mm, from the files as written and read back")
    return [*lines, *(f"refused: {limit}" for limit in proof["limits_broken"])]


def _place(at: list[float]) -> str:
    return "x {:.1f}, y {:.1f}, z {:.1f} mm".format(*at)
