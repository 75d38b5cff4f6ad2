"""Whole cuts against dense sampling: what is proven is never more than what is sampled, what is shown is attained.

For every pair that a report names: `at_least` is no larger than the least distance over sampled positions, lifts and
obstacle points; `value` is the distance of its two points, of which one lies in the true tool standing at the tip
that is told, at a position that the feature really has, and the other on the true obstacle. So the true clearance
lies between the two, and they differ by 0.01 mm at most.
"""

import numpy as np
import pytest

from kinematics.scene import Hole, Path, Pocket, Slot
from kinematics.shapes import Box, cylinder
from tests.one_cut import body, end_mill, one_cut, pair_of, report_of
from tests.truth import brute_force
from tests.truth import sampled_moves as sampled
from tests.truth.moves_by_hand import FEATURES, move, obstacle, placement_of
from tests.truth.supports import rotation

WIDTH = 0.01
FLUTE, STICK_OUT = 12.0, 30.0


def true_tool(tool):
    """The frusta of each part by the numbers of the tool and its holder (see `NUT` in tests/one_cut.py)."""
    r, shank = tool.d / 2, tool.shank / 2
    return {
        "cutter": (r, r, 0.0, FLUTE),
        "shank": (shank, shank, FLUTE, STICK_OUT),
        "nut": (10.0, 10.0, STICK_OUT, STICK_OUT + 30.0),
        "holder": (20.0, 20.0, STICK_OUT + 30.0, STICK_OUT + 80.0),
    }


