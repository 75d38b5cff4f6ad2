"""Bounds over a box of angles: how near a box or a triangle of what the table turns can come to a round tool.

1. A box of angles is a row of numbers: its ends, the pose in its middle, the first axis's rotation at both ends, and
   how far a point turns. What one axis carries has one, what two carry has two; what stands has none.
2. First order: the distance in (r, z) in the middle of the angles, less how far any point can be from there.
3. Second order: a plane between the two. Along a fixed direction a point's arc under the last axis is a sine, whose
   least value is exact; the arc of the axis before stays within ``reach (1 - cos(half width))`` of its chord, square
   to that axis. A plane that turns with the body is the same with the tool turned back.
4. The tool is a convex profile (`chains.py`) over a level position set; points are in what the axes carry, whose
   origin is on the last axis.
5. What this file does not know: trees, pairs, how a search is made.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from kinematics.engine.compiled import kernel
from kinematics.engine.exact_leaf import Found, profile_near, triangle_least
from kinematics.pose import Array

RING = 24  # places of the first axis at which the tool's reach from the second is looked for
STILL = 1e-9  # mm; what moves no farther over a box of angles stands still there


class Stretch(NamedTuple):
    """A convex stretch of the tool over a level position set, in the words of `exact_leaf.triangle_least`."""

    profile: Array
    first: int
    last: int
    split: int
    down: float
    up: float
    points: Array
    q0: int
    q1: int


# a box of angles as a row of numbers
LO1, HI1, LO2, HI2 = 0, 1, 2, 3  # degrees
R, T = 4, 13  # pose in W of what the axes carry, in the middle
_RA, _RB = 16, 25  # rotation by the first axis at both of its ends
_TRIG = 34  # cosine and sine of the last axis at both of its ends
_MOVE1, _MOVE2, _OFF1, _OFF2, _WIDTH = 38, 39, 40, 41, 42
COLUMNS = 43


# ---- boxes of angles ---------------------------------------------------------------------------


@kernel
def _cos_sin(deg: float) -> tuple[float, float]:
    """Cosine and sine, exact at quarter turns."""
    quarter = deg / 90.0
    if quarter == math.floor(quarter):
        k = int(quarter) % 4
        if k == 0:
            return 1.0, 0.0
        if k == 1:
            return 0.0, 1.0
        if k == 2:
            return -1.0, 0.0
        return 0.0, -1.0
    rad = math.radians(deg)
    return math.cos(rad), math.sin(rad)


@kernel
def _set_turn(row: Array, at: int, axes: Array, k: int, deg: float) -> None:
    """The rotation by axis k into row[at : at + 9]."""
    c, s = _cos_sin(deg)
    x, y, z = axes[k, 3], axes[k, 4], axes[k, 5]
    u = 1.0 - c
    row[at], row[at + 1], row[at + 2] = c + x * x * u, x * y * u - z * s, x * z * u + y * s
    row[at + 3], row[at + 4], row[at + 5] = y * x * u + z * s, c + y * y * u, y * z * u - x * s
    row[at + 6], row[at + 7], row[at + 8] = z * x * u - y * s, z * y * u + x * s, c + z * z * u


@kernel
def set_angles(row: Array, n_axes: int, axes: Array) -> None:
    """All else of a box of angles, from its four ends."""
    for k in range(4, COLUMNS):
        row[k] = 0.0
    row[R] = row[R + 4] = row[R + 8] = 1.0
    if n_axes == 0:
        return
    lo1, hi1, lo2, hi2 = row[LO1], row[HI1], row[LO2], row[HI2]
    _set_turn(row, R, axes, 0, 0.5 * (lo1 + hi1))
    row[T], row[T + 1], row[T + 2] = axes[0, 0], axes[0, 1], axes[0, 2]
    _set_turn(row, _RA, axes, 0, lo1)
    _set_turn(row, _RB, axes, 0, hi1)
    row[_MOVE1] = 2.0 * math.sin(math.radians(min(0.25 * (hi1 - lo1), 90.0)))
    row[_OFF1] = 1.0 - _cos_sin(min(0.5 * (hi1 - lo1), 180.0))[0]
    lo, hi = lo1, hi1
    if n_axes == 2:
        lo, hi = lo2, hi2
        first, last = np.zeros(9), np.zeros(9)
        _set_turn(first, 0, axes, 0, 0.5 * (lo1 + hi1))
        _set_turn(last, 0, axes, 1, 0.5 * (lo2 + hi2))
        for i in range(3):
            a, b, c = first[3 * i], first[3 * i + 1], first[3 * i + 2]
            row[T + i] += a * axes[1, 0] + b * axes[1, 1] + c * axes[1, 2]
            for j in range(3):
                row[R + 3 * i + j] = a * last[j] + b * last[3 + j] + c * last[6 + j]
        row[_MOVE2] = 2.0 * math.sin(math.radians(min(0.25 * (hi2 - lo2), 90.0)))
        row[_OFF2] = 1.0 - _cos_sin(min(0.5 * (hi2 - lo2), 180.0))[0]
    row[_TRIG], row[_TRIG + 1] = _cos_sin(lo)
    row[_TRIG + 2], row[_TRIG + 3] = _cos_sin(hi)
    row[_WIDTH] = hi - lo


# ---- extents -----------------------------------------------------------------------------------


@kernel
def _arc_low(
    corners: Array, k: int, axes: Array, axis: int, row: Array, dx: float, dy: float, dz: float
) -> float:  # fmt: skip
    """Least extent along d of the arcs of k corners about an axis, over the stretch of the last axis."""
    ox, oy, oz, ax, ay, az = axes[axis, 0], axes[axis, 1], axes[axis, 2], axes[axis, 3], axes[axis, 4], axes[axis, 5]
    da = dx * ax + dy * ay + dz * az
    base = dx * ox + dy * oy + dz * oz
    ex, ey, ez = dy * az - dz * ay, dz * ax - dx * az, dx * ay - dy * ax  # d x a
    c0, s0, c1, s1, width = row[_TRIG], row[_TRIG + 1], row[_TRIG + 2], row[_TRIG + 3], row[_WIDTH]
    low = math.inf
    for i in range(k):
        x, y, z = corners[i, 0], corners[i, 1], corners[i, 2]
        along = da * (x * ax + y * ay + z * az)
        c = x * dx + y * dy + z * dz - along
        s = x * ex + y * ey + z * ez
        value = min(c * c0 + s * s0, c * c1 + s * s1)
        after_lo, before_hi = c * s0 - s * c0, s * c1 - c * s1  # of the lowest place, at (-c, -s)
        is_within = after_lo > 0.0 and before_hi > 0.0
        if width > 180.0:
            is_within = after_lo >= 0.0 or before_hi >= 0.0
        if is_within or width >= 360.0:
            value = -math.sqrt(c * c + s * s)
        low = min(low, along + value)
    return base + low


@kernel
def plane_low(
    corners: Array, k: int, n_axes: int, axes: Array, row: Array, reach: float, nx: float, ny: float, nz: float
) -> float:
    """A lower bound of the extent along n, in W, of k corners over a box of angles.

    `reach`: no corner is ever farther from the first of two axes.
    """
    if n_axes == 1:
        return _arc_low(corners, k, axes, 0, row, nx, ny, nz)
    low = math.inf
    if n_axes == 0:
        for i in range(k):
            low = min(low, nx * corners[i, 0] + ny * corners[i, 1] + nz * corners[i, 2])
        return low
    for end in range(2):
        at = _RA if end == 0 else _RB
        if end == 1 and row[_OFF1] == 0.0:
            break
        dx = row[at] * nx + row[at + 3] * ny + row[at + 6] * nz
        dy = row[at + 1] * nx + row[at + 4] * ny + row[at + 7] * nz
        dz = row[at + 2] * nx + row[at + 5] * ny + row[at + 8] * nz
        low = min(low, _arc_low(corners, k, axes, 1, row, dx, dy, dz))
    along = nx * axes[0, 3] + ny * axes[0, 4] + nz * axes[0, 5]
    across = math.sqrt(max(0.0, 1.0 - along * along))
    return nx * axes[0, 0] + ny * axes[0, 1] + nz * axes[0, 2] + low - row[_OFF1] * reach * across


@kernel
def support(
    tool: Stretch, nx: float, ny: float, nz: float,
) -> float:  # fmt: skip
    """The extent along n of a convex stretch of the tool over all tip positions."""
    level = math.sqrt(nx * nx + ny * ny)
    best = -math.inf
    for j in range(tool.first, tool.last + 1):
        z = tool.profile[j, 1] + (tool.up if j > tool.split else -tool.down)
        best = max(best, level * tool.profile[j, 0] + nz * z)
    far = -math.inf
    for j in range(tool.q0, tool.q1):
        far = max(far, nx * tool.points[j, 0] + ny * tool.points[j, 1] + nz * tool.points[j, 2])
    return best + far


@kernel
def _turned_plane(
    cx: float, cy: float, cz: float, c: float, n_axes: int, axes: Array, row: Array, far1: float, far2: float,
    tool: Stretch,
) -> float:  # fmt: skip
    """A lower bound over a box of angles of how far the tool is under the plane n.p = c that turns along.

    n is a unit direction in what the axes carry. To the body the tool turns back, farther than `far1`, `far2` from
    the first and the second axis at no angle.
    """
    if n_axes == 0:
        return c - support(tool, cx, cy, cz)
    k = n_axes - 1
    ax, ay, az = axes[k, 3], axes[k, 4], axes[k, 5]
    along = cx * ax + cy * ay + cz * az
    px, py, pz = cx - along * ax, cy - along * ay, cz - along * az
    sx, sy, sz = ay * cz - az * cy, az * cx - ax * cz, ax * cy - ay * cx
    most = -math.inf
    for i in range(2):
        co, si = row[_TRIG + 2 * i], row[_TRIG + 2 * i + 1]
        mx, my, mz = along * ax + co * px + si * sx, along * ay + co * py + si * sy, along * az + co * pz + si * sz
        if n_axes == 1:
            high = support(tool, mx, my, mz)
            most = max(most, high - mx * axes[0, 0] - my * axes[0, 1] - mz * axes[0, 2])
            continue
        high = -math.inf
        for j in range(2):
            at = _RA if j == 0 else _RB
            nx = row[at] * mx + row[at + 1] * my + row[at + 2] * mz
            ny = row[at + 3] * mx + row[at + 4] * my + row[at + 5] * mz
            nz = row[at + 6] * mx + row[at + 7] * my + row[at + 8] * mz
            one = support(tool, nx, ny, nz)
            high = max(high, one - nx * axes[0, 0] - ny * axes[0, 1] - nz * axes[0, 2])
        over = mx * axes[0, 3] + my * axes[0, 4] + mz * axes[0, 5]
        high += row[_OFF1] * far1 * math.sqrt(max(0.0, 1.0 - over * over))
        most = max(most, high - mx * axes[1, 0] - my * axes[1, 1] - mz * axes[1, 2])
    off, far = (row[_OFF1], far1) if n_axes == 1 else (row[_OFF2], far2)
    return c - most - off * far * math.sqrt(max(0.0, 1.0 - along * along))


@kernel
def _near(tool: Stretch, rho: float, z: float) -> tuple[float, float, float]:
    return profile_near(tool.profile, tool.first, tool.last, tool.split, tool.down, tool.up, rho, z)


@kernel
def exact(tool: Stretch, triangle: Array, cap: float) -> Found:
    """`triangle_least` of the stretch."""
    return triangle_least(
        tool.profile, tool.first, tool.last, tool.split, tool.down, tool.up,
        triangle, tool.points, tool.q0, tool.q1, cap,
    )  # fmt: skip


@kernel
def nearest_point(tool: Stretch, x: float, y: float, z: float, q: Found) -> tuple[float, float, float]:
    """The tool's point nearest to p, for the tip position that `exact` gives."""
    dx, dy, dz = x - q[4], y - q[5], z - q[6]
    rho = math.sqrt(dx * dx + dy * dy)
    _, r, h = _near(tool, rho, dz)
    if rho == 0.0:
        return q[4] + r, q[5], q[6] + h
    return q[4] + dx * (r / rho), q[5] + dy * (r / rho), q[6] + h


