"""The second opinion: it agrees with what is right, and finds what is wrong by more than it says.

What is right is known by construction: a plain tool over plain bodies at distances that can be read off. What is
wrong is put into the answers of the first engine.
"""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from kinematics.clearance import check_cuts
from kinematics.cut_pairs import CutPairs, Measured
from kinematics.engine.pair import Clear, Contact
from kinematics.errors import EngineError
from kinematics.meshed_sweeps import MOST_PLACES, MOST_SWEEPS
from kinematics.report import SecondOpinion
from kinematics.scene import Hole, Path, Pocket, SetupErrors, Slot
from kinematics.shapes import Box, Revolve, Screw, Step, cone, cylinder
from kinematics.verdict import Verdict
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import NO_ERRORS, body, end_mill, one_cut, pair_of, plain_machine
from tests.one_swing import block, hollow_block
from tests.truth.moves_by_hand import FEATURES, move, obstacle, placement_of
from tests.truth.supports import rotation

OFF = 0.05
STICK_OUT = SetupErrors(0.0, 0.0, 0.0, 0.5, 0.0)
HOLE = Hole((0.0, 0.0, 0.0), 5.0)  # the tip at -5
# all of them below the shank, which begins 20 over the tip
WALL = body("wall", Box(20.0, 60.0, 40.0), (18.0, 0.0, -30.0))  # its side at x = 8: 3 from a d10 cutter at 0
PIN = body("pin", cylinder(10.0, 20.0), (14.0, 0.0, -10.0))  # its side at x = 9: 4 from the cutter
FLOOR = body("floor", Box(60.0, 60.0, 5.0), (0.0, 0.0, -13.0))  # its top at -8: 3 under the tip
DEEP = body("wall", Box(20.0, 60.0, 40.0), (13.0, 0.0, -30.0))  # its side at x = 3: 2 inside the cutter


def heard(scene):
    """The report of the only cut, with a second opinion."""
    (report,) = check_cuts(scene, second_opinion=True)
    return report


def scene_with(*bodies, feature=HOLE, errors=NO_ERRORS, **options):
    return one_cut(feature, end_mill(10.0), *bodies, errors=errors, **options)


def agree(scene):
    report = heard(scene)
    assert [p.why for p in report.not_checked] == []
    assert report.second_opinion is SecondOpinion.AGREES
    return report


@pytest.fixture
def falsify(monkeypatch):
    """Puts a falsified answer of the first engine in place of that for the cutter and one body."""

    def put(name, change):
        measure = CutPairs.measure

        def measured(self, pair, far):
            if pair.names != ("cutter", name):
                return measure(self, pair, far)
            try:
                return change(measure(self, pair, math.inf))
            except EngineError:
                return change(Measured(None, None))

        monkeypatch.setattr(CutPairs, "measure", measured)

    return put


def both(change):
    """Falsifies the answer for the move as it is and for the one with the stick-out swept alike."""
    return lambda right: Measured(change(right.exact), change(right.swept))


def caught(scene, name="wall"):
    """The reason for which the pair is not checked, and nor is the cut."""
    report = heard(scene)
    assert report.verdict is Verdict.NOT_CHECKED
    return reason_in(report, name)


def reason_in(report, name):
    assert report.second_opinion is SecondOpinion.DISAGREES
    (pair,) = (p for p in report.not_checked if p.between == ("cutter", name))
    assert pair.verdict is Verdict.NOT_CHECKED
    assert report.worst is None or report.worst.between != pair.between
    return pair.why


def numbers_in(why):
    return [float(text) for text in re.findall(r"-?\d+\.\d+", why)]


# ---- what is right ----------------------------------------------------------------------------------


@pytest.mark.parametrize("errors", [NO_ERRORS, STICK_OUT])
@pytest.mark.parametrize("axis", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)])
@pytest.mark.parametrize(
    "shape",
    [
        Box(12.0, 8.0, 20.0),
        cylinder(10.0, 20.0),
        cone(14.0, 4.0, 20.0),
        Revolve((Step(12.0, 12.0, 5.0), Step(6.0, 2.0, 9.0))),
        Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 16.0),
        mesh_shape(*block((12.0, 8.0, 20.0), (-6.0, -4.0, 0.0))),
    ],
    ids=["box", "cylinder", "cone", "turned", "screw", "mesh"],
)
def test_that_it_agrees_with_bodies_that_stand_along_the_axes(shape, axis, errors):
    features = (HOLE, Slot((-20.0, 0.0, 0.0), (20.0, 0.0, 0.0), 5.0), Pocket((0, 0, 0), (40, 30), (0, 1, 0), 5.0))
    for feature in features:
        agree(scene_with(body("body", shape, (38.0, 2.0, -4.0), axis=axis), feature=feature, errors=errors))


