"""The room of one body over a cut: closed forms, and the same as the report where the report tells it."""

from __future__ import annotations

import pytest

from kinematics.clearance import check_body
from kinematics.prepared import Prepared
from kinematics.scene import Hole
from kinematics.shapes import Box
from tests.app.view3d.sample_places import tightest_place
from tests.one_cut import body, end_mill, one_cut, report_of

HOLE = Hole((0.0, 0.0, 0.0), 5.0)
WIDEST = 20.0  # radius of the upper step of the holder; it is lower than the walls are high


@pytest.mark.parametrize("aside", [30.0, 80.0, 300.0])
def test_that_the_room_of_a_body_however_far_is_told(aside: float) -> None:
    """A wall from x = aside on: the widest part of the holder decides, by its radius. Eight posts are nearer."""
    wall = body("wall", Box(10.0, 400.0, 400.0), (aside + 5.0, 0.0, -200.0))
    posts = [body(f"post {i}", Box(2.0, 2.0, 400.0), (-24.0 - 0.1 * i, 30.0 * (i - 4), -200.0)) for i in range(8)]
    scene = one_cut(HOLE, end_mill(), *posts, wall)
    told = check_body(Prepared(scene), *scene.cuts()[0], frozenset(), "wall")
    assert told is not None
    assert told.clearance is not None
    assert told.between == ("holder", "wall")
    assert told.clearance.value == pytest.approx(aside - WIDEST, abs=1e-4)
    assert told.clearance.at_least <= told.clearance.value
    assert told.spare == told.clearance.at_least  # without set-up errors
    if aside > 50.0:  # the report has other things to tell
        assert "wall" not in [pair.between[1] for pair in (report_of(scene).next[:3])]


def test_that_a_body_of_the_report_has_the_room_that_the_report_tells() -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    cuts = prepared.scene.cuts()
    done = frozenset((o.name, c.name) for o, c in cuts[: cuts.index((orientation, cut))])
    assert report.worst is not None
    for name in report.worst.between:
        told = check_body(prepared, orientation, cut, done, name)
        assert told is not None
        assert (told.between, told.clearance, told.spare) == (
            report.worst.between,
            report.worst.clearance,
            report.worst.spare,
        )


def test_that_a_name_that_nothing_has_is_compared_with_nothing() -> None:
    scene = one_cut(HOLE, end_mill())
    assert check_body(Prepared(scene), *scene.cuts()[0], frozenset(), "nobody") is None
