"""One tool over one move against one body, at a whole grid of positions of the table.

1. Rows are positions of one table axis, columns of the other. Body and move are posed for each cell by what carries
   them; trees are walked where they are.
2. A block of cells is judged by its middle: what is left there, less what the two sides can move against each other
   from there to any cell of the block, is left everywhere (a clearance is 1-Lipschitz in every shift). A block that is
   not far enough as a whole is halved.
3. A single cell is a capped query: it goes on only as long as it can still be worse than what is known of the cell.
4. Contact is "hits" only where what lies inside the tool crosses what lies inside the body; else it can hit.
5. A part of the tool may be inside a body without touching it: where its top is in the body's box, the cell is unsure.
6. What this file does not know: which bodies, which verdict is whose.
"""

from __future__ import annotations

import math

import numpy as np

from kinematics.engine.compiled import kernel
from kinematics.engine.highest import rise_over_sweep
from kinematics.engine.position_sets import Ints
from kinematics.engine.round_clearance import Ints32, box_in_W, least_search, part_bound
from kinematics.pose import Array

CLEAR, TIGHT, CAN_HIT, HITS = 0, 1, 3, 4  # severity of a cell, as verdicts have it
TILE = 16  # columns of a block at first; its rows are those that are asked for
TOUCH = 1e-9  # mm; what is nearer than this touches
WORTH = 0.6  # a block is asked as a whole where what was last found near by is as much of what it would need
MOST_MOTION = 12.0  # mm; over more than this a block is judged by boxes and spheres alone
DEEPEST = 64  # blocks that can wait at once


