"""What a swing compares, what it leaves out and why, and what it says of what could not be established."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics import swing_clearance
from kinematics.engine import round_turning, turning
from kinematics.machine import BED
from kinematics.pairs import BUILDER
from kinematics.scene import BodyErrors, Holder, HolderStep, Lift, SetupErrors
from kinematics.shapes import Box, cylinder
from kinematics.swing_clearance import Settle, check_swings
from kinematics.swing_pairs import NO_MOTION
from kinematics.verdict import Verdict
from tests.one_swing import (
    FINE,
    NO_ERRORS,
    axis,
    block,
    body,
    flat_tool,
    gauge_over,
    hollow_block,
    joined,
    mesh_of,
    one_swing,
    rotary,
    swing_of,
    tilt,
)

PROVEN = Settle()
ERRORS = SetupErrors(0.15, 0.3, 0.2, 0.5, 0.02, 100.0)
LEAN = 100.0 * math.radians(0.02)  # what the tilt error of ERRORS uses, mm
NEAR = 1e-5  # mm; what the nearest points of two flat faces may be off
FACETS = 0.01  # mm; the widest interval between the facets on either side of round solids


def quarter(*bodies, **options):
    """A quarter turn of a rotary about Z."""
    return one_swing((rotary(),), (0.0,), (90.0,), *bodies, **options)


# ---- inside is contact --------------------------------------------------------------------------


@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_standing_mesh_with_a_part_inside_what_turns_is_contact(settle):
    # a mesh file of two blocks: one far away, the other wholly inside the turning drum
    fixture = joined(block((5, 5, 5), (200, 0, 0)), block((2, 2, 2), (-1, -1, 9)))
    scene = quarter(body("drum", "platter", Box(80, 80, 30)), body("fixture", "table", mesh_of(*fixture)))
    report = swing_of(scene, settle)
    assert (report.verdict, report.contact, report.between) == (Verdict.HITS, "inside", ("fixture", "drum"))


@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_turning_mesh_with_a_part_inside_the_tool_is_contact(settle):
    chip = joined(block((2, 2, 2), (-1, -1, 9)), block((5, 5, 5), (100, 0, -50)))
    scene = quarter(body("chip", "platter", mesh_of(*chip)), tip_z=0.0, tool=flat_tool(10, 40))
    report = swing_of(scene, settle)
    assert (report.verdict, report.contact) == (Verdict.HITS, "inside")


@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_tool_inside_a_turning_mesh_is_contact(settle):
    scene = quarter(body("part", "platter", mesh_of(*block((400, 400, 400), (-200, -200, -100)))), tip_z=0.0)
    report = swing_of(scene, settle)
    assert (report.verdict, report.contact) == (Verdict.HITS, "inside")


def test_that_what_turns_in_the_hollow_of_a_standing_mesh_is_not_contact():
    # a housing with a closed hollow of 60 about a block of 20 that turns in it: its corners reach 14.14
    housing = np.array(hollow_block((100, 100, 100), (60, 60, 60), (-50, -50, -40))[0])
    faces = hollow_block((100, 100, 100), (60, 60, 60))[1]
    scene = quarter(body("block", "platter", Box(20, 20, 20)), body("housing", "table", mesh_of(housing, faces)))
    report = swing_of(scene)
    assert report.verdict is Verdict.CLEAR
    assert report.clearance.value == pytest.approx(30 - math.hypot(10, 10), abs=1e-6)


SLOT = 24.0  # mm; between the two cheeks of a fork
FORK = joined(
    block((60, 60, 10), (-30, -30, 0)), block((60, 18, 50), (-30, -30, 10)), block((60, 18, 50), (-30, 12, 10))
)


@pytest.mark.parametrize("turns", ["fork", "post"])
def test_that_the_slot_of_a_mesh_is_not_filled(turns):
    # a post of 10 x 6 in the slot of a fork, all of it within the hull: one turns by 12 degrees to either side
    fork, post = mesh_of(*FORK), Box(10, 6, 30)
    turning = body("turning", "platter", fork if turns == "fork" else post, (0, 0, 0 if turns == "fork" else 20))
    standing = body("standing", "table", post if turns == "fork" else fork, (0, 0, 20 if turns == "fork" else 0))
    limited = rotary(limits=(-90.0, 90.0))
    report = swing_of(one_swing((limited,), (-12.0,), (12.0,), turning, standing, keep_off=2.0))
    a = math.radians(12.0)
    gap = SLOT / 2 - (5 * math.sin(a) + 3 * math.cos(a))
    assert report.verdict is Verdict.CLEAR
    assert report.clearance.at_least <= gap <= report.clearance.value + 1e-9
    assert report.clearance.value - report.clearance.at_least <= max(0.01, 0.01 * gap)


def test_that_a_slot_is_met_where_the_post_turns_too_far():
    # the corner of a long post reaches the cheek at asin of what is left
    limited = rotary(limits=(-90.0, 90.0))
    fork, post = body("fork", "table", mesh_of(*FORK)), body("post", "platter", Box(50, 6, 30), (0, 0, 20))
    reach = math.hypot(25, 3)
    meets = math.degrees(math.asin(SLOT / 2 / reach) - math.atan2(3, 25))
    hit = swing_of(one_swing((limited,), (0.0,), (meets + 0.1,), post, fork))
    assert (hit.verdict, hit.contact) == (Verdict.HITS, "overlap")
    near = swing_of(one_swing((limited,), (0.0,), (meets - 0.1,), post, fork))
    gap = SLOT / 2 - reach * math.sin(math.radians(meets - 0.1) + math.atan2(3, 25))
    assert near.clearance.at_least <= gap <= near.clearance.value + 1e-9
    assert near.clearance.value - near.clearance.at_least <= 0.01


# ---- a mesh that the linear axes move is taken as its hull ----------------------------------------

C_FRAME = joined(
    block((60, 20, 20), (-30, -60, 0)), block((60, 20, 100), (-30, -80, -80)), block((60, 20, 20), (-30, -60, -80))
)


@pytest.mark.parametrize(
    ("frame", "options", "at"),
    [
        ("head", {"lift": Lift("gauge_z", 110.0)}, (0, -50, 75)),
        (BED, {"moves": "x", "places": ((0.0, 0.0), (10.0, 0.0))}, (0, -50, -45)),
    ],
)
def test_that_a_body_in_the_throat_of_a_c_frame_is_not_called_a_hit(frame, options, at):
    frame_body = body("C frame", frame, mesh_of(*C_FRAME))
    scene = one_swing((rotary(),), (0.0,), (5.0,), body("lug", "platter", Box(4, 4, 4), at),
                      machine_bodies=(frame_body,), **options)  # fmt: skip
    report = swing_of(scene)
    assert report.verdict is Verdict.NOT_CHECKED
    assert (
        report.why == "C frame is a mesh that moves in a straight line, taken as its hull, and lug comes into that hull"
    )


@pytest.mark.parametrize(
    ("frame", "options", "at"),
    [
        ("head", {"lift": Lift("gauge_z", 110.0)}, (0, -70, 75)),
        (BED, {"moves": "x", "places": ((0.0, 0.0), (10.0, 0.0))}, (0, -70, -45)),
    ],
)
def test_that_a_body_in_the_web_of_a_c_frame_is_a_hit(frame, options, at):
    frame_body = body("C frame", frame, mesh_of(*C_FRAME))
    scene = one_swing((rotary(),), (0.0,), (5.0,), body("lug", "platter", Box(30, 30, 4), at),
                      machine_bodies=(frame_body,), **options)  # fmt: skip
    assert swing_of(scene).verdict is Verdict.HITS


@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_body_of_the_bed_hits_what_turns_on_the_way_between_two_places(settle):
    # the table moves in X by 60 between the cuts: the tower of the bed passes the turning lug on the way
    tower = body("tower", BED, cylinder(20, 100), (-23, 0, 0))
    lug = body("lug", "platter", Box(4, 4, 4), (7, 0, 0))
    scene = quarter(tower, lug, moves="x", places=((0.0, 100.0), (60.0, 100.0)))
    report = swing_of(scene, settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("tower", "lug"))
    still = swing_of(quarter(tower, lug, places=((0.0, 100.0), (60.0, 100.0))), settle)
    gap = 13.0 - math.hypot(9.0, 2.0)
    assert still.clearance.at_least <= gap <= still.clearance.value + 1e-9


@pytest.mark.parametrize(("moves", "x"), [("", 0.0), ("x", 30.0)])
def test_that_a_mesh_on_the_bed_with_a_part_inside_what_turns_is_contact(moves, x):
    fixture = joined(block((5, 5, 5), (200, 0, 0)), block((2, 2, 2), (-1 - x, -1, 9)))
    drum = body("drum", "platter", Box(80, 80, 30))
    scene = quarter(drum, body("fixture", BED, mesh_of(*fixture)), moves=moves, places=((x, 100.0),) * 2)
    report = swing_of(scene)
    assert (report.verdict, report.contact, report.between) == (Verdict.HITS, "inside", ("fixture", "drum"))


# ---- what could not be established ----------------------------------------------------------------


def open_block(size, at):
    """A block without one side (two of its triangles): open at 4 edges."""
    vertices, faces = block(size, at)
    return mesh_of(vertices, faces[:-2], n_open_edges=4, source="crate.stl")


def test_that_a_swing_past_an_open_mesh_is_not_checked_where_inside_cannot_be_told():
    scene = quarter(body("crate", "platter", open_block((400, 400, 400), (-150, -200, -100))), tip_z=0.0)
    for settle in (FINE, PROVEN, Settle(0.01, with_least_lift=True)):
        report = swing_of(scene, settle)
        assert report.verdict is Verdict.NOT_CHECKED
        assert report.why == "crate.stl is open at 4 edges, so inside can't be told"
        assert report.clearance is None


def test_that_an_open_mesh_far_from_everything_is_checked():
    scene = quarter(body("crate", "platter", open_block((40, 40, 40), (-20, -20, 0))), tip_z=60.0)
    report = swing_of(scene)
    assert report.verdict is Verdict.CLEAR
    assert report.clearance.value == pytest.approx(20.0, abs=NEAR)


@pytest.mark.parametrize("frame", ["platter", "table"])
@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_hit_elsewhere_is_told_although_a_pair_was_not_established(settle, frame):
    crate = body("crate", "platter", open_block((400, 400, 400), (-150, -200, -100)))
    post = body("post", frame, Box(30, 30, 60), (0, 0, -20))
    report = swing_of(quarter(crate, post, tip_z=0.0), settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("cutter", "post"))


def test_that_a_swing_not_settled_in_the_queries_allowed_is_not_checked_and_gives_its_interval(monkeypatch):
    # the corner of a block passes 3 under the tool; a few queries do not settle that to 0.01
    scene = one_swing((tilt(),), (-40.0,), (37.0,), body("block", "cradle", Box(36, 30, 41)), tip_z=48.0)
    asked = swing_of(scene)
    assert asked.verdict is Verdict.TIGHT
    monkeypatch.setattr(round_turning, "FEW", 1)
    monkeypatch.setattr(round_turning, "MAX_QUERIES", 1)
    report = swing_of(scene)
    assert report.verdict is Verdict.NOT_CHECKED
    words = report.why.split()
    assert report.why.startswith(f"not settled in {report.n_queries} distance queries; the spare is between ")
    low, high = float(words[words.index("between") + 1]), float(words[words.index("and") + 1])
    assert low < asked.clearance.at_least < asked.clearance.value < high


@pytest.mark.parametrize("settle", [FINE, PROVEN])
@pytest.mark.parametrize(("gap", "verdict"), [(5.0, Verdict.TIGHT), (0.0, Verdict.CAN_HIT)])
def test_that_a_spare_of_just_the_keep_off_or_of_nothing_is_settled(settle, gap, verdict):
    # the bound lies a millionth under the value, and no number of queries would part the two
    used = 0.15 + 0.3 + 0.2 + 0.5 if gap == 0.0 else 0.0
    errors = replace(ERRORS, tilt_deg=0.0) if used else NO_ERRORS
    plate = body("plate", "platter", Box(100, 100, 10), (0, 0, -10.0))
    report = swing_of(quarter(plate, tip_z=gap + used, errors=errors), settle)
    assert report.verdict is verdict
    assert report.spare == pytest.approx(gap, abs=FACETS)
    assert report.n_queries < 100


@pytest.mark.parametrize("settle", [FINE, PROVEN])
@pytest.mark.parametrize("chord_error", [0.01, 0.05])
def test_that_the_chord_error_of_a_part_widens_the_interval_and_is_settled(settle, chord_error):
    # the facets of a STEP part lie so far off its faces at most: 0.3 between them is 0.3 less that at least
    shape = mesh_of(*block((80, 80, 10), (-40, -40, 0)))
    part = replace(shape, mesh=replace(shape.mesh, chord_error=chord_error))
    report = swing_of(quarter(body("part", "platter", part), tip_z=10.3), settle)
    assert report.verdict is Verdict.TIGHT
    assert report.clearance.at_least <= 0.3 - chord_error
    assert report.clearance.value == pytest.approx(0.3, abs=2 * NEAR)
    assert report.clearance.value - report.clearance.at_least <= 0.01 + chord_error + 1e-9
    assert report.n_queries < 100


# ---- severity -----------------------------------------------------------------------------------


@pytest.mark.parametrize("settle", [FINE, PROVEN])
def test_that_a_tool_that_stands_in_the_table_hits_although_the_swing_itself_only_can_hit(settle):
    lug = body("lug", "platter", Box(10, 10, 10), (0, 0, -10.2))  # 0.2 under the tip: used up by the errors
    tower = body("tower", "table", Box(20, 20, 60), (16, 0, 0))  # the holder's edge is in it
    report = swing_of(quarter(lug, tower, tip_z=0.0, errors=ERRORS), settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("holder", "tower"))


@pytest.mark.parametrize("settle", [FINE, PROVEN])
@pytest.mark.parametrize("gap", [0.05, 0.2, 0.45, 0.6, 1.0, 1.14])
def test_that_a_swing_that_can_hit_tells_by_how_much_its_spare_is_used_up(settle, gap):
    # a flat top turns under a flat tool: the clearance is the gap all the way
    plate = body("plate", "platter", Box(100, 100, 10), (0, 0, -10 - gap))
    report = swing_of(quarter(plate, tip_z=0.0, errors=replace(ERRORS, tilt_deg=0.0)), settle)
    used = 0.5 + 0.15 + 0.3 + 0.2
    assert report.verdict is Verdict.CAN_HIT
    assert report.spare == pytest.approx(gap - used, abs=FACETS)
    assert report.spare <= gap - used
    assert report.clearance.at_least <= gap <= report.clearance.value + 1e-9
    assert report.clearance.value - report.clearance.at_least <= FACETS
    assert report.setup_error.stick_out == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("settle", [FINE, PROVEN])
@pytest.mark.parametrize("gap", [0.05, 0.2, 0.45])
def test_that_a_swept_tool_that_touches_at_the_first_look_has_no_better_spare_than_it_goes_deep(settle, gap):
    # the corner of a block comes up to hypot(18, 41) in the middle of the turn, which is looked at first
    block_body = body("block", "cradle", Box(30, 36, 41))
    upright = math.degrees(math.atan2(18, 41))
    tip = math.hypot(18, 41) + gap
    errors = replace(ERRORS, tilt_deg=0.0)
    scene = one_swing((tilt(),), (upright - 10.0,), (upright + 10.0,), block_body, tip_z=tip, errors=errors)
    report = swing_of(scene, settle)
    assert report.verdict is Verdict.CAN_HIT
    assert gap - 1.15 - FACETS <= report.spare <= gap - 1.15 + 1e-9


# ---- errors -------------------------------------------------------------------------------------


def stop_and_lug(frame, **options):
    """A lug at radius 30 passes a stop at radius 50 with 18 between them, on the tilt of 0."""
    stop = body("stop", frame, Box(4, 40, 40), (50, 0, 0))
    lug = body("lug", "platter", Box(4, 4, 20), (30, 0, 0))
    return one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 90.0), stop, lug, **options)


GAP = 48.0 - math.hypot(32.0, 2.0)


@pytest.mark.parametrize(
    ("frame", "used"),
    [
        ("cradle", 0.15 + 0.15 + 0.3 + 0.2),  # both may stand off; both lean together
        ("table", 0.15 + 0.15 + 0.3 + 0.2 + LEAN),
    ],
)
def test_that_both_bodies_of_the_scene_may_stand_off(frame, used):
    report = swing_of(stop_and_lug(frame, errors=ERRORS))
    assert report.between == ("stop", "lug")
    assert report.spare == pytest.approx(GAP - used, abs=0.01 * GAP)
    assert report.clearance.at_least - report.spare == pytest.approx(used, abs=1e-2)
    assert report.setup_error.total == pytest.approx(used, abs=1e-9)
    assert report.setup_error.location == pytest.approx(0.3)


def test_that_the_machines_own_body_stands_where_it_is():
    stop = body("stop", "table", Box(4, 40, 40), (50, 0, 0))
    lug = body("lug", "platter", Box(4, 4, 20), (30, 0, 0))
    scene = one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 90.0), lug, machine_bodies=(stop,), errors=ERRORS)
    assert swing_of(scene).setup_error.location == pytest.approx(0.15)


def test_that_a_bodys_own_errors_replace_those_of_the_scene():
    probed = BodyErrors(location=0.01, body_model=0.02, tilt_deg=0.0)
    lug = body("lug", "platter", Box(10, 10, 10), errors=probed)
    report = swing_of(quarter(lug, tip_z=18.0, errors=ERRORS))
    assert report.spare == pytest.approx(8.0 - 0.5 - 0.01 - 0.02 - 0.2, abs=1e-5)


def test_that_the_value_between_two_round_bodies_is_attained_by_both():
    # a pin at radius 40 passes a post of the table: the nearest points lie on the cylinders, not on polygons about them
    pin, post = body("pin", "platter", cylinder(7, 40), (40, 0, 0)), body("post", "table", cylinder(9, 40), (37, 37, 0))
    report = swing_of(quarter(pin, post))
    gap = math.hypot(37, 37) - 40 - 3.5 - 4.5
    assert report.clearance.at_least <= gap <= report.clearance.value
    assert report.clearance.value - gap <= 0.01 * gap
    on_post, on_pin = (np.array(p) for p in report.points_W)
    assert np.hypot(*(on_post[:2] - 37)) == pytest.approx(4.5, abs=1e-9)
    turn = math.radians(dict(report.at_angles_deg)["rotary"])
    assert np.hypot(*(on_pin[:2] - 40 * np.array([math.cos(turn), math.sin(turn)]))) == pytest.approx(3.5, abs=1e-9)


# ---- what stands still, what is left out ------------------------------------------------------------


def test_that_a_body_round_about_the_axis_stands_still_under_it():
    # it is compared like a body of the table: no search, and the exact gap
    report = swing_of(quarter(body("bar", "platter", cylinder(40, 100)), tip_z=107.0))
    assert report.n_queries == 0
    assert (report.verdict, report.clearance.value) == (Verdict.CLEAR, pytest.approx(7.0, abs=NEAR))


def test_that_a_round_body_beside_the_axis_moves():
    # at radius 30 it passes under the tool, which stands at radius 30 elsewhere
    scene = quarter(body("bar", "platter", cylinder(10, 100), (30, 0, 0)), tip_z=50.0, places=((0.0, 30.0),) * 2)
    assert swing_of(scene).verdict is Verdict.HITS


def test_that_a_round_body_leaning_on_the_axis_moves():
    leaning = body("bar", "platter", cylinder(10, 100), axis=(1.0, 0.0, 1.0))
    assert swing_of(quarter(leaning, tip_z=50.0, places=((0.0, 50.0),) * 2)).verdict is Verdict.HITS


def test_that_a_body_round_about_the_rotary_still_tilts():
    # a disc on the rotary: its upper edge comes up when the cradle tilts, the tool stands over it
    c, s = math.cos(math.radians(60)), math.sin(math.radians(60))
    scene = one_swing((tilt(), rotary()), (0.0, 0.0), (60.0, 90.0), body("disc", "platter", cylinder(100, 10)),
                      tip_z=100.0, places=((0.0, 50 * c - 10 * s),) * 2)  # fmt: skip
    report = swing_of(scene)
    rim = 50 * s + 10 * c
    assert report.clearance.at_least <= 100 - rim <= report.clearance.value + FACETS
    assert report.clearance.value - report.clearance.at_least <= 0.01 * report.clearance.value


def test_that_what_the_rotary_carries_is_compared_with_the_cradle():
    # a post on the cradle in the way of a lug on the platter: they meet at 90 degrees
    lug = body("lug", "platter", Box(60, 6, 10), (30, 0, 0))
    post = body("post", "cradle", Box(6, 6, 30), (0, 50, 0))
    swing = {"axes": (tilt(), rotary(way="shortest")), "start": (20.0, 0.0), "tip_z": 500.0}
    hit = swing_of(one_swing(swing["axes"], swing["start"], (20.0, 90.0), lug, post, tip_z=500.0))
    assert (hit.verdict, hit.between) == (Verdict.HITS, ("post", "lug"))
    # 40 degrees short of it: the near corner of the lug's end is the nearest
    clear = swing_of(one_swing(swing["axes"], swing["start"], (20.0, 50.0), lug, post, tip_z=500.0))
    turn = math.radians(50.0)
    end = np.array([60 * math.cos(turn) - 3 * math.sin(turn), 60 * math.sin(turn) + 3 * math.cos(turn)])
    start = np.array([-3 * math.sin(turn), 3 * math.cos(turn)])
    t = np.clip((np.array([3.0, 47.0]) - start) @ (end - start) / 3600.0, 0.0, 1.0)
    gap = math.dist((3.0, 47.0), start + t * (end - start))
    assert clear.clearance.at_least <= gap <= clear.clearance.value + 1e-9
    assert dict(clear.at_angles_deg)["rotary"] == pytest.approx(50.0, abs=1.0)


def test_that_points_of_a_pair_on_the_cradle_are_told_in_w():
    lug = body("lug", "platter", Box(4, 4, 20), (30, 0, 0))
    post = body("nut", "cradle", Box(4, 40, 40), (50, 0, 0))  # named like a step of the holder
    tool = replace(flat_tool(), holder=Holder("H", (HolderStep(30, 30, 40, "nut"),)))
    report = swing_of(one_swing((tilt(at=(7.0, 8.0, 9.0)), rotary()), (30.0, 0.0), (30.0, 90.0), lug, post, tool=tool))
    assert report.between == ("nut", "lug")
    on_post, on_lug = np.array(report.points_W)
    a = math.radians(30.0)
    X_WT = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    p, q = ((point - (7.0, 8.0, 9.0)) @ X_WT for point in (on_post, on_lug))
    assert p[0] == pytest.approx(48.0, abs=1e-9)
    assert math.hypot(q[0], q[1]) == pytest.approx(math.hypot(32.0, 2.0), abs=1e-6)
    assert dict(report.at_angles_deg)["tilt"] == 30.0


def test_that_the_tool_is_not_taken_for_a_body_of_the_same_name():
    tower = body("nut", "cradle", Box(4, 4, 4), (0, 0, -90))
    lug = body("lug", "platter", Box(4, 4, 30), (0, 0, 0))
    tool = replace(flat_tool(4, 20), holder=Holder("H", (HolderStep(60, 60, 40, "nut"),)))
    scene = one_swing((tilt(at=(0.0, 0.0, 50.0)), rotary()), (30.0, 0.0), (30.0, 90.0), tower, lug, tool=tool,
                      tip_z=60.0, places=((0.0, 20.0),) * 2)  # fmt: skip
    report = swing_of(scene)
    assert report.between == ("nut", "lug")
    on_tool, _ = report.points_W
    assert on_tool[2] == pytest.approx(80.0, abs=1e-6)  # the lower face of the holder


def test_that_the_machines_own_pairs_are_left_out_with_the_reason():
    casting = body("casting", "cradle", Box(100, 100, 50), (0, 0, -50))
    disc = body("disc", "platter", cylinder(100, 12), (5, 0, -10))  # overlaps the casting, as flush drawings do
    housing = body("housing", "table", Box(20, 100, 100), (-60, 0, -50))
    lug = body("lug", "platter", Box(10, 10, 10), (0, 0, 10))
    scene = one_swing((tilt(), rotary()), (0.0, 0.0), (20.0, 90.0), lug, machine_bodies=(casting, disc, housing))
    report = swing_of(scene)
    assert report.verdict is Verdict.CLEAR
    assert {("disc - casting", BUILDER), ("casting - housing", BUILDER), ("disc - housing", BUILDER)} == {
        (" - ".join(sorted(pair.split(" - "), key=["disc", "casting", "housing"].index)), why)
        for pair, why in report.left_out
    }


def test_that_a_body_of_the_scene_is_compared_with_the_machine():
    casting = body("casting", "cradle", Box(100, 100, 50), (0, 0, -50))
    deep = body("stud", "platter", Box(10, 10, 10), (30, 0, -5))  # it reaches into the casting
    report = swing_of(one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 90.0), deep, machine_bodies=(casting,)))
    assert (report.verdict, report.between) == (Verdict.HITS, ("casting", "stud"))


def test_that_a_round_body_of_the_scene_about_the_rotary_does_not_move_against_the_cradle():
    casting = body("casting", "cradle", Box(100, 100, 50), (0, 0, -50))
    riser = body("riser", "platter", cylinder(60, 40))  # it stands flush on the casting
    report = swing_of(one_swing((tilt(), rotary()), (0.0, 0.0), (0.0, 90.0), riser, machine_bodies=(casting,)))
    assert report.verdict is Verdict.CLEAR
    assert ("riser - casting", NO_MOTION) in report.left_out


def test_that_bodies_of_the_head_are_compared_with_what_turns():
    # the head stands out 60 to the front at gauge height: what swings up there meets it, the tool is away
    head = body("casing", "head", Box(40, 120, 60))
    scene = one_swing((tilt(),), (0.0,), (90.0,), body("mast", "cradle", Box(10, 10, 100), (0, -50, 0)),
                      machine_bodies=(head,), lift=Lift("gauge_z", 90.0), tool=flat_tool(4, 10))  # fmt: skip
    report = swing_of(scene)
    assert (report.verdict, report.between) == (Verdict.HITS, ("casing", "mast"))


# ---- hull of revolution first ------------------------------------------------------------------------


@pytest.mark.parametrize("coarse_deg", [1e9, 10.0, 0.5])
def test_that_leaving_the_second_axis_whole_at_first_changes_no_answer(monkeypatch, coarse_deg):
    monkeypatch.setattr(turning, "COARSE_DEG", coarse_deg)
    monkeypatch.setattr(swing_clearance, "SHARE", 0.0)
    bodies = (
        body("part", "platter", Box(36, 30, 41), (0, 0, 40)),
        body("screw", "platter", cylinder(10, 6), (-10, 25, 40)),
        body("disc", "platter", cylinder(100, 12), (0, 0, -12)),
    )
    axes = (tilt(at=(0.0, 0.0, 112.0)), rotary(at=(0.0, 0.0, -15.0)))
    scene = one_swing(axes, (0.0, 0.0), (90.0, 130.0), *bodies, tip_z=195.0)
    report = swing_of(scene)
    # the top corner of the part circles at hypot(18, 15); it is highest where it lies in the plane square to the tilt
    reach, height = math.hypot(18, 15), -15 + 40 + 41
    highest = 112 + math.hypot(reach, height)
    assert report.clearance.value - report.clearance.at_least <= 0.01
    assert report.clearance.at_least <= 195.0 - highest <= report.clearance.value


# ---- between the two --------------------------------------------------------------------------------


def test_that_both_tools_of_a_swing_are_compared():
    short, long = flat_tool(10, 40, name="T1"), flat_tool(10, 70, name="T2")
    plate = body("plate", "platter", Box(50, 50, 10))
    for tools in ((short, long), (long, short)):
        report = swing_of(quarter(plate, tools=tools, lift=Lift("gauge_z", gauge_over(long, 16.0))))
        assert (report.tool, report.clearance.value) == ("T2", pytest.approx(6.0, abs=NEAR))


def test_that_the_tool_may_wait_anywhere_between_the_two_cuts():
    # the cuts are at X -60 and 60; a post turns by under the middle of the way, far from both ends
    post = body("post", "platter", Box(8, 8, 30), (0, 5, 0))
    scene = quarter(post, tip_z=31.0, places=((-60.0, 0.0), (60.0, 0.0)))
    assert swing_of(scene).clearance.value == pytest.approx(1.0, abs=NEAR)
    assert swing_of(quarter(post, tip_z=31.0, places=((-60.0, 0.0),) * 2)).clearance.value > 40.0


def test_that_swings_come_in_machining_order_from_home_and_back_to_it():
    scene = quarter(body("post", "platter", Box(8, 8, 30)), tip_z=50.0)
    away = replace(scene, machine=replace(scene.machine, home_deg=(("rotary", -30.0),)))
    assert [(r.start, r.end) for r in check_swings(away)] == [("home", "V1"), ("V1", "V2"), ("V2", "home")]
    assert [(r.start, r.end) for r in check_swings(scene)] == [("V1", "V2"), ("V2", "home")]


def test_that_an_inclined_axis_carries_a_body_round_its_cone():
    # 45 degrees between Y and Z: half a turn brings what points up to what points to the operator's far side
    s = math.sqrt(0.5)
    cone = axis("rotary", (0.0, s, s), "platter", way="up")
    mast = body("mast", "platter", Box(4, 4, 50))
    scene = one_swing((cone,), (0.0,), (180.0,), mast, tip_z=30.0, places=((0.0, 60.0),) * 2)
    assert swing_of(scene).verdict is Verdict.CLEAR
    hit = one_swing((cone,), (0.0,), (180.0,), mast, tip_z=-1.0, places=((0.0, 40.0),) * 2)
    assert swing_of(hit).verdict is Verdict.HITS


def test_that_no_errors_mean_that_the_spare_is_the_clearance():
    report = swing_of(quarter(body("post", "platter", Box(8, 8, 30)), tip_z=42.0, errors=NO_ERRORS))
    assert report.spare == report.clearance.at_least == pytest.approx(12.0, abs=1e-5)
