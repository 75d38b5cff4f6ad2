"""Where part zero stands at every orientation: in W, as the control counts it, and how far it may be off.

A control that is told a wrong place for a rotary axis turns part zero about the wrong line: the point
lands off by (I - R) e, of size 2 e sin(angle / 2) for e square to the axis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kinematics.machine import Machine, W, control_angles, control_coordinates, frame_poses, rotary_centre_error
from kinematics.placement import PlacedScene
from kinematics.pose import Vector, identity, turn_about
from kinematics.scene import Scene


@dataclass(frozen=True, slots=True)
class WorkOffset:
    """Part zero of one workpiece at one orientation.

    `w` is in W, mm. `control` is as the control reads it; None where the machine file does not say how
    it counts. `angles_control` are the angles by axis letter, degrees, in the control's signs.
    """

    orientation: str
    workpiece: str | None
    angles_deg: tuple[tuple[str, float], ...]
    w: Vector
    control: Vector | None
    angles_control: tuple[tuple[str, float], ...]


def work_offsets(scene: Scene, placed: PlacedScene) -> tuple[WorkOffset, ...]:
    """One offset per orientation and per workpiece that is cut there, in machining order."""
    found = []
    for orientation in scene.orientations:
        angles = dict(orientation.angles_deg)
        poses = frame_poses(scene.machine, angles)
        cut_there = {id(scene.workpiece_of(cut)) for cut in orientation.cuts}
        for workpiece, zero in zip(scene.workpieces, placed.zeros, strict=True):
            if cut_there and id(workpiece) not in cut_there:
                continue
            X_WC = poses.get(zero.carrier) or identity(W, zero.carrier)
            p_W = (X_WC @ zero.X_CP).origin()
            control = control_coordinates(scene.machine.control, p_W) if scene.machine.control else None
            counted = tuple(control_angles(scene.machine, angles).items())
            found.append(WorkOffset(orientation.name, workpiece.name, orientation.angles_deg, p_W, control, counted))
    return tuple(found)


def centre_error(machine: Machine, angles_deg: Mapping[str, float], axis_name: str, e: Vector) -> Vector:
    """How far any point of the platter lands off when one axis is believed to stand off by `e`.

    `e` is in the frame that carries the axis (W for the first, what the first carries for the second),
    the result in W, mm. For the second axis it turns with the first: R1 (I - R2) e. Raises KeyError for
    an axis that the machine does not have.
    """
    X_before = identity(W)
    parent = W
    for axis in machine.table_axes:
        angle = angles_deg.get(axis.name, 0.0)
        if axis.name == axis_name:
            R = turn_about("A", "A", axis.axis, angle).R_AB
            return X_before.direction(rotary_centre_error(R, e))
        X_before, parent = X_before @ axis.pose(angle, parent), axis.carries
    raise KeyError(axis_name)
