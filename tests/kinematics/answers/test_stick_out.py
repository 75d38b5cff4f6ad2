"""Least stick-outs and their ranges: against drawings, and against checks of set-ups with just that stick-out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinematics.answers.ranges import Range
from kinematics.answers.stick_out import band, rigidity_at
from kinematics.machine import LinearAxis, Machine
from kinematics.scene import Body, Holder, HolderStep, Hole, KeepOff, Placement, SetupErrors, Tool
from kinematics.shapes import Box
from kinematics.verdict import Verdict
from tests.kinematics.answers.generated import LIFTS, a_scene, answered, checked_at
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import NO_ERRORS, NUT, end_mill, one_cut
from tests.truth import brute_force

HITS, CAN_HIT, TIGHT, CLEAR = Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR
SLOP = 0.03  # mm; nearer to the end of a range than this, rounding and the width of a clearance may decide
N_INSIDE = 20


def same(said: Verdict, claimed: Verdict, report) -> bool:
    """Whether a check says what a range claims; contact that the check can't prove counts as hitting in a range."""
    if said is claimed:
        return True
    touches = report.worst is not None and (report.worst.contact or report.worst.clearance.at_least <= 0.01)
    return bool(claimed is HITS and said is CAN_HIT and touches)


def check_ranges(scene, rng, n_inside=N_INSIDE):
    """Every range holds at random lengths inside it; the least clear length is clear, and what is less is not."""
    answer = answered(scene)
    if not answer.ranges:
        assert answer.why
        return answer
    for r in answer.ranges:
        for length in rng.uniform(r.start, r.end, n_inside):
            report = checked_at(scene, float(length))
            assert report.verdict.severity <= r.verdict.severity, (r, length, report.verdict)
            if r.start + SLOP < length < r.end - SLOP:
                assert same(report.verdict, r.verdict, report), (r, length, report.verdict)
    least = answer.least_clear
    if least is not None:
        assert checked_at(scene, least).verdict is CLEAR
        if answer.limit == "tool":
            assert least <= answer.ranges[0].start + 0.013
        else:
            report = checked_at(scene, least - 0.02)
            assert report.verdict is not CLEAR
            if answer.limit == "travel":
                assert report.travel.verdict is HITS
            elif answer.limit == "depth":
                assert report.depth.verdict is CAN_HIT
            else:
                named = {report.worst.between, *report.ties, *(p.between for p in report.next)}
                assert answer.limited_by in named
    return answer


@pytest.mark.parametrize("seed", range(24))
def test_that_ranges_hold_in_random_set_ups(seed):
    rng = np.random.default_rng([seed, 5])
    check_ranges(a_scene(rng), rng, n_inside=8)


@pytest.mark.slow
@pytest.mark.parametrize("block", range(10))
def test_that_ranges_hold_in_many_random_set_ups(block):
    for seed in range(8):
        rng = np.random.default_rng([block, seed, 6])
        check_ranges(a_scene(rng), rng, n_inside=N_INSIDE)


@pytest.mark.parametrize("lift", LIFTS)
@pytest.mark.parametrize("leave", [False, True])
@pytest.mark.parametrize("moves_table", ["", "z"])
def test_that_ranges_hold_however_the_tool_lifts_and_leaves(lift, leave, moves_table):
    for seed in range(2):
        rng = np.random.default_rng([seed, len(lift), leave, len(moves_table)])
        check_ranges(a_scene(rng, lift=lift, leave=leave, moves_table=moves_table), rng, n_inside=6)


# ---- against drawings -------------------------------------------------------------------------------------


ROD = Holder("H", (HolderStep(20.0, 20.0, 80.0, "nut"),))


def beside_a_post(*, gap=1.0, holder=ROD, lift="top", errors=NO_ERRORS, limits=(40.0, 300.0), **more):
    """A drill 10 deep in a plate at height 20; a post `gap` from the nut of radius 10, 60 high."""
    z = LinearAxis("z", limits, "head")
    x, y = (LinearAxis(n, (-500.0, 500.0), "head") for n in "xy")
    machine = Machine("m", "machine", (x, y, z), (), (0.0, -1.0, 0.0), (), None, ())
    plate = (Body("plate", Placement("P", (0.0, 0.0, -20.0)), Box(10.0, 10.0, 20.0)),)
    post = Body("post", Placement("table", (10.0 + gap + 5.0, 0.0, 0.0)), Box(10.0, 10.0, 60.0))
    numbers = {"stick_out": 40.0, "flute": 12.0, "overall": 80.0, "point_deg": 180.0, "shank": 6.0, **more}
    return one_cut(
        Hole((0.0, 0.0, 0.0), 10.0),
        Tool("T", "drill", d=6.0, holder=holder, **numbers),
        post,
        part=plate,
        zero=Placement("table", (0.0, 0.0, 20.0)),
        machine=machine,
        lift=LIFTS[lift],
        errors=errors,
    )