def check_pair(pair, tool, a_move, up, an_obstacle):
    """One pair of a report against the definition; gives the width of its interval, or None on contact."""
    r1, r2, z1, z2 = true_tool(tool)[pair.between[0]]
    tips = a_move.tips[:: max(1, len(a_move.tips) // 400)]
    # the parts are cylinders: lifted by `up` they are longer cylinders
    least = sampled.least_distance([(r1, r2, z1, z2 + up)], tips, an_obstacle.points)
    if pair.clearance is None:
        return None
    assert pair.clearance.at_least <= least + 1e-6
    if pair.clearance.value <= 0.0:
        return None
    p_tool, p_obstacle = (np.array(p) for p in pair.points_W)
    tip = np.array(pair.tip_W)
    assert np.linalg.norm(p_tool - p_obstacle) == pytest.approx(pair.clearance.value, abs=1e-6)
    assert brute_force.frustum_distance((p_tool - tip)[None, :], r1, r2, z1, z2)[0] < 1e-6
    lowered = tip - np.linspace(0.0, up, 401)[:, None] * np.array([0.0, 0.0, 1.0])
    assert a_move.gap(lowered).min() <= up / 400 + 1e-6
    assert an_obstacle.gap(p_obstacle) < 1e-6
    return pair.clearance.value - pair.clearance.at_least


def check_random_cut(kind, rng):
    """A random cut beside a random obstacle; gives the widest interval."""
    r = rng.uniform(1.0, 6.0)
    R, c = rotation(rng, "aligned" if rng.random() < 0.5 else "any"), rng.uniform(-50.0, 50.0, 3)
    a_move = move(kind, rng, R, c, r)
    up = float(rng.choice([1.0, 20.0, 80.0]))
    near = a_move.tips[rng.integers(len(a_move.tips))]
    beside = np.array([*rng.uniform(-1, 1, 2) * rng.uniform(5, 60), rng.uniform(-20, 60)])
    an_obstacle = obstacle(rng, near + beside, "aligned" if rng.random() < 0.5 else "any")
    tool = end_mill(2 * r, FLUTE, stick_out=STICK_OUT, shank=2 * r * rng.choice([1.0, 0.8, 1.3]))
    scene = one_cut(a_move.feature, tool, an_obstacle.body, zero=placement_of(R, c), retract=up)
    report = report_of(scene)
    assert not report.not_checked
    pairs = [p for p in (report.worst, *report.next) if p.between[1] == "obstacle"]
    assert len(pairs) >= 3
    return [check_pair(pair, tool, a_move, up, an_obstacle) for pair in pairs]


@pytest.mark.parametrize("kind", FEATURES)
def test_that_a_whole_cut_is_no_nearer_than_proven_and_as_near_as_shown(kind):
    rng = np.random.default_rng(FEATURES.index(kind))
    widths = [w for _ in range(2) for w in check_random_cut(kind, rng) if w is not None]
    assert widths, "in none of these cuts is anything apart"
    assert max(widths) <= WIDTH


@pytest.mark.slow
@pytest.mark.parametrize("kind", FEATURES)
def test_that_two_thousand_whole_cuts_are_no_nearer_than_proven_and_as_near_as_shown(kind):
    first = 50_000 + 1_000 * FEATURES.index(kind)
    for seed in range(first, first + -(-2_000 // len(FEATURES))):
        widths = [w for w in check_random_cut(kind, np.random.default_rng(seed)) if w is not None]
        assert max(widths, default=0.0) <= WIDTH, seed


# ---- cases where sampling flatters, or a sign decides -----------------------------------------------


def clearance_of(scene, part, obstacle):
    pair = pair_of(report_of(scene), part, obstacle)
    return pair.clearance


def check_clearance(scene, part, obstacle, expected):
    found = clearance_of(scene, part, obstacle)
    assert found.at_least <= expected + 1e-6
    assert found.value >= expected - 1e-6
    assert found.value - found.at_least <= WIDTH


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_that_an_off_centre_pocket_reaches_to_its_own_side(side):
    """A pocket 40 x 20 whose centre stands 30 off P: a d10 cutter covers 10 to 50 on that side, nothing beyond P."""
    scene = one_cut(
        Pocket((side * 30.0, 0.0, 0.0), (40.0, 20.0), (1.0, 0.0, 0.0), 5.0),
        end_mill(10.0),
        body("far wall", Box(10, 40, 30), (side * 60.0, 0, -10)),
        body("near wall", Box(10, 40, 30), (-side * 10.0, 0, -10)),
    )
    check_clearance(scene, "cutter", "far wall", 55.0 - 50.0)
    check_clearance(scene, "cutter", "near wall", 10.0 - -5.0)


def test_that_the_second_side_of_a_pocket_is_square_to_along_and_counted_right_handed():
    """Along -Y the second side runs along +X: 60 of it, 20 of the first; the wall in -X is nearer than that in +Y."""
    scene = one_cut(
        Pocket((0.0, 0.0, 0.0), (20.0, 60.0), (0.0, -1.0, 0.0), 5.0),
        end_mill(10.0),
        body("wall in X", Box(10, 40, 30), (-40.0, 0, -10)),
        body("wall in Y", Box(40, 10, 30), (0.0, 40, -10)),
    )
    check_clearance(scene, "cutter", "wall in X", 35.0 - 30.0)
    check_clearance(scene, "cutter", "wall in Y", 35.0 - 10.0)


def test_that_the_middle_of_a_slot_is_not_jumped_over():
    """A pin of d1 beside the middle of a slot of 100: at the ends of the slot it is 50 off, half way it is 1.5."""
    scene = one_cut(
        Slot((-50.0, 0.0, 0.0), (50.0, 0.0, 0.0), 4.0), end_mill(10.0), body("pin", cylinder(1, 30), (0, 7, -10))
    )
    check_clearance(scene, "cutter", "pin", 1.5)


def test_that_the_lift_is_not_jumped_over():
    """A bar of 1 x 1 at height 50 beside a hole: only half way up the lift does the cutter pass it."""
    scene = one_cut(Hole((0.0, 0.0, 0.0), 5.0), end_mill(10.0), body("bar", Box(40, 1, 1), (0, 8, 50)), retract=300.0)
    check_clearance(scene, "cutter", "bar", 2.5)


def test_that_a_flat_nut_over_a_flat_top_clears_it_by_their_heights():
    """A plateau: every position is as near as every other."""
    scene = one_cut(
        Pocket((0.0, 0.0, 0.0), (60.0, 60.0), (1.0, 0.0, 0.0), 5.0),
        end_mill(10.0, stick_out=40.0),
        body("block", Box(200, 200, 10), (0, 0, 22)),
        retract=1.0,
    )
    check_clearance(scene, "nut", "block", (40.0 - 5.0) - 32.0)


def test_that_a_path_back_over_itself_and_straight_down_is_covered():
    points = ((0.0, 0.0, 10.0), (0.0, 0.0, -20.0), (30.0, 0.0, -20.0), (30.0, 0.0, 10.0), (30.0, 0.0, -20.0))
    scene = one_cut(
        Path(points),
        end_mill(10.0),
        body("below", Box(10, 10, 10), (30.0, 0, -40)),
        body("beyond", Box(4, 40, 4), (40, 0, -8)),
    )
    check_clearance(scene, "cutter", "below", 10.0)
    check_clearance(scene, "cutter", "beyond", 3.0)


def test_that_the_way_out_belongs_to_the_cut_and_only_its_end_lifts():
    """Out along +X to x 100: a post at x 70 is passed at the bottom; a beam beside the slot is not met by a lift."""
    scene = one_cut(
        Slot((-20.0, 0.0, 0.0), (20.0, 0.0, 0.0), 4.0),
        end_mill(10.0),
        body("post", cylinder(4, 60), (70.0, 12.0, -30)),
        body("beam", Box(10, 10, 10), (0.0, 45.0, 130)),
        leave_to=(100.0, 0.0, -4.0),
        retract=200.0,
    )
    report = report_of(scene)
    post, beam = pair_of(report, "cutter", "post").clearance, pair_of(report, "holder", "beam").clearance
    assert post.at_least <= 12 - 5 - 2 <= post.value
    # the top of the holder, r 20, stays 14 below the beam and 20 beside it; lifting there it would come to 20
    gap = np.hypot(20.0, 130.0 - 116.0)
    assert beam.at_least <= gap + 1e-6
    assert beam.value >= gap - 1e-6
    assert beam.value - beam.at_least <= WIDTH


@pytest.mark.parametrize("leave_z", [-4.0, 6.0])
def test_that_from_a_pocket_every_way_to_the_end_is_covered(leave_z):
    """From any corner of the area the cutter may leave: the hull of area and end is its way."""
    scene = one_cut(
        Pocket((0.0, 0.0, 0.0), (40.0, 40.0), (1.0, 0.0, 0.0), 4.0),
        end_mill(10.0),
        body("pin", cylinder(2, 30), (50.0, 14.0, -20.0)),
        leave_to=(100.0, 0.0, leave_z),
    )
    # the corner (15, 15) to (100, 0): how far the pin's axis is from that line
    line = np.array([85.0, -15.0])
    off = abs(line[0] * (14.0 - 15.0) - line[1] * (50.0 - 15.0)) / np.linalg.norm(line)
    assert off < 5.0 + 1.0, "the pin stands in the way, beside the middle line"
    report = report_of(scene)
    assert pair_of(report, "cutter", "pin").verdict == "hits"
