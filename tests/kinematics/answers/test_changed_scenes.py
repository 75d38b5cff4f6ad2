"""Parts that stay while the fixture turns under them, and parts that are raised: against drawings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers.changed_scenes import Grown, chain_under, group_under, grown_to_seat, turned_under
from kinematics.placement import place_scene
from kinematics.scene import Body, Placement, Scene, State, Workpiece
from kinematics.shapes import Box, cone, cylinder
from tests.app.cli.checked_samples import sample_file
from tests.one_cut import body as body_of


@pytest.fixture(scope="module")
def scene() -> Scene:
    return read_scene(sample_file("sampler_block_b")).scene


def with_turn(scene: Scene, turn: float, zero: Placement) -> Scene:
    """The demo with its fixture at a turn and its zero as given."""
    bodies = tuple(
        replace(b, placement=replace(b.placement, turn_deg=turn)) if b.name == "dovetail fixture" else b
        for b in scene.bodies
    )
    return replace(scene, bodies=bodies, workpieces=(replace(scene.workpieces[0], zero=zero),))


def test_that_a_part_stands_on_bodies_in_a_group(scene: Scene) -> None:
    workpiece = scene.workpieces[0]
    assert chain_under(scene, workpiece) == ("dovetail body", "riser", "dovetail fixture")
    group = group_under(scene, workpiece)
    assert group is not None
    assert group.name == "dovetail fixture"


def test_that_a_part_on_a_frame_stands_on_no_group(scene: Scene) -> None:
    workpiece = Workpiece(None, Placement("platter"), ())
    assert chain_under(scene, workpiece) == ()
    assert group_under(scene, workpiece) is None


@pytest.mark.parametrize("by", [180.0, -180.0, 90.0, 33.0, 400.0])
def test_that_the_part_stays_while_the_fixture_turns(scene: Scene, by: float) -> None:
    """By hand: a screw at (-10, 25) over the axis goes to (-10 cos - 25 sin, -10 sin + 25 cos) of the turn."""
    turn, ((_, zero),) = turned_under(scene, scene.bodies[0], by)
    after = with_turn(scene, turn, zero)
    before_P, after_P = (place_scene(s).zeros[0].X_CP for s in (scene, after))
    assert np.abs(after_P.R_AB - before_P.R_AB).max() <= 1e-9
    assert after_P.origin() == pytest.approx(before_P.origin(), abs=1e-9)
    screw = next(b for b in place_scene(after).bodies if b.name == "clamp screw L")
    t = np.radians(by)
    x, y = -10.0 * np.cos(t) - 25.0 * np.sin(t), -10.0 * np.sin(t) + 25.0 * np.cos(t)
    assert screw.X_CG.origin() == pytest.approx((x, y, 62.0), abs=1e-9)  # riser 40, body 22


def test_that_half_a_turn_is_what_set_up_d_has(scene: Scene) -> None:
    """Set-up D is written by hand: the fixture at 180, zero at -180 on it."""
    d = read_scene(sample_file("sampler_block_d")).scene
    turn, ((_, zero),) = turned_under(scene, scene.bodies[0], 180.0)
    assert turn == d.bodies[0].placement.turn_deg == 180.0
    assert abs(zero.turn_deg) == abs(d.workpieces[0].zero.turn_deg) == 180.0
    assert zero.at == d.workpieces[0].zero.at


def test_that_no_turn_changes_no_digit(scene: Scene) -> None:
    turn, ((workpiece, zero),) = turned_under(scene, scene.bodies[0], 0.0)
    assert (turn, zero) == (0.0, workpiece.zero)


def test_that_only_parts_on_the_group_are_told(scene: Scene) -> None:
    other = replace(scene.workpieces[0], name="other", zero=Placement("platter", (60.0, 0.0, 0.0)))
    two = replace(scene, workpieces=(replace(scene.workpieces[0], name="one"), other))
    assert [w.name for w, _ in turned_under(two, two.bodies[0], 20.0)[1]] == ["one"]


def test_that_a_tilted_zero_off_the_axis_is_kept_too(scene: Scene) -> None:
    leaning = Placement("dovetail body", (7.0, -3.0, 30.0), 15.0, (0.0, 0.6, 0.8))
    start = replace(scene, workpieces=(replace(scene.workpieces[0], zero=leaning),))
    turn, ((_, zero),) = turned_under(start, start.bodies[0], 70.0)
    before, after = (place_scene(s).zeros[0].X_CP for s in (start, with_turn(start, turn, zero)))
    assert np.abs(after.R_AB - before.R_AB).max() <= 1e-8
    assert after.origin() == pytest.approx(before.origin(), abs=1e-8)


def test_that_what_stands_on_the_seat_grows_down_to_it(scene: Scene) -> None:
    """By hand: zero is 52 over the seat; the stock is 52 high and the grip waste 8.5; the part stands on neither."""
    grown = list(grown_to_seat(scene.workpieces[0], 3.0))
    assert grown == [Grown("stock", 55.0, -55.0), Grown("grip waste", 11.5, -55.0)]


def test_that_round_stock_grows_and_other_bodies_do_not() -> None:
    bodies = (
        body_of("bar", cylinder(20.0, 30.0), (0.0, 0.0, -30.0), on="P"),
        body_of("leaning", Box(5.0, 5.0, 5.0), (0.0, 0.0, -30.0), on="P", axis=(1.0, 0.0, 0.0)),
        body_of("higher", Box(5.0, 5.0, 5.0), (0.0, 0.0, -29.0), on="P"),
        body_of("foot", cone(30.0, 20.0, 4.0), (9.0, 0.0, -30.0), on="P"),
        body_of("rider", Box(5.0, 5.0, 5.0), (0.0, 0.0, -30.0), on="bar"),
        Body("group", Placement("P", (0.0, 0.0, -30.0)), None),
    )
    workpiece = Workpiece(None, Placement("table", (0.0, 0.0, 30.0)), (State("raw", bodies), State("later", bodies)))
    assert list(grown_to_seat(workpiece, -2.0)) == [Grown("bar", 28.0, -28.0), Grown("foot", 2.0, -28.0)]
