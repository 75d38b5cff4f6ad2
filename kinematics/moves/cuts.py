"""A cut as convex sets of tip positions: where the tip goes, how it leaves, what it reaches.

1. No time steps: a hole is a point, a slot a segment, a pocket a rectangle, a contour its segments and
   the arcs of its corners (covered from outside by polygons, by ARC_SAGITTA at most).
2. Depth runs along the tool axis. Features are given in P; positions come out in W, where the tool axis
   is Z, for the locked table of the orientation.
3. Each set lifts: by the retract and on to where the next move begins. With `leave_to` only that point
   lifts, and the way there belongs to the cut.
4. What this file does not know: bodies, clearances.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.engine.sweep import Arc, Positions
from kinematics.errors import FeatureError
from kinematics.machine import Machine, bed_motion, head_motion
from kinematics.pose import Z_AXIS, Array, Pose, Vector, frozen
from kinematics.scene import Cut, Face, Hole, Lift, Path, Pocket, Profile, Scene, Slot
from kinematics.tool_kinds import CUTTER

ARC_SAGITTA = 0.002  # mm; how far the polygons over a rolled corner lie outside its arc
MOST_SHIFTED = 256  # contours whose shifted sides are kept
PARALLEL = 1e-9  # sine below which two directions count as parallel
CLOSE = 1e-9  # mm; points nearer than this are one point


@dataclass(frozen=True, slots=True, eq=False)
class CutMove:
    """All tip positions of one cut in W. `feature` are those of the feature itself, before it leaves."""

    sets: tuple[Positions, ...]
    feature: tuple[Positions, ...]
    gauge_length: float

    def against_bed(self, machine: Machine) -> tuple[Positions, ...]:
        """The tip as the bed sees it, where some linear axes move the table."""
        gauge = np.array([0.0, 0.0, self.gauge_length])
        return seen_from_bed(machine, self.sets, gauge)

    def of_bed(self, machine: Machine) -> tuple[Positions, ...]:
        """How far the bed stands from where it is drawn, as the table sees it."""
        return motions_of_bed(machine, self.sets, np.array([0.0, 0.0, self.gauge_length]))

    def tip_for(self, machine: Machine, bed_tip: Array) -> Array:
        """A tip position in W of those that the bed sees at `bed_tip`."""
        gauge = np.array([0.0, 0.0, self.gauge_length])
        mask = np.array(head_motion(machine, (1.0, 1.0, 1.0)))
        points = np.concatenate([s.points for s in self.sets])
        nearest = points[int((np.abs((points + gauge) * mask - gauge - bed_tip)).sum(axis=1).argmin())]
        return np.asarray(np.where(mask > 0.0, bed_tip, nearest))


def seen_from_bed(machine: Machine, sets: Sequence[Positions], gauge: Array) -> tuple[Positions, ...]:
    """Tip positions in W as positions relative to the bed: only the head's own motion counts."""
    mask = np.array(head_motion(machine, (1.0, 1.0, 1.0)))
    found = [_projected((s.points + gauge) * mask - gauge, s.up if mask[2] else 0.0) for s in sets]
    return tuple(s for projected in found for s in projected)


def motions_of_bed(machine: Machine, sets: Sequence[Positions], gauge: Array) -> tuple[Positions, ...]:
    """Motions of the bed relative to the table while the tip takes its positions."""
    mask = np.array(bed_motion(machine, (1.0, 1.0, 1.0)))
    found = [_projected((s.points + gauge) * mask, s.up if mask[2] else 0.0) for s in sets]
    return tuple(s for projected in found for s in projected)


def _projected(points: Array, up: float) -> list[Positions]:
    """Projected positions as convex sets; a polygon that has become flat is its longest segment."""
    if len(points) <= 1:
        return [Positions(points, up)]
    spread = points.max(axis=0) - points.min(axis=0)
    if spread.max() <= CLOSE:
        return [Positions(points[:1], up)]
    if len(points) > 2 and min(spread[0], spread[1]) <= CLOSE:
        axis = int(spread.argmax())
        return [Positions(points[[points[:, axis].argmin(), points[:, axis].argmax()]], up)]
    return [Positions(points, up)]