@kernel
def fill_cells(
    severity: Ints, spare: Array, over: Array, who: Ints, unsure: Ints,
    row0: int, row1: int, rows: Array, columns: Array,
    R_WC: Array, p_WC: Array, R_WA: Array, p_WA: Array,
    points: Array, starts: Ints, lifting: Ints, ball: Array, stretches: Ints,
    sure_points: Array, sure_starts: Ints, sure_lifting: Ints, sure_ball: Array, sure_stretches: Ints,
    retract: float, lift_to: float, gauge: float, down: float,
    profile: Array, ranges: Ints, inner_profile: Array, inner_ranges: Ints, top: float,
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32,
    in_vertices: Array, in_faces: Ints32, in_boxes: Array, in_first: Ints32, in_count: Ints32,
    R_CG: Array, p_CG: Array, taken: float, errors: Array, keep_off: float, rates: Array, spin: float, group: int,
) -> None:  # fmt: skip
    """Make the cells of rows row0 to row1 as bad as one body makes them.

    Parameters
    ----------
    severity, spare, over, who, unsure : (n_rows, n_columns), written where the body is worse than what is there: the
        verdict, the spare and how far it is over the keep-off (-inf on contact), `group` times 1000 plus the chain
        (plus 500 for one that lies inside the tool), and whether a part may be inside.
    rows, columns : angles of the axes, rad, rising.
    R_WC, p_WC, R_WA, p_WA : poses of what carries the body and of the move's own frame; (m, n, 3, 3) and (m, n, 3),
        with m or n 1 where an axis does not matter.
    sure_points, ... : the same move where all of it is true.
    taken : mm of the distance that proves nothing. `errors`: (n_columns,) of the body.
    rates : how far the two sides move against each other at most per rad, and how far the spindle does: by rows, by
        columns, spindle by rows, spindle by columns.
    spin : how far the move reaches from its own origin, level, where its frame turns with the tool; else 0.
    """
    R, p = np.zeros((3, 3)), np.zeros(3)
    q_W, up, balls = np.zeros((len(points), 3)), np.zeros(len(lifting)), ball.copy()
    sure_W, sure_up, sure_balls = np.zeros((len(sure_points), 3)), np.zeros(len(sure_lifting)), sure_ball.copy()
    open_block = np.zeros((DEEPEST, 4), dtype=np.int64)
    open_likely = np.zeros(DEEPEST)  # what was last found near by
    was_hit = False  # the cell before this one
    for tile in range(0, len(columns), TILE):
        open_block[0, 0], open_block[0, 1] = row0, row1
        open_block[0, 2], open_block[0, 3] = tile, min(tile + TILE, len(columns))
        open_likely[0] = math.inf
        n = 1
        while n > 0:
            n -= 1
            ia, ib, ja, jb = open_block[n, 0], open_block[n, 1], open_block[n, 2], open_block[n, 3]
            likely = open_likely[n]
            i, j = (ia + ib) // 2, (ja + jb) // 2
            if ib - ia > 1 or jb - ja > 1:
                by_row = max(rows[ib - 1] - rows[i], rows[i] - rows[ia])
                by_column = max(columns[jb - 1] - columns[j], columns[j] - columns[ja])
                row_motion = rates[0] * by_row if by_row > 0.0 else 0.0
                column_motion = rates[1] * by_column if by_column > 0.0 else 0.0
                motion = row_motion + column_motion + spin * _turn(R_WA, ia, ib, ja, jb, i, j)
                base = keep_off + errors[ja:jb].max() + taken
                wanted = base + motion
                if likely >= base + WORTH * motion:
                    _pose_body(R_WC, p_WC, i, j, R_CG, p_CG, R, p)
                    _pose_move(R_WA, p_WA, i, j, points, ball, q_W, balls)
                    rise = rates[2] * by_row + rates[3] * by_column
                    _lift(q_W, starts, lifting, retract, lift_to, gauge, rise, up, balls)
                    d = _crude(profile, ranges, down, balls, boxes, R, p)
                    if d < wanted and motion <= MOST_MOTION:
                        d = least_search(
                            profile, ranges, q_W, starts, up, balls, stretches, down,
                            vertices, faces, boxes, first, count, R, p, wanted,
                        )[0]  # fmt: skip
                        likely = d
                    if d >= wanted and not _may_be_inside(q_W, top, boxes, R, p):
                        continue
                is_by_row = ib - ia > 1 and (jb - ja == 1 or row_motion >= column_motion)
                for half in range(2):
                    open_block[n, 0] = (i if half else ia) if is_by_row else ia
                    open_block[n, 1] = (ib if half else i) if is_by_row else ib
                    open_block[n, 2] = ja if is_by_row else (j if half else ja)
                    open_block[n, 3] = jb if is_by_row else (jb if half else j)
                    open_likely[n] = likely
                    n += 1
                continue
            if severity[i, j] == HITS:
                continue
            base = errors[j] + taken
            _pose_body(R_WC, p_WC, i, j, R_CG, p_CG, R, p)
            if not was_hit:  # else contact is likely: it is asked first
                _pose_move(R_WA, p_WA, i, j, points, ball, q_W, balls)
                _lift(q_W, starts, lifting, retract, lift_to, gauge, 0.0, up, balls)
                cap = max(_named(severity[i, j], over[i, j], keep_off) + base, TOUCH)
                found = least_search(
                    profile, ranges, q_W, starts, up, balls, stretches, down,
                    vertices, faces, boxes, first, count, R, p, cap,
                )  # fmt: skip
                d, chain = found[0], found[1]
                if d > 0.0:
                    if _may_be_inside(q_W, top, boxes, R, p):
                        unsure[i, j] = 1
                    if d < cap:
                        left = d - base
                        severity[i, j] = max(severity[i, j], CAN_HIT if left <= 0.0 else TIGHT)
                        spare[i, j], over[i, j], who[i, j] = left, left - keep_off, 1000 * group + chain
                    continue
                severity[i, j] = CAN_HIT
                spare[i, j], over[i, j], who[i, j] = -math.inf, -math.inf, 1000 * group + chain
            _pose_move(R_WA, p_WA, i, j, sure_points, sure_ball, sure_W, sure_balls)
            _lift(sure_W, sure_starts, sure_lifting, retract, lift_to, gauge, 0.0, sure_up, sure_balls)
            found = least_search(
                inner_profile, inner_ranges, sure_W, sure_starts, sure_up, sure_balls, sure_stretches, 0.0,
                in_vertices, in_faces, in_boxes, in_first, in_count, R, p, TOUCH,
            )  # fmt: skip
            if found[0] <= 0.0:
                severity[i, j], was_hit = HITS, True
                spare[i, j], over[i, j], who[i, j] = -math.inf, -math.inf, 1000 * group + 500 + found[1]
            elif was_hit:  # not so: the cell is looked at again
                was_hit = False
                open_block[n, 0], open_block[n, 1], open_block[n, 2], open_block[n, 3] = ia, ib, ja, jb
                n += 1


@kernel
def fill_too_deep(
    too_deep: Ints, severity: Ints, row0: int, row1: int,
    R_WC: Array, p_WC: Array, R_WA: Array, p_WA: Array, points: Array, ends: Ints32, ring: Array, has: float,
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R_CG: Array, p_CG: Array,
) -> None:  # fmt: skip
    """Mark the cells in which material stands higher over the tip than `has`, where that matters."""
    R, p = np.zeros((3, 3)), np.zeros(3)
    q_W, none = np.zeros((len(points), 3)), np.zeros((0, 5))
    for i in range(row0, row1):
        for j in range(severity.shape[1]):
            if severity[i, j] >= CAN_HIT or too_deep[i, j] != 0:
                continue
            _pose_body(R_WC, p_WC, i, j, R_CG, p_CG, R, p)
            _pose_move(R_WA, p_WA, i, j, points, none, q_W, none)
            # where nothing stands higher, `has` comes back, give or take its rounding
            if rise_over_sweep(q_W, ends, ring, has, R, p, vertices, faces, boxes, first, count) > has + TOUCH:
                too_deep[i, j] = 1


