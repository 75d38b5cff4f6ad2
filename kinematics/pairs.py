"""Which pairs are compared in a cut, and the reason for each that is not. The only home of that table.

| tool side | against | compared |
|---|---|---|
| cutter | its workpiece (the one that it cuts) | no: cutting it is the point; the depth rule says how deep |
| neck, shank no wider than the cutter | its workpiece | no: it follows the cutter; the depth rule decides |
| the same, in a cut that leaves along its path | its workpiece | what is above the cutter: nothing lifts through it |
| neck, shank wider than the cutter | its workpiece | yes, like the holder; in a hole what the cutter took is gone |
| head bodies | the machine's own bodies on the bed | no: the builder's limits keep them apart |
| everything else on the tool side | every body | yes |
"""

from __future__ import annotations

from dataclasses import dataclass

from kinematics.assembly import ToolAssembly
from kinematics.machine import BED
from kinematics.placement import PlacedBody
from kinematics.tool_kinds import CUTTER, NECK, SHANK

BUILDER = "two of the machine's own bodies: the builder's limits keep them apart"
CUTS_IT = "the cutter cuts the workpiece; the depth rule applies"
FOLLOWS = "no wider than the cutter: it follows the cutter, and the depth rule applies"
_AS_WIDE = 1e-9  # mm; rounding in which a neck counts as wide as the cutter


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A pair that is not compared, and why."""

    between: tuple[str, str]
    reason: str


def reason_to_leave_out(
    part: str, assembly: ToolAssembly, body: PlacedBody, *, is_own_workpiece: bool, head_parts: frozenset[str]
) -> str | None:
    """Why a tool-side part is not compared with a body; None where it is compared."""
    if part in head_parts:
        return BUILDER if body.is_machine and body.carrier == BED else None
    if not is_own_workpiece:
        return None
    if part == CUTTER:
        return CUTS_IT
    if part in (NECK, SHANK) and not is_wider(part, assembly):
        return FOLLOWS
    return None


def is_wider(part: str, assembly: ToolAssembly) -> bool:
    """Whether a neck or shank is wider than the cutter below it."""
    return assembly.radius_of(part) > assembly.cutter_radius + _AS_WIDE
