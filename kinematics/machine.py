"""A machine: three linear axes and none, one or two table axes of any direction.

1. W is the table top; X, Y and the height of the gauge line are counted in it.
2. A table axis is a point, a unit direction and a parent frame; positive is the right-hand turn of
   the table about that direction. How a control counts is `Control`, never the direction.
3. Each table axis carries the next: ``X_WR = X_WT(tilt) @ X_TR(rotary)``.
4. Where a linear axis moves the table, the bed (column, door) moves with the tool relative to W.
5. What this file does not know: bodies, cuts, clearances.

Sources: ISO 841 for the naming of axes; the closed form of the inverse is subproblem 2 of B. Paden,
"Kinematics and control of robot manipulators" (1986).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from kinematics.errors import TravelError, UnreachableError
from kinematics.pose import (
    Z_AXIS,
    Pose,
    Vector,
    angle_between_deg,
    angle_difference_deg,
    cos_sin_deg,
    identity,
    shift,
    turn_about,
    turn_between_deg,
    unit,
)

if TYPE_CHECKING:
    from kinematics.scene import Body

W = "W"
P = "P"
BED = "bed"
TABLE = "table"
HEAD = "head"
ANGLE_SLACK_DEG = 1e-9  # an angle this little outside its limits is rounding, not travel
DIRECTION_SLACK = 1e-9  # two unit vectors this close are the same direction
DIRECTION_SLACK_DEG = math.degrees(DIRECTION_SLACK)

Angles = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class LinearAxis:
    """X, Y or Z: the spindle relative to the table, mm; `moves` says what slides on the machine."""

    name: Literal["x", "y", "z"]
    limits: tuple[float, float]
    moves: Literal["head", "table"] = "head"


@dataclass(frozen=True, slots=True)
class TableAxis:
    """A rotary axis on the work side.

    Parameters
    ----------
    carries : name of the frame that it turns; its origin is `origin`.
    origin : a point on the axis in the parent's frame (W, or what the axis before carries), mm.
    axis : unit direction in the parent's frame.
    limits : degrees, or None for an endless axis.
    way : which way round the axis may turn between two orientations.
    """

    name: str
    letter: str
    carries: str
    origin: Vector
    axis: Vector
    limits: tuple[float, float] | None
    way: Literal["shortest", "up", "down", "either"] = "either"

    def __post_init__(self) -> None:
        object.__setattr__(self, "axis", unit(self.axis))

    def pose(self, angle_deg: float, parent: str) -> Pose:
        """The pose of the carried frame in its parent at `angle_deg`."""
        turned = turn_about("turned", self.carries, self.axis, angle_deg)
        return shift(parent, "turned", self.origin) @ turned

    def allows(self, angle_deg: float) -> bool:
        """Whether the angle is within the limits (always, for an endless axis)."""
        if self.limits is None:
            return True
        low, high = self.limits
        return low - ANGLE_SLACK_DEG <= angle_deg <= high + ANGLE_SLACK_DEG

    def within(self, angle_deg: float) -> float | None:
        """The same position as an angle inside the limits, nearest to 0; None if there is none."""
        wrapped = angle_difference_deg(angle_deg, 0.0)
        candidates = sorted((wrapped + turn for turn in (0.0, 360.0, -360.0)), key=abs)
        return next((a for a in candidates if self.allows(a)), None)

    def nearest_to_0(self) -> float:
        """The position within the limits that is nearest to 0."""
        return 0.0 if self.limits is None else min(max(0.0, self.limits[0]), self.limits[1])


@dataclass(frozen=True, slots=True)
class Control:
    """How the control counts. `zero`: the point of W where it reads X0 Y0 Z0 (Z: the gauge line).

    `signs`: 1 counts as the table turns by the right hand, -1 as ISO 841 thinks the tool to move.
    `work_offset`: "once" if the control carries the offset round with the table, else "each".
    """

    zero: Vector
    signs: tuple[tuple[str, int], ...]
    work_offset: Literal["once", "each"]


@dataclass(frozen=True, slots=True)
class SpindleStep:
    """One length of the spindle nose: diameters d1 (lower) and d2, from the gauge line upwards."""

    d1: float
    d2: float
    length: float


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine. `bodies` ride on its frames; `operator` is the side of W that the operator stands on."""

    name: str
    title: str
    linear_axes: tuple[LinearAxis, LinearAxis, LinearAxis]
    table_axes: tuple[TableAxis, ...]
    operator: Vector
    home_deg: tuple[tuple[str, float], ...]
    control: Control | None
    spindle_nose: tuple[SpindleStep, ...]
    bodies: tuple[Body, ...] = ()
    not_modelled: tuple[str, ...] = ()
    sources: str = ""
    origin: object = field(default=None, compare=False)

    @property
    def x(self) -> LinearAxis:
        return self.linear_axes[0]

    @property
    def y(self) -> LinearAxis:
        return self.linear_axes[1]

    @property
    def z(self) -> LinearAxis:
        return self.linear_axes[2]

    @property
    def frames(self) -> tuple[str, ...]:
        """Names of the frames that bodies may ride on."""
        return (BED, TABLE, HEAD, *(axis.carries for axis in self.table_axes))

    @property
    def platter(self) -> str:
        """The frame that the last table axis carries; the table where there is none."""
        return self.table_axes[-1].carries if self.table_axes else TABLE

    def axis(self, name: str) -> TableAxis:
        return next(axis for axis in self.table_axes if axis.name == name)


