"""Every position of a table at once: frames, the move of a cut, and how far things move from one to another.

1. Arrays of poses are (m, n, 3, 3) and (m, n, 3); m or n is 1 where that axis does not matter.
2. The move's own frame A is rigid: P for what stays in the part; for an area or a contour level, with its origin in the
   middle of the floor and its X along the first side.
3. Where linear axes move the table, the bed sees only what the head moves, and the table sees the bed move by the rest:
   the same move with some directions left out.
4. What this file does not know: clearances.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kinematics.cut_pairs import Target
from kinematics.engine.position_sets import PositionSets, position_sets
from kinematics.engine.sweep import Arc, Positions
from kinematics.machine import Machine, TableAxis, W, bed_motion, head_motion
from kinematics.moves.cuts import motions_of_bed, seen_from_bed
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Array, Pose, Vector, as_vector
from kinematics.scene import Face, Pocket, Profile
from kinematics.travel import SLACK

Ints = NDArray[np.int64]
Seen = Literal["from the table", "from the bed", "of the bed"]
SINGULAR = 1e-6  # the level part of a side below which its direction is not told
_CORNERS = np.array([[i, j, k] for i in (0, 3) for j in (1, 4) for k in (2, 5)])  # of a box (6,)


@dataclass(frozen=True, slots=True, eq=False)
class MapGrid:
    """Positions of the table: angles of the first axis (None: there is only one) and of the last, rising."""

    row_axis: TableAxis | None
    column_axis: TableAxis
    rows_deg: Array
    columns_deg: Array

    @property
    def rows_rad(self) -> Array:
        return np.radians(self.rows_deg)

    @property
    def columns_rad(self) -> Array:
        return np.radians(self.columns_deg)

    def angles(self, i: int, j: int) -> dict[str, float]:
        """The angles of one cell by name of the axis."""
        rows = {} if self.row_axis is None else {self.row_axis.name: float(self.rows_deg[i])}
        return {**rows, self.column_axis.name: float(self.columns_deg[j])}


class MapFrames:
    """The pose in W of every frame that a table axis carries, at every cell."""

    def __init__(self, machine: Machine, grid: MapGrid) -> None:
        self.machine = machine
        still = (np.eye(3).reshape(1, 1, 3, 3), np.zeros((1, 1, 3)))
        self._poses: dict[str, tuple[Array, Array]] = {}
        self._levels: dict[str, int] = {}
        R, p = still
        for axis in machine.table_axes:
            is_row = axis is grid.row_axis
            turned = [axis.pose(float(a), W) for a in (grid.rows_deg if is_row else grid.columns_deg)]
            R_axis, p_axis = np.array([t.R_AB for t in turned]), np.array([t.p_AB for t in turned])
            shape = (-1, 1) if is_row else (1, -1)
            R_axis, p_axis = R_axis.reshape(*shape, 3, 3), p_axis.reshape(*shape, 3)
            p = np.einsum("ijkm,ijm->ijk", *_spread(R, p_axis)) + p
            R = np.matmul(R, R_axis)
            self._poses[axis.carries] = (_fixed(R), _fixed(p))
            # 1: rows or the only axis alone move it; 2: both do
            self._levels[axis.carries] = len(self._levels) + 1
        self._still = (_fixed(still[0]), _fixed(still[1]))

    def of(self, carrier: str) -> tuple[Array, Array]:
        """R_WC and p_WC of a carrier; table and bed stand still."""
        return self._poses.get(carrier, self._still)

    def level_of(self, carrier: str) -> int:
        """How many table axes move what a carrier carries."""
        return self._levels.get(carrier, 0)

    def pose(self, carrier: str, i: int, j: int) -> Pose:
        """X_WC at one cell."""
        R, p = self.of(carrier)
        a, b = min(i, R.shape[0] - 1), min(j, R.shape[1] - 1)
        return Pose(W, carrier, R[a, b], p[a, b])

    def target_at(self, target: Target, i: int, j: int) -> Target:
        return replace(target, X_WG=self.pose(target.body.carrier, i, j) @ target.body.X_CG)

    def box_of(self, target: Target, row0: int, row1: int) -> tuple[Array, Array]:
        """Centres and half sizes of the upright boxes around a body, over some rows."""
        R_WC, p_WC = self.of(target.body.carrier)
        rows = slice(row0, row1) if R_WC.shape[0] > 1 else slice(0, 1)
        box, X_CG = target.tree.tree.boxes[0], target.body.X_CG
        R_WG = np.matmul(R_WC[rows], X_CG.R_AB)
        centre = np.einsum("ijkm,m->ijk", R_WC[rows], X_CG.points((box[:3] + box[3:]) / 2)) + p_WC[rows]
        return centre, np.einsum("ijkm,m->ijk", np.abs(R_WG), (box[3:] - box[:3]) / 2)


def _spread(R: Array, p: Array) -> tuple[Array, Array]:
    m, n = max(R.shape[0], p.shape[0]), max(R.shape[1], p.shape[1])
    return np.broadcast_to(R, (m, n, 3, 3)), np.broadcast_to(p, (m, n, 3))


@dataclass(frozen=True, slots=True, eq=False)
class MapMove:
    """The move of a cut as one rigid thing, posed at every cell.

    Parameters
    ----------
    R_WA, p_WA : poses of its frame.
    sets, sure : its position sets in A, and those in which all positions are true.
    lifting, sure_lifting : (n_sets,) 1 where a set lifts.
    feature_points, feature_ends : corners of the feature's own sets in A, and where each set ends.
    centre_C : the place in what carries the part about which all turns; `spread`: how far the tip is from it at most
        where the move stays as it is in the part, `spin`: the same where it turns with the tool.
    is_singular : (n_rows, n_columns), where a side of an area stands upright.
    seen : by whom; `whole`: the move of which this is what is seen.
    """

    frames: MapFrames
    grid: MapGrid
    carrier: str
    R_WA: Array
    p_WA: Array
    positions: tuple[Positions, ...]
    sets: PositionSets
    sure: PositionSets
    lifting: Ints
    sure_lifting: Ints
    feature_points: Array
    feature_ends: NDArray[np.int32]
    retract: float
    lift_to: float
    gauge: float
    centre_C: Array
    spread: float
    spin: float
    is_singular: NDArray[np.bool_]
    machine: Machine
    is_lift_within: bool
    seen: Seen = "from the table"
    whole: MapMove | None = None

    @staticmethod
    def of(placed: PlacedCut, grid: MapGrid) -> MapMove | None:
        """The move; None where it is not rigid. Raises FeatureError."""
        feature, cut, prepared = placed.cut.feature, placed.cut, placed.prepared
        is_area = isinstance(feature, Pocket | Face | Profile)
        if is_area and cut.leave_to is not None:
            return None
        frames = MapFrames(prepared.scene.machine, grid)
        zero = prepared.placed.zero_of(prepared.scene, placed.workpiece)
        R_WC, p_WC = frames.of(zero.carrier)
        R_WP = np.matmul(R_WC, zero.X_CP.R_AB)
        p_WP = np.einsum("ijkm,m->ijk", R_WC, zero.X_CP.p_AB) + p_WC
        shape = (len(grid.rows_deg), len(grid.columns_deg))
        is_singular = np.zeros(shape, dtype=np.bool_)
        if is_area:
            assert isinstance(feature, Pocket | Face | Profile), "an area has a middle"
            depth = 0.0 if isinstance(feature, Face) else feature.depth
            middle_P = placed.X_WP.inverse().points(placed.X_WP.points(feature.at) - (0.0, 0.0, depth))
            along = np.asarray(feature.along if feature.along is not None else (1.0, 0.0, 0.0))
            R_WA, off = _level_frames(R_WP, along / np.linalg.norm(along))
            is_singular = np.broadcast_to(off < SINGULAR, shape)
            here, _ = _level_frames(placed.X_WP.R_AB.reshape(1, 1, 3, 3), along / np.linalg.norm(along))
            X_WA = Pose(W, "A", here[0, 0], placed.X_WP.points(middle_P))
            p_WA = np.einsum("ijkm,m->ijk", R_WP, middle_P) + p_WP
            corners = X_WA.inverse().points(np.concatenate([s.points for s in placed.move.sets]))
            centre_C, spread, spin = zero.X_CP.points(middle_P), 0.0, float(np.hypot(*corners[:, :2].T).max())
        else:
            R_WA, p_WA, X_WA = R_WP, p_WP, placed.X_WP.relabelled(W, "A")
            corners = X_WA.inverse().points(np.concatenate([s.points for s in placed.move.sets]))
            centre_P = (corners.min(axis=0) + corners.max(axis=0)) / 2
            centre_C = zero.X_CP.points(centre_P)
            spread, spin = float(np.linalg.norm(corners - centre_P, axis=1).max()), 0.0
        X_AW = X_WA.inverse()
        own = tuple(_in_A(X_AW, s) for s in placed.move.sets)
        features = [X_AW.points(s.points) for s in placed.move.feature]
        n_still = 0 if cut.leave_to is None else len(own) - 1
        lift = prepared.scene.lift
        z = prepared.scene.machine.z.limits
        lifting = np.array([0] * n_still + [1] * (len(own) - n_still), dtype=np.int64)
        return MapMove(
            frames=frames, grid=grid, carrier=zero.carrier, R_WA=_fixed(R_WA), p_WA=_fixed(p_WA),
            positions=own, sets=position_sets(own), sure=position_sets([s.inside() for s in own]),
            lifting=lifting, sure_lifting=lifting,
            feature_points=np.concatenate(features),
            feature_ends=np.cumsum([len(f) for f in features], dtype=np.int32),
            retract=float(cut.retract), lift_to=float(prepared.lift_to(placed.orientation, cut)),
            gauge=float(placed.assembly.gauge_length), centre_C=centre_C, spread=spread, spin=spin,
            is_singular=is_singular, machine=prepared.scene.machine,
            is_lift_within=lift.gauge_z is None or z[0] <= lift.gauge_z <= z[1],
        )  # fmt: skip

    def seen_from_bed(self) -> MapMove:
        """The same move as the bed sees it: by what the head moves."""
        gauge = np.array([0.0, 0.0, self.gauge])
        mask = np.array(head_motion(self.machine, (1.0, 1.0, 1.0)))
        return self._seen("from the bed", mask, mask * (self.p_WA + gauge) - gauge)

    def of_bed(self) -> MapMove:
        """How the bed moves past the table."""
        mask = np.array(bed_motion(self.machine, (1.0, 1.0, 1.0)))
        return self._seen("of the bed", mask, mask * (self.p_WA + (0.0, 0.0, self.gauge)))

    def _seen(self, seen: Seen, mask: Array, p_WA: Array) -> MapMove:
        """With the directions left out that `mask` has 0; areas then are no wider than their sides."""
        shown = [(s, lifts) for s, lifts in zip(self.positions, self.lifting.tolist(), strict=True)]
        if mask[0] * mask[1] == 0.0:
            shown = [(side, lifts) for s, lifts in shown for side in _sides(s)]
        up = int(mask[2])
        return replace(
            self, seen=seen, whole=self, R_WA=_fixed(mask[:, None] * self.R_WA), p_WA=_fixed(p_WA),
            sets=position_sets([s for s, _ in shown]),
            lifting=np.array([lifts * up for _, lifts in shown], dtype=np.int64),
            sure_lifting=self.sure_lifting * up,
        )  # fmt: skip

    def sets_at(self, i: int, j: int) -> list[Positions]:
        """The positions in W at one cell, lifted, as they are seen."""
        if self.whole is not None:
            sets, gauge = self.whole.sets_at(i, j), np.array([0.0, 0.0, self.gauge])
            see = seen_from_bed if self.seen == "from the bed" else motions_of_bed
            return list(see(self.machine, sets, gauge))
        a, b = min(i, self.R_WA.shape[0] - 1), min(j, self.R_WA.shape[1] - 1)
        X_WA = Pose(W, "A", self.R_WA[a, b], self.p_WA[a, b])
        found = []
        for s, lifts in zip(self.positions, self.lifting.tolist(), strict=True):
            points = X_WA.points(s.points)
            lowest = float(points[:, 2].min()) + self.gauge
            up = max(self.retract, self.lift_to - lowest, 0.0) if lifts else 0.0
            arc = None if s.arc is None else Arc(as_vector(X_WA.points(s.arc.centre)), s.arc.radius)
            found.append(Positions(points, up, arc=arc))
        return found

    def _corners(self, row0: int, row1: int) -> Array:
        """All corners in W over some rows (m, n, 3, k)."""
        rows = slice(row0, row1) if self.R_WA.shape[0] > 1 else slice(0, 1)
        return np.asarray(np.matmul(self.R_WA[rows], self.sets.points.T) + self.p_WA[rows][..., None])

    def box(self, row0: int, row1: int) -> tuple[Array, Array]:
        """Low and high corners (m, n, 3) of all tip positions, lifted, over some rows."""
        corners = self._corners(row0, row1)
        low, high = corners.min(axis=3), corners.max(axis=3)
        if self.lifting.any():
            top = self.lift_to - (0.0 if self.seen == "of the bed" else self.gauge)
            high[..., 2] = np.maximum(high[..., 2] + self.retract, np.maximum(top, high[..., 2]))
        return low, high

    def mark_travel(self, is_out: NDArray[np.bool_], row0: int, row1: int) -> None:
        """Where the spindle can't reach all of the cut with its retract (`travel.py`)."""
        corners = self._corners(row0, row1)
        low, high = corners.min(axis=3), corners.max(axis=3)
        out = np.full(low.shape[:2], not self.is_lift_within)
        for k, axis in enumerate(self.machine.linear_axes[:2]):
            out |= (low[..., k] < axis.limits[0] - SLACK) | (high[..., k] > axis.limits[1] + SLACK)
        tops = np.maximum.reduceat(corners[..., 2, :], self.sets.starts[:-1], axis=2)
        lowest = np.minimum.reduceat(corners[..., 2, :], self.sets.starts[:-1], axis=2)
        rises = (self.lifting != 0) & (np.maximum(self.retract, self.lift_to - lowest - self.gauge) > 0.0)
        top = np.where(rises, tops, -np.inf).max(axis=2)
        top = np.where(np.isfinite(top), top, high[..., 2]) + self.gauge + self.retract
        z = self.machine.z.limits
        out |= (low[..., 2] + self.gauge < z[0] - SLACK) | (top > z[1] + SLACK)
        is_out[row0:row1] = out


