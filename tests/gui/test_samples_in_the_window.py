"""Every sample set-up in a real window: board, view, headline and the command line's JSON tell the same digits."""

from __future__ import annotations

import json

import pytest

from app.jobs.words import MINUS, proven, spare_text
from app.window.results import Order
from app.window.telling_gap import clearance_text
from app.window.units import Unit
from kinematics.report import CutReport
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import SAMPLES, checked, json_of
from tests.gui.conftest import sample


def of_cut(told: dict, key: tuple[str, str]) -> dict:
    return next(cut for cut in told["cuts"] if (cut["orientation"], cut["cut"]) == key)


def report_of(name: str, key: tuple[str, str]) -> CutReport:
    """What the command line prints from: the JSON has four decimals, which may hide on which side of a digit it is."""
    return next(cut for cut in checked(name).cuts if (cut.orientation, cut.cut) == key)


def printed_spare(report: CutReport) -> str:
    return spare_text(report.worst.spare, report.worst.keep_off)


def printed_clearance(report: CutReport) -> str:
    clearance = report.worst.clearance
    return proven(clearance.at_least) if clearance.value >= 0 else f"overlap {-clearance.value:.2f}"


@pytest.mark.slow
@pytest.mark.parametrize("name", SAMPLES)
def test_that_window_and_command_line_agree_to_the_shown_digits(name, opener, wait) -> None:
    told = json.loads(json_of(name))
    window = opener.checked(sample(name), (1920, 1080))
    snapshot = window.session.snapshot
    assert str(snapshot.verdict) == told["verdict"]
    assert str(snapshot.second_opinion) == told["second_opinion"]
    assert {cut.key for cut in snapshot.cuts} == {(cut["orientation"], cut["cut"]) for cut in told["cuts"]}
    for card in window.board.cards:
        key = card.card.shown.key
        cut = of_cut(told, key)
        assert str(card.texts.verdict) == cut["verdict"]
        assert card.texts.number == printed_spare(report_of(name, key))
        assert float(card.texts.number.replace(MINUS, "-")) == pytest.approx(cut["spare"], abs=0.0101)
        assert card.texts.pair.startswith(f"{cut['between'][0]} \u25b8 ")
        same = [c for c in told["cuts"] if (c["orientation"], c["verdict"]) == (cut["orientation"], cut["verdict"])]
        assert cut["spare"] - cut["keep_off"] == min(c["spare"] - c["keep_off"] for c in same)
    check_the_view(window, name, told, wait)
    check_the_strips(window, told)


def check_the_view(window, name: str, told: dict, wait) -> None:
    """The tightest cut, and the one behind the last card."""
    for key in (window.session.focus, window.board.cards[-1].card.shown.key):
        window.wiring.pick(key)
        wait(lambda key=key: window.view.place is not None and window.view.place.key == key, f"{key} can be seen")
        shown, report = window.view.place.told, report_of(name, key)
        assert clearance_text(shown, Unit.MM).split("\u2009")[0] == printed_clearance(report)
        assert spare_text(shown.spare, shown.keep_off) == printed_spare(report)
        assert str(window.view.place.verdict) == of_cut(told, key)["verdict"]


def check_the_strips(window, told: dict) -> None:
    window.wiring.set_order(Order.MACHINING)
    swings = {(s["from"], s["to"]): s for s in told["swings"]}
    assert {strip.move_now.key[1:] for strip in window.board.strips} == set(swings)
    for strip in window.board.strips:
        swing = swings[strip.move_now.key[1:]]
        assert str(strip.texts.verdict) == swing["verdict"]
        assert float(strip.texts.spare.removesuffix(" spare")) == pytest.approx(swing["spare"], abs=0.0101)
    names = [card.card.name for card in window.board.cards]
    assert names == list(dict.fromkeys(cut["orientation"] for cut in told["cuts"]))


def test_that_the_headline_says_the_worst_in_the_words_of_the_command_line(opener) -> None:
    window = opener.checked(sample("sampler_block_b"))
    assert window.headline.plate.word == "TIGHT"
    assert window.headline.plate.verdict is Verdict.TIGHT
    assert window.headline.count.text() == "2 of 9 cuts"
    said = "V1 profile: 1.31 spare, 2.00 wanted. Cutter of T1 over clamp screws L and R, below the tool."
    assert window.headline.sentence.whole.startswith(said)
    assert window.status.unchecked.text() == "0 not checked."
    assert "door, enclosure, nozzles, tool changer, hoses" in window.status.not_modelled.whole


def test_that_a_hit_is_shown_with_its_depth_and_sign(opener) -> None:
    window = opener.checked(sample("sampler_block_a"))
    card = window.board.cards[0]
    assert card.texts.word == "HITS"
    assert card.texts.number.startswith(MINUS)
    assert card.texts.under.startswith("overlap ")
    assert window.headline.plate.word == "HITS"
