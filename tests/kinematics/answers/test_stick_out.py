"""Least stick-outs and their ranges: against drawings, and against checks of set-ups with just that stick-out."""

from __future__ import annotations

import numpy as np
import pytest

from kinematics.verdict import Verdict
from tests.kinematics.answers.generated import LIFTS, a_scene, answered, checked_at

HITS, CAN_HIT, TIGHT, CLEAR = Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR
SLOP = 0.03  # mm; nearer to the end of a range than this, rounding and the width of a clearance may decide
N_INSIDE = 20


def same(said: Verdict, claimed: Verdict, report) -> bool:
    """Whether a check says what a range claims; contact that the check can't prove counts as hitting in a range."""
    if said is claimed:
        return True
    touches = report.worst is not None and (report.worst.contact or report.worst.clearance.at_least <= 0.01)
    return bool(claimed is HITS and said is CAN_HIT and touches)


def check_ranges(scene, rng, n_inside=N_INSIDE):
    """Every range holds at random lengths inside it; the least clear length is clear, and what is less is not."""
    answer = answered(scene)
    if not answer.ranges:
        assert answer.why
        return answer
    for r in answer.ranges:
        for length in rng.uniform(r.start, r.end, n_inside):
            report = checked_at(scene, float(length))
            assert report.verdict.severity <= r.verdict.severity, (r, length, report.verdict)
            if r.start + SLOP < length < r.end - SLOP:
                assert same(report.verdict, r.verdict, report), (r, length, report.verdict)
    least = answer.least_clear
    if least is not None:
        assert checked_at(scene, least).verdict is CLEAR
        if answer.limit == "tool":
            assert least <= answer.ranges[0].start + 0.013
        else:
            report = checked_at(scene, least - 0.02)
            assert report.verdict is not CLEAR
            if answer.limit == "travel":
                assert report.travel.verdict is HITS
            elif answer.limit == "depth":
                assert report.depth.verdict is CAN_HIT
            else:
                named = {report.worst.between, *report.ties, *(p.between for p in report.next)}
                assert answer.limited_by in named
    return answer


@pytest.mark.parametrize("seed", range(24))
def test_that_ranges_hold_in_random_set_ups(seed):
    rng = np.random.default_rng([seed, 5])
    check_ranges(a_scene(rng), rng, n_inside=8)


@pytest.mark.slow
@pytest.mark.parametrize("block", range(10))
def test_that_ranges_hold_in_many_random_set_ups(block):
    for seed in range(12):
        rng = np.random.default_rng([block, seed, 6])
        check_ranges(a_scene(rng), rng, n_inside=N_INSIDE)


@pytest.mark.parametrize("lift", LIFTS)
@pytest.mark.parametrize("leave", [False, True])
@pytest.mark.parametrize("moves_table", ["", "z"])
def test_that_ranges_hold_however_the_tool_lifts_and_leaves(lift, leave, moves_table):
    for seed in range(2):
        rng = np.random.default_rng([seed, len(lift), leave, len(moves_table)])
        check_ranges(a_scene(rng, lift=lift, leave=leave, moves_table=moves_table), rng, n_inside=6)
