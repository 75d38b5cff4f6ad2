"""A second opinion of a clearance: what was claimed against what FCL finds, mesh against mesh.

1. The polyhedra of `meshed_sweeps.py` cover tool and obstacle. What FCL finds is therefore less than the true
   clearance, by `error` at most: the sagitta of the polygons on either side, the gap between the profiles around
   and inside an arc, that of the polygons over a rolled corner, the chord error, and rounding. Both ends of a
   true claim are within so much of it.
2. Of the obstacle those triangles are looked at that are within the claimed distance and LEAST_REACH more. Only
   where that disagrees is it looked farther, for the number.
3. Contact that is claimed must not be apart, nor a clearance be contact. Of a depth of overlap it is told
   whether it holds in its own direction, and whether the solids overlap by less in one of the main ones.
4. The nearest points must be on the two solids, so far apart as is said, with the tip where the move takes it.
5. Where not all sweeps of a long move were measured, a claim can be found too large, not too small.
6. What this file does not know: cuts, swings, verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kinematics.engine.pair import ROUNDING
from kinematics.engine.sweep import Positions
from kinematics.errors import EngineError
from kinematics.meshed_sweeps import (
    AXES,
    MOST_PLACES,
    MOST_SWEEPS,
    Mover,
    Moving,
    Posed,
    Seen,
    body_error,
    every_sweep,
    measured,
    near_surface,
    sweeps,
)
from kinematics.near_triangles import distance_to_point, faces_near, some_of
from kinematics.pose import Array, Vector
from kinematics.report import Interval
from kinematics.solids import Triangles

LEAST_REACH = 1.0  # mm
WORDS_REACH = 100.0  # mm; how far is looked to tell the number of what disagrees

_MAIN = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)])
MAIN_DIRECTIONS = _MAIN / np.linalg.norm(_MAIN, axis=1)[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class Claim:
    """What is said of one pair, in the frame in which it was compared; lengths in mm.

    Parameters
    ----------
    clearance : of the move as given; None on contact without a depth. Negative: depth of overlap.
    swept : what is proven of the move with the stick-out swept; None on contact without a depth.
    points : on the side that moves, on the obstacle; None where they are not to be looked at.
    tip : where the tip stands then; None where it is not told.
    normal : unit direction from the side that moves to the obstacle, of an overlap with a depth.
    """

    clearance: Interval | None
    swept: float | None
    points: tuple[Array, Array] | None = None
    tip: Array | None = None
    normal: Vector | None = None


def disagreement(claim: Claim, mover: Mover, obstacle: Sequence[Posed]) -> str | None:
    """What a second opinion has against a claim, with both numbers; None where it agrees."""
    said = max(claim.swept or 0.0, claim.clearance.value if claim.clearance else 0.0, 0.0)
    try:
        fault = _Comparison(claim, mover, obstacle, said + LEAST_REACH).fault()
        if fault is not None:  # how far is it, if not so far?
            fault = _Comparison(claim, mover, obstacle, max(2.0 * said, WORDS_REACH)).fault() or fault
    except EngineError as failed:
        return f"there is no second opinion: {failed.message}"
    return fault


class Look:
    """What FCL finds between a mover and an obstacle within `limit`, mm. `tip` : where the tip is looked for first."""

    def __init__(self, mover: Mover, obstacle: Sequence[Posed], limit: float, tip: Array | None = None) -> None:
        self.mover, self.obstacle, self.limit = mover, obstacle, limit
        self.error = mover.error + body_error(obstacle) + 2 * ROUNDING
        extent = mover.extent(AXES, mover.moving.down)
        self.surface = near_surface(obstacle, (-extent[3:], extent[:3]), limit)
        self.at = -1 if tip is None else self._set_of(tip)

    def _set_of(self, tip: Array) -> int:
        """The position set that the tip is in, or nearest to."""
        reach = self.mover.moving.reach(AXES, 0.0)
        off = np.maximum(tip[:, None] - reach[:3], -reach[3:] - tip[:, None]).max(axis=0).clip(min=0.0)
        near = np.flatnonzero(off <= off.min() + self.error)[:MOST_PLACES].tolist()
        return int(min(near, key=lambda i: off_positions(tip, self.mover.moving.sets[i])))

    def seen(self, down: float = 0.0) -> Seen:
        """The least distance over the move, the stick-out longer by `down`. Raises EngineError."""
        return measured(
            sweeps(self.mover, self.surface, down, self.at), self.obstacle, self.surface, self.limit, self.at
        )

    def points_off(self, points: tuple[Array, Array], value: float, tip: Array | None = None) -> str | None:
        """What is wrong with the nearest points; None where they are where they should be."""
        p_first, p_obstacle = points
        off = {
            "as far apart as is said": abs(float(np.linalg.norm(p_obstacle - p_first)) - value),
            "on the obstacle": _off_surface(p_obstacle, self.surface.triangles),
        }
        if not self.mover.is_loose:
            off["on the side that moves"] = self._off_mover(p_first, tip)
        if tip is not None:
            off["where the tip can be"] = off_positions(tip, self.mover.moving.sets[self.at])
        for where, by in off.items():
            if by > self.error:
                how = f"{by:.3f}" if math.isfinite(by) else f"more than {LEAST_REACH:g}"
                return f"the nearest points are not {where}: {how} off; {self._allowed} is allowed"
        return None

    def _off_mover(self, p: Array, tip: Array | None) -> float:
        """How far a point is off the surface of the mover's sweep, or, where a tip is told, of it there."""
        moving = self.mover.moving if tip is None else Moving([Positions(tip[None, :])])
        mover = replace(self.mover, moving=moving)
        some = every_sweep(mover)
        reach = some.reach(AXES)
        is_near = ((reach[:3] >= p[:, None] - LEAST_REACH) & (-reach[3:] <= p[:, None] + LEAST_REACH)).all(axis=0)
        near = np.flatnonzero(is_near)[:MOST_SWEEPS].tolist()
        return min((_off_surface(p, some.triangles(i)) for i in near), default=math.inf)

    def both(self, first: str, second: object) -> str:
        """Two numbers that are too far apart, in words."""
        return f"the exact engine finds {first}, the mesh engine {second}; they may differ by {self._allowed}"

    @property
    def _allowed(self) -> str:
        """The stated error, rounded up."""
        return f"{math.ceil(self.error * 1000.0) / 1000.0:.3f}"


