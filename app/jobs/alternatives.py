"""What would make a tight orientation clear: one list of changes, each with what it gains and what it costs elsewhere.

1. Every change is a set of edits of the scene by path; its numbers are those that a check of the edited scene gives.
2. Tried are: the least stick-out that is clear in every holder of the scene that takes the tool, other screws at the
   tight place, the fixture turned under the part, the part raised, the other position of the table.
3. A change is told if it leaves more room at the orientation than there is; what it does to the rest of the set-up
   is told with it. Swings do not count: a check of the changed scene says them.
4. What this file does not know: how a list looks.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Sequence

from app.jobs.proposals import Kind, Left, Proposal
from app.jobs.whatif_choices import OtherSolution, other_solution, screw_standards, screw_swap, word_at
from app.jobs.whatif_dials import (
    AS_IT_IS,
    Bench,
    DialFault,
    Setting,
    fixture_turn,
    part_raise,
)
from kinematics.answers.stick_out import CutStickOuts, Lifts, grips_shank
from kinematics.answers.tool_stick_out import over_all_cuts
from kinematics.answers.worst_room import Room, Rooms
from kinematics.errors import TightsideError
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict

TURNS_DEG = (90.0, 180.0, 270.0)
RAISES = (1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0)  # mm
GAINED = 0.01  # mm of spare; less is no gain
STEP = 0.1  # mm; a stick-out is proposed rounded up to this, since nobody sets finer


def alternatives(bench: Bench, orientation: str) -> Iterator[Proposal]:
    """The changes that leave more room at an orientation, as they are found. Raises SceneFileError.

    `ranked` puts them in order.
    """
    trial = _Trial(bench, orientation)
    for makers in (_stick_outs, _screws, _turns, _raises, _solutions):
        rooms: list[tuple[Kind, float | None]] = []
        for kind, words, setting in makers(bench, trial):
            found = trial.of(kind, words, setting)
            if found is None:
                continue
            same = (kind, None if found.here.spare is None else round(found.here.spare, 2))
            if kind is Kind.SCREWS and same in rooms:
                continue  # a plainer screw leaves as much
            rooms.append(same)
            yield found
            if kind is Kind.RAISE and found.here.verdict is Verdict.CLEAR and not found.makes_worse:
                break  # higher is more trouble


def ranked(found: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Best first: by the verdict that is left here, by whether it spoils something else, by trouble, then by room."""
    return tuple(sorted(found, key=_rank))


def _rank(a: Proposal) -> tuple[int, bool, int, float]:
    spare = math.inf if a.here.spare is None else -a.here.spare
    return a.here.verdict.severity, a.makes_worse, list(Kind).index(a.kind), spare


def advice(found: Sequence[Proposal]) -> Proposal | None:
    """The one for the headline: the change with the least trouble that serves; None where none does."""
    good = [a for a in ranked(found) if not a.makes_worse and a.here.spare is not None]
    return good[0] if good else None


def _spare(room: Room) -> float | None:
    return room.pair.spare if room.pair is not None else None


class _Trial:
    """Checks settings of one scene, each like the one before."""

    def __init__(self, bench: Bench, orientation: str) -> None:
        self.bench = bench
        self.orientation = orientation
        self.rooms = Rooms()
        self.prepared = Prepared(bench.scene)
        self.only = frozenset((o.name, c.name) for o, c in bench.scene.cuts() if o.name == orientation)
        self.before = self.rooms.of(self.prepared, self.only)
        self.everywhere_before = self.rooms.of(self.prepared)

    def of(self, kind: Kind, words: str, setting: Setting) -> Proposal | None:
        """What a setting leaves; None where there is no such scene, or nothing is gained."""
        try:
            scene = self.bench.file_with(setting).scene
            self.prepared = Prepared(scene, like=self.prepared)
            here = self.rooms.of(self.prepared, self.only)
        except TightsideError:
            return None
        if not _is_better(here, self.before):
            return None
        everywhere = self.rooms.of(self.prepared)
        return Proposal(
            kind=kind,
            words=words,
            numbers=tuple(setting.numbers.items()),
            texts=setting.words,
            here=_left(here),
            everywhere=_left(everywhere),
            before=_left(self.before),
            makes_worse=_is_worse(everywhere, self.everywhere_before),
        )


def _left(room: Room) -> Left:
    pair = room.pair
    if pair is None:
        return Left(room.verdict, None, 0.0, room.orientation or "")
    return Left(room.verdict, pair.spare, pair.keep_off, room.orientation or "")


def _is_worse(then: Room, now: Room) -> bool:
    if now.verdict.severity != then.verdict.severity:
        return then.verdict.severity > now.verdict.severity
    a, b = _spare(now), _spare(then)
    return a is not None and (b is None or a - b >= GAINED)


def _is_better(now: Room, before: Room) -> bool:
    if now.verdict.severity != before.verdict.severity:
        return now.verdict.severity < before.verdict.severity
    a, b = _spare(now), _spare(before)
    return a is not None and (b is None or a - b >= GAINED)


