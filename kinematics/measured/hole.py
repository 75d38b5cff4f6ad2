"""A round wall fitted through the facet that was pointed at, or through the wall round the bottom that was.

1. The wall: facets reached over smooth edges whose normals are square to one axis. The axis is the direction that
   their normals have least of (the smallest eigenvector of their squares); the circle is fitted through the vertices.
2. The ends: lines of edges that go once round the axis. Where what lies beyond is nearer to the axis, the hole closes;
   where it is further out, it opens.
3. Entry and bottom follow what lies beyond: a chamfer up to its outer rim, a point or a floor down to its deepest
   point.
4. What does not fit within TOLERANCE all round is declined with its reason.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from kinematics.measured.found import NOTHING_AROUND, TOLERANCE, Bottom, Declined, FoundHole
from kinematics.measured.surface import FLAT, Ints, Rim, Surface
from kinematics.pose import Array

SMOOTH = math.cos(math.radians(40.0))  # facets of one round wall turn by less than this
SQUARE = (0.2, 0.02, 0.004)  # how far a normal of the wall may lean along the axis, from pass to pass
FEWEST_SIDES = 12  # fewer corners round the axis may as well be a polygon
WIDEST_GAP = math.radians(50.0)  # between two corners round the axis


@dataclass(frozen=True, slots=True, eq=False)
class Wall:
    """A cylinder through vertices: a point on the axis, its unit direction, the radius, the largest residual."""

    region: Ints
    origin: Array
    axis: Array
    radius: float
    off: float

    def heights(self, points: Array) -> Array:
        """Along the axis from the origin."""
        return (points - self.origin) @ self.axis

    def radii(self, points: Array) -> Array:
        """Distances from the axis."""
        out = points - self.origin
        return np.linalg.norm(out - np.outer(out @ self.axis, self.axis), axis=1)


def hole_at(surface: Surface, face: int) -> FoundHole | Declined:
    """The hole whose wall, bottom or chamfer has the facet."""
    wall = _wall_at(surface, face)
    if isinstance(wall, Declined):
        for other in _round_it(surface, face):
            beside = _wall_at(surface, other)
            if not isinstance(beside, Declined) and _encloses(surface, beside, face):
                return _measured(surface, beside)
        return wall
    return _measured(surface, wall)


def _wall_at(surface: Surface, face: int) -> Wall | Declined:
    smooth = surface.grown([face], lambda a, b: surface.turn_between(a, b) > SMOOTH)
    if len(smooth) < FEWEST_SIDES:
        return Declined(NOTHING_AROUND)
    first = None
    for axis in _own_directions(surface, smooth).T:  # of anything turned about an axis, one of them is the axis
        found = _wall_about(surface, face, smooth, axis)
        if not isinstance(found, Declined):
            return found
        first = first or found
    assert first is not None, "three directions were tried"
    return first


def _wall_about(surface: Surface, face: int, smooth: Ints, axis: Array) -> Wall | Declined:
    region = smooth
    for lean in SQUARE:
        if abs(float(surface.normals[face] @ axis)) > lean:
            return Declined("the facet is not part of a round wall")
        inside = set(region[np.abs(surface.normals[region] @ axis) <= lean].tolist())
        region = surface.grown([face], lambda _, b, inside=inside: b in inside)  # type: ignore[misc]
        axis = _own_directions(surface, region)[:, 0]
    return _fitted(surface, region, axis)


def _own_directions(surface: Surface, region: Ints) -> Array:
    """Directions as columns, from the one that the normals have least of."""
    normals = surface.normals[region]
    vectors: Array = np.linalg.eigh((normals * surface.areas[region, None]).T @ normals)[1]
    return vectors * np.where(vectors[np.argmax(np.abs(vectors), axis=0), [0, 1, 2]] < 0.0, -1.0, 1.0)


def _fitted(surface: Surface, region: Ints, axis: Array) -> Wall | Declined:
    u = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    points = surface.vertices_of(region)
    middle = points.mean(axis=0)

    def plane(tilted: Array) -> Array:
        """Points in the plane square to the axis after it leans by two small numbers."""
        turned = axis + tilted[0] * u + tilted[1] * v
        turned /= np.linalg.norm(turned)
        off = points - middle
        return off - np.outer(off @ turned, turned)

    flat = plane(np.zeros(2)) @ np.array([u, v]).T
    rows = np.column_stack([2.0 * flat, np.ones(len(flat))])
    x, y, rest = np.linalg.lstsq(rows, (flat**2).sum(axis=1), rcond=None)[0]
    radius = math.sqrt(max(float(rest + x * x + y * y), 0.0))

    def residuals(p: Array) -> Array:
        centre = p[2] * u + p[3] * v
        off = plane(p[:2]) - centre
        turned = axis + p[0] * u + p[1] * v
        turned /= np.linalg.norm(turned)
        off = off - np.outer(off @ turned, turned)
        return np.linalg.norm(off, axis=1) - p[4]

    best = least_squares(residuals, np.array([0.0, 0.0, float(x), float(y), radius]), x_scale=(1e-3, 1e-3, 1, 1, 1))
    leaned = axis + best.x[0] * u + best.x[1] * v
    leaned /= np.linalg.norm(leaned)
    origin = middle + best.x[2] * u + best.x[3] * v
    wall = Wall(region, origin, leaned, float(best.x[4]), float(np.abs(best.fun).max()))
    if wall.off > TOLERANCE:
        return Declined(f"the wall is not round: points lie up to {wall.off:.2f} from a circle")
    return _closed(surface, wall, u, v)


def _closed(surface: Surface, wall: Wall, u: Array, v: Array) -> Wall | Declined:
    points = surface.vertices_of(wall.region) - wall.origin
    angles = np.sort(np.arctan2(points @ v, points @ u))
    steps = np.diff(np.append(angles, angles[0] + 2.0 * math.pi))
    if steps.max() > WIDEST_GAP:
        return Declined("the wall does not go all the way round")
    if int((steps > 1e-3).sum()) < FEWEST_SIDES:
        return Declined(f"the wall has fewer than {FEWEST_SIDES} sides: too coarse to tell that it is round")
    centres = surface.vertices[surface.faces[wall.region]].mean(axis=1) - wall.origin
    if float(np.median((surface.normals[wall.region] * centres).sum(axis=1))) > 0.0:
        return Declined("that is the outside of something round, not a hole")
    return wall


def _round_it(surface: Surface, face: int) -> tuple[int, ...]:
    """Facets just beyond the smooth patch that a facet is on: the wall round a floor, a point or a chamfer."""
    patch = surface.grown([face], lambda a, b: surface.turn_between(a, b) > SMOOTH)
    beyond = surface.beyond[patch].ravel()
    inside = set(patch.tolist())
    found = [int(b) for b in beyond.tolist() if b >= 0 and b not in inside]
    seen: set[int] = set()
    firsts = []
    for other in found:
        if other not in seen:
            firsts.append(other)
            seen.update(surface.grown([other], lambda a, b: surface.turn_between(a, b) > SMOOTH).tolist())
    return tuple(firsts)


def _encloses(surface: Surface, wall: Wall, face: int) -> bool:
    """Whether a facet lies in front of an end of the hole: within its radius, or on a chamfer round it."""
    corners = surface.vertices[surface.faces[face]]
    leans = abs(float(surface.normals[face] @ wall.axis))
    is_chamfer = leans < FLAT and float(wall.radii(corners).max()) < 2.0 * wall.radius
    return is_chamfer or float(wall.radii(corners).max()) <= wall.radius + TOLERANCE


# ---- ends ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _End:
    rim: Rim
    heights: Array
    opens: bool


def _measured(surface: Surface, wall: Wall) -> FoundHole | Declined:
    rims = surface.rims(wall.region)
    ends = [
        _End(rim, h, opens)
        for rim in rims
        if _goes_round(surface, wall, rim)
        for h, opens in [_end(surface, wall, rim)]
    ]
    if len(ends) != 2:
        return Declined(f"the round wall has {len(ends)} ends; a hole has two")
    low, high = sorted(ends, key=lambda end: float(end.heights.mean()))
    if not low.opens and not high.opens:
        return Declined("the round wall is closed at both ends: a groove, no hole that a tool can enter")
    notes = ["another opening crosses the wall"] if len(rims) > 2 else []
    if not high.opens:
        wall = Wall(wall.region, wall.origin, -wall.axis, wall.radius, wall.off)
        low, high = (_End(end.rim, -end.heights, end.opens) for end in (high, low))
    entry, more = _entry(surface, wall, high)
    notes += more
    if low.opens:
        far = _entry(surface, Wall(wall.region, wall.origin, -wall.axis, wall.radius, wall.off), _flipped(low))[0]
        return _hole(wall, entry, -far, "through", None, notes)
    lowest, bottom, point_deg, more = _bottom(surface, wall, low)
    return _hole(wall, entry, lowest, bottom, point_deg, notes + more)


def _hole(
    wall: Wall, entry: float, lowest: float, bottom: Bottom, point_deg: float | None, notes: list[str]
) -> FoundHole:
    at = wall.origin + entry * wall.axis
    return FoundHole(
        at=(float(at[0]), float(at[1]), float(at[2])),
        direction=_cleaned(wall.axis),
        diameter=2.0 * wall.radius,
        depth=entry - lowest,
        bottom=bottom,
        point_deg=point_deg,
        off=wall.off,
        notes=tuple(notes),
    )


def _cleaned(axis: Array) -> tuple[float, float, float]:
    """A direction whose rounding noise is taken off: parts are drawn along their axes far more often than not."""
    x, y, z = (0.0 if abs(a) < 1e-5 else math.copysign(1.0, a) if abs(a) > 1.0 - 1e-10 else float(a) for a in axis)
    return x, y, z


def _flipped(end: _End) -> _End:
    return _End(end.rim, -end.heights, end.opens)


def _goes_round(surface: Surface, wall: Wall, rim: Rim) -> bool:
    """Whether a line of edges goes once round the axis (a hole that crosses makes one that does not)."""
    points = surface.vertices[rim.vertices] - wall.origin
    u = points[0] - (points[0] @ wall.axis) * wall.axis
    v = np.cross(wall.axis, u)
    angles = np.arctan2(points @ v, points @ u)
    steps = np.diff(np.append(angles, angles[0]))
    steps = (steps + math.pi) % (2.0 * math.pi) - math.pi
    return abs(float(steps.sum())) > math.pi


def _end(surface: Surface, wall: Wall, rim: Rim) -> tuple[Array, bool]:
    heights = wall.heights(surface.vertices[rim.vertices])
    known = rim.beyond[rim.beyond >= 0]
    corners = surface.vertices[surface.faces[known]]
    apart = np.array([_reach_out(wall, own) for own in corners])
    return heights, bool(np.median(apart) > 0.0) if len(apart) else True


def _reach_out(wall: Wall, corners: Array) -> float:
    """Above 0 where a facet reaches out of the wall's circle; a floor may have all its corners on it."""
    off = float(wall.radii(corners).max()) - wall.radius
    return off if off > TOLERANCE else -1.0


