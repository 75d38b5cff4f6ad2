"""A convex solid of revolution against a triangle, or a triangle swept by tip positions: exact, certified.

1. The solid K is a profile as in profile_distance.py, which knows its distance to points and segments.
2. Moving the tool by q is moving the obstacle by -q: d(K (+) Q, D) = d(K, D (+) (-Q)). For a triangle D and
   a point, a segment or a level convex polygon Q that is a convex polytope. All its edges and faces are among
   "edge of D at a corner of Q", "corner of D along an edge of Q", D itself at a corner of Q, Q at a corner of
   D, and the parallelograms of an edge of each; the rest of these lies inside it and does no harm.
3. A tangent of the distance at one point bounds the whole polytope: most are settled by their middle, many by
   their corners. What is left goes along the edges, then over the faces. On a face the distance is least where
   the supporting point of K projects into the face, else on an edge.
4. A solid that touches no edge and no face may still be inside the polytope: one of its points decides.
5. Flat polytopes (D parallel to Q) and triangles without area need no case of their own: their edges remain.
   What a face says is measured again at its point: the normal of a sliver is not to be trusted.
6. What this file does not know: trees, bodies, tools, units other than mm.

Minkowski sums for translations: T. Lozano-Perez, "Spatial planning: a configuration space approach", IEEE Trans.
Computers 32 (1983).
"""

from __future__ import annotations

import math

import numpy as np

from kinematics.engine.compiled import kernel
from kinematics.engine.profile_distance import GAP, between, distance_at
from kinematics.engine.profile_distance import profile_near as profile_near
from kinematics.pose import Array

SAME = 1e-9  # mm; corners of the profile whose heights over a face differ by less are tried alike
FLAT = 1e-7  # mm; a polygon of positions that is narrower has no inside to speak of

Found = tuple[float, float, float, float, float, float, float]  # distance, point of the triangle, tip position


@kernel
def triangle_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, cap: float,
) -> Found:  # fmt: skip
    """Distance of the solid, over all tip positions, to a triangle.

    Parameters
    ----------
    profile : (n, 2), rows first..last are one convex profile over the tip; `split`, `down`, `up` as above.
    triangle : (3, 3), its corners in the directions of the tool frame, absolute.
    points : (m, 3), rows q0..q1-1 are the corners of the position set: one, two, or a level convex polygon
        in counter-clockwise order.
    cap : distances of at least this are of no interest: then `cap` is returned.

    Returns
    -------
    distance (0 on contact), the point of the triangle (x, y, z), the tip position (x, y, z). Within GAP.
    """
    low, found = _by_the_middle(profile, first, last, split, down, up, triangle, points, q0, q1, cap)
    if found[0] <= 0.0 or low >= found[0]:
        return found
    near = np.zeros(
        (q1 - q0, 3, 4)
    )  # at each corner of the polytope: the distance, and the direction in which it grows
    low, found = _by_corners(profile, first, last, split, down, up, triangle, points, q0, q1, near, low, found)
    if found[0] <= 0.0 or low >= found[0] - GAP:
        return found
    found = _along_edges(profile, first, last, split, down, up, triangle, points, q0, q1, near, low, found)
    if found[0] <= 0.0 or low >= found[0] - GAP:
        return found
    found = _over_faces(profile, first, last, split, down, up, triangle, points, q0, q1, found)
    if q1 - q0 == 1 or found[0] <= 0.0 or low > 0.0:
        return found
    # nothing has touched, and nothing has told that the solid is outside
    is_inside, px, py, pz, qx, qy, qz = _inside(profile, first, last, split, down, up, triangle, points, q0, q1)
    return (0.0, px, py, pz, qx, qy, qz) if is_inside else found


@kernel
def _least_along(triangle: Array, points: Array, q0: int, q1: int, nx: float, ny: float, nz: float) -> float:
    """The least n (d - q) over the corners of the triangle and of Q."""
    least, most = math.inf, -math.inf
    for i in range(3):
        least = min(least, nx * triangle[i, 0] + ny * triangle[i, 1] + nz * triangle[i, 2])
    for j in range(q0, q1):
        most = max(most, nx * points[j, 0] + ny * points[j, 1] + nz * points[j, 2])
    return least - most


