"""Where a picture is taken from: across the gap, through the door, along the tool. Pure geometry.

1. Across the gap the sight line is square to the gap, exactly, so that the gap has its full length in the
   picture. Of all such directions the one is taken in front of which the least stands in the way; then the
   one that looks a little from above and from the operator's side. W's Z stays up as far as it can.
2. Through the door the camera stands where the operator's eyes may be, by the rule that `visibility.py` of
   `kinematics` uses: level to 45 degrees down, 30 degrees to either side.
3. Along the tool the camera looks down the spindle axis, and what is away from the operator is up (12 o'clock).
4. Across and along are parallel projections: lengths can be compared. Through the door is as eyes see it.
5. Pixels are counted from the lower left corner of the picture, x to the right, y up.
6. What this file does not know: who draws, colours, clearances.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.view3d.display_meshes import DisplayMesh, reduced
from app.view3d.scene_meshes import PAIR, DisplayBody, DisplayScene, Role
from kinematics.pose import Array, Vector, as_vector

Size = tuple[int, int]  # of a picture in pixels, width and height


class View(StrEnum):
    """The three places to look from."""

    ACROSS = "across"
    DOOR = "door"
    AXIS = "axis"


UP = np.array([0.0, 0.0, 1.0])
STEP_DEG = 5.0  # between the directions that are tried
LOOK_DOWN_DEG = 20.0  # how far from above is best
LOWEST_DEG, HIGHEST_DEG = -5.0, 60.0  # below and above these a sight line across the gap is a last resort
DOOR_ANGLE_DEG = 24.0  # of the whole picture's height, as through a long lens: little distortion
MARGIN = 1.12  # of the picture round what is to be seen
HALF_LEAST, HALF_MOST = 34.0, 52.0  # mm from the gap to the upper edge, across the gap and along the tool
LOOK_ROUND = 5.0  # mm round the gap that should be free to see
START = 1e-3  # mm; a sight line starts this far from its point, beyond rounding
_MANY = 1_000  # points that a camera is fitted to
MOST_BLOCKERS = 20_000  # triangles of one body that sight lines are tested against


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera in W.

    Parameters
    ----------
    focus : the point in the middle of the picture, mm.
    towards : unit direction from the focus to the eye.
    up : unit direction that is up in the picture, square to `towards`.
    height : what the picture shows from its lower to its upper edge at the focus, mm.
    angle_deg : the angle of view from the lower to the upper edge; None for a parallel projection.
    """

    focus: Vector
    towards: Vector
    up: Vector
    height: float
    angle_deg: float | None = None

    @property
    def right(self) -> Vector:
        return as_vector(np.cross(self.up, self.towards))

    @property
    def distance(self) -> float:
        """From the focus to the eye, mm; for a parallel projection only far enough to be outside."""
        if self.angle_deg is None:
            return 20.0 * self.height
        return self.height / 2.0 / math.tan(math.radians(self.angle_deg) / 2.0)

    @property
    def eye(self) -> Vector:
        return as_vector(np.asarray(self.focus) + self.distance * np.asarray(self.towards))

    def pixels(self, p_W: ArrayLike, size: Size) -> Array:
        """Where points (3,) or (n, 3) of W are in a picture of `size`: (2,) or (n, 2)."""
        rel = np.asarray(p_W, dtype=np.float64) - self.focus
        flat = np.stack([rel @ np.asarray(self.right), rel @ np.asarray(self.up)], axis=-1)
        if self.angle_deg is not None:
            depth = self.distance - rel @ np.asarray(self.towards)
            flat = flat * (self.distance / depth)[..., None]
        return np.asarray(flat * (size[1] / self.height) + np.array(size) / 2.0)

    def zoomed(self, by: float, focus: Vector) -> Camera:
        """The same look, `by` times as large, at another point."""
        return replace(self, focus=focus, height=self.height / by)


@dataclass(frozen=True, slots=True, eq=False)
class Aim:
    """Where a picture is taken from whatever its size: a camera but for what depends on how wide and high it is.

    Parameters
    ----------
    towards, up : as of the camera.
    focus, half : for a parallel projection: the point in the middle, and how far the picture reaches from it
        to its nearer edges, mm.
    seen_W : for one as eyes see it: points (n, 3) that must be in the picture; None for a parallel projection.
    """

    towards: Vector
    up: Vector
    focus: Vector
    half: float
    seen_W: Array | None = None

    def camera(self, size: Size) -> Camera:
        """The camera for a picture of `size`."""
        if self.seen_W is not None:
            return _fitted(self.seen_W, self.towards, self.up, size, DOOR_ANGLE_DEG)
        narrow = min(1.0, size[0] / size[1])
        return Camera(self.focus, self.towards, self.up, 2.0 * self.half / narrow)


