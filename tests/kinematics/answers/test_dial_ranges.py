"""Ranges of dials: against drawings, and against checks of set-ups with just that value."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.answers.dial_ranges import dial_pieces, joined
from kinematics.clearance import check_cut
from kinematics.errors import TightsideError
from kinematics.machine import LinearAxis, SpindleStep, TableAxis
from kinematics.prepared import Prepared
from kinematics.scene import Body, Holder, HolderStep, Hole, KeepOff, Lift, Placement, Pocket, SetupErrors, Slot
from kinematics.shapes import Box, Revolve, cylinder
from kinematics.verdict import Verdict
from tests.kinematics.answers.generated import a_holder, a_scene, a_tool, crowd
from tests.one_cut import NO_ERRORS, one_cut, plain_machine
from tests.one_cut import body as body_of

HITS, CAN_HIT, NOT_CHECKED, TIGHT, CLEAR = (
    Verdict.HITS, Verdict.CAN_HIT, Verdict.NOT_CHECKED, Verdict.TIGHT, Verdict.CLEAR)  # fmt: skip
SLOP = 0.05  # mm or degrees; nearer to the end of a range than this, the width of a piece may decide
NUT = Holder("H", (HolderStep(28.0, 28.0, 20.0, "nut"), HolderStep(30.0, 30.0, 30.0)))


def ranges_of(scene_at, low, high):
    return joined(list(dial_pieces(scene_at, low, high)))


def checked(scene_at, value):
    """The report of the only cut at a value; None where there is no such set-up."""
    try:
        scene = scene_at(value)
        orientation, cut = scene.cuts()[0]
        return check_cut(Prepared(scene), orientation, cut, frozenset())
    except TightsideError:
        return None


def says_as_much(report, claimed: Verdict) -> bool:
    """Whether a check says what a range claims; contact that the check can't prove may count as hitting."""
    if report.verdict is claimed:
        return True
    touches = report.worst is not None and (report.worst.contact or report.worst.clearance.at_least <= 0.02)
    return bool(claimed is HITS and report.verdict is CAN_HIT and touches)


def check_ranges(scene_at, low, high, rng, *, n_inside=20, is_sharp=True):
    """No range claims more than a check confirms at random values inside it; away from its ends it claims as much."""
    ranges = ranges_of(scene_at, low, high)
    assert (ranges[0].start, ranges[-1].end) == (low, high)
    for r in ranges:
        for value in rng.uniform(r.start, r.end, n_inside):
            report = checked(scene_at, float(value))
            if report is None:
                assert r.verdict is NOT_CHECKED, (r, value)
                continue
            if r.verdict is NOT_CHECKED:
                continue  # it claims nothing
            assert report.verdict.severity <= r.verdict.severity, (r, value, report.verdict, report.worst)
            if is_sharp and r.start + SLOP < value < r.end - SLOP:
                assert says_as_much(report, r.verdict), (r, value, report.verdict, report.worst)
    return ranges


# ---- by hand ---------------------------------------------------------------------------------------


def beside_a_post(post_y=30.0, *, box=(10.0, 10.0, 60.0), turn=0.0, lift=None):
    """A nut of radius 14, 40 over the tip that stands at height 10; a post 60 high at Y."""
    post = body_of("post", Box(*box), (0.0, post_y, 0.0), turn_deg=turn)
    part = (Body("plate", Placement("P", (0.0, 0.0, -20.0)), Box(30.0, 30.0, 20.0)),)
    drill = replace(a_tool(np.random.default_rng(0), NUT), kind="drill", d=6.0, shank=6.0, flute=30.0, neck=None,
                    outline=(), point_deg=180.0, overall=80.0, stick_out=40.0, corner_radius=None)  # fmt: skip
    return one_cut(
        Hole((0.0, 0.0, 0.0), 10.0),
        drill,
        post,
        part=part,
        zero=Placement("table", (0.0, 0.0, 20.0)),
        retract=50.0,
        lift=lift,
        keep_off=KeepOff(2.0, 2.0),
    )


def told(ranges):
    return [(round(r.start, 2), round(r.end, 2), r.verdict) for r in ranges]


