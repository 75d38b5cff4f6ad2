"""How much room a part has in each direction round the tool, over a whole cut: certified, sector by sector.

1. Directions are seen from the tool's axis, wherever the tip is: sector k holds the directions from k to k + 1
   times 360 / n degrees, counter-clockwise from +X in W. On the clock, with 12 at +Y, a direction of a
   degrees is at (90 - a) / 30.
2. A point is nearest to a solid of revolution at its own azimuth. So the room in a sector is the distance of
   the part to what lies in the sector: a triangle moved by all tip positions has flat faces, each is cut by the
   two planes of the sector, and the piece is measured exactly (`exact_leaf.py`).
3. Boxes of the body's tree that could not change any of their sectors are not opened; what they could still
   hold bounds `lo`. So lo <= room <= hi, no farther apart than the tolerance.
4. Contact reads -inf, as in `envelope.py`; a part inside a solid is in contact all round.
5. What this file does not know: verdicts, how it is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinematics.engine.chains import Frustum, chains
from kinematics.engine.compiled import kernel
from kinematics.engine.envelope import NearBody, stretches_inside
from kinematics.engine.exact_leaf import triangle_least
from kinematics.engine.height_bins import axis_meets
from kinematics.engine.position_sets import Ints, PositionSets, position_sets
from kinematics.engine.room_search import ROUNDING
from kinematics.engine.round_clearance import DEEPEST, Ints32, box_in_W, corners_in_W, part_bound
from kinematics.engine.sweep import Positions
from kinematics.pose import Array

TOLERANCE = 0.05  # mm; fine enough for a plot
ON = 1e-9  # of a sector; what is no farther over its edge is looked at in both


@dataclass(frozen=True, slots=True, eq=False)
class PolarRoom:
    """Clearance less `subtract` by sector; arrays (n_sectors,).

    Parameters
    ----------
    lo, hi : mm, lo <= room <= hi; -inf on contact (`lo`: not excluded), +inf where nothing is in the sector.
    body : number of the body that gives `hi`, -1 without one.
    face, set_index : row of that body's `tree.faces`, and the position set of the move.
    at : (n_sectors, 3), the nearest point of that body as the tool sees it: x, y, z from the tip, mm.
    """

    lo: Array
    hi: Array
    body: Ints32
    face: Ints32
    set_index: Ints32
    at: Array


def polar_room(
    part: Sequence[Frustum],
    bodies: Sequence[NearBody],
    sets: Sequence[Positions],
    *,
    n_sectors: int = 72,
    down: float = 0.0,
    tolerance: float = TOLERANCE,
    cap: float = math.inf,
) -> PolarRoom:
    """The room of a part by direction, over the position sets of a cut with their lift.

    Parameters
    ----------
    part : frusta, heights over the tip; those of all parts for the room of the whole tool.
    n_sectors : at least 3.
    down : the stick-out may be longer by this: swept.
    tolerance : mm, how far lo and hi may be apart (plus the `error` of the nearest body).
    cap : rooms of at least this are of no interest: then lo is within the tolerance of `cap` at least, hi is inf
        and there is no body.
    """
    assert n_sectors >= 3, "a sector is narrower than half a turn"
    solid, move = chains(part), position_sets(sets)
    body_of, face_of, set_of = (np.full(n_sectors, -1, dtype=np.int32) for _ in range(3))
    lo, hi, at = np.full(n_sectors, math.inf), np.full(n_sectors, math.inf), np.zeros((n_sectors, 3))
    room = PolarRoom(lo, hi, body_of, face_of, set_of, at)
    most = np.full(n_sectors, cap)
    for b, body in enumerate(bodies):
        before = most.copy()
        tree = body.tree
        _polar(
            solid.profile, solid.ranges, down, move.points, move.starts, move.up, move.ball, move.first,
            tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, body.X_WG.R_AB, body.X_WG.p_AB,
            body.subtract, body.error, tolerance - 2 * ROUNDING, room.lo, most, room.face, room.set_index, room.at,
        )  # fmt: skip
        room.body[most < before] = b
        if body.is_solid:
            _add_inside(room, most, b, body, part, down, move)
    known = room.body >= 0
    room.hi[known] = most[known]
    room.lo[:] = np.minimum(room.lo, most)
    return room


def _add_inside(
    room: PolarRoom, most: Array, b: int, body: NearBody, part: Sequence[Frustum], down: float, move: PositionSets
) -> None:
    low, high = min(f.z1 for f in part) - down, max(f.z2 for f in part)
    for first, last, face, i in stretches_inside(body, move, np.arange(len(move.up))):
        if first < high + move.up[i] and last > low:
            room.lo[:] = most[:] = -math.inf
            room.body[:], room.face[:], room.set_index[:] = b, face, i
            room.at[:] = (0.0, 0.0, max(first, low))
            return


@kernel
def _sectors_of(x0: float, x1: float, y0: float, y1: float, n: int) -> tuple[int, int]:
    """The first sector of n, not reduced to 0..n-1, and how many, in which an upright box seen from above lies."""
    if x0 <= 0.0 <= x1 and y0 <= 0.0 <= y1:
        return 0, n
    middle = math.atan2(0.5 * (y0 + y1), 0.5 * (x0 + x1))
    low, high = 0.0, 0.0
    for k in range(4):
        a = math.atan2(y0 if k & 1 else y1, x0 if k & 2 else x1) - middle
        if a > math.pi:
            a -= 2.0 * math.pi
        elif a < -math.pi:
            a += 2.0 * math.pi
        low, high = min(low, a), max(high, a)
    width = 2.0 * math.pi / n
    first, last = math.floor((middle + low) / width - ON), math.floor((middle + high) / width + ON)
    return int(first), min(n, int(last - first) + 1)


@kernel
def _needs(first: int, count: int, bound: float, slack: float, most: Array) -> bool:
    """Whether what leaves at least `bound` could still change a sector."""
    n = len(most)
    is_needed = False
    for k in range(first, first + count):
        is_needed = is_needed or bound < most[k % n] - slack
    return is_needed


@kernel
def _leave(first: int, count: int, bound: float, least: Array) -> None:
    """What is not opened bounds its sectors."""
    n = len(least)
    for k in range(first, first + count):
        least[k % n] = min(least[k % n], bound)


@kernel
def _room(distance: float, subtract: float) -> float:
    return distance - subtract if distance > 0.0 else -math.inf


@kernel
def _cut(polygon: Array, m: int, nx: float, ny: float, kept: Array) -> int:
    """The part of a convex polygon (m corners) where nx x + ny y >= 0, into `kept`; how many corners."""
    n = 0
    for i in range(m):
        k = i + 1 if i + 1 < m else 0
        a = nx * polygon[i, 0] + ny * polygon[i, 1]
        b = nx * polygon[k, 0] + ny * polygon[k, 1]
        if a >= 0.0:
            for c in range(3):
                kept[n, c] = polygon[i, c]
            n += 1
        if (a > 0.0 and b < 0.0) or (a < 0.0 and b > 0.0):
            t = a / (a - b)
            for c in range(3):
                kept[n, c] = polygon[i, c] + t * (polygon[k, c] - polygon[i, c])
            n += 1
    return n


@kernel
def _polygon_bound(
    profile: Array, ranges: Ints, down: float, up: float, polygon: Array, m: int
) -> tuple[float, float, float, float, float]:
    """A lower bound of the distance to a polygon, and the box around it seen from above."""
    x0 = y0 = z0 = math.inf
    x1 = y1 = z1 = -math.inf
    for i in range(m):
        x0, y0, z0 = min(x0, polygon[i, 0]), min(y0, polygon[i, 1]), min(z0, polygon[i, 2])
        x1, y1, z1 = max(x1, polygon[i, 0]), max(y1, polygon[i, 1]), max(z1, polygon[i, 2])
    dx, dy = max(0.0, x0, -x1), max(0.0, y0, -y1)
    return part_bound(profile, ranges, down, up, math.sqrt(dx * dx + dy * dy), z0, z1), x0, x1, y0, y1


@kernel
def _add_face(
    profile: Array, ranges: Ints, down: float, up: float, polygon: Array, m: int,
    subtract: float, error: float, slack: float, least: Array, most: Array, face_of: Ints32, set_of: Ints32,
    at: Array, face: int, i: int, half: Array, piece: Array, t: Array, origin: Array,
) -> None:  # fmt: skip
    """One flat face as the tool sees it: cut into the sectors, each piece measured. The last four are scratch."""
    n = len(most)
    bound, x0, x1, y0, y1 = _polygon_bound(profile, ranges, down, up, polygon, m)
    first, count = _sectors_of(x0, x1, y0, y1, n)
    low = _room(bound - error - ROUNDING, subtract)
    if not _needs(first, count, low, slack, most):
        _leave(first, count, low, least)
        return
    width = 2.0 * math.pi / n
    for k in range(first, first + count):
        s = k % n
        if low >= most[s] - slack:
            least[s] = min(least[s], low)
            continue
        a, b = s * width, (s + 1) * width
        m_half = _cut(polygon, m, -math.sin(a), math.cos(a), half)
        m_piece = _cut(half, m_half, math.sin(b), -math.cos(b), piece)
        if m_piece == 0:
            continue
        near, _, _, _, _ = _polygon_bound(profile, ranges, down, up, piece, m_piece)
        near = _room(near - error - ROUNDING, subtract)
        if near >= most[s] - slack:
            least[s] = min(least[s], near)
            continue
        d, x, y, z = _piece_least(
            profile, ranges, down, up, piece, m_piece, t, origin, most[s] + subtract + error + 1.0
        )
        least[s] = min(least[s], _room(d - error - ROUNDING, subtract))
        if _room(d, subtract) < most[s]:
            most[s] = _room(d, subtract)
            face_of[s], set_of[s] = face, i
            at[s, 0], at[s, 1], at[s, 2] = x, y, z


@kernel
def _fan(polygon: Array, j: int, m: int, t: Array) -> None:
    """Triangle j of a convex polygon of m corners; of less than three corners the last one stands twice."""
    a, b = min(j + 1, m - 1), min(j + 2, m - 1)
    for k in range(3):
        t[0, k], t[1, k], t[2, k] = polygon[0, k], polygon[a, k], polygon[b, k]


@kernel
def _piece_least(
    profile: Array, ranges: Ints, down: float, up: float, piece: Array, m: int, t: Array, origin: Array, cap: float
) -> tuple[float, float, float, float]:
    """Distance of the part to a convex polygon, and its nearest point; `cap` where it is not less."""
    best, x, y, z = cap, 0.0, 0.0, 0.0
    for j in range(max(1, m - 2)):
        _fan(piece, j, m, t)
        for c in range(len(ranges)):
            d, ax, ay, az, _, _, _ = triangle_least(
                profile, ranges[c, 0], ranges[c, 1], ranges[c, 2], down, up, t, origin, 0, 1, best
            )
            if d < best:
                best, x, y, z = d, ax, ay, az
    return best, x, y, z


@kernel
def _put_difference(t: Array, c: int, points: Array, j: int, polygon: Array, row: int) -> None:
    for k in range(3):
        polygon[row, k] = t[c, k] - points[j, k]


@kernel
def _face_of_sweep(t: Array, points: Array, q0: int, q1: int, m: int, polygon: Array) -> int:
    """Face m of what a triangle sweeps over a set, into `polygon`; how many corners it has, 0 where there is none.

    First the triangle from each corner of the set, then each of its edges along each side of the set, then
    the set itself from each corner of the triangle. More than the faces, and all of them.
    """
    n = q1 - q0
    n_sides = 0 if n == 1 else 1 if n == 2 else n
    if m < n:
        for c in range(3):
            _put_difference(t, c, points, q0 + m, polygon, c)
        return 3
    m -= n
    if m < 3 * n_sides:
        j, c = m // 3, m % 3
        k, d = (j + 1) % n, (c + 1) % 3
        for row in range(4):  # round the parallelogram
            _put_difference(t, d if row == 1 or row == 2 else c, points, q0 + (j if row < 2 else k), polygon, row)
        return 4
    m -= 3 * n_sides
    if m >= 3 or n_sides < 2:
        return 0
    for j in range(n):
        _put_difference(t, m, points, q0 + j, polygon, j)
    return n


@kernel
def _meets_axis(polygon: Array, m: int, t: Array) -> tuple[bool, float]:
    """Whether the tool's axis goes through a flat face, and how high."""
    for j in range(m - 2):
        _fan(polygon, j, m, t)
        is_met, z = axis_meets(t)
        if is_met:
            return True, z
    return False, 0.0


