"""A camera taken round, along, nearer; and from one place to another. Pure geometry.

1. Going round keeps W's Z upright: left and right about it, up and down about the camera's own right.
2. What is under the pointer stays there when the camera goes nearer.
3. Pixels are counted from the lower left corner of the picture, x to the right, y up.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from app.view3d.cameras import MARGIN, UP, Camera, Size
from kinematics.pose import Array, Vector, angle_between_deg, as_vector, turn_about, turn_between_deg, unit

FLATTEST = 0.5  # degrees of view: between a picture as eyes see it and a parallel one, the angle gets no smaller
LEAST_HEIGHT, MOST_HEIGHT = 0.5, 5000.0  # mm that a picture may show from its lower to its upper edge


def orbited(camera: Camera, pivot: Vector, right_deg: float, up_deg: float) -> Camera:
    """The camera taken round a point: to the right, and up, until it looks straight down or up."""
    level = math.degrees(math.asin(max(-1.0, min(1.0, camera.towards[2]))))
    up_deg = max(-90.0 - level, min(90.0 - level, up_deg))
    lean = turn_about("W", "G", camera.right, -up_deg)
    spin = turn_about("W", "G", UP.tolist(), right_deg)

    def moved(v: Vector) -> Vector:
        return as_vector(spin.directions(lean.direction(v)))

    off = np.asarray(camera.focus) - pivot
    return replace(
        camera,
        towards=moved(camera.towards),
        up=moved(camera.up),
        focus=as_vector(np.asarray(pivot) + moved(as_vector(off))),
    )


def panned(camera: Camera, dx: float, dy: float, size: Size) -> Camera:
    """The camera moved so that what it shows moves by (dx, dy) pixels."""
    mm = camera.height / size[1]
    off = np.asarray(camera.right) * (dx * mm) + np.asarray(camera.up) * (dy * mm)
    return replace(camera, focus=as_vector(np.asarray(camera.focus) - off))


def nearer(camera: Camera, by: float, at: tuple[float, float], size: Size) -> Camera:
    """Everything `by` times as large, and what is at a pixel stays there."""
    height = max(LEAST_HEIGHT, min(MOST_HEIGHT, camera.height / by))
    mm = (camera.height - height) / size[1]
    dx, dy = at[0] - size[0] / 2.0, at[1] - size[1] / 2.0
    off = np.asarray(camera.right) * (dx * mm) + np.asarray(camera.up) * (dy * mm)
    return replace(camera, height=height, focus=as_vector(np.asarray(camera.focus) + off))


def holding(camera: Camera, points_W: Array, size: Size) -> Camera:
    """The camera in the same direction, so far away that all points are in the picture, with a margin."""
    x, y, z = points_W @ np.asarray(camera.right), points_W @ np.asarray(camera.up), points_W @ camera.towards
    low, high = np.array([x.min(), y.min(), z.min()]), np.array([x.max(), y.max(), z.max()])
    middle, span = (low + high) / 2.0, np.maximum(high - low, 1e-3)
    focus = (
        middle[0] * np.asarray(camera.right) + middle[1] * np.asarray(camera.up) + middle[2] * np.array(camera.towards)
    )
    height = MARGIN * max(float(span[1]), float(span[0]) * size[1] / size[0])
    if camera.angle_deg is not None:  # what is nearer than the focus is shown larger
        height += float(span[2]) * math.tan(math.radians(camera.angle_deg) / 2.0)
    return replace(camera, focus=as_vector(focus), height=height)


def between(a: Camera, b: Camera, share: float) -> Camera:
    """A camera on the way from one to another; 0 is the first, 1 the second."""
    if share <= 0.0:
        return a
    if share >= 1.0:
        return b
    towards, up = _turned_part(a, b, share)
    angle_a, angle_b = a.angle_deg or FLATTEST, b.angle_deg or FLATTEST
    is_flat = a.angle_deg is None and b.angle_deg is None
    return Camera(
        focus=as_vector(np.asarray(a.focus) * (1.0 - share) + np.asarray(b.focus) * share),
        towards=towards,
        up=up,
        height=math.exp(math.log(a.height) * (1.0 - share) + math.log(b.height) * share),
        angle_deg=None if is_flat else angle_a + (angle_b - angle_a) * share,
    )


def _turned_part(a: Camera, b: Camera, share: float) -> tuple[Vector, Vector]:
    """`towards` and `up` on the way: the shortest turn from one sight line to the other, and a part of the roll."""
    angle = angle_between_deg(a.towards, b.towards)
    axis = as_vector(np.cross(a.towards, b.towards))
    if angle > 179.9 or angle < 1e-6:  # any turn about up leads from one to its opposite
        axis = a.up
    whole, part = (turn_about("W", "G", axis, angle * s) for s in (1.0, share))
    roll = turn_between_deg(b.towards, whole.direction(a.up), b.up)
    towards = unit(part.direction(a.towards))
    up = turn_about("W", "G", towards, roll * share).direction(part.direction(a.up))
    return towards, up
