"""Machines with none, one or two table axes: limits, ways of counting, and what moves against what."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kinematics.errors import TravelError, UnreachableError
from kinematics.machine import (
    Control,
    TableAxis,
    bed_motion,
    check_angles,
    control_angles,
    control_coordinates,
    frame_poses,
    head_motion,
    nearest_solution,
    platter_pose,
    solutions,
    tool_axis_in_platter,
)
from kinematics.pose import Vector
from tests.hand_built import X, Y, Z, a_c, demo_machine, machine_of, table_axis

# --- frames --------------------------------------------------------------------------------------


def test_that_each_table_axis_carries_the_next() -> None:
    poses = frame_poses(demo_machine(), {"tilt": 90, "rotary": 90})
    assert set(poses) == {"table", "cradle", "platter"}
    # tilt axis at height 112 over X 70; the platter's face centre is 15 below it, in the cradle
    assert poses["cradle"].origin() == (70, 0, 112)
    assert poses["platter"].origin() == (70, 15, 112)
    assert poses["platter"].direction((1, 0, 0)) == (0, 0, 1)
    assert (poses["platter"].to_frame, poses["platter"].from_frame) == ("W", "platter")


def test_that_tilting_up_leans_the_part_to_the_operator() -> None:
    # +A turns the table by the right hand about X: what was on top goes to -Y, where the operator stands
    assert platter_pose(demo_machine(), {"tilt": 90}).direction(Z) == (0, -1, 0)


@pytest.mark.parametrize(
    ("tilt", "rotary", "expected"),
    [
        (0, 0, (0, 0, 1)),
        (90, 0, (0, 1, 0)),
        (105, 0, (0, 0.9659, -0.2588)),
        (110, 90, (0.9397, 0, -0.3420)),
        (90, 180, (0, -1, 0)),
    ],
)
def test_that_the_tool_axis_in_the_part_is_that_of_the_demo_set_up(
    tilt: float, rotary: float, expected: Vector
) -> None:
    axis = tool_axis_in_platter(demo_machine(), {"tilt": tilt, "rotary": rotary})
    assert axis == pytest.approx(expected, abs=5e-5)


def test_that_angles_that_are_not_given_are_0() -> None:
    assert platter_pose(demo_machine(), {}).origin() == (70, 0, 97)


def test_that_without_table_axes_the_platter_is_the_table() -> None:
    machine = machine_of()
    assert machine.platter == "table"
    assert machine.frames == ("bed", "table", "head")
    assert platter_pose(machine, {}).origin() == (0, 0, 0)
    assert tool_axis_in_platter(machine, {}) == Z


def test_that_axes_and_frames_are_found_by_name() -> None:
    machine = demo_machine()
    assert (machine.x.name, machine.y.name, machine.z.name) == ("x", "y", "z")
    assert machine.axis("rotary").letter == "C"
    assert machine.frames == ("bed", "table", "head", "cradle", "platter")


@pytest.mark.parametrize(
    ("moves", "head", "bed"),
    [
        ("", (1, 2, 3), (0, 0, 0)),
        ("xy", (0, 0, 3), (1, 2, 0)),
        ("xyz", (0, 0, 0), (1, 2, 3)),
        ("y", (1, 0, 3), (0, 2, 0)),
    ],
)
def test_that_where_the_table_moves_the_bed_moves_with_the_tool(moves: str, head: Vector, bed: Vector) -> None:
    machine = machine_of(moves=moves)
    assert head_motion(machine, (1, 2, 3)) == head
    assert bed_motion(machine, (1, 2, 3)) == bed


def test_that_an_axis_is_kept_as_a_unit_direction() -> None:
    assert table_axis("A", (3, 0, 4)).axis == pytest.approx((0.6, 0, 0.8))


# --- limits --------------------------------------------------------------------------------------


@pytest.mark.parametrize("tilt", [-15, 0, 115, 115 + 1e-12, 360, -360, 475, 345, -245])
def test_that_an_angle_within_its_travel_by_any_turn_is_allowed(tilt: float) -> None:
    check_angles(demo_machine(), {"tilt": tilt, "rotary": 5000})


@pytest.mark.parametrize("tilt", [-15.001, 115.001, 180, -180, 270, 300])
def test_that_an_angle_outside_its_travel_is_named_with_the_limits(tilt: float) -> None:
    with pytest.raises(TravelError) as raised:
        check_angles(demo_machine(), {"tilt": tilt})
    assert raised.value.message == f"tilt = {tilt:g} deg is outside its travel -15..115 deg"


@pytest.mark.parametrize(
    ("limits", "angle", "expected"),
    [
        (None, 270, -90),
        (None, 180, 180),
        (None, -180, 180),
        ((-15, 115), 105, 105),
        ((-15, 115), -255, 105),
        ((-15, 115), -16, None),
        ((0, 360), -90, 270),
        ((-360, 0), 90, -270),
        ((-360, 360), -90, -90),
        ((90, 350), 0, None),
        ((90, 450), 0, 360),
    ],
)
def test_that_a_position_is_given_by_the_turn_within_limits_nearest_to_0(
    limits: tuple[float, float] | None, angle: float, expected: float | None
) -> None:
    assert TableAxis("A", "A", "a", (0, 0, 0), X, limits).within(angle) == expected


# --- inverse -------------------------------------------------------------------------------------


def test_that_a_plain_table_reaches_straight_up_only() -> None:
    (solution,) = solutions(machine_of(), (0, 0, 2))
    assert solution.angles_deg == ()
    assert solutions(machine_of(), (0, 1e-6, 1)) == ()
    with pytest.raises(UnreachableError, match="within the axis limits"):
        nearest_solution(machine_of(), (0, 1, 0))


def test_that_a_single_rotary_reaches_the_plane_square_to_it() -> None:
    machine = machine_of(table_axis("A", X))
    for angle in (-179, -90, 0, 30, 90, 180):
        (solution,) = solutions(machine, tool_axis_in_platter(machine, {"A": angle}))
        assert solution.angle("A") == pytest.approx(angle)
    assert solutions(machine, (0.1, 0, 1)) == ()


def test_that_a_single_rotary_about_the_spindle_is_free() -> None:
    machine = machine_of(table_axis("C", Z))
    (solution,) = solutions(machine, (0, 0, 1))
    assert (solution.free, solution.angle("C")) == (("C",), 0)
    assert solutions(machine, (0, 0, -1)) == ()
    assert solutions(machine, (1e-5, 0, 1)) == ()


def test_that_a_single_inclined_rotary_reaches_its_cone() -> None:
    machine = machine_of(table_axis("B", (0, 1, 1)))
    (solution,) = solutions(machine, (0, 1, 0))  # half a turn about the 45 degree axis
    assert solution.angle("B") == 180
    assert solutions(machine, (0, -1, 0)) == ()


def test_that_a_free_axis_stands_within_its_limits() -> None:
    machine = machine_of(table_axis("A", X), table_axis("C", Z, limits=(30, 120)))
    (solution,) = solutions(machine, Z)
    assert (solution.free, solution.outside, solution.angle("C")) == (("C",), (), 30)
    assert nearest_solution(machine, Z) == solution
    machine = machine_of(table_axis("A", X), table_axis("C", Z, limits=(-120, -30)))
    assert solutions(machine, Z)[0].angle("C") == -30


def test_that_straight_down_is_singular_too() -> None:
    (solution,) = solutions(a_c(), (0, 0, -1))
    assert solution.free == ("C",)
    assert abs(solution.angle("A")) == 180


def test_that_parallel_axes_act_as_one() -> None:
    machine = machine_of(table_axis("A", X), table_axis("C", X))
    (solution,) = solutions(machine, (0, 1, 0))
    assert (solution.angle("A"), solution.angle("C")) == (0, 90)


def test_that_a_rotary_below_a_tilt_reaches_what_the_tilt_is_square_to() -> None:
    # the first axis turns about the spindle and can do nothing for the tool axis
    machine = machine_of(table_axis("C", Z), table_axis("A", X))
    (solution,) = solutions(machine, (0, 1, 0))
    assert (solution.free, solution.angle("A")) == (("C",), 90)
    assert solutions(machine, (0.1, 1, 0)) == ()


def test_that_the_solution_within_limits_and_nearest_to_0_comes_first() -> None:
    first, second = solutions(demo_machine(), tool_axis_in_platter(demo_machine(), {"tilt": 105, "rotary": 90}))
    assert (first.angle("tilt"), first.angle("rotary"), first.outside) == (pytest.approx(105), pytest.approx(90), ())
    assert (second.angle("tilt"), second.outside) == (pytest.approx(-105), ("tilt",))


@pytest.mark.parametrize("direction", [X, Y, Z, (0, 0, -1), (-1, 0, 0), (0, -1, 0), (0, 1, 1), (1, 0, -1)])
def test_that_every_solution_of_a_plain_direction_is_exact(direction: Vector) -> None:
    for machine in (a_c(), demo_machine()):
        for solution in solutions(machine, direction):
            turned = platter_pose(machine, dict(solution.angles_deg)).direction(direction)
            assert turned[:2] == pytest.approx((0, 0), abs=1e-15)
            assert turned[2] > 0


def test_that_a_direction_has_a_length() -> None:
    with pytest.raises(Exception, match="is not a direction"):
        solutions(a_c(), (0, 0, 0))


# --- controls ------------------------------------------------------------------------------------


def test_that_the_control_reads_from_its_own_zero() -> None:
    control = Control((-70, 0, 430), (("tilt", 1), ("rotary", 1)), "once")
    assert control_coordinates(control, (70, -99, 112)) == (140, -99, -318)
    assert control_coordinates(control, control.zero) == (0, 0, 0)


def test_that_angles_are_counted_by_letter_and_sign() -> None:
    tilt, rotary = demo_machine().table_axes
    machine = machine_of(tilt, rotary, control=Control((0, 0, 0), (("tilt", -1), ("rotary", 1)), "each"))
    counted = control_angles(machine, {"tilt": 105, "rotary": 0})
    assert counted == {"A": -105, "C": 0}
    assert math.copysign(1, control_angles(machine, {})["A"]) == 1
    assert control_angles(machine_of(tilt, rotary), {"tilt": 105}) == {"A": 105, "C": 0}


def test_that_poses_of_a_machine_are_rotations_for_any_angle() -> None:
    rng = np.random.default_rng(3)
    for tilt, rotary in rng.uniform(-720, 720, (50, 2)):
        R = platter_pose(demo_machine(), {"tilt": tilt, "rotary": rotary}).R_AB
        np.testing.assert_allclose(R.T @ R, np.eye(3), atol=1e-14)