def test_that_a_post_moved_towards_the_nut_has_the_ranges_of_the_drawing():
    """By hand: room = y - 5 - 14; it touches at 19, and 2 mm are left from 21 on."""
    ranges = ranges_of(lambda y: beside_a_post(y), 15.0, 30.0)
    assert [r.verdict for r in ranges] == [HITS, TIGHT, CLEAR]
    assert [ranges[0].end, ranges[1].end] == pytest.approx([19.0, 21.0], abs=0.011)
    assert ranges[1].end >= 21.0  # never clear before it is


def test_that_a_post_that_grows_counts_by_half_of_its_width():
    """By hand: with its middle at 30 the post touches at a width of 2 (30 - 14) = 32, and 2 mm are left up to 28."""
    ranges = ranges_of(lambda d: beside_a_post(box=(10.0, d, 60.0)), 10.0, 40.0)
    assert [r.verdict for r in ranges] == [CLEAR, TIGHT, HITS]
    assert [ranges[0].end, ranges[1].end] == pytest.approx([28.0, 32.0], abs=0.05)
    assert ranges[0].end <= 28.0


def test_that_a_post_that_turns_has_the_ranges_of_the_closed_form():
    """By hand: the corner of a square post with its middle at 23 is nearest to the spindle while the post is on edge.

    In the frame of the post the spindle stands at 23 (sin t, -cos t); its distance from the square |x|, |y| <= 5 is
    that of max(|x| - 5, 0), max(|y| - 5, 0). Of it the nut takes 14; 2 is wanted.
    """

    def room(turn):
        t = math.radians(turn)
        return math.hypot(max(abs(23 * math.sin(t)) - 5, 0), max(abs(23 * math.cos(t)) - 5, 0)) - 14.0

    ranges = ranges_of(lambda t: beside_a_post(23.0, turn=t), 0.0, 180.0)
    assert len(ranges) == 5
    assert {r.verdict for r in ranges} == {CLEAR, TIGHT}
    for r in ranges:
        for turn in np.linspace(r.start, r.end, 200):
            is_near = abs(room(turn) - 2.0) < 0.002  # mm: it is told to so much at this slope
            assert is_near or (room(turn) >= 2.0) is (r.verdict is CLEAR), (r, turn, room(turn))


def test_that_travel_ends_a_range_where_the_axis_does():
    """By hand: the gauge line stands at 10 + 40 + 50 = 100 at depth 10, and at least 60 is reached at depth 50."""
    z = LinearAxis("z", (80.0, 400.0))

    def scene_at(depth):
        scene = beside_a_post(60.0)
        machine = replace(scene.machine, linear_axes=(*scene.machine.linear_axes[:2], z))
        (o,) = scene.orientations
        cut = replace(o.cuts[0], feature=Hole((0.0, 0.0, 0.0), depth))
        return replace(scene, machine=machine, orientations=(replace(o, cuts=(cut,)),))

    ranges = ranges_of(scene_at, 5.0, 29.0)
    assert told(ranges) == [(5.0, 29.0, CLEAR)]
    low = replace(z, limits=(95.0, 400.0))
    z = low
    ranges = ranges_of(scene_at, 5.0, 29.0)
    assert [r.verdict for r in ranges] == [CLEAR, HITS]
    assert ranges[0].end == pytest.approx(15.0, abs=0.011)
    assert ranges[0].end <= 15.0


def test_that_a_flute_ends_a_range_where_it_ends():
    """By hand: the flute is 30; a hole deeper than that can hit, whatever else is near."""

    def scene_at(depth):
        scene = beside_a_post(60.0)
        (o,) = scene.orientations
        return replace(scene, orientations=(replace(o, cuts=(replace(o.cuts[0], feature=Hole((0, 0, 0), depth)),)),))

    ranges = ranges_of(scene_at, 10.0, 35.0)
    assert [r.verdict for r in ranges] == [CLEAR, CAN_HIT]
    assert ranges[0].end == pytest.approx(30.0, abs=0.011)
    assert ranges[0].end <= 30.0


