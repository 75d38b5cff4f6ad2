"""Pictures for paper: the set-up as it must stand, and each watched place across its gap and through the door.

1. The set-up is seen as the operator sees it, the table at home, the tool away, the workpiece as the first cut finds
   it. What is labelled shows its edges through whatever hides it.
2. Labels are not drawn into the picture: their places are told, so that whoever prints it writes them with its own
   letters. Places are shares of the picture's width and height, from its lower left corner.
3. In a picture of a watched place only the gap's number is written, large enough to be read on paper.
4. What this file does not know: paper, fonts, what is written beside a picture.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.jobs.results import CutResult
from app.view3d.cameras import UP, Aim, Camera, Size, View, from_where, in_front, in_the_way
from app.view3d.gap_mark import GapLabel
from app.view3d.looks import Look
from app.view3d.picture_order import PictureOrder
from app.view3d.pictures import Wanted, picture_order
from app.view3d.scene_meshes import DisplayBody, DisplayScene, MeshCache, Role
from app.view3d.styles import Style
from kinematics.machine import BED, HEAD, W
from kinematics.pose import Array, Pose, Vector, as_vector, shift
from kinematics.prepared import Prepared
from kinematics.scene import Body, Cut, Orientation
from kinematics.shapes import Screw
from kinematics.verdict import Verdict
from kinematics.visibility import LEVELS_DEG as LEVELS_DOOR_DEG
from kinematics.visibility import SIDES_DEG as SIDES_DOOR_DEG

DOTS_PER_POINT = 300.0 / 72.0  # pixels of a picture for one point of paper
NUMBER_POINTS = 10.6  # size of the gap's number on paper; where pages are tight pictures are 0.76 as large
NUMBER_PIXELS = 26.0  # the same in pixels of the design
LINE_SCALE = NUMBER_POINTS * DOTS_PER_POINT / NUMBER_PIXELS  # pixels of a picture for one of the design
HOLDING = ("stop", "clamp", "screw", "pin", "jaw", "strap", "locat", "dowel", "wedge")  # words in names of what holds
MOST_LABELS = 12
MANY_ALIKE = 3  # so many bodies of one kind share a label
LEVELS_DEG, SIDES_DEG = (25.0, 40.0), (-20.0, 0.0, 20.0)  # from where the set-up may be seen
LOOK_LEVELS_DEG = (0.0, 15.0, 30.0, 45.0, 60.0)  # from where an operator can look into a gap
LOOK_SIDES_DEG = (0.0, 30.0, -30.0, 45.0, -45.0, 60.0, -60.0, 75.0, -75.0, 90.0, -90.0, 105.0, -105.0)
STEEP_DEG = 45.0
FREE_ROUND = 0.25  # of the gap: so much round its middle has to be free, since nobody sees along a face

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Label:
    """A name and the place in the picture that it belongs to. `is_hidden`: something stands before it."""

    name: str
    at: Place
    is_hidden: bool


@dataclass(frozen=True, slots=True)
class SetUpOrder:
    """The picture of the set-up, its labels, and which way in it is towards the operator (x right, y up)."""

    order: PictureOrder
    labels: tuple[Label, ...]
    to_operator: Place


@dataclass(frozen=True, slots=True)
class WatchOrder:
    """The two pictures of one place, and from where the gap is seen in words; None where it is from nowhere."""

    across: PictureOrder
    door: PictureOrder
    seen_from: str
    look: str | None


def pixels(points: tuple[float, float]) -> Size:
    """How many pixels a picture of so many points of paper has."""
    return round(points[0] * DOTS_PER_POINT), round(points[1] * DOTS_PER_POINT)


# --- a watched place ----------------------------------------------------------------------------


def watch_order(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    *,
    size: Size,
    number: str,
    meshes: MeshCache | None = None,
) -> WatchOrder:
    """The pictures of one place; `number` is what is written at the gap.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool, so there is no place to show.
    """
    label = GapLabel(number, (), result.verdict)
    made = meshes or MeshCache()
    across, door = (
        replace(
            picture_order(
                prepared, orientation, cut, result,
                Wanted(view=view, size=size, style=Style.PRINT, scale=LINE_SCALE, with_caption=False), made,
            ),
            label=label,
        )
        for view in (View.ACROSS, View.DOOR)
    )  # fmt: skip
    scene = across.scene
    return WatchOrder(across, door, _side(across.camera, scene.operator), _look(scene))


def _side(camera: Camera, operator: Vector) -> str:
    """From where a camera looks, without how high it stands."""
    return from_where(camera, operator).rpartition(", ")[0] or "from above"


def _look(scene: DisplayScene) -> str | None:
    """From where somebody who stands beside the door sees the middle of the gap, the nearest to the door first.

    Where a report says that a gap is hidden from the door, it is hidden from every place there.
    """
    around = 0.0 if scene.gap is None else float(np.linalg.norm(np.subtract(*scene.gap.ends_W))) * FREE_ROUND
    for side in LOOK_SIDES_DEG:
        for level in LOOK_LEVELS_DEG:
            if level <= max(LEVELS_DOOR_DEG) and abs(side) <= max(SIDES_DOOR_DEG):
                continue
            seen = Camera(scene.middle_W, _towards(scene.operator, level, side), (0.0, 0.0, 1.0), 100.0)
            if not in_the_way(scene, seen, around):
                words = _side(seen, scene.operator)
                return f"{words}, steeply from above" if level >= STEEP_DEG else words
    return None


def _towards(operator: Vector, level_deg: float, side_deg: float) -> Vector:
    """The unit direction towards an eye that stands so high and so far to the right of the operator's place."""
    towards = np.asarray(operator, dtype=np.float64)
    right = np.cross(UP, towards)
    level, side = math.radians(level_deg), math.radians(side_deg)
    flat = math.cos(side) * towards + math.sin(side) * right
    return as_vector(math.cos(level) * flat + math.sin(level) * UP)