# ---- a box in the middle of the angles -----------------------------------------------------------


@kernel
def level_gap(tool: Stretch, x0: float, x1: float, y0: float, y1: float) -> tuple[float, float, float]:
    """How far apart a rectangle and the level position set are, and the unit direction from the set to it."""
    points, q0, q1 = tool.points, tool.q0, tool.q1
    if q1 - q0 == 1:
        gx = x0 - points[q0, 0] if x0 > points[q0, 0] else min(0.0, x1 - points[q0, 0])
        gy = y0 - points[q0, 1] if y0 > points[q0, 1] else min(0.0, y1 - points[q0, 1])
        rho = math.sqrt(gx * gx + gy * gy)
        return (rho, gx / rho, gy / rho) if rho > 0.0 else (0.0, 0.0, 0.0)
    left, right, low, high = math.inf, -math.inf, math.inf, -math.inf
    is_apart = False
    for j in range(q0, q1):
        k = j + 1 if j + 1 < q1 else q0
        px, py = points[j, 0], points[j, 1]
        left, right, low, high = min(left, px), max(right, px), min(low, py), max(high, py)
        nx, ny = points[k, 1] - py, px - points[k, 0]  # outwards
        if nx * ((x0 if nx > 0.0 else x1) - px) + ny * ((y0 if ny > 0.0 else y1) - py) > 0.0:
            is_apart = True
    if not (is_apart or left > x1 or right < x0 or low > y1 or high < y0):
        return 0.0, 0.0, 0.0
    best, bx, by = math.inf, 0.0, 0.0
    for j in range(q0, q1):
        px, py = points[j, 0], points[j, 1]
        gx = x0 - px if x0 > px else min(0.0, x1 - px)
        gy = y0 - py if y0 > py else min(0.0, y1 - py)
        if gx * gx + gy * gy < best:
            best, bx, by = gx * gx + gy * gy, gx, gy
        k = j + 1 if j + 1 < q1 else q0
        ex, ey = points[k, 0] - px, points[k, 1] - py
        length2 = ex * ex + ey * ey
        if length2 <= 0.0:
            continue
        for i in range(4):
            gx, gy = (x0 if i & 1 else x1) - px, (y0 if i & 2 else y1) - py
            t = min(1.0, max(0.0, (gx * ex + gy * ey) / length2))
            gx, gy = gx - t * ex, gy - t * ey
            if gx * gx + gy * gy < best:
                best, bx, by = gx * gx + gy * gy, gx, gy
    rho = math.sqrt(best)
    return (rho, bx / rho, by / rho) if rho > 0.0 else (0.0, 0.0, 0.0)


