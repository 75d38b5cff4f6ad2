"""Can the key reach the screw: the room of a key over a screw's head against workpiece and fixture, the tool away.

1. The key is a cylinder on the head, coaxial with the screw; it is compared in the screw's own frame by the engine of
   the cuts, so that the room is proven.
2. Every state of every workpiece counts: the screw is reached before the first cut and after the last.
3. Bodies of the machine do not count; what another table axis carries is compared with the table at home.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinematics.engine.exact_pair import MoveSets, RoundPart, exact_clearance, move_sets, round_part
from kinematics.engine.pair import Clear
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.machine import W
from kinematics.placement import PlacedBody
from kinematics.pose import Pose, identity
from kinematics.prepared import Prepared
from kinematics.shapes import KeySpace, Screw


@dataclass(frozen=True, slots=True)
class KeyAccess:
    """The room of one key.

    Parameters
    ----------
    room : the least proven clearance, mm; None where the key overlaps `nearest`, or where nothing is near.
    nearest : the body that leaves it; None where there is none. What the screw stands on counts only on contact.
    state : the state of the workpiece that `nearest` belongs to; None for the fixture.
    """

    screw: str
    key: KeySpace
    is_free: bool
    room: float | None
    nearest: str | None
    state: str | None


def key_access(prepared: Prepared) -> tuple[KeyAccess, ...]:
    """One answer for each screw that names its key, in file order. Raises EngineError."""
    placed = prepared.placed.bodies
    with_key = [b for b in placed if isinstance(b.shape, Screw) and b.shape.key is not None]
    if not with_key:
        return ()
    around = [(b, None) for b in placed if not b.is_machine] + [*_states(prepared)]
    return tuple(_access(prepared, screw, around) for screw in with_key)


def _states(prepared: Prepared) -> Iterator[tuple[PlacedBody, str | None]]:
    for workpiece in prepared.scene.workpieces:
        for state in workpiece.states:
            yield from ((body, state.name) for body in prepared.state_bodies(workpiece, state))


def _access(prepared: Prepared, screw: PlacedBody, around: list[tuple[PlacedBody, str | None]]) -> KeyAccess:
    shape = screw.shape
    assert isinstance(shape, Screw) and shape.key is not None, "asked only for screws with a key"
    part, move = _key_part(shape.key), _on_head(shape)
    X_GW = _in_W(prepared, screw).inverse()
    best: KeyAccess | None = None
    for body, state in around:
        if body is screw:
            continue
        X_GB = X_GW @ _in_W(prepared, body)
        found = exact_clearance(part, move, 0.0, prepared.tree_of_body(body), X_GB)
        if not isinstance(found, Clear):
            return KeyAccess(screw.name, shape.key, False, None, body.name, state)
        is_support = body.name == screw.body.placement.rides_on
        if not is_support and (best is None or best.room is None or found.at_least < best.room):
            best = KeyAccess(screw.name, shape.key, True, found.at_least, body.name, state)
    return best or KeyAccess(screw.name, shape.key, True, None, None, None)


def _key_part(key: KeySpace) -> RoundPart:
    piece = RoundPiece("key", key.d / 2, key.d / 2, 0.0, key.h)
    return round_part([piece], [piece])


def _on_head(screw: Screw) -> MoveSets:
    return move_sets([Positions(np.array([[0.0, 0.0, screw.head_h]]), 0.0)])


def _in_W(prepared: Prepared, body: PlacedBody) -> Pose:
    poses = prepared.poses_at(prepared.scene.machine.home_deg)
    return (poses.get(body.carrier) or identity(W, body.carrier)) @ body.X_CG
