"""A set-up at the tightest place of one cut, as things to draw: which mesh, where, in which role.

1. Nothing is computed about clearances: the report says which two are near and where the tip stands.
2. A body keeps its mesh in its own frame; turning the table changes poses only.
3. Roles follow the picture's one question, which is near which: the tool's part and the body of the pair
   stand out, all else recedes.
4. Where the report has no place (nothing near, not checked) the tip stands where the feature begins.
5. What this file does not know: cameras, colours, how things are drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from app.view3d.display_meshes import DisplayMesh, part_mesh, shape_mesh
from kinematics.assembly import Slice, ToolAssembly, tool_assembly
from kinematics.machine import BED, HEAD, W, bed_motion, frame_poses
from kinematics.moves.cuts import cut_move
from kinematics.placement import PlacedBody
from kinematics.pose import Array, Pose, Vector, as_vector, direction_between, identity, shift
from kinematics.report import CutReport, SwingReport
from kinematics.scene import Cut, Orientation
from kinematics.shapes import MeshShape, Shape
from kinematics.tool_faults import SPINDLE_NOSE

if TYPE_CHECKING:
    from kinematics.moves.swings import Between
    from kinematics.prepared import Prepared


class Role(StrEnum):
    """What a body is in the picture."""

    NEAR_PART = "part of the tool side in the pair"
    TOOL = "other parts of the tool side"
    NEAR_BODY = "obstacle in the pair, and those that tie with it"
    WORKPIECE = "workpiece"
    FIXTURE = "other body of the set-up"
    MACHINE = "body of the machine"


_DIGITS = 6  # decimals of mm that tell two parts of a tool apart
_MOST_MESHES = 400
Turning = tuple[DisplayMesh, Pose, int]
PAIR = (Role.NEAR_PART, Role.NEAR_BODY)
TOOL_SIDE = (Role.NEAR_PART, Role.TOOL)


@dataclass(frozen=True, slots=True, eq=False)
class DisplayBody:
    """Something to draw. `name` is what the report calls it; X_WG is where its mesh stands in W."""

    name: str
    role: Role
    mesh: DisplayMesh
    X_WG: Pose

    @property
    def vertices_W(self) -> Array:
        return self.X_WG.points(self.mesh.vertices)


@dataclass(frozen=True, slots=True)
class Gap:
    """The tightest place: its ends in W, on the tool side first. `is_overlap`: they lie in each other's body."""

    ends_W: tuple[Vector, Vector]
    is_overlap: bool

    @property
    def middle_W(self) -> Vector:
        return as_vector(np.mean(self.ends_W, axis=0))

    @property
    def direction_W(self) -> Vector | None:
        """From the first end to the second; None where they are one point."""
        return direction_between(*self.ends_W)


@dataclass(frozen=True, slots=True, eq=False)
class DisplayScene:
    """All there is to draw of one cut, at its tightest place.

    Parameters
    ----------
    gap : None where nothing is near, or no place of it is known.
    tip_W : where the tip of the tool stands.
    operator : horizontal unit direction in W from the machine to the operator.
    """

    bodies: tuple[DisplayBody, ...]
    gap: Gap | None
    tip_W: Vector
    operator: Vector

    @property
    def middle_W(self) -> Vector:
        """What the picture is about: the middle of the gap, or the tip."""
        return self.gap.middle_W if self.gap else self.tip_W

    def of(self, *roles: Role) -> tuple[DisplayBody, ...]:
        return tuple(b for b in self.bodies if b.role in roles)

    @property
    def reduced(self) -> tuple[DisplayBody, ...]:
        """Bodies of which less is drawn than there is."""
        return tuple(b for b in self.bodies if b.mesh.off_by is not None)


