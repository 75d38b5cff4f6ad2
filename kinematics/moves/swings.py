"""What moves between the cuts: swings of the table and links of the tool, at the lift.

1. Between two orientations the table swings while the tool waits at the lift, anywhere in the hull of
   the X, Y positions where the last cut can end and the next one begin.
2. Before the first and after the last orientation there is a swing from and to `home`.
3. Two cuts of one orientation are joined by a link at the lift. A turn of zero degrees is no swing: the
   cuts on either side of it are joined by a link too.
4. An endless axis turns as its `way` says; "either" covers both ways round. An axis with limits goes
   the one way that stays within them, to the angle that it is sent to: a turn on from there where it may.
5. What this file does not know: bodies, clearances.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.engine.sweep import Positions
from kinematics.machine import Machine, TableAxis, W, frame_poses
from kinematics.moves.cuts import CutMove, cut_move, lift_height
from kinematics.placement import PlacedScene
from kinematics.pose import Array, Pose, angle_difference_deg, identity
from kinematics.scene import Cut, Orientation, Scene, Tool

HOME = "home"
STILL_DEG = 1e-9  # a turn no larger than this is no turn


@dataclass(frozen=True, slots=True, eq=False)
class Between:
    """What lies between two cuts: a swing (boxes of angles) or a link (no box).

    Parameters
    ----------
    start, end : names for people: orientations or "home"; of a link the two cuts.
    orientation : of a link; None for a swing.
    boxes : for each way round, (low, high) in degrees of every table axis in order.
    tools : ids of the tools that may be in the spindle, each once.
    state_cut : the cut whose state the workpiece is in.
    n_done : how many cuts, in machining order, have been made.
    corners_W : (k, 2) hull of the spindle's X, Y in W.
    gauge_z : height of the gauge line.
    """

    start: str
    end: str
    orientation: Orientation | None
    boxes: tuple[tuple[tuple[float, float], ...], ...]
    angles_deg: tuple[tuple[str, float], ...]
    tools: tuple[str, ...]
    state_cut: Cut
    n_done: int
    corners_W: Array
    gauge_z: float

    def positions(self, gauge_length: float, *, up: float = 0.0) -> Positions:
        """Tip positions of a tool of this gauge length while it waits."""
        z = np.full(len(self.corners_W), self.gauge_z - gauge_length)
        return Positions(np.column_stack([self.corners_W, z]), up)


class AtHand(Protocol):
    """Who makes things once that links and swings need: see the functions of the same names."""

    def assembly_of(self, tool: Tool) -> ToolAssembly: ...
    def move_of(self, cut: Cut, assembly: ToolAssembly, X_WP: Pose, lift_to: float) -> CutMove: ...
    def poses_at(self, angles_deg: tuple[tuple[str, float], ...]) -> dict[str, Pose]: ...


@dataclass(frozen=True, slots=True)
class _Anew:
    """Everything is made when it is asked for."""

    scene: Scene

    def assembly_of(self, tool: Tool) -> ToolAssembly:
        return tool_assembly(tool, self.scene.machine.spindle_nose)

    def move_of(self, cut: Cut, assembly: ToolAssembly, X_WP: Pose, lift_to: float) -> CutMove:
        return cut_move(cut, assembly, X_WP, lift_to)

    def poses_at(self, angles_deg: tuple[tuple[str, float], ...]) -> dict[str, Pose]:
        return frame_poses(self.scene.machine, dict(angles_deg))


def all_between(
    scene: Scene, placed: PlacedScene, at_hand: AtHand | None = None
) -> tuple[tuple[Between, ...], tuple[Between, ...]]:
    """Links and swings of a scene, each in machining order; `at_hand` may have what they are made from."""
    at_hand = at_hand or _Anew(scene)
    made = [_Made(scene, placed, orientation, cut, at_hand) for orientation, cut in scene.cuts()]
    if not made:
        return (), ()
    links: list[Between] = []
    swings: list[Between] = []
    home = dict(scene.machine.home_deg)
    boxes = turn_boxes(scene.machine, home, made[0].angles)
    if boxes:
        swings.append(_swing(scene, boxes, None, made[0], 0))
    for i, (before, after) in enumerate(pairwise(made), start=1):
        boxes = turn_boxes(scene.machine, before.angles, after.angles)
        if boxes:
            swings.append(_swing(scene, boxes, before, after, i))
        else:
            links.append(_link(scene, before, after, i))
    boxes = turn_boxes(scene.machine, made[-1].angles, home)
    if boxes:
        swings.append(_swing(scene, boxes, made[-1], None, len(made)))
    return tuple(links), tuple(swings)


def approach_heights(links: Sequence[Between], swings: Sequence[Between], n_cuts: int) -> list[float]:
    """For each cut in machining order, the greatest gauge height from or to which it is joined."""
    heights = [-math.inf] * n_cuts
    for between in (*links, *swings):
        for i in (between.n_done - 1, between.n_done):
            if 0 <= i < n_cuts:
                heights[i] = max(heights[i], between.gauge_z)
    return heights


class _Made:
    """A cut with its move in W, and where it ends."""

    def __init__(self, scene: Scene, placed: PlacedScene, orientation: Orientation, cut: Cut, at_hand: AtHand) -> None:
        self.orientation, self.cut = orientation, cut
        self.angles = dict(orientation.angles_deg)
        assembly = at_hand.assembly_of(scene.tool(cut.tool))
        zero = placed.zero_of(scene, scene.workpiece_of(cut))
        X_WC = at_hand.poses_at(orientation.angles_deg).get(zero.carrier) or identity(W, zero.carrier)
        move = at_hand.move_of(cut, assembly, X_WC @ zero.X_CP, lift_height(scene.lift, scene.machine))
        lifting = [s for s in move.sets if s.up > 0.0] or [*move.sets]
        self.ends_W = np.concatenate([s.points for s in lifting])
        self.retract_end = float(self.ends_W[:, 2].min()) + assembly.gauge_length + cut.retract


def _swing(
    scene: Scene,
    boxes: tuple[tuple[tuple[float, float], ...], ...],
    before: _Made | None,
    after: _Made | None,
    n_done: int,
) -> Between:
    joined = [m for m in (before, after) if m is not None]
    height = lift_height(scene.lift, scene.machine)
    if scene.lift.kind == "retract":  # from and to home the tool waits at the top
        height = before.retract_end if before and after else scene.machine.z.limits[1]
    return Between(
        start=before.orientation.name if before else HOME,
        end=after.orientation.name if after else HOME,
        orientation=None,
        boxes=boxes,
        angles_deg=(),
        tools=_tools(joined),
        state_cut=joined[-1].cut,
        n_done=n_done,
        corners_W=hull_2d(np.concatenate([m.ends_W[:, :2] for m in joined])),
        gauge_z=height,
    )


def _link(scene: Scene, before: _Made, after: _Made, n_done: int) -> Between:
    height = lift_height(scene.lift, scene.machine)
    if scene.lift.kind == "retract":
        height = max(before.retract_end, after.retract_end)
    return Between(
        start=before.cut.name,
        end=after.cut.name,
        orientation=after.orientation,
        boxes=(),
        angles_deg=after.orientation.angles_deg,
        tools=_tools([before, after]),
        state_cut=after.cut,
        n_done=n_done,
        corners_W=hull_2d(np.concatenate([before.ends_W[:, :2], after.ends_W[:, :2]])),
        gauge_z=height,
    )


def _tools(made: Sequence[_Made]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(m.cut.tool for m in made))


def turn_boxes(
    machine: Machine, start: Mapping[str, float], end: Mapping[str, float]
) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Boxes of angles that the table may pass through; none where it does not turn.

    Each box has (low, high) in degrees for every table axis in order. There is a box for each
    combination of ways round.
    """
    ways = [_ways(axis, start.get(axis.name, 0.0), end.get(axis.name, 0.0)) for axis in machine.table_axes]
    if all(hi - lo <= STILL_DEG for way in ways for lo, hi in way):
        return ()
    return tuple(itertools.product(*ways))


