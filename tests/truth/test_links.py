"""Links between the cuts of one orientation, swings at every kind of lift, and tables that move under a bed.

Every number is by hand from the sizes given here.
"""

import math
from dataclasses import replace

import pytest

from kinematics.clearance import check_cuts
from kinematics.machine import BED
from kinematics.pairs import BUILDER
from kinematics.scene import Body, Cut, Hole, Lift, Orientation, Placement, SetupErrors, State, Workpiece
from kinematics.shapes import Box, cylinder
from kinematics.swing_clearance import check_links
from kinematics.verdict import Verdict
from tests.one_swing import (
    FINE,
    NO_ERRORS,
    ORIGIN,
    body,
    flat_tool,
    gauge_over,
    one_swing,
    only_link,
    rotary,
    swing_of,
    tilt,
)

TOOL = flat_tool(10, 40)  # gauge length 80, holder of 30 from 40 up
SAGITTA = 0.0025  # mm; a round body of a bed that moves is told by the polygon around it
NEAR = 1e-5  # mm; rounding of nearest points and bounds
PLATE_TOP, CLAMP_TOP = 20.0, 50.0


def two_holes(*bodies, lift, retract=10.0, places=((-60.0, 0.0), (60.0, 0.0)), errors=NO_ERRORS, **options):
    """Two holes, 5 deep, in a plate of 200 x 100 x 20 on the table, in one orientation."""
    scene = one_swing((rotary(),), (0.0,), (0.0,), *bodies, lift=lift, tool=TOOL, errors=errors, **options)
    plate = Body("plate", Placement("P", (0.0, 0.0, -PLATE_TOP)), Box(200, 100, PLATE_TOP))
    cuts = tuple(
        Cut(f"hole {i}", "T", "raw", Hole((*place, 0.0), 5.0), retract) for i, place in enumerate(places, start=1)
    )
    zero = Placement("table", (0.0, 0.0, PLATE_TOP))
    workpiece = Workpiece(None, zero, (State("raw", (plate,)),))
    return replace(scene, workpieces=(workpiece,), orientations=(Orientation("V1", (("rotary", 0.0),), cuts),))


CLAMP = body("clamp", "table", Box(30, 40, CLAMP_TOP - PLATE_TOP), (0, 0, PLATE_TOP))


# ---- a clamp between two holes ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lift", "retract", "tip"),
    [
        (Lift("retract"), 10.0, PLATE_TOP - 5.0 + 10.0),
        (Lift("retract"), 34.0, PLATE_TOP - 5.0 + 34.0),
        (Lift("gauge_z", gauge_over(TOOL, 45.0)), 10.0, 45.0),
    ],
)
def test_that_a_link_at_a_low_lift_hits_the_clamp_between_two_holes(lift, retract, tip):
    scene = two_holes(CLAMP, lift=lift, retract=retract)
    link = only_link(scene)
    assert (link.orientation, link.start, link.end) == ("V1", "hole 1", "hole 2")
    assert (link.verdict, link.contact, link.between) == (Verdict.HITS, "overlap", ("cutter", "clamp"))
    assert link.lift_gauge_z == gauge_over(TOOL, tip)
    assert {r.verdict for r in check_cuts(scene)} == {Verdict.CLEAR}  # neither hole is near the clamp


@pytest.mark.parametrize(
    ("lift", "retract", "gap"),
    [
        (Lift("top"), 10.0, 900.0 - 80.0 - CLAMP_TOP),
        (Lift("gauge_z", gauge_over(TOOL, 58.0)), 10.0, 8.0),
        (Lift("retract"), 60.0, PLATE_TOP - 5.0 + 60.0 - CLAMP_TOP),
        (Lift("gauge_z", gauge_over(TOOL, 53.0)), 10.0, 3.0),
    ],
)
def test_that_a_link_over_the_clamp_has_the_height_between_them(lift, retract, gap):
    link = only_link(two_holes(CLAMP, lift=lift, retract=retract, z_limits=(0.0, 900.0)))
    assert link.between == ("cutter", "clamp")
    assert link.clearance.at_least <= gap <= link.clearance.value + NEAR
    assert link.clearance.value - link.clearance.at_least <= 0.01
    assert link.verdict is (Verdict.CLEAR if gap >= 5.0 else Verdict.TIGHT)
    assert link.side == "below"


def test_that_a_link_that_passes_beside_the_clamp_has_the_room_to_its_side():
    # the tip is 10 below the clamp's top; the holder is 30 over it, and would overlap it in plan
    beside = 20.0 + 5.0 + 7.0
    link = only_link(
        two_holes(CLAMP, lift=Lift("gauge_z", gauge_over(TOOL, 40.0)), places=((-60, beside), (60, beside)))
    )
    assert link.between == ("cutter", "clamp")
    assert link.clearance.at_least <= 7.0 <= link.clearance.value + NEAR
    assert link.clearance.value - link.clearance.at_least <= 0.01
    assert (link.side, link.clock) == ("to you", 6)