@pytest.mark.parametrize("kind", FEATURES)
def test_that_it_agrees_with_random_cuts_beside_random_bodies(kind):
    rng = np.random.default_rng(FEATURES.index(kind))
    for tool in (end_mill(6.0), end_mill(7.0, kind="bull mill", corner_radius=1.5)):
        R, c = rotation(rng, "aligned" if rng.random() < 0.5 else "any"), rng.uniform(-50.0, 50.0, 3)
        a_move = move(kind, rng, R, c, tool.d / 2)
        beside = np.array([*rng.uniform(-1, 1, 2) * rng.uniform(5, 40), rng.uniform(-10, 30)])
        an_obstacle = obstacle(rng, a_move.tips[0] + beside, "aligned" if rng.random() < 0.5 else "any")
        agree(one_cut(a_move.feature, tool, an_obstacle.body, zero=placement_of(R, c), errors=STICK_OUT))


@pytest.mark.parametrize("moves", ["", "x", "xy"])
def test_that_it_agrees_on_the_bed_and_with_bodies_of_the_head(moves):
    """Bodies of the head are compared as polyhedra, a mesh as its hull; the bed moves past table and tool."""
    bodies = (
        body("column", Box(40.0, 40.0, 300.0), (0.0, 80.0, -100.0), on="bed"),
        body("post", cylinder(12.0, 80.0), (60.0, -30.0, -60.0), on="bed"),
        body("motor", Box(60.0, 40.0, 50.0), (10.0, 0.0, 10.0), on="head"),
        body("guard", mesh_shape(*hollow_block((90.0, 90.0, 20.0), (40.0, 40.0, 10.0), (-45, -45, 0))), on="head"),
    )
    machine = plain_machine(moves_table=moves, bodies=bodies)
    agree(scene_with(PIN, feature=Slot((-20, 0, 0), (20, 9, 0), 5.0), machine=machine, errors=STICK_OUT))


def test_that_it_agrees_on_a_cut_that_leaves_along_its_path():
    part = (body("part", Box(80.0, 60.0, 20.0), (0.0, 0.0, -20.0), on="P"),)
    tool = end_mill(16.0, 4.0, kind="dovetail cutter", shank=8.0, flank_deg=60.0)
    slot = Slot((-30.0, 0.0, 0.0), (30.0, 0.0, 0.0), 8.0)
    agree(one_cut(slot, tool, PIN, part=part, leave_to=(60.0, 0.0, 5.0), errors=STICK_OUT))


def test_that_it_agrees_on_contact_of_every_kind():
    report = agree(scene_with(DEEP))  # by 2 mm in x, exactly
    assert report.verdict is Verdict.HITS
    assert report.worst.clearance.value == pytest.approx(-2.0, abs=0.01)
    swallowed = body("wall", mesh_shape(*block((200.0, 200.0, 300.0), (-100.0, -100.0, -50.0))))
    assert agree(scene_with(swallowed)).worst.contact == "inside"
    crossed = body("wall", mesh_shape(*block((20.0, 60.0, 60.0), (3.0, -30.0, -30.0))))
    assert agree(scene_with(crossed)).worst.contact == "overlap"
    grain = body("wall", mesh_shape(*block((1.0, 1.0, 1.0), (0.0, 0.0, 1.0))))
    assert agree(scene_with(grain)).worst.contact == "inside"


def test_that_a_tool_in_a_hollow_is_not_inside_the_body_round_it():
    hollow = body("wall", mesh_shape(*hollow_block((400.0, 400.0, 400.0), (300.0, 300.0, 300.0), (-200, -200, -200))))
    report = agree(scene_with(hollow))  # the cutter ends 15 over P and lifts by 10; the hollow ends at 150
    assert pair_of(report, "cutter", "wall").clearance.value == pytest.approx(125.0, abs=0.01)