def cut_move(cut: Cut, assembly: ToolAssembly, X_WP: Pose, lift_to: float) -> CutMove:
    """The positions of a cut at a locked table.

    Parameters
    ----------
    X_WP : pose of part zero in W at the orientation of the cut.
    lift_to : height of the gauge line at which the next move begins, mm in W (minus infinity: the
        retract is all).

    Raises
    ------
    FeatureError : the feature can't be made with the tool.
    """
    _check_way_out(cut, assembly)
    lift = _LiftRule(cut.retract, assembly.gauge_length, lift_to)
    bare = tuple(_feature_sets(cut, assembly, X_WP))
    if cut.leave_to is None:
        sets = tuple(lift.raised(s) for s in bare)
        return CutMove(sets, bare, assembly.gauge_length)
    leave = np.asarray(X_WP.points(cut.leave_to))
    if isinstance(cut.feature, Pocket | Face):
        exits = [_all_ways(bare[0].points, leave)]  # it may leave from anywhere in the area
    elif isinstance(cut.feature, Profile):
        exits = _segments([bare[0].points[0], leave])  # a contour ends where it began
    else:
        exits = _segments([bare[-1].points[-1], leave])
    out = lift.raised(Positions(leave[None, :]))
    return CutMove((*bare, *exits, out), (*bare, *exits), assembly.gauge_length)


def relifted(cut: Cut, move: CutMove, assembly: ToolAssembly, X_WP: Pose, lift_to: float) -> CutMove:
    """The move of a cut with another stick-out or holder of the same tool: the same tip positions, lifted anew."""
    lift = _LiftRule(cut.retract, assembly.gauge_length, lift_to)
    if cut.leave_to is None:
        return CutMove(tuple(lift.raised(s) for s in move.feature), move.feature, assembly.gauge_length)
    leave = np.asarray(X_WP.points(cut.leave_to))
    return CutMove((*move.feature, lift.raised(Positions(leave[None, :]))), move.feature, assembly.gauge_length)


@dataclass(frozen=True, slots=True)
class _LiftRule:
    retract: float
    gauge_length: float
    lift_to: float

    def raised(self, s: Positions) -> Positions:
        lowest_gauge = float(s.points[:, 2].min()) + self.gauge_length
        return Positions(s.points, max(self.retract, self.lift_to - lowest_gauge, 0.0), s.down, s.arc)


def _all_ways(area: Array, leave: Array) -> Positions:
    """A level set around every straight way from an area to a point; between their heights it is full."""
    from shapely import MultiPoint

    points = np.vstack([area, leave])
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    around = MultiPoint(points[:, :2]).convex_hull
    ring = around.exterior.coords if around.geom_type == "Polygon" else around.coords
    corners = np.array(ring)[:, :2]
    if around.geom_type == "Polygon":
        corners = corners[:-1] if around.exterior.is_ccw else corners[:0:-1]
    return Positions(np.column_stack([corners, np.full(len(corners), low)]), up=high - low)


def lift_height(lift: Lift, machine: Machine) -> float:
    """Height of the gauge line at the lift; minus infinity where the retract is all."""
    match lift.kind:
        case "top":
            return machine.z.limits[1]
        case "gauge_z":
            assert lift.gauge_z is not None, "a lift by height has a height"
            return lift.gauge_z
        case _:
            return -math.inf


def check_cut(scene: Scene, cut: Cut) -> None:
    """Raise FeatureError or ToolError for a cut that can't be made with its tool."""
    tool = scene.tool(cut.tool)
    assembly = tool_assembly(tool, scene.machine.spindle_nose)
    _check_way_out(cut, assembly)
    match cut.feature:
        case Hole() | Slot() | Path():
            return
        case Pocket(along=along) | Face(along=along):
            list(_feature_sets(cut, assembly, _upright_for(along)))
        case Profile(outline=outline, side=side, along=along):
            _plane(cut, along, Pose("W", "P", np.eye(3), np.zeros(3)))
            if side != "on":  # the arcs of its corners can't fail: they need not be made
                _shifted(cut, np.array(outline, dtype=np.float64), _offset(side, assembly.cutter_radius))


def _upright_for(along: Vector) -> Pose:
    """A pose in which `along` is level, so that sizes can be tested before the table is placed."""
    a = np.asarray(along) / np.linalg.norm(along)
    other = np.eye(3)[int(np.abs(a).argmin())]
    z = np.cross(a, other)
    z /= np.linalg.norm(z)
    return Pose("W", "P", np.array([a, np.cross(z, a), z]), np.zeros(3))


def _check_way_out(cut: Cut, assembly: ToolAssembly) -> None:
    if assembly.cannot_lift and cut.leave_to is None and not isinstance(cut.feature, Hole | Face):
        raise FeatureError(
            f"{cut.name}: {cut.tool} undercuts and can't lift straight out of what it cuts; "
            "expected leave: {to: [x, y, z]}, a point in the open",
            origin=cut.origin,
            key=("leave",),
        )


