"""What set-up errors use up of a clearance, and what then remains: the spare.

The stick-out error acts along the tool axis and is geometry: the tool is swept by it (see
`engine/sweep.py`). The others act in any direction and are subtracted. A gradient at the nearest
point would not be safe: a wall 1.00 beside the nut and a floor 1.10 under it read 0.315 left while half
a millimetre of stick-out drives the nut into the floor.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kinematics.machine import Machine
from kinematics.placement import PlacedBody
from kinematics.pose import Array
from kinematics.scene import MEASURED_STICK_OUT_ERROR, SetupErrors, Tool


@dataclass(frozen=True, slots=True)
class OtherErrors:
    """The terms that act in any direction, mm. A term that does not apply is 0."""

    location: float
    body_model: float
    diameters: float
    tilt: float

    @property
    def total(self) -> float:
        return self.location + self.body_model + self.diameters + self.tilt


def stick_out_error(errors: SetupErrors, tool: Tool) -> float:
    """How far the stick-out may be off along the axis, either way, mm."""
    return MEASURED_STICK_OUT_ERROR if tool.is_stick_out_measured else errors.stick_out


def other_errors(errors: SetupErrors, body: PlacedBody, machine: Machine, arm: Callable[[], float]) -> OtherErrors:
    """The errors that apply to one body at one orientation.

    `location` applies to what stands on the platter, and to what the scene itself places elsewhere;
    `tilt` to what a table axis carries, with the body's largest distance from the first axis (`arm()`,
    mm) unless the scene fixes one.
    """
    own = body.body.errors
    is_carried = body.carrier in {axis.carries for axis in machine.table_axes}
    is_placed = not body.is_machine or (is_carried and body.carrier == machine.platter)
    location = errors.location if own.location is None else own.location
    model = errors.body_model if own.body_model is None else own.body_model
    tilt_deg = errors.tilt_deg if own.tilt_deg is None else own.tilt_deg
    tilt = 0.0
    if is_carried and tilt_deg > 0.0:
        tilt = (arm() if errors.arm is None else errors.arm) * math.radians(tilt_deg)
    return OtherErrors(location if is_placed else 0.0, model, errors.diameters, tilt)


def largest_arm(machine: Machine, vertices_W: Array) -> float:
    """Largest distance of points (n, 3) in W from the first table axis, mm."""
    first = machine.table_axes[0]
    axis = np.asarray(first.axis)  # the first axis stands in W, whatever the angles
    off = vertices_W - np.asarray(first.origin)
    return float(np.sqrt(np.maximum((off**2).sum(axis=1) - (off @ axis) ** 2, 0.0)).max())