def test_that_the_spare_of_a_link_is_less_by_the_errors():
    errors = SetupErrors(0.15, 0.3, 0.2, 0.5, 0.02)
    link = only_link(two_holes(CLAMP, lift=Lift("gauge_z", gauge_over(TOOL, 58.0)), errors=errors))
    assert link.spare == pytest.approx(8.0 - 0.5 - 0.15 - 0.3 - 0.2, abs=NEAR)  # what stands on the table does not lean
    assert link.setup_error.total == pytest.approx(1.15, abs=NEAR)
    assert link.verdict is Verdict.CLEAR


def test_that_cuts_rise_to_the_height_of_their_link():
    # a bar over the first hole, 30 over the plate: the retract of 10 stays under it, the lift of the link does not
    bar = body("bar", "table", Box(20, 40, 4), (-60, 0, 140))
    low = two_holes(bar, lift=Lift("retract"), retract=10.0)
    assert next(check_cuts(low)).verdict is Verdict.CLEAR
    assert next(check_cuts(two_holes(bar, lift=Lift("top")))).verdict is Verdict.HITS


def test_that_a_turn_of_no_degrees_is_a_link():
    scene = two_holes(CLAMP, lift=Lift("gauge_z", gauge_over(TOOL, 45.0)))
    (v1,) = scene.orientations
    again = (
        Orientation("V1", (("rotary", 270.0),), v1.cuts[:1]),
        Orientation("V2", (("rotary", -90.0),), v1.cuts[1:]),
    )
    (link,) = check_links(replace(scene, orientations=again))
    assert link.verdict is Verdict.HITS


# ---- swings at every lift -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lift", "gauge_z"),
    [(Lift("top"), 900.0), (Lift("gauge_z", 170.0), 170.0), (Lift("retract"), PLATE_TOP - 5.0 + 25.0 + 80.0)],
)
def test_that_a_swing_is_checked_at_its_lift(lift, gauge_z):
    flap = body("flap", "cradle", Box(40, 100, 6))  # its corner comes up to hypot(50, 6)
    scene = one_swing((tilt(),), (0.0,), (90.0,), flap, tool=TOOL, lift=lift, z_limits=(0.0, 900.0))
    part = Body("part", Placement("P", (0.0, 0.0, -2000.0)), Box(1.0, 1.0, 1.0))
    first, second = (
        replace(o, cuts=tuple(replace(c, feature=Hole((0.0, 0.0, 0.0), 5.0), retract=25.0) for c in o.cuts))
        for o in scene.orientations
    )
    workpiece = Workpiece(None, Placement("table", (0.0, 0.0, PLATE_TOP)), (State("raw", (part,)),))
    scene = replace(scene, workpieces=(workpiece,), orientations=(first, second))
    report = swing_of(scene)
    assert report.lift_gauge_z == gauge_z
    gap = gauge_z - 80.0 - math.hypot(50, 6)
    if gap < 0.0:
        assert report.verdict is Verdict.HITS
    else:
        assert report.clearance.at_least <= gap <= report.clearance.value + NEAR
        assert report.clearance.value - report.clearance.at_least <= max(0.01, 0.01 * gap)


# ---- a table that moves under a bed ---------------------------------------------------------------


def vise_station(*places, guard_at=-200.0, machine_bodies=(), bodies=(), errors=NO_ERRORS):
    """A vise of 100 in X on a table that moves in X, and a guard of 20 on the bed, to the left.

    When the spindle stands at X over the table, the guard has come X to the right of where it is drawn.
    """
    vise = body("vise", "table", Box(100, 80, 60))
    guard = body("column guard", BED, Box(20, 80, 200), (guard_at, 0, 0))
    scene = one_swing((), (), (), vise, guard, *bodies, moves="x", tool=TOOL, lift=Lift("top"), errors=errors,
                      machine_bodies=machine_bodies, z_limits=(0.0, 900.0))  # fmt: skip
    cuts = tuple(Cut(f"hole {i}", "T", "raw", Hole((x, 0.0, 0.0), 5.0), 10.0) for i, x in enumerate(places, start=1))
    speck = Body("speck", Placement("P", (0.0, 0.0, -30.0)), Box(1, 1, 1))
    workpiece = Workpiece(None, Placement("table", (0.0, 500.0, 100.0)), (State("raw", (speck,)),))
    return replace(scene, workpieces=(workpiece,), orientations=(Orientation("V1", (), cuts),))


@pytest.mark.parametrize("x", [0.0, 60.0, 130.0, 139.0])
def test_that_the_vise_has_the_room_to_the_guard_that_the_table_leaves_it(x):
    (report,) = check_cuts(vise_station(x))
    pair = next(p for p in (report.worst, *report.next) if p.between == ("column guard", "vise"))
    gap = 200.0 - 10.0 - 50.0 - x
    assert pair.clearance.at_least <= gap <= pair.clearance.value + NEAR
    assert pair.verdict is (Verdict.CLEAR if gap >= 2.0 else Verdict.TIGHT)