class _Comparison(Look):
    """One claim against what FCL finds."""

    def __init__(self, claim: Claim, mover: Mover, obstacle: Sequence[Posed], limit: float) -> None:
        super().__init__(mover, obstacle, limit, claim.tip)
        self.claim = claim

    def fault(self) -> str | None:
        claim, down = self.claim, self.mover.moving.down
        fault = self._of_clearance(self.seen())
        if fault is None and down > 0.0:
            fault = self._of_swept(self.seen(down))
        if (
            fault is None
            and claim.points is not None
            and claim.clearance is not None
            and claim.clearance.at_least > 0.0
        ):
            fault = self.points_off(claim.points, claim.clearance.value, claim.tip)
        return fault

    def _of_clearance(self, found: Seen) -> str | None:
        clearance = self.claim.clearance
        if clearance is None:
            return None if self._may_touch(found) else self.both("contact", found)
        if clearance.at_least <= 0.0:
            if not self._may_touch(found):
                return self.both(f"{clearance.at_least:.3f}", found)
            return self._of_depth(-clearance.value, -clearance.at_least) if clearance.value < 0.0 else None
        ends = [clearance.at_least] if self.mover.is_loose else [clearance.at_least, clearance.value]
        off = next((end for end in ends if self._is_off(end, found)), None)
        return None if off is None else self.both(f"{off:.3f}", found)

    def _of_swept(self, found: Seen) -> str | None:
        said = self.claim.swept
        if said is not None and said > 0.0:
            is_off, words = self._is_off(said, found), f"{said:.3f}"
        else:
            is_off, words = not self._may_touch(found), "contact" if said is None else f"{said:.3f}"
        return f"with the stick-out error, {self.both(words, found)}" if is_off else None

    def _may_touch(self, found: Seen) -> bool:
        return found.distance <= self.error or not found.is_whole

    def _is_off(self, said: float, found: Seen) -> bool:
        is_too_large = said > found.distance + self.error and not found.is_beyond
        return is_too_large or (found.is_whole and (found.is_beyond or said < found.distance - self.error))

    def _of_depth(self, least: float, most: float) -> str | None:
        """Whether solids overlap as deep as is said in the direction that is said, and in no main one by less."""
        if self.claim.normal is None:
            return None
        directions = np.vstack([np.asarray(self.claim.normal), MAIN_DIRECTIONS])
        reach = sweeps(self.mover, self.surface, 0.0, self.at).reach(directions)
        deepest = 0.0
        for solid, X_WG in self.obstacle:
            depths = reach - (directions @ X_WG.points(solid.outer.vertices).T).min(axis=1)[:, None]
            deepest = max(deepest, float(depths.min(axis=0).max()))
            if ((np.abs(depths[0] - most) <= self.error) & (depths.min(axis=0) >= least - self.error)).any():
                return None
        return self.both(f"{-most:.3f}", f"{-deepest:.3f}")


def _off_surface(p: Array, surface: Triangles) -> float:
    """How far a point is from triangles; infinite where that is more than LEAST_REACH."""
    return distance_to_point(p, some_of(surface, faces_near(surface, p - LEAST_REACH, p + LEAST_REACH)))


def off_positions(tip: Array, positions: Positions) -> float:
    """How far a tip position is from a set: 0 in it."""
    corners = positions.points
    place = np.array(corners[0])
    if len(corners) == 2:
        step = corners[1] - corners[0]
        run = step.copy() if not step[:2].any() else step * (1.0, 1.0, 0.0)  # how far along is told by X and Y
        place += step * min(max(float((tip - place) @ run) / max(float(run @ run), 1e-300), 0.0), 1.0)
    elif len(corners) > 2:  # level
        place[:2] = _in_polygon(tip[:2], corners[:, :2])
    place[2] += min(max(float(tip[2] - place[2]), -positions.down), positions.up)
    return float(np.linalg.norm(tip - place))


def _in_polygon(p: Array, corners: Array) -> Array:
    """The point of a convex polygon (k, 2), corners counter-clockwise, nearest to p (2,)."""
    step = np.roll(corners, -1, axis=0) - corners
    off = p - corners
    if (step[:, 0] * off[:, 1] - step[:, 1] * off[:, 0] >= 0.0).all():
        return p
    t = np.clip((off * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-300), 0.0, 1.0)
    feet = corners + t[:, None] * step
    return np.asarray(feet[((feet - p) ** 2).sum(axis=1).argmin()])
