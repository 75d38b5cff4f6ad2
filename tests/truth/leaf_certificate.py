"""What the distance of a solid of revolution, moved over tip positions, to a triangle must be: proven, not computed.

A distance of two convex sets is right when two numbers meet: the distance of two points of them (not below it), and for
some direction n the gap between the planes across n that hold them apart (not above it). For K turned about Z by a
profile, the triangle D and the tip positions Q that gap is  min n.D - max n.Q - h_K(n),  h_K(n) = max(z n_z + r |n_xy|)
over the rows of the profile: support functions and corners only, nothing of how the product finds its answer. (Duality
of the distance: S. Boyd, L. Vandenberghe, "Convex Optimization" (2004), section 8.2.1.)

Where the direction of the given points is too coarse, it is improved by cutting planes: the least norm point of
differences of supporting points (E. Gilbert, D. Johnson, S. Keerthi, IEEE J. Robotics and Automation 4 (1988)).
"""

import numpy as np
from scipy.optimize import nnls

MOST_CUTS = 200


def rows_of(profile, split, down, up):
    """The profile as it stands, (n, 2): its rows up to `split` lower by `down`, the others higher by `up`."""
    rows = np.array(profile, dtype=float)
    rows[: split + 1, 1] -= down
    rows[split + 1 :, 1] += up
    return rows


def nearest_of_solid(rows, p):
    """The point of the solid of revolution nearest to p, and its distance."""
    rho, z = np.hypot(p[0], p[1]), p[2]
    outline = np.vstack([(0.0, rows[0, 1]), rows, (0.0, rows[-1, 1])])
    a, b = outline[:-1], outline[1:]
    d = b - a
    length2 = (d * d).sum(1)
    # inside: right of no side of the outline, which runs counter-clockwise in (r, z)
    is_left = (d[:, 0] * (z - a[:, 1]) - d[:, 1] * (rho - a[:, 0]) >= 0).all()
    if is_left and rows[0, 1] <= z <= rows[-1, 1] and rho <= rows[:, 0].max():
        return np.array(p, dtype=float), 0.0
    t = np.clip(((np.array([rho, z]) - a) * d).sum(1) / np.where(length2 > 0, length2, 1.0), 0.0, 1.0)
    foot = a + t[:, None] * d
    gaps = np.hypot(foot[:, 0] - rho, foot[:, 1] - z)
    k = int(gaps.argmin())
    turn = np.array(p[:2]) / rho if rho > 0 else np.array([1.0, 0.0])
    return np.array([*(foot[k, 0] * turn), foot[k, 1]]), float(gaps[k])


def support(rows, n):
    """A point of the solid farthest along n."""
    level = np.hypot(n[0], n[1])
    k = int((rows[:, 1] * n[2] + rows[:, 0] * level).argmax())
    turn = n[:2] / level if level > 0 else np.zeros(2)
    return np.array([*(rows[k, 0] * turn), rows[k, 1]])


def gaps_along(rows, corners, directions):
    """What lies between the solid and the points (m, 3) along unit directions (k, 3): never above their distance."""
    level = np.hypot(directions[:, 0], directions[:, 1])
    reach = (np.outer(directions[:, 2], rows[:, 1]) + np.outer(level, rows[:, 0])).max(1)
    return (directions @ corners.T).min(1) - reach


def _unit(vectors):
    length = np.linalg.norm(vectors, axis=-1)
    return vectors[length > 0] / length[length > 0, None]


def _exact_directions(rows, triangle, tips, n):
    """Directions (k, 3) that a touch of faces, edges, generators and corners can have; what turns freely is near n."""
    edges = [np.roll(triangle, -1, axis=0) - triangle]
    if len(tips) > 1:
        edges.append(np.roll(tips, -1, axis=0) - tips)
    edges = _unit(np.concatenate(edges))
    across = np.cross(edges[:, None], edges[None]).reshape(-1, 3)
    found = [n - (edges @ n)[:, None] * edges, across, -across, [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0)]]
    normals = _unit(np.diff(rows, axis=0) @ np.array([(0.0, -1.0), (1.0, 0.0)]))  # of the generators, (r, z)
    t = np.full((1, len(normals)), np.arctan2(n[1], n[0]))
    found.append(_turned(normals, t))
    with np.errstate(divide="ignore", invalid="ignore"):  # at right angles to an edge as well
        lean = -np.outer(edges[:, 2] / np.hypot(edges[:, 0], edges[:, 1]), normals[:, 1] / normals[:, 0])
    turn = np.arccos(np.clip(np.nan_to_num(lean), -1.0, 1.0))
    along = np.arctan2(edges[:, 1], edges[:, 0])[:, None]
    found += [_turned(normals, along + turn), _turned(normals, along - turn)]
    return _unit(np.concatenate(found))