def test_that_without_being_asked_there_is_no_second_opinion(falsify):
    falsify("wall", both(lambda right: replace(right, at_least=right.at_least + OFF, value=right.value + OFF)))
    (report,) = check_cuts(scene_with(WALL))
    assert report.second_opinion is SecondOpinion.OFF
    assert report.not_checked == ()


# ---- what is wrong ----------------------------------------------------------------------------------


@pytest.mark.parametrize("ends", [("at_least", "value"), ("at_least",), ("value",)])
@pytest.mark.parametrize("off", [OFF, -OFF])
@pytest.mark.parametrize(("wrong", "true"), [(WALL, 3.0), (PIN, 4.0), (FLOOR, 3.0)], ids=lambda item: str(item)[:9])
def test_that_a_clearance_that_is_off_is_found_with_both_numbers(falsify, wrong, true, off, ends):
    def change(right):
        return replace(right, **{end: getattr(right, end) + off for end in ends})

    falsify(wrong.name, both(change))
    first, second, error = numbers_in(caught(scene_with(wrong), wrong.name))
    assert first == pytest.approx(true + off, abs=0.01)
    assert second == pytest.approx(true, abs=0.01)
    assert error < 0.01


@pytest.mark.parametrize("off", [OFF, -OFF])
def test_that_a_bound_with_the_stick_out_error_that_is_off_is_found(falsify, off):
    """The floor is 3 under the tip, 2.5 with half a millimetre more of stick-out."""

    def change(right):
        return Measured(right.exact, replace(right.swept, at_least=right.swept.at_least + off))

    falsify("floor", change)
    why = caught(scene_with(FLOOR, errors=STICK_OUT), "floor")
    assert why.startswith("with the stick-out error")
    assert numbers_in(why)[:2] == pytest.approx([2.5 + off, 2.5], abs=0.01)


def test_that_a_clearance_of_twice_what_there_is_is_found(falsify):
    falsify("wall", both(lambda right: replace(right, at_least=2 * right.at_least, value=2 * right.value)))
    assert numbers_in(caught(scene_with(WALL)))[:2] == pytest.approx([6.0, 3.0], abs=0.01)


def test_that_a_clearance_of_a_third_of_what_there_is_is_found(falsify):
    falsify("wall", both(lambda right: replace(right, at_least=1.0, value=1.0)))
    assert numbers_in(caught(scene_with(WALL)))[:2] == pytest.approx([1.0, 3.0], abs=0.01)


@pytest.mark.parametrize("which", ["p_tool", "p_obstacle", "tip"])
@pytest.mark.parametrize("off", [(OFF, 0.0, 0.0), (-OFF, 0.0, 0.0), (0.0, 0.0, -20.0)])
def test_that_a_point_that_is_off_is_found(falsify, which, off):
    """Towards the other solid, away from it, along both and beyond their ends."""

    def change(right):
        return replace(right, **{which: getattr(right, which) + off})

    falsify("pin", both(change))
    why = caught(scene_with(PIN), "pin")
    assert why.startswith("the nearest points are not")


def test_that_points_that_are_off_together_are_found(falsify):
    """Both points 0.05 towards the wall are 3 apart, and on neither."""

    def change(right):
        return replace(right, p_tool=right.p_tool + (OFF, 0, 0), p_obstacle=right.p_obstacle + (OFF, 0, 0))

    falsify("wall", both(change))
    why = caught(scene_with(WALL))
    assert why.startswith("the nearest points are not on")
    assert numbers_in(why)[0] == pytest.approx(OFF, abs=0.003)


def clear_by(distance):
    """An answer that there is room where there is none, with points that are so far apart."""
    return Clear(distance, distance, np.array([5.0, 0, 0]), np.array([5.0 + distance, 0, 0]), np.array([0, 0, -5.0]))


@pytest.mark.parametrize("distance", [OFF, 2.0, 50.0])
def test_that_a_contact_that_was_missed_is_found(falsify, distance):
    falsify("wall", both(lambda _: clear_by(distance)))
    why = caught(scene_with(DEEP))
    assert "the mesh engine contact" in why
    assert numbers_in(why)[0] == pytest.approx(distance)


