"""The highest point of a body over the sweep of a cutter: two trees at once, the body's and the sweep's.

1. Seen along the tool axis, a cutter whose axis may be anywhere over a convex set S covers S plus a disc; the
   disc is a polygon from outside, so that the region is a convex polygon and its outline is exact to rounding.
2. A sloping set is cut into pieces of SLOPE_STEP in height, each taken at its lowest.
3. A pair of some pieces and a box of the body that can't rise higher over the tip than what was found, or that
   is farther apart than the disc is wide, is not opened; of two pairs the higher is opened first.
4. The highest point of a triangle over the region is on one of its edges (clipped: M. Cyrus, J. Beck,
   "Generalized two- and three-dimensional clipping", Computers & Graphics 3 (1978)) or over a corner of the
   region. What touches a side of the region, within SLACK, is over it.
5. Triangles stay in the frame G of their body; only the corners of those that are looked at go to W.
6. What this file does not know: tools, flutes, what the body is.
"""

from __future__ import annotations

import math

import numpy as np

from kinematics.engine.compiled import kernel
from kinematics.engine.triangle_tree import MOST_DEPTH, Ints, triangle_tree
from kinematics.pose import Array, frozen
from kinematics.solids import Triangles

SLOPE_STEP = 0.5  # mm of height per piece when a sloping move is split
LEVEL = 1e-9  # mm; positions whose heights differ by no more than this are level
SLACK = 1e-6  # mm; what touches a side of the region is over it
TINY = 1e-12  # below this a side or an area is nothing
DEEPEST = MOST_DEPTH + 64  # pairs that can be open at once, below each other in the two trees


@kernel
def rise_over_sweep(
    points: Array, ends: Ints, ring: Array, at_least: float, R_WG: Array, p_WG: Array,
    vertices: Array, faces: Ints, boxes: Array, first: Ints, count: Ints,
) -> float:  # fmt: skip
    """How far a body rises above the tip where it is under the cutter, at most; `at_least` where that is more.

    Parameters
    ----------
    points : (n, 3) corners of the sets of tip positions in W, set after set; `ends` (m,) says where each ends.
        A set is a point, a segment, or a level convex polygon.
    ring : (k, 2) the polygon that stands for the cutter, counter-clockwise, the corners on a circle about 0.
    R_WG, p_WG : pose of the body.
    vertices, faces, boxes, first, count : its tree, see `triangle_tree.py`.
    """
    q, starts, heights = _pieces(points, ends)
    groups = _groups(q, starts, heights)
    around = ring.copy()  # writeable like q: one type less to compile
    reach = math.sqrt(ring[0, 0] * ring[0, 0] + ring[0, 1] * ring[0, 1]) + 2.0 * SLACK
    corners = np.zeros((2 * (len(ring) + len(q)), 2))
    sides = np.zeros((len(ring) + len(q), 3))
    n_sides, of_piece = 0, -1  # the region is worked out when the first triangle needs it
    pairs = np.zeros((DEEPEST, 3), dtype=np.int32)  # group, node, whether the group is the larger
    rises = np.zeros(DEEPEST)
    triangle = np.zeros((3, 3))
    best = at_least
    pairs[0, 0], pairs[0, 2], rises[0] = 1, 1, math.inf
    n_open = 1
    while n_open > 0:
        n_open -= 1
        if rises[n_open] <= best:
            continue
        group, node, piece = pairs[n_open, 0], pairs[n_open, 1], pairs[n_open, 0] - len(heights)
        is_group_opened = piece < 0 and (pairs[n_open, 2] > 0 or count[node] > 0)
        if is_group_opened or count[node] == 0:
            for k in range(2):
                pair = n_open + k
                pairs[pair, 0] = 2 * group + k if is_group_opened else group
                pairs[pair, 1] = node if is_group_opened else first[node] + k
                rises[pair], pairs[pair, 2] = _rise(
                    groups, pairs[pair, 0], q, starts, reach, R_WG, p_WG, boxes, pairs[pair, 1]
                )
            if rises[n_open] >= rises[n_open + 1]:  # the higher one comes next
                for k in range(3):
                    pairs[n_open, k], pairs[n_open + 1, k] = pairs[n_open + 1, k], pairs[n_open, k]
                rises[n_open], rises[n_open + 1] = rises[n_open + 1], rises[n_open]
            n_open += 2
            continue
        q0, q1 = starts[piece], starts[piece + 1]
        for row in range(first[node], first[node] + count[node]):
            _set_triangle(triangle, R_WG, p_WG, vertices, faces, row)
            top = heights[piece] + best
            if _top_within(triangle, q, q0, q1, reach, top) <= top:
                continue
            if of_piece != piece:
                n_sides, of_piece = _region(q[q0:q1], around, corners, sides), piece
            for i in range(3):
                top = _edge_top(triangle, i, sides, n_sides, top)
            best = max(best, _face_top(triangle, corners, 2 * n_sides, top) - heights[piece])
    return best


