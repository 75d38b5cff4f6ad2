"""A cut at its orientation with everything placed in W: poses, part zero, the move, the bodies around.

What this file does not know: clearances, verdicts, words.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from kinematics.assembly import ToolAssembly
from kinematics.cut_pairs import CutPairs
from kinematics.machine import HEAD, W
from kinematics.moves.cuts import CutMove
from kinematics.placement import PlacedBody, PlacedZero
from kinematics.pose import Pose, identity
from kinematics.prepared import Prepared, current_state
from kinematics.scene import Cut, Orientation, State, Tool, Workpiece

Done = frozenset[tuple[str, str]]


@dataclass(frozen=True, eq=False)
class PlacedCut:
    """One cut with its tool at one orientation; `done` are the cuts made before it, as (orientation, cut)."""

    prepared: Prepared
    orientation: Orientation
    cut: Cut
    done: Done
    tool: Tool

    @cached_property
    def assembly(self) -> ToolAssembly:
        return self.prepared.assembly_of(self.tool)

    @cached_property
    def angles(self) -> dict[str, float]:
        return dict(self.orientation.angles_deg)

    @cached_property
    def poses(self) -> dict[str, Pose]:
        """X_WA of every frame A that turns."""
        return self.prepared.poses_at(self.orientation.angles_deg)

    @cached_property
    def workpiece(self) -> Workpiece:
        return self.prepared.scene.workpiece_of(self.cut)

    @cached_property
    def state(self) -> State:
        return next(s for s in self.workpiece.states if s.name == self.cut.state)

    @cached_property
    def premature(self) -> tuple[tuple[str, str], ...]:
        """Cuts that the state needs and that are made later."""
        return tuple(c for c in self.state.after if c not in self.done)

    @cached_property
    def X_WP(self) -> Pose:
        return pose_in_W(self.prepared.placed.zero_of(self.prepared.scene, self.workpiece), self.poses)

    @cached_property
    def move(self) -> CutMove:
        lift_to = self.prepared.lift_to(self.orientation, self.cut)
        return self.prepared.move_of(self.cut, self.assembly, self.X_WP, lift_to)

    @cached_property
    def bodies(self) -> list[tuple[PlacedBody, bool]]:
        """Every obstacle, the workpiece first, with whether it is the one that is cut."""
        prepared = self.prepared
        bodies = [(b, True) for b in prepared.state_bodies(self.workpiece, self.state)]
        for other in prepared.scene.workpieces:
            if other is not self.workpiece:
                bodies += [(b, False) for b in prepared.state_bodies(other, current_state(other, self.done))]
        placed = sorted(prepared.placed.bodies, key=lambda b: b.is_machine)  # the scene's own first
        return bodies + [(b, False) for b in placed if b.carrier != HEAD]

    @cached_property
    def pairs(self) -> CutPairs:
        return CutPairs(self.prepared, self.cut, self.tool, self.assembly, self.move, self.bodies, self.poses)


def pose_in_W(zero: PlacedZero, poses: dict[str, Pose]) -> Pose:
    """Part zero in W; a part that stands on the bed is placed where the bed is drawn."""
    if zero.carrier in poses:
        return poses[zero.carrier] @ zero.X_CP
    return identity(W, zero.carrier) @ zero.X_CP


def placed_cuts(prepared: Prepared) -> list[PlacedCut]:
    """All cuts of a scene in machining order."""
    done: set[tuple[str, str]] = set()
    found = []
    for orientation, cut in prepared.scene.cuts():
        found.append(PlacedCut(prepared, orientation, cut, frozenset(done), prepared.scene.tool(cut.tool)))
        done.add((orientation.name, cut.name))
    return found
