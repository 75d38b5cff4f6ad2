"""Can the operator see the gap? Straight lines from its middle, tested against everything in the way.

The operator looks from level to 45 degrees down, from 30 degrees to either side. The gap is hidden
when every line of a 5-degree grid is stopped by a body or by the tool.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.sweep import RoundPiece
from kinematics.pose import Array, Vector
from kinematics.solids import Triangles

Mask = NDArray[np.bool_]
LEVELS_DEG = range(0, 46, 5)
SIDES_DEG = range(-30, 31, 5)
START = 1e-3  # mm; a line starts this far from the middle of the gap, beyond rounding
GRAZE = 0.1  # mm; a line that passes the tool closer than this is stopped: nobody sees along a face
_CHUNK = 200_000


def sight_lines(operator: Vector) -> Array:
    """Unit directions (n, 3) in W from a gap towards the operator's eyes, the level middle one first."""
    towards = np.asarray(operator, dtype=np.float64)
    right = np.cross((0.0, 0.0, 1.0), towards)
    found = []
    for level in LEVELS_DEG:
        for side in sorted(SIDES_DEG, key=abs):
            e, a = np.radians(level), np.radians(side)
            level_part = np.cos(a) * towards + np.sin(a) * right
            found.append(np.cos(e) * level_part + np.sin(e) * np.array([0.0, 0.0, 1.0]))
    return np.array(found)


def is_hidden(
    ends_W: tuple[Array, Array], operator: Vector, tool: Sequence[RoundPiece], tip_W: Array, bodies: Iterable[Triangles]
) -> bool:
    """Whether every sight line from the middle of a gap is stopped by the tool or by a body.

    `ends_W` are the ends of the gap; the tool stands with its tip at `tip_W`; bodies are triangles in W.
    """
    lines = sight_lines(operator)
    p_W = (ends_W[0] + ends_W[1]) / 2
    graze = min(GRAZE, float(np.linalg.norm(ends_W[1] - ends_W[0])) / 4)
    for piece in tool:
        grown = RoundPiece(piece.part, piece.r1 + graze, piece.r2 + graze, piece.z1 - graze, piece.z2 + graze)
        lines = lines[~_stopped_by_round(p_W - tip_W, lines, grown)]
        if len(lines) == 0:
            return True
    for body in bodies:
        lines = lines[~_stopped_by_triangles(p_W, lines, body)]
        if len(lines) == 0:
            return True
    return False


def _stopped_by_round(p: Array, lines: Array, piece: RoundPiece) -> Mask:
    """Which lines (n, 3) from p, both in the tip frame, meet a frustum about Z."""
    slope = (piece.r2 - piece.r1) / (piece.z2 - piece.z1)
    # radius along the axis: r(z) = r1 + slope (z - z1); solve |p_xy + t d_xy| = r(p_z + t d_z)
    r0 = piece.r1 + slope * (p[2] - piece.z1)
    k = slope * lines[:, 2]
    a = lines[:, 0] ** 2 + lines[:, 1] ** 2 - k * k
    b = 2.0 * (lines[:, :2] @ p[:2] - r0 * k)
    c = float(p[0] ** 2 + p[1] ** 2 - r0 * r0)
    hits = np.zeros(len(lines), dtype=bool)
    disc = b * b - 4.0 * a * c
    ok = (disc >= 0.0) & (np.abs(a) > 1e-12)
    root = np.sqrt(np.where(ok, disc, 0.0))
    safe_a = np.where(ok, a, 1.0)
    for sign in (-1.0, 1.0):
        t = (-b + sign * root) / (2.0 * safe_a)
        z = p[2] + t * lines[:, 2]
        hits |= ok & (t > START) & (z >= piece.z1) & (z <= piece.z2)
    for z_end, r_end in ((piece.z1, piece.r1), (piece.z2, piece.r2)):
        sloped = np.abs(lines[:, 2]) > 1e-12
        t = np.where(sloped, (z_end - p[2]) / np.where(sloped, lines[:, 2], 1.0), -1.0)
        at = p[:2] + t[:, None] * lines[:, :2]
        hits |= sloped & (t > START) & ((at**2).sum(axis=1) <= r_end * r_end)
    return hits


def _stopped_by_triangles(p_W: Array, lines: Array, body: Triangles) -> Mask:
    """Which lines (n, 3) from p_W meet a triangle (Moller and Trumbore, 1997)."""
    corners = body.vertices[body.faces]
    middle = lines.mean(axis=0)
    ahead = ((corners - p_W) @ middle).max(axis=1) > 0.0
    corners = corners[ahead & _in_fan(corners, p_W, lines)]
    hits = np.zeros(len(lines), dtype=bool)
    for start in range(0, len(corners), _CHUNK):
        a, b, c = (corners[start : start + _CHUNK, k] for k in range(3))
        e1, e2, s = b - a, c - a, p_W - a
        q = np.cross(s, e1)
        qe2 = (q * e2).sum(axis=1)
        for i in np.nonzero(~hits)[0]:
            d = lines[i]
            h = np.cross(d, e2)
            det = (h * e1).sum(axis=1)
            flat = np.abs(det) < 1e-14
            inverse = 1.0 / np.where(flat, 1.0, det)
            u = (h * s).sum(axis=1) * inverse
            v = (q @ d) * inverse
            t = qe2 * inverse
            hits[i] = bool((~flat & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > START)).any())
    return hits


def _in_fan(corners: Array, p_W: Array, lines: Array) -> Mask:
    """Which triangles (m, 3, 3) are not wholly on the far side of one of the fan's bounding planes."""
    rel = corners - p_W
    keep = np.ones(len(corners), dtype=bool)
    if len(corners) < 64:
        return keep
    low, high = lines.min(axis=0), lines.max(axis=0)
    for axis in range(3):
        if low[axis] >= 0.0:
            keep &= rel[:, :, axis].max(axis=1) >= 0.0
        if high[axis] <= 0.0:
            keep &= rel[:, :, axis].min(axis=1) <= 0.0
    return keep
