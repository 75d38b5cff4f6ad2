"""Where bodies stand: chains, faces, turns, groups, part zero; and what cannot stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinematics.errors import PlacementError
from kinematics.machine import frame_poses
from kinematics.placement import PlacedScene, place_scene, place_state
from kinematics.pose import Vector
from kinematics.scene import Body, Placement, Scene, State, Workpiece
from kinematics.shapes import Box, Screw, cylinder
from tests.hand_built import demo_machine, demo_scene


def scene_of(*bodies: Body, workpieces: tuple[Workpiece, ...] = ()) -> Scene:
    return Scene("s", demo_machine(), workpieces, bodies, (), (), ())


def body(name: str, rides_on: str = "platter", shape: object = "box", **placement: object) -> Body:
    """A box 20 x 30 x 40, unless told otherwise."""
    solid = Box(20.0, 30.0, 40.0) if shape == "box" else shape
    return Body(name, Placement(rides_on, **placement), solid, origin=f"mark of {name}")  # type: ignore[arg-type]


def check_corner(placed: PlacedScene, name: str, p_G: Vector, carrier: str, expected: Vector) -> None:
    """A point of the body's own frame stands where expected in its carrier."""
    (one,) = (b for b in placed.bodies if b.name == name)
    assert one.carrier == carrier
    assert one.X_CG.points(p_G).tolist() == pytest.approx(expected, abs=1e-12)


# --- the demo set-up -----------------------------------------------------------------------------


@pytest.mark.parametrize(("tilt", "expected"), [(90, (70, -99, 112)), (105, (70, -95.63, 86.38)), (0, (70, 0, 211))])
def test_that_part_zero_of_the_demo_set_up_stands_where_its_readme_says(tilt: float, expected: Vector) -> None:
    scene = demo_scene()
    zero = place_scene(scene).zero_of(scene, scene.workpieces[0])
    X_WC = frame_poses(scene.machine, {"tilt": tilt, "rotary": 0})[zero.carrier]
    assert (X_WC @ zero.X_CP).origin() == pytest.approx(expected, abs=0.005)


def test_that_the_stack_of_the_demo_set_up_adds_up() -> None:
    # riser 40, dovetail body 22 on it, screws on that; the machine's own disc below the face
    placed = place_scene(demo_scene())
    check_corner(placed, "dovetail body", (28, 32, 22), "platter", (28, 32, 62))
    check_corner(placed, "clamp screw L", (0, 0, 6), "platter", (-10, 25, 68))
    check_corner(placed, "platter disc", (0, 0, 12), "platter", (0, 0, 0))
    assert [b.name for b in placed.bodies if b.is_machine] == ["platter disc"]
    assert "dovetail fixture" not in [b.name for b in placed.bodies]


def test_that_the_workpiece_stands_in_part_zero() -> None:
    scene = demo_scene()
    (stock,) = place_state(scene.workpieces[0].states[0], place_scene(scene).zeros[0], scene.machine)
    assert stock.carrier == "platter"
    assert stock.X_CG.origin() == (0, 0, 62)  # on the dovetail body: zero 52 above it, stock 52 below zero
    assert not stock.is_machine


def test_that_turning_a_group_turns_what_stands_in_it_and_the_part() -> None:
    scene = demo_scene()
    group = replace(scene.bodies[0], placement=Placement("platter", (1.0, 2.0, 0.0), turn_deg=180))
    scene = replace(scene, bodies=(group, *scene.bodies[1:]))
    placed = place_scene(scene)
    check_corner(placed, "clamp screw L", (0, 0, 0), "platter", (11, -23, 62))
    assert placed.zeros[0].X_CP.direction((1, 0, 0)) == (-1, 0, 0)
    # turned back by the zero, the part stands as it stood (set-up D of the demo)
    workpiece = replace(scene.workpieces[0], zero=Placement("dovetail body", (0.0, 0.0, 52.0), turn_deg=-180))
    turned_back = place_scene(replace(scene, workpieces=(workpiece,)))
    assert np.array_equal(turned_back.zeros[0].X_CP.R_AB, np.eye(3))


# --- frames, faces, turns --------------------------------------------------------------------------


