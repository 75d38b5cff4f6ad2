"""How far a table axis may turn for a cut: closed forms, and a check at random angles."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers.angle_reach import angle_reach, without_slivers
from kinematics.answers.ranges import Range
from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.answers.worst_room import cut_room
from kinematics.machine import TableAxis
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Hole, Lift, Placement, Scene, SetupErrors
from kinematics.shapes import Box
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import sample_file
from tests.one_cut import body, end_mill, one_cut, plain_machine

NONE = SetupErrors(0.0, 0.0, 0.0, 0.0, 0.0)
NUT_R, NUT_Z = 10.0, 40.0  # of the holder of tests.one_cut


def with_axis(limits: tuple[float, float] | None, *, x_travel: float = 500.0) -> Scene:
    """A hole in the top of a small block, its tip on the axis that tilts the block to the operator; a wide floor.

    The tip is 50 over the floor.
    """
    axis = TableAxis("tilt", "A", "cradle", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), limits)
    plain = plain_machine()
    y = replace(plain.linear_axes[1], limits=(-x_travel, x_travel))
    machine = replace(plain, table_axes=(axis,), linear_axes=(plain.linear_axes[0], y, plain.linear_axes[2]))
    floor = body("floor", Box(300.0, 300.0, 10.0), (0.0, 0.0, -60.0), on="cradle")
    return one_cut(
        Hole((0.0, 0.0, 2.0), 2.0),
        end_mill(),
        floor,
        part=(body("block", Box(4.0, 4.0, 2.0), (0.0, 0.0, 0.0), on="P"),),
        machine=machine,
        zero=Placement("cradle"),
        angles=(("tilt", 0.0),),
        errors=NONE,
        retract=0.0,
        lift=Lift("gauge_z", 0.0),
    )


def reach_of(scene: Scene):
    prepared = Prepared(scene)
    (orientation,) = scene.orientations
    return angle_reach(prepared, orientation, orientation.cuts[0], scene.machine.axis("tilt"))


def test_that_the_nut_comes_down_to_the_floor_by_the_closed_form() -> None:
    """By hand: the tool leans by t about its tip, 50 over the floor. Lowest of the flange (r 20, from 70 to 120 up) is
    70 cos t - 20 sin t + 50, of its top 120 cos t - 20 sin t + 50; the highest step is nearest when t > 90:
    120 cos t - 20 sin t + 50 = 0 touches, = 2 is clear."""
    reach = reach_of(with_axis(None))
    size, phi = math.hypot(120.0, 20.0), math.degrees(math.atan2(20.0, 120.0))
    touch = math.degrees(math.acos(-50.0 / size)) - phi
    clear = math.degrees(math.acos(-48.0 / size)) - phi
    assert reach.not_hits is not None and reach.clear is not None
    assert reach.not_hits.highest == pytest.approx(touch, abs=0.03) and reach.not_hits.highest <= touch + 0.01
    assert reach.clear.highest == pytest.approx(clear, abs=0.03) and reach.clear.highest <= clear + 0.01
    assert reach.clear.lowest == pytest.approx(-reach.clear.highest, abs=0.03)
    assert reach.clear.stops_high.between == ("holder", "floor")


def test_that_the_limit_of_the_axis_and_travel_are_named() -> None:
    """By hand: part zero is 30 over the axis, so that at t the tip is at Y -30 sin t; travel 15: 30 degrees."""
    reach = reach_of(with_axis((-20.0, 35.0)))
    assert reach.clear is not None
    assert (reach.clear.lowest, reach.clear.highest) == (-20.0, 35.0)
    assert reach.clear.stops_low.kind == reach.clear.stops_high.kind == "axis limit"
    scene = with_axis((-80.0, 80.0), x_travel=15.0)
    work = replace(scene.workpieces[0], zero=Placement("cradle", (0.0, 0.0, 30.0)))
    reach = reach_of(replace(scene, workpieces=(work,)))
    assert reach.not_hits is not None
    assert reach.not_hits.highest == pytest.approx(30.0, abs=0.02) and reach.not_hits.highest <= 30.0
    assert reach.not_hits.lowest == pytest.approx(-30.0, abs=0.02)
    assert reach.not_hits.stops_high.kind == "travel"


def test_that_an_endless_axis_may_be_free_all_round() -> None:
    scene = with_axis(None)
    reach = reach_of(replace(scene, bodies=()))
    assert reach.not_hits is not None
    assert reach.not_hits.stops_low.kind == reach.not_hits.stops_high.kind == "all round"


@pytest.mark.parametrize("cut", [("V6", "drain spot"), ("V3", "+X pocket"), ("V6", "drain drill")])
def test_that_no_range_says_more_than_a_check_at_random_angles(cut: tuple[str, str]) -> None:
    """20 angles in all, and where a range is wide, its verdict is also met in its middle."""
    scene = read_scene(sample_file("sampler_block_b")).scene
    prepared = Prepared(scene)
    orientation = next(o for o in scene.orientations if o.name == cut[0])
    made = next(c for c in orientation.cuts if c.name == cut[1])
    reach = angle_reach(prepared, orientation, made, scene.machine.axis("tilt"))

    def verdict_at(tilt: float) -> Verdict:
        there = with_orientation(scene, re_aimed(scene, prepared.placed, orientation, {"tilt": tilt}))
        placed = next(p for p in placed_cuts(Prepared(there)) if (p.orientation.name, p.cut.name) == cut)
        return cut_room(placed).verdict

    rng = np.random.default_rng(1)
    for tilt in rng.uniform(-15.0, 115.0, 20):
        claimed = next(r.verdict for r in reach.ranges if r.start <= tilt <= r.end)
        assert verdict_at(float(tilt)).severity <= claimed.severity, tilt
    for r in reach.ranges:
        if r.end - r.start > 1.0:
            assert verdict_at(0.5 * (r.start + r.end)) is r.verdict, (r.start, r.end)


def test_that_a_sliver_takes_on_the_milder_of_its_neighbours() -> None:
    rows = [(0.0, 5.0, Verdict.CAN_HIT), (5.0, 5.02, Verdict.CLEAR), (5.02, 5.05, Verdict.TIGHT)]
    ranges = [Range(*row) for row in [*rows, (5.05, 9.0, Verdict.CLEAR)]]
    assert [(r.start, r.end, r.verdict) for r in without_slivers(ranges)] == [
        (0.0, 5.0, Verdict.CAN_HIT),
        (5.0, 5.05, Verdict.TIGHT),
        (5.05, 9.0, Verdict.CLEAR),
    ]
