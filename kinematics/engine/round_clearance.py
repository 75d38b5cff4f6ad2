"""Clearance of a round part over a whole move against one body: exact, by two trees at once.

1. The part is convex profiles of revolution (`chains.py`), the move convex position sets (`position_sets.py`),
   the body triangles in its own frame (`triangle_tree.py`), posed, never rebuilt.
2. A pair of a stretch of the move and a box of the body is bounded in (r, z); the pair that can't come nearer
   than what was found is never opened. A pair of one set and one triangle is exact (`exact_leaf.py`).
3. A capped query answers "is it at least cap?": it stops opening as soon as nothing can come nearer.
4. A solid may be wholly inside another with no surface touched: `may_be_inside` says where that must be
   asked, `is_way_up_free` answers most of it: what can leave straight up without touching is outside.
5. What this file does not know: set-up errors, verdicts.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.chains import Chains
from kinematics.engine.compiled import kernel
from kinematics.engine.exact_leaf import triangle_least
from kinematics.engine.position_sets import Ints, PositionSets
from kinematics.engine.triangle_tree import MOST_DEPTH, TriangleTree
from kinematics.pose import Array, Pose, Vector

Ints32 = NDArray[np.int32]
DEEPEST = 2 * MOST_DEPTH + 64  # pairs that can be open at once, below each other in the two trees
UPRIGHT = 1e-9  # mm; how near a line may pass an edge before it counts as touching it


class Least(NamedTuple):
    """The least distance over a move: 0 on contact, infinite where it is not below the cap.

    `p` is the point of the body's triangle, `q` the tip position of the set (before it rises), both in W;
    `chain`, `face` and `set_index` are their numbers in the part, in the body's own list and in the move.
    """

    distance: float
    p: Vector
    q: Vector
    chain: int
    face: int
    set_index: int


def least(
    part: Chains, move: PositionSets, down: float, tree: TriangleTree, X_WG: Pose, cap: float = math.inf
) -> Least:
    """The least distance of a part over a move to a body posed at X_WG; `down`: the stick-out may be longer so much."""
    d, chain, face, i, px, py, pz, qx, qy, qz = least_search(
        part.profile, part.ranges, move.points, move.starts, move.up, move.ball, move.first, down,
        tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, X_WG.R_AB, X_WG.p_AB, cap,
    )  # fmt: skip
    if face < 0:
        return Least(math.inf, (px, py, pz), (qx, qy, qz), -1, -1, -1)
    return Least(d, (px, py, pz), (qx, qy, qz), chain, int(tree.order[face]), i)


@kernel
def profile_bound(
    profile: Array, first: int, last: int, split: int, down: float, up: float, rho: float, low: float, high: float
) -> float:
    """A lower bound of the distance from all (r >= rho, low <= z <= high) to a profile; 0 where they may meet."""
    z_low, z_high = profile[first, 1] - down, profile[last, 1] + up
    dz = max(0.0, z_low - high, low - z_high)
    dr = max(0.0, rho - profile[split, 0])
    best = math.sqrt(dr * dr + dz * dz)
    ar, az = profile[first, 0], z_low
    for j in range(first + 1, last + 1):
        br, bz = profile[j, 0], profile[j, 1] + (up if j > split else -down)
        nr, nz = bz - az, ar - br  # outwards, square to this side of the profile
        if nz != 0.0:
            length = math.sqrt(nr * nr + nz * nz)
            off = (nr * (rho - ar) + nz * ((low if nz > 0.0 else high) - az)) / length
            best = max(best, off)
        ar, az = br, bz
    return best


@kernel
def part_bound(profile: Array, ranges: Ints, down: float, up: float, rho: float, low: float, high: float) -> float:
    """The same for all chains of a part."""
    best = math.inf
    for k in range(len(ranges)):
        d = profile_bound(profile, ranges[k, 0], ranges[k, 1], ranges[k, 2], down, up, rho, low, high)
        best = min(best, d)
    return best


@kernel
def rho_to_set(points: Array, q0: int, q1: int, cx: float, cy: float, hx: float, hy: float) -> float:
    """A lower bound of the level distance from a box (centre c, half sizes h) to a position set."""
    x0, x1, y0, y1 = points[q0, 0], points[q0, 0], points[q0, 1], points[q0, 1]
    for j in range(q0 + 1, q1):
        x0, x1 = min(x0, points[j, 0]), max(x1, points[j, 0])
        y0, y1 = min(y0, points[j, 1]), max(y1, points[j, 1])
    dx = max(0.0, x0 - cx - hx, cx - hx - x1)
    dy = max(0.0, y0 - cy - hy, cy - hy - y1)
    box = math.sqrt(dx * dx + dy * dy)
    if q1 - q0 == 1:
        return box
    best, is_in = math.inf, q1 - q0 > 2
    for j in range(q0, q1 if q1 - q0 > 2 else q0 + 1):
        k = j + 1 if j + 1 < q1 else q0
        ex, ey = points[k, 0] - points[j, 0], points[k, 1] - points[j, 1]
        ax, ay = cx - points[j, 0], cy - points[j, 1]
        if ex * ay - ey * ax < 0.0:
            is_in = False
        length2 = ex * ex + ey * ey
        t = min(1.0, max(0.0, (ax * ex + ay * ey) / length2)) if length2 > 0.0 else 0.0
        fx, fy = ax - t * ex, ay - t * ey
        best = min(best, fx * fx + fy * fy)
    ball = 0.0 if is_in else math.sqrt(best) - math.sqrt(hx * hx + hy * hy)
    return max(box, ball)


@kernel
def _pair_bound(
    profile: Array, ranges: Ints, down: float, points: Array, starts: Ints, up: Array, ball: Array, stretches: Ints,
    stretch: int, cx: float, cy: float, cz: float, hx: float, hy: float, hz: float,
) -> float:  # fmt: skip
    """A lower bound of the distance between a stretch of the move and a box with centre c and half sizes h."""
    if stretches[stretch] < 0:
        i = -1 - stretches[stretch]
        q0, q1 = starts[i], starts[i + 1]
        z0, z1 = points[q0, 2], points[q0, 2]
        for j in range(q0 + 1, q1):
            z0, z1 = min(z0, points[j, 2]), max(z1, points[j, 2])
        rho = rho_to_set(points, q0, q1, cx, cy, hx, hy)
        return part_bound(profile, ranges, down, up[i], rho, cz - hz - z1, cz + hz - z0)
    dx = max(0.0, abs(cx - ball[stretch, 0]) - hx)
    dy = max(0.0, abs(cy - ball[stretch, 1]) - hy)
    z = cz - ball[stretch, 2]
    rho = math.sqrt(dx * dx + dy * dy)
    return part_bound(profile, ranges, down, ball[stretch, 4], rho, z - hz, z + hz) - ball[stretch, 3]


@kernel
def box_in_W(boxes: Array, node: int, R: Array, p: Array) -> tuple[float, float, float, float, float, float]:
    """Centre and half sizes in W of the upright box around a node's posed box."""
    x, y, z = (
        0.5 * (boxes[node, 0] + boxes[node, 3]),
        0.5 * (boxes[node, 1] + boxes[node, 4]),
        0.5 * (boxes[node, 2] + boxes[node, 5]),
    )
    u, v, w = (
        0.5 * (boxes[node, 3] - boxes[node, 0]),
        0.5 * (boxes[node, 4] - boxes[node, 1]),
        0.5 * (boxes[node, 5] - boxes[node, 2]),
    )
    return (
        R[0, 0] * x + R[0, 1] * y + R[0, 2] * z + p[0],
        R[1, 0] * x + R[1, 1] * y + R[1, 2] * z + p[1],
        R[2, 0] * x + R[2, 1] * y + R[2, 2] * z + p[2],
        abs(R[0, 0]) * u + abs(R[0, 1]) * v + abs(R[0, 2]) * w,
        abs(R[1, 0]) * u + abs(R[1, 1]) * v + abs(R[1, 2]) * w,
        abs(R[2, 0]) * u + abs(R[2, 1]) * v + abs(R[2, 2]) * w,
    )