@pytest.mark.parametrize("frame", ["bed", "table", "head", "cradle", "platter"])
def test_that_a_body_may_ride_on_any_frame(frame: str) -> None:
    check_corner(place_scene(scene_of(body("b", frame, at=(1, 2, 3)))), "b", (10, 15, 40), frame, (11, 17, 43))


FACES: list[tuple[str, Vector, Vector]] = [
    ("+X", (10, 0, 20), (1, 0, 0)),
    ("-X", (-10, 0, 20), (-1, 0, 0)),
    ("+Y", (0, 15, 20), (0, 1, 0)),
    ("-Y", (0, -15, 20), (0, -1, 0)),
    ("+Z", (0, 0, 40), (0, 0, 1)),
    ("-Z", (0, 0, 0), (0, 0, -1)),
]


@pytest.mark.parametrize(("face", "centre", "normal"), FACES)
def test_that_a_body_stands_on_the_centre_of_a_side_along_its_normal(face: str, centre: Vector, normal: Vector) -> None:
    placed = place_scene(scene_of(body("b"), body("s", "b", cylinder(4.0, 5.0), face=face)))
    check_corner(placed, "s", (0, 0, 0), "platter", centre)
    check_corner(placed, "s", (0, 0, 5), "platter", tuple(np.add(centre, np.multiply(5, normal))))


def test_that_at_is_counted_in_the_frame_of_the_side() -> None:
    # +X: the frame's Z is the body's X; the shortest turn leaves Y alone and puts its X along -Z
    placed = place_scene(scene_of(body("b"), body("s", "b", cylinder(4.0, 5.0), face="+X", at=(3, 7, 1))))
    check_corner(placed, "s", (0, 0, 0), "platter", (11, 7, 17))


def test_that_what_stands_on_a_screw_stands_on_its_head() -> None:
    screw = Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 20.0)
    placed = place_scene(scene_of(body("screw", shape=screw), body("cap", "screw"), body("side", "screw", face="+X")))
    check_corner(placed, "cap", (0, 0, 0), "platter", (0, 0, 6))
    check_corner(placed, "side", (0, 0, 0), "platter", (5, 0, 3))


@pytest.mark.parametrize("turn", [0, 90, 180, -90, 37.5])
@pytest.mark.parametrize("axis", [(0, 0, 1), (1, 0, 0), (0, -1, 0), (0, 0, -1), (1, 2, 3)])
def test_that_a_body_turns_about_its_own_z_first_and_is_aimed_then(turn: float, axis: Vector) -> None:
    placed = place_scene(scene_of(body("b", at=(5, 6, 7), turn_deg=turn, axis=axis)))
    own = Rotation.from_euler("z", turn, degrees=True)
    aim = np.array(axis) / np.linalg.norm(axis)
    across = np.cross((0, 0, 1), aim)
    if np.linalg.norm(across) < 1e-12:
        shortest = Rotation.identity() if aim[2] > 0 else Rotation.from_euler("x", 180, degrees=True)
    else:
        angle = np.arctan2(np.linalg.norm(across), aim[2])
        shortest = Rotation.from_rotvec(angle * across / np.linalg.norm(across))
    for p in ((0, 0, 0), (10, 0, 0), (0, 15, 40), (10, -15, 20)):
        expected = np.array([5, 6, 7]) + shortest.apply(own.apply(p))
        check_corner(placed, "b", p, "platter", tuple(expected))


def test_that_a_turned_body_turns_what_stands_on_it() -> None:
    placed = place_scene(scene_of(body("b", turn_deg=90), body("s", "b", at=(10, 0, 0))))
    check_corner(placed, "s", (0, 0, 0), "platter", (0, 10, 40))
    check_corner(placed, "s", (1, 0, 0), "platter", (0, 11, 40))


def test_that_the_order_in_the_file_does_not_matter() -> None:
    bodies = (body("a"), body("b", "a", turn_deg=30), body("c", "b", at=(3, 4, 0)))
    forward, backward = place_scene(scene_of(*bodies)), place_scene(scene_of(*reversed(bodies)))
    pose = {b.name: b.X_CG for b in forward.bodies}
    for b in backward.bodies:
        np.testing.assert_allclose(b.X_CG.p_AB, pose[b.name].p_AB, atol=1e-12)


