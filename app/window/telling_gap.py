"""The words of the tight view: what stands beside the gap, what is said of a body. Numbers as everywhere else."""

from __future__ import annotations

from app.view3d.gap_mark import GapLabel
from app.view3d.places import Told
from app.window.units import Unit, length, proven, spare_text, with_unit
from kinematics.verdict import Verdict

UNKNOWN = "?"


def gap_label(told: Told, verdict: Verdict, unit: Unit, *, hidden_by: str | None, is_stale: bool) -> GapLabel:
    """Clearance, spare, between which two; and by what the operator's sight is stopped."""
    lines = [f"{spare_text(told.spare, told.keep_off, unit)} spare"] if told.spare is not None else []
    lines.append(told.pair)
    if hidden_by is not None:
        lines.append(f"hidden from the door by {hidden_by}")
    number = clearance_text(told, unit)
    return GapLabel(f"was {number}" if is_stale else number, tuple(lines), verdict)


def clearance_text(told: Told, unit: Unit) -> str:
    """A clearance rounded down with its unit, an overlap with its depth, or that it is not known."""
    if told.clearance is None:
        return told.contact or UNKNOWN
    if told.clearance.value < 0.0:
        return f"overlap {with_unit(length(-told.clearance.value, unit), unit)}"
    return with_unit(proven(told.clearance.at_least, unit), unit)


def short_text(told: Told, unit: Unit) -> str:
    """A pair in one line: nut to stock 3.50 mm."""
    return f"{told.pair} {clearance_text(told, unit)}"
