"""Poses between named frames, and rotations by degrees with exact quarter turns.

1. This is the only file that indexes a rotation matrix.
2. A pose knows the two frames it joins: ``X_WT @ X_TR`` is a pose of R in W, ``X_WT @ X_PG`` raises.
3. Degrees come in; radians live only inside this file.
4. A multiple of a quarter turn is exact: cos 90 is 0, not 6e-17.
5. What this file does not know: machines, bodies, limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kinematics.errors import FrameError, ShapeError

Vector = tuple[float, float, float]
Array = NDArray[np.float64]

ROTATION_SLACK = 1e-9  # how far R'R may be from the identity before a matrix is no rotation
X_AXIS: Vector = (1.0, 0.0, 0.0)
Z_AXIS: Vector = (0.0, 0.0, 1.0)


def cos_sin_deg(angle_deg: float) -> tuple[float, float]:
    """Cosine and sine of an angle in degrees, exact at every multiple of 90."""
    turn = math.fmod(angle_deg, 360.0)
    quarter, rest = divmod(turn, 90.0)
    c, s = (1.0, 0.0) if rest == 0.0 else (math.cos(math.radians(rest)), math.sin(math.radians(rest)))
    match int(quarter) % 4:
        case 0:
            return c, s
        case 1:
            return -s + 0.0, c
        case 2:
            return -c, -s + 0.0
        case _:
            return s, -c + 0.0


def unit(direction: Sequence[float]) -> Vector:
    """The direction with length 1; raises ShapeError for a zero or non-finite one."""
    x, y, z = (float(v) for v in direction)
    length = math.sqrt(x * x + y * y + z * z)
    if not math.isfinite(length) or length < 1e-12:
        raise ShapeError(f"[{x:g}, {y:g}, {z:g}] is not a direction; expected a vector longer than 0")
    return (x / length, y / length, z / length)


def frozen(values: ArrayLike) -> Array:
    """A float64 copy that cannot be written to."""
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


def as_vector(p: ArrayLike) -> Vector:
    """A point or direction (3,) as a tuple of floats."""
    x, y, z = np.asarray(p, dtype=np.float64).tolist()
    return (x, y, z)


def direction_between(a: ArrayLike, b: ArrayLike, *, least: float = 1e-6) -> Vector | None:
    """The unit direction from point a to point b; None where they are no farther apart than `least`, mm."""
    d = np.asarray(b, dtype=np.float64) - np.asarray(a, dtype=np.float64)
    length = float(np.linalg.norm(d))
    return None if length <= least else as_vector(d / length)


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """X_AB: where frame B is in frame A. Moves points: ``p_AQ = X_AB.points(p_BQ)``.

    Parameters
    ----------
    to_frame, from_frame : names of A and of B.
    R_AB : (3, 3) rotation, B's axes as columns in A.
    p_AB : (3,) B's origin in A, mm.
    """

    to_frame: str
    from_frame: str
    R_AB: Array
    p_AB: Array

    def __post_init__(self) -> None:
        R, p = frozen(self.R_AB), frozen(self.p_AB)
        if R.shape != (3, 3) or p.shape != (3,):
            raise ShapeError("a pose needs a 3 x 3 rotation and a point")
        if not (np.isfinite(R).all() and np.isfinite(p).all()):
            raise ShapeError("a pose needs finite numbers")
        if np.abs(R.T @ R - np.eye(3)).max() > ROTATION_SLACK or np.linalg.det(R) < 0:
            raise ShapeError("a pose needs a rotation; this matrix scales or mirrors")
        object.__setattr__(self, "R_AB", R)
        object.__setattr__(self, "p_AB", p)

    def __matmul__(self, other: Pose) -> Pose:
        if self.from_frame != other.to_frame:
            raise FrameError(
                f"X_{self.to_frame}{self.from_frame} @ X_{other.to_frame}{other.from_frame}: "
                f"{self.from_frame} and {other.to_frame} do not meet"
            )
        R, p = self.R_AB @ other.R_AB, self.R_AB @ other.p_AB + self.p_AB
        return _rigid(self.to_frame, other.from_frame, R, p)

    def inverse(self) -> Pose:
        """X_BA."""
        return _rigid(self.from_frame, self.to_frame, self.R_AB.T, -(self.R_AB.T @ self.p_AB))

    def points(self, p_BQ: ArrayLike) -> Array:
        """Points (3,) or (n, 3) given in B, expressed in A."""
        return np.asarray(p_BQ, dtype=np.float64) @ self.R_AB.T + self.p_AB

    def direction(self, v_B: ArrayLike) -> Vector:
        """A direction given in B, expressed in A."""
        x, y, z = self.R_AB @ np.asarray(v_B, dtype=np.float64) + 0.0
        return (float(x), float(y), float(z))

    def directions(self, v_B: ArrayLike) -> Array:
        """Directions (n, 3) given in B, expressed in A."""
        return np.asarray(v_B, dtype=np.float64) @ self.R_AB.T

    def origin(self) -> Vector:
        """B's origin in A."""
        x, y, z = self.p_AB
        return (float(x), float(y), float(z))

    def relabelled(self, to_frame: str, from_frame: str) -> Pose:
        """The same motion between frames of other names."""
        return _rigid(to_frame, from_frame, self.R_AB, self.p_AB)


