"""What a check says in words for people: names, sides, numbers, one sentence per cut, the headline.

1. Lengths are in mm with two decimals, more where two would blur on which side of a limit a number lies.
   Proven clearances and spares are rounded down.
2. A minus is the sign U+2212; a front end that cannot show it replaces it.
3. The operator's words: left, right, to you, away from you; the clock is seen from above, 12 away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, Protocol

from app.jobs.results import Check, CutResult, MoveResult, name_of_move, opinion_of
from kinematics.report import CutReport, PairReport, SecondOpinion, SwingReport
from kinematics.verdict import Verdict

MINUS = "\u2212"
CANNOT_REACH = "cannot reach"
_TAKEN_DOWN = 2e-6  # mm; twice the rounding that is subtracted before a bound is called proven
Cause = Literal["pair", "depth", "travel", "unknown"]

_SIDES = {
    "left": "left of the tool",
    "right": "right of the tool",
    "to you": "on your side of the tool",
    "away": "behind the tool",
    "above": "above the tool",
    "below": "below the tool",
}


def number(value: float, digits: int = 2) -> str:
    """A number with a true minus sign; what rounds to zero has none."""
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", MINUS)


def proven(value: float, digits: int = 2) -> str:
    """A proven clearance or spare, rounded down: no more is told than there is.

    What is short of a round number by no more than the rounding that bounds are taken down by is that number.
    """
    scale = 10.0**digits
    return number(math.floor((value + _TAKEN_DOWN) * scale) / scale, digits)


def spare_text(spare: float, keep_off: float) -> str:
    """A spare with as many decimals as show that it is above or below 0 and the keep-off."""
    for digits in (2, 3):
        text = proven(spare, digits)
        shown = float(text.replace(MINUS, "-"))
        if (shown > 0.0) == (spare > 0.0) and (shown < keep_off) == (spare < keep_off):
            return text
    return proven(spare, 4)


class Lengths(Protocol):
    """How lengths in mm are told: in which unit, with how many digits."""

    def plain(self, mm: float) -> str:
        """A length to the nearest."""

    def proven(self, mm: float) -> str:
        """A proven length, rounded down."""

    def spare(self, spare: float, keep_off: float) -> str:
        """A spare, so that one sees whether it is above 0 and the keep-off."""


class _Millimetres:
    """Two decimals, as the command line tells them."""

    def plain(self, mm: float) -> str:
        return number(mm)

    def proven(self, mm: float) -> str:
        return proven(mm)

    def spare(self, spare: float, keep_off: float) -> str:
        return spare_text(spare, keep_off)


MILLIMETRES: Lengths = _Millimetres()


def together(names: Sequence[str]) -> str:
    """Several bodies in one phrase: clamp screw L, clamp screw R are clamp screws L and R."""
    if len(names) < 2:
        return "".join(names)
    heads = {name.rpartition(" ")[0] for name in names}
    if len(heads) == 1 and (head := heads.pop()):
        return f"{head}s {_listed([name.rpartition(' ')[2] for name in names])}"
    return _listed(names)


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def nearest_bodies(cut: CutReport, pair: PairReport) -> str:
    """The obstacles of the worst pair and of those that tie with it by the same part of the tool."""
    part, obstacle = pair.between
    return together([obstacle, *(b for a, b in cut.ties if a == part and b != obstacle)])


def side_phrase(cut: CutResult) -> str | None:
    """Where the contact is: behind the tool, 11 o'clock."""
    if not isinstance(cut, CutReport) or cut.side is None:
        return None
    where = _SIDES[cut.side.split(", ")[0]]
    return where if cut.clock is None else f"{where}, {cut.clock} o'clock"


def name_of(cut: CutResult) -> str:
    """Orientation and cut, with the workpiece where there are several."""
    return f"{cut.orientation} {cut.cut}" + (f" ({cut.workpiece})" if cut.workpiece else "")