@kernel
def corners_in_W(vertices: Array, faces: Ints32, face: int, R: Array, p: Array, triangle: Array) -> None:
    """The corners of a triangle in W, into `triangle` (3, 3)."""
    for k in range(3):
        v = faces[face, k]
        for a in range(3):
            triangle[k, a] = R[a, 0] * vertices[v, 0] + R[a, 1] * vertices[v, 1] + R[a, 2] * vertices[v, 2] + p[a]


@kernel
def _extent(triangle: Array, axis: int) -> tuple[float, float]:
    a, b, c = triangle[0, axis], triangle[1, axis], triangle[2, axis]
    return min(a, b, c), max(a, b, c)


@kernel
def least_search(
    profile: Array, ranges: Ints,
    points: Array, starts: Ints, up: Array, ball: Array, stretches: Ints, down: float,
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R: Array, p: Array,
    cap: float,
) -> tuple[float, int, int, int, float, float, float, float, float, float]:  # fmt: skip
    best = cap
    chain, face, index = -1, -1, -1
    px = py = pz = qx = qy = qz = 0.0
    open_stretch = np.zeros(DEEPEST, dtype=np.int64)
    open_node = np.zeros(DEEPEST, dtype=np.int64)
    open_bound = np.zeros(DEEPEST)
    triangle = np.zeros((3, 3))
    n = 1
    while n > 0:
        n -= 1
        if open_bound[n] >= best:
            continue
        s, node = open_stretch[n], open_node[n]
        is_set = stretches[s] < 0
        is_leaf = count[node] > 0
        if is_set and is_leaf:
            i = -1 - stretches[s]
            q0, q1 = starts[i], starts[i + 1]
            z0, z1 = points[q0, 2], points[q0, 2]
            for j in range(q0 + 1, q1):
                z0, z1 = min(z0, points[j, 2]), max(z1, points[j, 2])
            for f in range(first[node], first[node] + count[node]):
                corners_in_W(vertices, faces, f, R, p, triangle)
                lx, hx = _extent(triangle, 0)
                ly, hy = _extent(triangle, 1)
                lz, hz = _extent(triangle, 2)
                rho = rho_to_set(
                    points, q0, q1, 0.5 * (lx + hx), 0.5 * (ly + hy), 0.5 * (hx - lx), 0.5 * (hy - ly)
                )  # fmt: skip
                for k in range(len(ranges)):
                    bound = profile_bound(
                        profile, ranges[k, 0], ranges[k, 1], ranges[k, 2], down, up[i], rho, lz - z1, hz - z0
                    )  # fmt: skip
                    if bound >= best:
                        continue
                    d, ax, ay, az, bx, by, bz = triangle_least(
                        profile, ranges[k, 0], ranges[k, 1], ranges[k, 2], down, up[i],
                        triangle, points, q0, q1, best,
                    )  # fmt: skip
                    if d < best:
                        best, chain, face, index = d, k, f, i
                        px, py, pz, qx, qy, qz = ax, ay, az, bx, by, bz
            if best <= 0.0:
                return best, chain, face, index, px, py, pz, qx, qy, qz
            continue
        # open the larger of the two
        radius = 0.0 if is_set else ball[s, 3]
        du, dv, dw = boxes[node, 3] - boxes[node, 0], boxes[node, 4] - boxes[node, 1], boxes[node, 5] - boxes[node, 2]
        opens_node = is_set or (not is_leaf and 0.5 * math.sqrt(du * du + dv * dv + dw * dw) >= radius)
        a = first[node] if opens_node else stretches[s]
        sa, sb = (s, s) if opens_node else (a, a + 1)
        na, nb = (a, a + 1) if opens_node else (node, node)
        cx, cy, cz, hx, hy, hz = box_in_W(boxes, na, R, p)
        bound_a = _pair_bound(
            profile, ranges, down, points, starts, up, ball, stretches, sa, cx, cy, cz, hx, hy, hz
        )  # fmt: skip
        if opens_node:
            cx, cy, cz, hx, hy, hz = box_in_W(boxes, nb, R, p)
        bound_b = _pair_bound(
            profile, ranges, down, points, starts, up, ball, stretches, sb, cx, cy, cz, hx, hy, hz
        )  # fmt: skip
        if bound_a > bound_b:  # the nearer one goes on top
            if bound_a < best:
                open_stretch[n], open_node[n], open_bound[n] = sa, na, bound_a
                n += 1
            if bound_b < best:
                open_stretch[n], open_node[n], open_bound[n] = sb, nb, bound_b
                n += 1
        else:
            if bound_b < best:
                open_stretch[n], open_node[n], open_bound[n] = sb, nb, bound_b
                n += 1
            if bound_a < best:
                open_stretch[n], open_node[n], open_bound[n] = sa, na, bound_a
                n += 1
    return best, chain, face, index, px, py, pz, qx, qy, qz


