"""An orientation at other angles: part and fixture stay as they are, the tip stays where it cuts, the tool leans.

1. What is kept is where the tip stands in P: of a hole its bottom, of a slot both ends of its floor, of a path all
   its positions. Depth runs along the tool axis, so that the entry moves on the line that the tool then follows.
2. An area or a contour (pocket, face, profile) is square to the tool: its floor turns with the tool about the middle
   of the floor, which is kept.
3. Where the new angles aim the tool along the same line of the part, the feature stays as it is, digit for digit.
4. What this file does not know: whether the angles are within travel, clearances.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from kinematics.machine import DIRECTION_SLACK, Machine, TableSolution, frame_poses, solutions
from kinematics.placed_cut import pose_in_W
from kinematics.placement import PlacedScene, PlacedZero
from kinematics.pose import Z_AXIS, Array, Vector, angle_difference_deg, as_vector
from kinematics.scene import Face, Feature, Hole, Orientation, Path, Pocket, Profile, Scene, Slot

SAME_DEG = 1e-4  # two positions of a table axis this close are one; a double root is found to about 1e-6


def re_aimed(
    scene: Scene, placed: PlacedScene, orientation: Orientation, angles_deg: Mapping[str, float]
) -> Orientation:
    """The orientation at other angles, with the feature and the tip of every cut kept and the tool re-aimed.

    Parameters
    ----------
    placed : the scene's bodies and zeros as they are placed; they do not depend on the angles.
    angles_deg : by name of table axis; an axis that is not named stays. Limits are not tested here.

    Raises
    ------
    KeyError : a table axis that the machine does not have.
    """
    known = {axis.name for axis in scene.machine.table_axes}
    if unknown := set(angles_deg) - known:
        raise KeyError(", ".join(sorted(unknown)))
    before = dict(orientation.angles_deg)
    after = {**before, **angles_deg}
    cuts = []
    for cut in orientation.cuts:
        zero = placed.zero_of(scene, scene.workpiece_of(cut))
        turn = _tool_axis(scene.machine, zero, after) - _tool_axis(scene.machine, zero, before)
        if float(np.abs(turn).max()) > DIRECTION_SLACK:
            cut = replace(cut, feature=_entered(cut.feature, turn))
        cuts.append(cut)
    return replace(orientation, angles_deg=tuple(after.items()), cuts=tuple(cuts))


def with_orientation(scene: Scene, orientation: Orientation) -> Scene:
    """The scene with one orientation, known by its name, in place of what it was."""
    return replace(
        scene, orientations=tuple(orientation if o.name == orientation.name else o for o in scene.orientations)
    )


def tool_axis_in_P(scene: Scene, placed: PlacedScene, orientation: Orientation) -> tuple[Vector, ...]:
    """The direction of the spindle, from the tip up, in the P of every workpiece."""
    angles = dict(orientation.angles_deg)
    return tuple(as_vector(_tool_axis(scene.machine, zero, angles)) for zero in placed.zeros)


def other_solutions(machine: Machine, orientation: Orientation) -> tuple[TableSolution, ...]:
    """The other positions of the table, within its travel, that aim the tool along the same line of the platter.

    None where there is only one within travel, or where an axis is free (any of its angles would do).
    """
    angles = dict(orientation.angles_deg)
    platter = frame_poses(machine, angles)[machine.platter]
    found = solutions(machine, platter.inverse().direction(Z_AXIS))
    return tuple(s for s in found if not s.outside and not s.free and not _is_same(s, angles))


def _is_same(solution: TableSolution, angles: Mapping[str, float]) -> bool:
    return all(abs(angle_difference_deg(a, angles.get(name, 0.0))) <= SAME_DEG for name, a in solution.angles_deg)


def _tool_axis(machine: Machine, zero: PlacedZero, angles: Mapping[str, float]) -> Array:
    """The direction of the spindle, from the tip up, in P (3,)."""
    return np.asarray(pose_in_W(zero, frame_poses(machine, angles)).inverse().direction(Z_AXIS))


def _entered(feature: Feature, turn: Array) -> Feature:
    """A feature with its tip kept while the tool axis in P changes by `turn` (3,)."""
    match feature:
        case Hole() | Pocket() | Profile():
            return replace(feature, at=_moved(feature.at, feature.depth * turn))
        case Slot(start, end, depth):
            return replace(feature, start=_moved(start, depth * turn), end=_moved(end, depth * turn))
        case Face() | Path():
            return feature  # they say where the tip is


def _moved(p: Vector, by: Array) -> Vector:
    return as_vector(np.asarray(p) + by)