def test_that_a_long_chain_is_followed_to_its_frame() -> None:
    chain = [body("b0", "cradle"), *(body(f"b{i}", f"b{i - 1}") for i in range(1, 2000))]
    check_corner(place_scene(scene_of(*reversed(chain))), "b1999", (0, 0, 0), "cradle", (0, 0, 1999 * 40))


def test_that_each_workpiece_has_its_own_zero() -> None:
    state = State("raw", (body("stock"),))
    left = Workpiece("left", Placement("platter", (-30.0, 0.0, 5.0)), (state,))
    right = Workpiece("right", Placement("vise", turn_deg=90), (state,))
    scene = scene_of(body("vise", "table"), workpieces=(left, right))
    placed = place_scene(scene)
    assert placed.zero_of(scene, left).carrier == "platter"
    assert placed.zero_of(scene, right).carrier == "table"
    assert placed.zero_of(scene, right).X_CP.origin() == (0, 0, 40)
    assert placed.zero_of(scene, right).X_CP.from_frame == "P"


def test_that_a_body_may_stand_in_part_zero_where_there_is_one_part() -> None:
    one = Workpiece(None, Placement("platter", (1.0, 2.0, 3.0), turn_deg=90), (State("raw", ()),))
    placed = place_scene(scene_of(body("clamp", "P", at=(10, 0, 0)), workpieces=(one,)))
    check_corner(placed, "clamp", (0, 0, 0), "platter", (1, 12, 3))


def test_that_bodies_of_a_state_stand_on_each_other() -> None:
    one = Workpiece(None, Placement("platter", (0.0, 0.0, 9.0)), ())
    scene = scene_of(workpieces=(one,))
    state = State("s", (body("lower", "P"), body("upper", "lower")))
    lower, upper = place_state(state, place_scene(scene).zeros[0], scene.machine)
    assert (lower.X_CG.origin(), upper.X_CG.origin()) == ((0, 0, 9), (0, 0, 49))


def test_that_a_body_rides_on_its_own_group_or_on_a_member() -> None:
    group = Body("g", Placement("cradle", (0.0, 0.0, 10.0), turn_deg=90), None)
    inside = Body("a", Placement("g", (5.0, 0.0, 0.0)), Box(2.0, 2.0, 2.0), group="g")
    outside = body("b", "a")
    placed = place_scene(scene_of(outside, inside, group))
    check_corner(placed, "a", (0, 0, 0), "cradle", (0, 5, 10))
    check_corner(placed, "b", (0, 0, 0), "cradle", (0, 5, 12))


# --- faults --------------------------------------------------------------------------------------


def check_fault(scene: Scene, at_fault: str, *words: str) -> None:
    with pytest.raises(PlacementError) as raised:
        place_scene(scene)
    assert raised.value.origin == f"mark of {at_fault}"
    assert raised.value.key == ("rides_on",)
    for word in words:
        assert word in raised.value.message


def test_that_bodies_standing_on_each_other_are_named_as_a_ring() -> None:
    ring = (body("a", "c"), body("b", "a"), body("c", "b"))
    check_fault(scene_of(*ring), "a", "a > c > b > a", "ring")
    check_fault(scene_of(body("d", "a"), *ring), "a", "a > c > b > a")
    check_fault(scene_of(body("a", "a")), "a", "a > a")


def test_that_nothing_stands_on_what_does_not_exist() -> None:
    check_fault(scene_of(body("a", "plattre")), "a", "'plattre'")


def test_that_nothing_stands_on_a_group_of_others() -> None:
    group = Body("g", Placement("platter"), None)
    check_fault(scene_of(group, body("a", "g")), "a", "a stands on g, which is a group")


def test_that_part_zero_cannot_stand_on_what_does_not_exist() -> None:
    lost = Workpiece(None, Placement("dovetail"), (), origin="mark of zero")
    check_fault(scene_of(workpieces=(lost,)), "zero", "'dovetail'")


def test_that_part_zero_and_a_body_cannot_stand_on_each_other() -> None:
    one = Workpiece(None, Placement("clamp"), (), origin="mark of zero")
    check_fault(scene_of(body("clamp", "P"), workpieces=(one,)), "clamp", "P")


def test_that_with_several_parts_no_body_stands_in_part_zero() -> None:
    parts = tuple(Workpiece(name, Placement("platter"), ()) for name in ("left", "right"))
    check_fault(scene_of(body("clamp", "P"), workpieces=parts), "clamp", "'P'")
