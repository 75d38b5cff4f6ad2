"""The least distance between solids while table axes turn, by dense sampling and refinement. No code of the product.

Poses come from scipy's Rotation, distances from coal (exact boxes and cylinders, convex polyhedra, triangle meshes).
What is sampled is at least the true minimum: a round tool is an inscribed polygon here, and no sample lies between
its neighbours. So a proven bound may never lie above it.
"""

import itertools
import math
from dataclasses import dataclass

import coal
import numpy as np
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

INSCRIBED = 0.004  # mm; how far a polygon that stands for a circle lies inside it
MOST_CORNERS = 240  # coal allows 255 neighbours at a corner
_REQUEST = coal.DistanceRequest()


@dataclass(frozen=True)
class Axis:
    """A table axis in the frame of what carries it."""

    origin: tuple
    direction: tuple


@dataclass(frozen=True, eq=False)
class Solid:
    """A solid on the table (n_axes 0), or on what the first one or two axes carry; its pose there is R, t."""

    name: str
    n_axes: int
    shape: object
    R: np.ndarray
    t: np.ndarray
    centre: np.ndarray
    radius: float


def solid(name, n_axes, shape, R=None, t=(0.0, 0.0, 0.0)):
    R, t = np.eye(3) if R is None else np.asarray(R), np.asarray(t, dtype=float)
    shape.computeLocalAABB()
    box = shape.aabb_local
    corners = np.array(list(itertools.product(*zip(box.min_, box.max_, strict=True))))
    centre = corners.mean(axis=0)
    return Solid(name, n_axes, shape, R, t, centre, float(np.linalg.norm(corners - centre, axis=1).max()))


def on_base(at, turn_deg, axis):
    """Pose of a body whose base centre is at `at`: turned about its own Z, then Z onto `axis` the shortest way."""
    a = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    across = np.cross((0.0, 0.0, 1.0), a)
    lean = math.atan2(float(np.linalg.norm(across)), a[2])
    about = across / np.linalg.norm(across) if np.linalg.norm(across) > 0 else np.array([1.0, 0.0, 0.0])
    R = Rotation.from_rotvec(about * lean) * Rotation.from_euler("z", turn_deg, degrees=True)
    return R.as_matrix(), np.asarray(at, dtype=float)


# ---- shapes ----------------------------------------------------------------------------------------


def raised(R, t, h):
    """A pose whose origin is half a height up: coal's boxes and cylinders have theirs in the middle."""
    return R, t + R @ np.array([0.0, 0.0, h / 2])


def n_corners(radius):
    wanted = math.ceil(math.pi / math.acos(1.0 - min(INSCRIBED / max(radius, 1e-9), 0.5)))
    return min(max(16, wanted), MOST_CORNERS)


def ring(radius, z, n):
    a = 2 * np.pi * np.arange(n) / n
    return np.column_stack([radius * np.cos(a), radius * np.sin(a), np.full(n, z)])


def convex(points):
    """The hull of points as a coal solid."""
    found = ConvexHull(np.asarray(points, dtype=float))
    corners = coal.StdVec_Vec3s()
    number = np.zeros(len(found.points), dtype=int)
    number[found.vertices] = range(len(found.vertices))
    corners.extend(found.points[found.vertices])
    faces = coal.StdVec_Triangle()
    p, q, r = (found.points[found.simplices[:, k]] for k in range(3))
    is_outward = (np.cross(q - p, r - p) * found.equations[:, :3]).sum(axis=1) > 0
    for (i, j, k), out in zip(number[found.simplices].tolist(), is_outward, strict=True):
        faces.append(coal.Triangle(i, j, k) if out else coal.Triangle(i, k, j))
    return coal.Convex(corners, faces)


def frustum_points(r1, r2, z1, z2):
    n = n_corners(max(r1, r2))
    return np.vstack([ring(r1, z1, n), ring(r2, z2, n)])


def swept(points, positions):
    """The hull of a solid given by points, at every one of the positions (k, 3)."""
    cover = points if len(points) < 8 else points[ConvexHull(points).vertices]
    return convex((cover[:, None, :] + np.asarray(positions)[None, :, :]).reshape(-1, 3))


def mesh(vertices, faces):
    """A triangle surface; hollow, as every mesh is."""
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(faces), len(vertices))
    model.addVertices(np.asarray(vertices, dtype=float))
    model.addTriangles(np.asarray(faces).astype(np.int64))
    model.endModel()
    return model


