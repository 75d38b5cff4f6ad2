"""One stick-out for all cuts of a tool, and heights of approach that depend on the other cuts: the demo set-up."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers.ranges import Range
from kinematics.answers.stick_out import CutStickOuts, Lifts, StickOutAnswer
from kinematics.answers.tool_stick_out import over_all_cuts
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Lift, Scene
from kinematics.verdict import Verdict
from tests.kinematics.answers.generated import answered, checked_at, with_tool

ROOT = Path(__file__).resolve().parents[3]
HITS, CAN_HIT, TIGHT, CLEAR = Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR


@cache
def demo(lift: str = "top") -> Scene:
    scene = read_scene(ROOT / "sample_scenes/sampler_block_b/sampler_block_b.scene.yaml").scene
    return replace(scene, lift=Lift(lift))


# ---- lifts of the other cuts ------------------------------------------------------------------------------


@pytest.mark.parametrize(("tool", "cut"), [("T6", 5), ("T6", 7), ("T2", 3), ("T1", 1), ("T4", 6)])
def test_that_the_height_of_approach_is_that_of_the_scene_with_the_tool_changed(tool, cut):
    scene = demo("retract")
    prepared = Prepared(scene)
    placed = placed_cuts(prepared)[cut]
    assert placed.tool.id == tool
    holder = scene.holders[0]
    changed = replace(placed.tool, holder=holder)
    low, high = 30.0, 45.0
    height = Lifts(prepared).of(placed, changed, low, high)
    for length in np.random.default_rng(cut).uniform(low, high, 6):
        other = with_tool(scene, replace(changed, stick_out=float(length)))
        orientation, wanted = other.cuts()[cut]
        assert height.at(float(length)) == pytest.approx(Prepared(other).lift_to(orientation, wanted), abs=1e-9)


@pytest.mark.parametrize("cut", range(9))
def test_that_ranges_hold_where_the_lift_is_the_retract(cut):
    scene = demo("retract")
    rng = np.random.default_rng(cut)
    for holder in (scene.holders[0], scene.holders[2]):
        answer = answered(scene, cut, holder)
        for r in answer.ranges:
            for length in rng.uniform(r.start, r.end, 3):
                report = checked_at(scene, float(length), cut, holder)
                assert report.verdict.severity <= r.verdict.severity, (r, length, report.verdict)
                if r.start + 0.03 < length < r.end - 0.03:
                    assert report.verdict is r.verdict, (r, length)


# ---- one for all ------------------------------------------------------------------------------------------


def answers_of(tool: str, holder_name: str):
    scene = demo()
    prepared = Prepared(scene)
    holder = next(h for h in scene.holders if h.name == holder_name)
    made = [
        ((p.orientation.name, p.cut.name), CutStickOuts(p).answer(holder))
        for p in placed_cuts(prepared)
        if p.tool.id == tool
    ]
    return scene, scene.tool(tool), holder, made


@pytest.mark.parametrize(("tool", "holder"), [("T6", "H16"), ("T6", "H11"), ("T2", "H16"), ("T2", "H11m")])
def test_that_one_stick_out_is_what_the_hardest_cut_needs(tool, holder):
    """All these cuts are clear from some length on, so that the largest of those lengths serves all."""
    scene, it, there, made = answers_of(tool, holder)
    found = over_all_cuts(scene, it, there, made)
    each = {name: answer.least_clear for name, answer in made}
    assert found.answer.least_clear == max(each.values())
    hardest = max(each, key=lambda name: each[name])
    lowest = made[0][1].ranges[0].start
    assert found.dictated_by == (None if max(each.values()) == lowest else hardest)
    if found.dictated_by is not None:
        assert found.answer.limited_by == dict(made)[hardest].limited_by
    for length in (found.answer.least_clear, 0.5 * (found.answer.least_clear + found.answer.ranges[-1].end)):
        for k, (_, cut) in enumerate(scene.cuts()):
            if cut.tool == tool:
                assert checked_at(scene, length, k, there).verdict is CLEAR


def made_up(*rows, **more):
    ranges = tuple(Range(*row) for row in rows)
    best = min((r.verdict for r in ranges), key=lambda v: v.severity)
    clear = next((r.start for r in ranges if r.verdict is CLEAR), None)
    return StickOutAnswer("H11", 20.0, ranges=ranges, least_clear=clear, best=best, **more)


def over(**by_cut):
    scene = demo()
    holder = next(h for h in scene.holders if h.name == "H11")
    return over_all_cuts(scene, scene.tool("T6"), holder, [(("V1", name), a) for name, a in by_cut.items()])


def test_that_cuts_which_are_clear_at_lengths_apart_have_none_in_common():
    found = over(
        a=made_up((20.0, 30.0, CLEAR), (30.0, 60.0, TIGHT)),
        b=made_up((20.0, 35.0, CAN_HIT), (35.0, 60.0, CLEAR), limit="pair", limited_by=("nut", "post")),
    )
    assert found.answer.least_clear is None
    assert found.answer.ranges == (Range(20.0, 35.0, CAN_HIT), Range(35.0, 60.0, TIGHT))
    assert (found.answer.best, found.dictated_by) == (TIGHT, ("V1", "a"))
    assert found.answer.why
    assert found.answer.bending is None


def test_that_what_all_have_in_common_may_begin_in_the_middle():
    found = over(
        a=made_up((20.0, 30.0, HITS), (30.0, 50.0, CLEAR), (50.0, 60.0, HITS), limit="pair", limited_by=("nut", "a")),
        b=made_up((20.0, 40.0, TIGHT), (40.0, 60.0, CLEAR), limit="pair", limited_by=("nut", "b")),
    )
    assert (found.answer.least_not_hits, found.answer.least_cannot_hit, found.answer.least_clear) == (30.0, 30.0, 40.0)
    assert found.dictated_by == ("V1", "b")
    assert found.answer.limited_by == ("nut", "b")


def test_that_a_cut_that_was_not_checked_or_a_holder_that_does_not_grip_is_not_passed_over():
    good = made_up((20.0, 60.0, CLEAR))
    unknown = over(a=good, b=StickOutAnswer("H11", 20.0, best=Verdict.NOT_CHECKED, why="an open mesh"))
    assert (unknown.answer.best, unknown.answer.ranges) == (Verdict.NOT_CHECKED, ())
    assert unknown.answer.why == "V1/b: an open mesh"
    assert unknown.dictated_by == ("V1", "b")
    none = over(a=StickOutAnswer("H11", 20.0, why="does not grip"), b=StickOutAnswer("H11", 20.0, why="does not grip"))
    assert (none.answer.best, none.answer.why, none.dictated_by) == (None, "does not grip", None)
