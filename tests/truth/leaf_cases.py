"""Random solids of revolution, tip positions and triangles, half of them aligned, and many of them awkward.

An aligned case has whole coordinates and quarter turns: flush faces, shared edges, generators in the faces.
"""

from dataclasses import dataclass

import numpy as np

SOLIDS = ("cylinder", "cone", "frustum", "spindle", "ball", "bull", "lens", "disk", "needle", "flat point", "closed")
POSITIONS = (
    "point", "level segment", "sloping segment", "upright segment", "no segment", "polygon", "rectangle",
    "flat polygon",
)  # fmt: skip
TRIANGLES = (
    "any", "level", "upright", "with a tip edge", "along the way", "along a row", "doubled", "one point", "collinear",
    "needle", "sliver", "huge",
)  # fmt: skip
PLACES = ("near", "wide", "inside", "in its plane", "far away")


@dataclass(frozen=True)
class Case:
    """Arguments of the leaf, mm; `name` says how it was made."""

    name: str
    profile: np.ndarray
    split: int
    down: float
    up: float
    triangle: np.ndarray
    tips: np.ndarray

    def moved(self, shift):
        """The same with the triangle moved by `shift` (3,)."""
        return Case(
            f"{self.name}, moved", self.profile, self.split, self.down, self.up, self.triangle + shift, self.tips
        )


def _length(rng, is_aligned, low, high):
    return float(rng.integers(max(1, int(low)), int(high) + 1)) if is_aligned else float(rng.uniform(low, high))


def _arc(r, z, n, t0, t1):
    t = np.linspace(t0, t1, n)
    return [(r * np.sin(one), z - r * np.cos(one)) for one in t]


def profile_of(rng, kind, is_aligned, scale=1.0):
    """A convex profile (n, 2) with its widest point doubled, and the row `split` after which it moves up."""
    r, h = (_length(rng, is_aligned, 1, 20) for _ in range(2))
    r, h = r * scale, h * scale
    match kind:
        case "cylinder":
            low, high = [(r, 0.0)], [(r, h)]
            if rng.random() < 0.5:
                high = [(r, 0.0), (r, h)]
        case "cone":
            low, high = [(0.0, 0.0), (r, h)], [(r, h)]
        case "frustum":
            if rng.random() < 0.5:
                low, high = [(r, 0.0)], [(r, 0.0), (0.5 * r, h)]
            else:
                low, high = [(0.5 * r, 0.0), (r, h)], [(r, h)]
        case "spindle":
            low, high = [(0.0, 0.0), (r, h)], [(r, h), (0.0, 2.0 * h)]
        case "ball":
            low = [(0.0, 0.0), *_arc(r, r, int(rng.integers(3, 40)), 0.0, np.pi / 2)[1:]]
            high = [(r, r), (r, r + h)]
        case "bull":
            a = 0.5 * r
            low = [(r - a + x, z) for x, z in _arc(a, a, int(rng.integers(3, 25)), 0.0, np.pi / 2)]
            high = [(r, a), (r, a + h)]
        case "lens":
            arc = _arc(r, r, 9, 0.0, np.pi / 2)
            low, high = arc, [(x, 2 * r - z) for x, z in reversed(arc)]
        case "disk":
            low, high = [(r, 0.0)], [(r, rng.choice([0.0, 1e-9, 1e-3]))]
        case "needle":
            low, high = [(rng.choice([0.0, 1e-9, 1e-3]), 0.0)], [(rng.choice([0.0, 1e-9]), h)]
            low, high = [low[0]], [low[0], (min(low[0][0], high[0][0]), h)]
        case "flat point":
            low, high = [(0.0, 0.0), (0.25 * r, 0.0), (r, h)], [(r, h), (r, 2 * h)]
        case _:  # closed: the rows of both ends reach the axis
            low, high = [(0.0, 0.0), (r, 0.0)], [(r, 0.0), (r, h), (0.0, h)]
    rows = np.array(low + high, dtype=float)
    rows[:, 1] += _length(rng, is_aligned, 0, 30) - 10.0 if rng.random() < 0.5 else 0.0
    return rows, len(low) - 1


def tips_of(rng, kind, is_aligned):
    """The corners of a position set, (m, 3), well off the origin."""
    at = rng.integers(-40, 41, 3).astype(float) if is_aligned else rng.uniform(-40, 40, 3)
    reach = _length(rng, is_aligned, 1, 60)
    d = np.zeros(3)
    match kind:
        case "point":
            return at[None]
        case "no segment":
            return np.array([at, at])
        case "upright segment":
            d[2] = reach * rng.choice([-1, 1])
            return np.array([at, at + d])
        case "level segment" | "sloping segment":
            if is_aligned:
                d[int(rng.integers(2))] = reach * rng.choice([-1, 1])
            else:
                t = rng.uniform(0, 2 * np.pi)
                d[:2] = reach * np.cos(t), reach * np.sin(t)
            if kind == "sloping segment":
                d[2] = _length(rng, is_aligned, 1, 40) * rng.choice([-1, 1])
            return np.array([at, at + d])
        case "flat polygon":  # there and back, with a stop
            d[:2] = rng.integers(-40, 41, 2)
            return np.array([at, at + d, at + d, at + 0.5 * d])
        case "rectangle":
            a, b = reach, _length(rng, is_aligned, 1, 60)
            corners = np.array([(0, 0, 0), (a, 0, 0), (a, b, 0), (0, b, 0)], dtype=float)
            if not is_aligned:
                c, s = np.cos(t := rng.uniform(0, 7)), np.sin(t)
                corners = corners @ np.array([(c, s, 0), (-s, c, 0), (0, 0, 1.0)])
            return at + corners
        case _:
            n = int(rng.integers(3, 9))
            t = np.sort(rng.uniform(0, 2 * np.pi, n)) if rng.random() < 0.5 else 2 * np.pi * np.arange(n) / n
            ring = reach * np.column_stack([np.cos(t), rng.choice([1.0, 0.3]) * np.sin(t), np.zeros(n)])
            return at + ring


