"""The worst pair where several touch: one that hits comes before one that only can hit, however deep that one is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.scenes.reader import read_scene
from kinematics.answers.re_aimed import re_aimed
from kinematics.answers.worst_room import cut_room
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import sample_file


@pytest.mark.parametrize(
    ("cut", "angles", "between"),
    [
        (("V1", "profile"), {"tilt": 15.0, "rotary": 115.0}, ("nut", "stock")),
        (("V3", "+X pocket"), {"tilt": 100.0, "rotary": 5.0}, ("nut", "clamp screw R")),
    ],
)
def test_that_a_pair_that_hits_is_not_passed_over(
    cut: tuple[str, str], angles: dict[str, float], between: tuple[str, str]
) -> None:
    """Two positions of the demo at which solids overlap (depth 1.57 and 0.85 by support functions)."""
    prepared = Prepared(read_scene(sample_file("sampler_block_b")).scene)
    placed = next(p for p in placed_cuts(prepared) if (p.orientation.name, p.cut.name) == cut)
    aimed = re_aimed(prepared.scene, prepared.placed, replace(placed.orientation, cuts=(placed.cut,)), angles)
    room = cut_room(replace(placed, orientation=aimed, cut=aimed.cuts[0]))
    assert room.verdict is Verdict.HITS
    assert room.pair is not None and room.pair.between == between
