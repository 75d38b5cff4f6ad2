"""What a sheet is made from: the check, with the least lift of every swing, how far each stick-out may be off, keys.

1. `gather` is a job: one result after the other; `facts_of` puts them together.
2. Clearances come from the check alone, with the second opinion; nothing is computed anew.
3. What can't be found out about a stick-out leaves a reason; the sheet says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from app.jobs.check import moves_of, result_of, whole_check
from app.jobs.results import Check, CutResult, MoveResult
from app.scenes.reader import SceneFile
from kinematics.answers.no_worse import NoWorse, lengths_of
from kinematics.answers.stick_out import Lifts, grips_shank
from kinematics.errors import TightsideError
from kinematics.key_access import KeyAccess, key_access
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import Scene, Tool
from kinematics.swing_clearance import Settle
from kinematics.verdict import Verdict

CutName = tuple[str, str]  # orientation and cut
LIFT_QUERIES = 400  # of one swing: enough for 0.02 mm as a rule, for 0.3 where a turn has many places as tight
UNTIL_PROVEN = Settle(with_least_lift=True, lift_queries=LIFT_QUERIES)  # as in a check, and how low the tool may wait
RUNS = (Verdict.CLEAR, Verdict.TIGHT)


@dataclass(frozen=True, slots=True)
class Guard:
    """The stick-outs at which one cut is as good as it is now, and from which it is clear.

    `held` is None where the cut is neither clear nor tight, or nobody can say; `clear_from` where no length is clear
    or nobody can say. `why` then says why.
    """

    orientation: str
    cut: str
    tool: str
    held: NoWorse | None
    clear_from: float | None
    why: str | None = None


@dataclass(frozen=True, slots=True)
class WrongHolder:
    """A tool that makes a cut hit, or that can hit, when it is put into another holder of this set-up, as far out."""

    tool: str
    holder: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys of all screws that name one; `why` where they could not be compared."""

    found: tuple[KeyAccess, ...]
    why: str | None = None


Gathered = CutResult | MoveResult | Guard | WrongHolder | Keys


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a sheet says, as numbers."""

    check: Check
    guards: tuple[Guard, ...]
    wrong_holders: tuple[WrongHolder, ...]
    keys: Keys

    @property
    def scene(self) -> Scene:
        return self.check.scene_file.scene

    @property
    def may_run(self) -> bool:
        """Whether the sheet says what to set: nothing hits, and nothing can."""
        return self.check.verdict not in (Verdict.HITS, Verdict.CAN_HIT)


def steps_of(scene_file: SceneFile) -> list[str]:
    """What `gather` does, in words for a progress line, one for each result of a cut."""
    cuts = [f"{o.name} {c.name}" for o, c in scene_file.scene.cuts()]
    return [f"checking {name}, {i} of {len(cuts)} cuts" for i, name in enumerate(cuts, 1)]


def gather(scene_file: SceneFile, prepared: Prepared) -> Iterator[Gathered]:
    """Cuts, links and swings as a check has them; then what stick-outs and holders may be; then the keys."""
    cuts: list[tuple[PlacedCut, CutResult]] = []
    for placed in placed_cuts(prepared):
        result = result_of(prepared, placed.orientation, placed.cut, placed.done, second_opinion=True)
        cuts.append((placed, result))
        yield result
    yield from moves_of(scene_file, prepared, UNTIL_PROVEN, second_opinion=True)
    lifts = Lifts(prepared)
    for placed, result in cuts:
        yield _guard(placed, result, lifts)
    yield from _wrong_holders(cuts)
    yield _keys(prepared)


def facts_of(scene_file: SceneFile, gathered: Sequence[Gathered]) -> Facts:
    """The facts from everything that `gather` gave."""
    results = [g for g in gathered if not isinstance(g, Guard | WrongHolder | Keys)]
    return Facts(
        whole_check(scene_file, results),
        tuple(g for g in gathered if isinstance(g, Guard)),
        tuple(g for g in gathered if isinstance(g, WrongHolder)),
        next((g for g in gathered if isinstance(g, Keys)), Keys((), "not looked at")),
    )


def _guard(placed: PlacedCut, result: CutResult, lifts: Lifts) -> Guard:
    names = (placed.orientation.name, placed.cut.name, placed.tool.id)
    if not isinstance(result, CutReport):
        return Guard(*names, None, None, result.why)
    try:
        said = lengths_of(placed, result, lifts)
    except TightsideError as error:
        return Guard(*names, None, None, error.message)
    return Guard(*names, said.held, said.clear_from, said.why)


def _wrong_holders(cuts: Sequence[tuple[PlacedCut, CutResult]]) -> Iterator[WrongHolder]:
    """For every tool whose cuts may run: each other holder of a tool of this set-up that makes one hit."""
    if not cuts:
        return
    scene = cuts[0][0].prepared.scene
    used = {tool.holder.name: tool.holder for tool in scene.tools}
    for tool in scene.tools:
        own = [placed for placed, result in cuts if placed.tool.id == tool.id and result.verdict in RUNS]
        for holder in used.values():
            if own and holder != tool.holder and grips_shank(holder, tool):
                verdict = _worst_in(own, replace(tool, holder=holder))
                if verdict.severity >= Verdict.CAN_HIT.severity:
                    yield WrongHolder(tool.id, holder.name, verdict)


def _worst_in(own: Sequence[PlacedCut], tool: Tool) -> Verdict:
    """The worst verdict of the cuts of a tool with its holder changed; what can't be told does not count."""
    prepared = own[0].prepared
    scene = prepared.scene
    tools = tuple(tool if t.id == tool.id else t for t in scene.tools)
    try:
        changed = Prepared(replace(scene, tools=tools), like=prepared)
    except TightsideError:
        return Verdict.NOT_CHECKED
    said = [result_of(changed, placed.orientation, placed.cut, placed.done).verdict for placed in own]
    return max(said, key=lambda v: v.severity)


def _keys(prepared: Prepared) -> Keys:
    try:
        return Keys(key_access(prepared))
    except TightsideError as error:
        return Keys((), error.message)