@kernel
def _is_on_axis(profile: Array, ranges: Ints, down: float, up: float, low: float, high: float) -> bool:
    """Whether the axis between two heights is in the part."""
    is_on = False
    for c in range(len(ranges)):
        is_on = is_on or (profile[ranges[c, 0], 1] - down < high and profile[ranges[c, 1], 1] + up > low)
    return is_on


@kernel
def _polar(
    profile: Array, ranges: Ints, down: float,
    points: Array, starts: Ints, up: Array, ball: Array, stretches: Ints,
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R: Array, p: Array,
    subtract: float, error: float, slack: float, least: Array, most: Array, face_of: Ints32, set_of: Ints32, at: Array,
) -> None:  # fmt: skip
    n_sectors = len(most)
    open_stretch, open_node = np.zeros(DEEPEST, dtype=np.int64), np.zeros(DEEPEST, dtype=np.int64)
    open_first, open_count = np.zeros(DEEPEST, dtype=np.int64), np.zeros(DEEPEST, dtype=np.int64)
    open_bound = np.full(DEEPEST, -math.inf)
    widest = 0
    for i in range(len(up)):
        widest = max(widest, starts[i + 1] - starts[i])
    polygon, half, piece = np.zeros((widest + 4, 3)), np.zeros((2 * widest + 16, 3)), np.zeros((2 * widest + 24, 3))
    t, corners, origin = np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((1, 3))
    n = 1
    open_count[0] = n_sectors
    while n > 0:
        n -= 1
        if not _needs(open_first[n], open_count[n], open_bound[n], slack, most):
            _leave(open_first[n], open_count[n], open_bound[n], least)
            continue
        s, node = open_stretch[n], open_node[n]
        is_set, is_leaf = stretches[s] < 0, count[node] > 0
        if is_set and is_leaf:
            i = -1 - stretches[s]
            q0, q1 = starts[i], starts[i + 1]
            for f in range(first[node], first[node] + count[node]):
                corners_in_W(vertices, faces, f, R, p, t)
                enters, leaves = math.inf, -math.inf
                m = 0
                while True:
                    n_corners = _face_of_sweep(t, points, q0, q1, m, polygon)
                    if n_corners == 0:
                        break
                    m += 1
                    is_met, z = _meets_axis(polygon, n_corners, corners)
                    if is_met:
                        enters, leaves = min(enters, z), max(leaves, z)
                    _add_face(
                        profile, ranges, down, up[i], polygon, n_corners, subtract, error, slack, least, most,
                        face_of, set_of, at, f, i, half, piece, corners, origin,
                    )  # fmt: skip
                if enters < leaves and _is_on_axis(profile, ranges, down, up[i], enters, leaves):
                    for k in range(n_sectors):  # the part's axis is in what the triangle sweeps
                        least[k] = most[k] = -math.inf
                        face_of[k], set_of[k] = f, i
                        at[k, 0], at[k, 1], at[k, 2] = 0.0, 0.0, enters
                    return
            continue
        radius = 0.0 if is_set else ball[s, 3]
        du, dv, dw = boxes[node, 3] - boxes[node, 0], boxes[node, 4] - boxes[node, 1], boxes[node, 5] - boxes[node, 2]
        opens_node = is_set or (not is_leaf and 0.5 * math.sqrt(du * du + dv * dv + dw * dw) >= radius)
        a = first[node] if opens_node else stretches[s]
        near = math.inf
        for k in range(2):
            sk, nk = (s, a + k) if opens_node else (a + k, node)
            cx, cy, cz, hx, hy, hz = box_in_W(boxes, nk, R, p)
            x0, x1, y0, y1, z0, z1, rise = _corners_of(points, starts, up, ball, stretches, sk)
            x0, x1, y0, y1 = cx - hx - x1, cx + hx - x0, cy - hy - y1, cy + hy - y0
            dx, dy = max(0.0, x0, -x1), max(0.0, y0, -y1)
            bound = part_bound(
                profile, ranges, down, rise, math.sqrt(dx * dx + dy * dy), cz - hz - z1, cz + hz - z0
            )  # fmt: skip
            bound = _room(bound - error - ROUNDING, subtract)
            put = n
            if k == 1 and bound > near:  # the nearer one goes on top
                put = n - 1
                open_stretch[n], open_node[n], open_bound[n] = open_stretch[put], open_node[put], open_bound[put]
                open_first[n], open_count[n] = open_first[put], open_count[put]
            near = bound
            open_stretch[put], open_node[put], open_bound[put] = sk, nk, bound
            open_first[put], open_count[put] = _sectors_of(x0, x1, y0, y1, n_sectors)
            n += 1


@kernel
def _corners_of(
    points: Array, starts: Ints, up: Array, ball: Array, stretches: Ints, s: int
) -> tuple[float, float, float, float, float, float, float]:
    """The box around a stretch of the move (x, y, z, each from and to), and its largest rise."""
    if stretches[s] >= 0:
        x, y, z, r = ball[s, 0], ball[s, 1], ball[s, 2], ball[s, 3]
        return x - r, x + r, y - r, y + r, z - r, z + r, ball[s, 4]
    i = -1 - stretches[s]
    x0 = y0 = z0 = math.inf
    x1 = y1 = z1 = -math.inf
    for j in range(starts[i], starts[i + 1]):
        x0, y0, z0 = min(x0, points[j, 0]), min(y0, points[j, 1]), min(z0, points[j, 2])
        x1, y1, z1 = max(x1, points[j, 0]), max(y1, points[j, 1]), max(z1, points[j, 2])
    return x0, x1, y0, y1, z0, z1, up[i]


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    from kinematics.engine.envelope import a_little

    body, sets, part = a_little()
    polar_room(part, [body], sets, n_sectors=3)