def _sides(s: Positions) -> list[Positions]:
    """A set, or the sides of an area: seen along a direction of its plane it is no more than they are."""
    if len(s.points) < 3:
        return [s]
    return [Positions(np.array([p, q])) for p, q in zip(s.points, np.roll(s.points, -1, axis=0), strict=True)]


def _in_A(X_AW: Pose, s: Positions) -> Positions:
    arc = None if s.arc is None else Arc(as_vector(X_AW.points(s.arc.centre)), s.arc.radius)
    return Positions(X_AW.points(s.points), s.up, s.down, arc)


def _level_frames(R_WP: Array, along_P: Array) -> tuple[Array, Array]:
    """Frames with Z up and X level along a direction of P; and how long its level part is."""
    u = np.einsum("ijkm,m->ijk", R_WP, along_P)
    off = np.hypot(u[..., 0], u[..., 1])
    safe = np.where(off < SINGULAR, 1.0, off)
    c, s = np.where(off < SINGULAR, 1.0, u[..., 0] / safe), np.where(off < SINGULAR, 0.0, u[..., 1] / safe)
    zero, one = np.zeros_like(c), np.ones_like(c)
    rows = [np.stack(row, axis=-1) for row in ((c, -s, zero), (s, c, zero), (zero, zero, one))]
    return np.stack(rows, axis=-2), off


