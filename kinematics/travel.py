"""Travel: does the spindle reach every position of a cut with its retract, and what is left?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from kinematics.errors import TravelError
from kinematics.machine import LinearAxis, Machine, check_angles
from kinematics.moves.cuts import CutMove
from kinematics.report import AxisTravel, TravelReport
from kinematics.scene import Lift
from kinematics.verdict import Verdict

SLACK = 1e-6  # mm; a position this little beyond a limit is rounding


def travel_report(
    machine: Machine, move: CutMove, retract: float, lift: Lift, angles_deg: Mapping[str, float]
) -> TravelReport:
    """Travel of X, Y and the gauge line over a cut with its retract; the lift is tested to be within Z.

    X and Y are those of the spindle axis in W, Z is the height of the gauge line.
    """
    points = np.concatenate([s.points for s in move.sets])
    lifting = [float(s.points[:, 2].max()) for s in move.sets if s.up > 0.0] or [float(points[:, 2].max())]
    low, high = points.min(axis=0), points.max(axis=0)
    gauge = (float(low[2]) + move.gauge_length, max(lifting) + move.gauge_length + retract)
    reached = ((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), gauge)
    x, y, z = (_axis(axis, span) for axis, span in zip(machine.linear_axes, reached, strict=True))
    reasons = []
    for axis, travel in zip(machine.linear_axes, (x, y, z), strict=True):
        short = min(travel.left)
        if short < -SLACK:
            wanted = travel.reached[0] if travel.left[0] < travel.left[1] else travel.reached[1]
            limits = f"{axis.limits[0]:g}..{axis.limits[1]:g}"
            reasons.append(f"{axis.name.upper()} {wanted:.2f} is outside {limits} by {-short:.2f} mm")
    if lift.gauge_z is not None and not machine.z.limits[0] <= lift.gauge_z <= machine.z.limits[1]:
        limits = f"{machine.z.limits[0]:g}..{machine.z.limits[1]:g}"
        reasons.append(f"the lift {lift.gauge_z:g} is outside Z {limits}")
    try:
        check_angles(machine, angles_deg)
    except TravelError as error:
        reasons.append(error.message)
    least = min(*x.left, *y.left, *z.left)
    verdict = Verdict.HITS if reasons else Verdict.CLEAR
    return TravelReport(verdict, x, y, z, least, "; ".join(reasons) or None)


def _axis(axis: LinearAxis, reached: tuple[float, float]) -> AxisTravel:
    return AxisTravel(reached, (reached[0] - axis.limits[0], axis.limits[1] - reached[1]))
