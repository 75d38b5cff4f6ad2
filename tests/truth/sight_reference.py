"""Whether every sight line from a gap is stopped, in plain numpy: every line against every triangle, all in W.

A line against a triangle as in T. Moller, B. Trumbore, "Fast, minimum storage ray-triangle intersection", Journal
of Graphics Tools 2 (1997); against a frustum by the quadratic of its radius along the axis. Shares no code with the
product. `margin` widens every triangle by so many mm on all sides (below 0: narrows it), which tells the lines that
pass a rim within rounding: there no two ways of computing need to agree.
"""

import numpy as np

START = 1e-3  # mm from the middle of the gap
GRAZE = 0.1  # mm; closer to the tool than this counts as stopped
PARALLEL = 1e-14


def sight_lines(operator):
    """The grid of directions (130, 3): 0 to 45 degrees up, 30 to either side, every 5 degrees."""
    towards = np.asarray(operator, dtype=float)
    right = np.cross((0.0, 0.0, 1.0), towards)
    e, a = (np.radians(k.ravel()) for k in np.meshgrid(np.arange(0, 46, 5), np.arange(-30, 31, 5)))
    level = np.cos(a)[:, None] * towards + np.sin(a)[:, None] * right
    return np.cos(e)[:, None] * level + np.sin(e)[:, None] * np.array([0.0, 0.0, 1.0])


def is_hidden(ends_W, operator, tool, tip_W, bodies, *, margin=0.0):
    """`tool`: frusta (r1, r2, z1, z2) over the tip; `bodies`: (vertices, faces) in W."""
    lines = sight_lines(operator)
    p_W = (ends_W[0] + ends_W[1]) / 2
    graze = min(GRAZE, np.linalg.norm(ends_W[1] - ends_W[0]) / 4)
    stopped = np.zeros(len(lines), dtype=bool)
    for r1, r2, z1, z2 in tool:
        stopped |= stopped_by_round(p_W - tip_W, lines, r1 + graze, r2 + graze, z1 - graze, z2 + graze)
    for vertices, faces in bodies:
        stopped[~stopped] = stopped_by_triangles(p_W, lines[~stopped], vertices[faces], margin=margin)
    return bool(stopped.all())


def stopped_by_round(p, lines, r1, r2, z1, z2):
    """Which half lines (n, 3) from p meet a frustum about Z: its side or one of its ends."""
    slope = (r2 - r1) / (z2 - z1)
    r0, k = r1 + slope * (p[2] - z1), slope * lines[:, 2]
    a = lines[:, 0] ** 2 + lines[:, 1] ** 2 - k * k
    b = 2.0 * (lines[:, :2] @ p[:2] - r0 * k)
    c = p[0] ** 2 + p[1] ** 2 - r0 * r0
    hits = np.zeros(len(lines), dtype=bool)
    disc = b * b - 4.0 * a * c
    ok = (disc >= 0.0) & (np.abs(a) > 1e-12)
    root, safe_a = np.sqrt(np.where(ok, disc, 0.0)), np.where(ok, a, 1.0)
    for sign in (-1.0, 1.0):
        t = (-b + sign * root) / (2.0 * safe_a)
        z = p[2] + t * lines[:, 2]
        hits |= ok & (t > START) & (z >= z1) & (z <= z2)
    for z_end, r_end in ((z1, r1), (z2, r2)):
        sloped = np.abs(lines[:, 2]) > 1e-12
        t = np.where(sloped, (z_end - p[2]) / np.where(sloped, lines[:, 2], 1.0), -1.0)
        at = p[:2] + t[:, None] * lines[:, :2]
        hits |= sloped & (t > START) & ((at**2).sum(axis=1) <= r_end * r_end)
    return hits


def stopped_by_triangles(p_W, lines, corners, *, margin=0.0):
    """Which half lines (n, 3) from p_W meet a triangle of corners (m, 3, 3)."""
    a, b, c = (corners[:, k] for k in range(3))
    e1, e2, s = b - a, c - a, p_W - a
    q = np.cross(s, e1)
    hits = np.zeros(len(lines), dtype=bool)
    for i, d in enumerate(lines):
        h = np.cross(d, e2)
        det = (h * e1).sum(axis=1)
        flat = np.abs(det) < PARALLEL
        sign = np.sign(det)
        # how far the line passes inside each side, times the side's length as the line sees it
        inside = (h * s).sum(axis=1) * sign, (q @ d) * sign
        inside = (*inside, np.abs(det) - inside[0] - inside[1])
        met = ~flat
        for side, edge in zip(inside, (e2, e1, c - b), strict=True):
            seen = np.linalg.norm(np.cross(d, edge), axis=1) if margin else 0.0
            met = met & (side >= -margin * seen)
        t = (q * e2).sum(axis=1) / np.where(flat, 1.0, det)
        hits[i] = bool((met & (t > START)).any())
    return hits