@kernel
def crude_bounds(
    profile: Array, ranges: Ints, part_starts: Ints,
    points: Array, starts: Ints, up: Array, ball: Array, stretches: Ints, down: float,
    root_boxes: Array, Rs: Array, ps: Array, bounds: Array,
) -> None:  # fmt: skip
    """Lower bounds (n_parts, n_bodies) by the box around each body and a few dozen stretches of the move."""
    n_front = min(len(stretches), 64)
    for b in range(len(root_boxes)):
        cx, cy, cz, hx, hy, hz = box_in_W(root_boxes, b, Rs[b], ps[b])
        for k in range(len(part_starts) - 1):
            best = math.inf
            own = ranges[part_starts[k] : part_starts[k + 1]]
            for s in range(n_front):
                if 0 <= stretches[s] < n_front - 1:
                    continue  # its halves are looked at
                d = _pair_bound(profile, own, down, points, starts, up, ball, stretches, s, cx, cy, cz, hx, hy, hz)
                best = min(best, d)
            bounds[k, b] = best


@kernel
def point_least(
    profile: Array, ranges: Ints, down: float, up: float, x: float, y: float, z: float,
    points: Array, q0: int, q1: int,
) -> tuple[float, int, float, float, float]:  # fmt: skip
    """The least distance of a part over one position set to a point; the chain and the tip position."""
    triangle = np.zeros((3, 3))
    for k in range(3):
        triangle[k, 0], triangle[k, 1], triangle[k, 2] = x, y, z
    best, chain, qx, qy, qz = math.inf, 0, points[q0, 0], points[q0, 1], points[q0, 2]
    for k in range(len(ranges)):
        d, _, _, _, ax, ay, az = triangle_least(
            profile, ranges[k, 0], ranges[k, 1], ranges[k, 2], down, up, triangle, points, q0, q1, best
        )
        if d < best:
            best, chain, qx, qy, qz = d, k, ax, ay, az
    return best, chain, qx, qy, qz