def test_that_a_nut_goes_over_a_post_as_the_drawing_says():
    """The tip stands at 10; the nut's edge at 10 + L has to clear the post's edge at 60, 1 beside it.

    To be 2 away it is sqrt(4 - 1) above it: L = 50 + sqrt(3) = 51.732. It never hits: 1 beside it at every length.
    """
    answer = answered(beside_a_post())
    assert (answer.least_not_hits, answer.least_cannot_hit) == (12.0, 12.0)
    assert 51.73 < answer.least_clear <= 51.76
    assert answer.ranges == (Range(12.0, answer.least_clear, TIGHT), Range(answer.least_clear, 68.0, CLEAR))
    assert (answer.limit, answer.limited_by) == ("pair", ("nut", "post"))
    assert answer.longest_by == "grip"  # 80 less twice the shank
    assert answer.grip_left == pytest.approx(80.0 - answer.least_clear)


def test_that_set_up_errors_make_a_stick_out_longer_as_the_drawing_says():
    """0.5 of stick-out error and 0.2 of diameters: the nut, 0.5 lower, stays 2.2 away: L = 50.5 + sqrt(2.2^2 - 1)."""
    answer = answered(beside_a_post(errors=SetupErrors(0.0, 0.0, 0.2, 0.5, 0.0)))
    assert answer.least_clear == pytest.approx(50.5 + (2.2**2 - 1.0) ** 0.5, abs=0.02)
    overlapping = answered(beside_a_post(gap=-1.0, errors=SetupErrors(0.0, 0.0, 0.2, 0.5, 0.0)))
    # 1 over the post's edge: touches up to 50; can hit until 0.5 + 0.2 above; clear 2.2 above
    assert overlapping.least_not_hits == pytest.approx(50.0, abs=0.011)
    assert overlapping.least_cannot_hit == pytest.approx(50.7, abs=0.011)
    assert overlapping.least_clear == pytest.approx(52.7, abs=0.011)
    assert [r.verdict for r in overlapping.ranges] == [HITS, CAN_HIT, TIGHT, CLEAR]


def test_that_under_a_bridge_a_longer_tool_hits_again():
    """With the retract of 10 alone, the top of a holder 80 long ends 10 + L + 80 + 10 high, under a beam at 150."""
    scene = beside_a_post(gap=30.0, holder=NUT, lift="retract", flute=14.0)
    beam = Body("beam", Placement("table", (0.0, 25.0, 150.0)), Box(60.0, 30.0, 10.0))
    answer = answered(replace(scene, bodies=(*scene.bodies, beam)))
    # the flange of radius 20 reaches under the beam, whose near face is 10 from the axis
    assert [r.verdict for r in answer.ranges] == [CLEAR, TIGHT, HITS]
    assert answer.ranges[0].end == pytest.approx(48.0, abs=0.011)
    assert answer.ranges[1].end == pytest.approx(50.0, abs=0.011)
    assert (answer.least_clear, answer.limit) == (14.0, "tool")


def test_that_travel_bounds_a_stick_out_from_below_and_above():
    """The gauge line stands 10 + L + 80, and 10 higher after the retract, in a travel of 110 to 150."""
    answer = answered(beside_a_post(gap=30.0, limits=(110.0, 150.0)))
    assert [(r.start, r.end, r.verdict) for r in answer.ranges] == [
        (12.0, 20.0, HITS), (20.0, 50.0, CLEAR), (50.0, 68.0, HITS)
    ]  # fmt: skip
    assert (answer.limit, answer.longest_by) == ("travel", "travel")


def test_that_a_depth_needs_its_stick_out():
    """A hole 10 deep with a flute of 8 and a nut of radius 10: with a neck thinner than the cutter it takes 10."""
    scene = beside_a_post(gap=30.0, flute=8.0, neck=(5.0, 15.0), shank=5.0)
    answer = answered(scene)
    assert (answer.least_clear, answer.limit) == (pytest.approx(12.0, abs=0.011), "pair")  # 2 over the plate
    tight = answered(replace(scene, keep_off=KeepOff(0.0, 0.0)))
    assert (tight.least_clear, tight.limit) == (pytest.approx(10.0, abs=0.011), "depth")
    never = answered(beside_a_post(gap=30.0, flute=8.0))
    assert (never.least_clear, never.best, never.limit) == (None, CAN_HIT, "depth")


