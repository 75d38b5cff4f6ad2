"""What stays where it is when something under it is turned, and what grows when a part is raised.

1. A part that keeps its place on the table while the fixture turns under it has its zero given anew, from what it
   stands on.
2. A raised part takes with it what it is made of; what stands on its seat (stock, grip waste) grows down to it.
3. What this file does not know: files, clearances.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinematics.placement import PlacedScene, place_scene
from kinematics.pose import Pose, Vector, as_vector, shift, shortest_turn, turn_about
from kinematics.scene import UP, Body, Placement, Scene, Workpiece
from kinematics.shapes import Box, Revolve

SAME = 1e-9  # mm, degrees; a number that changes by no more stays as it is
ON_SEAT = 1e-6  # mm; a base this near to the height of the seat stands on it


@dataclass(frozen=True, slots=True)
class Grown:
    """A body of a workpiece that grows down: its new height, and the new height of its base in P, mm."""

    body: str
    height: float
    base: float


def chain_under(scene: Scene, workpiece: Workpiece) -> tuple[str, ...]:
    """The bodies that carry a part, what it stands on first; a member's group follows it where it carries it."""
    bodies = {b.name: b for b in (*scene.machine.bodies, *scene.bodies)}
    found: list[str] = []
    support = workpiece.zero.rides_on
    while support in bodies and support not in found:
        found.append(support)
        support = bodies[support].placement.rides_on
    return tuple(found)


def group_under(scene: Scene, workpiece: Workpiece) -> Body | None:
    """The outermost group of the scene that carries a part; None where none does."""
    groups = {b.name: b for b in scene.bodies if b.shape is None}
    carriers = [groups[name] for name in chain_under(scene, workpiece) if name in groups]
    return carriers[-1] if carriers else None


def turned_under(scene: Scene, group: Body, by_deg: float) -> tuple[float, tuple[tuple[Workpiece, Placement], ...]]:
    """A group turned about its own Z with every part kept where it is: its `turn`, and the new zeros.

    Only parts that the group carries get a new zero.
    """
    turn = _wrapped(group.placement.turn_deg + by_deg)
    carried = tuple(w for w in scene.workpieces if group.name in chain_under(scene, w))
    under = {name for workpiece in carried for name in chain_under(scene, workpiece)}
    alone = replace(scene, bodies=tuple(b for b in scene.bodies if b.name in under), workpieces=carried)
    turned = tuple(
        replace(b, placement=replace(b.placement, turn_deg=turn)) if b.name == group.name else b for b in alone.bodies
    )
    before, after = place_scene(alone), place_scene(replace(alone, bodies=turned))
    return turn, tuple((workpiece, _kept(alone, workpiece, before, after)) for workpiece in carried)


def _kept(scene: Scene, workpiece: Workpiece, before: PlacedScene, after: PlacedScene) -> Placement:
    """The placement that puts a zero where it was, on what has moved under it; A is where it would have gone."""
    X_CP, X_CA = (p.zero_of(scene, workpiece).X_CP.relabelled("C", frame) for p, frame in ((before, "P"), (after, "A")))
    X_BA = _pose_of(workpiece.zero).relabelled("B", "A")
    return _as_placed(workpiece.zero, X_BA @ X_CA.inverse() @ X_CP)


def _pose_of(placement: Placement) -> Pose:
    """The pose of what is placed, in the frame that it stands on."""
    return (
        shift("B", "at", placement.at)
        @ shortest_turn("at", "aimed", placement.axis)
        @ turn_about("aimed", "P", UP, placement.turn_deg)
    )


def _as_placed(old: Placement, X_BP: Pose) -> Placement:
    """A placement with this pose; numbers that stay the same stay so digit for digit."""
    axis = _snapped(old.axis, X_BP.direction(UP))
    level = (shortest_turn("B", "aimed", axis).inverse() @ X_BP.relabelled("B", "P")).direction((1.0, 0.0, 0.0))
    turn = math.degrees(math.atan2(level[1], level[0]))
    turn = _wrapped(float(np.round(turn, 9)))
    turn = old.turn_deg if abs(_wrapped(turn - old.turn_deg)) <= SAME else turn
    return replace(old, at=_snapped(old.at, X_BP.origin()), axis=axis, turn_deg=turn)


def _snapped(old: Vector, new: Vector) -> Vector:
    """The new numbers, with those of the old ones that are the same."""
    unit = np.asarray(old) / (np.linalg.norm(old) if old != (0.0, 0.0, 0.0) else 1.0)
    if np.abs(unit - new).max() <= SAME:
        return old
    return as_vector([a if abs(a - b) <= SAME else b for a, b in zip(old, new, strict=True)])


def _wrapped(angle_deg: float) -> float:
    """The same angle in (-180, 180]."""
    wrapped = math.fmod(angle_deg, 360.0)
    return wrapped - 360.0 if wrapped > 180.0 else wrapped + 360.0 if wrapped <= -180.0 else wrapped


def grown_to_seat(workpiece: Workpiece, by: float) -> Iterator[Grown]:
    """The bodies of a part that stand on its seat, as they are when the part is raised and they still reach it.

    The seat is what zero stands on, below P by the height of zero over it. Boxes, cylinders and cones that stand
    upright in P grow; others do not.
    """
    seat = -workpiece.zero.at[2]
    done: set[str] = set()
    for state in workpiece.states:
        own = {b.name for b in state.bodies}
        for body in state.bodies:
            p = body.placement
            stands_free = p.rides_on not in own and p.axis == UP
            if body.name in done or not stands_free or abs(p.at[2] - seat) > ON_SEAT:
                continue
            done.add(body.name)
            if isinstance(body.shape, Box):
                yield Grown(body.name, body.shape.dz + by, p.at[2] - by)
            elif isinstance(body.shape, Revolve) and len(body.shape.steps) == 1:
                yield Grown(body.name, body.shape.height + by, p.at[2] - by)