@kernel
def is_way_up_free(
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R: Array, p: Array,
    x: float, y: float, z: float,
) -> bool:  # fmt: skip
    """Whether the straight way up from (x, y, z) in W comes within UPRIGHT of no triangle of the body."""
    open_node = np.zeros(DEEPEST, dtype=np.int64)
    triangle = np.zeros((3, 3))
    n = 1
    while n > 0:
        n -= 1
        node = open_node[n]
        cx, cy, cz, hx, hy, hz = box_in_W(boxes, node, R, p)
        slack = UPRIGHT + 1e-12 * (abs(cx) + abs(cy) + hx + hy)
        if abs(cx - x) > hx + slack or abs(cy - y) > hy + slack or cz + hz < z - slack:
            continue
        if count[node] == 0:
            open_node[n], open_node[n + 1] = first[node], first[node] + 1
            n += 2
            continue
        for f in range(first[node], first[node] + count[node]):
            corners_in_W(vertices, faces, f, R, p, triangle)
            if max(triangle[0, 2], triangle[1, 2], triangle[2, 2]) >= z - slack and _covers(triangle, x, y, slack):
                return False
    return True


@kernel
def _covers(triangle: Array, x: float, y: float, slack: float) -> bool:
    """Whether (x, y) is in the triangle seen from above, or within `slack` of it."""
    ax, ay = triangle[0, 0] - x, triangle[0, 1] - y
    bx, by = triangle[1, 0] - x, triangle[1, 1] - y
    cx, cy = triangle[2, 0] - x, triangle[2, 1] - y
    ab, bc, ca = ax * by - ay * bx, bx * cy - by * cx, cx * ay - cy * ax
    is_one_sided = (ab >= 0.0 and bc >= 0.0 and ca >= 0.0) or (ab <= 0.0 and bc <= 0.0 and ca <= 0.0)
    if is_one_sided and ab + bc + ca != 0.0:
        return True
    for k in range(3):  # on an edge, or a triangle that stands upright
        m = k + 1 if k < 2 else 0
        px, py = triangle[k, 0] - x, triangle[k, 1] - y
        ex, ey = triangle[m, 0] - triangle[k, 0], triangle[m, 1] - triangle[k, 1]
        length2 = ex * ex + ey * ey
        t = min(1.0, max(0.0, -(px * ex + py * ey) / length2)) if length2 > 0.0 else 0.0
        if (px + t * ex) ** 2 + (py + t * ey) ** 2 <= slack * slack:
            return True
    return False


