"""How far what a cut compares can move while a number is turned from one value to another.

1. Everything is placed at three values: the two ends of a stretch and its middle. Whatever moves does so along a line
   or on a circle, at one speed, and all that turns does so about one axis and by no more than half a turn: of points
   and of differences of points then none is ever farther from where it is in the middle than at one of the ends.
2. Where all corners of a convex thing move by an affine map, no point of it moves farther than one of them.
3. So the clearance of a pair is never less than in the middle by more than its two sides move against each other,
   if the move in the middle lifts at least as high as anywhere in the stretch.
4. Level directions (the sides of a pocket) follow the part by a projection, which is bounded on its own.
5. What this file does not know: what the number is, verdicts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kinematics.cut_pairs import CutPairs, Moves, Target
from kinematics.engine.exact_pair import move_sets
from kinematics.engine.sweep import Positions
from kinematics.moves.cuts import CutMove
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Array
from kinematics.scene import Face, KeepOff, Pocket, Profile
from kinematics.setup_error import stick_out_error
from kinematics.shapes import Box, Revolve, Shape
from kinematics.solids import SAGITTA

STILL = 1e-9  # mm; what moves by no more stands still
REPEATED = 1e-5  # mm; two computations of one clearance by the exact engine differ by less
BY_POLYHEDRA = 0.01  # mm; the same of bodies of the head
_CORNERS = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])  # (8, 3), low or high
OTHER_POLYGON = 2.0 * SAGITTA  # mm; a body of another size is covered by another polygon


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """How far things move from the middle of a stretch to anywhere in it, mm.

    Parameters
    ----------
    pairs : those of the middle, lifted as high as anywhere in the stretch, with the largest stick-out error.
    near, far : (n_targets,), by which the clearance of the tool, and of what moves with the bed, can be less.
    errors, least_errors : (n_targets,), the most and the least that the errors of a target use up.
    keep_offs : those of the three places.
    sinks : by how much the stick-out error differs.
    own : how far the workpiece that is cut moves against the tip.
    travel : how far the spindle moves.
    """

    middle: PlacedCut
    pairs: CutPairs
    near: Array
    far: Array
    errors: Array
    least_errors: Array
    keep_offs: tuple[KeepOff, ...]
    sinks: float
    own: float
    travel: float
    ends: tuple[PlacedCut, PlacedCut]


class Unbounded(Exception):
    """How far things move over a stretch can't be told; a shorter one may do."""


class Unknown(Exception):
    """How far things move can't be told, however short the stretch is."""


def moved(low: PlacedCut, middle: PlacedCut, high: PlacedCut, lift: LiftBound) -> Moved:
    """How far everything of one cut moves. Raises Unbounded, Unknown; FeatureError, ToolError of the cut itself."""
    ends = (low, high)
    three = (low, middle, high)
    tips = [_change(_points(end), _points(middle)) for end in ends]
    gauge = max(abs(end.assembly.gauge_length - middle.assembly.gauge_length) for end in ends)
    tip = max(float(np.linalg.norm(t, axis=1).max()) for t in tips) + (level := _level_turn(middle, ends))
    targets = [placed.pairs.targets for placed in three]
    if any([t.name for t in row] != [t.name for t in targets[1]] for row in targets):
        raise Unbounded
    corners = [_corners_in_W(row) for row in targets]
    grown = np.array([_growth(row, targets[1]) for row in (targets[0], targets[2])]).max(axis=0)
    grown = np.where(grown > 0.0, grown + OTHER_POLYGON, 0.0)
    steps = [corners[k] - corners[1] for k in (0, 2)]
    against_tip = np.max([_farthest(step, t) for step, t in zip(steps, tips, strict=True)], axis=0)
    in_W = np.max([np.linalg.norm(step, axis=2).max(axis=1) for step in steps], axis=0)
    near = against_tip + grown + level + gauge
    far = in_W + grown + tip + gauge
    errors = np.array([[t.errors.total for t in row] for row in targets])
    tilting = _tilt_rad(three) * (in_W + grown)  # the arm of the tilt changes by no more than the body moves
    own = max((float(d) for d, t in zip(near, targets[1], strict=True) if t.is_own_workpiece), default=0.0)
    down = [stick_out_error(placed.prepared.scene.setup_errors, placed.tool) for placed in three]
    return Moved(
        middle=middle,
        pairs=_widest(middle, ends, tip + gauge, lift, own, max(down)),
        near=near,
        far=far,
        errors=errors.max(axis=0) + tilting,
        least_errors=errors.min(axis=0) - tilting,
        keep_offs=tuple(placed.prepared.scene.keep_off for placed in three),
        sinks=max(down) - min(down),
        own=own if own > STILL else 0.0,
        travel=tip + gauge + max(abs(end.cut.retract - middle.cut.retract) for end in ends),
        ends=ends,
    )


# ---- the tip ---------------------------------------------------------------------------------------


def _points(placed: PlacedCut) -> Array:
    return np.concatenate([s.points for s in placed.move.sets])


def _change(end: Array, middle: Array) -> Array:
    """How the corners of a move move; of many, the corners of a box around their motions."""
    if end.shape != middle.shape:
        raise Unbounded
    change = end - middle
    if len(change) <= 8:
        return change
    return np.stack([change.min(axis=0), change.max(axis=0)])[_CORNERS, np.arange(3)]


