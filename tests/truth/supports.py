"""Support points of exact solids, and answers that are known by construction.

Take a direction n, the point of the tool farthest along n and the point of the obstacle farthest against n. Put
the obstacle so that these two points are `gap` apart along n: two planes square to n then part the solids, and
the two points attain it, so the distance is exactly `gap` whatever the shapes are. With a gap below zero the
solids overlap by no more than that. Shares no code with the product.
"""

import numpy as np


def frustum_point(n, r1, r2, z1, z2):
    """The point of a frustum about Z that is farthest along n."""
    level = np.hypot(n[0], n[1])
    out = np.array([n[0], n[1], 0.0]) / level if level > 0 else np.zeros(3)
    ends = [out * r + (0.0, 0.0, z) for r, z in ((r1, z1), (r2, z2))]
    return max(ends, key=lambda p: float(p @ n))


def ball_point(n, radius, centre_z):
    return np.array([0.0, 0.0, centre_z]) + np.asarray(n) * radius


def torus_point(n, centre_rho, radius, centre_z):
    """The point of a rounded disc (a bull nose): a circle of radius `centre_rho`, rounded by `radius`."""
    level = np.hypot(n[0], n[1])
    out = np.array([n[0], n[1], 0.0]) / level if level > 0 else np.zeros(3)
    return out * centre_rho + (0.0, 0.0, centre_z) + np.asarray(n) * radius


def farthest(points, n):
    """The one of points (k, 3) that is farthest along n."""
    points = np.asarray(points, dtype=float)
    return points[(points @ np.asarray(n)).argmax()]


def rotation(rng, kind):
    """A rotation matrix: any, or (aligned) by quarter turns only."""
    if kind == "aligned":
        axes = np.eye(3)[rng.permutation(3)] * rng.choice([-1.0, 1.0], 3)[:, None]
        return axes if np.linalg.det(axes) > 0 else -axes
    q = rng.normal(size=4)
    w, x, y, z = q / np.linalg.norm(q)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def direction(rng, kind):
    """A unit direction: any, along an axis, or along a diagonal of two axes."""
    if kind == "aligned":
        n = np.zeros(3)
        n[rng.permutation(3)[: rng.integers(1, 3)]] = rng.choice([-1.0, 1.0])
        return n / np.linalg.norm(n)
    n = rng.normal(size=3)
    return n / np.linalg.norm(n)