# --- the set-up ---------------------------------------------------------------------------------


def set_up_order(
    prepared: Prepared, *, size: Size, named: Sequence[str] = (), meshes: MeshCache | None = None
) -> SetUpOrder:
    """The picture of the set-up; `named` are bodies that have to be labelled."""
    labelled = _labelled(prepared, named)
    scene = _scene(prepared, frozenset(labelled), meshes or MeshCache())
    seen = max((_camera(scene, size, level, side) for level in LEVELS_DEG for side in SIDES_DEG), key=_Sight(scene))
    look = Look(is_gap_hidden=True, outlined=in_front(scene), about="seen from the door")
    order = PictureOrder(scene, seen, size, Style.PRINT, LINE_SCALE, GapLabel("", (), Verdict.CLEAR), look=look)
    labels = [
        Label(body.name, _place(seen, _middle(body), size), not _is_seen(scene, seen, body))
        for body in scene.of(Role.NEAR_BODY)
    ]
    return SetUpOrder(order, tuple(_few(labels, frozenset(named))), _to_operator(scene, seen, size))


def _few(labels: Sequence[Label], named: frozenset[str]) -> Iterator[Label]:
    """Of many alike, as four screws of a flange, one label that says how many; what is named keeps its own."""
    by_head: dict[str, list[Label]] = {}
    for label in labels:
        head = label.name if label.name in named else label.name.rpartition(" ")[0]
        by_head.setdefault(head or label.name, []).append(label)
    for head, members in by_head.items():
        if len(members) < MANY_ALIKE:
            yield from members
        else:
            first = min(members, key=lambda label: (label.is_hidden, label.at[1]))
            yield replace(first, name=f"{head}s ({len(members)})")


def _labelled(prepared: Prepared, named: Sequence[str]) -> list[str]:
    """What holds the part, and what the sheet names: those nearest to the workpiece first, a few at most."""
    own = [b for b in prepared.placed.bodies if not b.is_machine]
    carries = {b.body.placement.rides_on for b in own}
    screws = [b.name for b in own if _holds(b.body) and b.name not in carries]
    known = {b.name for b in own}
    wanted = [*(n for n in named if n in known), *reversed(screws)]  # what is listed last stands on what is before it
    return list(dict.fromkeys(wanted))[:MOST_LABELS]


