"""Half lines from one point against frusta and against trees of triangles: which of them are stopped.

1. Frusta in closed form, in the tip frame: the quadratic of the radius along the axis, and the two ends.
2. Triangles stay in the frame G of their body: the lines go there. A line is stopped by the first triangle
   that it meets (T. Moller, B. Trumbore, "Fast, minimum storage ray-triangle intersection", Journal of
   Graphics Tools 2 (1997)); boxes that it misses are not opened.
3. A line that passes the rim of a triangle within RIM meets it: no line slips through where two triangles
   join, and rounding in the way to G opens no view along a face.
4. A line in the plane of a triangle does not meet it; what joins the triangle stops it.
5. What this file does not know: operators, gaps, what the bodies are.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.engine.triangle_tree import MOST_DEPTH, Ints, triangle_tree
from kinematics.pose import Array, frozen
from kinematics.solids import Triangles

Mask = NDArray[np.bool_]

START = 1e-3  # mm; a line starts this far from its point, beyond rounding
RIM = 1e-9  # mm; beyond rounding at any size of a machine
ROOM = 1e-6  # mm, around every box, beyond RIM
PARALLEL = 1e-12  # sine below which a line is in the plane of a triangle
FLAT = 1e-12  # below this a line is level, or as steep as the side of a cone


@kernel
def stopped_by_frusta(p: Array, lines: Array, frusta: Array, grow: float, is_open: Mask) -> int:
    """Mark the lines that a frustum stops; returns how many are still open.

    Parameters
    ----------
    p : (3,), lines : (n, 3) unit directions; both in the frame of the frusta.
    frusta : (k, 4), radius at the lower end and at the upper one, height of the lower end and of the upper
        one, about Z.
    grow : mm by which every frustum is larger all round.
    is_open : (n,), lines that are already stopped are left alone; written to.
    """
    n_open = 0
    for i in range(len(lines)):
        if not is_open[i]:
            continue
        for k in range(len(frusta)):
            if _meets_frustum(
                p[0], p[1], p[2], lines[i, 0], lines[i, 1], lines[i, 2],
                frusta[k, 0] + grow, frusta[k, 1] + grow, frusta[k, 2] - grow, frusta[k, 3] + grow,
            ):  # fmt: skip
                is_open[i] = False
                break
        if is_open[i]:
            n_open += 1
    return n_open


@kernel
def _meets_frustum(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float, r1: float, r2: float, z1: float, z2: float
) -> bool:
    if (pz > z2 and dz >= 0.0) or (pz < z1 and dz <= 0.0):
        return False
    if abs(dz) > FLAT:
        for z_end, r_end in ((z1, r1), (z2, r2)):
            t = (z_end - pz) / dz
            x, y = px + t * dx, py + t * dy
            if t > START and x * x + y * y <= r_end * r_end:
                return True
    # radius along the axis: r(z) = r1 + slope (z - z1); solve |p_xy + t d_xy| = r(p_z + t d_z)
    slope = (r2 - r1) / (z2 - z1)
    r0, k = r1 + slope * (pz - z1), slope * dz
    a = dx * dx + dy * dy - k * k
    b = 2.0 * (px * dx + py * dy - r0 * k)
    disc = b * b - 4.0 * a * (px * px + py * py - r0 * r0)
    if disc < 0.0 or abs(a) <= FLAT:
        return False
    root = math.sqrt(disc)
    t = (-b - root) / (2.0 * a)
    if t > START and z1 <= pz + t * dz <= z2:
        return True
    t = (-b + root) / (2.0 * a)
    return t > START and z1 <= pz + t * dz <= z2


@kernel
def stopped_by_triangles(
    p_W: Array, lines_W: Array, planes_W: Array, R_WG: Array, p_WG: Array,
    vertices: Array, faces: Ints, boxes: Array, first: Ints, count: Ints, is_open: Mask,
) -> int:  # fmt: skip
    """Mark the lines that a body stops; returns how many are still open.

    Parameters
    ----------
    p_W : (3,), lines_W : (n, 3) unit directions.
    planes_W : (k, 3), directions to none of which a line runs opposite: a body wholly behind the plane square
        to one of them, through p, is out of the way.
    R_WG, p_WG : pose of the body.
    vertices, faces, boxes, first, count : its tree, see `triangle_tree.py`.
    is_open : (n,), lines that are already stopped are left alone; written to.
    """
    px, py, pz = _turned(R_WG, p_W[0] - p_WG[0], p_W[1] - p_WG[1], p_W[2] - p_WG[2])
    n_open = 0
    if _is_behind(px, py, pz, planes_W, R_WG, boxes):
        for i in range(len(is_open)):
            n_open += is_open[i]
        return n_open
    stack = np.zeros(MOST_DEPTH + 1, dtype=np.int32)
    latest = -1  # the triangle that stopped the line before is likely to stop the next
    for i in range(len(lines_W)):
        if is_open[i]:
            dx, dy, dz = _turned(R_WG, lines_W[i, 0], lines_W[i, 1], lines_W[i, 2])
            if latest < 0 or not _meets_triangle(px, py, pz, dx, dy, dz, vertices, faces, latest):
                latest = _first_met(px, py, pz, dx, dy, dz, vertices, faces, boxes, first, count, stack)
            is_open[i] = latest < 0
            n_open += is_open[i]
    return n_open


@kernel
def _turned(R_WG: Array, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A vector of W in G."""
    return (
        R_WG[0, 0] * x + R_WG[1, 0] * y + R_WG[2, 0] * z,
        R_WG[0, 1] * x + R_WG[1, 1] * y + R_WG[2, 1] * z,
        R_WG[0, 2] * x + R_WG[1, 2] * y + R_WG[2, 2] * z,
    )


