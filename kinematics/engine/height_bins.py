"""What a round tool sees of a body from its own axis: the least radius in every bin of height, proven and attained.

1. Seen from the tip, a body that is met at all tip positions Q is the body moved by -Q. Only the least radius
   rho at each height z matters to a solid of revolution that is filled to the axis.
2. Over level positions the section of a triangle at a height is a segment, and rho is its level distance from
   Q. Over a slope the triangle sweeps a prism: its faces are triangles seen from a point.
3. rho is convex over the heights of one triangle: it is known between two heights from what it is at them,
   except around its least value, where the piece of the triangle between the two heights is measured itself.
4. A bin holds a radius that is attained in it; everything in the bin is no nearer to the axis than that less
   `slack`. The bins below and above the range hold all that is lower or higher.
5. Near boxes of the tree come first; a box that is covered by the bins as they are is never opened.
6. What this file does not know: profiles of tools, lifts, errors.

Source of 1: O. Ilushin, G. Elber, D. Halperin, R. Wein, M.-S. Kim, "Precise global collision detection in
multi-axis NC-machining", Computer-Aided Design 37 (2005).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.engine.position_sets import Ints, PositionSets
from kinematics.engine.round_clearance import DEEPEST, box_in_W, corners_in_W, rho_to_set
from kinematics.engine.sweep import LEVEL
from kinematics.engine.triangle_tree import TriangleTree
from kinematics.pose import Array, Pose

Ints32 = NDArray[np.int32]
BLOCK = 64  # bins whose largest radius is kept, so that a tall box is soon known to be covered
ON = 1e-12  # of its size; how near a line may pass a triangle's edge and still meet it
NO_AREA = 1e-9  # mm2; a point is in no narrower polygon than this by its length
THIN = 0.01  # share of a bin; what sticks into a bin by less tells nothing of the slope


@dataclass(frozen=True, slots=True, eq=False)
class HeightBins:
    """Bins 1..n of height `step` from `low` on; bin 0 is all below, bin n + 1 all above. Heights over the tip, mm.

    Parameters
    ----------
    rho : (n + 2,), the least radius; infinite where there is nothing. `slack`: see above.
    height : (n + 2,), where in the bin it is attained.
    face, set_index : (n + 2,), row of the tree's `faces` and position set that attain it; -1 without.
    """

    low: float
    step: float
    slack: float
    rho: Array
    height: Array
    face: Ints32
    set_index: Ints32


def height_bins(low: float, high: float, step: float, slack: float) -> HeightBins:
    """Empty bins over the heights from low to high."""
    n = max(1, math.ceil((high - low) / step)) + 2
    none = np.full(n, -1, dtype=np.int32)
    return HeightBins(low, step, slack, np.full(n, math.inf), np.zeros(n), none, none.copy())


def add_body(bins: HeightBins, tree: TriangleTree, X_WG: Pose, move: PositionSets) -> None:
    """Put the surface of a body, met from all positions of a move, into the bins."""
    _add_body(
        bins.low, bins.step, bins.slack, bins.rho, bins.height, bins.face, bins.set_index,
        tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, X_WG.R_AB, X_WG.p_AB,
        move.points, move.starts, move.ball, move.first,
    )  # fmt: skip


def add_inside(bins: HeightBins, low: float, high: float, face: int, set_index: int) -> None:
    """Put a stretch of the axis that lies inside a solid into the bins."""
    _add_axis(bins.low, bins.step, bins.rho, bins.height, bins.face, bins.set_index, low, high, face, set_index)


def crossings(tree: TriangleTree, X_WG: Pose, x: float, y: float) -> tuple[Array, Ints, Ints]:
    """Where the upright line at (x, y) in W crosses a body: heights in W, +1 upwards out of it or -1, rows of `faces`.

    Of a surface that is closed, the signs add up to 0: a line through an edge crosses just one of its triangles.
    """
    found = np.zeros((64, 3))
    while True:
        n = _crossings(
            tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, X_WG.R_AB, X_WG.p_AB, x, y, found
        )  # fmt: skip
        if n <= len(found):
            break
        found = np.zeros((n, 3))
    found = found[:n]
    order = np.argsort(found[:, 0], kind="stable")
    return found[order, 0], found[order, 1].astype(np.int64), found[order, 2].astype(np.int64)


@kernel
def segment_to_set(ax: float, ay: float, bx: float, by: float, points: Array, q0: int, q1: int) -> tuple[float, float]:
    """Level distance from the segment a-b to the convex set of rows q0..q1-1, and where on a-b (0 to 1) it is."""
    dx, dy = bx - ax, by - ay
    length2 = dx * dx + dy * dy
    if q1 - q0 == 1:
        ux, uy = points[q0, 0] - ax, points[q0, 1] - ay
        t = min(1.0, max(0.0, (ux * dx + uy * dy) / length2)) if length2 > 0.0 else 0.0
        ux, uy = ux - t * dx, uy - t * dy
        return math.sqrt(ux * ux + uy * uy), t
    best, at = math.inf, 0.0
    is_in, inmost = q1 - q0 > 2, 0.0
    for j in range(q0, q1 if q1 - q0 > 2 else q0 + 1):
        k = j + 1 if j + 1 < q1 else q0
        px, py = points[j, 0], points[j, 1]
        ex, ey = points[k, 0] - px, points[k, 1] - py
        oa, ob = ex * (ay - py) - ey * (ax - px), ex * (by - py) - ey * (bx - px)
        op, oq = dx * (py - ay) - dy * (px - ax), dx * (py + ey - ay) - dy * (px + ex - ax)
        if oa < 0.0:
            is_in = False
        inmost = max(inmost, oa)
        if oa * ob < 0.0 and op * oq < 0.0:
            return 0.0, oa / (oa - ob)
        e2 = ex * ex + ey * ey
        # the ends of the segment against this side, then the corners against the segment
        for end in range(2):
            t = float(end)
            ux, uy = ax + t * dx - px, ay + t * dy - py
            s = min(1.0, max(0.0, (ux * ex + uy * ey) / e2)) if e2 > 0.0 else 0.0
            ux, uy = ux - s * ex, uy - s * ey
            d2 = ux * ux + uy * uy
            if d2 < best:
                best, at = d2, t
        for s in range(1 if q1 - q0 > 2 else 2):
            ux, uy = px + s * ex - ax, py + s * ey - ay
            t = min(1.0, max(0.0, (ux * dx + uy * dy) / length2)) if length2 > 0.0 else 0.0
            ux, uy = ux - t * dx, uy - t * dy
            d2 = ux * ux + uy * uy
            if d2 < best:
                best, at = d2, t
    if is_in and inmost > NO_AREA:  # of a polygon without area its sides are all
        return 0.0, 0.0
    return math.sqrt(best), at


@kernel
def _section(t: Array, z: float) -> tuple[float, float, float, float]:
    """Ends of the section of a triangle, corners sorted by height, at a height between its lowest and highest."""
    share = min(1.0, max(0.0, (z - t[0, 2]) / (t[2, 2] - t[0, 2]))) if t[2, 2] > t[0, 2] else 0.0
    ax, ay = t[0, 0] + share * (t[2, 0] - t[0, 0]), t[0, 1] + share * (t[2, 1] - t[0, 1])
    k = 0 if z < t[1, 2] else 1
    rise = t[k + 1, 2] - t[k, 2]
    share = min(1.0, max(0.0, (z - t[k, 2]) / rise)) if rise > 0.0 else 0.0
    return ax, ay, t[k, 0] + share * (t[k + 1, 0] - t[k, 0]), t[k, 1] + share * (t[k + 1, 1] - t[k, 1])


@kernel
def _polygon_least(corners: Array, n: int, points: Array, q0: int, q1: int) -> tuple[float, float]:
    """Level distance from a convex polygon (n corners in order, rows x, y, z) to a set, and the height there."""
    best, z = math.inf, corners[0, 2]
    qx, qy = points[q0, 0], points[q0, 1]
    most, least = -math.inf, math.inf
    for i in range(n):
        k = i + 1 if i + 1 < n else 0
        d, t = segment_to_set(corners[i, 0], corners[i, 1], corners[k, 0], corners[k, 1], points, q0, q1)
        if d < best:
            best, z = d, corners[i, 2] + t * (corners[k, 2] - corners[i, 2])
        side = (corners[k, 0] - corners[i, 0]) * (qy - corners[i, 1]) - (corners[k, 1] - corners[i, 1]) * (
            qx - corners[i, 0]
        )
        most, least = max(most, side), min(least, side)
    if best > 0.0 and (least >= 0.0 or most <= 0.0):
        for i in range(1, n - 1):  # the set lies over the polygon: how high is the polygon there
            ux, uy = corners[i, 0] - corners[0, 0], corners[i, 1] - corners[0, 1]
            vx, vy = corners[i + 1, 0] - corners[0, 0], corners[i + 1, 1] - corners[0, 1]
            wx, wy = qx - corners[0, 0], qy - corners[0, 1]
            det = ux * vy - uy * vx
            if det == 0.0:
                continue
            a, b = (wx * vy - wy * vx) / det, (ux * wy - uy * wx) / det
            if a >= 0.0 and b >= 0.0 and a + b <= 1.0:
                z = corners[0, 2] + a * (corners[i, 2] - corners[0, 2]) + b * (corners[i + 1, 2] - corners[0, 2])
                return 0.0, z
    return best, z


@kernel
def _bin_of(low: float, step: float, n: int, z: float) -> int:
    """The bin of a height, of n bins with those below and above the range."""
    if z < low:
        return 0
    return min(n - 1, 1 + int(min((z - low) / step, 1e9)))


@kernel
def _put(
    rho: Array, height: Array, face_of: Ints32, set_of: Ints32, stale: NDArray[np.bool_],
    k: int, r: float, z: float, face: int, i: int,
) -> None:  # fmt: skip
    if r < rho[k]:
        rho[k], height[k], face_of[k], set_of[k] = r, z, face, i
        stale[k // BLOCK] = True


@kernel
def _add_triangle(
    low: float, step: float, slack: float, rho: Array, height: Array, face_of: Ints32, set_of: Ints32,
    stale: NDArray[np.bool_], t: Array, points: Array, q0: int, q1: int, rho_low: float, face: int, i: int,
    at: Array, corners: Array,
) -> None:  # fmt: skip
    """One triangle seen from one level position set at height 0. `t` is sorted here; `at`, `corners` are scratch."""
    n = len(rho)
    for c in range(3):
        a = c % 2  # rows 0 and 1, 1 and 2, 0 and 1
        if t[a + 1, 2] < t[a, 2]:
            for k in range(3):
                t[a, k], t[a + 1, k] = t[a + 1, k], t[a, k]
    k0, k1 = _bin_of(low, step, n, t[0, 2]), _bin_of(low, step, n, t[2, 2])
    while k0 <= k1 and rho[k0] - slack <= rho_low:
        k0 += 1
    while k0 <= k1 and rho[k1] - slack <= rho_low:
        k1 -= 1
    if k0 > k1:
        return
    bottom = t[0, 2] if k0 == 0 else max(t[0, 2], low + (k0 - 1) * step)
    top = t[2, 2] if k1 == n - 1 else min(t[2, 2], low + k1 * step)
    bottom, top = min(bottom, t[2, 2]), max(top, t[0, 2])
    n_parts = k1 - k0 + 1
    least = 0
    if n_parts > 1:
        for j in range(n_parts + 1):
            z = bottom if j == 0 else top if j == n_parts else low + (k0 + j - 1) * step
            ax, ay, bx, by = _section(t, z)
            at[j], _ = segment_to_set(ax, ay, bx, by, points, q0, q1)
            if at[j] < at[least]:
                least = j
    beside = 1
    if n_parts > 1 and (low + k0 * step - bottom < THIN * step or top - (low + (k1 - 1) * step) < THIN * step):
        beside = 2
    for j in range(n_parts):
        k = k0 + j
        za = bottom if j == 0 else low + (k - 1) * step
        zb = top if j == n_parts - 1 else low + k * step
        if j + beside < least:  # falling towards its least value
            _put(rho, height, face_of, set_of, stale, k, at[j + 1], zb, face, i)
        elif j - beside + 1 > least:
            _put(rho, height, face_of, set_of, stale, k, at[j], za, face, i)
        elif rho[k] - slack > rho_low:
            m = _slab(t, za, zb, corners)
            r, z = _polygon_least(corners, m, points, q0, q1)
            _put(rho, height, face_of, set_of, stale, k, r, z, face, i)


@kernel
def _slab(t: Array, za: float, zb: float, corners: Array) -> int:
    """Corners in order of the piece of a sorted triangle between two heights; how many there are."""
    if za <= t[0, 2] and zb >= t[2, 2]:
        for c in range(3):
            corners[c, 0], corners[c, 1], corners[c, 2] = t[c, 0], t[c, 1], t[c, 2]
        return 3
    ax, ay, bx, by = _section(t, za)
    corners[0, 0], corners[0, 1], corners[0, 2] = ax, ay, za
    corners[1, 0], corners[1, 1], corners[1, 2] = bx, by, za
    m = 2
    if za < t[1, 2] < zb:
        corners[2, 0], corners[2, 1], corners[2, 2] = t[1, 0], t[1, 1], t[1, 2]
        m = 3
    ax, ay, bx, by = _section(t, zb)
    corners[m, 0], corners[m, 1], corners[m, 2] = bx, by, zb
    corners[m + 1, 0], corners[m + 1, 1], corners[m + 1, 2] = ax, ay, zb
    return m + 2


@kernel
def _add_axis(
    low: float, step: float, rho: Array, height: Array, face_of: Ints32, set_of: Ints32,
    za: float, zb: float, face: int, i: int,
) -> None:  # fmt: skip
    """The axis itself from za to zb."""
    n = len(rho)
    for k in range(_bin_of(low, step, n, za), _bin_of(low, step, n, zb) + 1):
        if rho[k] > 0.0:
            z = za if k == 0 else min(zb, max(za, low + (k - 1) * step))
            rho[k], height[k], face_of[k], set_of[k] = 0.0, z, face, i


@kernel
def _prism_side(t: Array, points: Array, q0: int, m: int, side: Array) -> None:
    """Triangle m of the 8 round what a triangle sweeps over a segment: both ends, then three sides in two triangles."""
    a = (m - 2) // 2
    b = a + 1 if a < 2 else 0
    for c in range(3):
        if m < 2:
            corner, end = c, m
        elif m % 2 == 0:
            corner, end = (b, 0) if c == 1 else (a, c // 2)
        else:
            corner, end = (a, 1) if c == 2 else (b, c)
        for k in range(3):
            side[c, k] = t[corner, k] - points[q0 + end, k]


@kernel
def axis_meets(t: Array) -> tuple[bool, float]:
    """Whether the upright line through the origin meets a triangle, within ON of its size, and how high."""
    ux, uy, vx, vy = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[2, 0] - t[0, 0], t[2, 1] - t[0, 1]
    det = ux * vy - uy * vx
    if det * det <= ON * ON * (ux * ux + uy * uy) * (vx * vx + vy * vy):
        return False, 0.0  # upright: the line can only pass along it, at no distance
    a, b = (-t[0, 0] * vy + t[0, 1] * vx) / det, (-ux * t[0, 1] + uy * t[0, 0]) / det
    if a < -ON or b < -ON or a + b > 1.0 + ON:
        return False, 0.0
    return True, t[0, 2] + a * (t[1, 2] - t[0, 2]) + b * (t[2, 2] - t[0, 2])


@kernel
def _is_covered(
    low: float, step: float, slack: float, rho: Array, most: Array, stale: NDArray[np.bool_],
    za: float, zb: float, rho_low: float,
) -> bool:  # fmt: skip
    """Whether nothing between two heights and beyond a radius could change any bin."""
    n = len(rho)
    k, last = _bin_of(low, step, n, za), _bin_of(low, step, n, zb)
    while k <= last:
        if k % BLOCK == 0 and k + BLOCK - 1 <= last:
            block = k // BLOCK
            if stale[block]:
                most[block] = rho[k]
                for c in range(k + 1, k + BLOCK):
                    most[block] = max(most[block], rho[c])
                stale[block] = False
            if most[block] - slack > rho_low:
                return False
            k += BLOCK
        else:
            if rho[k] - slack > rho_low:
                return False
            k += 1
    return True


@kernel
def _seen(
    points: Array, starts: Ints, ball: Array, stretches: Ints, s: int,
    cx: float, cy: float, cz: float, hx: float, hy: float, hz: float,
) -> tuple[float, float, float]:  # fmt: skip
    """Least radius, lowest and highest height at which a box is seen from a stretch of the move."""
    if stretches[s] < 0:
        q0, q1 = starts[-1 - stretches[s]], starts[-stretches[s]]
        z0, z1 = points[q0, 2], points[q0, 2]
        for j in range(q0 + 1, q1):
            z0, z1 = min(z0, points[j, 2]), max(z1, points[j, 2])
        return rho_to_set(points, q0, q1, cx, cy, hx, hy), cz - hz - z1, cz + hz - z0
    dx, dy = max(0.0, abs(cx - ball[s, 0]) - hx), max(0.0, abs(cy - ball[s, 1]) - hy)
    z, r = cz - ball[s, 2], ball[s, 3]
    return max(0.0, math.sqrt(dx * dx + dy * dy) - r), z - hz - r, z + hz + r


@kernel
def _add_body(
    low: float, step: float, slack: float, rho: Array, height: Array, face_of: Ints32, set_of: Ints32,
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R: Array, p: Array,
    points: Array, starts: Ints, ball: Array, stretches: Ints,
) -> None:  # fmt: skip
    n_blocks = len(rho) // BLOCK + 1
    most, stale = np.zeros(n_blocks), np.ones(n_blocks, dtype=np.bool_)
    open_stretch, open_node = np.zeros(DEEPEST, dtype=np.int64), np.zeros(DEEPEST, dtype=np.int64)
    seen = np.zeros((DEEPEST, 3))
    at, corners = np.zeros(len(rho) + 2), np.zeros((5, 3))
    t, side, origin = np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((1, 3))
    n = 1
    seen[0, 0], seen[0, 1], seen[0, 2] = 0.0, -math.inf, math.inf
    while n > 0:
        n -= 1
        if _is_covered(low, step, slack, rho, most, stale, seen[n, 1], seen[n, 2], seen[n, 0]):
            continue
        s, node = open_stretch[n], open_node[n]
        is_set, is_leaf = stretches[s] < 0, count[node] > 0
        if is_set and is_leaf:
            i = -1 - stretches[s]
            q0, q1 = starts[i], starts[i + 1]
            is_slope = q1 - q0 == 2 and abs(points[q0, 2] - points[q0 + 1, 2]) > LEVEL
            for f in range(first[node], first[node] + count[node]):
                corners_in_W(vertices, faces, f, R, p, t)
                enters, leaves = math.inf, -math.inf
                for m in range(8 if is_slope else 1):
                    if is_slope:  # the sides of what it sweeps, seen from a point
                        _prism_side(t, points, q0, m, side)
                        is_met, z = axis_meets(side)
                        if is_met:
                            enters, leaves = min(enters, z), max(leaves, z)
                    else:
                        for c in range(3):
                            side[c, 0], side[c, 1], side[c, 2] = t[c, 0], t[c, 1], t[c, 2] - points[q0, 2]
                    seen_from, a, b = (origin, 0, 1) if is_slope else (points, q0, q1)
                    x0, x1 = min(side[0, 0], side[1, 0], side[2, 0]), max(side[0, 0], side[1, 0], side[2, 0])
                    y0, y1 = min(side[0, 1], side[1, 1], side[2, 1]), max(side[0, 1], side[1, 1], side[2, 1])
                    near = rho_to_set(
                        seen_from, a, b, 0.5 * (x0 + x1), 0.5 * (y0 + y1), 0.5 * (x1 - x0), 0.5 * (y1 - y0)
                    )  # fmt: skip
                    _add_triangle(
                        low, step, slack, rho, height, face_of, set_of, stale, side, seen_from, a, b, near, f, i,
                        at, corners,
                    )  # fmt: skip
                if enters < leaves:
                    _add_axis(low, step, rho, height, face_of, set_of, enters, leaves, f, i)
                    for k in range(n_blocks):
                        stale[k] = True
            continue
        radius = 0.0 if is_set else ball[s, 3]
        du, dv, dw = boxes[node, 3] - boxes[node, 0], boxes[node, 4] - boxes[node, 1], boxes[node, 5] - boxes[node, 2]
        opens_node = is_set or (not is_leaf and 0.5 * math.sqrt(du * du + dv * dv + dw * dw) >= radius)
        a = first[node] if opens_node else stretches[s]
        near = math.inf
        for k in range(2):
            sk, nk = (s, a + k) if opens_node else (a + k, node)
            cx, cy, cz, hx, hy, hz = box_in_W(boxes, nk, R, p)
            r, z0, z1 = _seen(points, starts, ball, stretches, sk, cx, cy, cz, hx, hy, hz)
            put = n
            if k == 1 and r > near:  # the nearer one goes on top
                put = n - 1
                open_stretch[n], open_node[n] = open_stretch[put], open_node[put]
                seen[n, 0], seen[n, 1], seen[n, 2] = seen[put, 0], seen[put, 1], seen[put, 2]
            near = r
            open_stretch[put], open_node[put] = sk, nk
            seen[put, 0], seen[put, 1], seen[put, 2] = r, z0, z1
            n += 1


@kernel
def _crossings(
    vertices: Array, faces: Ints32, boxes: Array, first: Ints32, count: Ints32, R: Array, p: Array, x: float, y: float,
    found: Array,
) -> int:  # fmt: skip
    """Rows (height, sign, face) of the triangles that the upright line at (x, y) crosses; how many there are in all."""
    open_node = np.zeros(DEEPEST, dtype=np.int64)
    t = np.zeros((3, 3))
    n, n_found = 1, 0
    while n > 0:
        n -= 1
        node = open_node[n]
        cx, cy, _, hx, hy, _ = box_in_W(boxes, node, R, p)
        room = 1e-9 + 1e-12 * (abs(cx) + abs(cy) + hx + hy)
        if abs(cx - x) > hx + room or abs(cy - y) > hy + room:
            continue
        if count[node] == 0:
            open_node[n], open_node[n + 1] = first[node], first[node] + 1
            n += 2
            continue
        for f in range(first[node], first[node] + count[node]):
            corners_in_W(vertices, faces, f, R, p, t)
            sign = 0
            for k in range(3):
                m = k + 1 if k < 2 else 0
                up = t[m, 1] > t[k, 1]
                a, b = (k, m) if up else (m, k)  # the same sum for both triangles of an edge
                if (t[a, 1] > y) != (t[b, 1] > y):
                    at = t[a, 0] + (t[b, 0] - t[a, 0]) * ((y - t[a, 1]) / (t[b, 1] - t[a, 1]))
                    if at > x:
                        sign += 1 if up else -1
            if sign == 0:
                continue
            if n_found < len(found):
                found[n_found, 0] = _height_at(t, x, y)
                found[n_found, 1], found[n_found, 2] = sign, f
            n_found += 1
    return n_found


@kernel
def _height_at(t: Array, x: float, y: float) -> float:
    """How high a triangle is at (x, y), which is in it seen from above."""
    ux, uy, vx, vy = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[2, 0] - t[0, 0], t[2, 1] - t[0, 1]
    low, high = min(t[0, 2], t[1, 2], t[2, 2]), max(t[0, 2], t[1, 2], t[2, 2])
    det = ux * vy - uy * vx
    if det == 0.0:
        return low
    wx, wy = x - t[0, 0], y - t[0, 1]
    z = t[0, 2] + (wx * vy - wy * vx) / det * (t[1, 2] - t[0, 2]) + (ux * wy - uy * wx) / det * (t[2, 2] - t[0, 2])
    return min(high, max(low, z))


def warm_up() -> None:
    """Compiled with what asks for it."""
    from kinematics.engine import envelope

    envelope.warm_up()