@kernel
def boxes_in_W(boxes: Array, Rs: Array, ps: Array) -> tuple[Array, Array]:
    """Centres (n, 3) and half sizes (n, 3) in W of the upright boxes around posed boxes (n, 6)."""
    centres, halves = np.zeros((len(boxes), 3)), np.zeros((len(boxes), 3))
    for b in range(len(boxes)):
        x, y, z, u, v, w = box_in_W(boxes, b, Rs[b], ps[b])
        centres[b, 0], centres[b, 1], centres[b, 2] = x, y, z
        halves[b, 0], halves[b, 1], halves[b, 2] = u, v, w
    return centres, halves


def farthest_from_line(tree: TriangleTree, p_G: Array, axis_G: Vector) -> float:
    """The largest distance of a body from the line through p_G along the unit direction axis_G, mm."""
    axis = np.asarray(axis_G, dtype=np.float64)
    return _farthest(tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, p_G, axis)


@kernel
def _farthest(vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, p: Array, a: Array) -> float:
    open_node = np.zeros(DEEPEST, dtype=np.int64)
    best = 0.0
    n = 1
    while n > 0:
        n -= 1
        node = open_node[n]
        if count[node] == 0:
            bounds = (_box_from_line(boxes, first[node], p, a), _box_from_line(boxes, first[node] + 1, p, a))
            near, far = (0, 1) if bounds[0] < bounds[1] else (1, 0)
            for k in (near, far):  # the farther one goes on top
                if bounds[k] > best:
                    open_node[n] = first[node] + k
                    n += 1
            continue
        for f in range(first[node], first[node] + count[node]):
            for k in range(3):
                v = faces[f, k]
                x, y, z = vertices[v, 0] - p[0], vertices[v, 1] - p[1], vertices[v, 2] - p[2]
                along = x * a[0] + y * a[1] + z * a[2]
                best = max(best, math.sqrt(max(0.0, x * x + y * y + z * z - along * along)))
    return best


@kernel
def _box_from_line(boxes: Array, node: int, p: Array, a: Array) -> float:
    """The largest distance of a box's corners from a line."""
    best = 0.0
    for k in range(8):
        x = boxes[node, 0 if k & 1 else 3] - p[0]
        y = boxes[node, 1 if k & 2 else 4] - p[1]
        z = boxes[node, 2 if k & 4 else 5] - p[2]
        along = x * a[0] + y * a[1] + z * a[2]
        best = max(best, x * x + y * y + z * z - along * along)
    return math.sqrt(best)