@kernel
def _by_the_middle(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, cap: float,
) -> tuple[float, Found]:  # fmt: skip
    """A lower bound of the distance by the middle of the polytope, and that point where it is nearer than `cap`."""
    px = (triangle[0, 0] + triangle[1, 0] + triangle[2, 0]) / 3.0
    py = (triangle[0, 1] + triangle[1, 1] + triangle[2, 1]) / 3.0
    pz = (triangle[0, 2] + triangle[1, 2] + triangle[2, 2]) / 3.0
    qx = qy = qz = 0.0
    for j in range(q0, q1):
        qx, qy, qz = qx + points[j, 0], qy + points[j, 1], qz + points[j, 2]
    qx, qy, qz = qx / (q1 - q0), qy / (q1 - q0), qz / (q1 - q0)
    x, y, z = px - qx, py - qy, pz - qz
    d, nx, ny, nz = distance_at(profile, first, last, split, down, up, x, y, z)
    low = d + _least_along(triangle, points, q0, q1, nx, ny, nz) - nx * x - ny * y - nz * z
    if low >= cap or d >= cap:
        return low, (cap, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    return low, (d, px, py, pz, qx, qy, qz)


@kernel
def _by_corners(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, near: Array, low: float, found: Found,
) -> tuple[float, Found]:  # fmt: skip
    """The same by each of its corners, until that is enough; what is known of them goes into `near`."""
    for j in range(q0, q1):
        qx, qy, qz = points[j, 0], points[j, 1], points[j, 2]
        for i in range(3):
            px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
            x, y, z = px - qx, py - qy, pz - qz
            d, nx, ny, nz = distance_at(profile, first, last, split, down, up, x, y, z)
            if d < found[0]:
                found = (d, px, py, pz, qx, qy, qz)
                if d <= 0.0:
                    return low, found
            near[j - q0, i, 0], near[j - q0, i, 1], near[j - q0, i, 2], near[j - q0, i, 3] = d, nx, ny, nz
            low = max(low, d + _least_along(triangle, points, q0, q1, nx, ny, nz) - nx * x - ny * y - nz * z)
            if low >= found[0] - GAP:
                return low, found
    return low, found


@kernel
def _along_edges(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, near: Array, low: float, found: Found,
) -> Found:  # fmt: skip
    """The least along the edges of the triangle at each corner of Q, and of Q at each corner of the triangle."""
    m = q1 - q0
    n_edges = m if m > 2 else m - 1
    for j in range(m):
        for e in range(6 if j < n_edges else 3):
            i = e if e < 3 else e - 3
            i2 = i if e >= 3 else (i + 1 if i < 2 else 0)
            j2 = j if e < 3 else (j + 1 if j + 1 < m else 0)
            px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
            qx, qy, qz = points[q0 + j, 0], points[q0 + j, 1], points[q0 + j, 2]
            ux, uy, uz = triangle[i2, 0] - px, triangle[i2, 1] - py, triangle[i2, 2] - pz
            vx, vy, vz = points[q0 + j2, 0] - qx, points[q0 + j2, 1] - qy, points[q0 + j2, 2] - qz
            x, y, z, ex, ey, ez = px - qx, py - qy, pz - qz, ux - vx, uy - vy, uz - vz
            s0 = near[j, i, 1] * ex + near[j, i, 2] * ey + near[j, i, 3] * ez
            s1 = near[j2, i2, 1] * ex + near[j2, i2, 2] * ey + near[j2, i2, 3] * ez
            if s0 >= 0.0 or s1 <= 0.0:
                continue  # least at a corner
            d0, d1 = near[j, i, 0], near[j2, i2, 0]
            d, t = between(profile, first, last, split, down, up, x, y, z, ex, ey, ez, d0, s0, d1, s1, found[0])
            if d < found[0]:
                found = (d, px + t * ux, py + t * uy, pz + t * uz, qx + t * vx, qy + t * vy, qz + t * vz)
                if d <= 0.0 or low >= d - GAP:
                    return found
    return found


@kernel
def _over_faces(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, found: Found,
) -> Found:  # fmt: skip
    """The least inside the faces: the triangle at each corner of Q, edges of both, Q at each corner of the triangle."""
    m = q1 - q0
    n_edges = m if m > 2 else m - 1
    for j in range(m):
        k = j + 1 if j + 1 < m else 0
        qx, qy, qz = points[q0 + j, 0], points[q0 + j, 1], points[q0 + j, 2]
        gx, gy, gz = points[q0 + k, 0] - qx, points[q0 + k, 1] - qy, points[q0 + k, 2] - qz
        for e in range(4 if j < n_edges else 1):  # the triangle, then its edges 0, 1, 2 along the edge of Q
            i = e - 1 if e > 0 else 0
            i2 = i + 1 if i < 2 else 0
            px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
            ux, uy, uz = triangle[i2, 0] - px, triangle[i2, 1] - py, triangle[i2, 2] - pz
            vx, vy, vz = -gx, -gy, -gz
            if e == 0:
                vx, vy, vz = triangle[2, 0] - px, triangle[2, 1] - py, triangle[2, 2] - pz
            d, a, b = _face_least(
                profile, first, last, split, down, up,
                px - qx, py - qy, pz - qz, ux, uy, uz, vx, vy, vz, 3 if e == 0 else 4, found[0],
            )  # fmt: skip
            if d < found[0]:
                px, py, pz = px + a * ux, py + a * uy, pz + a * uz
                if e == 0:
                    found = (d, px + b * vx, py + b * vy, pz + b * vz, qx, qy, qz)
                else:
                    found = (d, px, py, pz, qx + b * gx, qy + b * gy, qz + b * gz)
                if d <= 0.0:
                    return found
    if m > 2 and _width(points, q0, q1)[0] > FLAT:
        for i in range(3):
            x, y, z = triangle[i, 0], triangle[i, 1], triangle[i, 2]
            d = _level_least(profile, first, last, down, up, points, q0, q1, x, y, z, found[0])
            if d < found[0]:
                found = (d, x, y, z, x, y, points[q0, 2])
    return found


@kernel
def _face_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ox: float, oy: float, oz: float, ux: float, uy: float, uz: float, vx: float, vy: float, vz: float,
    n_corners: int, cap: float,
) -> tuple[float, float, float]:  # fmt: skip
    """Distance to the inside of the face o + a u + b v where it is least there, with a and b; else `cap`.

    The face is a triangle (3 corners: a + b <= 1) or a parallelogram (4: a, b <= 1). 0 where the solid crosses it.
    """
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    area2 = nx * nx + ny * ny + nz * nz
    longest2 = max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz)
    if area2 <= GAP * GAP * longest2 or longest2 <= GAP * GAP:
        return cap, 0.0, 0.0  # as wide as a hair: its edges are all of it
    area = math.sqrt(area2)
    nx, ny, nz = nx / area, ny / area, nz / area
    level = math.sqrt(nx * nx + ny * ny)
    c = nx * ox + ny * oy + nz * oz
    # the extent of the solid along the normal
    high, low = -math.inf, math.inf
    j_high, j_low = first, first
    for j in range(first, last + 1):
        z = (profile[j, 1] + (up if j > split else -down)) * nz
        r = profile[j, 0] * level
        if z + r > high:
            high, j_high = z + r, j
        if z - r < low:
            low, j_low = z - r, j
    side = 1.0 if c > high else -1.0
    reach = high if side > 0.0 else -low  # support value towards the face
    is_cut = low <= c <= high
    if not is_cut and side * c - reach >= cap:
        return cap, 0.0, 0.0
    hx, hy = (nx / level, ny / level) if level > 0.0 else (0.0, 0.0)
    best, best_a, best_b = cap, 0.0, 0.0
    for j in range(first, last + 1):
        zj = profile[j, 1] + (up if j > split else -down)
        if is_cut:  # one point of the section of the solid and the plane
            zl = profile[j_low, 1] + (up if j_low > split else -down)
            zh = profile[j_high, 1] + (up if j_high > split else -down)
            share = (c - low) / (high - low) if high > low else 0.0
            r = share * (profile[j_high, 0] + profile[j_low, 0]) - profile[j_low, 0]
            x, y, z = r * hx - ox, r * hy - oy, zl + share * (zh - zl) - oz
        else:  # each supporting point; in front of it is its foot on the face
            if side * zj * nz + profile[j, 0] * level < reach - SAME:
                continue
            r = side * profile[j, 0]
            x, y, z = r * hx - ox, r * hy - oy, zj - oz
        a = (nx * (y * vz - z * vy) + ny * (z * vx - x * vz) + nz * (x * vy - y * vx)) / area
        b = (nx * (uy * z - uz * y) + ny * (uz * x - ux * z) + nz * (ux * y - uy * x)) / area
        if a >= 0.0 and b >= 0.0 and (a + b <= 1.0 if n_corners == 3 else (a <= 1.0 and b <= 1.0)):
            x, y, z = ox + a * ux + b * vx, oy + a * uy + b * vy, oz + a * uz + b * vz
            d, _, _, _ = distance_at(profile, first, last, split, down, up, x, y, z)
            if is_cut and d <= GAP:
                d = 0.0
            if d < best:
                best, best_a, best_b = d, a, b
        if is_cut:
            break
    return best, best_a, best_b


