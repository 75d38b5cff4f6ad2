"""Where pictures are taken from: closed forms, and what must not stand in the way."""

from __future__ import annotations

import math

import numpy as np
import pytest

from app.view3d.cameras import (
    MARGIN,
    Camera,
    View,
    across_gap,
    along_tool,
    camera,
    from_where,
    in_front,
    in_the_way,
    through_door,
)
from app.view3d.scene_meshes import Role
from kinematics.pose import Vector
from tests.app.view3d.placed_boxes import DOOR, PIXELS, a_box, a_scene, two_blocks

AXES = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
RANDOM = [tuple(v) for v in np.random.default_rng(11).normal(size=(20, 3))]


def ends_along(direction: tuple[float, ...], length: float = 3.0) -> tuple[Vector, Vector]:
    d = np.array(direction) / np.linalg.norm(direction) * length / 2
    return tuple(-d + (40, -20, 100)), tuple(d + (40, -20, 100))


@pytest.mark.parametrize("direction", AXES + RANDOM)
def test_that_the_gap_has_its_full_length_across_the_gap(direction: tuple[float, ...]) -> None:
    ends = ends_along(direction)
    seen = across_gap(a_scene(*two_blocks(), ends=ends), PIXELS)
    a, b = seen.pixels(np.array(ends), PIXELS)
    assert math.dist(a, b) == pytest.approx(3.0 * PIXELS[1] / seen.height, rel=1e-9)
    assert (a + b) / 2 == pytest.approx((600, 450))


@pytest.mark.parametrize("direction", AXES + RANDOM)
@pytest.mark.parametrize("view", View)
def test_that_a_camera_has_three_directions_square_to_each_other(direction: tuple[float, ...], view: View) -> None:
    seen = camera(view, a_scene(*two_blocks(), ends=ends_along(direction)), PIXELS)
    frame = np.array([seen.right, seen.up, seen.towards])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(frame) == pytest.approx(1.0)


@pytest.mark.parametrize("direction", AXES + RANDOM)
def test_that_up_stays_up_and_nobody_looks_from_below(direction: tuple[float, ...]) -> None:
    seen = across_gap(a_scene(*two_blocks(), ends=ends_along(direction)), PIXELS)
    assert seen.up[2] >= 0.5 - 1e-9  # at most 60 degrees from above
    assert seen.towards[2] >= -0.1


def test_that_a_level_gap_is_seen_a_little_from_above_and_from_the_door() -> None:
    seen = across_gap(a_scene(*two_blocks()), PIXELS)
    assert seen.towards == pytest.approx((0.0, -math.cos(math.radians(20)), math.sin(math.radians(20))))


def test_that_an_upright_gap_is_seen_level() -> None:
    seen = across_gap(a_scene(*two_blocks(), ends=((0.0, 0.0, 1.0), (0.0, 0.0, -1.0))), PIXELS)
    assert seen.up == pytest.approx((0.0, 0.0, 1.0))


@pytest.mark.parametrize("role", [Role.WORKPIECE, Role.FIXTURE, Role.TOOL])
def test_that_a_wall_before_the_door_makes_it_look_from_the_other_side(role: Role) -> None:
    wall = a_box("wall", role, (-80.0, -30.0, -80.0), (80.0, -20.0, 80.0))
    seen = across_gap(a_scene(*two_blocks(), wall), PIXELS)
    assert seen.towards[1] > 0.0
    assert in_the_way(a_scene(*two_blocks(), wall), seen) == ()


def test_that_a_place_with_no_way_in_still_has_a_camera_and_names_what_hides_it() -> None:
    shell = a_box("shell", Role.FIXTURE, (-50.0, -50.0, -50.0), (50.0, 50.0, 50.0))
    scene = a_scene(*two_blocks(), shell)
    assert in_the_way(scene, across_gap(scene, PIXELS)) == ("shell",)


def test_that_bodies_in_the_way_are_named_from_the_gap_outwards() -> None:
    near = a_box("near", Role.FIXTURE, (-5.0, -40.0, -50.0), (5.0, -30.0, 50.0))
    far = a_box("far", Role.FIXTURE, (-5.0, -60.0, -50.0), (5.0, -50.0, 50.0))
    scene = a_scene(far, near)
    level = Camera((0.0, 0.0, 0.0), DOOR, (0.0, 0.0, 1.0), 100.0)
    assert in_the_way(scene, level) == ("near", "far")


