"""The best-first search over boxes of angles of round tool parts against triangle bodies: the kernel.

1. What is open is a convex stretch of the tool, a box of a body's tree or a triangle, and a box of angles. The one
   with the least bound is opened first; all pairs share one upper bound.
2. A triangle in the middle of the angles is exact (`exact_leaf.py`): the value is attained. Over the box of angles it
   has the plane square to its nearest points, and its own plane turned with it.
3. What makes a bound loose is halved: the turn about one of the axes, the box of the tree, or the triangle across its
   longest side.
4. Now and then the nearest triangle at one pose is looked for at once, so that a deep hit is found soon.
5. Contact is proven by a point of the true body in the true tool at true angles; only that ends the search as a hit.
6. What this file does not know: axes' names, where set-up errors come from, verdicts.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.engine.heap import more, more_ints, pop, push
from kinematics.engine.triangle_tree import LEAF, MOST_DEPTH
from kinematics.engine.turning_bounds import (
    COLUMNS,
    HI1,
    HI2,
    LO1,
    LO2,
    STILL,
    R,
    Stretch,
    T,
    box_bound,
    exact,
    farthest,
    in_W,
    level_distance,
    losses,
    nearest_point,
    own_plane,
    plane_low,
    reaches,
    set_angles,
    support,
)
from kinematics.pose import Array

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]

ROUNDING = 1e-6  # mm, subtracted before a floating-point bound is called proven
DEEP = MOST_DEPTH + 2  # boxes of a tree that can be open at once at one pose
LOOK_EVERY = 256  # openings between two looks for the nearest triangle at one pose
SETTLED, NOT_SETTLED, CONTACT = 0, 1, 2

# columns of `units`, a convex stretch of the tool against a body over a box of angles, and of their `numbers`
FIRST, LAST, _SPLIT, _INNER0, _INNER1, _Q0, _Q1, BODY, _ANGLES, PAIR = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
_DOWN, _UP, _SUBTRACT, _FAR1, _FAR2 = 0, 1, 2, 3, 4
# columns of what is open; the last is a stack of rows that are free
_UNIT, _NODE, _TRIANGLE, _BOX, _SEEN, _FREE = 0, 1, 2, 3, 4, 5


class Bodies(NamedTuple):
    """Bodies as one set of arrays; see `joined_bodies.JoinedBodies`."""

    n_axes: Ints
    roots: Ints
    within: Ints
    poses: Array
    chord: Array
    vertices: Array
    faces: Ints32
    boxes: Array
    first: Ints32
    counts: Ints32
    piece_of: Ints32
    solids: Array


class Tool(NamedTuple):
    """Profiles, their stretches and tip positions; see `round_turning`."""

    profile: Array
    ranges: Ints
    points: Array


# ---- one triangle, exact ---------------------------------------------------------------------------


@kernel
def _true_point(p: Array, pose: Array, row: Array, solids: Array, piece: int) -> None:
    """Move p (3,), in W in the middle of the angles, from the polygon around a piece onto the piece itself."""
    if solids[piece, 0] == 0.0:
        return
    c = np.zeros(3)
    g = np.zeros(3)
    for i in range(3):
        c[i] = (
            row[R + i] * (p[0] - row[T]) + row[R + 3 + i] * (p[1] - row[T + 1]) + row[R + 6 + i] * (p[2] - row[T + 2])
        )
    for i in range(3):
        g[i] = pose[i] * (c[0] - pose[9]) + pose[3 + i] * (c[1] - pose[10]) + pose[6 + i] * (c[2] - pose[11])
    r1, r2, z1, z2 = solids[piece, 1], solids[piece, 2], solids[piece, 3], solids[piece, 4]
    g[2] = min(z2, max(z1, g[2]))
    allowed = r1 + (r2 - r1) * (g[2] - z1) / (z2 - z1)
    rho = math.sqrt(g[0] * g[0] + g[1] * g[1])
    if rho > allowed:
        g[0] *= allowed / rho
        g[1] *= allowed / rho
    for i in range(3):
        c[i] = pose[3 * i] * g[0] + pose[3 * i + 1] * g[1] + pose[3 * i + 2] * g[2] + pose[9 + i]
    for i in range(3):
        p[i] = row[R + 3 * i] * c[0] + row[R + 3 * i + 1] * c[1] + row[R + 3 * i + 2] * c[2] + row[T + i]


@kernel
def _face_corners(bodies: Bodies, face: int, inside: int, body: int, corners: Array) -> None:
    """The corners of a face in what the axes carry; of the face within it with `inside` its step in the vertices."""
    for i in range(3):
        v = bodies.faces[face, i] + inside
        _carried(bodies.poses[body], bodies.vertices[v, 0], bodies.vertices[v, 1], bodies.vertices[v, 2], corners, i)


@kernel
def _box_corners(bodies: Bodies, node: int, body: int, corners: Array) -> None:
    """The corners of a box of the tree in what the axes carry."""
    b = bodies.boxes[node]
    for i in range(8):
        _carried(bodies.poses[body], b[3 if i & 1 else 0], b[4 if i & 2 else 1], b[5 if i & 4 else 2], corners, i)


@kernel
def _carried(pose: Array, x: float, y: float, z: float, corners: Array, i: int) -> None:
    for a in range(3):
        corners[i, a] = pose[3 * a] * x + pose[3 * a + 1] * y + pose[3 * a + 2] * z + pose[9 + a]


@kernel
def _kept_corners(pool: Array, triangle: int, corners: Array) -> None:
    for i in range(9):
        corners[i // 3, i % 3] = pool[triangle, i]


@kernel
def _keep(pool: Array, triangle: int, corners: Array) -> None:
    for i in range(9):
        pool[triangle, i] = corners[i // 3, i % 3]


@kernel
def _set_in_W(corners: Array, row: Array, triangle: Array) -> None:
    for i in range(3):
        triangle[i, 0], triangle[i, 1], triangle[i, 2] = in_W(corners, i, row)


@kernel
def _inner_least(
    triangle: Array, cap: float, tool: Tool, outer: Stretch, i0: int, i1: int, p: Array, tool_point: Array
) -> float:
    """The least distance of true stretches i0..i1-1 to a triangle, if below cap, and its two points."""
    best = cap
    for i in range(i0, i1):
        stretch = Stretch(
            tool.profile, tool.ranges[i, 0], tool.ranges[i, 1], tool.ranges[i, 2], outer.down, outer.up,
            tool.points, outer.q0, outer.q1,
        )  # fmt: skip
        found = exact(stretch, triangle, best)
        if found[0] < best:
            best = found[0]
            p[0], p[1], p[2] = found[1], found[2], found[3]
            x, y, z = nearest_point(stretch, p[0], p[1], p[2], found)
            tool_point[0], tool_point[1], tool_point[2] = x, y, z
    return best


@kernel
def _attained(
    distance: float, face: int, bodies: Bodies, body: int, row: Array, tool: Tool, outer: Stretch, i0: int, i1: int,
    p: Array, tool_point: Array, corners: Array, triangle: Array,
) -> float:  # fmt: skip
    """The distance between true points of tool and body beside p, a point of a face; both points are put in place.

    Where what is around the true solids touches, what is within them is tried as well.
    """
    _true_point(p, bodies.poses[body], row, bodies.solids, bodies.piece_of[face])
    for i in range(3):
        triangle[i, 0], triangle[i, 1], triangle[i, 2] = p[0], p[1], p[2]
    best = _inner_least(triangle, math.inf, tool, outer, i0, i1, p, tool_point)
    if distance <= 0.0 < best:
        _face_corners(bodies, face, bodies.within[body], body, corners)
        _set_in_W(corners, row, triangle)
        best = _inner_least(triangle, best, tool, outer, i0, i1, p, tool_point)
    return best


@kernel
def _nearest_face(
    node: int, cap: float, bodies: Bodies, body: int, row: Array, tool: Stretch,
    open_node: Ints, open_bound: Array, corners: Array, triangle: Array, p: Array,
) -> tuple[float, int, int]:  # fmt: skip
    """The nearest face under a box of the tree in the middle of the angles: distance (at most cap), face, how many."""
    best, face, n_exact = cap, -1, 0
    open_node[0], open_bound[0] = node, -math.inf
    n = 1
    while n > 0:
        n -= 1
        if open_bound[n] >= best:
            continue
        at = open_node[n]
        if bodies.counts[at] > 0:
            for f in range(bodies.first[at], bodies.first[at] + bodies.counts[at]):
                _face_corners(bodies, f, 0, body, corners)
                _set_in_W(corners, row, triangle)
                n_exact += 1
                found = exact(tool, triangle, best)
                if found[0] < best:
                    best, face = found[0], f
                    p[0], p[1], p[2] = found[1], found[2], found[3]
                    if best <= 0.0:
                        return best, face, n_exact
            continue
        start = n
        for child in range(bodies.first[at], bodies.first[at] + 2):
            _box_corners(bodies, child, body, corners)
            d = level_distance(tool, corners, 8, row)[0]
            if d < best:
                open_node[n], open_bound[n] = child, d
                n += 1
        if n == start + 2 and open_bound[n - 1] > open_bound[n - 2]:  # the nearer one on top
            open_node[n - 1], open_node[n - 2] = open_node[n - 2], open_node[n - 1]
            open_bound[n - 1], open_bound[n - 2] = open_bound[n - 2], open_bound[n - 1]
    return best, face, n_exact


# ---- what is open ------------------------------------------------------------------------------------


@kernel
def _copy(of: Array, to: Array) -> None:
    to[0], to[1], to[2] = of[0], of[1], of[2]


@kernel
def _put(
    items: Ints, hints: Array, item: int, unit: int, node: int, triangle: int, box: int, seen: int, hint: Array
) -> None:
    items[item, _UNIT], items[item, _NODE], items[item, _TRIANGLE] = unit, node, triangle
    items[item, _BOX], items[item, _SEEN] = box, seen
    hints[item, 0], hints[item, 1], hints[item, 2] = hint[0], hint[1], hint[2]


@kernel
def _halve_angles(angles: Array, links: Ints, box: int, which: int, n: int, n_axes: int, axes: Array) -> None:
    """Both halves of a box of angles, as rows n and n + 1."""
    middle = 0.5 * (angles[box, 2 * which] + angles[box, 2 * which + 1])
    for half in range(2):
        for i in range(4):
            angles[n + half, i] = angles[box, i]
        angles[n + half, 2 * which + 1 - half] = middle
        set_angles(angles[n + half], n_axes, axes)
        links[n + half, 0] = links[n + half, 1] = -1
    links[box, which] = n


@kernel
def _halve_triangle(pool: Array, triangle: int, n: int, corners: Array, longest: int) -> None:
    """Both halves of a triangle across its longest side, as rows n and n + 1."""
    a, b, c = longest, (longest + 1) % 3, (longest + 2) % 3
    for i in range(3):
        middle = 0.5 * (corners[a, i] + corners[b, i])
        pool[n, i], pool[n, 3 + i], pool[n, 6 + i] = corners[a, i], middle, corners[c, i]
        pool[n + 1, i], pool[n + 1, 3 + i], pool[n + 1, 6 + i] = middle, corners[b, i], corners[c, i]
    for row in range(n, n + 2):
        pool[row, 9] = pool[triangle, 9]


@kernel
def _size(corners: Array, k: int) -> tuple[float, int]:
    """The longest side of a triangle and which it is, or the diagonal of a box."""
    if k == 8:
        dx, dy, dz = corners[7, 0] - corners[0, 0], corners[7, 1] - corners[0, 1], corners[7, 2] - corners[0, 2]
        return math.sqrt(dx * dx + dy * dy + dz * dz), 0
    best, longest = -1.0, 0
    for i in range(3):
        j = i + 1 if i < 2 else 0
        dx, dy, dz = corners[j, 0] - corners[i, 0], corners[j, 1] - corners[i, 1], corners[j, 2] - corners[i, 2]
        if dx * dx + dy * dy + dz * dz > best:
            best, longest = dx * dx + dy * dy + dz * dz, i
    return math.sqrt(best), longest


# ---- the search ----------------------------------------------------------------------------------------


@kernel
def is_enough(
    at_least: float, at_most: float, below: float, above: float, between: float, until: float,
    tolerance: float, share: float, zero: float, about: float,
) -> bool:  # fmt: skip
    """Whether an interval is enough; see `round_turning.Enough`."""
    if not math.isfinite(at_most):
        return False
    if at_most <= below or at_least >= above or (at_least > between and at_most < until):
        return True
    width = at_most - at_least
    return width <= max(tolerance, share * at_most) or (at_most <= zero and width <= about)


@kernel
def _what_to_halve(
    corners: Array, k: int, n_axes: int, axes: Array, row: Array, hint: Array, p: Array, reach1: float, reach2: float,
    missing: float,
) -> tuple[int, int]:  # fmt: skip
    """What makes the bound loosest: 0 or 1, the turn about that axis; 2 the size; -1 nothing. And the longest side.

    Where the plane along `hint` does not explain what is `missing` at the bound (a flat top beside a flat tool is no
    nearer than its plane says), it is what is largest.
    """
    size, longest = _size(corners, k)
    turn1 = reach1 * math.radians(row[HI1] - row[LO1])
    turn2 = reach2 * math.radians(row[HI2] - row[LO2])
    if max(turn1, turn2, size) <= STILL:
        return -1, longest
    can_turn1, can_turn2 = turn1 > STILL, turn2 > STILL
    if hint[0] != 0.0 or hint[1] != 0.0 or hint[2] != 0.0:
        a, b, c = losses(corners, k, n_axes, axes, row, hint[0], hint[1], hint[2], p[0], p[1], p[2])
        if a + b + c >= 0.5 * missing:
            turn1, turn2, size = a, b, c
    if not (can_turn1 or can_turn2) or turn1 + turn2 < size:
        return 2, longest
    return (0 if can_turn1 and (turn1 >= turn2 or not can_turn2) else 1), longest


@kernel
def search(
    tool: Tool, axes: Array, units: Ints, numbers: Array, bodies: Bodies,
    stretches: Array, stretch_axes: Ints, stop: Array, known: float, allowed: int, result: Array,
) -> tuple[int, int, int, int]:  # fmt: skip
    """The search. `result`: at_least, at_most, value, angles (2), points of tool and body in W (6), face.

    `known`: what others attain; of what is no less there is no witness.

    Returns SETTLED, NOT_SETTLED or CONTACT; the unit of the witness or -1; exact triangles; openings.
    """
    n_angles = len(stretches)
    angles = np.zeros((max(64, 2 * n_angles), COLUMNS))
    links = np.full((len(angles), 2), -1, dtype=np.int64)
    for i in range(n_angles):
        for j in range(4):
            angles[i, j] = stretches[i, j]
        set_angles(angles[i], stretch_axes[i], axes)
    n_rows = max(1024, 2 * len(units))
    items = np.zeros((n_rows, 6), dtype=np.int64)
    hints, heap = np.zeros((n_rows, 3)), np.zeros((n_rows, 2))
    n_items = n_heap = n_free = n_pool = 0
    pool = np.zeros((256, 10))  # triangles in what the axes carry, and the face that each is of
    corners, triangle, spare = np.zeros((8, 3)), np.zeros((3, 3)), np.zeros((8, 3))
    at, hint, p, tool_point = np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3)
    open_node, open_bound = np.zeros(DEEP, dtype=np.int64), np.zeros(DEEP)
    new = np.zeros((LEAF, 3), dtype=np.int64)  # box of the tree, triangle, box of angles
    closed, at_most, value = math.inf, known, math.inf
    best_unit, n_exact, n_opened, status = -1, 0, 0, SETTLED

    n_units = len(units)
    unit = node = tri = box = n_new = 0
    bound = 0.0
    while n_heap > 0 or n_units > 0:
        if n_units > 0:  # first every unit with the root of its body
            n_units -= 1
            unit, tri, bound = n_units, -1, -math.inf
            box = units[unit, _ANGLES]
            new[0, 0], new[0, 1], new[0, 2] = bodies.roots[units[unit, BODY]], -1, box
            n_new = 1
            hint[0] = hint[1] = hint[2] = 0.0
        else:
            bound = heap[0, 0]
            low = min(bound, closed, at_most)
            if is_enough(low, at_most, stop[0], stop[1], stop[2], stop[3], stop[4], stop[5], stop[6], stop[7]):
                break
            if bound >= at_most:
                closed, n_heap = min(closed, bound), 0
                break
            if n_exact >= allowed or n_opened >= 8 * allowed + 1024:
                status = NOT_SETTLED
                break
            item = int(heap[0, 1])
            pop(heap, n_heap)
            n_heap, n_opened = n_heap - 1, n_opened + 1
            unit, node, tri, box = items[item, _UNIT], items[item, _NODE], items[item, _TRIANGLE], items[item, _BOX]
            seen = items[item, _SEEN]
            _copy(hints[item], hint)
            items[n_free, _FREE] = item
            n_free += 1
            n_new = 0
        body = units[unit, BODY]
        n_axes = bodies.n_axes[body]
        stretch = Stretch(
            tool.profile, units[unit, FIRST], units[unit, LAST], units[unit, _SPLIT], numbers[unit, _DOWN],
            numbers[unit, _UP], tool.points, units[unit, _Q0], units[unit, _Q1],
        )  # fmt: skip
        subtract = numbers[unit, _SUBTRACT]
        off = bodies.chord[body] + ROUNDING + subtract

        if n_new == 0:
            row = angles[box]
            k = 3 if tri >= 0 else 8
            if tri >= 0:
                _kept_corners(pool, tri, corners)
            else:
                _box_corners(bodies, node, body, corners)
            reach1, reach2, moved = reaches(corners, k, n_axes, axes, row)

            # the exact distance: of the triangle, or now and then of what is under a box of the tree
            face, d, cap = -1, math.inf, math.inf
            if tri >= 0 and seen == 0:
                _set_in_W(corners, row, triangle)
                cap = at_most + off + moved + 1e-9  # beyond this the box of angles holds nothing better
                found = exact(stretch, triangle, cap)
                d, face = found[0], int(pool[tri, 9])
                n_exact += 1
                p[0], p[1], p[2] = found[1], found[2], found[3]
                low = d - moved
                if 0.0 < d < cap and moved > STILL:
                    x, y, z = nearest_point(stretch, p[0], p[1], p[2], found)
                    hint[0], hint[1], hint[2] = (p[0] - x) / d, (p[1] - y) / d, (p[2] - z) / d
                    nx, ny, nz = hint[0], hint[1], hint[2]
                    plane = plane_low(corners, 3, n_axes, axes, row, reach1, nx, ny, nz)
                    low = max(low, plane - support(stretch, nx, ny, nz))
                    if low - off < at_most:
                        low = max(low, own_plane(
                            corners, hint, n_axes, axes, row, numbers[unit, _FAR1], numbers[unit, _FAR2], stretch
                        ))  # fmt: skip
                bound = max(bound, low - off)
            elif tri < 0 and (n_opened % LOOK_EVERY == 0 or (n_opened & (n_opened - 1)) == 0):
                d, face, n = _nearest_face(
                    node, at_most + subtract, bodies, body, row, stretch, open_node, open_bound, spare, triangle, p
                )
                n_exact += n
                _box_corners(bodies, node, body, corners)
            if face >= 0 and (d - subtract < at_most or d <= 0.0):
                _copy(p, at)
                v = _attained(
                    d, face, bodies, body, row, tool, stretch, units[unit, _INNER0], units[unit, _INNER1],
                    p, tool_point, spare, triangle,
                )  # fmt: skip
                if v - subtract < at_most or v <= 0.0:
                    at_most, value, best_unit = v - subtract, v, unit
                    result[11] = face
                    result[3], result[4] = 0.5 * (row[LO1] + row[HI1]), 0.5 * (row[LO2] + row[HI2])
                    for a in range(3):
                        result[5 + a], result[8 + a] = tool_point[a], p[a]
                    if v <= 0.0:
                        closed, status = min(closed, bound), CONTACT
                        break
                _copy(at, p)
            if bound >= at_most or (tri >= 0 and moved <= STILL):
                closed = min(closed, bound)
                continue
            if tri >= 0 and seen == 0 and n_heap > 0 and bound > heap[0, 0]:  # others first
                n_free -= 1
                item = items[n_free, _FREE]
                _put(items, hints, item, unit, node, tri, box, 1, hint)
                push(heap, n_heap, bound, item)
                n_heap += 1
                continue

            # halves of what makes the bound loosest
            if n_angles + 2 > len(angles):
                angles, links = more(angles), more_ints(links)
                row = angles[box]
            if n_pool + LEAF > len(pool):
                pool = more(pool)
            if tri < 0 or seen == 1:
                p[0] = p[1] = p[2] = 0.0
                for i in range(k):
                    x, y, z = in_W(corners, i, row)
                    p[0], p[1], p[2] = p[0] + x / k, p[1] + y / k, p[2] + z / k
            which, longest = _what_to_halve(
                corners, k, n_axes, axes, row, hint, p, reach1, reach2, at_most - bound
            )  # fmt: skip
            n_new = 2
            if which < 0:
                closed = min(closed, bound)
                continue
            if which < 2:
                if links[box, which] < 0:
                    _halve_angles(angles, links, box, which, n_angles, n_axes, axes)
                    n_angles += 2
                for half in range(2):
                    new[half, 0], new[half, 1], new[half, 2] = node, tri, links[box, which] + half
            elif tri >= 0:
                _halve_triangle(pool, tri, n_pool, corners, longest)
                for half in range(2):
                    new[half, 0], new[half, 1], new[half, 2] = node, n_pool + half, box
                n_pool += 2
            elif bodies.counts[node] > 0:
                n_new = bodies.counts[node]
                for i in range(n_new):
                    _face_corners(bodies, bodies.first[node] + i, 0, body, corners)
                    _keep(pool, n_pool, corners)
                    pool[n_pool, 9] = bodies.first[node] + i
                    new[i, 0], new[i, 1], new[i, 2] = node, n_pool, box
                    n_pool += 1
            else:
                for half in range(2):
                    new[half, 0], new[half, 1], new[half, 2] = bodies.first[node] + half, -1, box

        for i in range(n_new):
            if new[i, 1] >= 0:
                k = 3
                _kept_corners(pool, new[i, 1], corners)
            else:
                k = 8
                _box_corners(bodies, new[i, 0], body, corners)
            d = box_bound(corners, k, n_axes, axes, angles[new[i, 2]], stretch, hint, at_most + off, at)
            low = max(bound, d - off)
            if low >= at_most:
                closed = min(closed, low)
                continue
            if n_free > 0:
                n_free -= 1
                item = items[n_free, _FREE]
            else:
                item = n_items
                n_items += 1
                if n_items > len(items):
                    items, hints, heap = more_ints(items), more(hints), more(heap)
            is_new = at[0] != 0.0 or at[1] != 0.0 or at[2] != 0.0
            _put(items, hints, item, unit, new[i, 0], new[i, 1], new[i, 2], 0, at if is_new else hint)
            push(heap, n_heap, low, item)
            n_heap += 1

    low = min(closed, at_most)
    if n_heap > 0:
        low = min(low, heap[0, 0])
    result[0], result[1], result[2] = low, at_most, value
    return status, best_unit, n_exact, n_opened


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    faces, one = np.array([[0, 1, 2]], dtype=np.int32), np.ones(1, dtype=np.int64)
    none, none32 = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int32)
    pose = np.concatenate([np.eye(3).ravel(), [5.0, 0.0, 0.0]])[None, :]
    box = np.array([[0.0, 0.0, 0.0, 1.0, 1.0, 1.0]])
    bodies = Bodies(
        one, none, none, pose, np.zeros(1), np.eye(3), faces, box, none32, np.ones(1, dtype=np.int32), none32,
        np.zeros((1, 5)),
    )  # fmt: skip
    tool = Tool(np.array([[1.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), np.array([[0, 2, 0]]), np.zeros((1, 3)))
    axes = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, 1.0], [0.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
    unit = np.array([[0, 2, 0, 0, 1, 0, 1, 0, 0, 0]])
    stop = np.array([-math.inf, math.inf, math.inf, -math.inf, 0.01, 0.0, -math.inf, 0.0])
    search(
        tool,
        axes,
        unit,
        np.zeros((1, 5)),
        bodies,
        np.array([[0.0, 1.0, 0.0, 0.0]]),
        one,
        stop,
        math.inf,
        100,
        np.zeros(12),
    )
    is_enough(0.0, 1.0, *stop.tolist())
    farthest(Stretch(tool.profile, 0, 2, 0, 0.0, 0.0, tool.points, 0, 1), 2, axes)