def cause(cut: CutResult) -> Cause:
    """What the verdict of a cut comes from; of several causes the pair is told first."""
    if isinstance(cut, CutReport):
        if cut.worst is not None and cut.worst.verdict == cut.verdict:
            return "pair"
        if cut.depth is not None and cut.depth.verdict == cut.verdict:
            return "depth"
        if cut.travel.verdict == cut.verdict:
            return "travel"
    return "unknown"


def verdict_word(cut: CutResult) -> str:
    """The verdict's word; out of travel is "cannot reach"."""
    if cut.verdict is Verdict.HITS and cause(cut) == "travel":
        return CANNOT_REACH
    return str(cut.verdict)


def sentence(cut: CutResult, lengths: Lengths = MILLIMETRES) -> str:
    """What is the matter with a cut, in one or two sentences, without its name and verdict."""
    if isinstance(cut, CutReport):
        match cause(cut):
            case "pair":
                assert cut.worst is not None, "a pair that causes a verdict is there"
                return _pair_sentence(cut, cut.worst, lengths)
            case "depth":
                assert cut.depth is not None, "a depth that causes a verdict is there"
                needs, has = lengths.plain(cut.depth.needs), lengths.plain(cut.depth.has)
                return f"flute too short, {needs} needed, {has} there."
            case "travel":
                return f"{cut.travel.why}." if cut.travel.why else "nothing comes near."
    return f"{reason(cut)}."


def reason(cut: CutResult) -> str:
    """Why a cut, or the first of its pairs, was not checked."""
    if cut.why is not None:
        return cut.why
    assert isinstance(cut, CutReport), "a cut without a report says why"
    pair = next((p for p in cut.not_checked), None)
    if pair is None:
        return "nothing was compared"
    more = f" (and {len(cut.not_checked) - 1} more)" if len(cut.not_checked) > 1 else ""
    return f"{pair.between[0]} to {pair.between[1]}: {pair.why or 'the distance was not established'}{more}"


def _pair_sentence(cut: CutReport, pair: PairReport, lengths: Lengths) -> str:
    part, bodies, where = pair.between[0], nearest_bodies(cut, pair), side_phrase(cut)
    place = f", {where}" if where else ""
    clearance, errors = pair.clearance, pair.setup_error
    if pair.verdict is Verdict.HITS:
        if pair.contact == "inside":
            return f"{part} of {cut.tool} and {bodies}: one stands inside the other{place}."
        depth = f" by {lengths.plain(-clearance.value)}" if clearance and clearance.value < 0.0 else ""
        return f"{part} of {cut.tool} and {bodies} overlap{depth}{place}."
    if pair.verdict is Verdict.CAN_HIT:
        if clearance is None or clearance.at_least <= 0.0:
            return f"{part} of {cut.tool} and {bodies} touch, or as good as{place}."
        used = lengths.plain(
            errors.total if errors and pair.spare is None else clearance.at_least - (pair.spare or 0.0)
        )
        return (
            f"clearance {lengths.proven(clearance.at_least)} ({part}, {bodies}), but set-up errors can use up {used}. "
            "Measure what is assumed, or make room."
        )
    assert pair.spare is not None, "a tight or clear pair has a spare"
    beside = {"below": "over", "above": "under"}.get(cut.side or "", "beside")
    room = f"{lengths.spare(pair.spare, pair.keep_off)} spare, {lengths.plain(pair.keep_off)} wanted."
    return f"{room} {_first_large(part)} of {cut.tool} {beside} {bodies}{place}."


def _first_large(text: str) -> str:
    return text[:1].upper() + text[1:]


def tightest_first(cuts: Sequence[CutResult]) -> tuple[CutResult, ...]:
    """Worst verdict first, then the least spare over its keep-off; equal ones in machining order."""

    def rank(cut: CutResult) -> tuple[int, float]:
        pair = cut.worst if isinstance(cut, CutReport) else None
        if pair is None or pair.spare is None:
            return -cut.verdict.severity, float("-inf")
        return -cut.verdict.severity, pair.spare - pair.keep_off

    return tuple(sorted(cuts, key=rank))


