"""What stands at a facet that was pointed at: a hole, a pocket, a slot, or the reason why it is none.

A number is given only where every point of the wall lies within TOLERANCE of the fitted shape: the vertices of a
triangulated part lie on its surface, so that sizes do not shrink with the facets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kinematics.pose import Vector

TOLERANCE = 0.01  # mm; a point further from the fitted wall than this makes it another shape

Bottom = Literal["flat", "point", "round", "step", "through"]


@dataclass(frozen=True, slots=True)
class FoundHole:
    """A round wall all the way round.

    Parameters
    ----------
    at : the entry, on the axis, at the highest point of the rim (of a chamfer's outer rim).
    direction : unit, out of the hole: the tool axis from tip to spindle. A through hole can be entered from both sides.
    diameter, depth : mm; depth from the entry to the deepest point (tip of a point, the far side of a through hole).
    bottom : flat, a drill's point, round (a ball), a step to a narrower hole, or through.
    point_deg : full angle of the point; None where there is none.
    off : the largest distance of a point of the wall from the fitted cylinder, mm.
    notes : what a person should look at, in words.
    """

    at: Vector
    direction: Vector
    diameter: float
    depth: float
    bottom: Bottom
    point_deg: float | None
    off: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundPocket:
    """A rectangular opening with equal corners.

    Parameters
    ----------
    at : centre of the opening, at the highest point of its rim.
    direction : unit, out of the pocket.
    along : unit, along the first side.
    size : first and second side, mm; the first is the longer.
    depth : from `at` to the floor, or to the far side.
    corner_radius : mm; 0 for sharp corners.
    """

    at: Vector
    direction: Vector
    along: Vector
    size: tuple[float, float]
    depth: float
    corner_radius: float
    is_through: bool
    off: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundSlot:
    """An opening with two half rounds as its ends; `start` and `end` are their centres at the rim."""

    start: Vector
    end: Vector
    direction: Vector
    width: float
    depth: float
    is_through: bool
    off: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Declined:
    """Why nothing is given, in words that go on a line."""

    why: str


Found = FoundHole | FoundPocket | FoundSlot | Declined

NOTHING_AROUND = "no wall stands around it"