@kernel
def wall_near(tool: Stretch, rho: float, z0: float, z1: float) -> tuple[float, float, float]:
    """Distance of the upright line at rho, z0 to z1, to a profile, and the direction (r, z) from it; 0 if they meet."""
    best, r, h = _near(tool, rho, z0)
    z = z0
    if best > 0.0 and z1 > z0:
        d, rr, hh = _near(tool, rho, z1)
        if d < best:
            best, r, h, z = d, rr, hh, z1
        for j in range(tool.first, tool.last + 1):
            zz = tool.profile[j, 1] + (tool.up if j > tool.split else -tool.down)
            if z0 <= zz <= z1:
                if tool.profile[j, 0] >= rho:
                    return 0.0, 0.0, 0.0
                if rho - tool.profile[j, 0] < best:
                    best, r, h, z = rho - tool.profile[j, 0], tool.profile[j, 0], zz, zz
    if best <= 0.0:
        return 0.0, 0.0, 0.0
    return best, (rho - r) / best, (z - h) / best


@kernel
def level_distance(tool: Stretch, corners: Array, k: int, row: Array) -> tuple[float, float, float, float]:
    """Distance in (r, z) of the upright box around k corners in the middle of the angles, and the direction to it."""
    x0 = y0 = z0 = math.inf
    x1 = y1 = z1 = -math.inf
    for i in range(k):
        x, y, z = in_W(corners, i, row)
        x0, x1, y0, y1, z0, z1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y), min(z0, z), max(z1, z)
    gap, ux, uy = level_gap(tool, x0, x1, y0, y1)
    z = tool.points[tool.q0, 2]
    d, nr, nz = wall_near(tool, gap, z0 - z, z1 - z)
    return d, nr * ux, nr * uy, nz