def _turned(normals, angles):
    """Normals (k, 2) of (r, z) at angles (m, k) about the axis."""
    x, y = normals[:, 0] * np.cos(angles), normals[:, 0] * np.sin(angles)
    return np.stack([x, y, np.broadcast_to(normals[:, 1], x.shape)], axis=-1).reshape(-1, 3)


def lower_bound(rows, triangle, tips, n, enough):
    """A bound not above the distance: along n, and where that is not `enough` along better directions."""
    corners = (triangle[:, None, :] - tips[None, :, :]).reshape(-1, 3)
    best = max([0.0, *gaps_along(rows, corners, _unit(n[None]))])
    if best < enough:
        best = max(best, *gaps_along(rows, corners, _exact_directions(rows, triangle, tips, n)))
    if best >= enough:
        return best
    atoms = [corners[0] - support(rows, -corners[0])]
    x = atoms[0]
    for _ in range(MOST_CUTS):
        length = np.linalg.norm(x)
        if length < max(enough, 1e-12):  # x is the difference of two points: no distance is greater than it
            return best
        n = x / length
        best = max(best, *gaps_along(rows, corners, n[None]))
        if best >= enough:
            return best
        atoms.append(corners[(corners @ n).argmin()] - support(rows, n))
        x = least_norm(np.array(atoms))
    return best


def least_norm(points):
    """The point of the hull of points (n, 3) nearest to the origin.

    min |P w|^2 + (sum w - 1)^2 over w >= 0 is least on the ray of the wanted weights: the inner least over the length
    of w is |x|^2 / (1 + |x|^2) at the point x of the hull.
    """
    size = np.abs(points).max()
    if size <= 0.0:
        return np.zeros(3)
    weights, _ = nnls(np.vstack([points.T / size, np.ones(len(points))]), np.array([0.0, 0.0, 0.0, 1.0]))
    return points.T @ (weights / weights.sum())


def off_hull(corners, p):
    """How far p is from the hull of corners (n, 3)."""
    return float(np.linalg.norm(least_norm(corners - p)))


def witness_faults(rows, triangle, tips, answer, tolerance):
    """What is wrong with the two points of an answer (distance, point, tip), in words: they bound it from above."""
    value, p, q = answer[0], np.array(answer[1:4]), np.array(answer[4:7])
    if not np.isfinite(answer).all():
        return [f"not a number: {answer}"]
    rounding = 1e-9 + 1e-14 * max(np.abs(triangle).max(), np.abs(tips).max())
    found = []
    if (off := off_hull(triangle, p)) > rounding:
        found.append(f"the point is {off:.3g} off the triangle")
    if (off := off_hull(tips, q)) > rounding:
        found.append(f"the tip is {off:.3g} off its positions")
    attained = nearest_of_solid(rows, p - q)[1]
    if abs(attained - value) > tolerance:
        found.append(f"{value!r}, but its points are {attained!r} apart")
    return found


def faults(rows, triangle, tips, answer, tolerance):
    """What is wrong with an answer; nothing where it is proven within `tolerance`."""
    found = witness_faults(rows, triangle, tips, answer, tolerance)
    value, p = answer[0], np.array(answer[1:4]) - np.array(answer[4:7])
    n = p - nearest_of_solid(rows, p)[0]
    bound = lower_bound(rows, triangle, tips, n, value - tolerance)
    if bound < value - tolerance:
        found.append(f"{value!r}, but no plane holds them farther apart than {bound!r}")
    return found
