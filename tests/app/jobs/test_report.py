"""The JSON of a report: no bound is flattered by rounding, and what does not exist is null."""

from __future__ import annotations

import json
import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.jobs.report import cut_json, nearest
from app.jobs.results import UncheckedCut
from kinematics.report import DepthReport, ErrorTerms, Interval
from kinematics.verdict import Verdict
from tests.app.jobs.hand_made import DEEP_ENOUGH, TERMS, a_cut, a_pair

lengths = st.floats(-1e4, 1e4)


@given(lengths, st.floats(0.0, 0.1))
def test_that_a_proven_bound_is_rounded_down_and_an_attained_value_up(at_least: float, width: float) -> None:
    value = at_least + width
    pair = a_pair(clearance=Interval(at_least, value), spare=at_least)
    said = cut_json(a_cut(pair))
    shown = {key: Fraction(json.dumps(number)) for key, number in said["clearance"].items()}
    assert shown["at_least"] <= Fraction(at_least) < shown["at_least"] + Fraction(1, 10_000)
    assert shown["value"] - Fraction(1, 10_000) < Fraction(value) <= shown["value"]
    assert Fraction(json.dumps(said["spare"])) <= Fraction(at_least)


@given(lengths)
def test_that_other_numbers_are_within_half_a_step_and_zero_has_no_sign(value: float) -> None:
    shown = nearest(value)
    assert shown is not None
    assert abs(Fraction(json.dumps(shown)) - Fraction(value)) <= Fraction(1, 20_000)
    assert shown != 0.0 or math.copysign(1.0, shown) == 1.0


def test_that_a_flute_is_not_made_longer_nor_a_depth_shallower() -> None:
    said = cut_json(a_cut(a_pair(), depth=DepthReport(Verdict.CAN_HIT, 4.000001, 4.00009)))
    assert said["depth"] == {"verdict": "can hit", "needs": 4.0001, "has": 4.0}


def test_that_an_overlap_without_a_depth_has_a_contact_and_no_number() -> None:
    pair = a_pair(verdict=Verdict.HITS, clearance=None, spare=None, contact="inside", normal_W=None)
    said = cut_json(a_cut(pair, side=None, clock=None, part_side=None))
    assert said["verdict"] == "hits"
    assert said["contact"] == "inside"
    assert [said[key] for key in ("clearance", "spare", "normal_w", "side", "clock", "part_side")] == [None] * 6


def test_that_a_cut_without_any_pair_keeps_depth_and_travel() -> None:
    said = cut_json(a_cut(None))
    assert said["clearance"] is said["between"] is said["setup_error"] is None
    assert said["depth"] == {"verdict": "clear", "needs": DEEP_ENOUGH.needs, "has": DEEP_ENOUGH.has}
    assert said["travel"]["least_left"] == 90.0


def test_that_the_set_up_error_is_its_terms_their_sum_and_their_root_sum_of_squares() -> None:
    # by hand: 3 + 4 + 12 is 19, and 9 + 16 + 144 is 13 squared
    terms = ErrorTerms(3.0, 4.0, 0.0, 12.0, 0.0)
    said = cut_json(a_cut(a_pair(setup_error=terms)))["setup_error"]
    assert said["total"] == 19.0
    assert said["rss"] == 13.0
    assert said["terms"] == {"location": 3.0, "body_model": 4.0, "diameters": 0.0, "stick_out": 12.0, "tilt": 0.0}


def test_that_a_cut_that_was_not_checked_has_no_number() -> None:
    said = cut_json(UncheckedCut("V1", "pilot", None, "T5", "H16", (("tilt", 0.0),), "the engine failed"))
    assert said["verdict"] == "not checked"
    assert [key for key, value in said.items() if isinstance(value, float | int)] == []
    assert said["ties"] == said["next"] == []


def test_that_the_next_pairs_say_their_own_numbers() -> None:
    other = a_pair(5.41, between=("nut", "dovetail body"), verdict=Verdict.CLEAR)
    overlap = a_pair(between=("holder", "part"), clearance=None, spare=None, contact="overlap")
    said = cut_json(a_cut(a_pair(), next=(other, overlap)))["next"]
    assert said[0]["between"] == ["nut", "dovetail body"]
    assert said[0]["spare"] == pytest.approx(5.41 - TERMS.total, abs=1.1e-4)
    assert said[1] == {"between": ["holder", "part"], "at_least": None, "value": None, "spare": None}
