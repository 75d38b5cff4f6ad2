"""Shapes: plain values, each in its own frame G with the centre of its base at the origin, +Z up.

1. A shape is a description; triangles are made in `solids.py`, at a stated error.
2. Nothing here knows where the shape stands or what it is for.
3. Screws carry the numbers of their standard: the reader looked them up in `shared/hardware`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kinematics.errors import ShapeError
from kinematics.meshes import Mesh

Bounds = tuple[tuple[float, float, float], tuple[float, float, float]]


def _need_positive(what: str, *values: float) -> None:
    for value in values:
        if not (math.isfinite(value) and value > 0.0):
            raise ShapeError(f"{what}: {value:g} mm; expected a length above 0")


@dataclass(frozen=True, slots=True)
class Box:
    """A cuboid, dx by dy by dz, on the centre of its base."""

    dx: float
    dy: float
    dz: float

    def __post_init__(self) -> None:
        _need_positive("box", self.dx, self.dy, self.dz)


@dataclass(frozen=True, slots=True)
class Step:
    """One length of a turned profile: diameter d1 at its lower end, d2 at its upper end."""

    d1: float
    d2: float
    length: float


@dataclass(frozen=True, slots=True)
class Revolve:
    """A turned solid: steps stacked from the base up. A cylinder and a cone are one step.

    Every step is filled to the axis. A step may come to a point (one diameter 0).
    """

    steps: tuple[Step, ...]

    def __post_init__(self) -> None:
        if not self.steps:
            raise ShapeError("a turned solid needs at least one step")
        for step in self.steps:
            _need_positive("length of a step", step.length)
            if not (step.d1 >= 0.0 and step.d2 >= 0.0 and max(step.d1, step.d2) > 0.0):
                raise ShapeError(f"diameters {step.d1:g} and {step.d2:g} mm; expected one above 0, none below")

    @property
    def height(self) -> float:
        return sum(step.length for step in self.steps)

    @property
    def radius(self) -> float:
        """The largest radius."""
        return max(max(step.d1, step.d2) for step in self.steps) / 2.0


def cylinder(d: float, h: float) -> Revolve:
    """A cylinder of diameter d and height h."""
    return Revolve((Step(d, d, h),))


def cone(d1: float, d2: float, h: float) -> Revolve:
    """A frustum: diameter d1 at the base, d2 at height h."""
    return Revolve((Step(d1, d2, h),))


@dataclass(frozen=True, slots=True)
class KeySpace:
    """The room that a key needs over a screw head: a cylinder on top of the head."""

    d: float
    h: float

    def __post_init__(self) -> None:
        _need_positive("key", self.d, self.h)


@dataclass(frozen=True, slots=True)
class Screw:
    """A screw, washer or pin by its standard; the origin is the seat under the head.

    Parameters
    ----------
    standard, size : as written, for example "ISO 4762" and "M6".
    head_d : outermost diameter of the head; over the corners for a hexagon, since nobody knows how
        it is turned when it is tight.
    head_h : height of the head over the seat.
    shank_d, length : the shank below the seat; None or 0 where it is not modelled.
    key : room for the key over the head, or None.
    torque : free text for the sheet, or None.
    """

    standard: str
    size: str
    head_d: float
    head_h: float
    shank_d: float = 0.0
    length: float | None = None
    key: KeySpace | None = None
    torque: str | None = None

    def __post_init__(self) -> None:
        _need_positive("screw head", self.head_d, self.head_h)
        if self.length is not None:
            _need_positive("screw length", self.length, self.shank_d)


@dataclass(frozen=True, slots=True, eq=False)
class MeshShape:
    """A solid from a mesh file, already in mm and in the frame that `at` places."""

    mesh: Mesh


Shape = Box | Revolve | Screw | MeshShape


def bounds(shape: Shape) -> Bounds:
    """The axis-aligned box of a shape in its own frame: lowest and highest corner, mm."""
    match shape:
        case Box(dx, dy, dz):
            return (-dx / 2, -dy / 2, 0.0), (dx / 2, dy / 2, dz)
        case Revolve():
            r = shape.radius
            return (-r, -r, 0.0), (r, r, shape.height)
        case Screw(head_d=d, head_h=h, shank_d=shank_d, length=length):
            r = max(d, shank_d if length else 0.0) / 2
            return (-r, -r, -(length or 0.0)), (r, r, h)
        case MeshShape(mesh):
            lo, hi = mesh.bounds
            return lo, hi


def face_centre(shape: Shape, face: str) -> tuple[float, float, float]:
    """The centre of one side of the shape's box, for bodies that stand on it.

    For a screw the sides are those of its head. `face` is one of +X -X +Y -Y +Z -Z.
    """
    if isinstance(shape, Screw):
        return face_centre(cylinder(shape.head_d, shape.head_h), face)
    lo, hi = bounds(shape)
    centre = [(a + b) / 2 for a, b in zip(lo, hi, strict=True)]
    axis = "XYZ".index(face[1])
    centre[axis] = hi[axis] if face[0] == "+" else lo[axis]
    return (centre[0], centre[1], centre[2])
