"""Part zero at every orientation, and what a wrong rotary centre makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kinematics.errors import TightsideError
from kinematics.machine import Machine
from kinematics.placement import place_scene
from kinematics.pose import Vector
from kinematics.scene import Scene
from kinematics.work_offset import WorkOffset, centre_error, work_offsets


class CentreErrorFault(TightsideError):
    """A centre error was asked for in a way that means nothing."""


@dataclass(frozen=True, slots=True)
class OffsetRow:
    """Part zero at one orientation; `off_w`: where it lands wrong by the centre errors asked for, mm in W."""

    offset: WorkOffset
    off_w: Vector | None


def read_centre_error(machine: Machine, text: str) -> tuple[str, Vector]:
    """`tilt=0,0.02,0` as the axis and its vector. Raises CentreErrorFault."""
    name, equals, numbers = text.partition("=")
    names = [axis.name for axis in machine.table_axes]
    if name not in names or not equals:
        known = ", ".join(names) or "none: this machine has no table axis"
        raise CentreErrorFault(f"--centre-error {text}: expected AXIS=X,Y,Z with an axis of the machine ({known})")
    try:
        x, y, z = (float(part) for part in numbers.split(","))
    except ValueError as error:
        raise CentreErrorFault(
            f"--centre-error {text}: {numbers!r}; expected three numbers in mm, as 0,0.02,0"
        ) from error
    if not all(abs(v) <= 10.0 for v in (x, y, z)):
        raise CentreErrorFault(f"--centre-error {text}: {numbers} mm; expected no more than 10 mm each way")
    return name, (x, y, z)


def offset_table(scene: Scene, errors: Sequence[tuple[str, Vector]] = ()) -> tuple[OffsetRow, ...]:
    """One row per orientation and workpiece, in machining order."""
    rows = []
    for offset in work_offsets(scene, place_scene(scene)):
        off: Vector | None = None
        for name, e in errors:
            x, y, z = centre_error(scene.machine, dict(offset.angles_deg), name, e)
            off = (x, y, z) if off is None else (off[0] + x, off[1] + y, off[2] + z)
        rows.append(OffsetRow(offset, off))
    return tuple(rows)