def check_angles(machine: Machine, angles_deg: Angles) -> None:
    """Raise TravelError for the first table axis that is outside its limits, by whichever turn it is counted."""
    for axis in machine.table_axes:
        angle = angles_deg.get(axis.name, 0.0)
        if axis.limits is not None and axis.within(angle) is None:
            low, high = axis.limits
            raise TravelError(f"{axis.name} = {angle:g} deg is outside its travel {low:g}..{high:g} deg")


def frame_poses(machine: Machine, angles_deg: Angles) -> dict[str, Pose]:
    """The pose in W of the table and of every frame that a table axis carries.

    Angles that are not given count as 0. Limits are not tested here (see `check_angles`): the
    picture of a position that cannot be reached is still the right picture.
    """
    poses = {TABLE: identity(W, TABLE)}
    X_Wparent, parent = identity(W), W
    for axis in machine.table_axes:
        X_Wparent = X_Wparent @ axis.pose(angles_deg.get(axis.name, 0.0), parent)
        parent = axis.carries
        poses[parent] = X_Wparent
    return poses


def platter_pose(machine: Machine, angles_deg: Angles) -> Pose:
    """X_WR: the pose of what the last table axis carries (of the table where there is none)."""
    return frame_poses(machine, angles_deg)[machine.platter]


def head_motion(machine: Machine, offset_W: Sequence[float]) -> Vector:
    """The part of a spindle motion (relative to the table) that the head makes against the bed."""
    x, y, z = (v if axis.moves == "head" else 0.0 for v, axis in zip(offset_W, machine.linear_axes, strict=True))
    return (x, y, z)


def bed_motion(machine: Machine, offset_W: Sequence[float]) -> Vector:
    """How far the bed moves relative to the table when the spindle stands at `offset_W`."""
    x, y, z = (v if axis.moves == "table" else 0.0 for v, axis in zip(offset_W, machine.linear_axes, strict=True))
    return (x, y, z)


def tool_axis_in_platter(machine: Machine, angles_deg: Angles) -> Vector:
    """The direction of the spindle (from the tip up), expressed in what the last axis carries."""
    return platter_pose(machine, angles_deg).inverse().direction(Z_AXIS)


@dataclass(frozen=True, slots=True)
class TableSolution:
    """Angles of the table axes that turn a direction to the spindle.

    `free` names the axes that may stand anywhere (singular case); they are given as 0, or as the
    limit nearest to it. `outside` names the axes whose limits the solution breaks.
    """

    angles_deg: tuple[tuple[str, float], ...]
    free: tuple[str, ...] = field(default=())
    outside: tuple[str, ...] = field(default=())

    def angle(self, name: str) -> float:
        return dict(self.angles_deg)[name]


def solutions(machine: Machine, direction_R: ArrayLike) -> tuple[TableSolution, ...]:
    """Every position of the table axes that turns `direction_R` to the spindle.

    Parameters
    ----------
    direction_R : the wanted tool axis (from the tip up), expressed in what the last axis carries.

    Returns
    -------
    None, one or two solutions, the one within limits and nearest to 0 first. An angle is given
    inside its limits where one of its turns is; a solution outside its limits is kept and says so.
    Where an axis is parallel to the direction that it turns, it is free.
    """
    v = np.asarray(unit(np.asarray(direction_R, dtype=np.float64).tolist()))
    z = np.asarray(Z_AXIS)
    axes = machine.table_axes
    if not axes:
        return (TableSolution(()),) if np.abs(v - z).max() < DIRECTION_SLACK else ()
    if len(axes) == 1:
        return _one_axis(axes[0], v, z)
    return _two_axes(axes[0], axes[1], v, z)


def _one_axis(axis: TableAxis, v: np.ndarray, z: np.ndarray) -> tuple[TableSolution, ...]:
    a = np.asarray(axis.axis)
    lean = angle_between_deg(a, z)
    if abs(angle_between_deg(a, v) - lean) > DIRECTION_SLACK_DEG:
        return ()
    if min(lean, 180.0 - lean) < DIRECTION_SLACK_DEG:
        return (_solution([(axis, 0.0)], free=(axis.name,)),)
    return (_solution([(axis, turn_between_deg(axis.axis, v, z))]),)