@kernel
def _pieces(points: Array, ends: Ints) -> tuple[Array, Ints, Array]:
    """Every level set, and every sloping one in level pieces: corners (n, 2), where each begins, and its height."""
    n_pieces = n_corners = start = 0
    for m in range(len(ends)):
        n = _piece_count(points, start, ends[m])
        n_pieces += max(n, 1)
        n_corners += 2 * n if n > 0 else ends[m] - start
        start = ends[m]
    q, starts, heights = np.zeros((n_corners, 2)), np.zeros(n_pieces + 1, dtype=np.int32), np.zeros(n_pieces)
    i = k = start = 0
    for m in range(len(ends)):
        n = _piece_count(points, start, ends[m])
        last = ends[m] - 1
        for piece in range(max(n, 1)):
            heights[i] = math.inf
            for j in range(2 if n > 0 else ends[m] - start):
                t = (piece + j) / n if n > 0 else 0.0
                at = start if n > 0 else start + j
                q[k, 0] = points[at, 0] + (points[last, 0] - points[at, 0]) * t
                q[k, 1] = points[at, 1] + (points[last, 1] - points[at, 1]) * t
                heights[i] = min(heights[i], points[at, 2] + (points[last, 2] - points[at, 2]) * t)
                k += 1
            i += 1
            starts[i] = k
        start = ends[m]
    return q, starts, heights


@kernel
def _piece_count(points: Array, start: int, end: int) -> int:
    """How many pieces a sloping set is; 0 for a level one."""
    low, high = points[start, 2], points[start, 2]
    for i in range(start, end):
        low, high = min(low, points[i, 2]), max(high, points[i, 2])
    return 0 if high - low <= LEVEL else max(1, math.ceil(abs(points[end - 1, 2] - points[start, 2]) / SLOPE_STEP))


@kernel
def _groups(q: Array, starts: Ints, heights: Array) -> Array:
    """A tree over n pieces: row 1 holds all, row k what 2k and 2k + 1 hold, row n + i is piece i.

    A row is the lowest x, y and z, and the highest.
    """
    n = len(heights)
    groups = np.zeros((2 * n, 6))
    for i in range(n):
        for k in range(2):
            groups[n + i, k], groups[n + i, k + 3] = math.inf, -math.inf
            for j in range(starts[i], starts[i + 1]):
                groups[n + i, k] = min(groups[n + i, k], q[j, k])
                groups[n + i, k + 3] = max(groups[n + i, k + 3], q[j, k])
        groups[n + i, 2] = groups[n + i, 5] = heights[i]
    for i in range(n - 1, 0, -1):
        for k in range(3):
            groups[i, k] = min(groups[2 * i, k], groups[2 * i + 1, k])
            groups[i, k + 3] = max(groups[2 * i, k + 3], groups[2 * i + 1, k + 3])
    return groups


@kernel
def _set_triangle(triangle: Array, R_WG: Array, p_WG: Array, vertices: Array, faces: Ints, row: int) -> None:
    """The corners of a row of the tree in W."""
    for i in range(3):
        x, y, z = vertices[faces[row, i], 0], vertices[faces[row, i], 1], vertices[faces[row, i], 2]
        for k in range(3):
            triangle[i, k] = x * R_WG[k, 0] + y * R_WG[k, 1] + z * R_WG[k, 2] + p_WG[k]