def test_that_a_tool_without_a_length_is_looked_at_up_to_500():
    answer = answered(beside_a_post(gap=30.0, overall=None, limits=(0.0, 2000.0)))
    assert (answer.ranges[-1].end, answer.longest_by, answer.grip_left) == (500.0, "500 mm", None)


@pytest.mark.parametrize(
    ("numbers", "holder", "why"),
    [
        ({}, replace(NUT, shanks=(7.0, 10.0)), "H grips shanks of 7 to 10 mm; that of T is 6"),
        ({}, replace(NUT, shanks=(8.0, 8.0)), "H grips shanks of 8 mm; that of T is 6"),
        ({}, replace(NUT, grip=70.0), "T is too short for the least grip of H"),
    ],
)
def test_that_a_holder_that_cannot_grip_says_why(numbers, holder, why):
    answer = answered(beside_a_post(**numbers), holder=holder)
    assert (answer.ranges, answer.best, answer.why) == ((), None, why)


def test_that_a_shank_as_wide_as_the_bore_is_gripped():
    assert answered(beside_a_post(), holder=replace(NUT, shanks=(6.0, 6.0))).ranges


def test_that_a_neck_wider_than_the_shank_stays_out_of_the_holder():
    answer = answered(beside_a_post(gap=30.0, shank=5.0, neck=(5.8, 22.0), flute=12.0))
    assert answer.ranges[0].start == 22.0


def test_that_a_pair_that_cannot_be_told_is_not_checked():
    """A large box without its lid and two sides is round the tool: whether that is inside nobody can say."""
    vertices, faces = brute_force.box_mesh((200.0, 200.0, 400.0), (-100.0, -100.0, -50.0))
    corners = vertices[faces]
    is_gone = (corners[:, :, 2] > 300.0).all(axis=1) | (np.abs(corners[:, :, 0].sum(axis=1)) == 300.0)
    open_box = mesh_shape(vertices, faces[~is_gone])
    scene = beside_a_post(gap=30.0)
    answer = answered(replace(scene, bodies=(*scene.bodies, Body("bin", Placement("table"), open_box))))
    assert (answer.best, answer.ranges) == (Verdict.NOT_CHECKED, ())
    assert "open" in answer.why


def test_that_a_state_that_is_made_later_is_not_checked():
    scene = beside_a_post()
    (workpiece,) = scene.workpieces
    later = replace(workpiece, states=(replace(workpiece.states[0], after=(("V1", "cut"),)),))
    answer = answered(replace(scene, workpieces=(later,)))
    assert answer.best is Verdict.NOT_CHECKED
    assert "exists only after V1/cut, made later" in answer.why


# ---- stiffness ----------------------------------------------------------------------------------------------


def test_that_bending_is_relative_to_the_tool_as_it_stands():
    """A bar of d 10 at 30 against 40: 3.056 / 7.243 by the table of the handbook law F L^3 / (3 E I).

    The holder is thick (d 400) and as good as stiff; the cutter is of no length to speak of.
    """
    stiff = Holder("H", (HolderStep(400.0, 400.0, 40.0),))
    now = end_mill(10.0, 0.01, stick_out=40.0, holder=stiff, overall=120.0)
    scene = one_cut(Hole((0.0, 0.0, 0.0), 5.0), now)
    found = rigidity_at(scene, now, stiff, 30.0)
    assert found["bending"] == pytest.approx(3.056 / 7.243, abs=2e-3)
    assert found["length_to_diameter"] == 3.0
    assert found["grip_left"] == 90.0
    assert rigidity_at(scene, now, stiff, 50.0)["bending"] == pytest.approx(14.147 / 7.243, abs=5e-3)
    assert rigidity_at(scene, now, stiff, 40.0)["bending"] == pytest.approx(1.0)


def test_that_slenderness_has_its_usual_words():
    """Up to 3 D usual, to 4 with care, to 5 with less feed (rule of thumb, common practice, no source)."""
    assert [band(x) for x in (2.0, 3.0, 3.04, 3.2, 4.0, 4.5, 5.0, 5.2)] == [
        "usual", "usual", "usual", "take care", "take care", "feed less", "feed less", "slender"
    ]  # fmt: skip