def _two_axes(first: TableAxis, second: TableAxis, v: np.ndarray, z: np.ndarray) -> tuple[TableSolution, ...]:
    """Turn v about the second axis, then about the first, onto z.

    Between the two turns the direction u lies on the cone of v about the second axis and on the
    cone of z about the first: u = alpha a1 + beta a2 +- gamma a1 x a2. Half the cones' opening and
    the angle between the axes are the sides of a spherical triangle; gamma comes from its sides (the
    spherical form of Heron's formula), since 1 - |alpha a1 + beta a2|^2 loses its digits where the
    cones touch: at the singular position, and at the rim of what can be reached.
    """
    a1, a2 = np.asarray(first.axis), np.asarray(second.axis)
    normal = np.cross(a1, a2)
    n2 = float(normal @ normal)
    if n2 < DIRECTION_SLACK**2:
        # parallel axes act as one: the second does the turn, the first stays
        return tuple(
            _solution([(first, 0.0), (second, s.angle(second.name))], free=s.free) for s in _one_axis(second, v, z)
        )
    side1, side2, between_axes = angle_between_deg(a1, z), angle_between_deg(a2, v), angle_between_deg(a1, a2)
    half = (side1 + side2 + between_axes) / 2.0
    excess = (180.0 - half, half - side1, half - side2, half - between_axes)
    if min(excess) < -DIRECTION_SLACK_DEG:
        return ()
    gamma = 2.0 * math.sqrt(math.prod(cos_sin_deg(max(e, 0.0))[1] for e in excess)) / n2
    free = tuple(
        axis.name for axis, side in ((second, side2), (first, side1)) if min(side, 180.0 - side) < DIRECTION_SLACK_DEG
    )
    c, p1, p2 = float(a1 @ a2), cos_sin_deg(side1)[0], cos_sin_deg(side2)[0]
    in_plane = ((p1 - c * p2) * a1 + (p2 - c * p1) * a2) / n2
    is_one = bool(free) or gamma * math.sqrt(n2) < DIRECTION_SLACK
    found: list[TableSolution] = []
    for sign in (0.0,) if is_one else (1.0, -1.0):
        u = in_plane + sign * gamma * normal
        theta2 = 0.0 if second.name in free else turn_between_deg(second.axis, v, u)
        theta1 = 0.0 if first.name in free else turn_between_deg(first.axis, u, z)
        found.append(_solution([(first, theta1), (second, theta2)], free=free))
    return tuple(sorted(found, key=lambda s: (bool(s.outside), sum(abs(a) for _, a in s.angles_deg))))


def _solution(turns: list[tuple[TableAxis, float]], *, free: tuple[str, ...] = ()) -> TableSolution:
    angles: list[tuple[str, float]] = []
    outside: list[str] = []
    for axis, angle in turns:
        nearest = axis.nearest_to_0() if axis.name in free else axis.within(angle)
        if nearest is None:
            outside.append(axis.name)
        angles.append((axis.name, angle if nearest is None else nearest))
    return TableSolution(tuple(angles), free=free, outside=tuple(outside))


def nearest_solution(machine: Machine, direction_R: ArrayLike) -> TableSolution:
    """The best solution within the limits; raises UnreachableError where there is none."""
    for solution in solutions(machine, direction_R):
        if not solution.outside:
            return solution
    x, y, z = np.asarray(direction_R, dtype=np.float64)
    raise UnreachableError(f"no table position turns [{x:g}, {y:g}, {z:g}] to the spindle within the axis limits")


def control_coordinates(control: Control, p_W: Sequence[float]) -> Vector:
    """A point of W as the control reads it."""
    x, y, z = (a - b for a, b in zip(p_W, control.zero, strict=True))
    return (x, y, z)


def control_angles(machine: Machine, angles_deg: Angles) -> dict[str, float]:
    """The angles as the control counts them, by axis letter. Without a control: as the table turns."""
    signs = dict(machine.control.signs) if machine.control else {}
    return {a.letter: signs.get(a.name, 1) * angles_deg.get(a.name, 0.0) + 0.0 for a in machine.table_axes}


def rotary_centre_error(R_WR: ArrayLike, e: Sequence[float]) -> Vector:
    """Where a point lands wrong if an axis is believed to stand off by `e`: (I - R) e, mm.

    Its size is 2 |e| sin(theta / 2) for e square to the axis.
    """
    x, y, z = (np.eye(3) - np.asarray(R_WR, dtype=np.float64)) @ np.asarray(e, dtype=np.float64)
    return (float(x), float(y), float(z))