@kernel
def _rise(
    groups: Array, group: int, q: Array, starts: Ints, reach: float, R_WG: Array, p_WG: Array, boxes: Array, node: int
) -> tuple[float, bool]:
    """How far a node rises over a group of pieces, at most, and whether the group is larger than the node.

    Minus infinity where they are farther apart than `reach`, seen from above.
    """
    x, y, z = (
        (boxes[node, 0] + boxes[node, 3]) / 2,
        (boxes[node, 1] + boxes[node, 4]) / 2,
        (boxes[node, 2] + boxes[node, 5]) / 2,
    )
    hx, hy, hz = boxes[node, 3] - x, boxes[node, 4] - y, boxes[node, 5] - z
    wx = x * R_WG[0, 0] + y * R_WG[0, 1] + z * R_WG[0, 2] + p_WG[0]
    wy = x * R_WG[1, 0] + y * R_WG[1, 1] + z * R_WG[1, 2] + p_WG[1]
    wz = x * R_WG[2, 0] + y * R_WG[2, 1] + z * R_WG[2, 2] + p_WG[2]
    ex = abs(R_WG[0, 0]) * hx + abs(R_WG[0, 1]) * hy + abs(R_WG[0, 2]) * hz
    ey = abs(R_WG[1, 0]) * hx + abs(R_WG[1, 1]) * hy + abs(R_WG[1, 2]) * hz
    ez = abs(R_WG[2, 0]) * hx + abs(R_WG[2, 1]) * hy + abs(R_WG[2, 2]) * hz
    g = groups[group]
    is_wider = max(g[3] - g[0], g[4] - g[1], g[5] - g[2]) > 2.0 * max(ex, ey, ez)
    wide, high = ex + reach, ey + reach
    if wx + wide < g[0] or wx - wide > g[3] or wy + high < g[1] or wy - high > g[4]:
        return -math.inf, is_wider
    piece = group - len(groups) // 2
    if piece >= 0:
        dx, dy, away = _from_set(wx, wy, q, starts[piece], starts[piece + 1])
        if away > reach:
            half = (
                abs(R_WG[0, 0] * dx + R_WG[1, 0] * dy) * hx
                + abs(R_WG[0, 1] * dx + R_WG[1, 1] * dy) * hy
                + abs(R_WG[0, 2] * dx + R_WG[1, 2] * dy) * hz
            )
            if away - half > reach:
                return -math.inf, is_wider
    return wz + ez - g[2], is_wider


@kernel
def _top_within(triangle: Array, q: Array, start: int, end: int, reach: float, best: float) -> float:
    """A height that a triangle does not exceed where it is within `reach` of the convex set of rows start..end-1.

    Where it may be higher than `best`, it is cut off square to the way from the set to its highest corner: a long
    triangle may be much lower here.
    """
    i = 0
    for k in range(1, 3):
        if triangle[k, 2] > triangle[i, 2]:
            i = k
    x, y, top = triangle[i, 0], triangle[i, 1], triangle[i, 2]
    if top <= best:
        return top
    dx, dy, away = _from_set(x, y, q, start, end)
    if away <= reach:
        return top
    limit = reach - away + dx * x + dy * y
    top = -math.inf
    for i in range(3):
        j = i + 1 if i < 2 else 0
        in_i = limit - dx * triangle[i, 0] - dy * triangle[i, 1]
        in_j = limit - dx * triangle[j, 0] - dy * triangle[j, 1]
        if in_i >= 0.0:
            top = max(top, triangle[i, 2])
        if (in_i >= 0.0) != (in_j >= 0.0):
            top = max(top, triangle[i, 2] + (triangle[j, 2] - triangle[i, 2]) * (in_i / (in_i - in_j)))
    return top


@kernel
def _from_set(x: float, y: float, q: Array, start: int, end: int) -> tuple[float, float, float]:
    """Unit direction to (x, y) from the nearest point of the convex set of rows start..end-1, and how far that is.

    0 all of them inside. No point of the set is farther that way than the nearest one.
    """
    vx, vy, nearest = 0.0, 0.0, math.inf
    is_inside = False
    for i in range(start, end):
        j = i + 1 if i + 1 < end else start
        ux, uy = q[j, 0] - q[i, 0], q[j, 1] - q[i, 1]
        px, py = x - q[i, 0], y - q[i, 1]
        if (q[i, 1] > y) != (q[j, 1] > y) and px < py / uy * ux:
            is_inside = not is_inside
        length2 = ux * ux + uy * uy
        t = min(1.0, max(0.0, (px * ux + py * uy) / length2)) if length2 > 0.0 else 0.0
        dx, dy = px - t * ux, py - t * uy
        if dx * dx + dy * dy < nearest:
            vx, vy, nearest = dx, dy, dx * dx + dy * dy
    away = math.sqrt(nearest)
    return (0.0, 0.0, 0.0) if is_inside or away <= 0.0 else (vx / away, vy / away, away)


@kernel
def _region(q: Array, ring: Array, corners: Array, sides: Array) -> int:
    """The convex polygon q (k, 2) plus the ring (n, 2): n + k sides at most, and both ends of each.

    A side is its unit normal inwards and the offset from which on a point counts as inside. Each side of the
    ring moves out as far as q reaches, and each of q as far as the ring reaches. So no order of sides matters,
    and corners of q on one line do no harm.
    """
    m = 0
    for i in range(len(ring)):
        j = i + 1 if i + 1 < len(ring) else 0
        x, y, length = _inwards(ring, i, j)
        if length > TINY:
            far = _farthest(q, -x, -y)
            _set_side(m, x, y, ring, i, j, q, far, i, corners, sides)
            m += 1
    for i in range(len(q)):
        j = i + 1 if i + 1 < len(q) else 0
        x, y, length = _inwards(q, i, j)
        if length > TINY:
            # the farthest own corner is an end of the side, unless the side is so short that rounding turns it
            _set_side(m, x, y, q, i, j, ring, _farthest(ring, -x, -y), _farthest(q, -x, -y), corners, sides)
            m += 1
    return m