def test_that_a_table_axis_is_out_of_travel_beyond_its_limit_by_any_turn():
    """An axis from -30 to 110: 330 is -30, so from 110 to 330 it cannot be reached."""
    axis = TableAxis("tilt", "A", "cradle", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (-30.0, 110.0))
    machine = replace(plain_machine(), table_axes=(axis,), spindle_nose=(SpindleStep(60, 60, 25),))

    def scene_at(tilt):
        tool = replace(a_tool(np.random.default_rng(1), NUT), overall=80.0)
        return one_cut(Slot((0.0, 0.0, 200.0), (1.0, 0.0, 200.0), 0.1), tool, machine=machine,
                       zero=Placement("cradle"), angles=(("tilt", tilt),), lift=Lift("gauge_z", 490.0))  # fmt: skip

    ranges = ranges_of(scene_at, 90.0, 350.0)
    assert [r.verdict for r in ranges] == [CLEAR, HITS, CLEAR]
    assert [ranges[0].end, ranges[1].end] == pytest.approx([110.0, 330.0], abs=0.05)


def test_that_values_without_a_scene_are_not_checked():
    def scene_at(y):
        if y < 20.0:
            raise TightsideError("no such set-up")
        return beside_a_post(y)

    ranges = ranges_of(scene_at, 0.0, 40.0)
    assert [r.verdict for r in ranges] == [NOT_CHECKED, TIGHT, CLEAR]
    assert ranges[0].end == pytest.approx(20.0, abs=0.015)


def test_that_ways_out_of_a_pocket_that_turns_claim_nothing():
    scene = a_scene(np.random.default_rng(3), leave=True)
    (o,) = scene.orientations
    cut = replace(o.cuts[0], feature=Pocket((0.0, 0.0, 0.0), (30.0, 24.0), (1.0, 0.0, 0.0), 3.0))
    scene = replace(scene, orientations=(replace(o, cuts=(cut,)),))
    ranges = ranges_of(lambda turn: with_zero(scene, turn_deg=turn), 0.0, 20.0)
    assert [r.verdict for r in ranges] == [NOT_CHECKED]


# ---- by check --------------------------------------------------------------------------------------


def with_zero(scene, **placement):
    (workpiece,) = scene.workpieces
    return replace(scene, workpieces=(replace(workpiece, zero=replace(workpiece.zero, **placement)),))


def with_body(scene, k, **changes):
    bodies = list(scene.bodies)
    placement = {key: changes.pop(key) for key in ("at", "turn_deg") if key in changes}
    bodies[k] = replace(bodies[k], placement=replace(bodies[k].placement, **placement), **changes)
    return replace(scene, bodies=tuple(bodies))


def with_feature(scene, **numbers):
    (o,) = scene.orientations
    cut = o.cuts[0]
    return replace(scene, orientations=(replace(o, cuts=(replace(cut, feature=replace(cut.feature, **numbers)),)),))


def with_errors(scene, **errors):
    return replace(scene, setup_errors=replace(scene.setup_errors, **errors))


def other_size(shape, by):
    if isinstance(shape, Box):
        return Box(shape.dx + by, shape.dy, shape.dz + by)
    if isinstance(shape, Revolve):
        return cylinder(shape.steps[0].d1 + by, shape.height)
    return shape