# ---- sampling --------------------------------------------------------------------------------------


def poses(axes, angles):
    """(R, t) in W, (n, 3, 3) and (n, 3), of the table and of what each axis carries, at angles (n, k) in degrees."""
    R, t = Rotation.identity(len(angles)), np.zeros((len(angles), 3))
    found = [(R.as_matrix(), t)]
    for i, axis in enumerate(axes):
        d = np.asarray(axis.direction, dtype=float) / np.linalg.norm(axis.direction)
        t = t + R.apply(np.asarray(axis.origin, dtype=float))
        R = R * Rotation.from_rotvec(np.radians(angles[:, i : i + 1]) * d)
        found.append((R.as_matrix(), t))
    return found


def distances(frames, a, b, *, below=math.inf):
    """Distances (n,) of two solids in frames as `poses` gives them; infinity where one is not below `below`."""
    posed = []
    for s in (a, b):
        R, t = frames[s.n_axes]
        posed.append((R @ s.R, t + R @ s.t))
    (Ra, ta), (Rb, tb) = posed
    apart = np.linalg.norm(ta + Ra @ a.centre - tb - Rb @ b.centre, axis=1) - a.radius - b.radius
    found = np.full(len(apart), np.inf)
    result = coal.DistanceResult()
    for i in np.flatnonzero(apart < below):
        result.clear()
        found[i] = coal.distance(
            a.shape, coal.Transform3s(Ra[i], ta[i]), b.shape, coal.Transform3s(Rb[i], tb[i]), _REQUEST, result
        )
    return found


def grid(box, n_samples):
    """About so many angles (n, k) all over a box of angles, its edges included."""
    turning = [hi - lo for lo, hi in box if hi > lo]
    step = (math.prod(turning) / n_samples) ** (1 / max(len(turning), 1))
    stretches = [
        np.linspace(lo, hi, max(2, math.ceil((hi - lo) / step) + 1)) if hi > lo else np.array([lo]) for lo, hi in box
    ]
    return np.array(list(itertools.product(*stretches))), step


@dataclass(frozen=True)
class Least:
    """The least of distance - subtract, attained at the angles by the two solids named."""

    distance: float
    angles: tuple
    names: tuple
    subtract: float = 0.0

    @property
    def is_apart(self):
        """Whether the two solids are clearly apart there, by more than their polygons lie inside them."""
        return self.distance + self.subtract > 3 * INSCRIBED


def least_distance(axes, boxes, pairs, *, n_samples=500, n_starts=5):
    """The least of distance - subtract over pairs (solid, solid, subtract) and boxes: sampled, the best refined."""
    tried = []
    best = math.inf
    for k in range(len(axes) + 1):
        for box in dict.fromkeys(box[:k] for box in boxes):
            angles, step = grid(box, n_samples)
            frames = poses(axes[:k], angles)
            for pair in pairs:
                a, b, subtract = pair
                if max(a.n_axes, b.n_axes) != k:
                    continue
                reach = 6.0  # a sample this much farther than the best is not refined
                found = distances(frames, a, b, below=best + subtract + reach) - subtract
                best = min(best, float(found.min()))
                order = np.argsort(found)[:n_starts]
                tried += [(float(found[i]), pair, box, angles[i], step) for i in order if found[i] < best + reach]
    tried.sort(key=lambda x: x[0])
    least = Least(math.inf, (), ())
    for value, pair, box, where, step in tried[: 2 * n_starts]:
        refined, where = _refined(axes[: len(box)], pair, box, where, value, step)
        if refined < least.distance:
            least = Least(refined, tuple(where), (pair[0].name, pair[1].name), pair[2])
    return least


def _refined(axes, pair, box, where, value, width):
    """A small grid about the best sample so far, half as wide each time unless the best lies on its rim."""
    if not box:
        return value, where
    a, b, subtract = pair
    low, high = np.array(box).T
    steps = np.array(list(itertools.product(np.linspace(-1.0, 1.0, 9 if len(box) == 1 else 5), repeat=len(box))))
    for _ in range(60):
        tried = np.clip(where + width * steps, low, high)
        found = distances(poses(axes, tried), a, b) - subtract
        i = int(found.argmin())
        if found[i] < value - 1e-12:
            value, where = float(found[i]), tried[i]
        if found[i] > value - 1e-12 or np.abs(steps[i]).max() < 1.0:
            width /= 2.0
        if width < 1e-5:
            break
    return value, where
