"""A convex solid of revolution against a triangle, or a triangle swept by tip positions: exact, certified.

1. A profile is a convex polyline of (r, z), the lowest point first, turned about Z and filled to the axis.
   Its widest point stands twice, at `split` and after it: up to `split` the profile moves down by `down`,
   after it up by `up`. So a straight lift costs nothing.
2. The point of such a solid nearest to p lies at p's own azimuth: a distance in (r, z).
3. Moving the tool by q is moving the obstacle by -q: d(K (+) Q, D) = d(K, D (+) (-Q)). For a triangle D and
   a point, a segment or a level convex polygon Q that is a convex polytope. All its edges and faces are among
   "edge of D at a corner of Q", "corner of D along an edge of Q", D itself at a corner of Q, Q at a corner of
   D, and the parallelograms of an edge of each; the rest of these lies inside it and does no harm.
4. Along an edge the distance is convex: it is found by tangents, with a certified gap of GAP. On a face it is
   least where the supporting point of K projects into the face, else on an edge.
5. A solid that touches no edge and no face may still be inside the polytope: one of its points decides.
6. Flat polytopes (D parallel to Q) and triangles without area need no case of their own: their edges remain.
7. What this file does not know: trees, bodies, tools, units other than mm.

The idea of the first two: O. Ilushin, G. Elber, D. Halperin, R. Wein, M.-S. Kim, "Precise global collision
detection in multi-axis NC-machining", Computer-Aided Design 37 (2005). Minkowski sums for translations:
T. Lozano-Perez, "Spatial planning: a configuration space approach", IEEE Trans. Computers 32 (1983).
"""

from __future__ import annotations

import math

from kinematics.engine.compiled import kernel
from kinematics.pose import Array

GAP = 1e-9  # mm; how far the least value along an edge may be above the true one
SAME = 1e-9  # mm; corners of the profile whose heights over a face differ by less are tried alike
MOST_STEPS = 80  # along one edge; bisection alone needs about 40
UPRIGHT = 1e-9  # sine below which a face counts as level


@kernel
def profile_near(
    profile: Array, first: int, last: int, split: int, down: float, up: float, rho: float, z: float
) -> tuple[float, float, float]:
    """Distance from (rho, z), rho >= 0, to the profile's rows first..last, and its nearest (r, z); 0 inside."""
    z_low, z_high = profile[first, 1] - down, profile[last, 1] + up
    if z <= z_low and rho <= profile[first, 0]:
        return z_low - z, rho, z_low
    if z >= z_high and rho <= profile[last, 0]:
        return z - z_high, rho, z_high
    best, best_r, best_z = math.inf, 0.0, 0.0
    ar = profile[first, 0]
    az = z_low
    for j in range(first + 1, last + 1):
        br = profile[j, 0]
        bz = profile[j, 1] + (up if j > split else -down)
        dr, dz = br - ar, bz - az
        length2 = dr * dr + dz * dz
        if length2 > 0.0:
            if az <= z <= bz and rho <= ar + dr * ((z - az) / dz):
                return 0.0, rho, z
            t = ((rho - ar) * dr + (z - az) * dz) / length2
            t = min(1.0, max(0.0, t))
            r, h = ar + t * dr, az + t * dz
            d2 = (rho - r) * (rho - r) + (z - h) * (z - h)
            if d2 < best:
                best, best_r, best_z = d2, r, h
        ar, az = br, bz
    return math.sqrt(best), best_r, best_z


@kernel
def _along(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ax: float, ay: float, az: float, dx: float, dy: float, dz: float, t: float,
) -> tuple[float, float]:  # fmt: skip
    """Distance at a + t d, and its slope over t."""
    x, y, z = ax + t * dx, ay + t * dy, az + t * dz
    rho = math.sqrt(x * x + y * y)
    d, r, h = profile_near(profile, first, last, split, down, up, rho, z)
    if d <= 0.0:
        return 0.0, 0.0
    slope = (z - h) * dz
    if rho > 0.0:
        slope += (rho - r) * ((x * dx + y * dy) / rho)
    return d, slope / d