def triangle_of(rng, kind, is_aligned, tips, profile):
    """Corners (3, 3) about the origin."""
    size = float(rng.choice([2.0, 15.0, 60.0]))
    corners = rng.integers(-int(size), int(size) + 1, (3, 3)).astype(float)
    if not is_aligned:
        corners = rng.uniform(-size, size, (3, 3))
    a, b, c = corners  # views: what is set in them is set in `corners`
    axis = int(rng.integers(2))
    match kind:
        case "level":
            corners[:, 2] = a[2]
        case "upright":
            if is_aligned:
                corners[:, axis] = a[axis]
            else:
                c[:2] = a[:2] + rng.uniform(-2, 2) * (b[:2] - a[:2])
        case "with a tip edge":  # one edge along the way of the tip
            way = tips[-1] - tips[0] if len(tips) > 1 else np.array([0.0, 0.0, 1.0])
            c[:] = a + rng.choice([-1.0, 0.5, 2.0]) * way
        case "along the way":  # its plane holds the way of the tip
            way = tips[-1] - tips[0] if len(tips) > 1 else np.array([0.0, 0.0, 1.0])
            corners[:] = rng.choice([-1.0, -0.3, 0.5, 2.0], 3)[:, None] * way + rng.uniform(-1, 1, (3, 1)) * a
        case "along a row":  # its plane touches the solid along a generator
            k = int(rng.integers(len(profile) - 1))
            row = profile[k + 1] - profile[k]
            t = rng.integers(4) * np.pi / 2 if is_aligned else rng.uniform(0, 2 * np.pi)
            turn = np.round([np.cos(t), np.sin(t)], 15)
            frame = np.array([(row[0] * turn[0], row[0] * turn[1], row[1]), (-turn[1], turn[0], 0.0)])
            corners[:] = rng.uniform(-size, size, (3, 2)) @ frame
        case "doubled":
            c[:] = a
        case "one point":
            b[:], c[:] = a, a
        case "collinear":
            c[:] = a + rng.choice([0.25, 0.5, 2.0, -1.0]) * (b - a)
        case "needle":
            c[:] = b + rng.normal(size=3) * rng.choice([1e-12, 1e-9, 1e-7, 1e-5])
        case "sliver":
            c[:] = a + rng.uniform() * (b - a) + rng.normal(size=3) * rng.choice([1e-13, 1e-11, 1e-9, 1e-7, 1e-5])
        case "huge":
            corners *= 500.0
    return corners[rng.permutation(3)]


def random_case(rng, is_aligned, place=None):
    """One case, in one of PLACES."""
    solid, tip_kind, triangle_kind, place = (str(rng.choice(kinds)) for kinds in (SOLIDS, POSITIONS, TRIANGLES, PLACES))
    if place == "inside":
        tip_kind = str(rng.choice(["level segment", "sloping segment", "polygon", "rectangle", "flat polygon"]))
        triangle_kind = str(rng.choice(["any", "level", "upright", "huge"]))
    profile, split = profile_of(rng, solid, is_aligned, rng.choice([0.05, 0.3]) if place == "inside" else 1.0)
    down, up = (float(rng.choice([0.0, 0.0, 0.5, 12.0])) for _ in range(2))
    if place == "inside":
        down, up = 0.1 * down, 0.1 * up
    tips = tips_of(rng, tip_kind, is_aligned)
    triangle = triangle_of(rng, triangle_kind, is_aligned, tips, profile)
    shape = (triangle[:, None] - tips[None]).reshape(-1, 3)
    middle = np.array([0.0, 0.0, profile[:, 1].mean()])
    if place == "inside":
        target = (rng.dirichlet(np.full(3, 3.0)) @ triangle) - (rng.dirichlet(np.full(len(tips), 3.0)) @ tips)
        shift = middle - target
    elif place == "in its plane":  # beside the triangle, a tip and the middle of the solid in its plane
        share = rng.choice([-2.0, -0.5, 0.5, 1.5, 3.0], 2)
        shift = middle + tips[0] - np.array([*share, 1.0 - share.sum()]) @ triangle
    else:
        spread = {"near": 15.0, "wide": 80.0, "far away": 30.0}[place]
        shift = rng.uniform(-spread, spread, 3) + middle - shape.mean(0)
    if is_aligned and place != "in its plane":
        shift = shift.round()
    triangle = triangle + shift
    if place == "far away":
        away = rng.choice([-1e4, 1e4], 3)
        triangle, tips = triangle + away, tips + away
    name = f"{'aligned' if is_aligned else 'any'}: {solid}, {tip_kind}, {triangle_kind}, {place}"
    return Case(name, profile, split, down, up, triangle, tips)
