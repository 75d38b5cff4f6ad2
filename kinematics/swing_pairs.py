"""The pairs of a swing: what turns against the tool at its lift, the head, and what stands.

1. What turns about its own axis stands still under it.
2. Left out, with the reason: two of the machine's own bodies that stand on the table or its axes, and
   pairs that do not move against each other.
3. A pair carries what set-up errors subtract from its clearance; `exact` pairs carry nothing.
4. What this file does not know: how a search is made, verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import numpy as np

from kinematics.engine.pair import DIRECTIONS, near_pieces, tip_at
from kinematics.engine.round_turning import RoundPair
from kinematics.engine.sweep import PolyPiece, Positions, RoundPiece, grown_hull, hull, hull_cover
from kinematics.engine.turning import TurnPair
from kinematics.engine.turning_pieces import Box, StillPiece, TurnAxis, TurningPiece, VertexSupports, is_coaxial
from kinematics.machine import BED, HEAD, TABLE, bed_motion
from kinematics.moves.swings import Between
from kinematics.pairs import BUILDER
from kinematics.placement import PlacedBody
from kinematics.pose import Array, Pose, as_vector, shift
from kinematics.prepared import BEHIND_TOOL, Part, Prepared, current_state
from kinematics.scene import Tool
from kinematics.setup_error import OtherErrors, other_errors
from kinematics.shapes import MeshShape, Revolve, Screw
from kinematics.solids import Piece, Triangles

_T = TypeVar("_T")
Names = tuple[str, str]  # of a part or a standing body, and of a body that turns
_NO_AXIS = TurnAxis((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
NO_MOTION = "they do not move against each other"


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """A body, what applies to it, and its place in the file order."""

    body: PlacedBody
    errors: OtherErrors
    order: int


class SwingSetup:
    """One swing or link with everything placed."""

    def __init__(self, prepared: Prepared, between: Between) -> None:
        self.prepared, self.between = prepared, between
        self.scene = prepared.scene
        self.machine = self.scene.machine
        self.axes = tuple(TurnAxis(a.origin, a.axis) for a in self.machine.table_axes)
        self.carriers = [a.carries for a in self.machine.table_axes]
        self.left_out: list[tuple[str, str]] = []
        self.targets = self._targets()

    # ---- bodies ------------------------------------------------------------------------------

    def _targets(self) -> tuple[Target, ...]:
        done = frozenset((o.name, c.name) for o, c in self.scene.cuts()[: self.between.n_done])
        own = self.scene.workpiece_of(self.between.state_cut)
        bodies: list[PlacedBody] = []
        for workpiece in self.scene.workpieces:
            if workpiece is own:
                state = next(s for s in workpiece.states if s.name == self.between.state_cut.state)
            else:
                state = current_state(workpiece, done)
            bodies += self.prepared.state_bodies(workpiece, state)
        placed = sorted(self.prepared.placed.bodies, key=lambda b: b.is_machine)
        bodies += [b for b in placed if b.carrier != HEAD]
        return tuple(Target(b, self._errors(b), i) for i, b in enumerate(bodies))

    def chord_error(self) -> float:
        """How much the facets of the two worst bodies may lie off their faces together, mm."""
        errors = [max(p.chord_error for p in self.prepared.pieces_of(t.body.shape)) for t in self.targets]
        return sum(sorted(errors)[-2:])

    def _errors(self, body: PlacedBody) -> OtherErrors:
        def arm() -> float:
            return max(p.radii[0] for p in self._turned_by(body, body.X_CG, self._chain(body)))

        return other_errors(self.scene.setup_errors, body, self.machine, arm)

    def _chain(self, body: PlacedBody) -> tuple[TurnAxis, ...]:
        """The axes that carry a body, the first first; none for what stands."""
        if body.carrier not in self.carriers:
            return ()
        return self.axes[: self.carriers.index(body.carrier) + 1]

    def moving_axes(self, body: PlacedBody) -> tuple[TurnAxis, ...]:
        """The axes under which a body really moves: what turns about its own axis stands still."""
        kept = self.prepared.moving
        if id(body) not in kept:
            kept[id(body)] = self._moving_axes(body)
        return kept[id(body)]

    def _moving_axes(self, body: PlacedBody) -> tuple[TurnAxis, ...]:
        axes = self._chain(body)
        while axes and isinstance(body.shape, Revolve | Screw) and is_coaxial(body.X_CG, axes[-1]):
            if len(axes) == 1:
                return ()
            axes = axes[:-1]
            break  # coaxial with the last axis; the one before moves it
        return axes

    def _carried_pose(self, body: PlacedBody, axes: tuple[TurnAxis, ...]) -> Pose:
        """Pose of a body in what the last of the axes carries that really move it."""
        chain = self._chain(body)
        if len(axes) < len(chain):  # the last axis does not move it: as it stands at zero
            return chain[-1].pose(0.0) @ body.X_CG.relabelled("A", "G")
        return body.X_CG

    def _turning_pieces(self, body: PlacedBody, axes: tuple[TurnAxis, ...]) -> tuple[TurningPiece, ...]:
        key = (id(body), len(axes))  # the axes of one machine: the first of them are told by their number
        kept = self.prepared.turned
        if key not in kept:
            kept[key] = self._turned_by(body, self._carried_pose(body, axes), axes)
        return kept[key]

    def _turned_by(self, body: PlacedBody, X_CG: Pose, axes: tuple[TurnAxis, ...]) -> tuple[TurningPiece, ...]:
        """The pieces of a body under axes, the same in every swing."""
        return self.prepared.turning_of(body.shape, X_CG, axes)

    # ---- the still side ----------------------------------------------------------------------

    def _head_pieces(self, parts: Sequence[Part], positions: Positions) -> Iterator[tuple[Part, StillPiece]]:
        """The bodies of the head over all positions at the lift."""
        by_positions = positions.supports(DIRECTIONS)
        for part in parts:
            for piece, supports in part.outer:
                yield part, self.tool_piece(part, piece, positions, supports + by_positions)

    def tool_piece(
        self, part: Part, piece: RoundPiece | PolyPiece, positions: Positions, supports: Array
    ) -> StillPiece:
        """A piece of tool or head over positions; `supports` are those of its sweep in DIRECTIONS."""
        is_loose = any(b.name == part.name and isinstance(b.shape, MeshShape) for b in self.prepared.head_bodies)
        return StillPiece(
            part=part.name,
            supports=_SweptSupports(piece, positions, supports),
            outer=partial(piece.swept, positions),
            inner=partial(_within, piece, part, positions, is_loose=is_loose),
            attained=_OnTool(piece, part.real, positions),
            is_loose=is_loose,
        )

    def _standing(self, target: Target, frame: str) -> tuple[StillPiece, ...]:
        """A standing body; what does not ride on the bed stands the same in every swing."""
        if frame == BED:
            return tuple(self._standing_pieces(target, frame))
        return self.prepared.standing_of(target.body, lambda: tuple(self._standing_pieces(target, frame)))

    def _standing_pieces(self, target: Target, frame: str) -> Iterator[StillPiece]:
        """A standing body, on the bed over all places where the bed may be."""
        X_WG = target.body.X_CG.relabelled("W", "G")
        for piece in self.prepared.pieces_of(target.body.shape):
            outer, inner = (Triangles(X_WG.points(t.vertices), t.faces) for t in (piece.outer, piece.inner))
            mesh, is_loose, moves_on = piece.mesh, False, False
            attained = _OnStanding(piece, X_WG)
            within: tuple[Triangles, ...] = (inner,)
            corners = X_WG.points(self.prepared.trees.component_points(piece)) if mesh else outer.vertices[:1]
            if frame == BED:
                moves = self._moves_of_bed()
                if len(moves) == 1:
                    outer, inner = (Triangles(t.vertices + moves[0], t.faces) for t in (outer, inner))
                    corners, within = corners + moves[0], (inner,)
                    attained = _OnStanding(piece, shift("W", "W", moves[0]) @ X_WG)
                else:
                    places = (outer.vertices[:, None, :] + moves[None, :, :]).reshape(-1, 3)
                    outer = grown_hull(places, piece.chord_error)
                    mesh, is_loose, moves_on = None, not piece.is_convex, True
                    # where it is convex, all that it sweeps is touched; else the places at the corners tell
                    within = (
                        tuple(Triangles(inner.vertices + m, inner.faces) for m in moves)
                        if is_loose
                        else (hull((inner.vertices[:, None, :] + moves[None, :, :]).reshape(-1, 3)),)
                    )
            if is_loose:
                cover = hull_cover(outer.vertices)
            elif piece.is_convex:
                cover = outer.vertices
            else:  # it stands where it stands: its cover was made once
                cover = attained.X_WG.points(self.prepared.trees.cover_of(piece))
            in_W = None if mesh is None else replace(mesh, vertices=outer.vertices, faces=outer.faces)
            yield StillPiece(
                part=target.body.name,
                supports=VertexSupports(cover),
                outer=partial(_same, outer),
                inner=partial(_same, within),
                attained=_AsFound() if moves_on else attained,
                mesh=in_W,
                corners=partial(_same, corners) if in_W is not None else None,
                is_loose=is_loose,
            )

    def _moves_of_bed(self) -> Array:
        """Where the bed may be relative to where it is drawn: corners (k, 3), one where it stands still."""
        places = np.column_stack([self.between.corners_W, np.full(len(self.between.corners_W), self.between.gauge_z)])
        moves = np.array([bed_motion(self.machine, as_vector(p)) for p in places])
        return moves[:1] if np.ptp(moves, axis=0).max() == 0.0 else moves

    # ---- pairs -------------------------------------------------------------------------------

    def tool_pairs(
        self, tool: Tool, by: float, *, exact: bool, only: Names | None = None
    ) -> list[TurnPair | RoundPair]:
        """Tool and head at the lift, the stick-out longer by `by`, against everything that turns.

        `only` : of all pairs those of these two names, here and in what follows.
        """
        assembly = self.prepared.assembly_of(tool)
        positions = self.between.positions(assembly.gauge_length).lowered(by)
        parts = [p for p in self.prepared.parts(assembly) if only is None or p.name == only[0]]
        found: list[TurnPair | RoundPair] = []
        for target in self._named(only):
            axes = self.moving_axes(target.body)
            subtract = 0.0 if exact else target.errors.total
            for box in self._boxes(len(axes)) if axes else ():
                body, X_CG = self.prepared.tree_of(target.body.shape), self._carried_pose(target.body, axes)
                found += [
                    RoundPair(part.round, positions, body, X_CG, axes, box, subtract, (part.name, target.body.name),
                              (target.order, part.order))
                    for part in parts
                    if part.round is not None
                ]  # fmt: skip
        heads = list(self._head_pieces([p for p in parts if p.round is None], positions))
        for target, turning, box in self.turning_boxes() if heads else ():
            if only is not None and target.body.name != only[1]:
                continue
            subtract = 0.0 if exact else target.errors.total
            found += [
                TurnPair(piece, turning, box, subtract, (part.name, target.body.name), (target.order, part.order))
                for part, piece in heads
            ]
        return found

    def turning_boxes(self) -> Iterator[tuple[Target, TurningPiece, Box]]:
        """Every piece of what turns, with every box of angles that it turns through."""
        for target in self.targets:
            axes = self.moving_axes(target.body)
            for box in self._boxes(len(axes)) if axes else ():
                for turning in self._turning_pieces(target.body, axes):
                    yield target, turning, box

    def resting_boxes(self) -> Iterator[tuple[Target, TurningPiece, Box]]:
        """Every piece of what stands on table or bed or turns on itself, as one that turns by nothing."""
        for target in self.targets:
            if not self.moving_axes(target.body):
                for piece in self._turned_by(target.body, self._rests_in(target.body), (_NO_AXIS,)):
                    yield target, piece, ((0.0, 0.0),)

    def _rests_in(self, body: PlacedBody) -> Pose:
        """X_WG of a body that no axis moves, with all axes at zero."""
        X = body.X_CG.relabelled("A", "G")
        for axis in reversed(self._chain(body)):
            X = axis.pose(0.0) @ X
        return X

    def _boxes(self, n_axes: int) -> list[tuple[tuple[float, float], ...]]:
        return list(dict.fromkeys(box[:n_axes] for box in self.between.boxes))

    def _named(self, only: Names | None) -> Sequence[Target]:
        """The bodies that turn of the pairs asked for."""
        return self.targets if only is None else [t for t in self.targets if t.body.name == only[1]]

    def standing_pairs(self, *, exact: bool, only: Names | None = None) -> list[TurnPair]:
        """What turns against what stands on table and bed."""
        found: list[TurnPair] = []
        for standing in self.targets:
            if standing.body.carrier in self.carriers or (only is not None and standing.body.name != only[0]):
                continue
            still: tuple[StillPiece, ...] = ()
            for target in self._named(only):
                if target.body.carrier not in self.carriers:
                    continue
                axes = self.moving_axes(target.body)
                if not axes or self._is_left_out(target, standing):
                    continue
                still = still or self._standing(standing, standing.body.carrier)
                found += self._crossed(still, target, axes, standing, exact=exact)
        return found

    def bed_pairs(self) -> list[TurnPair]:
        """What stands on the bed against what stands on the table, where linear axes move the table."""
        if all(axis.moves == "head" for axis in self.machine.linear_axes):
            return []
        found = []
        for standing in (t for t in self.targets if t.body.carrier == BED):
            still = self._standing(standing, BED)
            for target, turning, box in self.resting_boxes():
                if target.body.carrier == BED or self._is_left_out(target, standing):
                    continue
                order = (target.order, BEHIND_TOOL + standing.order)
                names = (standing.body.name, target.body.name)
                found += [TurnPair(s, turning, box, target.errors.total, names, order) for s in still]
        return found

    def carried_pairs(self, *, exact: bool, only: Names | None = None) -> list[TurnPair]:
        """What the last axis carries against what the one before carries, in that one's frame."""
        if len(self.axes) < 2:
            return []
        found = []
        last = self.axes[1]
        for standing in (t for t in self.targets if t.body.carrier == self.carriers[0]):
            if only is not None and standing.body.name != only[0]:
                continue
            still: tuple[StillPiece, ...] = ()
            for target in (t for t in self._named(only) if t.body.carrier == self.carriers[1]):
                if self._is_left_out(target, standing):
                    continue
                if isinstance(target.body.shape, Revolve | Screw) and is_coaxial(target.body.X_CG, last):
                    self.left_out.append((f"{target.body.name} - {standing.body.name}", NO_MOTION))
                    continue
                still = still or self._standing(standing, TABLE)
                pieces = self._turned_by(target.body, target.body.X_CG, (last,))
                errors = replace(target.errors, tilt=0.0)  # both lean together
                for box in dict.fromkeys((box[1],) for box in self.between.boxes):
                    subtract = 0.0 if exact else errors.total + self._own_location(standing)
                    names = (standing.body.name, target.body.name)
                    order = (target.order, BEHIND_TOOL + standing.order)
                    found += [TurnPair(s, p, box, subtract, names, order) for s in still for p in pieces]
        return found

    def _is_left_out(self, target: Target, standing: Target) -> bool:
        if not (target.body.is_machine and standing.body.is_machine):
            return False
        self.left_out.append((f"{target.body.name} - {standing.body.name}", BUILDER))
        return True

    def _crossed(
        self, still: Sequence[StillPiece], target: Target, axes: tuple[TurnAxis, ...], standing: Target, *, exact: bool
    ) -> list[TurnPair]:
        subtract = 0.0 if exact else target.errors.total + self._own_location(standing)
        names = (standing.body.name, target.body.name)
        order = (target.order, BEHIND_TOOL + standing.order)
        return [
            TurnPair(s, turning, box, subtract, names, order)
            for box in self._boxes(len(axes))
            for turning in self._turning_pieces(target.body, axes)
            for s in still
        ]

    @staticmethod
    def _own_location(standing: Target) -> float:
        """How far a body of the scene on bed, table or cradle may stand off; the machine's own are where they are."""
        return 0.0 if standing.body.is_machine else standing.errors.location

    def on_first_axis(self) -> frozenset[str]:
        """Names of the bodies that the first of two axes carries."""
        return frozenset(t.body.name for t in self.targets if t.body.carrier == self.carriers[0])