@kernel
def segment_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, cap: float,
) -> tuple[float, float]:  # fmt: skip
    """Least distance along the segment a-b, within GAP, and its t in [0, 1].

    Where it is at least `cap`, any distance of at least `cap` may be returned.
    """
    dx, dy, dz = bx - ax, by - ay, bz - az
    t0, t1 = 0.0, 1.0
    g0, s0 = _along(profile, first, last, split, down, up, ax, ay, az, dx, dy, dz, 0.0)
    if g0 <= 0.0 or s0 >= 0.0:
        return g0, 0.0
    g1, s1 = _along(profile, first, last, split, down, up, ax, ay, az, dx, dy, dz, 1.0)
    if g1 <= 0.0 or s1 <= 0.0:
        return g1, 1.0
    best, at = (g0, 0.0) if g0 <= g1 else (g1, 1.0)
    width = 1.0
    n_slow = 0
    for _ in range(MOST_STEPS):
        # where the two tangents meet is a lower bound; they lean towards each other, since s0 < 0 < s1
        meet = t0 + (g1 - g0 - s1 * (t1 - t0)) / (s0 - s1)
        least = g0 + s0 * (meet - t0)
        if best - least <= GAP or least >= cap:
            break
        if n_slow >= 2:
            t, n_slow = 0.5 * (t0 + t1), 0
        else:
            t = t0 - s0 * (t1 - t0) / (s1 - s0)  # where the slope would be level if it were a straight line
        edge = 1e-3 * (t1 - t0)
        t = min(t1 - edge, max(t0 + edge, t))
        g, s = _along(profile, first, last, split, down, up, ax, ay, az, dx, dy, dz, t)
        if g < best:
            best, at = g, t
        if g <= 0.0:
            break
        far = (t0 - t) if s > 0.0 else (t1 - t)
        if best - (g + s * far) <= GAP:  # one tangent alone bounds what is left
            break
        if s < 0.0:
            t0, g0, s0 = t, g, s
        else:
            t1, g1, s1 = t, g, s
        n_slow = n_slow + 1 if t1 - t0 > 0.5 * width else 0
        width = t1 - t0
        if width <= 1e-15:
            break
    return best, at


@kernel
def _face_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ox: float, oy: float, oz: float, ux: float, uy: float, uz: float, vx: float, vy: float, vz: float,
    n_corners: int, cap: float,
) -> tuple[float, float, float]:  # fmt: skip
    """Distance to the inside of the face o + a u + b v where it is least there, with a and b; else `cap`.

    The face is a triangle (3 corners: a + b <= 1) or a parallelogram (4: a, b <= 1). 0 where the solid crosses its inside.
    """
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    uu, vv = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz
    length = math.sqrt(nx * nx + ny * ny + nz * nz)
    if length <= 1e-12 * math.sqrt(uu * vv) or length <= 1e-150:
        return cap, 0.0, 0.0  # no area: its edges are all of it
    nx, ny, nz = nx / length, ny / length, nz / length
    level = math.sqrt(nx * nx + ny * ny)
    hx, hy = (nx / level, ny / level) if level > UPRIGHT else (0.0, 0.0)
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
    uv = ux * vx + uy * vy + uz * vz
    det = uu * vv - uv * uv
    best, best_a, best_b = cap, 0.0, 0.0
    if low <= c <= high:  # the plane cuts the solid: one point of the section
        zh = profile[j_high, 1] + (up if j_high > split else -down)
        zl = profile[j_low, 1] + (up if j_low > split else -down)
        rh, rl = profile[j_high, 0], -profile[j_low, 0]
        share = (c - low) / (high - low) if high > low else 0.0
        r = rl + share * (rh - rl)
        x, y, z = r * hx - ox, r * hy - oy, zl + share * (zh - zl) - oz
        xu, xv = x * ux + y * uy + z * uz, x * vx + y * vy + z * vz
        a, b = (xu * vv - xv * uv) / det, (xv * uu - xu * uv) / det
        if a >= 0.0 and b >= 0.0 and (a + b <= 1.0 if n_corners == 3 else (a <= 1.0 and b <= 1.0)):
            return 0.0, a, b
        return best, best_a, best_b
    side = 1.0 if c > high else -1.0
    reach = high if side > 0.0 else -low  # support value towards the face
    if side * c - reach >= cap:
        return best, best_a, best_b
    for j in range(first, last + 1):
        z = profile[j, 1] + (up if j > split else -down)
        value = side * z * nz + profile[j, 0] * level
        if value < reach - SAME:
            continue
        gap = side * c - value
        r = side * profile[j, 0]
        x, y, z = r * hx + side * gap * nx - ox, r * hy + side * gap * ny - oy, z + side * gap * nz - oz
        xu, xv = x * ux + y * uy + z * uz, x * vx + y * vy + z * vz
        a, b = (xu * vv - xv * uv) / det, (xv * uu - xu * uv) / det
        is_in = a >= 0.0 and b >= 0.0 and (a + b <= 1.0 if n_corners == 3 else (a <= 1.0 and b <= 1.0))
        if is_in and gap < best:
            best, best_a, best_b = gap, a, b
    return best, best_a, best_b


