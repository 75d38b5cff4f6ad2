"""Ranges joined, rounded and combined, against the verdict at every length by itself."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from kinematics.answers.ranges import Range, least_at, merged, worst_of
from kinematics.verdict import Verdict

HITS, CAN_HIT, TIGHT, CLEAR = Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR


def pieces(*rows):
    return [Range(*row) for row in rows]


def test_that_neighbours_of_one_verdict_are_one_range_and_the_better_gives_way():
    found = merged(pieces((4.0, 5.001, HITS), (5.001, 6.0, TIGHT), (6.0, 7.5049, TIGHT), (7.5049, 9.0, HITS)))
    assert found == (Range(4.0, 5.01, HITS), Range(5.01, 7.5, TIGHT), Range(7.5, 9.0, HITS))


def test_that_a_better_sliver_vanishes_and_a_worse_one_does_not():
    better = merged(pieces((0.0, 3.001, TIGHT), (3.001, 3.004, CLEAR), (3.004, 5.0, TIGHT)))
    assert better == (Range(0.0, 5.0, TIGHT),)
    worse = merged(pieces((0.0, 3.001, CLEAR), (3.001, 3.004, HITS), (3.004, 5.0, CLEAR)))
    assert worse == (Range(0.0, 3.0, CLEAR), Range(3.0, 3.01, HITS), Range(3.01, 5.0, CLEAR))


def test_that_a_single_length_is_a_range():
    assert merged(pieces((6.0, 6.0, CLEAR))) == (Range(6.0, 6.0, CLEAR),)
    assert worst_of([(Range(6.0, 6.0, CLEAR),), (Range(6.0, 6.0, TIGHT),)]) == (Range(6.0, 6.0, TIGHT),)


def test_that_the_ends_of_all_stay_as_they_are():
    found = merged(pieces((4.1234, 5.0, HITS), (5.0, 9.8765, CLEAR)))
    assert (found[0].start, found[-1].end) == (4.1234, 9.8765)


@pytest.mark.parametrize("seed", range(30))
def test_that_rounded_and_combined_ranges_are_nowhere_better_than_what_they_come_from(seed):
    rng = np.random.default_rng(seed)

    def random_pieces():
        ends = np.sort(np.concatenate([[0.0, 10.0], rng.uniform(0.0, 10.0, 6), rng.uniform(4.0, 4.05, 4)]))
        return [Range(float(a), float(b), list(Verdict)[int(rng.integers(5))]) for a, b in pairwise(ends)]

    several = [random_pieces() for _ in range(3)]
    rounded = [merged(row) for row in several]
    combined = worst_of(rounded)

    def severity(ranges, x):
        return max(r.verdict.severity for r in ranges if r.start <= x <= r.end)

    for x in [*rng.uniform(0.0, 10.0, 60), *rng.uniform(3.98, 4.07, 60)]:
        for before, after in zip(several, rounded, strict=True):
            assert severity(after, x) >= min(r.verdict.severity for r in before if r.start <= x <= r.end)
        assert severity(combined, x) == max(severity(row, x) for row in rounded)
    for k, row in enumerate(rounded):
        assert all(a.end == b.start for a, b in pairwise(row)), k
        inner = [end for r in row for end in (r.start, r.end) if 0.0 < end < 10.0]
        assert inner == pytest.approx([round(end, 2) for end in inner], abs=1e-9)


def test_that_the_least_length_is_the_first_that_is_good_enough():
    row = pieces((1.0, 2.0, HITS), (2.0, 3.0, TIGHT), (3.0, 4.0, CAN_HIT), (4.0, 5.0, CLEAR))
    assert [least_at(row, v) for v in (HITS, CAN_HIT, TIGHT, CLEAR)] == [1.0, 2.0, 2.0, 4.0]
    assert least_at(row[:1], CLEAR) is None