@kernel
def _width(points: Array, q0: int, q1: int) -> tuple[float, int, int]:
    """How wide a level polygon is, about: its area over its length; and two corners that are as far apart as any."""
    a, b, far, area2 = q0, q0, 0.0, 0.0
    for _ in range(2):  # the corner farthest from the first one, and the one farthest from that
        a, far = b, 0.0
        for j in range(q0, q1):
            x, y = points[j, 0] - points[a, 0], points[j, 1] - points[a, 1]
            if x * x + y * y > far:
                far, b = x * x + y * y, j
    for j in range(q0, q1 - 1):
        ax, ay = points[j, 0] - points[q0, 0], points[j, 1] - points[q0, 1]
        bx, by = points[j + 1, 0] - points[q0, 0], points[j + 1, 1] - points[q0, 1]
        area2 += ax * by - ay * bx
    return (area2 / math.sqrt(far) if far > 0.0 else 0.0), a, b


@kernel
def _level_least(
    profile: Array, first: int, last: int, down: float, up: float,
    points: Array, q0: int, q1: int, dx: float, dy: float, dz: float, cap: float,
) -> float:  # fmt: skip
    """Distance to the inside of the level face d - Q where it is least right over or under the axis; else `cap`."""
    z = dz - points[q0, 2]
    z_low, z_high = profile[first, 1] - down, profile[last, 1] + up
    d = max(0.0, z_low - z, z - z_high)
    if d >= cap:
        return cap
    for j in range(q0, q1):
        k = j + 1 if j + 1 < q1 else q0
        ex, ey = points[k, 0] - points[j, 0], points[k, 1] - points[j, 1]
        if ex * (dy - points[j, 1]) - ey * (dx - points[j, 0]) < 0.0:
            return cap
    return d


