"""A stretch of a dial over which the tool leans by more than the cutter is wide: depth alone makes nothing worse."""

from __future__ import annotations

from app.scenes.reader import read_scene
from kinematics.answers.dial_ranges import dial_pieces
from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.answers.worst_room import cut_room
from kinematics.placed_cut import placed_cuts
from kinematics.placement import place_scene
from kinematics.prepared import Prepared
from kinematics.scene import Scene
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import sample_file


def test_that_a_long_stretch_is_not_called_too_deep_for_want_of_knowing() -> None:
    """By hand: the spot's tip is 2.51 under the face; leaning by t it needs 2.51 / cos t + 3 tan t of the flute of 4.

    That is 3.08 at tilt 80 and 4.00 at 67.
    """
    scene = read_scene(sample_file("sampler_block_b")).scene
    placed = place_scene(scene)
    orientation = next(o for o in scene.orientations if o.name == "V6")

    def at(tilt: float) -> Scene:
        return with_orientation(scene, re_aimed(scene, placed, orientation, {"tilt": tilt}))

    spot = ("V6", "drain spot")
    (there,) = (p for p in placed_cuts(Prepared(at(80.0))) if (p.orientation.name, p.cut.name) == spot)
    assert cut_room(there).verdict is Verdict.CLEAR
    pieces = list(dial_pieces(at, 66.25, 98.75, {spot}, finest=0.05))
    assert {p.verdict for p in pieces if p.start <= 80.0 <= p.end} == {Verdict.CLEAR}
    too_deep = [p for p in pieces if p.verdict is Verdict.CAN_HIT]
    assert max(p.end for p in too_deep) < 67.3