def moves_tightest_first(moves: Sequence[MoveResult]) -> tuple[MoveResult, ...]:
    """Worst verdict first, then the least spare; equal ones in machining order."""

    def rank(move: MoveResult) -> tuple[int, float]:
        spare = move.spare if isinstance(move, SwingReport) else None
        return -move.verdict.severity, float("-inf") if spare is None else spare

    return tuple(sorted(moves, key=rank))


def move_sentence(move: MoveResult, lengths: Lengths = MILLIMETRES) -> str:
    """What is the matter with a link or swing, without its name and verdict."""
    if not isinstance(move, SwingReport) or move.between is None:
        return f"{move.why}."
    first, second = move.between
    first = f"{first} of {move.tool}" if move.tool else first
    where = f" at {angles_text(move.at_angles_deg)}" if move.at_angles_deg else ""
    if move.verdict is Verdict.HITS:
        if move.contact == "inside":
            return f"{first} and {second}: one stands inside the other{where}."
        return f"{first} and {second} overlap{where}."
    if move.clearance is None or move.spare is None or move.verdict is Verdict.CAN_HIT:
        room = f"{first}, {second}"
        if move.clearance is not None:
            room = f"clearance {lengths.proven(move.clearance.at_least)} ({room})"
        return f"{room}{where}, but set-up errors can use it up."
    room = f"{lengths.spare(move.spare, move.keep_off)} spare, {lengths.plain(move.keep_off)} wanted."
    return f"{room} {_first_large(first)} to {second}{where}."


def angles_text(angles_deg: Sequence[tuple[str, float]]) -> str:
    """Angles of the table axes as a person reads them."""
    return ", ".join(f"{name} {number(angle, 1).removesuffix('.0')}" for name, angle in angles_deg)


def second_opinion(check: Check) -> str:
    """What the second engine says of the whole."""
    match check.second_opinion:
        case SecondOpinion.AGREES:
            return "agrees"
        case SecondOpinion.OFF:
            return "off, no clearance was found again by other means"
    names = [name_of(c) for c in check.cuts if opinion_of(c) is SecondOpinion.DISAGREES]
    names += [name_of_move(m) for m in (*check.links, *check.swings) if opinion_of(m) is SecondOpinion.DISAGREES]
    return f"disagrees at {_listed(names)}; what it disagrees with is not checked"


def headline(check: Check) -> tuple[tuple[Verdict, str, str], ...]:
    """What is worst, and, where that is not a cut, a line of its own for the cuts.

    Each line is (verdict, its word, what to say about it).
    """
    ordered = tightest_first(check.cuts)
    if not ordered:
        return ((Verdict.NOT_CHECKED, str(Verdict.NOT_CHECKED), "this set-up has no cut."),)
    first = ordered[0]
    cuts_line = (first.verdict, verdict_word(first), f"{name_of(first)}: {sentence(first)}")
    if first.verdict is Verdict.CLEAR:
        cuts_line = (first.verdict, verdict_word(first), _clear_sentence(first))
    lines = []
    moves = moves_tightest_first((*check.links, *check.swings))
    worse = [m for m in moves if m.verdict.severity > first.verdict.severity]
    if worse:
        worst_move = worse[0]
        said = f"{name_of_move(worst_move)}: {move_sentence(worst_move)}"
        lines.append((worst_move.verdict, str(worst_move.verdict), said))
    if check.verdict.severity > max(first.verdict.severity, *(line[0].severity for line in lines), 0):
        items = [item.what for item in check.not_checked]
        shown = _listed(items) if len(items) < 4 else f"{', '.join(items[:3])} and {len(items) - 3} more"
        lines.insert(0, (check.verdict, str(check.verdict), f"{shown}: {check.not_checked[0].why}."))
    return (*lines, cuts_line)


def _clear_sentence(cut: CutResult) -> str:
    pair = cut.worst if isinstance(cut, CutReport) else None
    if pair is None or pair.spare is None:
        return f"{name_of(cut)}: nothing comes near."
    return f"least spare {spare_text(pair.spare, pair.keep_off)} at {name_of(cut)}, {number(pair.keep_off)} wanted."