# --- the three views ----------------------------------------------------------------------------


def camera(view: View, scene: DisplayScene, size: Size) -> Camera:
    """The camera of a view for a picture of `size`."""
    return aim(view, scene).camera(size)


def aim(view: View, scene: DisplayScene) -> Aim:
    """Where a view is taken from."""
    match view:
        case View.ACROSS:
            return _aim_across(scene)
        case View.DOOR:
            return _aim_through_door(scene)
        case View.AXIS:
            return _aim_along(scene)


def across_gap(scene: DisplayScene, size: Size) -> Camera:
    """Square to the gap, from where the least stands in the way.

    Where there is no gap, or its ends are one point, every direction is square to it.
    """
    return _aim_across(scene).camera(size)


def through_door(scene: DisplayScene, size: Size) -> Camera:
    """As the operator sees it: the whole set-up with the tool over it, from where the gap is seen best."""
    return _aim_through_door(scene).camera(size)


def along_tool(scene: DisplayScene, size: Size) -> Camera:
    """Down the spindle axis, what is away from the operator up; the middle of the gap in the middle."""
    return _aim_along(scene).camera(size)


def _aim_across(scene: DisplayScene) -> Aim:
    n = scene.gap.direction_W if scene.gap else None
    towards = max(_square_to(n, scene.operator), key=_Worth(scene, n))
    return Aim(as_vector(towards), _up_for(towards, scene.operator), scene.middle_W, _near_half(scene))


def _aim_along(scene: DisplayScene) -> Aim:
    away = as_vector(-np.asarray(scene.operator) + 0.0)
    return Aim((0.0, 0.0, 1.0), away, scene.middle_W, _near_half(scene))


def _aim_through_door(scene: DisplayScene) -> Aim:
    middle = np.asarray(scene.middle_W)
    front = in_front(scene)
    seen_bodies = [b for b in scene.bodies if b.name not in front]
    blockers = [_Blocker(b.name, b.vertices_W, b.mesh.faces) for b in _thinned(seen_bodies)]

    def worth(towards: Array) -> float:
        is_free = not any(blocker.stops(middle, towards) for blocker in blockers)
        level, side = _level_and_side_deg(towards, scene.operator)
        return (1.0 if is_free else 0.0) - abs(level - LOOK_DOWN_DEG) / 200.0 - abs(side) / 300.0

    towards = max(door_directions(scene.operator), key=worth)
    seen = np.concatenate([b.vertices_W for b in _of_set_up(scene)] or [middle[None, :]])
    return Aim(
        as_vector(towards), _up_for(towards, scene.operator), scene.middle_W, _near_half(scene), _outermost(seen)
    )


def in_the_way(scene: DisplayScene, camera: Camera, around: float = 0.0) -> tuple[str, ...]:
    """Names of the bodies that stand between the eye and the middle of the gap, those nearest to the gap first.

    `around` : mm; also those before the four points that lie so far beside it.
    """
    middle = np.asarray(scene.middle_W)
    towards = np.asarray(camera.towards if camera.angle_deg is None else np.asarray(camera.eye) - middle)
    towards = towards / np.linalg.norm(towards)
    points = [middle]
    if around > 0.0:
        points += [middle + around * s * np.asarray(v) for v in (camera.right, camera.up) for s in (1.0, -1.0)]
    found = []
    for body in _thinned(scene.bodies):
        blocker = _Blocker(body.name, body.vertices_W, body.mesh.faces)
        distance = min(blocker.first(p, towards) for p in points)
        if math.isfinite(distance):
            found.append((distance, body.name))
    return tuple(name for _, name in sorted(found))


def from_where(camera: Camera, operator: Vector) -> str:
    """Where the camera stands, in the operator's words: from the left, from behind on the right, from above."""
    level, side = _level_and_side_deg(np.asarray(camera.towards), operator)
    if level > 80.0:
        return "from above"
    eighth = round(side / 45.0) % 8
    where = (
        "from the door", "from the door, on the right", "from the right", "from behind, on the right",
        "from behind", "from behind, on the left", "from the left", "from the door, on the left",
    )[eighth]  # fmt: skip
    height = "level" if abs(level) < 2.5 else f"{abs(level):.0f}\u00b0 from {'above' if level > 0.0 else 'below'}"
    return f"{where}, {height}"


def in_front(scene: DisplayScene) -> frozenset[str]:
    """Bodies of the machine that stand wholly between the operator and the set-up: a door, which then is open."""
    operator = np.asarray(scene.operator)
    set_up = [float((b.vertices_W @ operator).max()) for b in _of_set_up(scene)]
    nearest = max([*set_up, float(np.asarray(scene.middle_W) @ operator)])
    machine = scene.of(Role.MACHINE)
    return frozenset(b.name for b in machine if float((b.vertices_W @ operator).min()) > nearest)