def _entry(surface: Surface, wall: Wall, end: _End) -> tuple[float, list[str]]:
    """Height of the highest rim: of the wall itself, or of the chamfer that opens it."""
    top = float(end.heights.max())
    notes = []
    if top - float(end.heights.min()) > 2.0 * TOLERANCE:
        notes.append("the entry lies on a slope: its highest point is taken")
    chamfer = surface.grown(
        [int(b) for b in end.rim.beyond.tolist() if b >= 0 and _is_chamfer(surface, wall, int(b))],
        lambda _, b: _is_chamfer(surface, wall, b),
    )
    if len(chamfer):
        corners = surface.vertices_of(chamfer)
        top = max(top, float(wall.heights(corners).max()))
        notes.append(f"chamfered to {2.0 * float(wall.radii(corners).max()):.2f}")
    return top, notes


def _is_chamfer(surface: Surface, wall: Wall, face: int) -> bool:
    """A facet of a cone or rounding about the axis that opens upward, near the hole."""
    normal = surface.normals[face]
    corners = surface.vertices[surface.faces[face]]
    up = float(normal @ wall.axis)
    out = corners.mean(axis=0) - wall.origin
    out = out - (out @ wall.axis) * wall.axis
    distance = float(np.linalg.norm(out))
    if not 0.05 < up < FLAT or distance == 0.0 or distance > 3.0 * wall.radius:
        return False
    around = np.cross(wall.axis, out / distance)
    return abs(float(normal @ around)) < 0.25 and float(normal @ out) < 0.0