@kernel
def _is_in_polygon(points: Array, q0: int, q1: int, x: float, y: float) -> bool:
    """Whether (x, y) is in the level convex polygon of rows q0..q1-1, counter-clockwise."""
    for j in range(q0, q1):
        k = j + 1 if j + 1 < q1 else q0
        ex, ey = points[k, 0] - points[j, 0], points[k, 1] - points[j, 1]
        if ex * (y - points[j, 1]) - ey * (x - points[j, 0]) < 0.0:
            return False
    return True


@kernel
def _level_least(
    profile: Array, first: int, last: int, down: float, up: float,
    points: Array, q0: int, q1: int, dx: float, dy: float, dz: float, cap: float,
) -> float:  # fmt: skip
    """Distance to the inside of the level face d - Q where it is least right over or under the axis; else `cap`."""
    z = dz - points[q0, 2]
    if not _is_in_polygon(points, q0, q1, dx, dy):
        return cap
    z_low, z_high = profile[first, 1] - down, profile[last, 1] + up
    return min(cap, max(0.0, z_low - z, z - z_high))


@kernel
def _stabbed(triangle: Array, points: Array, q0: int, q1: int, z: float) -> tuple[bool, float, float, float]:
    """Whether (0, 0, z) + Q meets the triangle, and the q of Q at which it does."""
    if q1 - q0 == 2:
        return _segment_meets(triangle, points, q0, z)
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
def _segment_meets(triangle: Array, points: Array, q0: int, z: float) -> tuple[bool, float, float, float]:
    ax, ay, az = points[q0, 0], points[q0, 1], points[q0, 2] + z
    dx, dy, dz = points[q0 + 1, 0] - ax, points[q0 + 1, 1] - ay, points[q0 + 1, 2] + z - az
    ux, uy, uz = triangle[1, 0] - triangle[0, 0], triangle[1, 1] - triangle[0, 1], triangle[1, 2] - triangle[0, 2]
    vx, vy, vz = triangle[2, 0] - triangle[0, 0], triangle[2, 1] - triangle[0, 1], triangle[2, 2] - triangle[0, 2]
    hx, hy, hz = dy * vz - dz * vy, dz * vx - dx * vz, dx * vy - dy * vx
    det = ux * hx + uy * hy + uz * hz
    if det == 0.0:
        return False, 0.0, 0.0, 0.0  # the segment lies along the triangle: no volume is swept
    sx, sy, sz = ax - triangle[0, 0], ay - triangle[0, 1], az - triangle[0, 2]
    a = (sx * hx + sy * hy + sz * hz) / det
    kx, ky, kz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    b = (dx * kx + dy * ky + dz * kz) / det
    t = (vx * kx + vy * ky + vz * kz) / det
    if a < 0.0 or b < 0.0 or a + b > 1.0 or t < 0.0 or t > 1.0:
        return False, 0.0, 0.0, 0.0
    return True, ax + t * dx, ay + t * dy, az + t * dz - z


