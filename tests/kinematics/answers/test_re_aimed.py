"""Orientations at other angles: where the tip stands in the part is kept."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers.re_aimed import other_solutions, re_aimed, tool_axis_in_P, with_orientation
from kinematics.placed_cut import placed_cuts
from kinematics.placement import place_scene
from kinematics.prepared import Prepared
from kinematics.scene import Hole, Orientation, Scene, Slot
from tests.app.cli.checked_samples import sample_file


@pytest.fixture(scope="module")
def scene() -> Scene:
    return read_scene(sample_file("sampler_block_b")).scene


def called(scene: Scene, name: str) -> Orientation:
    return next(o for o in scene.orientations if o.name == name)


def tips_in_P(scene: Scene, orientation: str, cut: str) -> np.ndarray:
    """Every corner of the tip positions of a cut, in P (n, 3)."""
    placed = next(p for p in placed_cuts(Prepared(scene)) if (p.orientation.name, p.cut.name) == (orientation, cut))
    return placed.X_WP.inverse().points(np.concatenate([s.points for s in placed.move.feature]))


def test_that_a_hole_keeps_its_bottom_and_is_entered_along_the_new_axis(scene: Scene) -> None:
    """By hand: at tilt t the tool axis in P is (0, sin t, cos t); 105 deg: (0, 0.9659, -0.2588), as the demo says."""
    new = re_aimed(scene, place_scene(scene), called(scene, "V6"), {"tilt": 90.0})
    spot = new.cuts[0].feature
    assert isinstance(spot, Hole)
    t = math.radians(105.0)
    tip = np.array([0.0, 15.0, -32.0]) - 2.6 * np.array([0.0, math.sin(t), math.cos(t)])
    assert spot.at == pytest.approx(tip + [0.0, 2.6, 0.0], abs=1e-9)
    assert spot.depth == 2.6
    assert dict(new.angles_deg) == {"tilt": 90.0, "rotary": 0.0}
    assert tool_axis_in_P(scene, place_scene(scene), new)[0] == pytest.approx((0.0, 1.0, 0.0), abs=1e-12)


@pytest.mark.parametrize("angles", [{"tilt": 60.0}, {"tilt": 97.5, "rotary": 33.0}, {"rotary": -40.0}])
def test_that_tips_of_holes_and_slots_stay_in_the_part(scene: Scene, angles: dict[str, float]) -> None:
    v6 = called(scene, "V6")
    slot = replace(v6.cuts[0], name="slot", feature=Slot((0.0, 15.0, -32.0), (4.0, 15.0, -30.0), 2.0))
    before = with_orientation(scene, replace(v6, cuts=(*v6.cuts, slot)))
    after = with_orientation(before, re_aimed(before, place_scene(before), called(before, "V6"), angles))
    for cut in ("drain spot", "drain drill", "slot"):
        assert tips_in_P(after, "V6", cut) == pytest.approx(tips_in_P(before, "V6", cut), abs=1e-9)


def test_that_the_middle_of_a_floor_stays_and_that_it_is_square_to_the_tool(scene: Scene) -> None:
    after = with_orientation(scene, re_aimed(scene, place_scene(scene), called(scene, "V2"), {"tilt": 80.0}))
    old, new = (tips_in_P(s, "V2", "+Y pocket") for s in (scene, after))
    assert new.mean(axis=0) == pytest.approx(old.mean(axis=0), abs=1e-9)
    t = math.radians(80.0)
    assert (new - new.mean(axis=0)) @ [0.0, math.sin(t), math.cos(t)] == pytest.approx(0.0, abs=1e-9)


def test_that_the_same_aim_changes_no_digit_of_a_feature(scene: Scene) -> None:
    for orientation in scene.orientations:
        same = re_aimed(scene, place_scene(scene), orientation, {})
        assert same == orientation
        for other in other_solutions(scene.machine, orientation):
            there = re_aimed(scene, place_scene(scene), orientation, dict(other.angles_deg))
            assert [c.feature for c in there.cuts] == [c.feature for c in orientation.cuts]


def test_that_the_other_solution_leans_the_other_way(scene: Scene) -> None:
    """By hand: (tilt, rotary) and (-tilt, rotary + 180) aim alike. The demo's tilt goes from -15 to 115 only."""
    assert other_solutions(scene.machine, called(scene, "V6")) == ()
    v1 = called(scene, "V1")
    leaning = replace(v1, angles_deg=(("tilt", 10.0), ("rotary", 30.0)))
    (other,) = other_solutions(scene.machine, leaning)
    assert other.angle("tilt") == pytest.approx(-10.0)
    assert other.angle("rotary") % 360.0 == pytest.approx(210.0)
    assert other_solutions(scene.machine, v1) == ()  # upright: the rotary is free


def test_that_an_unknown_axis_is_refused(scene: Scene) -> None:
    with pytest.raises(KeyError, match="swivel"):
        re_aimed(scene, place_scene(scene), called(scene, "V6"), {"swivel": 3.0})