@kernel
def _is_behind(px: float, py: float, pz: float, planes_W: Array, R_WG: Array, boxes: Array) -> bool:
    """Whether the body's box is wholly behind one of the planes through p."""
    hx, hy, hz = (
        (boxes[0, 3] - boxes[0, 0]) / 2,
        (boxes[0, 4] - boxes[0, 1]) / 2,
        (boxes[0, 5] - boxes[0, 2]) / 2,
    )
    x, y, z = boxes[0, 0] + hx - px, boxes[0, 1] + hy - py, boxes[0, 2] + hz - pz
    for k in range(len(planes_W)):
        nx, ny, nz = _turned(R_WG, planes_W[k, 0], planes_W[k, 1], planes_W[k, 2])
        if nx * x + ny * y + nz * z + abs(nx) * hx + abs(ny) * hy + abs(nz) * hz < -ROOM:
            return True
    return False


@kernel
def _first_met(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float,
    vertices: Array, faces: Ints, boxes: Array, first: Ints, count: Ints, stack: Ints,
) -> int:  # fmt: skip
    """The row of a triangle that the line meets; -1 for none."""
    ix, iy, iz = _inverse(dx), _inverse(dy), _inverse(dz)
    stack[0] = 0
    n_waiting = 1
    while n_waiting > 0:
        n_waiting -= 1
        node = stack[n_waiting]
        a, b = (boxes[node, 0] - ROOM - px) * ix, (boxes[node, 3] + ROOM - px) * ix
        enters, leaves = max(0.0, min(a, b)), max(a, b)
        a, b = (boxes[node, 1] - ROOM - py) * iy, (boxes[node, 4] + ROOM - py) * iy
        enters, leaves = max(enters, min(a, b)), min(leaves, max(a, b))
        a, b = (boxes[node, 2] - ROOM - pz) * iz, (boxes[node, 5] + ROOM - pz) * iz
        enters, leaves = max(enters, min(a, b)), min(leaves, max(a, b))
        if enters > leaves:
            continue
        start = first[node]
        if count[node] == 0:
            stack[n_waiting], stack[n_waiting + 1] = start, start + 1
            n_waiting += 2
            continue
        for row in range(start, start + count[node]):
            if _meets_triangle(px, py, pz, dx, dy, dz, vertices, faces, row):
                return row
    return -1


@kernel
def _inverse(d: float) -> float:
    """1 / d, and a huge number instead of infinity, whose product with 0 would be NaN."""
    return 1.0 / d if abs(d) > 1e-300 else 1e300


@kernel
def _meets_triangle(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float, vertices: Array, faces: Ints, row: int
) -> bool:
    i, j, k = faces[row, 0], faces[row, 1], faces[row, 2]
    ax, ay, az = vertices[i, 0], vertices[i, 1], vertices[i, 2]
    ux, uy, uz = vertices[j, 0] - ax, vertices[j, 1] - ay, vertices[j, 2] - az
    vx, vy, vz = vertices[k, 0] - ax, vertices[k, 1] - ay, vertices[k, 2] - az
    sx, sy, sz = px - ax, py - ay, pz - az
    gx, gy, gz = dy * uz - dz * uy, dz * ux - dx * uz, dx * uy - dy * ux  # d x u
    hx, hy, hz = dy * vz - dz * vy, dz * vx - dx * vz, dx * vy - dy * vx  # d x v
    det = ux * hx + uy * hy + uz * hz
    sign = 1.0 if det >= 0.0 else -1.0
    beside_v = sign * (sx * hx + sy * hy + sz * hz)
    beside_u = -sign * (sx * gx + sy * gy + sz * gz)
    if not _is_within(beside_v, hx, hy, hz) or not _is_within(beside_u, gx, gy, gz):
        return False
    if beside_u + beside_v > sign * det:
        ex, ey, ez = hx - gx, hy - gy, hz - gz  # the third side, from its own corner: a short one loses no digits
        beside = -sign * ((sx - ux) * ex + (sy - uy) * ey + (sz - uz) * ez)
        if not _is_within(beside, ex, ey, ez):
            return False
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    if det * det <= PARALLEL * PARALLEL * (nx * nx + ny * ny + nz * nz):
        return False
    return sign * (sx * nx + sy * ny + sz * nz) > START * abs(det)


@kernel
def _is_within(beside: float, x: float, y: float, z: float) -> bool:
    """Whether a line passes a side of a triangle within it or no more than RIM outside.

    `beside` is how far within, times the length of the side as the line sees it; (x, y, z) is as long as that.
    """
    return beside >= 0.0 or beside * beside <= RIM * RIM * (x * x + y * y + z * z)


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    lines, R = frozen([[1.0, 0.0, 0.0]]), frozen(np.eye(3))
    tree = triangle_tree(Triangles(np.eye(3), np.array([[0, 1, 2]], dtype=np.int32)))
    p, is_open = np.zeros(3), np.ones(1, dtype=bool)
    stopped_by_frusta(p, lines, np.array([[1.0, 1.0, 0.0, 1.0]]), 0.1, is_open)
    stopped_by_triangles(
        p, lines, lines, R, R[0], tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, is_open
    )
