"""What a scene needs again and again: bodies placed, shapes in pieces, trees, tool-side parts.

1. Pieces, trees and parts are kept by value of what they were made from, so that a cut or a swing costs only what
   is new about it: shapes, tools and assemblies by their numbers, meshes and triangles by identity.
2. A changed scene prepared like the one before takes over what is still right: of every shape that it has, and
   what the last few scenes have asked for. All else is forgotten (`remembered.py`).
3. So is what was found about a cut or a swing, if all that it was found from is equal.
4. Where a body stands is never taken over.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.engine.exact_pair import BodyTree, RoundPart, body_tree, round_part
from kinematics.engine.joined_bodies import JoinedBodies
from kinematics.engine.pair import DIRECTIONS, Tool, TreeCache
from kinematics.engine.sweep import PolyPiece, RoundPiece, grown_hull
from kinematics.engine.triangle_tree import TriangleTree, triangle_tree
from kinematics.engine.turning_pieces import StillPiece, TurnAxis, TurningPiece
from kinematics.machine import BED, HEAD, Machine, frame_poses
from kinematics.moves.cuts import CutMove, cut_move, lift_height
from kinematics.moves.swings import Between, all_between, approach_heights
from kinematics.placement import PlacedBody, PlacedScene, place_scene, place_state
from kinematics.pose import Array, Pose, shift
from kinematics.remembered import Remembered
from kinematics.report import CutReport, SwingReport
from kinematics.scene import Cut, Orientation, Path, Scene, State, Workpiece
from kinematics.scene import Tool as SceneTool
from kinematics.shapes import MeshShape, Shape
from kinematics.solids import Piece, Triangles, pieces

Rest = tuple[tuple[Piece, ...], BodyTree]
R = TypeVar("R", CutReport, SwingReport)
BEHIND_TOOL = 1000  # order of moving bodies that are not on the tool side


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A tool-side part: pieces around it with their supports in DIRECTIONS, and pieces inside it.

    `round` is the same part as profiles of revolution; None for bodies of the head and the bed.
    """

    name: str
    order: int
    outer: tuple[tuple[Tool, Array], ...]
    real: tuple[RoundPiece, ...]
    round: RoundPart | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """What was made of shapes and tools. Where a key is an identity, the value keeps alive what it is of."""

    pieces: Remembered[tuple[Piece, ...]] = field(default_factory=Remembered)
    body_trees: Remembered[BodyTree] = field(default_factory=Remembered)
    trees_over: Remembered[tuple[Triangles, TriangleTree]] = field(default_factory=Remembered)
    rests: Remembered[tuple[Shape, Rest | None]] = field(default_factory=Remembered)
    assemblies: Remembered[ToolAssembly] = field(default_factory=Remembered)
    parts: Remembered[tuple[tuple[PlacedBody, ...], tuple[Part, ...]]] = field(default_factory=Remembered)
    moves: Remembered[CutMove] = field(default_factory=Remembered)
    surroundings: Remembered[tuple[Machine, object]] = field(default_factory=Remembered)
    reports: Remembered[tuple[object, CutReport | SwingReport]] = field(default_factory=Remembered)
    turning: Remembered[tuple[tuple[Piece, ...], tuple[TurningPiece, ...]]] = field(default_factory=Remembered)
    standing: Remembered[tuple[tuple[Piece, ...], tuple[StillPiece, ...]]] = field(default_factory=Remembered)

    def following(self) -> Made:
        """What the next scene starts from."""
        return Made(
            self.pieces.following(),
            self.body_trees.following(),
            self.trees_over.following(),
            self.rests.following(),
            self.assemblies.following(),
            self.parts.following(),
            self.moves.following(),
            self.surroundings.following(),
            self.reports.following(),
            self.turning.following(),
            self.standing.following(),
        )


