"""A pocket or a slot fitted through the walls and the floor round the facet that was pointed at.

1. What belongs together: facets reached over concave or flat edges. The rim of a pocket is where its edges bend away.
2. The direction is the one that the floor faces and no facet looks against; of a through pocket the one that no wall
   leans along.
3. In the plane square to it, every vertex of the walls must lie on one rectangle with equal round corners, within
   TOLERANCE; two half rounds make it a slot. What is open on a side is declined.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.measured.found import NOTHING_AROUND, TOLERANCE, Declined, FoundPocket, FoundSlot
from kinematics.measured.surface import FLAT, Ints, Surface
from kinematics.pose import Array, Vector

UPRIGHT = 0.004  # how far a normal of a wall may lean along the direction
LEVEL = 1.0 - 1e-5  # a facet whose normal has this much of the direction is floor


@dataclass(frozen=True, slots=True, eq=False)
class _Inside:
    """A pocket's facets by what they are, heights along `up`."""

    region: Ints
    up: Array
    walls: Ints
    floor: Ints
    top: float
    bottom: float
    notes: tuple[str, ...]


def pocket_at(surface: Surface, face: int) -> FoundPocket | FoundSlot | Declined:
    """The pocket or slot that the facet is floor or wall of."""
    region = surface.grown([face], lambda a, b: surface.turn_between(a, b) > FLAT or surface.bends_inward(a, b))
    directions = _directions(surface, region)
    if not directions:
        return Declined(NOTHING_AROUND)
    reasons = []
    for up in directions:
        inside = _seen_along(surface, region, up)
        if isinstance(inside, Declined):
            reasons.append(inside)
            continue
        found = _rectangle(surface, inside)
        if not isinstance(found, Declined):
            return found
        reasons.append(found)
    return reasons[0]


def _directions(surface: Surface, region: Ints) -> tuple[Array, ...]:
    """Where the pocket may open: normals of its large planes that nothing looks against, then the walls' own."""
    normals = surface.normals[region]
    left = np.ones(len(region), dtype=bool)
    planes: list[tuple[float, Array]] = []
    while left.any() and len(planes) < 12:
        first = normals[left][np.argmax(surface.areas[region][left])]
        same = left & (normals @ first > FLAT)
        area = float(surface.areas[region][same].sum())
        planes.append((area, _unit((normals[same] * surface.areas[region][same, None]).sum(axis=0))))
        left &= ~same
    if len(planes) < 2:
        return ()
    open_ones = [n for _, n in sorted(planes, key=lambda p: -p[0]) if float((normals @ n).min()) > -UPRIGHT]
    _, vectors = np.linalg.eigh((normals * surface.areas[region, None]).T @ normals)
    least = vectors[:, 0]
    if float(np.abs(normals @ least).max()) < UPRIGHT:
        least = least if least[np.argmax(np.abs(least))] > 0.0 else -least
        open_ones.append(least)
    return tuple(open_ones)


def _unit(v: Array) -> Array:
    unit = v / np.linalg.norm(v)
    return np.where(np.abs(unit) < 1e-7, 0.0, unit)


def _seen_along(surface: Surface, region: Ints, up: Array) -> _Inside | Declined:
    slopes = surface.normals[region] @ up
    walls = region[np.abs(slopes) <= UPRIGHT]
    floor = region[slopes >= LEVEL]
    if not len(walls):
        return Declined(NOTHING_AROUND)
    notes = []
    rims = surface.rims(region)
    if not rims:
        return Declined("it has no rim: a closed room")
    low, high = _rim_heights(surface, rims, up)
    if len(floor):
        levels = surface.vertices_of(floor) @ up
        if float(levels.max() - levels.min()) > TOLERANCE:
            return Declined("its floor has more than one level")
        bottom = float(levels.min())
        if low < bottom + TOLERANCE:
            return Declined("it is open on a side: give it as a slot, or by its numbers")
        if len(region) > len(walls) + len(floor):
            notes.append("rounded where walls meet the floor")
        if high - low > 2.0 * TOLERANCE:
            notes.append("its rim is not level: the highest point is taken")
        return _Inside(region, up, walls, floor, high, bottom, tuple(notes))
    if len(rims) != 2:
        return Declined("its walls are not closed all round")
    return _Inside(region, up, walls, floor, high, low, ("through: it can be entered from both sides",))