@kernel
def _inwards(polygon: Array, i: int, j: int) -> tuple[float, float, float]:
    """The unit normal of side i-j of a counter-clockwise polygon, and the length of the side."""
    x, y = polygon[i, 1] - polygon[j, 1], polygon[j, 0] - polygon[i, 0]
    length = math.sqrt(x * x + y * y)
    return x / length, y / length, length


@kernel
def _set_side(
    m: int, x: float, y: float, polygon: Array, i: int, j: int, other: Array, far: int, own: int,
    corners: Array, sides: Array,
) -> None:  # fmt: skip
    """Side m of a sum: side i-j of a polygon at corner `far` of the other, as far out as the polygon's corner `own`."""
    sides[m, 0], sides[m, 1] = x, y
    sides[m, 2] = x * (polygon[own, 0] + other[far, 0]) + y * (polygon[own, 1] + other[far, 1]) - SLACK
    corners[2 * m, 0], corners[2 * m, 1] = polygon[i, 0] + other[far, 0], polygon[i, 1] + other[far, 1]
    corners[2 * m + 1, 0], corners[2 * m + 1, 1] = polygon[j, 0] + other[far, 0], polygon[j, 1] + other[far, 1]


@kernel
def _farthest(polygon: Array, x: float, y: float) -> int:
    """The corner that is farthest along (x, y)."""
    at, most = 0, -math.inf
    for i in range(len(polygon)):
        along = polygon[i, 0] * x + polygon[i, 1] * y
        if along > most:
            at, most = i, along
    return at


@kernel
def _edge_top(triangle: Array, i: int, sides: Array, n: int, best: float) -> float:
    """The greatest height of the edge from corner i over the region, or `best`."""
    j = i + 1 if i < 2 else 0
    px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
    qx, qy, qz = triangle[j, 0], triangle[j, 1], triangle[j, 2]
    if max(pz, qz) <= best:
        return best
    enters, leaves = 0.0, 1.0
    for k in range(n):
        in_p = px * sides[k, 0] + py * sides[k, 1] - sides[k, 2]
        in_q = qx * sides[k, 0] + qy * sides[k, 1] - sides[k, 2]
        if in_p < 0.0:
            if in_q < 0.0:
                return best
            enters = max(enters, in_p / (in_p - in_q))
        elif in_q < 0.0:
            leaves = min(leaves, in_p / (in_p - in_q))
        if enters > leaves:
            return best
    return max(best, pz + max((qz - pz) * enters, (qz - pz) * leaves))


@kernel
def _face_top(triangle: Array, corners: Array, n: int, best: float) -> float:
    """The greatest height of the inside of a triangle over the corners of the region, or `best`."""
    ax, ay, az = triangle[0, 0], triangle[0, 1], triangle[0, 2]
    ux, uy, uz = triangle[1, 0] - ax, triangle[1, 1] - ay, triangle[1, 2] - az
    vx, vy, vz = triangle[2, 0] - ax, triangle[2, 1] - ay, triangle[2, 2] - az
    area = ux * vy - uy * vx
    if abs(area) <= TINY or az + max(0.0, uz, vz) <= best:  # seen from above it is a line: its edges say it all
        return best
    left, right = ax + min(0.0, ux, vx), ax + max(0.0, ux, vx)
    below, above = ay + min(0.0, uy, vy), ay + max(0.0, uy, vy)
    for i in range(n):
        wx, wy = corners[i, 0] - ax, corners[i, 1] - ay
        if left <= corners[i, 0] <= right and below <= corners[i, 1] <= above:
            b, c = (wx * vy - wy * vx) / area, (wy * ux - wx * uy) / area
            if b >= 0.0 and c >= 0.0 and b + c <= 1.0:
                best = max(best, az + b * uz + c * vz)
    return best


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    corners, R = np.eye(3), frozen(np.eye(3))
    tree = triangle_tree(Triangles(corners, np.array([[0, 1, 2]], dtype=np.int32)))
    ring, ends = frozen([[1.0, -1.0], [1.0, 1.0], [-1.0, 0.0]]), np.array([3], dtype=np.int32)
    rise_over_sweep(corners, ends, ring, 0.0, R, R[0], tree.vertices, tree.faces, tree.boxes, tree.first, tree.count)