class MeshCache:
    """Display meshes by the value of what they show, made once; a changed scene makes only what is new."""

    def __init__(self) -> None:
        self._by_value: dict[Hashable, tuple[object, DisplayMesh]] = {}

    def mesh_of(self, shape: Shape) -> DisplayMesh:
        """The shape in its own frame G; of a mesh file by identity, else by its numbers."""
        return self._made(id(shape.mesh) if isinstance(shape, MeshShape) else shape, shape, partial(shape_mesh, shape))

    def mesh_of_part(self, slices: tuple[Slice, ...]) -> tuple[DisplayMesh, float]:
        """A part of a tool over its own base, and how high over the tip that is: one that is moved stays the same."""
        base = slices[0].z1
        profile = tuple(tuple(round(v, _DIGITS) for v in (s.r1, s.r2, s.z1 - base, s.z2 - base)) for s in slices)
        lowered = tuple(Slice(s.part, s.r1, s.r2, s.z1 - base, s.z2 - base) for s in slices)
        return self._made(profile, None, partial(part_mesh, lowered)), base

    def _made(self, key: Hashable, kept: object, make: Callable[[], DisplayMesh]) -> DisplayMesh:
        found = self._by_value.pop(key, None) or (kept, make())
        self._by_value[key] = found  # last used, last forgotten
        if len(self._by_value) > _MOST_MESHES:
            del self._by_value[next(iter(self._by_value))]
        return found[1]


def display_scene(
    prepared: Prepared, orientation: Orientation, cut: Cut, report: CutReport | None, meshes: MeshCache | None = None
) -> DisplayScene:
    """What stands on the machine at the tightest place of a cut; `report` is None where there is none.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool, so there is no place to show.
    """
    scene, machine = prepared.scene, prepared.scene.machine
    assembly = tool_assembly(scene.tool(cut.tool), machine.spindle_nose)
    poses = frame_poses(machine, dict(orientation.angles_deg))
    near = _near(report)
    tip = _tip(prepared, orientation, cut, report, assembly, poses)
    gauge = np.array([0.0, 0.0, assembly.gauge_length])
    frames = {
        **poses,
        BED: shift(W, BED, bed_motion(machine, as_vector(tip + gauge))),
        HEAD: shift(W, HEAD, as_vector(tip + gauge)),
    }
    cache = meshes or MeshCache()
    cache = meshes or MeshCache()
    found = [*_tool_bodies(assembly, tip, near, cache)]
    for body, usual in _bodies(prepared, orientation, cut):
        role = _role(body, usual, near)
        X_WG = frames[body.carrier] @ body.X_CG
        found.append(DisplayBody(body.name, role, cache.mesh_of(body.shape), X_WG))
    return DisplayScene(tuple(found), _gap(report), as_vector(tip), machine.operator)


def display_scene_of_swing(
    prepared: Prepared, between: Between, report: SwingReport, meshes: MeshCache | None = None
) -> tuple[DisplayScene, tuple[tuple[str, Turning], ...]]:
    """What stands on the machine where a swing comes nearest; and what turns in it.

    What turns is given by its name, with its mesh, its pose in the frame that carries it, and how many table axes
    carry that.
    The tool may wait anywhere over the hull of its positions: it is drawn where it is nearest to what it is near.

    Raises
    ------
    ToolError : the tool can't be assembled, so there is nothing to show.
    """
    from kinematics.swing_pairs import SwingSetup  # with the engine, which who only draws does not load

    scene, machine = prepared.scene, prepared.scene.machine
    first = dict(zip((a.name for a in machine.table_axes), (low for low, _ in between.boxes[0]), strict=True))
    poses = frame_poses(machine, first | dict(report.at_angles_deg))
    assembly = tool_assembly(scene.tool(report.tool or between.tools[0]), machine.spindle_nose)
    near = (report.between[0], frozenset([report.between[1]])) if report.between else ("", frozenset[str]())
    aside = report.points_W[1] if report.points_W else (*np.mean(between.corners_W, axis=0), 0.0)
    x, y = nearest_in_hull(between.corners_W, (aside[0], aside[1]))
    tip = np.array([x, y, between.gauge_z - assembly.gauge_length])
    gauge = np.array([0.0, 0.0, assembly.gauge_length])
    frames = {
        **poses,
        BED: shift(W, BED, bed_motion(machine, as_vector(tip + gauge))),
        HEAD: shift(W, HEAD, as_vector(tip + gauge)),
    }
    cache = meshes or MeshCache()
    setup = SwingSetup(prepared, between)
    found = [*_tool_bodies(assembly, tip, near, cache)]
    turning = []
    own = {b.name for b in prepared.placed.bodies}
    for body in (*(t.body for t in setup.targets), *prepared.head_bodies):
        usual = Role.MACHINE if body.is_machine else Role.FIXTURE if body.name in own else Role.WORKPIECE
        mesh = cache.mesh_of(body.shape)
        found.append(DisplayBody(body.name, _role(body, usual, near), mesh, frames[body.carrier] @ body.X_CG))
        if setup.moving_axes(body):
            turning.append((body.name, (mesh, body.X_CG, setup.carriers.index(body.carrier) + 1)))
    gap = Gap(report.points_W, report.contact is not None) if report.points_W and report.between else None
    return DisplayScene(tuple(found), gap, as_vector(tip), machine.operator), tuple(turning)