def _ways(axis: TableAxis, start: float, end: float) -> list[tuple[float, float]]:
    """The stretches that one axis may pass through; a full circle is one stretch."""
    if axis.limits is not None:
        a, b = (_stands_at(axis, angle) for angle in (start, end))
        return [(min(a, b), max(a, b))]
    turn = angle_difference_deg(end, start)
    if abs(turn) <= STILL_DEG:
        return [(start, start)]
    up, down = turn % 360.0, turn % 360.0 - 360.0
    match axis.way:
        case "up":
            chosen = [up]
        case "down":
            chosen = [down]
        case "shortest":
            chosen = [up, down] if math.isclose(up, 180.0, abs_tol=STILL_DEG) else [turn]
        case _:
            chosen = [up, down]
    return [(min(start, start + t), max(start, start + t)) for t in chosen]


def _stands_at(axis: TableAxis, angle: float) -> float:
    """Where an axis with limits stands: at the angle told if it may, else at the same orientation within them."""
    within = angle if axis.allows(angle) else axis.within(angle)
    return angle if within is None else within


def hull_2d(points: Array) -> Array:
    """Corners (k, 2) of the convex hull of points in a plane, counter-clockwise; a point or a segment too."""
    from shapely import MultiPoint
    from shapely.geometry.polygon import orient

    spread = points.max(axis=0) - points.min(axis=0)
    if spread.max() <= 1e-9:
        return np.asarray(points[:1])
    around = MultiPoint(points).convex_hull
    if around.geom_type != "Polygon" or around.area <= 1e-9 * spread.max():
        along = points[int(((points - points.mean(axis=0)) ** 2).sum(axis=1).argmax())]
        other = points[int(((points - along) ** 2).sum(axis=1).argmax())]
        return np.array([along, other])
    return np.array(orient(around).exterior.coords)[:-1]
