"""From placements to poses: where every body stands in the frame that carries it.

A body stands on a frame or on another body; chains are followed to a frame. What a chain ends in is
the body's *carrier*: bed, table, head, or what a table axis carries. Workpiece bodies stand in P,
which stands on what `zero` names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kinematics.errors import PlacementError
from kinematics.machine import Machine, P
from kinematics.pose import Pose, identity, shift, shortest_turn, turn_about
from kinematics.scene import Body, Placement, Scene, State, Workpiece
from kinematics.shapes import Shape, face_centre

_FACE_NORMALS = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, slots=True, eq=False)
class PlacedBody:
    """A solid and its pose X_CG in its carrier C. `is_machine`: it belongs to the machine."""

    body: Body
    shape: Shape
    carrier: str
    X_CG: Pose
    is_machine: bool

    @property
    def name(self) -> str:
        return self.body.name


@dataclass(frozen=True, slots=True, eq=False)
class PlacedZero:
    """Part zero: its carrier C and the pose X_CP."""

    carrier: str
    X_CP: Pose


@dataclass(frozen=True, slots=True, eq=False)
class PlacedScene:
    """Every body of the machine and the scene in its carrier, and the zero of every workpiece."""

    bodies: tuple[PlacedBody, ...]
    zeros: tuple[PlacedZero, ...]

    def zero_of(self, scene: Scene, workpiece: Workpiece) -> PlacedZero:
        return self.zeros[scene.workpieces.index(workpiece)]


def place_scene(scene: Scene) -> PlacedScene:
    """Place every body of the scene. Raises PlacementError with the origin of the body at fault."""
    chain = _Chain(scene.machine, (*scene.machine.bodies, *scene.bodies))
    machine_names = {body.name for body in scene.machine.bodies}
    zeros = []
    for workpiece in scene.workpieces:
        carrier, X_CP = chain.stand(workpiece.zero, "P", workpiece.origin)
        zeros.append(PlacedZero(carrier, X_CP.relabelled(carrier, P)))
    if len(zeros) == 1:
        chain.zero = zeros[0]
    placed = []
    for body in (*scene.machine.bodies, *scene.bodies):
        if body.shape is not None:
            carrier, X_CG = chain.pose_of(body.name)
            placed.append(PlacedBody(body, body.shape, carrier, X_CG, body.name in machine_names))
    return PlacedScene(tuple(placed), tuple(zeros))


def place_state(state: State, zero: PlacedZero, machine: Machine) -> tuple[PlacedBody, ...]:
    """The bodies of one workpiece state, placed in the carrier of its zero."""
    chain = _Chain(machine, state.bodies)
    chain.zero = zero
    placed = []
    for body in state.bodies:
        if body.shape is not None:
            carrier, X_CG = chain.pose_of(body.name)
            placed.append(PlacedBody(body, body.shape, carrier, X_CG, False))
    return tuple(placed)


class _Chain:
    """Follows `rides_on` from body to body; remembers what it has placed; a cycle is a fault."""

    def __init__(self, machine: Machine, bodies: Iterable[Body]) -> None:
        self.frames = machine.frames
        self.bodies: Mapping[str, Body] = {body.name: body for body in bodies}
        self.placed: dict[str, tuple[str, Pose]] = {}
        self.zero: PlacedZero | None = None

    def pose_of(self, name: str) -> tuple[str, Pose]:
        """The carrier of the named body and its pose there; what it stands on is placed before it."""
        waiting: list[str] = []
        support = name
        while support in self.bodies and support not in self.placed:
            body = self.bodies[support]
            if support in waiting:
                ring = " > ".join((*waiting[waiting.index(support) :], support))
                raise PlacementError(
                    f"{ring}: bodies stand on each other in a ring", origin=body.origin, key=("rides_on",)
                )
            waiting.append(support)
            support = body.placement.rides_on
        for waits in reversed(waiting):
            body = self.bodies[waits]
            self.placed[waits] = self.stand(body.placement, waits, body.origin, group=body.group)
        return self.placed[name]

    def stand(self, placement: Placement, name: str, origin: object, *, group: str | None = None) -> tuple[str, Pose]:
        """The carrier and pose of something that stands as `placement` says."""
        carrier, X_CB = self._support(placement, name, origin, group)
        X_BG = (
            shift("B", "at", placement.at)
            @ shortest_turn("at", "aimed", placement.axis)
            @ turn_about("aimed", "G", (0.0, 0.0, 1.0), placement.turn_deg)
        )
        return carrier, X_CB @ X_BG

    def _support(self, placement: Placement, name: str, origin: object, group: str | None) -> tuple[str, Pose]:
        support = placement.rides_on
        if support in self.frames:
            return support, identity(support, "B")
        if support == P and self.zero is not None:
            return self.zero.carrier, self.zero.X_CP.relabelled(self.zero.carrier, "B")
        if support not in self.bodies:
            raise PlacementError(f"nothing is called {support!r} to stand on", origin=origin, key=("rides_on",))
        body = self.bodies[support]
        if body.shape is None and support != group:
            raise PlacementError(
                f"{name} stands on {support}, which is a group and has no face; expected one of its bodies",
                origin=origin,
                key=("rides_on",),
            )
        carrier, X_CS = self.pose_of(support)
        if body.shape is None:
            return carrier, X_CS.relabelled(carrier, "B")
        X_SB = shift("G", "face", face_centre(body.shape, placement.face)) @ shortest_turn(
            "face", "B", _FACE_NORMALS[placement.face]
        )
        return carrier, X_CS @ X_SB