def _holds(body: Body) -> bool:
    return isinstance(body.shape, Screw) or any(word in body.name.lower() for word in HOLDING)


def _scene(prepared: Prepared, labelled: frozenset[str], meshes: MeshCache) -> DisplayScene:
    scene = prepared.scene
    poses = {**prepared.poses_at(scene.machine.home_deg), BED: shift(W, BED, (0.0, 0.0, 0.0))}
    found = []
    for workpiece in scene.workpieces:
        used = [cut.state for _, cut in scene.cuts() if scene.workpiece_of(cut) is workpiece]
        state = next((s for s in workpiece.states if s.name in used[:1]), workpiece.states[0])
        for body in prepared.state_bodies(workpiece, state):
            found.append(_body(body.name, Role.WORKPIECE, body.shape, poses[body.carrier] @ body.X_CG, meshes))
    for body in prepared.placed.bodies:
        if body.carrier == HEAD:
            continue
        own = Role.NEAR_BODY if body.name in labelled else Role.FIXTURE
        role = Role.MACHINE if body.is_machine else own
        found.append(_body(body.name, role, body.shape, poses[body.carrier] @ body.X_CG, meshes))
    middle = np.mean([_middle(b) for b in found if b.role is Role.WORKPIECE], axis=0)
    return DisplayScene(tuple(found), None, as_vector(middle), scene.machine.operator)


def _body(name: str, role: Role, shape: object, X_WG: Pose, meshes: MeshCache) -> DisplayBody:
    return DisplayBody(name, role, meshes.mesh_of(shape), X_WG)  # type: ignore[arg-type]  # a Shape, by whoever has it


def _camera(scene: DisplayScene, size: Size, level_deg: float, side_deg: float) -> Camera:
    towards = np.asarray(_towards(scene.operator, level_deg, side_deg))
    up = UP - towards * float(UP @ towards)
    points = np.concatenate([b.vertices_W for b in scene.bodies if b.role is not Role.MACHINE])
    aim = Aim(as_vector(towards), as_vector(up / np.linalg.norm(up)), scene.middle_W, 1.0, points)
    return aim.camera(size)


class _Sight:
    """How many labelled bodies a camera sees; of equal ones the first that is asked wins."""

    def __init__(self, scene: DisplayScene) -> None:
        self.scene = scene
        self.labelled = scene.of(Role.NEAR_BODY)

    def __call__(self, camera: Camera) -> int:
        return sum(_is_seen(self.scene, camera, body) for body in self.labelled)


def _is_seen(scene: DisplayScene, camera: Camera, body: DisplayBody) -> bool:
    top = _middle(body) + (0.0, 0.0, float(np.ptp(body.vertices_W[:, 2])) / 2)
    around = replace(scene, tip_W=as_vector(top), bodies=tuple(b for b in scene.bodies if b is not body))
    return not in_the_way(around, camera)


def _middle(body: DisplayBody) -> Array:
    points = body.vertices_W
    return np.asarray((points.min(axis=0) + points.max(axis=0)) / 2)


def _place(camera: Camera, p_W: Array, size: Size) -> Place:
    x, y = camera.pixels(p_W, size)
    return float(x) / size[0], float(y) / size[1]


def _to_operator(scene: DisplayScene, camera: Camera, size: Size) -> Place:
    """The direction in the picture that leads to the operator, of length 1."""
    start = np.asarray(scene.middle_W)
    ends = camera.pixels(np.stack([start, start + np.asarray(scene.operator)]), size)
    along = ends[1] - ends[0]
    x, y = along / np.linalg.norm(along)
    return float(x), float(y)


def all_orders(set_up: SetUpOrder | None, watched: Sequence[WatchOrder]) -> Iterator[PictureOrder]:
    """Everything to draw, in the order in which the pictures come back."""
    if set_up is not None:
        yield set_up.order
    for one in watched:
        yield from (one.across, one.door)
