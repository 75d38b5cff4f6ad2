"""What the window says of a set-up, in the unit that the user chose: the headline, the texts of a card and a strip.

1. Numbers are those of `units.py`, sentences those of `app/jobs/words.py`, so that window and command line agree.
2. What is not known is said before what is tight. Nothing old is told as if it were of the present scene.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.jobs.proposals import advice_words
from app.jobs.results import name_of_move
from app.jobs.words import (
    MINUS,
    cause,
    move_sentence,
    moves_tightest_first,
    name_of,
    nearest_bodies,
    reason,
    sentence,
    side_phrase,
    verdict_word,
)
from app.window import units
from app.window.results import CardNow, CutNow, Holds, MoveNow, Snapshot, cuts_tightest_first, result_shown
from app.window.units import Unit
from kinematics.report import CutReport, SwingReport
from kinematics.verdict import Verdict

COMPUTING = "COMPUTING"


@dataclass(frozen=True, slots=True)
class LengthsIn:
    """How lengths are told in a unit."""

    unit: Unit

    def plain(self, mm: float) -> str:
        return units.length(mm, self.unit)

    def proven(self, mm: float) -> str:
        return units.proven(mm, self.unit)

    def spare(self, spare: float, keep_off: float) -> str:
        return units.spare_text(spare, keep_off, self.unit)


@dataclass(frozen=True, slots=True)
class Headline:
    """The worst, in one sentence. `verdict` None: nothing is said yet.

    `word` for the plate; `count` beside it; `is_was`: what is said is of the scene before.
    """

    verdict: Verdict | None
    word: str
    count: str
    sentence: str
    is_was: bool = False


def headline(snapshot: Snapshot, unit: Unit) -> Headline:
    """The first line of the window."""
    if snapshot.outline is None:
        if snapshot.faults:
            return Headline(None, "", "", _faults_words(snapshot))
        return Headline(None, "", "", snapshot.doing and "Reading the set-up.")
    n = len(snapshot.cuts)
    if snapshot.failure:
        done = f"{snapshot.n_fresh} of {n} cuts"
        return Headline(Verdict.NOT_CHECKED, "NOT CHECKED", done, f"{_sentence_of(snapshot.failure)}")
    if snapshot.faults:
        return Headline(Verdict.NOT_CHECKED, "NOT CHECKED", "", _faults_words(snapshot), is_was=True)
    if snapshot.is_stopped:
        done = f"{snapshot.n_fresh} of {n} cuts"
        return Headline(Verdict.NOT_CHECKED, "NOT CHECKED", done, "Stopped by you. What is not checked is not clear.")
    if snapshot.is_stale:
        words = f"These numbers are of the set-up before your last change. Computing: {snapshot.n_fresh} of {n} cuts."
        return Headline(_known(snapshot), _word_of(snapshot), "", words, is_was=True)
    if not snapshot.is_fresh:
        return Headline(None, COMPUTING, f"{snapshot.n_fresh} of {n} cuts", _sentence_of(f"computing {snapshot.doing}"))
    return _said(snapshot, unit)


def _faults_words(snapshot: Snapshot) -> str:
    n = len(snapshot.faults)
    first = "The file can't be read as a set-up" if snapshot.outline is None else "The set-up has"
    if snapshot.outline is None:
        return f"{first}: {n} fault{'s' if n != 1 else ''}."
    return f"{first} {n} fault{'s' if n != 1 else ''}; these numbers are of the set-up before. F8 leads to them."


def _known(snapshot: Snapshot) -> Verdict:
    """The worst of what there was."""
    return max((c.verdict for c in snapshot.cuts), key=lambda v: v.severity, default=Verdict.NOT_CHECKED)


def _word_of(snapshot: Snapshot) -> str:
    first = cuts_tightest_first(snapshot.cuts)[0]
    return verdict_word(result_shown(first)).upper() if snapshot.cuts else ""


def _said(snapshot: Snapshot, unit: Unit) -> Headline:
    """Every cut is there; swings perhaps not yet."""
    if not snapshot.cuts:
        return Headline(Verdict.NOT_CHECKED, "NOT CHECKED", "", "This set-up has no cut.")
    lengths = LengthsIn(unit)
    first = result_shown(cuts_tightest_first(snapshot.cuts)[0])
    worst = first.verdict
    same = [c for c in snapshot.cuts if c.verdict is worst]
    count = f"{len(same)} of {len(snapshot.cuts)} cuts" if worst is not Verdict.CLEAR else ""
    moves = moves_tightest_first([m.result for m in snapshot.moves if m.result is not None])
    if moves and moves[0].verdict.severity > worst.severity:
        n_moves = sum(m.verdict is moves[0].verdict for m in moves)
        words = f"{name_of_move(moves[0])}: {move_sentence(moves[0], lengths)}"
        swings = f"{n_moves} of {len(snapshot.moves)} moves"
        return Headline(moves[0].verdict, str(moves[0].verdict).upper(), swings, _sentence_of(words, ends=""))
    unchecked = snapshot.unchecked()
    if unchecked and worst.severity < Verdict.NOT_CHECKED.severity:
        words = f"{unchecked[0].what}: {unchecked[0].why}."
        return Headline(Verdict.NOT_CHECKED, "NOT CHECKED", f"{len(unchecked)} things", _sentence_of(words, ends=""))
    pending = [m for m in snapshot.moves if m.holds is not Holds.FRESH]
    if worst is Verdict.CLEAR:
        words = _clear_words(snapshot, first, lengths)
        if pending or snapshot.second_opinion is None:
            return Headline(None, COMPUTING, "swings", f"Every cut is clear so far. {words}")
        return Headline(worst, "CLEAR", "", words)
    words = f"{name_of(first)}: {sentence(first, lengths)}"
    return Headline(
        worst, verdict_word(first).upper(), count, f"{words} {advice_words(snapshot.advice, lengths)}".strip()
    )


def _clear_words(snapshot: Snapshot, first: object, lengths: LengthsIn) -> str:
    assert snapshot.outline is not None, "there are cuts"
    least = "Nothing comes near."
    if isinstance(first, CutReport) and first.worst is not None and first.worst.spare is not None:
        spare = lengths.spare(first.worst.spare, first.worst.keep_off)
        least = f"Least {spare} at {first.orientation} {first.cut}."
    not_modelled = ", ".join(snapshot.outline.not_modelled)
    return f"{least} Not modelled: {not_modelled}." if not_modelled else least


def _sentence_of(text: str, ends: str = ".") -> str:
    made = text[:1].upper() + text[1:]
    return made if made.endswith((".", "?")) else made + ends


# ---- cards ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CardTexts:
    """What stands on a card. `more`: by the name; `number` empty where none is told."""

    name: str
    more: str
    verdict: Verdict
    word: str
    number: str
    under: str
    angles: tuple[tuple[str, str], ...]
    pair: str
    side: str
    is_was: bool
    is_computing: bool
    tip: str


def card_texts(card: CardNow, unit: Unit) -> CardTexts:
    """The texts of a card, about the cut that it shows."""
    cut = card.shown
    result = result_shown(cut)
    verdict = Verdict.NOT_CHECKED if card.has_unchecked and cut.verdict is Verdict.CLEAR else cut.verdict
    word = verdict_word(result).upper()
    others = [c for c in card.cuts[1:] if c.verdict not in (Verdict.CLEAR, Verdict.NOT_CHECKED)]
    more = f"+{len(others)} {max(others, key=lambda c: c.verdict.severity).verdict}" if others else ""
    number, under = _number(cut, unit)
    pair, side = _pair_and_side(card, cut)
    is_computing = cut.holds is Holds.COMPUTING
    angles = tuple((letter, f"{value:.2f}".replace("-", MINUS)) for letter, value in card.control_deg)
    tip = f"{name_of(result)}, {result.tool} in {result.holder}: {sentence(result, LengthsIn(unit))}"
    if cut.holds is Holds.WAS:
        tip = f"Before the last change: {tip}"
    return CardTexts(
        name=card.name,
        more=more,
        verdict=verdict,
        word=COMPUTING if is_computing else word,
        number=number,
        under=under,
        angles=angles,
        pair="" if is_computing else pair,
        side=" ".join(cut.key[1:]) + f" {cut.outline.tool}" if is_computing else side,
        is_was=cut.holds is Holds.WAS,
        is_computing=is_computing,
        tip=tip,
    )


def _number(cut: CutNow, unit: Unit) -> tuple[str, str]:
    """The large number and the small line under it."""
    result = result_shown(cut)
    if not isinstance(result, CutReport):
        return "?", f"{unit} spare"
    match cause(result):
        case "pair":
            pair = result.worst
            assert pair is not None, "a pair that causes a verdict is there"
            if pair.spare is None and pair.contact is not None:
                return str(pair.contact), "no depth known"
            if pair.spare is None:
                return "?", f"{unit} spare"
            under = f"{unit} spare"
            if pair.clearance is not None and pair.clearance.value < 0.0:
                under = f"overlap {units.length(-pair.clearance.value, unit)}"
            return units.spare_text(pair.spare, pair.keep_off, unit), under
        case "depth":
            assert result.depth is not None, "a depth that causes a verdict is there"
            return units.length(result.depth.has - result.depth.needs, unit), f"{unit} of flute"
        case "travel":
            return ("\u2013", "out of travel") if result.travel.why else ("\u2013", "nothing near")
    return "?", f"{unit} spare"


def _pair_and_side(card: CardNow, cut: CutNow) -> tuple[str, str]:
    result = result_shown(cut)
    about = f"{cut.key[1]} {cut.outline.tool}"
    if isinstance(result, CutReport):
        match cause(result):
            case "pair":
                pair = result.worst
                assert pair is not None, "a pair that causes a verdict is there"
                bodies = nearest_bodies(result, pair).replace(" and ", ", ")
                side = side_phrase(result) or ""
                return f"{pair.between[0]} \u25b8 {bodies}", f"{side} \u00b7 {about}" if side else about
            case "depth":
                return "flute too short", about
            case "travel":
                return result.travel.why or "nothing comes near", about
    unchecked = [c for c in card.cuts if c.verdict is Verdict.NOT_CHECKED]
    count = f"no verdict for {len(unchecked)} of {len(card.cuts)} cuts" if len(card.cuts) > 1 else "no verdict"
    return reason(result), f"{count} \u00b7 {about}"


# ---- strips --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StripTexts:
    """What stands on the strip of a swing. `pair` and `side` only where it is not clear."""

    way: str
    lift: str
    spare: str
    verdict: Verdict
    pair: str
    side: str
    is_was: bool
    is_computing: bool
    tip: str


def strip_texts(move: MoveNow, unit: Unit) -> StripTexts:
    """The texts of a swing."""
    _, start, end = move.key
    way, result = f"{start} \u25b8 {end}", move.result
    lift, spare, pair, side, tip = "", "", "", "", ""
    if isinstance(result, SwingReport):
        height = result.lift_gauge_z if result.least_lift_gauge_z is None else result.least_lift_gauge_z
        lift = f"lift {height / unit.mm:.0f}" if unit is Unit.MM else f"lift {height / unit.mm:.1f}"
        if result.spare is not None:
            spare = f"{units.spare_text(result.spare, result.keep_off, unit)} spare"
        elif result.contact is not None:
            spare = str(result.contact)
        if result.between is not None:
            pair = " \u25b8 ".join(result.between)
        side = result.side or ""
        tip = f"{way}: {move_sentence(result, LengthsIn(unit))}"
    elif result is not None:
        spare, pair, tip = "not checked", result.why, f"{way}: {result.why}"
    if move.holds is Holds.STOPPED:
        spare, pair, side, tip = "not checked", move.why, "", f"{way}: {move.why}"
    elif move.holds is Holds.COMPUTING:
        spare, tip = "computing", f"{way}: computing"
    if move.verdict is Verdict.CLEAR:
        pair = side = ""
    return StripTexts(
        way=way,
        lift=lift,
        spare=spare,
        verdict=move.verdict,
        pair=pair,
        side=side,
        is_was=move.holds is Holds.WAS,
        is_computing=move.holds is Holds.COMPUTING,
        tip=tip,
    )