def _bottom(surface: Surface, wall: Wall, end: _End) -> tuple[float, Bottom, float | None, list[str]]:
    """Deepest point under the wall, what closes it, the angle of a point."""
    level = float(end.heights.min())

    def is_below(_: int, face: int) -> bool:
        return (
            float(surface.normals[face] @ wall.axis) > 0.02
            and float(wall.radii(surface.vertices[surface.faces[face]]).max()) < wall.radius + TOLERANCE
        )

    floor = surface.grown([int(b) for b in end.rim.beyond.tolist() if b >= 0 and is_below(0, int(b))], is_below)
    if not len(floor):
        return level, "step", None, ["what closes it could not be followed"]
    corners = surface.vertices_of(floor)
    heights, radii = wall.heights(corners), wall.radii(corners)
    lowest = float(heights.min())
    if float(heights.max()) - lowest <= TOLERANCE:
        narrower = float(radii.min()) > TOLERANCE and _has_a_hole(surface, wall, floor)
        return (lowest, "step", None, ["a narrower hole goes on below"]) if narrower else (lowest, "flat", None, [])
    slopes = surface.normals[floor] @ wall.axis
    if float(slopes.max() - slopes.min()) < 0.01 and float(radii[np.argmin(heights)]) < 10.0 * TOLERANCE:
        half = math.atan2(wall.radius, level - lowest)
        return lowest, "point", math.degrees(2.0 * half), []
    if _has_a_hole(surface, wall, floor):
        return lowest, "step", None, ["a narrower hole goes on below"]
    return lowest, "round", None, []


def _has_a_hole(surface: Surface, wall: Wall, floor: Ints) -> bool:
    """Whether a second line of edges goes round the axis within the floor."""
    return sum(_goes_round(surface, wall, rim) for rim in surface.rims(floor)) > 1