def door_directions(operator: Vector) -> list[Array]:
    """Unit directions towards where the operator's eyes may be."""
    towards = np.asarray(operator, dtype=np.float64)
    right = np.cross(UP, towards)
    found = []
    for level in np.radians(np.arange(0.0, 46.0, STEP_DEG)):
        for side in np.radians(np.arange(-30.0, 31.0, STEP_DEG)):
            flat = math.cos(side) * towards + math.sin(side) * right
            found.append(math.cos(level) * flat + math.sin(level) * UP)
    return found


# --- how good a direction is --------------------------------------------------------------------


def _square_to(n: Vector | None, operator: Vector) -> list[Array]:
    """Unit directions square to n, one every STEP_DEG; those of the door where n is None."""
    if n is None:
        return door_directions(operator)
    normal = np.asarray(n)
    start = np.cross(normal, UP)
    if np.linalg.norm(start) < 1e-6:
        start = np.asarray(operator, dtype=np.float64)
    start = start / np.linalg.norm(start)
    other = np.cross(normal, start)
    angles = np.radians(np.arange(0.0, 360.0, STEP_DEG))
    return [math.cos(a) * start + math.sin(a) * other for a in angles]


class _Worth:
    """How good a direction is to look from: nothing in the way first, then from a little above and from the door."""

    def __init__(self, scene: DisplayScene, n: Vector | None) -> None:
        self.operator, self.middle = scene.operator, np.asarray(scene.middle_W)
        has_room = scene.gap is not None and not scene.gap.is_overlap
        self.pair = self._blockers(scene.of(*PAIR), n) if has_room else []  # else the pair is all round the place
        self.others = self._blockers(scene.of(Role.TOOL, Role.WORKPIECE, Role.FIXTURE), n)
        self.machine = self._blockers(scene.of(Role.MACHINE), n)

    def _blockers(self, bodies: Sequence[DisplayBody], n: Vector | None) -> list[_Blocker]:
        found = [_Blocker(b.name, b.vertices_W, b.mesh.faces) for b in _thinned(bodies)]
        return found if n is None else [b for f in found if (b := f.within(self.middle, n, LOOK_ROUND + START))]

    def __call__(self, towards: Array) -> float:
        return self.freedom(towards) - self._awkwardness(towards)

    def freedom(self, towards: Array) -> float:
        """1 where nothing stands before the gap and what is round it, 0 where all of it is hidden."""
        stopped = 0.0
        if any(b.stops(self.middle, towards) for b in (*self.pair, *self.others)):
            stopped = 0.6
        elif any(b.stops(self.middle, towards) for b in self.machine):  # its outline alone says enough
            stopped = 0.12
        up = np.asarray(_up_for(towards, self.operator))
        right = np.cross(up, towards)
        around = [self.middle + LOOK_ROUND * (x * right + y * up) for x, y in ((1, 0), (0, 1), (-1, 0), (0, -1))]
        return 1.0 - stopped - 0.1 * sum(any(b.stops(p, towards) for b in self.others) for p in around)

    def _awkwardness(self, towards: Array) -> float:
        level, side = _level_and_side_deg(towards, self.operator)
        outside = max(LOWEST_DEG - level, level - HIGHEST_DEG, 0.0)
        return abs(level - LOOK_DOWN_DEG) / 300.0 + outside / 40.0 + abs(side) / 1500.0


def _level_and_side_deg(towards: Array, operator: Vector) -> tuple[float, float]:
    """How far above level a direction points, and how far to the right of the operator's."""
    right = np.cross(UP, operator)
    level = math.degrees(math.asin(max(-1.0, min(1.0, float(towards[2])))))
    return level, math.degrees(math.atan2(float(towards @ right), float(towards @ np.asarray(operator))))


def _up_for(towards: Array, operator: Vector) -> Vector:
    """W's Z as far as it is square to the sight line; away from the operator where the camera looks down."""
    for wanted in (UP, -np.asarray(operator, dtype=np.float64)):
        up = wanted - towards * float(wanted @ towards)
        size = float(np.linalg.norm(up))
        if size > 1e-3:
            return as_vector(up / size)
    raise AssertionError("up and away are square to each other: one of them is not along the sight line")


