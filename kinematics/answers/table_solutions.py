"""Every position of the table that aims the tool along one direction of the part, and what a cut leaves there.

1. The direction is kept in the part, and so is the tip; what can turn without changing the aim stays where it is.
2. A position outside the limits is told too, with what it would leave.
3. What this file does not know: files, words for people, links and swings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.answers.worst_room import CutRoom, cut_room
from kinematics.machine import Machine, TableSolution, frame_poses, solutions
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.pose import Z_AXIS, Vector, angle_difference_deg
from kinematics.prepared import Prepared
from kinematics.scene import Cut, Orientation
from kinematics.verdict import Verdict

SAME_DEG = 1e-6  # two positions of a table axis this close are one


@dataclass(frozen=True, slots=True)
class AimedAt:
    """One position of the table, and what the cut leaves there.

    Parameters
    ----------
    angles_deg : of every table axis, by name.
    free, outside : names of the axes that may stand anywhere, and of those whose limits the position breaks.
    is_now : it is where the orientation stands.
    """

    angles_deg: tuple[tuple[str, float], ...]
    free: tuple[str, ...]
    outside: tuple[str, ...]
    is_now: bool
    room: CutRoom

    @property
    def verdict(self) -> Verdict:
        return self.room.verdict


def aimed_at(
    prepared: Prepared, orientation: Orientation, cut: Cut, direction_P: Vector | None = None
) -> tuple[AimedAt, ...]:
    """All positions, the one within limits and nearest to 0 first; none where no position aims the tool so.

    `direction_P` : from the tip up, in the part; None: as the tool stands in the part now.
    """
    scene, machine = prepared.scene, prepared.scene.machine
    zero = prepared.placed.zero_of(scene, scene.workpiece_of(cut))
    under = _up_to(machine, zero.carrier)
    angles = dict(orientation.angles_deg)
    if direction_P is None:
        direction_C = frame_poses(under, angles)[under.platter].inverse().direction(Z_AXIS)
    else:
        direction_C = zero.X_CP.direction(direction_P)
    return tuple(_aimed(prepared, orientation, cut, s) for s in solutions(under, direction_C))


def _up_to(machine: Machine, carrier: str) -> Machine:
    """The machine with those table axes only that turn what stands on `carrier`."""
    carries = [axis.carries for axis in machine.table_axes]
    n = carries.index(carrier) + 1 if carrier in carries else 0
    return replace(machine, table_axes=machine.table_axes[:n])


def _aimed(prepared: Prepared, orientation: Orientation, cut: Cut, solution: TableSolution) -> AimedAt:
    now = dict(orientation.angles_deg)
    turned = {name: now.get(name, 0.0) if name in solution.free else angle for name, angle in solution.angles_deg}
    found = {**now, **turned}
    is_now = all(abs(angle_difference_deg(angle, now.get(name, 0.0))) <= SAME_DEG for name, angle in found.items())
    if is_now:
        found = now
    aimed = re_aimed(prepared.scene, prepared.placed, orientation, found)
    there = Prepared(with_orientation(prepared.scene, aimed), like=prepared)
    room = cut_room(_placed(there, (orientation.name, cut.name)))
    return AimedAt(tuple(found.items()), solution.free, solution.outside, is_now, room)


def _placed(prepared: Prepared, name: tuple[str, str]) -> PlacedCut:
    return next(p for p in placed_cuts(prepared) if (p.orientation.name, p.cut.name) == name)