@dataclass(frozen=True, slots=True, eq=False)
class _SweptSupports:
    """Supports of a swept tool piece; those in DIRECTIONS are ready."""

    piece: RoundPiece | PolyPiece
    positions: Positions
    ready: Array

    def __call__(self, directions: Array) -> Array:
        if directions is DIRECTIONS:
            return self.ready
        return self.piece.supports(directions) + self.positions.supports(directions)


@dataclass(frozen=True, slots=True, eq=False)
class _OnTool:
    """The true tool point nearest to a point, over all positions."""

    piece: RoundPiece | PolyPiece
    real: tuple[RoundPiece, ...]
    positions: Positions

    def __call__(self, p: Array, p_found: Array) -> Array:
        if not isinstance(self.piece, RoundPiece):
            return p_found
        best, nearest = math.inf, p_found
        for true in near_pieces(self.real, self.piece):
            tip, distance = tip_at(p, true, self.positions)
            if distance < best:
                best, nearest = distance, tip + true.distance_to(p - tip)[1]
        return nearest


def _same(made: _T) -> _T:
    return made


def _within(
    piece: RoundPiece | PolyPiece, part: Part, positions: Positions, *, is_loose: bool
) -> tuple[Triangles, ...]:
    """Triangles within a swept tool piece: of the true tool beside it, or of a mesh at the corners of its places."""
    if isinstance(piece, RoundPiece):
        return tuple(true.inner_swept(positions) for true in near_pieces(part.real, piece))
    if is_loose:
        return tuple(Triangles(piece.inner.vertices + p, piece.inner.faces) for p in positions.points)
    return (piece.inner_swept(positions),)


@dataclass(frozen=True, slots=True, eq=False)
class _OnStanding:
    """The true point of a standing piece beside one of the polygon around it."""

    piece: Piece
    X_WG: Pose

    def __call__(self, _p: Array, p_found: Array) -> Array:
        return self.X_WG.points(self.piece.on_solid(self.X_WG.inverse().points(p_found)[None, :]))[0]


@dataclass(frozen=True, slots=True, eq=False)
class _AsFound:
    """The point of the sweep around a piece that moves: within SAGITTA of a true one."""

    def __call__(self, _p: Array, p_found: Array) -> Array:
        return p_found
