"""What is said to people: numbers that do not blur a verdict, names, sides, the one sentence that matters."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.jobs.results import UncheckedCut
from app.jobs.words import MINUS, number, sentence, side_phrase, spare_text, tightest_first, together, verdict_word
from kinematics.report import Interval
from kinematics.verdict import Verdict
from tests.app.jobs.hand_made import OUT_OF_TRAVEL, TOO_SHORT, a_cut, a_pair


@pytest.mark.parametrize(
    ("spare", "text"),
    [
        (1.314, "1.31"),
        (1.9996, "1.99"),
        (1.997, "1.99"),
        (0.895, "0.89"),  # a bound is never told larger than it is
        (2.0, "2.00"),
        (0.004, "0.004"),
        (-0.004, f"{MINUS}0.01"),
        (-0.006, f"{MINUS}0.01"),
        (0.0, "0.00"),
        (-1.63, f"{MINUS}1.63"),
    ],
)
def test_that_a_spare_is_shown_on_its_own_side_of_nothing_and_of_the_keep_off(spare: float, text: str) -> None:
    assert spare_text(spare, 2.0) == text


@given(st.floats(-50, 50), st.floats(0.1, 10))
def test_that_the_shown_spare_never_contradicts_the_verdict(spare: float, keep_off: float) -> None:
    shown = float(spare_text(spare, keep_off).replace(MINUS, "-"))
    assert -0.01 - 1e-9 <= shown - spare <= 2e-6 + 1e-9
    if min(abs(spare), abs(spare - keep_off)) > 1e-4:
        assert (shown > 0.0) == (spare > 0.0)
        assert (shown < keep_off) == (spare < keep_off)


def test_that_nothing_is_never_minus_nothing() -> None:
    assert number(-0.0004) == "0.00"


@pytest.mark.parametrize(
    ("names", "phrase"),
    [
        (["stock"], "stock"),
        (["clamp screw L", "clamp screw R"], "clamp screws L and R"),
        (["screw 1", "screw 2", "screw 3"], "screws 1, 2 and 3"),
        (["rear jaw", "front jaw"], "rear jaw and front jaw"),
        (["plate", "stop pin"], "plate and stop pin"),
    ],
)
def test_that_bodies_that_differ_in_a_letter_are_named_together(names: list[str], phrase: str) -> None:
    assert together(names) == phrase


@pytest.mark.parametrize(
    ("side", "clock", "phrase"),
    [
        ("away, left", 11, "behind the tool, 11 o'clock"),
        ("to you", 6, "on your side of the tool, 6 o'clock"),
        ("left", 9, "left of the tool, 9 o'clock"),
        ("right, away", 2, "right of the tool, 2 o'clock"),
        ("below", None, "below the tool"),
        (None, None, None),
    ],
)
def test_that_a_side_is_said_as_the_operator_stands(side: str | None, clock: int | None, phrase: str | None) -> None:
    assert side_phrase(a_cut(a_pair(), side=side, clock=clock)) == phrase


HITS = a_pair(
    verdict=Verdict.HITS, clearance=Interval(-2.2627, -2.2589), spare=-2.95, contact="overlap"
)  # as deep as in set-up A of the demo: 2.26


@pytest.mark.parametrize(
    ("cut", "word", "said"),
    [
        (
            a_cut(HITS, ties=(("nut", "clamp screw R"),), side="away, left", clock=11),
            "hits",
            "nut of T4 and clamp screws L and R overlap by 2.26, behind the tool, 11 o'clock.",
        ),
        (
            a_cut(a_pair(verdict=Verdict.HITS, clearance=None, spare=None, contact="overlap"), side=None, clock=None),
            "hits",
            "nut of T4 and clamp screw L overlap.",
        ),
        (
            a_cut(a_pair(verdict=Verdict.HITS, clearance=None, spare=None, contact="inside"), side=None, clock=None),
            "hits",
            "nut of T4 and clamp screw L: one stands inside the other.",
        ),
        (
            a_cut(a_pair(0.92, verdict=Verdict.CAN_HIT, spare=-0.23)),
            "can hit",
            (
                "clearance 0.92 (nut, clamp screw L), but set-up errors can use up 1.15. "
                "Measure what is assumed, or make room."
            ),
        ),
        (
            a_cut(a_pair(verdict=Verdict.CAN_HIT, clearance=None, spare=None)),
            "can hit",
            "nut of T4 and clamp screw L touch, or as good as, behind the tool, 12 o'clock.",
        ),
        (
            a_cut(a_pair(verdict=Verdict.CLEAR, spare=3.0), depth=TOO_SHORT, verdict=Verdict.CAN_HIT),
            "can hit",
            "flute too short, 8.00 needed, 6.50 there.",
        ),
        (
            a_cut(a_pair(verdict=Verdict.CLEAR, spare=3.0), travel=OUT_OF_TRAVEL, verdict=Verdict.HITS),
            "cannot reach",
            "Y -129.00 is outside -125..125 by 4.00 mm.",
        ),
        (
            a_cut(a_pair(spare=1.314), ties=(("nut", "clamp screw R"),), side="below", clock=None),
            "tight",
            "1.31 spare, 2.00 wanted. Nut of T4 over clamp screws L and R, below the tool.",
        ),
        (
            UncheckedCut("V4", "pocket", None, "T2", "H11", (), "bracket.stl is open at 14 edges"),
            "not checked",
            "bracket.stl is open at 14 edges.",
        ),
        (
            a_cut(
                a_pair(verdict=Verdict.CLEAR, spare=3.0),
                verdict=Verdict.NOT_CHECKED,
                not_checked=(a_pair(verdict=Verdict.NOT_CHECKED, why="it is open at 14 edges"), a_pair()),
            ),
            "not checked",
            "nut to clamp screw L: it is open at 14 edges (and 1 more).",
        ),
    ],
)
def test_that_one_sentence_says_what_is_the_matter(cut: object, word: str, said: str) -> None:
    assert verdict_word(cut) == word  # type: ignore[arg-type]
    assert sentence(cut) == said  # type: ignore[arg-type]


def test_that_the_tightest_comes_first_and_an_overlap_without_a_depth_before_every_number() -> None:
    clear, tight = a_cut(a_pair(9.0, verdict=Verdict.CLEAR)), a_cut(a_pair())
    tighter = a_cut(a_pair(1.0), cut="tighter")
    unknown = UncheckedCut("V4", "pocket", None, "T2", "H11", (), "why")
    deep = a_cut(HITS)
    overlap = a_cut(a_pair(verdict=Verdict.HITS, clearance=None, spare=None, contact="overlap"), cut="overlap")
    ordered = tightest_first([clear, tight, unknown, tighter, deep, overlap])
    assert ordered == (overlap, deep, unknown, tighter, tight, clear)


def test_that_a_wider_keep_off_makes_the_same_spare_tighter() -> None:
    narrow = a_cut(a_pair(spare=1.0, keep_off=1.5), cut="narrow")
    wide = a_cut(a_pair(spare=1.0, keep_off=3.0), cut="wide")
    assert tightest_first([narrow, wide]) == (wide, narrow)
