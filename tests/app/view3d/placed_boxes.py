"""Scenes to draw that are made by hand, so that what a camera must do can be worked out."""

from __future__ import annotations

import numpy as np

from app.view3d.display_meshes import DisplayMesh, shape_mesh
from app.view3d.scene_meshes import DisplayBody, DisplayScene, Gap, Role
from kinematics.pose import Vector, shift
from kinematics.shapes import Box

DOOR: Vector = (0.0, -1.0, 0.0)
PIXELS = (1200, 900)


def a_box(name: str, role: Role, low: Vector, high: Vector) -> DisplayBody:
    size = np.subtract(high, low)
    base = (*(np.add(low, high)[:2] / 2), low[2])
    return DisplayBody(name, role, shape_mesh(Box(*size)), shift("W", "G", tuple(float(v) for v in base)))


def a_body(name: str, role: Role, mesh: DisplayMesh, at: Vector = (0.0, 0.0, 0.0)) -> DisplayBody:
    return DisplayBody(name, role, mesh, shift("W", "G", at))


def a_scene(
    *bodies: DisplayBody, ends: tuple[Vector, Vector] = ((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0)), is_overlap: bool = False
) -> DisplayScene:
    return DisplayScene(bodies, Gap(ends, is_overlap), ends[0], DOOR)


def two_blocks() -> tuple[DisplayBody, DisplayBody]:
    """A part of the tool on the left and an obstacle on the right, 2 mm apart at the origin."""
    part = a_box("nut", Role.NEAR_PART, (-21.0, -10.0, -5.0), (-1.0, 10.0, 25.0))
    obstacle = a_box("screw", Role.NEAR_BODY, (1.0, -5.0, -15.0), (11.0, 5.0, 3.0))
    return part, obstacle