def _level_turn(middle: PlacedCut, ends: tuple[PlacedCut, PlacedCut]) -> float:
    """How far corners move because level directions that follow the part turn, at most, mm."""
    feature = middle.cut.feature
    rotations = [end.X_WP.R_AB - middle.X_WP.R_AB for end in ends]
    if all(float(np.abs(r).max()) <= 1e-13 for r in rotations):
        return 0.0
    if middle.cut.leave_to is not None and isinstance(feature, Pocket | Face):
        raise Unknown  # the ways out make a hull that has other corners at other angles
    if not isinstance(feature, Pocket | Face | Profile):
        return 0.0
    along = np.asarray(feature.along if feature.along is not None else (1.0, 0.0, 0.0), dtype=np.float64)
    along = along / np.linalg.norm(along)
    off = max(float(np.linalg.norm(r @ along)) for r in rotations)
    if off <= 1e-13:
        return 0.0
    level = float(np.hypot(*(middle.X_WP.R_AB @ along)[:2]))
    if level <= off:
        raise Unbounded
    centre = middle.X_WP.points(feature.at)[:2]
    points = np.concatenate([s.points for s in middle.move.feature])
    return float(np.hypot(*(points[:, :2] - centre).T).max()) * min(off / (level - off), 2.0)


# ---- the bodies ------------------------------------------------------------------------------------


def _corners_in_W(targets: tuple[Target, ...]) -> Array:
    """(n, 8, 3): corners of a box around every target."""
    boxes = np.array([t.tree.tree.boxes[0] for t in targets]).reshape(-1, 2, 3)
    corners = boxes[:, _CORNERS, np.arange(3)]
    Rs = np.array([t.X_WG.R_AB for t in targets])
    ps = np.array([t.X_WG.p_AB for t in targets])
    return np.asarray(np.einsum("nij,nkj->nki", Rs, corners) + ps[:, None, :])


def _farthest(steps: Array, tips: Array) -> Array:
    """(n,): how far corners (n, 8, 3) go against tips (k, 3), at most."""
    relative = steps[:, :, None, :] - tips[None, None, :, :]
    return np.asarray(np.sqrt((relative**2).sum(axis=3)).max(axis=(1, 2)))


def _growth(targets: tuple[Target, ...], middle: tuple[Target, ...]) -> list[float]:
    return [_other_size(t.body.shape, m.body.shape) for t, m in zip(targets, middle, strict=True)]


def _other_size(shape: Shape, middle: Shape) -> float:
    """How far the surface of a shape is from that of one of another size, at most, mm, in their frame G."""
    if shape is middle or shape == middle:
        return 0.0
    if isinstance(shape, Box) and isinstance(middle, Box):
        # the boxes in which the corners are compared differ by this too
        return math.hypot((shape.dx - middle.dx) / 2.0, (shape.dy - middle.dy) / 2.0, shape.dz - middle.dz)
    if isinstance(shape, Revolve) and isinstance(middle, Revolve) and len(shape.steps) == len(middle.steps):
        most, height, height_m = 0.0, 0.0, 0.0
        for step, step_m in zip(shape.steps, middle.steps, strict=True):
            most = max(most, math.hypot((step.d1 - step_m.d1) / 2.0, height - height_m))
            height, height_m = height + step.length, height_m + step_m.length
            most = max(most, math.hypot((step.d2 - step_m.d2) / 2.0, height - height_m))
        return most
    raise Unbounded


def _tilt_rad(three: tuple[PlacedCut, ...]) -> float:
    """The largest error of the tilt of anything."""
    scene = three[1].prepared.scene
    own = [b.errors.tilt_deg for b in (*scene.bodies, *scene.machine.bodies) if b.errors.tilt_deg is not None]
    return math.radians(max([p.prepared.scene.setup_errors.tilt_deg for p in three] + own))


# ---- the move, lifted as high as anywhere ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LiftBound:
    """How high a cut lifts at most over a stretch: the gauge line, mm in W; minus infinity: by its retract alone."""

    gauge_z: float


def _widest(
    middle: PlacedCut, ends: tuple[PlacedCut, PlacedCut], spindle: float, lift: LiftBound, own: float, down: float
) -> CutPairs:
    """The pairs of the middle with the longest lift, the largest stick-out error and the smallest hole."""
    retract = max(p.cut.retract for p in (middle, *ends))
    gauge = middle.assembly.gauge_length
    sets = middle.move.sets
    n_still = 0 if middle.cut.leave_to is None else len(sets) - 1

    def up(s: Positions) -> float:
        lowest = float(s.points[:, 2].min()) + gauge
        return max(s.up, max(retract, lift.gauge_z - lowest, 0.0) + (spindle if spindle > STILL else 0.0))

    raised = tuple(Positions(s.points, s.up if i < n_still else up(s), s.down, s.arc) for i, s in enumerate(sets))
    move = CutMove(raised, middle.move.feature, gauge)
    pairs = CutPairs(
        middle.prepared, middle.cut, middle.tool, middle.assembly, move, middle.bodies, middle.poses,
        middle.pairs.targets, rest_slack=own + OTHER_POLYGON if own > STILL else 0.0,
    )  # fmt: skip
    pairs.down = down
    pairs.moves = Moves(move_sets(move.sets), pairs.down)
    return pairs