@kernel
def _stabbed(triangle: Array, points: Array, q0: int, q1: int, z: float) -> tuple[bool, float, float, float]:
    """Whether (0, 0, z) + Q, a polygon with area, meets the inside of the triangle, and the q of Q at which it does."""
    height = z + points[q0, 2]
    # the section of the triangle at that height
    n = 0
    x0 = y0 = x1 = y1 = 0.0
    for i in range(3):
        k = i + 1 if i < 2 else 0
        za, zb = triangle[i, 2] - height, triangle[k, 2] - height
        if (za <= 0.0 < zb) or (zb <= 0.0 < za):
            t = za / (za - zb)
            x = triangle[i, 0] + t * (triangle[k, 0] - triangle[i, 0])
            y = triangle[i, 1] + t * (triangle[k, 1] - triangle[i, 1])
            if n == 0:
                x0, y0 = x, y
            else:
                x1, y1 = x, y
            n += 1
    if n < 2:
        return False, 0.0, 0.0, 0.0  # a level triangle sweeps a level face, which has no inside
    low, high = 0.0, 1.0
    for j in range(q0, q1):  # clipped by each side of the polygon
        k = j + 1 if j + 1 < q1 else q0
        ex, ey = points[k, 0] - points[j, 0], points[k, 1] - points[j, 1]
        a = ex * (y0 - points[j, 1]) - ey * (x0 - points[j, 0])
        b = ex * (y1 - points[j, 1]) - ey * (x1 - points[j, 0])
        if a < 0.0 and b < 0.0:
            return False, 0.0, 0.0, 0.0
        if a < 0.0:
            low = max(low, a / (a - b))
        elif b < 0.0:
            high = min(high, a / (a - b))
    if low > high:
        return False, 0.0, 0.0, 0.0
    t = 0.5 * (low + high)
    return True, x0 + t * (x1 - x0), y0 + t * (y1 - y0), points[q0, 2]