@kernel
def box_bound(
    corners: Array, k: int, n_axes: int, axes: Array, row: Array, tool: Stretch, hint: Array, beyond: float, at: Array
) -> float:
    """A lower bound of the distance over a box of angles of all between k corners.

    `hint`: a direction to try; the direction that was found is put into `at`. A bound of at least `beyond` need not
    be the best.
    """
    reach, _, moved = reaches(corners, k, n_axes, axes, row)
    d, at[0], at[1], at[2] = level_distance(tool, corners, k, row)
    best = d - moved
    if moved <= STILL:
        return best
    for way in range(2):
        if best >= beyond:
            break
        nx, ny, nz = (at[0], at[1], at[2]) if way == 0 else (hint[0], hint[1], hint[2])
        if nx != 0.0 or ny != 0.0 or nz != 0.0:
            low = plane_low(corners, k, n_axes, axes, row, reach, nx, ny, nz)
            best = max(best, low - support(tool, nx, ny, nz))
    return best


@kernel
def in_W(corners: Array, i: int, row: Array) -> tuple[float, float, float]:
    """A corner in W, in the middle of the angles."""
    x, y, z = corners[i, 0], corners[i, 1], corners[i, 2]
    return (
        row[R] * x + row[R + 1] * y + row[R + 2] * z + row[T],
        row[R + 3] * x + row[R + 4] * y + row[R + 5] * z + row[T + 1],
        row[R + 6] * x + row[R + 7] * y + row[R + 8] * z + row[T + 2],
    )