def nearest_in_hull(corners: Array, p: tuple[float, float]) -> tuple[float, float]:
    """The point of a convex polygon (k, 2), a stretch or a point that is nearest to p, all in one plane.

    Corners go round counter-clockwise.
    """
    at = np.array(p)
    a, b = corners, np.roll(corners, -1, axis=0)
    along, off = b - a, at - a
    if len(corners) > 2 and (along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0] >= 0.0).all():
        return p
    length = np.maximum((along * along).sum(axis=1), 1e-12)
    share = np.clip((off * along).sum(axis=1) / length, 0.0, 1.0)
    on_edges = a + share[:, None] * along
    x, y = on_edges[int(((on_edges - at) ** 2).sum(axis=1).argmin())]
    return float(x), float(y)


def _near(report: CutReport | None) -> tuple[str, frozenset[str]]:
    """The tool's part in the pair, and the obstacles that are as near to it."""
    if report is None or report.worst is None:
        return "", frozenset()
    part, obstacle = report.worst.between
    return part, frozenset([obstacle, *(b for a, b in report.ties if a == part)])


def _gap(report: CutReport | None) -> Gap | None:
    pair = report.worst if report is not None else None
    if pair is None or pair.points_W is None:
        return None
    return Gap(pair.points_W, pair.contact is not None or (pair.clearance is not None and pair.clearance.value < 0.0))


def _tip(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    report: CutReport | None,
    assembly: ToolAssembly,
    poses: dict[str, Pose],
) -> Array:
    if report is not None and report.worst is not None and report.worst.tip_W is not None:
        return np.asarray(report.worst.tip_W)
    scene = prepared.scene
    zero = prepared.placed.zero_of(scene, scene.workpiece_of(cut))
    X_WC = poses.get(zero.carrier) or identity(W, zero.carrier)
    move = cut_move(cut, assembly, X_WC @ zero.X_CP, prepared.lift_to(orientation, cut))
    return np.asarray(move.feature[0].points[0])


def _tool_bodies(
    assembly: ToolAssembly, tip: Array, near: tuple[str, frozenset[str]], meshes: MeshCache
) -> list[DisplayBody]:
    """The parts of the tool from the tip up."""
    found = []
    for part in assembly.parts:
        role = Role.NEAR_PART if part == near[0] else Role.MACHINE if part == SPINDLE_NOSE else Role.TOOL
        mesh, base = meshes.mesh_of_part(assembly.slices_of(part)[0])
        found.append(DisplayBody(part, role, mesh, shift(W, "G", (tip[0], tip[1], tip[2] + base))))
    return found


def _bodies(prepared: Prepared, orientation: Orientation, cut: Cut) -> list[tuple[PlacedBody, Role]]:
    """Every body that stands there when the cut begins, with what it is when it is not near."""
    from kinematics.prepared import current_state  # with the engine, which who only draws does not load

    scene = prepared.scene
    own = scene.workpiece_of(cut)
    state = next(s for s in own.states if s.name == cut.state)
    cuts = scene.cuts()
    done = frozenset((o.name, c.name) for o, c in cuts[: cuts.index((orientation, cut))])
    found = [(b, Role.WORKPIECE) for b in prepared.state_bodies(own, state)]
    for other in scene.workpieces:
        if other is not own:
            found += [(b, Role.WORKPIECE) for b in prepared.state_bodies(other, current_state(other, done))]
    found += [(b, Role.MACHINE if b.is_machine else Role.FIXTURE) for b in prepared.placed.bodies]
    return found


def _role(body: PlacedBody, usual: Role, near: tuple[str, frozenset[str]]) -> Role:
    part, obstacles = near
    if body.carrier == HEAD:
        return Role.NEAR_PART if body.name == part else Role.MACHINE
    if body.name == part:  # a body of the bed that comes near what the table carries
        return Role.NEAR_PART
    return Role.NEAR_BODY if body.name in obstacles else usual
