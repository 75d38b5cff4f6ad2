"""The margin of a cut to a limit against all its pairs worked out to the end; it moves no more than the tool does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kinematics.answers.margins import Limit, margin, trial, with_stick_out
from kinematics.engine.pair import Contact
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from tests.kinematics.answers.generated import a_scene


def placed_at(seed):
    rng = np.random.default_rng([seed, 9])
    scene = a_scene(rng, moves_table="")
    (placed,) = placed_cuts(Prepared(scene))
    return placed, float(rng.uniform(40.0, 60.0))


def left_over(pairs, limit):
    """The least of what is left over a limit, pair by pair."""
    found = math.inf
    for pair in pairs.worst_first():
        measured = pairs.measure(pair, math.inf)
        answer = measured.exact if limit is Limit.HITS else measured.swept
        if isinstance(answer, Contact):
            return -math.inf
        taken = 0.0 if limit is Limit.HITS else pair.target.errors.total
        taken += pair.keep_off if limit is Limit.CLEAR else 0.0
        found = min(found, answer.at_least - taken)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_that_the_margin_is_the_least_of_all_pairs(seed):
    placed, length = placed_at(seed)
    pairs = trial(placed, with_stick_out(placed.tool, length))
    for limit in Limit:
        found, expected = margin(pairs, limit), left_over(pairs, limit)
        assert found.value == pytest.approx(expected, abs=1e-9)
        assert found.is_met == (expected >= 0.0)
        for enough in (expected - 1.0, expected + 1.0):
            if math.isfinite(enough):
                assert margin(pairs, limit, enough).value == pytest.approx(min(enough, expected), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_that_a_margin_changes_by_no_more_than_the_length(seed):
    placed, length = placed_at(seed)
    for run in (0.5, 4.0):
        there, here = (
            margin(trial(placed, with_stick_out(placed.tool, x)), Limit.CLEAR).value for x in (length + run, length)
        )
        if math.isfinite(there) and math.isfinite(here):
            assert abs(there - here) <= run + 1e-6
