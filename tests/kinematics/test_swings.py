"""Which way round the table turns, where the tool waits meanwhile, and how high."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.moves.swings import all_between, approach_heights, hull_2d, turn_boxes
from kinematics.placement import place_scene
from kinematics.scene import Cut, Hole, Lift, Orientation, Pocket
from tests.one_swing import FAR, axis, flat_tool, one_swing, rotary, tilt


def boxes(start, end, *, limits=None, way="either"):
    """The boxes of one rotary from start to end."""
    scene = one_swing((rotary(limits=limits, way=way),), (0.0,), (0.0,))
    return [box[0] for box in turn_boxes(scene.machine, {"rotary": start}, {"rotary": end})]


@pytest.mark.parametrize(
    ("way", "expected"),
    [
        ("up", [(350.0, 370.0)]),
        ("down", [(10.0, 350.0)]),
        ("shortest", [(350.0, 370.0)]),
        ("either", [(350.0, 370.0), (10.0, 350.0)]),
    ],
)
def test_that_an_endless_axis_turns_through_zero_the_way_it_is_told(way, expected):
    assert boxes(350.0, 10.0, way=way) == expected
    assert boxes(-10.0, 10.0, way=way) == [(low - 360.0, high - 360.0) for low, high in expected]


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [(0.0, 180.0, [(0.0, 180.0), (-180.0, 0.0)]), (90.0, -90.0, [(90.0, 270.0), (-90.0, 90.0)])],
)
def test_that_a_shortest_turn_of_180_degrees_covers_both_ways_round(start, end, expected):
    assert boxes(start, end, way="shortest") == expected


@pytest.mark.parametrize("way", ["up", "down", "shortest", "either"])
@pytest.mark.parametrize(("start", "end"), [(270.0, -90.0), (0.0, 720.0), (45.0, 45.0), (-180.0, 180.0)])
def test_that_the_same_orientation_of_an_endless_axis_is_no_swing(way, start, end):
    assert boxes(start, end, way=way) == []


def test_that_limits_keep_an_axis_from_the_shorter_way():
    # from 170 to -170 is 20 degrees for an endless axis; within the limits it is 340
    assert boxes(170.0, -170.0, limits=(-175.0, 175.0)) == [(-170.0, 170.0)]
    assert boxes(-170.0, 170.0, limits=(-175.0, 175.0)) == [(-170.0, 170.0)]


@pytest.mark.parametrize(
    ("start", "end", "limits", "expected"),
    [
        (270.0, 0.0, (-120.0, 120.0), [(-90.0, 0.0)]),  # 270 is outside; the axis stands at -90
        (170.0, -180.0, (-180.0, 180.0), [(-180.0, 170.0)]),  # it is sent to -180, the long way
        (170.0, 180.0, (-180.0, 180.0), [(170.0, 180.0)]),
        (350.0, 360.0, (0.0, 360.0), [(350.0, 360.0)]),
        (350.0, 0.0, (0.0, 360.0), [(0.0, 350.0)]),
        (170.0, 190.0, (-360.0, 360.0), [(170.0, 190.0)]),
        (270.0, -90.0, (-360.0, 360.0), [(-90.0, 270.0)]),  # the same orientation, and a whole turn to get there
    ],
)
def test_that_an_axis_with_limits_goes_to_the_angle_it_is_sent_to(start, end, limits, expected):
    assert boxes(start, end, limits=limits) == expected


def test_that_two_axes_make_a_box_for_every_combination_of_ways():
    scene = one_swing((axis("tilt", (1, 0, 0), "cradle"), rotary()), (0.0, 0.0), (0.0, 0.0))
    found = turn_boxes(scene.machine, {"tilt": 0.0, "rotary": 90.0}, {"tilt": 30.0, "rotary": 60.0})
    assert len(found) == 4
    tilts, rotaries = ({box[i] for box in found} for i in (0, 1))
    assert tilts == {(0.0, 30.0), (-330.0, 0.0)}
    assert rotaries == {(60.0, 90.0), (90.0, 420.0)}


def test_that_an_axis_that_does_not_turn_stays_where_it_is():
    scene = one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 0.0))
    found = turn_boxes(scene.machine, {"tilt": 90.0, "rotary": 10.0}, {"tilt": 90.0, "rotary": 370.0})
    assert found == ()
    found = turn_boxes(scene.machine, {"tilt": 90.0, "rotary": 10.0}, {"tilt": 60.0, "rotary": 370.0})
    assert found == (((60.0, 90.0), (10.0, 10.0)),)


@pytest.mark.parametrize("seed", range(30))
def test_that_every_way_round_ends_where_it_should(seed):
    rng = np.random.default_rng(seed)
    start, end = (float(a) for a in rng.uniform(-720, 720, 2))
    for way in ("up", "down", "shortest", "either"):
        for low, high in boxes(start, end, way=way):
            assert 0.0 < high - low < 360.0
            begins_low = math.isclose(low, start, abs_tol=1e-9)
            assert begins_low or math.isclose(high, start, abs_tol=1e-9)
            assert math.isclose(math.remainder((high if begins_low else low) - end, 360.0), 0.0, abs_tol=1e-9)
            if way in ("up", "down"):
                assert begins_low == (way == "up")
            if way == "shortest":
                assert high - low <= 180.0


# ---- where the tool waits -------------------------------------------------------------------------


def between(scene):
    return all_between(scene, place_scene(scene))


def test_that_the_tool_waits_over_the_hull_of_both_cuts():
    scene = one_swing((rotary(),), (0.0,), (90.0,), places=((0.0, 0.0), (50.0, 10.0)))
    (v1, v2) = scene.orientations
    pocket = Cut("pocket", "T", "raw", Pocket((0.0, 0.0, 0.0), (30.0, 20.0), (1.0, 0.0, 0.0), 1.0), 1.0)
    scene = scene_with(scene, (Orientation("V1", v1.angles_deg, (pocket,)), v2))
    swing = next(s for s in between(scene)[1] if s.end == "V2")
    corners = {(round(x, 9), round(y, 9)) for x, y in swing.corners_W}
    assert corners == {(-10.0, -5.0), (10.0, -5.0), (50.0, 10.0), (-10.0, 5.0)}  # (10, 5) lies within


def scene_with(scene, orientations):
    return replace(scene, orientations=orientations)


def test_that_a_swing_from_or_to_home_waits_over_its_one_cut():
    scene = one_swing((rotary(),), (30.0,), (90.0,), places=((5.0, 6.0), (50.0, 10.0)))
    back = next(s for s in between(scene)[1] if s.end == "home")
    assert back.corners_W.tolist() == [[50.0, 10.0]]
    assert back.tools == ("T",)


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([(1, 2), (1, 2), (1 + 1e-12, 2)], 1),
        ([(0, 0), (1, 1), (2, 2), (0.5, 0.5)], 2),
        ([(0, 0), (1, 0), (0.5, 1e-13)], 2),
        ([(0, 0), (2, 0), (2, 2), (0, 2), (1, 1)], 4),
    ],
)
def test_that_the_hull_of_places_is_a_point_a_segment_or_a_polygon(points, expected):
    hull = hull_2d(np.array(points, dtype=float))
    assert len(hull) == expected
    x, y = hull.T
    assert expected < 3 or float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0.0  # counter-clockwise
    for p in np.array(points, dtype=float):
        assert min(np.linalg.norm(hull - p, axis=1).min(), _off_hull(p, hull)) < 1e-9


def _turns_left(u, v):
    return u[0] * v[1] - u[1] * v[0] >= -1e-12


def _off_hull(p, hull):
    ends = np.roll(hull, -1, axis=0)
    if len(hull) > 2 and all(_turns_left(b - a, p - a) for a, b in zip(hull, ends, strict=True)):
        return 0.0
    t = [np.clip((p - a) @ (b - a) / max((b - a) @ (b - a), 1e-300), 0, 1) for a, b in zip(hull, ends, strict=True)]
    return min(float(np.linalg.norm(a + s * (b - a) - p)) for s, a, b in zip(t, hull, ends, strict=True))


# ---- how high -------------------------------------------------------------------------------------

TOOL = flat_tool(10, 40)  # gauge length 80


def two_holes(lift, *, depth=5.0, retract=20.0, heights=(0.0, 0.0), same=False):
    """Two holes, at two orientations or at one, and the links and swings of the set-up."""
    scene = one_swing((rotary(),), (0.0,), (90.0,), lift=lift, tool=TOOL, z_limits=(0.0, 300.0))
    cuts = [
        Cut(f"cut {i}", "T", "raw", Hole((30.0 * i, 0.0, 2000.0 + z), depth), retract) for i, z in enumerate(heights)
    ]
    v1, v2 = scene.orientations
    orientations = (
        (Orientation("V1", v1.angles_deg, tuple(cuts)),)
        if same
        else (Orientation("V1", v1.angles_deg, (cuts[0],)), Orientation("V2", v2.angles_deg, (cuts[1],)))
    )
    return between(scene_with(scene, orientations))


def test_that_the_lift_is_the_top_of_travel_unless_told():
    links, swings = two_holes(Lift("top"))
    assert [s.gauge_z for s in swings] == [300.0, 300.0]
    assert links == ()
    (link,) = two_holes(Lift("top"), same=True)[0]
    assert link.gauge_z == 300.0


def test_that_a_lift_by_height_is_that_height():
    assert [s.gauge_z for s in two_holes(Lift("gauge_z", 170.0))[1]] == [170.0, 170.0]
    (link,) = two_holes(Lift("gauge_z", 170.0), same=True)[0]
    assert link.gauge_z == 170.0


def test_that_with_a_lift_of_retract_a_swing_is_where_the_last_retract_ends():
    # the tip is 5 below 10, lifts by 20, and the gauge line is 80 above it; home is at the top
    _, (there, home) = two_holes(Lift("retract"), heights=(10.0, 40.0))
    assert there.gauge_z == 10.0 - 5.0 + 20.0 + 80.0
    assert (home.end, home.gauge_z) == ("home", 300.0)


def test_that_with_a_lift_of_retract_a_link_is_at_the_higher_of_both():
    for heights in ((10.0, 40.0), (40.0, 10.0)):
        (link,), _ = two_holes(Lift("retract"), heights=heights, same=True)
        assert link.gauge_z == 40.0 - 5.0 + 20.0 + 80.0
        assert (link.start, link.end, link.boxes) == ("cut 0", "cut 1", ())


def test_that_cuts_lift_to_the_height_at_which_they_are_joined():
    links, swings = two_holes(Lift("retract"), heights=(10.0, 40.0))
    assert approach_heights(links, swings, 2) == [105.0, 300.0]
    links, swings = two_holes(Lift("retract"), heights=(40.0, 10.0), same=True)
    assert approach_heights(links, swings, 2) == [135.0, 135.0]


def test_that_a_tool_change_between_cuts_of_one_orientation_is_a_link_with_both_tools():
    scene = one_swing((rotary(),), (0.0,), (0.0,), tools=(flat_tool(name="T1"), flat_tool(name="T2")))
    (link,), swings = between(scene)
    assert (link.start, link.end, link.tools, swings) == ("cut 1", "cut 2", ("T1", "T2"), ())
    assert link.gauge_z == FAR
