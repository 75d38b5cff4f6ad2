"""What the window shows of a set-up at a moment: every cut and move with its result, and how far that result holds.

1. A value; whoever shows it decides nothing. Nothing old looks new: each result says of which scene it is.
2. Order and verdicts follow `app/jobs/words.py`, as the command line's do.
3. Cards that are not checked, or have a cut that is not, stand first in either order.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.jobs.proposals import Proposal
from app.jobs.results import CutResult, MoveResult, NotChecked, UncheckedCut, name_of_move
from app.jobs.words import name_of, tightest_first
from app.scenes.faults import Fault
from app.window.answers import CutKey, CutOutline, MoveKey, Outline
from kinematics.report import SecondOpinion
from kinematics.verdict import Verdict, worst

STOPPED_BY_YOU = "stopped by you"
ENGINE_GONE = "the engine was lost"


class Holds(StrEnum):
    """How far a result holds."""

    FRESH = "of the present scene"
    COMPUTING = "there is none yet"
    WAS = "of the scene before the last change"
    STOPPED = "stopped before it was there"


class Order(StrEnum):
    """In which order cards stand."""

    TIGHTEST = "tightest"
    MACHINING = "machining"


@dataclass(frozen=True, slots=True)
class CutNow:
    """A cut, its last result, and how far that holds. `result` is None before the first; `why` it was stopped."""

    outline: CutOutline
    result: CutResult | None
    holds: Holds
    why: str = STOPPED_BY_YOU

    @property
    def key(self) -> CutKey:
        return self.outline.key

    @property
    def verdict(self) -> Verdict:
        """What may be said of it now; unknown is never clear."""
        if self.holds is Holds.STOPPED or self.result is None:
            return Verdict.NOT_CHECKED
        return self.result.verdict


@dataclass(frozen=True, slots=True)
class MoveNow:
    """A link or swing, its last result, how far that holds, and why it was stopped."""

    key: MoveKey
    result: MoveResult | None
    holds: Holds
    why: str = STOPPED_BY_YOU

    @property
    def is_swing(self) -> bool:
        return self.key[0] is None

    @property
    def verdict(self) -> Verdict:
        if self.holds is Holds.STOPPED or self.result is None:
            return Verdict.NOT_CHECKED
        return self.result.verdict


@dataclass(frozen=True, slots=True)
class CardNow:
    """An orientation: its cuts, the first the one that is shown. `n_more`: others that are not clear."""

    name: str
    control_deg: tuple[tuple[str, float], ...]
    cuts: tuple[CutNow, ...]

    @property
    def shown(self) -> CutNow:
        return self.cuts[0]

    @property
    def verdict(self) -> Verdict:
        return worst([cut.verdict for cut in self.cuts])

    @property
    def has_unchecked(self) -> bool:
        """Whether one of its cuts was not checked, for another reason than that it is being computed."""
        return any(c.verdict is Verdict.NOT_CHECKED and c.holds is not Holds.COMPUTING for c in self.cuts)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A set-up at a moment.

    Parameters
    ----------
    outline : None before a scene could be read for the first time.
    cuts, moves : in machining order, links before swings.
    faults : of the text as it is now; the results are then of the text before.
    whole : what the check said at last as a whole; None while something is missing.
    doing : what is being computed, in words; empty for nothing.
    failure : why the engine is gone, or a fault of the program.
    """

    outline: Outline | None = None
    cuts: tuple[CutNow, ...] = ()
    moves: tuple[MoveNow, ...] = ()
    faults: tuple[Fault, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()
    second_opinion: SecondOpinion | None = None
    doing: str = ""
    is_stopped: bool = False
    failure: str = ""
    advice: Proposal | None = None

    @property
    def n_fresh(self) -> int:
        """How many cuts have a result of the present scene."""
        return sum(cut.holds is Holds.FRESH for cut in self.cuts)

    @property
    def is_fresh(self) -> bool:
        """Whether every cut is of the present scene."""
        return all(cut.holds is Holds.FRESH for cut in self.cuts)

    @property
    def is_stale(self) -> bool:
        return any(cut.holds is Holds.WAS for cut in self.cuts)

    @property
    def verdict(self) -> Verdict:
        """The worst of all, the moves' too; not checked while anything is missing."""
        said = [*(cut.verdict for cut in self.cuts), *(move.verdict for move in self.moves)]
        if self.not_checked or self.second_opinion is None:
            said.append(Verdict.NOT_CHECKED)
        return worst(said)

    @property
    def swings(self) -> tuple[MoveNow, ...]:
        return tuple(move for move in self.moves if move.is_swing)

    def cut(self, key: CutKey | None) -> CutNow | None:
        """A cut by its key."""
        return next((c for c in self.cuts if c.key == key), None)

    def move(self, key: MoveKey | None) -> MoveNow | None:
        """A link or swing by its key."""
        return next((m for m in self.moves if m.key == key), None)

    def unchecked(self) -> tuple[NotChecked, ...]:
        """What was not checked, and why: by the check as a whole, or by what is there so far."""
        if self.not_checked:
            return self.not_checked
        found = []
        for cut in self.cuts:
            name = " ".join(cut.key)
            if cut.holds is Holds.STOPPED:
                found.append(NotChecked(name, cut.why))
            elif cut.result is not None and cut.result.verdict is Verdict.NOT_CHECKED and cut.result.why:
                found.append(NotChecked(name_of(cut.result), cut.result.why))
        for move in self.moves:
            if move.holds is Holds.STOPPED:
                found.append(NotChecked(_move_words(move.key), move.why))
            elif move.result is not None and move.result.why:
                found.append(NotChecked(name_of_move(move.result), move.result.why))
        return tuple(found)


def _move_words(key: MoveKey) -> str:
    orientation, start, end = key
    return f"link {orientation}: {start} > {end}" if orientation else f"swing {start} > {end}"


def result_shown(cut: CutNow) -> CutResult:
    """The result to rank and speak by: the last one, or that there is none."""
    if cut.result is not None and cut.holds is not Holds.STOPPED:
        return cut.result
    orientation, name = cut.key
    why = cut.why if cut.holds is Holds.STOPPED else "is being computed"
    return UncheckedCut(orientation, name, cut.outline.workpiece, cut.outline.tool, cut.outline.holder, (), why)


def cuts_tightest_first(cuts: tuple[CutNow, ...]) -> tuple[CutNow, ...]:
    """Worst first, as the command line lists them; those without a result in machining order among not checked."""
    shown = {cut.key: result_shown(cut) for cut in cuts}
    keys = {id(result): key for key, result in shown.items()}
    by_key = {cut.key: cut for cut in cuts}
    return tuple(by_key[keys[id(result)]] for result in tightest_first(tuple(shown.values())))


def cards_of(snapshot: Snapshot, order: Order, before: tuple[str, ...] | None = None) -> tuple[CardNow, ...]:
    """One card per orientation in the order wanted; `before` keeps the order of names that it gives."""
    if snapshot.outline is None:
        return ()
    ranked = cuts_tightest_first(snapshot.cuts)
    places = {cut.key: i for i, cut in enumerate(ranked)}
    cards = []
    for orientation in snapshot.outline.orientations:
        own = tuple(cut for cut in ranked if cut.key[0] == orientation.name)
        if own:
            cards.append(CardNow(orientation.name, orientation.control_deg, own))
    if order is Order.TIGHTEST:
        cards.sort(key=lambda card: places[card.shown.key])
    if before is not None:
        names = {name: i for i, name in enumerate(before)}
        cards.sort(key=lambda card: names.get(card.name, len(names)))
    else:
        cards.sort(key=lambda card: not card.has_unchecked)
    return tuple(cards)