def _feature_sets(cut: Cut, assembly: ToolAssembly, X_WP: Pose) -> Iterator[Positions]:
    r = assembly.cutter_radius
    match cut.feature:
        case Hole(at, depth):
            yield Positions(_down(X_WP.points(at), depth)[None, :])
        case Slot(start, end, depth):
            ends = [_down(X_WP.points(start), depth), _down(X_WP.points(end), depth)]
            yield from _segments(ends)
        case Path(points):
            yield from _segments(list(X_WP.points(np.array(points))))
        case Pocket(at, size, along, depth):
            for side, which in zip(size, ("1", "2"), strict=True):
                if side / 2 - r < -CLOSE:
                    raise FeatureError(
                        f"{cut.name}: the pocket is {side:g} mm wide, its cutter {2 * r:g}; "
                        "expected a cutter no wider than the pocket",
                        origin=cut.origin,
                        key=("pocket", "size", which),
                    )
            # a taper or a point lets the tip nearer to the wall than the widest part of the cutter does
            wall = _widest_up_to(assembly, depth)
            inset = [side / 2 - wall for side in size]
            yield _rectangle(_down(X_WP.points(at), depth), inset, _plane(cut, along, X_WP))
        case Face(at, size, along):
            beyond = [side / 2 + r for side in size]  # the cutter runs off the edge on every side
            yield _rectangle(np.asarray(X_WP.points(at)), beyond, _plane(cut, along, X_WP))
        case Profile():
            yield from _contour(cut, cut.feature, r, X_WP)


def _widest_up_to(assembly: ToolAssembly, height: float) -> float:
    """The largest radius of the true cutter over the lowest `height` of it: what meets the wall of a pocket."""
    widest = assembly.inner[0].r1
    for s in assembly.inner:
        if s.part == CUTTER and s.z1 < height:
            top = min(s.z2, height)
            widest = max(widest, s.r1, s.r1 + (s.r2 - s.r1) * (top - s.z1) / (s.z2 - s.z1))
    return widest


def _down(p_W: Array, depth: float) -> Array:
    return np.asarray(p_W, dtype=np.float64) - (0.0, 0.0, depth)


def _plane(cut: Cut, along: Vector | None, X_WP: Pose) -> tuple[Array, Array]:
    """Level directions in W: along the first side, and square to it."""
    u = np.asarray(X_WP.direction(along if along is not None else (1.0, 0.0, 0.0)))
    level = u * (1.0, 1.0, 0.0)
    if along is None and np.linalg.norm(level) < PARALLEL:
        level = np.asarray(X_WP.direction((0.0, 1.0, 0.0))) * (1.0, 1.0, 0.0)
    length = float(np.linalg.norm(level))
    if length < PARALLEL:
        key = "pocket" if isinstance(cut.feature, Pocket) else "face" if isinstance(cut.feature, Face) else "profile"
        raise FeatureError(
            f"{cut.name}: along is the direction of the tool; expected one square to it",
            origin=cut.origin,
            key=(key, "along"),
        )
    a = level / length
    return a, np.cross(Z_AXIS, a)


def _rectangle(centre: Array, half: Sequence[float], plane: tuple[Array, Array]) -> Positions:
    """The positions over a level rectangle, counter-clockwise; a side of zero makes it a segment."""
    a, b = plane
    ha, hb = (max(h, 0.0) for h in half)
    if ha <= CLOSE and hb <= CLOSE:
        return Positions(np.asarray(centre)[None, :])
    if ha <= CLOSE or hb <= CLOSE:
        d = a * ha if ha > CLOSE else b * hb
        return Positions(np.array([centre - d, centre + d]))
    return Positions(
        np.array(
            [centre - a * ha - b * hb, centre + a * ha - b * hb, centre + a * ha + b * hb, centre - a * ha + b * hb]
        )
    )


def _segments(points: Sequence[Array]) -> list[Positions]:
    """Straight moves through points; a move of no length is a point."""
    found = [Positions(np.array([p, q])) for p, q in pairwise(points) if np.abs(q - p).max() > CLOSE]
    return found or [Positions(np.asarray(points[0])[None, :])]


def _contour(cut: Cut, feature: Profile, r: float, X_WP: Pose) -> Iterator[Positions]:
    """The tip beside a contour: its sides shifted by the cutter radius, outer corners rolled round."""
    a, b = _plane(cut, feature.along, X_WP)
    centre = _down(X_WP.points(feature.at), feature.depth)
    outline = np.array(feature.outline, dtype=np.float64)

    def in_W(points: Array) -> Array:
        return np.asarray(centre + points[:, :1] * a + points[:, 1:2] * b)

    if feature.side == "on":
        yield from _segments(list(in_W(np.vstack([outline, outline[:1]]))))
        return
    points, ends, arcs = _kept_contour(cut, _offset(feature.side, r))
    points_W, centres = in_W(points), iter(in_W(arcs.reshape(-1, 2)).tolist())
    start = 0
    for end, is_arc in ends:
        if is_arc:
            x, y, z = next(centres)
            yield Positions(points_W[start:end], arc=Arc((x, y, z), r))
        else:
            yield Positions(points_W[start:end])
        start = end