@kernel
def losses(
    corners: Array, k: int, n_axes: int, axes: Array, row: Array,
    nx: float, ny: float, nz: float, px: float, py: float, pz: float,
) -> tuple[float, float, float]:  # fmt: skip
    """What makes a bound along n loose, about: the turn about the first axis, about the second, the size.

    p: the place that counts, in W in the middle of the angles.
    """
    turn1, turn2 = _turn_losses(n_axes, axes, row, nx, ny, nz, px, py, pz)
    here = nx * px + ny * py + nz * pz - turn1 - turn2
    low = math.inf
    for i in range(k):
        x, y, z = in_W(corners, i, row)
        a, b = _turn_losses(n_axes, axes, row, nx, ny, nz, x, y, z)
        low = min(low, nx * x + ny * y + nz * z - a - b)
    return turn1, turn2, here - low


@kernel
def _turn_losses(
    n_axes: int, axes: Array, row: Array, nx: float, ny: float, nz: float, x: float, y: float, z: float
) -> tuple[float, float]:
    """How far a point may fall along n over half a turn about each axis: to the second order."""
    turn1 = turn2 = 0.0
    for k in range(n_axes):
        ax, ay, az = axes[k, 3], axes[k, 4], axes[k, 5]
        ox, oy, oz = axes[k, 0], axes[k, 1], axes[k, 2]
        if k == 1:  # where the second axis is in W; the origin of what it carries is on it
            bx, by, bz = ax, ay, az
            ax = row[R] * bx + row[R + 1] * by + row[R + 2] * bz
            ay = row[R + 3] * bx + row[R + 4] * by + row[R + 5] * bz
            az = row[R + 6] * bx + row[R + 7] * by + row[R + 8] * bz
            ox, oy, oz = row[T], row[T + 1], row[T + 2]
        vx, vy, vz = x - ox, y - oy, z - oz
        sx, sy, sz = ay * vz - az * vy, az * vx - ax * vz, ax * vy - ay * vx  # where it moves to
        radius = math.sqrt(sx * sx + sy * sy + sz * sz)
        move, off = (row[_MOVE1], row[_OFF1]) if k == 0 else (row[_MOVE2], row[_OFF2])
        loss = abs(nx * sx + ny * sy + nz * sz) * move + radius * off
        if k == 0:
            turn1 = loss
        else:
            turn2 = loss
    return turn1, turn2