@kernel
def triangle_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    triangle: Array, points: Array, q0: int, q1: int, cap: float,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
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
    best = cap
    px = py = pz = qx = qy = qz = 0.0
    n_edges = 0 if q1 - q0 == 1 else (1 if q1 - q0 == 2 else q1 - q0)
    for j in range(q0, q1):
        x, y, z = points[j, 0], points[j, 1], points[j, 2]
        for i in range(3):
            k = i + 1 if i < 2 else 0
            d, t = segment_least(
                profile, first, last, split, down, up,
                triangle[i, 0] - x, triangle[i, 1] - y, triangle[i, 2] - z,
                triangle[k, 0] - x, triangle[k, 1] - y, triangle[k, 2] - z, best,
            )  # fmt: skip
            if d < best:
                best = d
                px = triangle[i, 0] + t * (triangle[k, 0] - triangle[i, 0])
                py = triangle[i, 1] + t * (triangle[k, 1] - triangle[i, 1])
                pz = triangle[i, 2] + t * (triangle[k, 2] - triangle[i, 2])
                qx, qy, qz = x, y, z
                if d <= 0.0:
                    return 0.0, px, py, pz, qx, qy, qz
        ux, uy, uz = triangle[1, 0] - triangle[0, 0], triangle[1, 1] - triangle[0, 1], triangle[1, 2] - triangle[0, 2]
        vx, vy, vz = triangle[2, 0] - triangle[0, 0], triangle[2, 1] - triangle[0, 1], triangle[2, 2] - triangle[0, 2]
        d, a, b = _face_least(
            profile, first, last, split, down, up,
            triangle[0, 0] - x, triangle[0, 1] - y, triangle[0, 2] - z, ux, uy, uz, vx, vy, vz, 3, best,
        )  # fmt: skip
        if d < best:
            best = d
            px = triangle[0, 0] + a * ux + b * vx
            py = triangle[0, 1] + a * uy + b * vy
            pz = triangle[0, 2] + a * uz + b * vz
            qx, qy, qz = x, y, z
            if d <= 0.0:
                return 0.0, px, py, pz, qx, qy, qz
    for j in range(q0, q0 + n_edges):
        m = j + 1 if j + 1 < q1 else q0
        x, y, z = points[j, 0], points[j, 1], points[j, 2]
        ex, ey, ez = points[m, 0] - x, points[m, 1] - y, points[m, 2] - z
        for i in range(3):
            k = i + 1 if i < 2 else 0
            ox, oy, oz = triangle[i, 0] - x, triangle[i, 1] - y, triangle[i, 2] - z
            d, t = segment_least(
                profile, first, last, split, down, up, ox, oy, oz, ox - ex, oy - ey, oz - ez, best
            )  # fmt: skip
            if d < best:
                best = d
                px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
                qx, qy, qz = x + t * ex, y + t * ey, z + t * ez
                if d <= 0.0:
                    return 0.0, px, py, pz, qx, qy, qz
            ux, uy, uz = (
                triangle[k, 0] - triangle[i, 0],
                triangle[k, 1] - triangle[i, 1],
                triangle[k, 2] - triangle[i, 2],
            )
            d, a, b = _face_least(
                profile, first, last, split, down, up, ox, oy, oz, ux, uy, uz, -ex, -ey, -ez, 4, best
            )  # fmt: skip
            if d < best:
                best = d
                px, py, pz = triangle[i, 0] + a * ux, triangle[i, 1] + a * uy, triangle[i, 2] + a * uz
                qx, qy, qz = x + b * ex, y + b * ey, z + b * ez
                if d <= 0.0:
                    return 0.0, px, py, pz, qx, qy, qz
    if n_edges > 1:
        for i in range(3):
            d = _level_least(
                profile, first, last, down, up, points, q0, q1,
                triangle[i, 0], triangle[i, 1], triangle[i, 2], best,
            )  # fmt: skip
            if d < best:
                best = d
                px, py, pz = triangle[i, 0], triangle[i, 1], triangle[i, 2]
                qx, qy, qz = triangle[i, 0], triangle[i, 1], points[q0, 2]
                if d <= 0.0:
                    return 0.0, px, py, pz, qx, qy, qz
    if n_edges > 0:
        middle = 0.5 * (profile[first, 1] - down + profile[last, 1] + up)
        is_inside, x, y, z = _stabbed(triangle, points, q0, q1, middle)
        if is_inside:
            return 0.0, x, y, z + middle, x, y, z
    return best, px, py, pz, qx, qy, qz