@pytest.mark.parametrize(
    "wall",
    [
        body("wall", mesh_shape(*block((200.0, 200.0, 300.0), (-100.0, -100.0, -50.0)))),
        body("wall", mesh_shape(*block((1.0, 1.0, 1.0), (0.0, 0.0, 1.0)))),
        body("wall", Box(200.0, 200.0, 300.0), (0.0, 0.0, -50.0)),
    ],
    ids=["tool in mesh", "mesh in tool", "tool in box"],
)
def test_that_one_solid_inside_the_other_that_was_missed_is_found(falsify, wall):
    falsify("wall", both(lambda _: clear_by(2.0)))
    assert "that one is inside the other" in reason_in(heard(scene_with(wall)), "wall")


def hit(depth):
    normal = np.array([1.0, 0.0, 0.0])
    return Contact("overlap", depth, True, normal, np.array([5.0, 0, 0]), np.array([3.0, 0, 0]), np.array([0, 0, -5.0]))


@pytest.mark.parametrize("depth", [None, (2.0, 2.001), (0.02, 0.021)])
def test_that_a_contact_that_is_not_there_is_found(falsify, depth):
    falsify("wall", both(lambda _: hit(depth)))
    why = caught(scene_with(WALL))
    said = "contact" if depth is None else f"{-depth[1]:.3f}"
    assert why.startswith(f"the exact engine finds {said}, the mesh engine 2.99")  # 3, and polygons round the cutter


@pytest.mark.parametrize("off", [OFF, -OFF, 1.0])
def test_that_a_depth_that_is_off_is_found(falsify, off):
    falsify("wall", both(lambda right: replace(right, depth=(right.depth[0] + off, right.depth[1] + off))))
    assert numbers_in(caught(scene_with(DEEP)))[:2] == pytest.approx([-2.0 - off, -2.0], abs=0.01)


def test_that_a_depth_across_the_least_one_is_found(falsify):
    """Along y the wall reaches 30 + 5 over the cutter, which is how far they would have to go that way."""
    normal = np.array([0.0, 1.0, 0.0])
    falsify("wall", both(lambda right: replace(right, depth=(35.0, 35.001), normal=normal)))
    assert numbers_in(caught(scene_with(DEEP)))[:2] == pytest.approx([-35.0, -2.0], abs=0.01)


def test_that_what_hits_elsewhere_still_hits(falsify):
    falsify("wall", both(lambda right: replace(right, at_least=9.0, value=9.0)))
    deep = replace(DEEP, name="other")
    report = heard(scene_with(WALL, deep))
    assert report.verdict is Verdict.HITS
    assert report.second_opinion is SecondOpinion.DISAGREES
    assert report.worst.between == ("cutter", "other")
    assert [p.between for p in report.not_checked] == [("cutter", "wall")]


def test_that_an_open_mesh_round_the_tool_has_no_second_opinion(falsify):
    """Without its top nobody can tell whether the tool is in the block or in the room in it."""
    vertices, faces = block((200.0, 200.0, 300.0), (-100.0, -100.0, -50.0))
    cup = mesh_shape(vertices, faces[[k for k in range(12) if not (vertices[faces[k]][:, 2] > 0).all()]])
    falsify("wall", both(lambda _: clear_by(95.0)))
    report = heard(scene_with(body("wall", cup), feature=Hole((0.0, 0.0, 100.0), 5.0)))
    assert "there is no second opinion" in reason_in(report, "wall")


# ---- many -------------------------------------------------------------------------------------------


def zigzag(n):
    """A path of n short moves to and fro, 40 long in x, on which the tool is 0.001 lower with every one."""
    x = np.where(np.arange(n + 1) % 2, 20.0, -20.0)
    return Path(tuple((float(a), 0.0, -0.001 * k) for k, a in enumerate(x)))


@pytest.mark.parametrize("n", [MOST_SWEEPS + 100, MOST_PLACES + 100])
def test_that_it_agrees_on_a_path_of_very_many_moves_and_finds_a_clearance_too_large(falsify, n):
    """The floor is under the whole path; only its last move is as low as it goes."""
    floor = body("wall", Box(80.0, 60.0, 5.0), (0.0, 0.0, -0.001 * n - 8.0))
    scene = scene_with(floor, feature=zigzag(n))
    report = agree(scene)
    assert pair_of(report, "cutter", "wall").clearance.value == pytest.approx(3.0, abs=1e-3)
    falsify("wall", both(lambda right: replace(right, at_least=right.at_least + OFF, value=right.value + OFF)))
    assert numbers_in(caught(scene))[:2] == pytest.approx([3.05, 3.0], abs=0.01)
