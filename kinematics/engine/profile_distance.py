"""Distance of a point and of a segment to a convex solid of revolution: exact, certified.

1. A profile is a convex polyline of (r, z), the lowest point first, turned about Z and filled to the axis.
   Its widest point stands twice, at `split` and after it: up to `split` the profile moves down by `down`,
   after it up by `up`. So a straight lift costs nothing.
2. The point of such a solid nearest to p lies at p's own azimuth: a distance in (r, z).
3. Distance is convex: where it is d at p, and grows along n there, it is at least d + n (p' - p) at p'. Along a
   segment it is found by such tangents, with a certified gap of GAP.
4. What this file does not know: triangles, tip positions, bodies, tools, units other than mm.

The idea of the second: O. Ilushin, G. Elber, D. Halperin, R. Wein, M.-S. Kim, "Precise global collision
detection in multi-axis NC-machining", Computer-Aided Design 37 (2005).
"""

from __future__ import annotations

import math

from kinematics.engine.compiled import kernel
from kinematics.pose import Array

GAP = 1e-9  # mm; how far the least value along an edge may be above the true one
MOST_STEPS = 200  # along one edge; bisection alone needs about 130


@kernel
def _nearest(
    profile: Array, first: int, last: int, split: int, down: float, up: float, rho: float, z: float
) -> tuple[float, float, float, float, float]:
    """As `profile_near`, and the direction (r, z) in which the distance grows; zeros inside.

    Beside a row the direction is the normal of the row, not the difference of two points that may be very near.
    """
    z_low, z_high = profile[first, 1] - down, profile[last, 1] + up
    if z <= z_low and rho <= profile[first, 0]:
        return z_low - z, rho, z_low, 0.0, -1.0
    if z >= z_high and rho <= profile[last, 0]:
        return z - z_high, rho, z_high, 0.0, 1.0
    ar, az = profile[first, 0], z_low
    x, y = rho - ar, z - az
    best, best_r, best_z, widest = x * x + y * y, ar, az, ar
    is_out = z < z_low or z > z_high
    for j in range(first + 1, last + 1):
        br = profile[j, 0]
        bz = profile[j, 1] + (up if j > split else -down)
        dr, dz = br - ar, bz - az
        across = x * dz - y * dr
        if across > 0.0:
            is_out = True
            along, length2 = x * dr + y * dz, dr * dr + dz * dz
            if 0.0 < along < length2:  # right beside this row of a convex outline: nothing is nearer
                length, t = math.sqrt(length2), along / length2
                return across / length, ar + t * dr, az + t * dz, dz / length, -dr / length
        x, y = rho - br, z - bz
        d2 = x * x + y * y
        if d2 < best:
            best, best_r, best_z = d2, br, bz
        widest = max(widest, br)
        ar, az = br, bz
    if best <= 0.0 or (not is_out and rho <= widest):
        return 0.0, rho, z, 0.0, 0.0
    d = math.sqrt(best)
    return d, best_r, best_z, (rho - best_r) / d, (z - best_z) / d


@kernel
def profile_near(
    profile: Array, first: int, last: int, split: int, down: float, up: float, rho: float, z: float
) -> tuple[float, float, float]:
    """Distance from (rho, z), rho >= 0, to the profile's rows first..last, and its nearest (r, z); 0 inside."""
    d, r, h, _, _ = _nearest(profile, first, last, split, down, up, rho, z)
    return d, r, h


@kernel
def distance_at(
    profile: Array, first: int, last: int, split: int, down: float, up: float, x: float, y: float, z: float
) -> tuple[float, float, float, float]:
    """Distance at a point, and the direction in which it grows; zeros inside."""
    rho = math.sqrt(x * x + y * y)
    d, _, _, nr, nz = _nearest(profile, first, last, split, down, up, rho, z)
    if rho > 0.0:
        return d, nr * (x / rho), nr * (y / rho), nz
    return d, 0.0, 0.0, nz


@kernel
def segment_least(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, cap: float,
) -> tuple[float, float]:  # fmt: skip
    """Least distance along the segment a-b, within GAP, and its t in [0, 1].

    Where it is at least `cap`, any distance of at least `cap` may be returned.
    """
    dx, dy, dz = bx - ax, by - ay, bz - az
    g0, nx, ny, nz = distance_at(profile, first, last, split, down, up, ax, ay, az)
    s0 = nx * dx + ny * dy + nz * dz
    g1, nx, ny, nz = distance_at(profile, first, last, split, down, up, bx, by, bz)
    s1 = nx * dx + ny * dy + nz * dz
    return between(profile, first, last, split, down, up, ax, ay, az, dx, dy, dz, g0, s0, g1, s1, cap)


@kernel
def between(
    profile: Array, first: int, last: int, split: int, down: float, up: float,
    ax: float, ay: float, az: float, dx: float, dy: float, dz: float,
    g0: float, s0: float, g1: float, s1: float, cap: float,
) -> tuple[float, float]:  # fmt: skip
    """As `segment_least` for a + t d, where the distances and slopes at its ends are known."""
    if g0 <= 0.0 or s0 >= 0.0:
        return g0, 0.0
    if g1 <= 0.0 or s1 <= 0.0:
        return g1, 1.0
    best, at = (g0, 0.0) if g0 <= g1 else (g1, 1.0)
    t0, t1, width = 0.0, 1.0, 1.0
    n_slow = 0
    for _ in range(MOST_STEPS):
        # where the two tangents meet is a lower bound; they lean towards each other, since s0 < 0 < s1
        meet = t0 + (g1 - g0 - s1 * (t1 - t0)) / (s0 - s1)
        least = g0 + s0 * (meet - t0)
        if best - least <= GAP or least >= cap:
            break
        if n_slow >= 2:
            t, n_slow = 0.5 * (t0 + t1), 0
        elif n_slow == 1:
            t = meet  # near a corner of the profile the distance is two straight lines, and this is where they meet
        else:
            t = t0 - s0 * (t1 - t0) / (s1 - s0)  # where the slope would be level if it were a straight line
        edge = 1e-3 * (t1 - t0)
        t = min(t1 - edge, max(t0 + edge, t))
        x, y, z = ax + t * dx, ay + t * dy, az + t * dz
        g, nx, ny, nz = distance_at(profile, first, last, split, down, up, x, y, z)
        s = nx * dx + ny * dy + nz * dz
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