class Prepared:
    """A scene with its bodies placed and what was made of their shapes. Raises PlacementError.

    `joined` keeps the trees of what turns as one set of arrays, shared by the scenes that are like each other.
    """

    def __init__(self, scene: Scene, like: Prepared | None = None) -> None:
        """Prepare a scene; `like` is of one that is much the same, may be in use, and is not held on to."""
        self.scene = scene
        self.placed: PlacedScene = place_scene(scene)
        self.trees: TreeCache = like.trees.following() if like else TreeCache()
        self.made: Made = like.made.following() if like else Made()
        self.head_bodies = tuple(b for b in self.placed.bodies if b.carrier == HEAD)
        self.joined: JoinedBodies = like.joined if like else JoinedBodies()
        self.turned: dict[tuple[int, int], tuple[TurningPiece, ...]] = {}  # by id of a placed body, and how many axes
        self.moving: dict[int, tuple[TurnAxis, ...]] = {}  # the same: the axes that move it
        self._states: dict[tuple[int, str], tuple[PlacedBody, ...]] = {}
        self._poses: dict[tuple[tuple[str, float], ...], dict[str, Pose]] = {}
        self._trees: dict[int, BodyTree] = {}  # by id of a placed body
        self._between: tuple[tuple[Between, ...], tuple[Between, ...]] | None = None
        self._take_over_shapes()

    def _take_over_shapes(self) -> None:
        """Keep what there is of every shape of the scene, also where nobody asks for it this time."""
        states = [state for workpiece in self.scene.workpieces for state in workpiece.states]
        groups = (self.scene.machine.bodies, self.scene.bodies, *(state.bodies for state in states))
        keys = {_by_value(body.shape) for bodies in groups for body in bodies if body.shape is not None}
        for made in self.made.pieces.take_over(keys):
            self.trees.take_over(made)
        self.made.body_trees.take_over(keys)

    def pieces_of(self, shape: Shape) -> tuple[Piece, ...]:
        return self.made.pieces.get(_by_value(shape), lambda: pieces(shape))

    def tree_of(self, shape: Shape) -> BodyTree:
        """The tree over the triangles around a shape."""
        return self.made.body_trees.get(_by_value(shape), lambda: body_tree(self.pieces_of(shape)))

    def tree_of_body(self, body: PlacedBody) -> BodyTree:
        """`tree_of` its shape; `body` is one of this scene."""
        if id(body) not in self._trees:
            self._trees[id(body)] = self.tree_of(body.shape)
        return self._trees[id(body)]

    def tree_over(self, triangles: Triangles) -> TriangleTree:
        """The tree over triangles that are no shape's own."""
        return self.made.trees_over.get(id(triangles), lambda: (triangles, triangle_tree(triangles)))[1]

    def rests_of(self, shape: Shape, key: Hashable, make: Callable[[], tuple[Piece, ...]]) -> Rest | None:
        """What is left of a shape once something is taken, with its tree, made once by key; None if nothing is left."""

        def made() -> tuple[Shape, Rest | None]:
            left = make()
            return shape, (left, body_tree(left)) if left else None

        return self.made.rests.get((_by_value(shape), key), made)[1]

    @cached_property
    def surroundings(self) -> object:
        """One object for all scenes whose machine is the same and whose bodies, workpieces, errors and lift are equal.

        What is found about a cut or a swing with equal tools in equal surroundings is equal.
        """
        scene = self.scene
        key = (id(scene.machine), scene.bodies, scene.workpieces, scene.setup_errors, scene.keep_off, scene.lift)
        return self.made.surroundings.get(key, lambda: (scene.machine, object()))[1]

    def report_of(self, key: Hashable, make: Callable[[], R]) -> R:
        """A report, taken over where one of the same question in the same surroundings was made before."""
        around = self.surroundings
        kept = self.made.reports.get((id(around), key), lambda: (around, make()))
        return kept[1]  # type: ignore[return-value]  # a key has reports of one kind

    def turning_of(self, shape: Shape, X_CG: Pose, axes: tuple[TurnAxis, ...]) -> tuple[TurningPiece, ...]:
        """The pieces of a shape under axes that turn it, placed in what the last of them carries."""
        own = self.pieces_of(shape)
        key = (id(own), X_CG.R_AB.tobytes(), X_CG.p_AB.tobytes(), axes)
        return self.made.turning.get(key, lambda: (own, tuple(TurningPiece(p, X_CG, axes, self.trees) for p in own)))[1]

    def standing_of(self, body: PlacedBody, make: Callable[[], tuple[StillPiece, ...]]) -> tuple[StillPiece, ...]:
        """The pieces of a body that stands still wherever the spindle is."""
        own = self.pieces_of(body.shape)
        key = (id(own), body.name, body.X_CG.R_AB.tobytes(), body.X_CG.p_AB.tobytes())
        return self.made.standing.get(key, lambda: (own, make()))[1]

    def assembly_of(self, tool: SceneTool) -> ToolAssembly:
        """The assembly of a tool under this spindle; raises ToolError."""
        nose = self.scene.machine.spindle_nose
        return self.made.assemblies.get((tool, nose), lambda: tool_assembly(tool, nose))

    def state_bodies(self, workpiece: Workpiece, state: State) -> tuple[PlacedBody, ...]:
        key = (self.scene.workpieces.index(workpiece), state.name)
        if key not in self._states:
            zero = self.placed.zero_of(self.scene, workpiece)
            self._states[key] = place_state(state, zero, self.scene.machine)
        return self._states[key]

    def move_of(self, cut: Cut, assembly: ToolAssembly, X_WP: Pose, lift_to: float) -> CutMove:
        """The positions of a cut, as `cut_move` gives them; raises FeatureError."""
        if isinstance(cut.feature, Path):  # its points may be a million: too long a key
            return cut_move(cut, assembly, X_WP, lift_to)
        key = (cut, assembly, X_WP.R_AB.tobytes(), X_WP.p_AB.tobytes(), lift_to)
        return self.made.moves.get(key, lambda: cut_move(cut, assembly, X_WP, lift_to))

    def poses_at(self, angles_deg: tuple[tuple[str, float], ...]) -> dict[str, Pose]:
        """X_WA of every frame A that turns; not to be changed."""
        if angles_deg not in self._poses:
            self._poses[angles_deg] = frame_poses(self.scene.machine, dict(angles_deg))
        return self._poses[angles_deg]

    def between(self) -> tuple[tuple[Between, ...], tuple[Between, ...]]:
        """Links and swings of the scene."""
        if self._between is None:
            self._between = all_between(self.scene, self.placed, self)
        return self._between

    def lift_to(self, orientation: Orientation, cut: Cut) -> float:
        """Height of the gauge line to which a cut lifts, and from which it was approached."""
        if self.scene.lift.kind != "retract":
            return lift_height(self.scene.lift, self.scene.machine)
        cuts = self.scene.cuts()
        return approach_heights(*self.between(), len(cuts))[cuts.index((orientation, cut))]

    def parts(self, assembly: ToolAssembly) -> tuple[Part, ...]:
        """Everything on the tool side from the tip up, then the bodies of the head."""
        poses = tuple(
            (b.name, _by_value(b.shape), b.X_CG.R_AB.tobytes(), b.X_CG.p_AB.tobytes()) for b in self.head_bodies
        )
        return self.made.parts.get((assembly, poses), lambda: (self.head_bodies, self._made_parts(assembly)))[1]

    def _made_parts(self, assembly: ToolAssembly) -> tuple[Part, ...]:
        found = []
        for order, name in enumerate(assembly.parts):
            outer, inner = assembly.slices_of(name)
            around = [RoundPiece(name, s.r1, s.r2, s.z1, s.z2) for s in outer]
            real = tuple(RoundPiece(name, s.r1, s.r2, s.z1, s.z2) for s in inner)
            by_support = tuple((p, p.supports(DIRECTIONS)) for p in around)
            found.append(Part(name, order, by_support, real, round_part(around, real)))
        for body in self.head_bodies:
            found.append(Part(body.name, len(found), tuple(self._head_pieces(body, assembly)), ()))
        return tuple(found)

    def bed_parts(self) -> tuple[Part, ...]:
        """The bodies of the bed as parts that move, where a linear axis moves the table; else none."""
        if all(axis.moves == "head" for axis in self.scene.machine.linear_axes):
            return ()
        found: list[Part] = []
        for body in self.placed.bodies:
            if body.carrier == BED:
                pieces = tuple(self._moved_pieces(body, body.X_CG))
                found.append(Part(body.name, BEHIND_TOOL + len(found), pieces, ()))
        return tuple(found)

    def _head_pieces(self, body: PlacedBody, assembly: ToolAssembly) -> Iterator[tuple[PolyPiece, Array]]:
        """A body of the head in the tip frame."""
        return self._moved_pieces(body, shift("L", HEAD, (0.0, 0.0, assembly.gauge_length)) @ body.X_CG)

    def _moved_pieces(self, body: PlacedBody, X_AG: Pose) -> Iterator[tuple[PolyPiece, Array]]:
        """A body that linear axes move, in the frame A that moves; a mesh is taken as its hull, from outside."""
        for piece in self.pieces_of(body.shape):
            outer, inner = (Triangles(X_AG.points(t.vertices), t.faces) for t in (piece.outer, piece.inner))
            if not piece.is_convex:
                outer = grown_hull(outer.vertices, piece.chord_error)
            made = PolyPiece(body.name, outer, inner, piece.is_convex)
            yield made, made.supports(DIRECTIONS)


def _by_value(shape: Shape) -> Hashable:
    """A key that equal shapes share. Whoever keeps something by it keeps its mesh alive, which is known by identity."""
    return ("mesh", id(shape.mesh)) if isinstance(shape, MeshShape) else shape


def current_state(workpiece: Workpiece, done: frozenset[tuple[str, str]]) -> State:
    """The latest state, in file order, whose cuts have been made; the first one if none has."""
    reached = [s for s in workpiece.states if all(c in done for c in s.after)]
    return reached[-1] if reached else workpiece.states[0]
