"""Searches of one length against closed forms: functions whose roots and signs are known by construction."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.answers.roots import RESOLUTION, certain_pieces, least_met, rounded_down, rounded_up

lengths = st.floats(-50.0, 50.0)


class Counted:
    """A function that counts how often it is asked."""

    def __init__(self, function):
        self.function, self.n = function, 0

    def __call__(self, *arguments):
        self.n += 1
        return self.function(*arguments)


@given(lengths, st.floats(0.5, 60.0), st.floats(0.0, 1.0), st.floats(1e-3, 1.0))
def test_that_the_root_of_a_line_is_never_undershot_nor_overshot_by_more_than_the_resolution(low, run, share, slope):
    root = low + share * run
    margin = Counted(lambda x: slope * (x - root))
    found = least_met(margin, low, low + run)
    assert found is not None
    assert root - 1e-9 <= found <= max(root, low) + RESOLUTION + 1e-9
    assert margin.function(found) >= 0.0
    assert margin.n < 40


@given(st.lists(st.tuples(st.floats(0.0, 8.0), st.floats(0.0, 1.0)), min_size=1, max_size=8), st.floats(-6.0, 6.0))
def test_that_the_root_of_a_bent_line_that_never_falls_is_where_its_pieces_say(pieces, start):
    """Slopes of 0 to 1 piece by piece; the root is worked out on its piece. A level stretch at 0 counts as met."""
    xs = np.concatenate([[0.0], np.cumsum([run for run, _ in pieces])])
    ys = np.concatenate([[start], start + np.cumsum([run * slope for run, slope in pieces])])
    found = least_met(lambda x: float(np.interp(x, xs, ys)), 0.0, float(xs[-1]))
    if ys[-1] < 0.0:
        assert found is None
        return
    k = int(np.argmax(ys >= 0.0))
    root = xs[0] if k == 0 else xs[k - 1] + (0.0 - ys[k - 1]) * (xs[k] - xs[k - 1]) / (ys[k] - ys[k - 1])
    assert found is not None
    assert root - 1e-6 <= found <= root + RESOLUTION + 1e-6


@given(st.floats(0.0, 40.0), st.floats(0.0, 5.0))
def test_that_contact_which_gives_no_number_is_passed_by_halving(touches_up_to, run):
    """Minus infinity up to a length, then a line from 0: what a margin is where solids touch."""
    margin = Counted(lambda x: -math.inf if x < touches_up_to else x - touches_up_to)
    found = least_met(margin, 0.0, touches_up_to + run)
    assert found is not None
    assert touches_up_to <= found <= touches_up_to + RESOLUTION + 1e-9
    assert margin.n <= 2 + math.ceil(math.log2(max(touches_up_to + run, 1.0) / RESOLUTION)) * 3


def test_that_a_range_that_begins_met_is_asked_once():
    margin = Counted(lambda _: 1.0)
    assert least_met(margin, 3.0, 9.0) == 3.0
    assert margin.n == 1


def zigzag(rng):
    """Corners of a random function that changes by no more than its argument, over [0, 40]."""
    xs = np.sort(np.concatenate([[0.0, 40.0], rng.uniform(0.0, 40.0, 12)]))
    slopes = rng.choice([-1.0, -0.4, 0.0, 0.3, 1.0], 13)
    return xs, np.concatenate([[0.0], np.cumsum(slopes * np.diff(xs))]) + rng.uniform(-6.0, 6.0)


@pytest.mark.parametrize("seed", range(40))
def test_that_pieces_of_a_wandering_margin_claim_all_that_is_true_and_no_more(seed):
    """Level 0 where the function is at least 2, 1 where at least 0, else 2; bounds from the middle of a piece."""
    xs, ys = zigzag(np.random.default_rng(seed))

    def level(value):
        return 0 if value >= 2.0 else 1 if value >= 0.0 else 2

    def levels(a, b, state):
        middle, half = float(np.interp(0.5 * (a + b), xs, ys)), 0.5 * (b - a)
        return level(middle + half), level(middle - half), state

    pieces = list(certain_pieces(levels, 0.0, 40.0, None))
    assert pieces[0][0] == 0.0
    assert pieces[-1][1] == 40.0
    assert all(p[1] == q[0] for p, q in pairwise(pieces))
    fine = np.linspace(0.0, 40.0, 20001)
    values = np.interp(fine, xs, ys)
    claimed = np.array([p[2] for p in pieces])[np.searchsorted([p[1] for p in pieces], fine, side="left")]
    true = np.array([level(v) for v in values])
    assert (claimed >= true).all()
    far = np.minimum(np.abs(values), np.abs(values - 2.0)) > RESOLUTION
    np.testing.assert_array_equal(claimed[far], true[far])


def test_that_what_is_known_of_a_piece_is_handed_to_its_halves():
    seen = []

    def levels(a, b, state):
        seen.append((a, b, state))
        return 0, (0 if b <= 0.5 else 1), (a, b)

    list(certain_pieces(levels, 0.0, 1.0, "all"))
    assert seen[0] == (0.0, 1.0, "all")
    assert all(state == "all" or (state[0] <= a and b <= state[1]) for a, b, state in seen)
    assert (0.0, 0.5, (0.0, 1.0)) in seen


@given(st.floats(-100.0, 100.0))
def test_that_rounding_goes_its_way_and_leaves_hundredths_alone(length):
    up, down = rounded_up(length), rounded_down(length)
    assert length - 1.1e-8 <= up < length + 0.01
    assert length - 0.01 < down <= length + 1.1e-8
    hundredth = round(length, 2)
    assert rounded_up(hundredth) == rounded_down(hundredth) == pytest.approx(hundredth, abs=1e-12)