@dataclass(frozen=True, slots=True, eq=False)
class _Blocker:
    """Triangles (m, 3, 3) of one body in W, as far as they can stand in the way."""

    name: str
    vertices_W: Array
    faces: NDArray[np.int32]

    def within(self, p_W: Array, n: Vector, reach: float) -> _Blocker | None:
        """The triangles that come within `reach` of the plane through p square to n; None if none does."""
        heights = ((self.vertices_W - p_W) @ np.asarray(n))[self.faces]
        keep = (heights.min(axis=1) <= reach) & (heights.max(axis=1) >= -reach)
        return replace(self, faces=self.faces[keep]) if keep.any() else None

    def stops(self, p_W: Array, towards: Array) -> bool:
        return math.isfinite(self.first(p_W, towards))

    def first(self, p_W: Array, towards: Array) -> float:
        """How far along a ray the first triangle is met (Moller and Trumbore, 1997); infinite where none is."""
        corners = self.vertices_W[self.faces]
        a, e1, e2 = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        h = np.cross(towards, e2)
        det = (h * e1).sum(axis=1)
        flat = np.abs(det) < 1e-12
        inverse = 1.0 / np.where(flat, 1.0, det)
        s = p_W - a
        u = (h * s).sum(axis=1) * inverse
        q = np.cross(s, e1)
        v = (q @ towards) * inverse
        t = (q * e2).sum(axis=1) * inverse
        met = ~flat & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > START)
        return float(t[met].min()) if met.any() else math.inf


def _thinned(bodies: Iterable[DisplayBody]) -> list[DisplayBody]:
    """The bodies with as many triangles as sight lines need."""
    found = []
    for body in bodies:
        found.append(replace(body, mesh=_thin(body.mesh)) if len(body.mesh.faces) > MOST_BLOCKERS else body)
    return found


@lru_cache(maxsize=16)  # by identity: the same mesh is asked for in every view
def _thin(mesh: DisplayMesh) -> DisplayMesh:
    return reduced(mesh.vertices, mesh.faces, MOST_BLOCKERS)


# --- what is to be seen -------------------------------------------------------------------------


def _near_half(scene: DisplayScene) -> float:
    """How far a picture reaches from the gap to its nearer edges, mm."""
    spans = [np.linalg.norm(np.ptp(b.vertices_W, axis=0)) for b in scene.of(*PAIR)]
    half = min(max([0.9 * float(s) for s in spans] or [HALF_MOST]), HALF_MOST)
    return max(half, HALF_LEAST)


def _outermost(points_W: Array) -> Array:
    """Of many points those that lie farthest out in some direction, which are all that a camera must hold.

    Directions are the points of a spiral on the sphere; between two of them a point may lie out by a
    thousandth of the whole.
    """
    if len(points_W) <= _MANY:
        return points_W
    k = np.arange(_MANY) + 0.5
    height = 1.0 - 2.0 * k / _MANY
    turn = math.pi * (1.0 + math.sqrt(5.0)) * k
    flat = np.sqrt(1.0 - height * height)
    directions = np.column_stack([flat * np.cos(turn), flat * np.sin(turn), height])
    across = np.ascontiguousarray(points_W.T, dtype=np.float32)  # which one it is needs no more digits
    found = [np.argmax(some.astype(np.float32) @ across, axis=1) for some in np.array_split(directions, 20)]
    return np.asarray(points_W[np.unique(np.concatenate(found))])


def _of_set_up(scene: DisplayScene) -> tuple[DisplayBody, ...]:
    return tuple(b for b in scene.bodies if b.role is not Role.MACHINE)


def _fitted(points_W: Array, towards: Vector, up: Vector, size: Size, angle_deg: float) -> Camera:
    """A camera with perspective that holds all points with a margin.

    Each point asks for a distance of its own, from its own depth; the largest serves all (closed form).
    """
    right = np.cross(up, towards)
    x, y, z = points_W @ right, points_W @ np.asarray(up), points_W @ np.asarray(towards)
    half_up = math.tan(math.radians(angle_deg) / 2.0) / MARGIN
    half_right = half_up * size[0] / size[1]
    # the eye at (ex, ey, ez): |x - ex| <= (ez - z) half_right for every point, and the same for y
    ez = max(
        ((x / half_right + z).max() - (x / half_right - z).min()) / 2.0,
        ((y / half_up + z).max() - (y / half_up - z).min()) / 2.0,
    )
    ex = (((x - half_right * (ez - z)).max()) + ((x + half_right * (ez - z)).min())) / 2.0
    ey = (((y - half_up * (ez - z)).max()) + ((y + half_up * (ez - z)).min())) / 2.0
    focus_z = float((z.max() + z.min()) / 2.0)
    focus = ex * right + ey * np.asarray(up) + focus_z * np.asarray(towards)
    height = 2.0 * (ez - focus_z) * math.tan(math.radians(angle_deg) / 2.0)
    return Camera(as_vector(focus), towards, up, float(height), angle_deg)