@pytest.mark.parametrize("x", [141.0, 200.0, 259.0])
def test_that_a_cut_whose_table_drives_the_vise_into_the_guard_hits(x):
    (report,) = check_cuts(vise_station(x))
    assert (report.verdict, report.worst.between) == (Verdict.HITS, ("column guard", "vise"))
    overlap = min(x - 140.0, 260.0 - x)
    assert report.worst.clearance.at_least <= -overlap <= report.worst.clearance.value + NEAR


def test_that_a_link_whose_table_drives_the_vise_past_the_guard_hits():
    # at X 0 the guard is left of the vise, at X 300 right of it; on the way the vise goes through it
    scene = vise_station(0.0, 300.0)
    assert {r.verdict for r in check_cuts(scene)} == {Verdict.CLEAR}
    link = only_link(scene)
    assert (link.verdict, link.between) == (Verdict.HITS, ("column guard", "vise"))
    assert only_link(vise_station(0.0, 100.0)).verdict is Verdict.CLEAR


@pytest.mark.parametrize("end", [120.0, 138.0])
def test_that_a_link_has_the_least_room_of_its_way(end):
    link = only_link(vise_station(0.0, end))
    gap = 140.0 - end
    assert link.between == ("column guard", "vise")
    assert link.clearance.at_least <= gap <= link.clearance.value + NEAR


def test_that_a_guard_of_the_machine_is_compared_with_the_scenes_vise_but_not_with_the_machines():
    scene = vise_station(200.0)
    vise, guard = scene.bodies
    both = replace(scene, bodies=(), machine=replace(scene.machine, bodies=(vise, guard)))
    (report,) = check_cuts(both)
    assert report.verdict is Verdict.CLEAR
    assert ("column guard - vise", BUILDER) in report.left_out
    one = replace(scene, bodies=(vise,), machine=replace(scene.machine, bodies=(guard,)))
    (report,) = check_cuts(one)
    assert (report.verdict, report.worst.between) == (Verdict.HITS, ("column guard", "vise"))
    linked = vise_station(0.0, 300.0)
    link = only_link(replace(linked, bodies=(), machine=replace(linked.machine, bodies=(vise, guard))))
    assert link.verdict is Verdict.CLEAR
    assert ("column guard - vise", BUILDER) in link.left_out


def test_that_the_tool_has_the_room_to_a_body_of_the_bed_that_the_head_leaves_it():
    # X moves the table, so the tool never moves in X against the bed; the post stands 12 beside the holder
    post = body("post", BED, cylinder(10, 900), (15.0 + 12.0 + 5.0, 500, 0))
    scene = vise_station(40.0, 120.0, bodies=(post,))
    link = only_link(scene)
    assert link.between == ("holder", "post")
    assert link.clearance.at_least <= 12.0 <= link.clearance.value
    assert link.clearance.value - link.clearance.at_least <= 0.01
    on_holder, on_post = link.points_W
    assert on_post[0] - on_holder[0] == pytest.approx(12.0, abs=0.01)
    # the points are told where the tool then stands in W, somewhere on its way from X 40 to X 120
    assert 40.0 - NEAR <= on_holder[0] - 15.0 <= 120.0 + NEAR


def test_that_what_turns_is_compared_with_the_bed_at_both_ends_of_the_way():
    # the table takes an arm of reach 60 along by 40: the post of the bed is nearest with the table at its far end
    arm = body("arm", "platter", cylinder(20, 10), (50, 0, 0))
    post = body("post", BED, cylinder(10, 40), (-120, 0, 0))
    scene = one_swing(
        (rotary(way="up"),), (90.0,), (270.0,), arm, post, moves="x", places=((0.0, 300.0), (40.0, 300.0))
    )
    report = swing_of(scene, FINE)
    gap = 120.0 - 40.0 - 5.0 - 60.0
    assert report.between == ("post", "arm")
    assert report.clearance.at_least <= gap <= report.clearance.value + SAGITTA
    assert report.clearance.value - report.clearance.at_least <= 0.01 * gap
    assert report.points_W[0][0] == pytest.approx(-75.0, abs=0.1)


def test_that_the_platter_may_carry_what_reaches_to_the_head():
    # a mast turns by under the head, 8 lower; the tool is out of its way
    casing = body("casing", "head", Box(100, 100, 80), ORIGIN)
    mast = body("mast", "platter", cylinder(10, 112), (45, 0, 0))
    scene = one_swing((rotary(way="up"),), (0.0,), (90.0,), mast, machine_bodies=(casing,), tool=flat_tool(4, 10),
                      lift=Lift("gauge_z", 120.0))  # fmt: skip
    report = swing_of(scene)
    assert report.between == ("casing", "mast")
    assert report.clearance.at_least <= 8.0 <= report.clearance.value + NEAR