def a_dial(scene, rng):
    """A number of a set-up, as a set-up for each of its values, and the ends to look between."""
    k = int(rng.integers(len(scene.bodies)))
    at, zero, tool = scene.bodies[k].placement.at, scene.workpieces[0].zero.at, scene.tools[0]
    dials = {
        "a body shifted": (lambda v: with_body(scene, k, at=(at[0] + v, at[1], at[2])), -12.0, 12.0),
        "a body raised": (lambda v: with_body(scene, k, at=(at[0], at[1], at[2] + v)), -12.0, 12.0),
        "a body turned": (lambda v: with_body(scene, k, turn_deg=v), -60.0, 75.0),
        "a body grown": (lambda v: with_body(scene, k, shape=other_size(scene.bodies[k].shape, v)), 0.0, 9.0),
        "the part shifted": (lambda v: with_zero(scene, at=(zero[0], zero[1] + v, zero[2])), -8.0, 8.0),
        "the part raised": (lambda v: with_zero(scene, at=(zero[0], zero[1], zero[2] + v)), -8.0, 8.0),
        "the part turned": (lambda v: with_zero(scene, turn_deg=v), -40.0, 55.0),
        "the stick-out": (lambda v: replace(scene, tools=(replace(tool, stick_out=v),)), 25.0, 55.0),
        "the depth": (lambda v: with_feature(scene, depth=v), 1.0, 14.0),
        "an error": (lambda v: with_errors(scene, location=v), 0.0, 4.0),
        "the stick-out error": (lambda v: with_errors(scene, stick_out=v), 0.0, 4.0),
        "the keep-off": (lambda v: replace(scene, keep_off=replace(scene.keep_off, holder=v)), 0.5, 9.0),
    }  # fmt: skip
    if isinstance(scene.cuts()[0][1].feature, Pocket):
        del dials["the depth"]  # how wide a tapered cutter is at the wall depends on it: no ranges
    name = list(dials)[rng.integers(len(dials))]
    return name, *dials[name]


@pytest.mark.parametrize("seed", range(10))
def test_that_no_range_claims_more_than_a_check_confirms(seed):
    rng = np.random.default_rng([seed, 41])
    _, scene_at, low, high = a_dial(scene := a_scene(rng), rng)
    assert scene
    check_ranges(scene_at, low, high, rng, n_inside=10)


@pytest.mark.slow
@pytest.mark.parametrize("block", range(12))
def test_that_no_range_of_many_set_ups_claims_more_than_a_check_confirms(block):
    for seed in range(10):
        rng = np.random.default_rng([block, seed, 42])
        _, scene_at, low, high = a_dial(a_scene(rng), rng)
        check_ranges(scene_at, low, high, rng)


@pytest.mark.parametrize("seed", [0, 2, 3, *(pytest.param(n, marks=pytest.mark.slow) for n in range(4, 16))])
def test_that_a_tilting_table_claims_no_more_than_a_check_confirms(seed):
    """The tool is aimed anew or not, bodies stand on the platter, the cradle and the bed, the lift is any."""
    rng = np.random.default_rng([seed, 43])
    tilt = TableAxis("tilt", "A", "cradle", (0.0, -5.0, 40.0), (1.0, 0.0, 0.0), None)
    rotary = TableAxis("rotary", "C", "platter", (0.0, 5.0, 10.0), (0.0, 0.0, 1.0), None)
    machine = replace(plain_machine(moves_table=["", "xy"][seed % 2]), table_axes=(tilt, rotary))
    on = ["platter", "platter", "cradle", "bed"]
    bodies = [replace(b, placement=replace(b.placement, rides_on=on[rng.integers(4)])) for b in crowd(rng)]
    features = [
        Hole((0.0, 0.0, 0.0), 4.0),
        Pocket((0.0, 0.0, 0.0), (30.0, 24.0), (1.0, 0.0, 0.0), 3.0),
        Slot((-20.0, 0.0, 0.0), (20.0, 5.0, 0.0), 3.0),
    ]
    part = (Body("part", Placement("P", (0.0, 0.0, -30.0)), Box(40.0, 40.0, 30.0)),)
    turned = ("tilt", "rotary")[int(rng.integers(2))]
    still = {"tilt": float(rng.uniform(-30.0, 60.0)), "rotary": float(rng.uniform(-180.0, 180.0))}
    feature, tool = features[rng.integers(3)], a_tool(rng, a_holder(rng))
    lift = [Lift("retract"), Lift("gauge_z", 260.0), Lift("top")][rng.integers(3)]

    def scene_at(angle):
        angles = {**still, turned: angle}
        return one_cut(
            feature, tool, *bodies, part=part, zero=Placement("platter", (4.0, 0.0, 30.0)), machine=machine,
            angles=tuple(angles.items()), lift=lift, errors=SetupErrors() if seed % 3 else NO_ERRORS, retract=40.0,
        )  # fmt: skip

    check_ranges(scene_at, -35.0, 40.0, rng, n_inside=8, is_sharp=False)
