"""Distances by brute force, in plain numpy: every triangle against every triangle, every point against every frustum.

Shares no code with the product. Formulas: nearest points of two segments and of a point and a triangle as in
C. Ericson, "Real-Time Collision Detection" (2005), sections 5.1.5 and 5.1.9; the rest from their definitions.
"""

import numpy as np

BOX_FACES = np.array(
    [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4), (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6),
     (1, 3, 5), (3, 7, 5)]
)  # fmt: skip


def box_mesh(size, at=(0.0, 0.0, 0.0)):
    """Vertices (8, 3) and outward faces (12, 3) of a cuboid with its lowest corner at `at`."""
    corners = np.array([(x, y, z) for z in (0.0, 1.0) for y in (0.0, 1.0) for x in (0.0, 1.0)])
    return corners * np.asarray(size, dtype=float) + np.asarray(at, dtype=float), BOX_FACES.copy()


def prism_mesh(n, r1, r2, h, at=(0.0, 0.0, 0.0)):
    """A prism (or frustum, or pyramid for a radius 0) over a regular polygon of n corners about Z."""
    t = 2 * np.pi * np.arange(n) / n
    ring = np.column_stack([np.cos(t), np.sin(t)])
    low = np.column_stack([ring * r1, np.zeros(n)])
    high = np.column_stack([ring * r2, np.full(n, float(h))])
    vertices = np.vstack([low, high, [(0.0, 0.0, 0.0)], [(0.0, 0.0, float(h))]]) + np.asarray(at, dtype=float)
    faces = []
    for i in range(n):
        j = (i + 1) % n
        faces.append((2 * n, j, i))
        faces.append((2 * n + 1, n + i, n + j))
        faces.append((i, j, n + j))
        faces.append((i, n + j, n + i))
    faces = np.array(faces)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return vertices, faces[np.linalg.norm(np.cross(b - a, c - a), axis=1) > 0.0]


def joined(*meshes):
    """Several meshes as one, not welded."""
    starts = np.cumsum([0, *(len(v) for v, _ in meshes)])
    return (
        np.concatenate([v for v, _ in meshes]),
        np.concatenate([f + s for (_, f), s in zip(meshes, starts, strict=False)]),
    )


def nearest_on_segments(p1, q1, p2, q2):
    """Nearest points of segments p1-q1 and p2-q2, all (n, 3)."""
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a, e, f = (d1 * d1).sum(-1), (d2 * d2).sum(-1), (d2 * r).sum(-1)
    b, c = (d1 * d2).sum(-1), (d1 * r).sum(-1)
    safe_a, safe_e = np.where(a > 0, a, 1.0), np.where(e > 0, e, 1.0)
    denominator = a * e - b * b
    parallel = denominator <= 1e-12 * np.maximum(a * e, 1e-300)
    s = np.where(parallel, 0.0, np.clip((b * f - c * e) / np.where(parallel, 1.0, denominator), 0.0, 1.0))
    t = np.where(e > 0, (b * s + f) / safe_e, 0.0)
    t_in = np.clip(t, 0.0, 1.0)
    s = np.where(a > 0, np.clip((b * t_in - c) / safe_a, 0.0, 1.0), 0.0)
    return p1 + s[..., None] * d1, p2 + t_in[..., None] * d2