@kernel
def _crude(profile: Array, ranges: Ints, down: float, balls: Array, boxes: Array, R: Array, p: Array) -> float:
    """A lower bound of the clearance by the sphere around the whole move and the box around the body."""
    cx, cy, cz, hx, hy, hz = box_in_W(boxes, 0, R, p)
    dx = max(0.0, abs(cx - balls[0, 0]) - hx)
    dy = max(0.0, abs(cy - balls[0, 1]) - hy)
    z = cz - balls[0, 2]
    rho = math.sqrt(dx * dx + dy * dy)
    return part_bound(profile, ranges, down, balls[0, 4], rho, z - hz, z + hz) - balls[0, 3]


@kernel
def _turn(R_WA: Array, ia: int, ib: int, ja: int, jb: int, i: int, j: int) -> float:
    """How far the X axis of a level frame turns from cell (i, j) to another of the block, at most, as a chord."""
    if R_WA.shape[0] == 1 or R_WA.shape[1] == 1:
        i, ia, ib = (0, 0, 1) if R_WA.shape[0] == 1 else (i, ia, ib)
        j, ja, jb = (0, 0, 1) if R_WA.shape[1] == 1 else (j, ja, jb)
    most = 0.0
    for a in range(ia, ib):
        for b in range(ja, jb):
            for k in range(2):  # a direction that is not seen has a row of zeros
                u, v = R_WA[a, b, k, 0] - R_WA[i, j, k, 0], R_WA[a, b, k, 1] - R_WA[i, j, k, 1]
                most = max(most, u * u + v * v)
    return math.sqrt(most)


@kernel
def _named(severity: int, over: float, keep_off: float) -> float:
    """The spare below which a pair with this keep-off is worse than what is known of a cell."""
    if severity == CLEAR:
        return keep_off
    if severity == TIGHT:
        return min(keep_off + over, keep_off)
    return min(keep_off + over, 0.0)


@kernel
def _pose_body(R_WC: Array, p_WC: Array, i: int, j: int, R_CG: Array, p_CG: Array, R: Array, p: Array) -> None:
    """X_WG = X_WC @ X_CG of one cell, into R and p."""
    a, b = (i if R_WC.shape[0] > 1 else 0), (j if R_WC.shape[1] > 1 else 0)
    for k in range(3):
        p[k] = p_WC[a, b, k]
        for m in range(3):
            p[k] += R_WC[a, b, k, m] * p_CG[m]
            R[k, m] = 0.0
            for v in range(3):
                R[k, m] += R_WC[a, b, k, v] * R_CG[v, m]


@kernel
def _pose_move(
    R_WA: Array, p_WA: Array, i: int, j: int, points: Array, ball: Array, q_W: Array, balls: Array
) -> None:  # fmt: skip
    """Corners and spheres of a move at one cell, into q_W and balls."""
    a, b = (i if R_WA.shape[0] > 1 else 0), (j if R_WA.shape[1] > 1 else 0)
    for n in range(len(points)):
        for k in range(3):
            q_W[n, k] = p_WA[a, b, k]
            for m in range(3):
                q_W[n, k] += R_WA[a, b, k, m] * points[n, m]
    for n in range(len(ball)):
        for k in range(3):
            balls[n, k] = p_WA[a, b, k]
            for m in range(3):
                balls[n, k] += R_WA[a, b, k, m] * ball[n, m]


@kernel
def _lift(
    q_W: Array, starts: Ints, lifting: Ints, retract: float, lift_to: float, gauge: float, rise: float,
    up: Array, balls: Array,
) -> None:  # fmt: skip
    """How far each set lifts, `rise` more than it does here; spheres take the most."""
    most = 0.0
    for s in range(len(lifting)):
        up[s] = 0.0
        if lifting[s] != 0:
            lowest = q_W[starts[s], 2]
            for n in range(starts[s], starts[s + 1]):
                lowest = min(lowest, q_W[n, 2])
            up[s] = max(retract, lift_to - lowest - gauge, 0.0) + rise
        most = max(most, up[s])
    for n in range(len(balls)):
        balls[n, 4] = most


@kernel
def _may_be_inside(q_W: Array, top: float, boxes: Array, R: Array, p: Array) -> bool:
    """Whether the top of the tool, as it stands at the first corner of the move, is in the box around the body."""
    x, y, z = q_W[0, 0] - p[0], q_W[0, 1] - p[1], q_W[0, 2] + top - p[2]
    for k in range(3):
        v = R[0, k] * x + R[1, k] * y + R[2, k] * z
        if v < boxes[0, k] or v > boxes[0, k + 3]:
            return False
    return True