_UNTURNED = frozen(np.eye(3))


def _rigid(to_frame: str, from_frame: str, R_AB: Array, p_AB: Array) -> Pose:
    """A pose from a rotation that is one by construction: joined, inverted and renamed poses need no test."""
    pose = object.__new__(Pose)
    for name, value in (("to_frame", to_frame), ("from_frame", from_frame), ("R_AB", R_AB), ("p_AB", p_AB)):
        object.__setattr__(pose, name, value)
    R_AB.flags.writeable = False
    p_AB.flags.writeable = False
    return pose


def identity(frame: str, same_as: str | None = None) -> Pose:
    """The pose of a frame in itself, or of a frame that coincides with it."""
    return _rigid(frame, same_as or frame, _UNTURNED, np.zeros(3))


def shift(to_frame: str, from_frame: str, offset: Sequence[float]) -> Pose:
    """B stands at `offset` in A, not turned."""
    p = np.array(offset, dtype=np.float64)
    if p.shape != (3,) or not np.isfinite(p).all():
        raise ShapeError("a pose needs a point of finite numbers")
    return _rigid(to_frame, from_frame, _UNTURNED, p)


def turn_about(to_frame: str, from_frame: str, axis: Sequence[float], angle_deg: float) -> Pose:
    """B is turned by `angle_deg` about `axis` (right hand) through the common origin.

    Rodrigues' formula, with the cosine and sine of `cos_sin_deg`; about a coordinate axis a quarter
    turn has entries -1, 0 and 1 only.
    """
    x, y, z = unit(axis)
    if not math.isfinite(angle_deg):
        raise ShapeError("a pose needs finite numbers")
    c, s = cos_sin_deg(angle_deg)
    v = 1.0 - c
    R = [
        [c + x * x * v, x * y * v - z * s, x * z * v + y * s],
        [y * x * v + z * s, c + y * y * v, y * z * v - x * s],
        [z * x * v - y * s, z * y * v + x * s, c + z * z * v],
    ]
    return _rigid(to_frame, from_frame, np.array(R), np.zeros(3))


def shortest_turn(to_frame: str, from_frame: str, direction: Sequence[float]) -> Pose:
    """The shortest turn that brings +Z of B onto `direction` in A.

    For -Z, where no way is shortest, B is turned by 180 degrees about X.
    """
    x, y, z = unit(direction)
    if x == 0.0 and y == 0.0:
        return turn_about(to_frame, from_frame, X_AXIS, 0.0 if z > 0.0 else 180.0)
    if z < -0.9:  # the closed form below loses digits near -Z
        off = math.hypot(x, y)
        return turn_about(to_frame, from_frame, (-y / off, x / off, 0.0), math.degrees(math.atan2(off, z)))
    # closed form of the shortest turn from (0, 0, 1): exact for the coordinate directions
    k = 1.0 / (1.0 + z)
    R = [
        [1.0 - x * x * k, -x * y * k, x],
        [-x * y * k, 1.0 - y * y * k, y],
        [-x, -y, z],
    ]
    return Pose(to_frame, from_frame, np.array(R), np.zeros(3))


def angle_difference_deg(a_deg: float, b_deg: float) -> float:
    """Signed difference a - b, wrapped to (-180, 180]."""
    d = math.fmod(a_deg - b_deg, 360.0)
    if d > 180.0:
        d -= 360.0
    elif d <= -180.0:
        d += 360.0
    return d


def angle_between_deg(u: ArrayLike, v: ArrayLike) -> float:
    """The angle between two directions, 0 to 180; right to the last digits near 0 and 180 too."""
    a, b = np.asarray(u, dtype=np.float64), np.asarray(v, dtype=np.float64)
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b)))


def turn_between_deg(axis: Sequence[float], u: ArrayLike, v: ArrayLike) -> float:
    """The angle about `axis` that turns u's part square to the axis onto v's, in (-180, 180]."""
    a = np.asarray(unit(axis))
    uu = np.asarray(u, dtype=np.float64) - a * float(a @ np.asarray(u, dtype=np.float64))
    vv = np.asarray(v, dtype=np.float64) - a * float(a @ np.asarray(v, dtype=np.float64))
    return math.degrees(math.atan2(float(a @ np.cross(uu, vv)), float(uu @ vv)))
