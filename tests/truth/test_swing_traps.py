"""Hits that sampling does not see: thin things that pass between two steps, and angles off the straight line.

Each case first shows by its own arithmetic what sampling reads, then that the swing is a hit.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinematics.scene import Holder, HolderStep
from kinematics.shapes import Box, cylinder
from kinematics.swing_clearance import Settle
from kinematics.verdict import Verdict
from tests.one_swing import FINE, ORIGIN, Z, body, flat_tool, one_swing, rotary, swing_of, tilt
from tests.truth import turning_reference as ref

PROVEN = Settle()
SETTLES = pytest.mark.parametrize("settle", [FINE, PROVEN], ids=["to the tolerance", "proven"])


def thin_tool(d):
    """One cylinder up to the gauge line."""
    return flat_tool(d, 60.0, holder=Holder("H", (HolderStep(d, d, 60.0),)))


def on_circle(radius, angle_deg):
    a = math.radians(angle_deg)
    return radius * math.cos(a), radius * math.sin(a)


# ---- one axis: thinner than the step ---------------------------------------------------------------


@SETTLES
def test_that_a_pin_that_passes_between_one_degree_steps_is_a_hit(settle):
    radius, pin_d, cutter_d, at_deg = 220.0, 1.2, 2.0, 30.4703
    steps = np.radians(np.arange(0.0, 91.0))
    gaps = 2 * radius * np.abs(np.sin((steps - math.radians(at_deg)) / 2)) - (pin_d + cutter_d) / 2
    assert gaps.min() == pytest.approx(0.206, abs=1e-3)  # what one-degree steps read
    scene = one_swing((rotary(way="up"),), (0.0,), (90.0,), body("pin", "platter", cylinder(pin_d, 30), (radius, 0, 0)),
                      tool=thin_tool(cutter_d), tip_z=0.0, places=(on_circle(radius, at_deg),) * 2)  # fmt: skip
    report = swing_of(scene, settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("cutter", "pin"))
    assert dict(report.at_angles_deg)["rotary"] == pytest.approx(at_deg, abs=math.degrees(1.6 / radius))


@SETTLES
def test_that_a_shim_that_passes_between_tenth_degree_steps_is_a_hit(settle):
    radius, shim, engraver_d, at_deg = 300.0, 0.1, 0.3, 40.05
    steps = np.radians(np.arange(0.0, 90.05, 0.1))
    gaps = radius * np.abs(np.sin(steps - math.radians(at_deg))) - (shim + engraver_d) / 2
    assert gaps.min() == pytest.approx(0.062, abs=1e-3)  # what tenth-degree steps read
    shim_body = body("shim", "platter", Box(20.0, shim, 20.0), (radius, 0, 0))
    scene = one_swing((rotary(way="up"),), (0.0,), (90.0,), shim_body, tool=thin_tool(engraver_d), tip_z=0.0,
                      places=(on_circle(radius, at_deg),) * 2)  # fmt: skip
    report = swing_of(scene, settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("cutter", "shim"))
    assert dict(report.at_angles_deg)["rotary"] == pytest.approx(at_deg, abs=0.05)


@pytest.mark.parametrize("gap", [0.05, 0.2, 1.0])
def test_that_a_pin_that_passes_beside_the_cutter_is_not_a_hit(gap):
    radius, pin_d, cutter_d, at_deg = 220.0, 1.2, 2.0, 30.4703
    beside = radius + (pin_d + cutter_d) / 2 + gap
    scene = one_swing((rotary(way="up"),), (0.0,), (90.0,), body("pin", "platter", cylinder(pin_d, 30), (radius, 0, 0)),
                      tool=thin_tool(cutter_d), tip_z=0.0, places=(on_circle(beside, at_deg),) * 2)  # fmt: skip
    report = swing_of(scene)
    assert report.clearance.at_least <= gap <= report.clearance.value
    assert report.clearance.value - report.clearance.at_least <= 0.01


# ---- two axes: the box, not the line --------------------------------------------------------------


@SETTLES
def test_that_angles_off_the_straight_line_between_two_orientations_count(settle):
    # both axes turn by 90; where the rotary is done when the cradle has only begun, the finger meets the tool
    axes = [ref.Axis(ORIGIN, (1.0, 0.0, 0.0)), ref.Axis(ORIGIN, Z)]
    finger_at, size = (60.0, 0.0, 0.0), (6.0, 6.0, 40.0)
    R = Rotation.from_rotvec([math.radians(15), 0, 0]) * Rotation.from_rotvec([0, 0, math.radians(80)])
    tip = R.apply((60.0, 0.0, 39.0))
    tool = ref.solid("cutter", 0, ref.coal.Cylinder(2.0, 120.0), t=tip + (0, 0, 60.0))
    finger = ref.solid("finger", 2, ref.coal.Box(*size), t=np.array(finger_at) + (0, 0, 20.0))
    line = np.repeat(np.linspace(0.0, 90.0, 9001)[:, None], 2, axis=1)
    assert ref.distances(ref.poses(axes, line), tool, finger).min() > 15.0  # nothing near on the line, by 0.01 degrees
    in_scene = body("finger", "platter", Box(*size), finger_at)
    scene = one_swing((tilt(), rotary(way="up")), (0.0, 0.0), (90.0, 90.0), in_scene,
                      tool=thin_tool(4.0), tip_z=float(tip[2]), places=((tip[0], tip[1]),) * 2)  # fmt: skip
    report = swing_of(scene, settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("cutter", "finger"))
    there = np.array([[a for _, a in report.at_angles_deg]])
    assert ref.distances(ref.poses(axes, there), tool, finger)[0] <= 0.0


# ---- one angle only ------------------------------------------------------------------------------


def fixture_and_vise(gap=-0.05):
    """A blade on the cradle whose tip, at radius 80, meets the thin fin of a vise on the table at a tilt of 37.4."""
    radius, meet_deg = 80.0, 37.4
    blade = body("fixture", "cradle", Box(10.0, 0.1, radius))  # its upper end is the tip
    y, z = radius * -math.sin(math.radians(meet_deg)), radius * math.cos(math.radians(meet_deg))
    fin = body("vise", "table", Box(4.0, 0.1, 0.1), (0.0, y, z + gap))
    return blade, fin, meet_deg


@SETTLES
def test_that_a_fixture_that_hits_the_vise_only_at_37_4_degrees_is_found(settle):
    blade, fin, meet_deg = fixture_and_vise()
    report = swing_of(one_swing((tilt(),), (0.0,), (90.0,), blade, fin), settle)
    assert (report.verdict, report.between) == (Verdict.HITS, ("vise", "fixture"))
    assert dict(report.at_angles_deg)["tilt"] == pytest.approx(meet_deg, abs=0.2)
    for start, end in ((0.0, 37.1), (37.7, 90.0)):  # not before, and not after
        assert swing_of(one_swing((tilt(),), (start,), (end,), blade, fin), settle).verdict is not Verdict.HITS


def test_that_a_fin_out_of_reach_is_not_hit():
    blade, fin, _ = fixture_and_vise(gap=0.5)
    report = swing_of(one_swing((tilt(),), (0.0,), (90.0,), blade, fin))
    assert report.verdict is Verdict.TIGHT
    lower_corners = [(y, fin.placement.at[2]) for y in (fin.placement.at[1] - 0.05, fin.placement.at[1] + 0.05)]
    gap = min(math.hypot(y, z) for y, z in lower_corners) - math.hypot(80.0, 0.05)
    assert report.clearance.at_least <= gap + 1e-6
    assert report.clearance.value >= gap - 1e-6
    assert report.clearance.value - report.clearance.at_least <= 0.01


# ---- ways round ------------------------------------------------------------------------------------


def round_turn(way, post_deg, *, start=0.0, end=120.0, limits=None):
    """An arm of 60 on a rotary, and a post of the table in the way at an angle."""
    arm = body("arm", "platter", Box(60, 4, 10), (30, 0, 0))
    post = body("post", "table", Box(6, 6, 40), (*on_circle(50.0, post_deg), 0.0))
    return swing_of(one_swing((rotary(way=way, limits=limits),), (start,), (end,), arm, post))


@pytest.mark.parametrize(
    ("way", "post_deg", "hits"),
    [
        ("up", 60.0, True), ("down", 60.0, False), ("shortest", 60.0, True), ("either", 60.0, True),
        ("up", 240.0, False), ("down", 240.0, True), ("shortest", 240.0, False), ("either", 240.0, True),
    ],
)  # fmt: skip
def test_that_the_way_round_decides_what_is_met(way, post_deg, hits):
    report = round_turn(way, post_deg)
    assert (report.verdict is Verdict.HITS) == hits
    if hits:
        away = math.remainder(dict(report.at_angles_deg)["rotary"] - post_deg, 360.0)
        assert abs(away) < math.degrees(10.0 / 50.0)


@pytest.mark.parametrize(
    ("limits", "post_deg", "hits"),
    [(None, 180.0, True), (None, 0.0, False), ((-175.0, 175.0), 180.0, False), ((-175.0, 175.0), 0.0, True)],
)
def test_that_limits_keep_an_axis_from_turning_past_them(limits, post_deg, hits):
    # from 160 to -160 the short way is past 180, which an axis with limits can't go
    report = round_turn("shortest", post_deg, start=160.0, end=-160.0, limits=limits)
    assert (report.verdict is Verdict.HITS) == hits


@pytest.mark.parametrize("post_deg", [90.0, 270.0])
def test_that_a_shortest_turn_of_half_a_circle_may_go_either_way(post_deg):
    assert round_turn("shortest", post_deg, start=0.0, end=180.0).verdict is Verdict.HITS