@lru_cache(maxsize=MOST_SHIFTED)
def _kept_contour(cut: Cut, offset: float) -> tuple[Array, tuple[tuple[int, bool], ...], Array]:
    """`offset_contour` joined: all corners, where each set ends and whether it is an arc, the arcs' centres.

    The same in every pose of part zero, so that it is made once.
    """
    assert isinstance(cut.feature, Profile), "only a profile has a contour"
    found = list(offset_contour(cut, np.array(cut.feature.outline, dtype=np.float64), offset))
    ends = np.cumsum([len(corners) for corners, _ in found]).tolist()
    kinds = tuple((end, arc is not None) for end, (_, arc) in zip(ends, found, strict=True))
    arcs = np.array([arc for _, arc in found if arc is not None], dtype=np.float64)
    return frozen(np.concatenate([corners for corners, _ in found])), kinds, frozen(arcs)


def offset_contour(cut: Cut, outline: Array, offset: float) -> Iterator[tuple[Array, tuple[float, float] | None]]:
    """Convex position sets (k, 2) along a closed contour shifted outwards (offset > 0) or inwards.

    Corners that open outwards are rolled round; each piece of such an arc is covered by its chord and
    its two tangents, and comes with the arc's centre. The rest are straight segments.
    """
    corners, source = _shifted(cut, outline, offset)
    radius = abs(offset)
    for p, q in pairwise(corners):
        if np.abs(q - p).max() <= CLOSE:
            continue
        centre = _arc_centre(p, q, source, radius)
        if centre is None:
            yield np.array([p, q]), None
            continue
        yield _cap(p, q, centre), (float(centre[0]), float(centre[1]))


def _offset(side: str, cutter_radius: float) -> float:
    """How far outwards the tip runs beside a contour."""
    return cutter_radius if side == "outside" else -cutter_radius


def _shifted(cut: Cut, outline: Array, offset: float) -> tuple[Array, Array]:
    """A closed contour shifted outwards, its corners rolled in chords, counter-clockwise; and its own corners."""
    from shapely import Polygon

    polygon = Polygon(outline)
    if not polygon.is_valid or polygon.area <= CLOSE:
        raise FeatureError(
            f"{cut.name}: the outline crosses itself or has no area; expected corners in order round one area",
            origin=cut.origin,
            key=("profile", "outline"),
        )
    radius = abs(offset)
    # the angle per piece at which chord and tangents stay within the sagitta of the arc
    step = 2 * math.acos(radius / (radius + ARC_SAGITTA))
    # an arc is cut into the nearest whole number of pieces, so that one may be half as long again
    n_quarter = max(2, math.ceil(1.5 * math.pi / 2 / step))
    shifted = polygon.buffer(offset, quad_segs=n_quarter, join_style="round")
    if shifted.is_empty or shifted.geom_type != "Polygon":
        raise FeatureError(
            f"{cut.name}: a cutter of {2 * radius:g} mm does not fit inside the contour; expected a smaller one",
            origin=cut.origin,
            key=("profile", "side"),
        )
    if shifted.interiors:
        x, y = shifted.interiors[0].coords[0]
        raise FeatureError(
            f"{cut.name}: a cutter of {2 * radius:g} mm can't reach the recess of the contour at [{x:.4g}, {y:.4g}], "
            "its mouth is too narrow; expected a smaller one, or an outline without the recess",
            origin=cut.origin,
            key=("profile", "side"),
        )
    corners = np.array(shifted.exterior.coords)
    if shifted.exterior.is_ccw is False:
        corners = corners[::-1]
    return corners, np.array(polygon.exterior.coords)[:-1]


def _arc_centre(p: Array, q: Array, corners: Array, radius: float) -> Array | None:
    """The corner of the contour that the chord p-q is rolled about; None for a straight side."""
    slack = 1e-6
    near = (np.abs(np.hypot(*(corners - p).T) - radius) < slack) & (np.abs(np.hypot(*(corners - q).T) - radius) < slack)
    if not near.any():
        return None
    middle = (p + q) / 2
    for centre in corners[near]:
        sagitta = radius - float(np.hypot(*(middle - centre)))
        if 0.0 <= sagitta < 4 * ARC_SAGITTA:
            return np.asarray(centre)
    return None


def _cap(p: Array, q: Array, centre: Array) -> Array:
    """Chord and tangents over an arc: a triangle that holds it, counter-clockwise."""
    middle = (p + q) / 2 - centre
    length2 = float(middle @ middle)
    half2 = float((q - p) @ (q - p)) / 4
    tip = centre + middle * ((length2 + half2) / length2)  # where the tangents meet
    u, v = q - p, tip - p
    return np.array([p, q, tip] if u[0] * v[1] - u[1] * v[0] > 0.0 else [p, tip, q])