@kernel
def reaches(corners: Array, k: int, n_axes: int, axes: Array, row: Array) -> tuple[float, float, float]:
    """How far from the first and from the second axis corners come, and how far they move from the middle."""
    if n_axes == 0:
        return 0.0, 0.0, 0.0
    last = reach = 0.0
    for i in range(k):
        last = max(last, _off_axis2(axes, n_axes - 1, corners[i, 0], corners[i, 1], corners[i, 2]))
        if n_axes == 2:
            x, y, z = in_W(corners, i, row)
            reach = max(reach, _off_axis2(axes, 0, x - axes[0, 0], y - axes[0, 1], z - axes[0, 2]))
    last = math.sqrt(last)
    if n_axes == 1:
        return last, 0.0, row[_MOVE1] * last
    reach = math.sqrt(reach) + row[_MOVE2] * last
    return reach, last, row[_MOVE1] * reach + row[_MOVE2] * last


@kernel
def _off_axis2(axes: Array, k: int, x: float, y: float, z: float) -> float:
    """The square of the distance of a point from axis k, from a point on the axis."""
    ax, ay, az = axes[k, 3], axes[k, 4], axes[k, 5]
    sx, sy, sz = ay * z - az * y, az * x - ax * z, ax * y - ay * x
    return sx * sx + sy * sy + sz * sz


@kernel
def own_plane(
    corners: Array, towards: Array, n_axes: int, axes: Array, row: Array, far1: float, far2: float,
    tool: Stretch,
) -> float:  # fmt: skip
    """A lower bound over a box of angles by a triangle's own plane, which turns with it.

    `towards`: a direction in W, in the middle of the angles, from the tool to the triangle.
    """
    ux, uy, uz = corners[1, 0] - corners[0, 0], corners[1, 1] - corners[0, 1], corners[1, 2] - corners[0, 2]
    vx, vy, vz = corners[2, 0] - corners[0, 0], corners[2, 1] - corners[0, 1], corners[2, 2] - corners[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    length = math.sqrt(nx * nx + ny * ny + nz * nz)
    if length <= 1e-9 * (ux * ux + uy * uy + uz * uz + vx * vx + vy * vy + vz * vz):
        return -math.inf  # a needle has no plane to speak of
    nx, ny, nz = nx / length, ny / length, nz / length
    wx = row[R] * nx + row[R + 1] * ny + row[R + 2] * nz
    wy = row[R + 3] * nx + row[R + 4] * ny + row[R + 5] * nz
    wz = row[R + 6] * nx + row[R + 7] * ny + row[R + 8] * nz
    if wx * towards[0] + wy * towards[1] + wz * towards[2] < 0.0:
        nx, ny, nz = -nx, -ny, -nz
    c = math.inf
    for i in range(3):  # the lowest of the three, for rounding
        c = min(c, nx * corners[i, 0] + ny * corners[i, 1] + nz * corners[i, 2])
    return _turned_plane(nx, ny, nz, c, n_axes, axes, row, far1, far2, tool)


@kernel
def farthest(tool: Stretch, n_axes: int, axes: Array) -> tuple[float, float]:
    """How far from the first and from the second axis the tool ever is, however far the first has turned."""
    first = second = 0.0
    turns = np.zeros((RING, 9))
    for i in range(RING if n_axes == 2 else 0):
        _set_turn(turns[i], 0, axes, 0, i * (360.0 / RING))
    for q in range(tool.q0, tool.q1):
        for j in range(2 * tool.first, 2 * tool.last + 2):
            r, z = tool.profile[j >> 1, 0], tool.profile[j >> 1, 1] + (tool.up if j & 1 else -tool.down)
            x, y, z = tool.points[q, 0] - axes[0, 0], tool.points[q, 1] - axes[0, 1], tool.points[q, 2] + z - axes[0, 2]
            off = math.sqrt(_off_axis2(axes, 0, x, y, z))
            first = max(first, off + r)
            if n_axes < 2:
                continue
            far2 = 0.0
            for i in range(RING):
                turn = turns[i]
                far2 = max(far2, _off_axis2(
                    axes, 1,
                    turn[0] * x + turn[3] * y + turn[6] * z - axes[1, 0],
                    turn[1] * x + turn[4] * y + turn[7] * z - axes[1, 1],
                    turn[2] * x + turn[5] * y + turn[8] * z - axes[1, 2],
                ))  # fmt: skip
            second = max(second, math.sqrt(far2) + off * (1.0 - math.cos(math.pi / RING)) + r)
    return first, second
