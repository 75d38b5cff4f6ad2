"""The least lift of a swing against closed forms, and against dense sampling at that height and just below it."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from kinematics.machine import BED
from kinematics.prepared import Prepared
from kinematics.scene import Holder, HolderStep, SetupErrors
from kinematics.shapes import Box, Revolve, Step, cylinder
from kinematics.swing_clearance import Settle, check_swings
from tests.one_swing import (
    axis,
    block,
    body,
    flat_tool,
    gauge_over,
    joined,
    mesh_of,
    one_swing,
    rotary,
    swing_of,
    tilt,
)
from tests.truth import random_swings
from tests.truth import turning_reference as ref

STEP = 0.02  # mm; what the least lift may be off
FACETS = 0.01  # mm; what facets outside and inside of round solids may use of a clearance
TOOL = flat_tool(10, 40, holder=Holder("H", (HolderStep(10.0, 10.0, 40.0),)))  # one plain cylinder
TRAVEL = {"z_limits": (0.0, 900.0)}


def least(scene):
    return swing_of(scene, Settle(0.01, with_least_lift=True)).least_lift_gauge_z


def check_lift(scene, tip_z):
    """The lift at which the tip is at tip_z: not below it, and no more than a step above it."""
    expected = gauge_over(scene.tools[0], tip_z)
    assert expected - 1e-5 <= least(scene) <= expected + STEP


def quarter(*bodies, **options):
    return one_swing((rotary(),), (0.0,), (90.0,), *bodies, **{"tool": TOOL, **TRAVEL, **options})


# ---- closed forms -------------------------------------------------------------------------------


def test_that_a_plate_that_swings_under_a_flat_tool_needs_its_reach_and_the_keep_off():
    plate = body("plate", "cradle", Box(40, 60, 40))
    scene = one_swing((tilt(),), (-60.0,), (60.0,), plate, tool=TOOL, keep_off=5.0, tip_z=300.0, **TRAVEL)
    check_lift(scene, math.hypot(30, 40) + 5.0)


def test_that_the_reach_at_the_end_of_the_turn_counts_where_the_corner_does_not_come_up_all_the_way():
    # the corner stands at 36.87 degrees off the vertical; the turn ends 20 short of that
    plate = body("plate", "cradle", Box(40, 60, 40))
    end = math.degrees(math.atan2(30, 40)) - 20.0
    beyond = 50 * math.sin(math.radians(20.0))  # the corner lies that far to the right: the tool stands there
    scene = one_swing((tilt(),), (0.0,), (end,), plate, tool=TOOL, keep_off=5.0, tip_z=300.0,
                      places=((0.0, beyond),) * 2, **TRAVEL)  # fmt: skip
    check_lift(scene, 50 * math.cos(math.radians(20.0)) + 5.0)


@pytest.mark.parametrize("keep_off", [0.5, 2.0, 8.0])
def test_that_errors_and_keep_off_raise_the_lift_by_what_they_are(keep_off):
    errors = SetupErrors(0.15, 0.3, 0.2, 0.5, 0.02, 100.0)
    used = 0.15 + 0.3 + 0.2 + 0.5 + 100.0 * math.radians(0.02)
    plate = body("plate", "platter", Box(80, 80, 30))
    check_lift(quarter(plate, errors=errors, keep_off=keep_off), 30.0 + keep_off + used)


def test_that_a_post_that_passes_beside_the_tool_needs_only_the_rest():
    # the post's corner passes 3 off the tool's flank: over its top the edge must be hypot(3, 4) = 5 away
    post = body("post", "platter", Box(20, 20, 50), (40, 0, 0))
    reach = math.hypot(50, 10)
    scene = quarter(post, places=((reach + 3.0 + 5.0, 0.0),) * 2, keep_off=5.0)
    assert least(scene) == pytest.approx(gauge_over(TOOL, 50.0 + 4.0), abs=STEP + FACETS / 0.6)


def test_that_a_cone_over_the_table_needs_its_own_room():
    # a coaxial cone stands still; a flat tool beside its axis comes down on its flank, square to it
    cone = body("cone", "platter", Revolve((Step(80, 0, 40),)))
    scene = quarter(cone, places=((25.0, 0.0),) * 2, keep_off=5.0)
    # the lower edge of the tool nearest to the axis is at radius 20, where the flank (45 degrees) is 20 high
    check_lift(scene, 20.0 + 5.0 * math.sqrt(2.0))


def test_that_two_axes_need_the_reach_of_the_corner_over_both():
    part = body("part", "platter", Box(36, 30, 41), (0, 0, 40))
    axes = (tilt(at=(0.0, 0.0, 112.0)), rotary(at=(0.0, 0.0, -15.0)))
    wide = flat_tool(40, 40, holder=Holder("H", (HolderStep(40.0, 40.0, 40.0),)))
    scene = one_swing(axes, (0.0, 0.0), (90.0, 130.0), part, tool=wide, **TRAVEL)
    check_lift(scene, 112 + math.hypot(math.hypot(18, 15), 66) + 5.0)


def test_that_the_tool_may_go_down_into_the_slot_of_a_mesh():
    # a fork turns by 3 to either side about the tool in its slot: 12 to each cheek, the base is 10 high
    fork = joined(
        block((60, 60, 10), (-30, -30, 0)), block((60, 18, 50), (-30, -30, 10)), block((60, 18, 50), (-30, 12, 10))
    )
    limited = rotary(limits=(-90.0, 90.0))
    scene = one_swing((limited,), (-3.0,), (3.0,), body("fork", "platter", mesh_of(*fork)), tool=TOOL, **TRAVEL)
    check_lift(scene, 15.0)
    tighter = replace(scene, keep_off=replace(scene.keep_off, swing=7.5))  # more than the 7 beside the tool
    check_lift(tighter, 60.0 + math.sqrt(7.5**2 - 7.0**2))


# ---- what stands still under the tool -----------------------------------------------------------


@pytest.mark.parametrize("frame", ["platter", "table", BED])
def test_that_what_stands_still_under_the_tool_counts(frame):
    still = body("bar", frame, cylinder(40, 100))  # round about the rotary where it is on the platter
    lug = body("lug", "platter", Box(4, 4, 4), (30, 0, 0))
    check_lift(quarter(still, lug), 105.0)
    check_lift(quarter(still), 105.0)


def test_that_a_bed_that_moves_counts_wherever_the_table_takes_it():
    # the table moves in X by 60 between the cuts; the tower of the bed stands 40 to the left of the tool meanwhile
    tower = body("tower", BED, Box(20, 20, 100), (-13, 0, 0))
    lug = body("lug", "platter", Box(4, 4, 4), (300, 0, 0))
    scene = quarter(tower, lug, moves="x", places=((0.0, 0.0), (60.0, 0.0)))
    # the head stands still in X: tool at 0, tower's face at -3, in the tool
    check_lift(scene, 105.0)


def test_that_no_height_helps_where_the_bed_comes_past_what_turns():
    tower = body("tower", BED, Box(20, 20, 100), (-13, 0, 0))
    lug = body("lug", "platter", Box(4, 4, 4), (30, 0, 0))
    assert least(quarter(tower, lug, moves="x", places=((0.0, 0.0), (60.0, 0.0)))) is None


def test_that_the_tool_at_rest_inside_a_body_is_lifted_out_of_it():
    # at the least height all of the tool is inside the block
    check_lift(quarter(body("block", "platter", Box(400, 400, 600))), 605.0)
    check_lift(quarter(body("block", "platter", mesh_of(*block((400, 400, 600), (-200, -200, 0))))), 605.0)


def test_that_where_nothing_is_near_the_least_lift_is_the_least_travel():
    far = body("far", "platter", Box(4, 4, 4), (300, 0, 0))
    assert least(quarter(far)) == 0.0


# ---- where there is none ------------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "is_there"), [(3.0, False), (4.9, False), (5.0, False), (5.1, True), (30.0, True)])
@pytest.mark.parametrize("frame", ["table", BED])
def test_that_no_height_helps_where_bodies_without_the_tool_come_too_near(gap, is_there, frame):
    arm = body("arm", "platter", Box(100, 4, 10), (50, 0, 0))
    stop = body("stop", frame, Box(10, 60, 10), (math.hypot(100, 2) + 5 + gap, 0, 0))
    found = least(quarter(arm, stop))
    assert (found is not None) == is_there
    if is_there:
        assert found == pytest.approx(gauge_over(TOOL, 15.0), abs=STEP)


def test_that_no_height_helps_against_the_cradle_either():
    arm = body("arm", "platter", Box(100, 4, 10), (50, 0, 0))
    stop = body("stop", "cradle", Box(10, 60, 10), (108, 0, 0))
    scene = one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 90.0), arm, stop, tool=TOOL, **TRAVEL)
    assert least(scene) is None


def test_that_no_height_helps_where_the_bed_comes_too_near_what_stands_on_the_table():
    # the table takes its tower past the tower of the bed on the way from X 0 to X 60
    lug = body("lug", "platter", Box(4, 4, 4), (30, 0, 0))
    towers = (body("tower", "table", Box(10, 10, 50), (100, 0, 0)), body("column", BED, Box(10, 10, 50), (80, 12, 0)))
    options = {"moves": "x", "places": ((0.0, 200.0), (60.0, 200.0))}
    assert least(quarter(lug, *towers, **options)) is None
    assert least(quarter(lug, towers[0], **options)) is not None


def test_that_the_top_of_travel_may_be_too_low():
    plate = body("plate", "platter", Box(80, 80, 30))
    assert least(quarter(plate, z_limits=(0.0, gauge_over(TOOL, 34.9)))) is None
    assert least(quarter(plate, z_limits=(0.0, gauge_over(TOOL, 35.1)))) is not None


def test_that_a_body_over_the_tool_leaves_no_height():
    # a yoke on the platter over the tool: it comes too near the higher the tool is
    yoke = body("yoke", "platter", Box(100, 10, 20), (0, 0, 700))
    assert least(quarter(yoke, z_limits=(0.0, 690.0))) == 0.0
    assert least(quarter(yoke, z_limits=(0.0, 700.0))) is None


def test_that_a_table_moved_in_z_past_a_body_of_the_bed_is_not_answered():
    plate = body("plate", "platter", Box(80, 80, 30))
    column = body("column", BED, Box(10, 10, 50), (500, 0, 0))
    assert least(quarter(plate, column, moves="z")) is None
    check_lift(quarter(plate, moves="z"), 35.0)


def test_that_an_open_mesh_is_kept_off_as_if_it_were_full():
    vertices, faces = block((60, 60, 40), (-30, -30, 0))
    crate = mesh_of(vertices, faces[:-2], n_open_edges=4)
    found = least(quarter(body("crate", "platter", crate), tip_z=80.0))
    assert found == pytest.approx(gauge_over(TOOL, 45.0), abs=STEP)


# ---- against sampling ---------------------------------------------------------------------------


def spare_at(case, height, scene):
    """The least spare of the pairs with the tool in them, sampled, the tool anywhere from a height to the top."""
    low = replace(case, gauge_z=height)
    axes = [ref.Axis(origin, direction) for origin, direction, _, _ in case.axes]
    up = scene.machine.z.limits[1] - height
    return ref.least_distance(axes, random_swings.boxes_of(case), random_swings.pairs_of(low, with_errors=True, up=up))


@pytest.mark.parametrize("seed", range(8))
def test_that_the_least_lift_is_clear_and_just_below_it_is_not(seed):
    case = random_swings.random_swing(np.random.default_rng(500 + seed))
    scene = random_swings.scene_of(case)
    prepared = Prepared(scene)
    report = next(r for r in check_swings(scene, prepared, Settle(0.01, with_least_lift=True)) if r.start == "V1")
    height = report.least_lift_gauge_z
    if height is None:
        beyond = spare_at(case, scene.machine.z.limits[1], scene)
        assert beyond.distance < report.keep_off + FACETS
        return
    assert spare_at(case, height, scene).distance >= report.keep_off - 1e-5
    if height > -1500.0:  # else only the part far below is in the way
        assert spare_at(case, height - 0.05, scene).distance < report.keep_off + FACETS


def test_that_the_spare_never_falls_as_the_lift_grows():
    case = random_swings.random_swing(np.random.default_rng(501))
    scene = random_swings.scene_of(case)
    heights = case.gauge_z + np.array([-6.0, -3.0, -1.0, 0.0, 2.0, 5.0, 20.0])
    spares = [spare_at(case, float(h), scene).distance for h in heights]
    assert all(b >= a - 1e-3 for a, b in pairwise(spares))


def test_that_an_inclined_axis_is_lifted_over():
    s = math.sqrt(0.5)
    mast = body("mast", "platter", cylinder(4, 50))
    scene = one_swing((axis("rotary", (0.0, s, s), "platter", way="up"),), (0.0,), (180.0,), mast, tool=TOOL, **TRAVEL,
                      places=((0.0, 0.0),) * 2)  # fmt: skip
    # upright at the start; its rim comes up a little as it begins to lean
    check_lift(scene, math.hypot(50, 2) + 5.0)


@pytest.mark.parametrize("most", [0, 3, 30, 300])
def test_that_with_fewer_queries_the_lift_is_told_no_lower(most):
    plate = body("plate", "cradle", Box(40, 60, 40))
    scene = one_swing(
        (tilt(), rotary()), (-60.0, 0.0), (60.0, 90.0), plate, tool=TOOL, keep_off=5.0, tip_z=300.0, **TRAVEL
    )
    few = swing_of(scene, Settle(0.01, with_least_lift=True, lift_queries=most)).least_lift_gauge_z
    assert few is None or few >= least(scene) - STEP
