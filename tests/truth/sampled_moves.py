"""Tool positions of a feature by its definition, densely sampled, and the least distance over them.

Shares no code with the product. What is sampled can only be larger than the true minimum: a proven bound that
is larger than a sampled distance is wrong.
"""

import numpy as np

from tests.truth import brute_force


def level_axes(R_WP, along):
    """Level unit directions (2, 3) in W: along the first side as seen along the tool axis, and square to it."""
    u = R_WP @ np.asarray(along, dtype=float)
    u = u * (1.0, 1.0, 0.0)
    u /= np.linalg.norm(u)
    return np.array([u, (-u[1], u[0], 0.0)])


def along_segment(p, q, n):
    t = np.linspace(0.0, 1.0, n)[:, None]
    return p + t * (q - p)


def rectangle(centre, half, axes, n):
    """Points over a rectangle, its corners and edges included."""
    u, v = (k.ravel() for k in np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, n)))
    return centre + u[:, None] * half[0] * axes[0] + v[:, None] * half[1] * axes[1]


def rectangle_gap(p, centre, half, axes):
    """How far points are from a level rectangle, (n,)."""
    d = p - centre
    off = [np.maximum(np.abs(d @ axis) - h, 0.0) for axis, h in zip(axes, half, strict=True)]
    return np.sqrt(off[0] ** 2 + off[1] ** 2 + d[:, 2] ** 2)


def segment_gap(p, a, b):
    d = b - a
    t = np.clip((p - a) @ d / max(float(d @ d), 1e-300), 0.0, 1.0)
    return np.linalg.norm(p - a - t[:, None] * d, axis=1)


def outline_gap(q, outline):
    """Distance of points (n, 2) to the line of a closed polygon (k, 2)."""
    ends = zip(outline, np.roll(outline, -1, axis=0), strict=True)
    return np.min([segment_gap(q, a, b) for a, b in ends], axis=0)


def is_in_polygon(q, outline):
    """Even-odd rule, for points (n, 2) off the line."""
    inside = np.zeros(len(q), dtype=bool)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        crosses = (a[1] > q[:, 1]) != (b[1] > q[:, 1])
        rise = np.where(crosses, b[1] - a[1], 1.0)
        inside ^= crosses & (q[:, 0] < a[0] + (q[:, 1] - a[1]) / rise * (b[0] - a[0]))
    return inside


def beside_outline(outline, r, side, n):
    """Points (k, 2) at distance r beside a contour: along its sides and round its corners, none that is nearer."""
    found = []
    sign = 1.0 if side == "outside" else -1.0
    x, y = outline.T
    ccw = float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) > 0
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        d = (b - a) / np.linalg.norm(b - a)
        out = np.array([d[1], -d[0]]) * (1.0 if ccw else -1.0)
        found.append(along_segment(a, b, n) + sign * r * out)
    t = np.linspace(0.0, 2.0 * np.pi, 4 * n + 1)[:-1]
    found += [corner + r * np.column_stack([np.cos(t), np.sin(t)]) for corner in outline]
    q = np.concatenate(found)
    is_far = outline_gap(q, outline) >= r - 1e-9
    return q[is_far & (is_in_polygon(q, outline) == (side == "inside"))]


def lifted(tips, up, n):
    """The same tips at n heights from 0 to `up`."""
    z = np.linspace(0.0, up, n)
    return (tips[None, :, :] + z[:, None, None] * np.array([0.0, 0.0, 1.0])).reshape(-1, 3)


def least_distance(tool, tips, points):
    """Least distance from points (n, 3) to a tool, frusta (r1, r2, z1, z2) each, with its tip at each of tips (m, 3).

    Points that are far beyond the best found so far are left out, by their distance to the tips' box.
    """
    best = np.inf
    reach = max(max(r1, r2) for r1, r2, _, _ in tool)
    low = tips.min(0) + (-reach, -reach, min(t[2] for t in tool))
    high = tips.max(0) + (reach, reach, max(t[3] for t in tool))
    gaps = np.sqrt((np.maximum(np.maximum(low - points, points - high), 0.0) ** 2).sum(1))
    order = np.argsort(gaps)
    for k in range(0, len(order), 64):
        some = points[order[k : k + 64]]
        if gaps[order[k]] > best:
            break
        rel = (some[:, None, :] - tips[None, :, :]).reshape(-1, 3)
        best = min(best, *(float(brute_force.frustum_distance(rel, *t).min()) for t in tool))
    return best
