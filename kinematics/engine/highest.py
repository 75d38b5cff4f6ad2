"""The highest point of a body over the sweep of a cutter: one walk down the body's tree per level of the sweep.

1. Seen along the tool axis, a cutter whose axis may be anywhere over a convex set S covers S plus a disc; the
   disc is a polygon from outside, so that the region is a convex polygon and its outline is exact to rounding.
2. A sloping set is cut into pieces of SLOPE_STEP in height, each taken at its lowest.
3. Nodes that reach no higher than what was found, or that are farther from S than the disc is wide, are not
   opened; the higher child is opened first.
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
    most = 2
    for m in range(len(ends)):
        most = max(most, ends[m] - (ends[m - 1] if m > 0 else 0))
    around = ring.copy()
    q = np.zeros((most, 2))
    corners = np.zeros((2 * (len(ring) + most), 2))
    sides = np.zeros((len(ring) + most, 3))
    stack = np.zeros(MOST_DEPTH + 1, dtype=np.int32)
    tops = np.zeros(MOST_DEPTH + 1)
    rise = at_least
    start = 0
    for m in range(len(ends)):
        end = ends[m]
        low, high = points[start, 2], points[start, 2]
        for i in range(start, end):
            low, high = min(low, points[i, 2]), max(high, points[i, 2])
        n_pieces, n_corners = 1, end - start
        if high - low > LEVEL:
            n_pieces, n_corners = max(1, math.ceil(abs(points[end - 1, 2] - points[start, 2]) / SLOPE_STEP)), 2
        for piece in range(n_pieces):
            z = low
            if high - low <= LEVEL:
                for i in range(n_corners):
                    q[i, 0], q[i, 1] = points[start + i, 0], points[start + i, 1]
            else:
                z = math.inf
                for i in range(2):
                    t = (piece + i) / n_pieces
                    q[i, 0] = points[start, 0] + (points[end - 1, 0] - points[start, 0]) * t
                    q[i, 1] = points[start, 1] + (points[end - 1, 1] - points[start, 1]) * t
                    z = min(z, points[start, 2] + (points[end - 1, 2] - points[start, 2]) * t)
            top = _highest(
                q[:n_corners], around, z + rise, R_WG, p_WG, vertices, faces, boxes, first, count,
                stack, tops, corners, sides,
            )  # fmt: skip
            rise = max(rise, top - z)
        start = end
    return rise


@kernel
def _highest(
    q: Array, ring: Array, at_least: float, R_WG: Array, p_WG: Array,
    vertices: Array, faces: Ints, boxes: Array, first: Ints, count: Ints,
    stack: Ints, tops: Array, corners: Array, sides: Array,
) -> float:  # fmt: skip
    """The greatest height of the body over the convex set q (k, 2) plus the ring, or `at_least`."""
    best = at_least
    reach = math.sqrt(ring[0, 0] * ring[0, 0] + ring[0, 1] * ring[0, 1]) + 2.0 * SLACK
    n_sides = 0  # the region is worked out when the first triangle needs it
    stack[0], tops[0] = 0, _top_near(0, q, reach, R_WG, p_WG, boxes)
    n_waiting = 1
    while n_waiting > 0:
        n_waiting -= 1
        node = stack[n_waiting]
        if tops[n_waiting] <= best:
            continue
        start = first[node]
        if count[node] == 0:
            top = _top_near(start, q, reach, R_WG, p_WG, boxes)
            other = _top_near(start + 1, q, reach, R_WG, p_WG, boxes)
            is_first_higher = top >= other
            stack[n_waiting], tops[n_waiting] = start + is_first_higher, min(top, other)
            stack[n_waiting + 1], tops[n_waiting + 1] = start + (not is_first_higher), max(top, other)
            n_waiting += 2
            continue
        for row in range(start, start + count[node]):
            ax, ay, az = _in_W(R_WG, p_WG, vertices, faces[row, 0])
            bx, by, bz = _in_W(R_WG, p_WG, vertices, faces[row, 1])
            cx, cy, cz = _in_W(R_WG, p_WG, vertices, faces[row, 2])
            if max(az, bz, cz) > best:
                if n_sides == 0:
                    n_sides = _region(q, ring, corners, sides)
                best = _edge_top(ax, ay, az, bx, by, bz, sides, n_sides, best)
                best = _edge_top(bx, by, bz, cx, cy, cz, sides, n_sides, best)
                best = _edge_top(cx, cy, cz, ax, ay, az, sides, n_sides, best)
                best = _face_top(ax, ay, az, bx, by, bz, cx, cy, cz, corners, 2 * n_sides, best)
    return best


@kernel
def _in_W(R_WG: Array, p_WG: Array, vertices: Array, i: int) -> tuple[float, float, float]:
    x, y, z = vertices[i, 0], vertices[i, 1], vertices[i, 2]
    return (
        x * R_WG[0, 0] + y * R_WG[0, 1] + z * R_WG[0, 2] + p_WG[0],
        x * R_WG[1, 0] + y * R_WG[1, 1] + z * R_WG[1, 2] + p_WG[1],
        x * R_WG[2, 0] + y * R_WG[2, 1] + z * R_WG[2, 2] + p_WG[2],
    )


@kernel
def _top_near(node: int, q: Array, reach: float, R_WG: Array, p_WG: Array, boxes: Array) -> float:
    """The height that a node does not exceed; minus infinity where it is farther than `reach` from q (k, 2)."""
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
    if _is_apart(wx, wy, ex + reach, ey + reach, math.sqrt(ex * ex + ey * ey) + reach, q):
        return -math.inf
    return wz + ez


@kernel
def _is_apart(x: float, y: float, wide: float, high: float, radius: float, q: Array) -> bool:
    """Whether q (k, 2) keeps off a rectangle about (x, y), or a circle about it."""
    left, right, below, above = math.inf, -math.inf, math.inf, -math.inf
    for i in range(len(q)):
        left, right = min(left, q[i, 0]), max(right, q[i, 0])
        below, above = min(below, q[i, 1]), max(above, q[i, 1])
    if x + wide < left or x - wide > right or y + high < below or y - high > above:
        return True
    nearest = math.inf
    is_inside = False
    for i in range(len(q)):
        j = i + 1 if i + 1 < len(q) else 0
        ux, uy = q[j, 0] - q[i, 0], q[j, 1] - q[i, 1]
        vx, vy = x - q[i, 0], y - q[i, 1]
        if (q[i, 1] > y) != (q[j, 1] > y) and vx < vy / uy * ux:
            is_inside = not is_inside
        length2 = ux * ux + uy * uy
        t = min(1.0, max(0.0, (vx * ux + vy * uy) / length2)) if length2 > 0.0 else 0.0
        dx, dy = vx - t * ux, vy - t * uy
        nearest = min(nearest, dx * dx + dy * dy)
    return not is_inside and nearest > radius * radius


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
        m = _add_side(ring, i, j, q, corners, sides, m)
    for i in range(len(q)):
        j = i + 1 if i + 1 < len(q) else 0
        m = _add_side(q, i, j, ring, corners, sides, m)
    return m


@kernel
def _add_side(polygon: Array, i: int, j: int, other: Array, corners: Array, sides: Array, m: int) -> int:
    """Side m of the sum of two polygons: the side i-j of the one at the corner of the other that is farthest out."""
    x, y = polygon[i, 1] - polygon[j, 1], polygon[j, 0] - polygon[i, 0]  # inwards
    length = math.sqrt(x * x + y * y)
    if length <= TINY:
        return m
    x, y = x / length, y / length
    far = _farthest(other, -x, -y)
    own = _farthest(polygon, -x, -y)  # one of the side's ends, unless the side is shorter than rounding lets it turn
    sides[m, 0], sides[m, 1] = x, y
    sides[m, 2] = x * (polygon[own, 0] + other[far, 0]) + y * (polygon[own, 1] + other[far, 1]) - SLACK
    corners[2 * m, 0], corners[2 * m, 1] = polygon[i, 0] + other[far, 0], polygon[i, 1] + other[far, 1]
    corners[2 * m + 1, 0], corners[2 * m + 1, 1] = polygon[j, 0] + other[far, 0], polygon[j, 1] + other[far, 1]
    return m + 1


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
def _edge_top(
    px: float, py: float, pz: float, qx: float, qy: float, qz: float, sides: Array, n: int, best: float
) -> float:
    """The greatest height of the segment p-q over the region, or `best`."""
    if max(pz, qz) <= best:
        return best
    enters, leaves = 0.0, 1.0
    for i in range(n):
        in_p = px * sides[i, 0] + py * sides[i, 1] - sides[i, 2]
        in_q = qx * sides[i, 0] + qy * sides[i, 1] - sides[i, 2]
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
def _face_top(
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, cx: float, cy: float, cz: float,
    corners: Array, n: int, best: float,
) -> float:  # fmt: skip
    """The greatest height of the triangle a-b-c over the corners of the region, or `best`."""
    if max(az, bz, cz) <= best:
        return best
    left, right = min(ax, bx, cx), max(ax, bx, cx)
    below, above = min(ay, by, cy), max(ay, by, cy)
    ux, uy, vx, vy = bx - ax, by - ay, cx - ax, cy - ay
    area = ux * vy - uy * vx
    if abs(area) <= TINY:  # seen from above it is a line: its edges say it all
        return best
    for i in range(n):
        if left <= corners[i, 0] <= right and below <= corners[i, 1] <= above:
            wx, wy = corners[i, 0] - ax, corners[i, 1] - ay
            b, c = (wx * vy - wy * vx) / area, (wy * ux - wx * uy) / area
            if b >= 0.0 and c >= 0.0 and b + c <= 1.0:
                best = max(best, az + b * (bz - az) + c * (cz - az))
    return best


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    corners, R = np.eye(3), frozen(np.eye(3))
    tree = triangle_tree(Triangles(corners, np.array([[0, 1, 2]], dtype=np.int32)))
    ring, ends = frozen([[1.0, -1.0], [1.0, 1.0], [-1.0, 0.0]]), np.array([3], dtype=np.int32)
    rise_over_sweep(corners, ends, ring, 0.0, R, R[0], tree.vertices, tree.faces, tree.boxes, tree.first, tree.count)