@kernel
def _segment_meets(
    triangle: Array, points: Array, qa: int, qb: int, z: float
) -> tuple[bool, float, float, float, float, float, float]:
    """Whether (0, 0, z) + the segment of two corners of Q meets the triangle: the point of it, and the q at which."""
    ax, ay, az = points[qa, 0], points[qa, 1], points[qa, 2]
    dx, dy, dz = points[qb, 0] - ax, points[qb, 1] - ay, points[qb, 2] - az
    ux, uy, uz = triangle[1, 0] - triangle[0, 0], triangle[1, 1] - triangle[0, 1], triangle[1, 2] - triangle[0, 2]
    vx, vy, vz = triangle[2, 0] - triangle[0, 0], triangle[2, 1] - triangle[0, 1], triangle[2, 2] - triangle[0, 2]
    hx, hy, hz = dy * vz - dz * vy, dz * vx - dx * vz, dx * vy - dy * vx
    det = ux * hx + uy * hy + uz * hz
    if det == 0.0:
        return False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0  # the segment lies along the triangle: no volume is swept
    sx, sy, sz = ax - triangle[0, 0], ay - triangle[0, 1], az + z - triangle[0, 2]
    a = (sx * hx + sy * hy + sz * hz) / det
    kx, ky, kz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    b = (dx * kx + dy * ky + dz * kz) / det
    t = (vx * kx + vy * ky + vz * kz) / det
    if a < 0.0 or b < 0.0 or a + b > 1.0 or t < 0.0 or t > 1.0:
        return False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    return (
        True,
        triangle[0, 0] + a * ux + b * vx,
        triangle[0, 1] + a * uy + b * vy,
        triangle[0, 2] + a * uz + b * vz,
        ax + t * dx,
        ay + t * dy,
        az + t * dz,
    )


@kernel
def _inside(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int,
) -> tuple[bool, float, float, float, float, float, float]:  # fmt: skip
    """Whether the middle of the solid is in the swept triangle: a point of it, and the q that brings them together."""
    z = 0.5 * (profile[first, 1] - down + profile[last, 1] + up)
    a, b = q0, q1 - 1
    if q1 - q0 > 2:
        width, a, b = _width(points, q0, q1)
        if width > FLAT:
            is_in, qx, qy, qz = _stabbed(triangle, points, q0, q1, z)
            return is_in, qx, qy, qz + z, qx, qy, qz
    is_in, px, py, pz, qx, qy, qz = _segment_meets(triangle, points, a, b, z)
    if is_in:  # nearly flat polytopes give any a, b and t: only a point in the solid counts
        d, _, _, _ = distance_at(profile, first, last, split, down, up, px - qx, py - qy, pz - qz)
        is_in = d <= GAP
    return is_in, px, py, pz, qx, qy, qz