Candidate = tuple[Kind, str, Setting]


def _stick_outs(bench: Bench, trial: _Trial) -> Iterator[Candidate]:
    """For the tools of the orientation whose cuts are not clear: every holder at its least clear stick-out."""
    scene = bench.scene
    prepared = Prepared(scene)
    lifts = Lifts(prepared)
    placed = list(placed_cuts(prepared))
    tools = [p.tool for p in placed if p.orientation.name == trial.orientation and _is_tight(trial, p)]
    for tool in {t.id: t for t in tools}.values():
        own = [p for p in placed if p.tool.id == tool.id]
        path = f"{tool.id}/stick_out"
        if path not in bench.numbers:
            continue
        for holder in scene.holders:
            if not grips_shank(holder, tool):
                continue
            by_cut = [((p.orientation.name, p.cut.name), CutStickOuts(p, lifts).answer(holder)) for p in own]
            least = over_all_cuts(scene, tool, holder, by_cut).answer.least_clear
            if least is None:
                continue
            out = _settable(least, bench)
            if holder.name == tool.holder.name:
                if abs(out - bench.numbers[path].value) > 1e-9:
                    yield Kind.STICK_OUT, f"{tool.id} in {holder.name}, {_length(out, bench)} out", Setting({path: out})
            elif word_at(bench, f"{tool.id}/holder") is not None:
                yield (
                    Kind.HOLDER,
                    f"{tool.id} in {holder.name}, {_length(out, bench)} out",
                    Setting({path: out}, ((f"{tool.id}/holder", holder.name),)),
                )


def _is_tight(trial: _Trial, placed: PlacedCut) -> bool:
    return trial.rooms.of_cut(placed).verdict is not Verdict.CLEAR


def _settable(mm: float, bench: Bench) -> float:
    """A length rounded up to what can be set, in the units of the file."""
    step = STEP if bench.length_unit == "mm" else 0.005
    return round(math.ceil(mm * bench.per_mm / step - 1e-6) * step, 4)


def _length(value: float, bench: Bench) -> str:
    return f"{value:.1f}" if bench.length_unit == "mm" else f"{value:.3f} inch"


def _screws(bench: Bench, trial: _Trial) -> Iterator[Candidate]:
    """Other standards, at their own size, for the screws at the tight place and their likes."""
    pair = trial.before.pair
    own = {b.name for b in bench.scene.bodies if word_at(bench, f"{b.name}/standard") is not None}
    if pair is None or pair.between[1] not in own:
        return
    screw = pair.between[1]
    standard, size = word_at(bench, f"{screw}/standard"), word_at(bench, f"{screw}/size")
    alike = [
        b.name
        for b in bench.scene.bodies
        if b.name in own
        and b.placement.rides_on == _rides_on(bench, screw)
        and (word_at(bench, f"{b.name}/standard"), word_at(bench, f"{b.name}/size")) == (standard, size)
    ]
    dial = screw_swap(bench, alike)
    own_title = _title(bench, standard or "")

    def plainness(name: str) -> tuple[bool, int, str]:
        title = _title(bench, name)
        return not title.startswith(own_title), len(title), name

    for other in sorted(screw_standards(bench), key=plainness):
        if other != standard:
            with contextlib.suppress(DialFault):  # that standard has no such size
                yield Kind.SCREWS, f"{size} {other} heads", dial.setting(bench, other)


def _title(bench: Bench, standard: str) -> str:
    """What a standard calls its screw; the plainest has the shortest title."""
    found = bench.catalogues.find("hardware", standard)
    return bench.catalogues.title(found) if found is not None else ""


def _rides_on(bench: Bench, name: str) -> str:
    return next(b.placement.rides_on for b in bench.scene.bodies if b.name == name)


def _turns(bench: Bench, _trial: _Trial) -> Iterator[Candidate]:
    """The fixture turned by quarters, the part kept where it is."""
    try:
        dial = fixture_turn(bench)
        for turn in TURNS_DEG:
            yield Kind.TURN, f"{dial.group} turned by {turn:.0f}", dial.setting(bench, turn)
    except TightsideError:
        return


def _raises(bench: Bench, _trial: _Trial) -> Iterator[Candidate]:
    """The part higher in its fixture, its grip grown with it."""
    try:
        dial = part_raise(bench)
        for by in RAISES:
            value = by if bench.length_unit == "mm" else round(by / 25.4, 2)
            yield Kind.RAISE, f"the part raised by {_length(value, bench)}", dial.setting(bench, value)
    except TightsideError:
        return


def _solutions(bench: Bench, trial: _Trial) -> Iterator[Candidate]:
    """The other position of the table that aims the tool alike."""
    try:
        dial: OtherSolution = other_solution(bench, (trial.orientation,))
    except DialFault:
        return
    for name, numbers in dial.solutions(bench).items():
        if name != AS_IT_IS:
            angles = ", ".join(f"{path.rpartition('/')[2]} {value:g}" for path, value in numbers.items())
            yield Kind.SOLUTION, f"{trial.orientation} at {angles}", Setting(numbers)