def nearest_on_triangles(p, a, b, c):
    """The points of triangles a-b-c nearest to points p, all (n, 3)."""
    ab, ac, ap = b - a, c - a, p - a
    normal = np.cross(ab, ac)
    n2 = (normal * normal).sum(-1)
    flat = n2 <= 0.0
    safe = np.where(flat, 1.0, n2)
    w = (np.cross(ab, ap) * normal).sum(-1) / safe
    v = (np.cross(ap, ac) * normal).sum(-1) / safe
    inside = ~flat & (v >= 0) & (w >= 0) & (v + w <= 1)
    best = a + v[..., None] * ab + w[..., None] * ac
    gap = np.where(inside, ((best - p) ** 2).sum(-1), np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        d = end - start
        length2 = (d * d).sum(-1)
        t = np.clip(((p - start) * d).sum(-1) / np.where(length2 > 0, length2, 1.0), 0.0, 1.0)
        foot = start + t[..., None] * d
        off = ((foot - p) ** 2).sum(-1)
        nearer = off < gap
        best, gap = np.where(nearer[..., None], foot, best), np.where(nearer, off, gap)
    return best


def _edge_pierces(p, q, a, b, c):
    """Whether segments p-q meet triangles a-b-c, all (n, 3); not those within the plane of the triangle."""
    normal = np.cross(b - a, c - a)
    dp, dq = ((p - a) * normal).sum(-1), ((q - a) * normal).sum(-1)
    crosses = (dp * dq <= 0) & (dp != dq)
    t = np.where(crosses, dp / np.where(crosses, dp - dq, 1.0), 0.0)
    x = p + t[..., None] * (q - p)
    sides = [(np.cross(v - u, x - u) * normal).sum(-1) for u, v in ((a, b), (b, c), (c, a))]
    return crosses & (np.minimum.reduce(sides) >= 0)


def surface_distance(first, second):
    """Distance of two triangle surfaces (vertices, faces), and the two nearest points. 0 where they cross."""
    a, b = first[0][first[1]], second[0][second[1]]
    i, j = (k.ravel() for k in np.meshgrid(np.arange(len(a)), np.arange(len(b)), indexing="ij"))
    low_a, high_a, low_b, high_b = a.min(1), a.max(1), b.min(1), b.max(1)
    # pairs whose boxes are farther apart than some pair of corners can't be the nearest
    apart = np.maximum(np.maximum(low_a[i] - high_b[j], low_b[j] - high_a[i]), 0.0)
    upper = np.sqrt(((a[i, 0] - b[j, 0]) ** 2).sum(-1).min())
    keep = np.sqrt((apart**2).sum(-1)) <= upper + 1e-9
    A, B = a[i[keep]], b[j[keep]]
    best = (np.inf, None, None)
    for k in range(3):
        pa, qa = A[:, k], A[:, (k + 1) % 3]
        if _edge_pierces(pa, qa, B[:, 0], B[:, 1], B[:, 2]).any():
            return 0.0, None, None
        if _edge_pierces(B[:, k], B[:, (k + 1) % 3], A[:, 0], A[:, 1], A[:, 2]).any():
            return 0.0, None, None
        found = [nearest_on_segments(pa, qa, B[:, m], B[:, (m + 1) % 3]) for m in range(3)]
        found.append((pa, nearest_on_triangles(pa, B[:, 0], B[:, 1], B[:, 2])))
        found.append((nearest_on_triangles(B[:, k], A[:, 0], A[:, 1], A[:, 2]), B[:, k]))
        for x, y in found:
            gaps = np.sqrt(((x - y) ** 2).sum(-1))
            m = int(gaps.argmin())
            best = min(best, (float(gaps[m]), x[m], y[m]), key=lambda item: item[0])
    return best


def frustum_distance(points, r1, r2, z1, z2):
    """Distance of points (n, 3) to a solid frustum about Z, radius r1 at z1 and r2 at z2: 0 inside."""
    rho, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    corners = np.array([(0.0, z1), (r1, z1), (r2, z2), (0.0, z2)])
    inside = (z >= z1) & (z <= z2) & (rho <= r1 + (r2 - r1) * (z - z1) / (z2 - z1))
    best = np.full(len(points), np.inf)
    for k in range(3):
        (ax, ay), (bx, by) = corners[k], corners[k + 1]
        dx, dy = bx - ax, by - ay
        t = np.clip(((rho - ax) * dx + (z - ay) * dy) / max(dx * dx + dy * dy, 1e-300), 0.0, 1.0)
        best = np.minimum(best, np.hypot(rho - ax - t * dx, z - ay - t * dy))
    return np.where(inside, 0.0, best)


def surface_points(mesh, spacing):
    """Points (n, 3) spread over a triangle surface, corners and edges included, no farther apart than `spacing`."""
    found = []
    for a, b, c in mesh[0][mesh[1]]:
        longest = max(np.linalg.norm(b - a), np.linalg.norm(c - a), np.linalg.norm(c - b))
        n = max(1, int(np.ceil(longest / spacing)))
        u, v = (k.ravel() for k in np.meshgrid(np.arange(n + 1), np.arange(n + 1)))
        keep = u + v <= n
        u, v = u[keep, None] / n, v[keep, None] / n
        found.append(a + u * (b - a) + v * (c - a))
    return np.unique(np.concatenate(found).round(9), axis=0)