def _fixed(values: Array) -> Array:
    """The array in C order, not writeable: so all are of one type to the compiler."""
    array = np.ascontiguousarray(values, dtype=np.float64).view()
    array.flags.writeable = False
    return array


# ---- how far things move per rad ---------------------------------------------------------------------


def rates_of(move: MapMove, target: Target) -> Array:
    """(4,): how far body and tool move against each other by rows and columns, and the spindle by rows and columns.

    Per rad, at most, wherever the axes stand; the spin of a move that turns with the tool is not counted.
    """
    frames, axes = move.frames, move.machine.table_axes
    ours, theirs = frames.level_of(move.carrier), frames.level_of(target.body.carrier)
    found = np.zeros(4)
    for n in range(1, len(axes) + 1):
        which = 0 if len(axes) == 2 and n == 1 else 1
        tip = _from_axis(axes, n, ours, move.centre_C)
        moves_tip, moves_body = ours >= n, theirs >= n
        if moves_tip and moves_body:
            found[which] = _between(axes, n, ours, theirs, move.centre_C, target) + move.spread
        elif moves_tip:
            found[which] = tip + move.spread
        elif moves_body:
            found[which] = max(_from_axis(axes, n, theirs, corner) for corner in _box_corners(target))
        if moves_tip:
            found[2 + which] = tip + move.spread
    return found * (1.0 + 1e-9)