def _rim_heights(surface: Surface, rims: tuple[object, ...], up: Array) -> tuple[float, float]:
    heights = np.concatenate([surface.vertices[rim.vertices] @ up for rim in rims])  # type: ignore[attr-defined]
    return float(heights.min()), float(heights.max())


def _rectangle(surface: Surface, inside: _Inside) -> FoundPocket | FoundSlot | Declined:
    flat_walls = inside.walls[np.argmax(surface.areas[inside.walls])]
    across = surface.normals[flat_walls] - (surface.normals[flat_walls] @ inside.up) * inside.up
    along = _unit(np.cross(inside.up, across))
    across = np.cross(inside.up, along)
    points = surface.vertices_of(inside.walls)
    plan = np.column_stack([points @ along, points @ across])
    low, high = plan.min(axis=0), plan.max(axis=0)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    if half[1] > half[0]:
        along, across = across, -along
        plan = np.column_stack([plan[:, 1], -plan[:, 0]])
        middle, half = np.array([middle[1], -middle[0]]), half[::-1]
    if float(half.min()) < TOLERANCE:
        return Declined(NOTHING_AROUND)
    corner = _corner_radius(np.abs(plan - middle), half)
    off = float(_off_rounded(np.abs(plan - middle), half, corner).max())
    if off > TOLERANCE:
        return Declined(f"its walls are no rectangle with round corners: points lie up to {off:.2f} from one")
    if not _keeps_to_sides(surface, inside, np.array([along, across]), middle, half - corner):
        return Declined("its walls are no rectangle with round corners: some run askew")
    centre = middle[0] * along + middle[1] * across + inside.top * inside.up
    if not _looks_inward(surface, inside, centre):
        return Declined("that is the outside of a block, not a pocket")
    depth = inside.top - inside.bottom
    is_through = not len(inside.floor)
    if half[1] - corner <= TOLERANCE:
        reach = (half[0] - corner) * along
        ends = _vector(centre - reach), _vector(centre + reach)
        return FoundSlot(*ends, _vector(inside.up), 2.0 * float(half[1]), depth, is_through, off, inside.notes)
    notes = inside.notes + (("sharp corners: a round cutter leaves its own radius",) if corner == 0.0 else ())
    size = (2.0 * float(half[0]), 2.0 * float(half[1]))
    return FoundPocket(_vector(centre), _vector(inside.up), _vector(along), size, depth, corner, is_through, off, notes)


def _corner_radius(out: Array, half: Array) -> float:
    """From the vertices off both sides: of (r + qx)^2 + (r + qy)^2 = r^2 the larger root; 0 where there is none."""
    q = out - half  # <= 0
    in_corner = (q < -TOLERANCE).all(axis=1)
    if not in_corner.any():
        return 0.0
    qx, qy = q[in_corner].T
    return float(min(np.median(-(qx + qy) + np.sqrt(2.0 * qx * qy)), half.min()))


def _off_rounded(out: Array, half: Array, radius: float) -> Array:
    """Distances of points in the first quarter from a rectangle with round corners (signed distance, taken bare)."""
    q = out - (half - radius)
    outside = np.linalg.norm(np.maximum(q, 0.0), axis=1)
    return np.abs(outside + np.minimum(q.max(axis=1), 0.0) - radius)


def _keeps_to_sides(surface: Surface, inside: _Inside, axes: Array, middle: Array, straight: Array) -> bool:
    """Whether every wall that runs askew lies in a corner, beyond the straight parts of both sides."""
    askew = inside.walls[np.abs(surface.normals[inside.walls] @ axes.T).max(axis=1) < FLAT]
    plan = np.abs(surface.vertices[surface.faces[askew]] @ axes.T - middle)
    return bool((plan > straight - TOLERANCE).all())


def _looks_inward(surface: Surface, inside: _Inside, centre: Array) -> bool:
    """Whether the walls face what they enclose; those of a boss face away."""
    corners = surface.vertices[surface.faces[inside.walls]].mean(axis=1) - centre
    return float((surface.areas[inside.walls] * (surface.normals[inside.walls] * corners).sum(axis=1)).sum()) < 0.0


def _vector(v: Array) -> Vector:
    return (float(v[0]), float(v[1]), float(v[2]))
