"""How far the part may be off: closed forms, and the check of set-ups in which it is off."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.answers.part_off import FARTHEST, Off, Way, exact_part_off, part_off
from kinematics.clearance import check_cuts
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Cut, Hole, Placement, Pocket, Scene, SetupErrors, Slot
from kinematics.shapes import Box, cylinder
from kinematics.verdict import Verdict
from tests.kinematics.answers.generated import a_scene
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import body, end_mill, one_cut, plain_machine
from tests.truth import brute_force

ERRORS = SetupErrors(location=0.5, body_model=0.0, diameters=0.0, stick_out=0.0, tilt_deg=0.0)
NUT_R = 10.0  # of the holder of tests.one_cut, 40 to 70 over the tip, 35 to 65 over the table; above it r 20
HOLE = Hole((0.0, 0.0, 0.0), 5.0)


def answers(scene: Scene) -> tuple[dict[Way, Off], dict[Way, Off]]:
    """To first order, and exact."""
    (placed,) = placed_cuts(Prepared(scene))
    first, exact = part_off(placed), exact_part_off(placed)
    assert first.why is None and exact.why is None
    return ({off.way: off for off in first.ways}, {off.way: off for off in exact.ways})


def test_that_a_wall_may_come_as_near_as_its_spare() -> None:
    """By hand: a wide wall 2.0 behind the nut; 0.5 is for set-up errors, so 1.5 to you and no matter how much else."""
    wall = body("wall", Box(200.0, 10.0, 50.0), (0.0, NUT_R + 2.0 + 5.0, 0.0))
    for by_way in answers(one_cut(HOLE, end_mill(), wall, errors=ERRORS)):
        assert by_way[Way.TO_YOU].most == pytest.approx(1.5, abs=0.005)
        assert by_way[Way.TO_YOU].between == ("nut", "wall")
        for way in (Way.AWAY, Way.LEFT, Way.RIGHT, Way.DOWN, Way.UP):
            assert by_way[way].most is None, way


def test_that_a_post_may_pass_as_far_as_two_circles_let_it() -> None:
    """By hand: axes 16.74 apart, (7.93, 14.75); circles of 9.5 + 5 + 0.5 may come to 15.0.

    To you: 14.75 - sqrt(15^2 - 7.93^2); left: 7.93 - sqrt(15^2 - 14.75^2). To first order the slant of the normal.
    """
    x, y, room = 7.93, 14.75, NUT_R + 4.5 + 0.5
    post = body("post", cylinder(9.0, 50.0), (x, y, 0.0))
    first, exact = answers(one_cut(HOLE, end_mill(), post, errors=ERRORS))
    spare, apart = math.hypot(x, y) - room, math.hypot(x, y)
    for way, along, across in ((Way.TO_YOU, y, x), (Way.LEFT, x, y)):
        assert first[way].most == pytest.approx(spare / (along / apart), abs=0.02)  # polygons
        assert exact[way].most == pytest.approx(along - math.sqrt(room**2 - across**2), abs=0.03)  # at a slant
        assert not first[way].is_exact and exact[way].is_exact


def test_that_a_turn_is_about_part_zero() -> None:
    """By hand: part zero 30 left of the tool, a wall 12 behind both; turned clockwise by t it is 12 - 30 sin t away."""
    wall = body("wall", Box(300.0, 10.0, 60.0), (0.0, 12.0 + 5.0, 0.0))
    zero = Placement("table", (-30.0, 0.0, 0.0))
    first, exact = answers(one_cut(Hole((30.0, 0.0, 0.0), 5.0), end_mill(), wall, errors=ERRORS, zero=zero))
    t = math.degrees(math.asin((12.0 - NUT_R - 0.5) / 30.0))
    assert exact[Way.CLOCKWISE].most == pytest.approx(t, abs=0.005)
    assert first[Way.CLOCKWISE].most == pytest.approx(math.degrees((12.0 - NUT_R - 0.5) / 30.0), abs=0.01)
    assert exact[Way.COUNTER_CLOCKWISE].most is None


def test_that_what_is_used_up_leaves_nothing() -> None:
    wall = body("wall", Box(200.0, 10.0, 50.0), (0.0, NUT_R + 0.4 + 5.0, 0.0))
    for by_way in answers(one_cut(HOLE, end_mill(), wall, errors=ERRORS)):
        assert by_way[Way.TO_YOU].most == 0.0


def test_that_the_far_side_of_one_body_is_not_overlooked() -> None:
    """By hand: a mesh of two walls, 2.0 to the left and 3.0 to the right of the nut: 1.5 and 2.5 are left.

    The nearest place of the pair is at the wall on the left, which first order takes for all there is.
    """
    sides = ((-NUT_R - 2.0 - 4.0, 0.0, 0.0), (NUT_R + 3.0 + 4.0, 0.0, 0.0))
    boxes = [brute_force.box_mesh((8.0, 60.0, 60.0), (x - 4.0, y - 30.0, z)) for x, y, z in sides]
    vertices = np.concatenate([v for v, _ in boxes])
    faces = np.concatenate([boxes[0][1], boxes[1][1] + len(boxes[0][0])])
    walls = body("walls", mesh_shape(vertices, faces))
    for by_way in answers(one_cut(HOLE, end_mill(), walls, errors=ERRORS)):
        assert by_way[Way.RIGHT].most == pytest.approx(1.5, abs=0.005)
        assert by_way[Way.LEFT].most == pytest.approx(2.5, abs=0.005)
        assert by_way[Way.LEFT].is_exact


def test_that_the_bodies_of_the_machine_stay() -> None:
    post = body("column", cylinder(8.0, 50.0), (NUT_R + 2.0 + 4.0, 0.0, 0.0))
    scene = one_cut(HOLE, end_mill(), errors=ERRORS, machine=plain_machine(bodies=(post,)))
    for by_way in answers(scene):
        assert all(off.most is None for off in by_way.values())


def shifted(scene: Scene, by: np.ndarray) -> Scene:
    """The set-up with everything on the table elsewhere, and the tool where it was."""

    def at(p: tuple[float, float, float], d: np.ndarray) -> tuple[float, float, float]:
        return tuple(float(v) for v in np.asarray(p) + d)

    def back(cut: Cut) -> Cut:
        leave = None if cut.leave_to is None else at(cut.leave_to, -by)
        match cut.feature:
            case Slot(start, end, depth):
                return replace(cut, feature=Slot(at(start, -by), at(end, -by), depth), leave_to=leave)
            case Hole() | Pocket():
                return replace(cut, feature=replace(cut.feature, at=at(cut.feature.at, -by)), leave_to=leave)
        raise AssertionError

    work = scene.workpieces[0]
    (orientation,) = scene.orientations
    return replace(
        scene,
        workpieces=(replace(work, zero=replace(work.zero, at=at(work.zero.at, by))),),
        bodies=tuple(replace(b, placement=replace(b.placement, at=at(b.placement.at, by))) for b in scene.bodies),
        orientations=(replace(orientation, cuts=tuple(back(c) for c in orientation.cuts)),),
    )


STEPS = {
    Way.TO_YOU: (0, -1, 0),
    Way.AWAY: (0, 1, 0),
    Way.LEFT: (-1, 0, 0),
    Way.RIGHT: (1, 0, 0),
    Way.UP: (0, 0, 1),
    Way.DOWN: (0, 0, -1),
}


def pairs_can_hit(scene: Scene) -> bool:
    (report,) = check_cuts(scene)
    return report.worst is not None and report.worst.verdict in (Verdict.CAN_HIT, Verdict.HITS)


def on_the_table(scene: Scene) -> Scene:
    return replace(scene, bodies=tuple(b for b in scene.bodies if b.placement.rides_on == "table"))


@pytest.mark.parametrize("seed", range(12))
def test_that_no_answer_claims_more_than_a_check_of_the_part_being_off(seed: int) -> None:
    """Random set-ups: none of 6 values within an exact answer can hit, first order is true where it ends, and a little
    farther than the exact answer the spare is used up."""
    rng = np.random.default_rng(seed)
    scene = on_the_table(a_scene(rng, moves_table="", lift="high gauge"))
    while pairs_can_hit(scene):
        scene = on_the_table(a_scene(rng, moves_table="", lift="high gauge"))
    first, exact = answers(scene)
    for way, step in STEPS.items():
        most = FARTHEST if exact[way].most is None else exact[way].most
        for by in rng.uniform(0.0, most - 0.01, 6) if most > 0.01 else ():
            assert not pairs_can_hit(shifted(scene, by * np.array(step))), (way, by)
        if exact[way].most is not None:
            (report,) = check_cuts(shifted(scene, (most + 0.001) * np.array(step)))
            assert report.worst is not None
            assert report.worst.spare is None or report.worst.spare < 0.02, way
        end = FARTHEST if first[way].most is None else first[way].most
        assert not pairs_can_hit(shifted(scene, max(end - 0.005, 0.0) * np.array(step))), way