def _box_corners(target: Target) -> Array:
    """The corners (8, 3) of a box around a body, in what carries it."""
    return target.body.X_CG.points(target.tree.tree.boxes[0][_CORNERS])


def _from_axis(axes: tuple[TableAxis, ...], n: int, level: int, p_C: Array) -> float:
    """The largest distance from axis n of a point that the first `level` axes carry, wherever the axes stand."""
    if level < n:
        return 0.0
    if level == n:
        return _from_line(p_C, axes[n - 1].axis)
    # carried by the next axis too: it circles about that one, whose place in the frame of axis n is known
    after = axes[n]
    along = np.asarray(after.axis)
    middle = np.asarray(after.origin) + float(p_C @ along) * along
    return _from_line(middle, axes[n - 1].axis) + _from_line(p_C, after.axis)


def _between(axes: tuple[TableAxis, ...], n: int, ours: int, theirs: int, centre_C: Array, target: Target) -> float:
    """The largest distance of a body from the tip, both carried by axis n, wherever the axes stand."""
    corners = _box_corners(target)
    if ours == theirs:
        return float(np.linalg.norm(corners - centre_C, axis=1).max())
    origin = np.asarray(axes[n].origin)
    if ours < theirs:  # the body circles about the axis between them
        return float(np.linalg.norm(centre_C - origin)) + float(np.linalg.norm(corners, axis=1).max())
    along = np.asarray(axes[n].axis)
    middle = origin + float(centre_C @ along) * along
    return float(np.linalg.norm(corners - middle, axis=1).max()) + _from_line(centre_C, axes[n].axis)


def _from_line(p: Array, axis: Vector) -> float:
    a = np.asarray(axis)
    return float(np.linalg.norm(p - float(p @ a) * a))