def test_that_the_middle_of_an_overlap_is_not_hidden_by_the_pair_that_it_lies_in() -> None:
    part = a_box("nut", Role.NEAR_PART, (-20.0, -10.0, -10.0), (1.0, 10.0, 10.0))
    body = a_box("screw", Role.NEAR_BODY, (-1.0, -10.0, -10.0), (20.0, 10.0, 10.0))
    seen = across_gap(a_scene(part, body, ends=((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)), is_overlap=True), PIXELS)
    assert seen.towards == pytest.approx((0.0, -math.cos(math.radians(20)), math.sin(math.radians(20))))


@pytest.mark.parametrize("size", [(1200, 900), (900, 1200), (300, 300), (1408, 640)])
def test_that_the_door_shows_all_of_the_set_up_and_no_more_than_its_margin(size: tuple[int, int]) -> None:
    post = a_box("post", Role.FIXTURE, (60.0, 30.0, -40.0), (80.0, 50.0, 90.0))
    scene = a_scene(*two_blocks(), post)
    seen = through_door(scene, size)
    corners = np.concatenate([b.vertices_W for b in scene.bodies])
    pixels = seen.pixels(corners, size) - np.array(size) / 2
    used = np.abs(pixels / (np.array(size) / 2)).max(axis=0)
    assert used.max() == pytest.approx(1 / MARGIN)
    assert used.min() <= 1 / MARGIN + 1e-9
    assert np.abs(pixels.max(axis=0) + pixels.min(axis=0)).max() < 0.03 * max(size)  # and about in the middle


def test_that_the_door_stands_where_the_operator_is_whatever_side_that_is() -> None:
    seen = through_door(a_scene(*two_blocks()), PIXELS)
    assert seen.towards[1] < -0.6
    assert from_where(seen, DOOR) == "from the door, 20\u00b0 from above"


def test_that_the_operator_bends_aside_where_that_shows_the_gap() -> None:
    post = a_box("post", Role.FIXTURE, (-3.0, -40.0, -60.0), (3.0, -30.0, 60.0))
    scene = a_scene(*two_blocks(), post)
    seen = through_door(scene, PIXELS)
    middle_first = -np.asarray(scene.middle_W) @ np.asarray(seen.towards)
    assert math.isfinite(middle_first)
    side = math.degrees(math.atan2(seen.towards[0], -seen.towards[1]))
    assert 5.0 <= abs(side) <= 30.0


def test_that_a_door_that_is_modelled_counts_as_open() -> None:
    door = a_box("door", Role.MACHINE, (-400.0, -330.0, -400.0), (400.0, -310.0, 400.0))
    scene = a_scene(*two_blocks(), door, a_box("column", Role.MACHINE, (-90.0, 200.0, -400.0), (90.0, 300.0, 400.0)))
    assert in_front(scene) == {"door"}
    assert through_door(scene, PIXELS).towards == through_door(a_scene(*two_blocks()), PIXELS).towards


def test_that_twelve_o_clock_is_up_along_the_tool_and_three_on_the_operators_right() -> None:
    seen = along_tool(a_scene(*two_blocks()), PIXELS)
    away, right = seen.pixels(np.array([(0.0, 10.0, 0.0), (10.0, 0.0, -7.0)]), PIXELS) - (600, 450)
    assert away == pytest.approx((0.0, 10.0 * 900 / seen.height))
    assert right == pytest.approx((10.0 * 900 / seen.height, 0.0))


def test_that_perspective_shrinks_with_the_distance_from_the_eye() -> None:
    seen = Camera((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), 100.0, 2 * math.degrees(math.atan(0.25)))
    assert seen.distance == pytest.approx(200.0)
    x, y = seen.pixels((10.0, 200.0, 20.0), (400, 200))  # twice as far away as the focus: half as large
    assert (x, y) == pytest.approx((200 + 10, 100 + 20))


@pytest.mark.parametrize(
    ("towards", "said"),
    [
        ((0, -1, 0), "from the door, level"),
        ((1, 0, 0), "from the right, level"),
        ((-1, 0, 0), "from the left, level"),
        ((0, 1, 0), "from behind, level"),
        ((-1, 1, 0), "from behind, on the left, level"),
        ((0, 0, 1), "from above"),
        ((1, 0, 1), "from the right, 45\u00b0 from above"),
    ],
)
def test_that_a_direction_is_said_in_the_operators_words(towards: tuple[float, ...], said: str) -> None:
    d = np.array(towards) / np.linalg.norm(towards)
    assert from_where(Camera((0.0, 0.0, 0.0), tuple(d), (0.0, 0.0, 1.0), 1.0), DOOR) == said
