"""How short may the tools stick out: every cut with every holder as its answer comes, then every tool.

1. Holders of one cut or tool are ranked by how far the tip gives way at the least clear stick-out.
2. A tool is told once all its cuts are: one stick-out has to serve them all.
3. Bodies, shapes and trees are made ready once, for all cuts and holders.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from app.jobs.report import Json, nearest
from app.scenes.catalogue_holders import catalogue_holders
from app.scenes.catalogues import Catalogues
from app.scenes.document import nearest as nearest_word
from app.scenes.faults import Fault
from app.scenes.reader import SceneFile
from kinematics.answers.ranges import Range
from kinematics.answers.stick_out import CutStickOuts, Lifts, StickOutAnswer, band, grips_shank
from kinematics.answers.tool_stick_out import CutName, ToolAnswer, over_all_cuts
from kinematics.errors import TightsideError
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Holder, Scene, Tool
from kinematics.verdict import Verdict, worst


class NameFault(TightsideError):
    """No cut, or no holder, is called so."""


@dataclass(frozen=True, slots=True)
class CutAnswers:
    """The stick-outs of one cut, one answer for each holder, the stiffest first."""

    orientation: str
    cut: str
    tool: str
    answers: tuple[StickOutAnswer, ...]

    @property
    def best(self) -> Verdict:
        """The best verdict that some holder reaches at some stick-out."""
        said = [a.best for a in self.answers if a.best is not None]
        return min(said, key=lambda v: v.severity, default=Verdict.NOT_CHECKED)


@dataclass(frozen=True, slots=True)
class ToolAnswers:
    """The stick-outs that serve all cuts of one tool, one answer for each holder, the stiffest first."""

    tool: str
    cuts: tuple[CutName, ...]
    answers: tuple[ToolAnswer, ...]


@dataclass(frozen=True, slots=True)
class Holders:
    """The holders to look at.

    Parameters
    ----------
    chosen : in this order; those of the catalogues only where they grip the tool's shank.
    from_catalogue : names of the chosen ones that were taken from the catalogues without being named.
    notes : what is worth knowing about the choice.
    faults : what is wrong with files of the catalogues that could not be read.
    """

    chosen: tuple[Holder, ...]
    from_catalogue: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()

    def for_tool(self, tool: Tool) -> Iterator[Holder]:
        for holder in self.chosen:
            if holder.name not in self.from_catalogue or grips_shank(holder, tool):
                yield holder


Result = CutAnswers | ToolAnswers


def holders_of(
    scene: Scene, names: Sequence[str] = (), *, with_catalogue: bool = False, catalogues: Catalogues | None = None
) -> Holders:
    """The scene's holders, or those that are named; with the catalogues', those of them that fit the spindle.

    Raises NameFault for a name that neither the scene nor the catalogues know.
    """
    own = {h.name: h for h in scene.holders}
    if not names and not with_catalogue:
        return Holders(scene.holders, notes=tuple(_unknown_shanks(scene.holders)))
    found, faults = catalogue_holders(catalogues or Catalogues())
    others = {h.name: h for h in found if h.name not in own}
    if names:
        known = {**own, **others}
        for name in names:
            if name not in known:
                near = nearest_word(name, known)
                hint = f"nearest: {near}" if near else f"holders of this scene: {', '.join(own) or 'none'}"
                raise NameFault(f"no holder '{name}' in this scene or in the library; {hint}")
        chosen = tuple(known[name] for name in dict.fromkeys(names))
        if not with_catalogue:
            return Holders(chosen, notes=tuple(_unknown_shanks(chosen)), faults=faults)
    else:
        chosen = scene.holders
    interfaces = {_folded(t.holder.interface) for t in scene.tools if t.holder.interface is not None}
    more = [h for h in others.values() if h not in chosen]
    notes = [*_unknown_shanks(chosen)]
    if interfaces:
        more = [h for h in more if h.interface is not None and _folded(h.interface) in interfaces]
    else:
        notes.append("which spindle interface the machine has is not known: holders of every interface are looked at")
    return Holders((*chosen, *more), frozenset(h.name for h in more), tuple(notes), faults)


def _unknown_shanks(holders: Iterable[Holder]) -> Iterator[str]:
    unknown = [h.name for h in holders if h.shanks is None]
    if unknown:
        which = "holder" if len(unknown) == 1 else "holders"
        yield f"no shanks given for {which} {', '.join(unknown)}: whether the tools fit was not checked"


def _folded(text: str | None) -> str:
    return " ".join((text or "").casefold().split())


def cut_called(scene: Scene, name: str) -> CutName:
    """The cut called ORIENTATION/CUT. Raises NameFault."""
    names = {f"{o.name}/{c.name}": (o.name, c.name) for o, c in scene.cuts()}
    if name not in names:
        near = nearest_word(name, names)
        hint = f"nearest: {near}" if near else f"cuts of this scene: {', '.join(names)}"
        raise NameFault(f"no cut '{name}' in this scene; expected ORIENTATION/CUT; {hint}")
    return names[name]


def steps_of(scene: Scene, only: CutName | None = None) -> list[str]:
    """What the job does, step by step, in words for a progress line."""
    cuts = [f"{o.name} {c.name}" for o, c in scene.cuts() if only in (None, (o.name, c.name))]
    return [f"trying stick-outs of {name}, {i} of {len(cuts)} cuts" for i, name in enumerate(cuts, 1)]


def stick_outs(scene_file: SceneFile, holders: Holders, only: CutName | None = None) -> Iterator[Result]:
    """One result per cut in machining order, then one per tool; with `only`, that cut and no tool."""
    scene = scene_file.scene
    prepared = Prepared(scene)
    lifts = Lifts(prepared)
    by_tool: dict[str, list[tuple[CutName, dict[str, StickOutAnswer]]]] = {}
    for placed in placed_cuts(prepared):
        name = (placed.orientation.name, placed.cut.name)
        if only not in (None, name):
            continue
        answers = _answers(placed, lifts, holders)
        by_tool.setdefault(placed.tool.id, []).append((name, answers))
        yield CutAnswers(*name, placed.tool.id, tuple(sorted(answers.values(), key=_stiffest_first)))
    if only is None:
        for tool_id, made in by_tool.items():
            yield _of_tool(scene, scene.tool(tool_id), holders, made)


def _answers(placed: PlacedCut, lifts: Lifts, holders: Holders) -> dict[str, StickOutAnswer]:
    """The answers of one cut by holder; where the cut itself can't be laid out, each says why."""
    cut = CutStickOuts(placed, lifts)
    return {holder.name: cut.answer(holder) for holder in holders.for_tool(placed.tool)}


def _of_tool(
    scene: Scene, tool: Tool, holders: Holders, made: Sequence[tuple[CutName, dict[str, StickOutAnswer]]]
) -> ToolAnswers:
    answers = [
        over_all_cuts(scene, tool, holder, [(name, by_holder[holder.name]) for name, by_holder in made])
        for holder in holders.for_tool(tool)
    ]
    ranked = sorted(answers, key=lambda made: _stiffest_first(made.answer))
    return ToolAnswers(tool.id, tuple(name for name, _ in made), tuple(ranked))


def _stiffest_first(answer: StickOutAnswer) -> tuple[float, int]:
    """By bending; what is never clear by its best verdict, and what does not grip last."""
    bending = math.inf if answer.bending is None else answer.bending
    return bending, 9 if answer.best is None else answer.best.severity


def verdict_of(results: Sequence[Result]) -> Verdict:
    """The worst, over the cuts, of the best that some holder reaches."""
    said = [r.best for r in results if isinstance(r, CutAnswers)]
    return worst(said) if said else Verdict.CLEAR


def stick_outs_json(results: Sequence[Result], holders: Holders) -> Json:
    """The answers as the JSON object of `tightside stickout --json`."""
    return {
        "cuts": [_cut_json(r) for r in results if isinstance(r, CutAnswers)],
        "tools": [_tool_json(r) for r in results if isinstance(r, ToolAnswers)],
        "notes": list(holders.notes),
    }


def _cut_json(cut: CutAnswers) -> Json:
    answers = [_answer_json(answer) for answer in cut.answers]
    return {"orientation": cut.orientation, "cut": cut.cut, "tool": cut.tool, "answers": answers}


def _tool_json(tool: ToolAnswers) -> Json:
    answers = [
        {**_answer_json(a.answer), "dictated_by": None if a.dictated_by is None else list(a.dictated_by)}
        for a in tool.answers
    ]
    return {"tool": tool.tool, "cuts": [list(name) for name in tool.cuts], "answers": answers}


def _answer_json(answer: StickOutAnswer) -> Json:
    ratio = answer.length_to_diameter
    return {
        "holder": answer.holder,
        "now": nearest(answer.now),
        "least": {
            "not_hits": nearest(answer.least_not_hits),
            "cannot_hit": nearest(answer.least_cannot_hit),
            "clear": nearest(answer.least_clear),
        },
        "ranges": [_range_json(r) for r in answer.ranges],
        "limited_by": None if answer.limited_by is None else list(answer.limited_by),
        "grip_left": nearest(answer.grip_left),
        "bending": nearest(answer.bending),
        "limit": answer.limit,
        "longest_by": answer.longest_by,
        "length_to_diameter": nearest(ratio),
        "rule_of_thumb": None if ratio is None else band(ratio),
        "verdict": None if answer.best is None else str(answer.best),
        "why": answer.why,
    }


def _range_json(r: Range) -> Json:
    return {"from": nearest(r.start), "to": nearest(r.end), "verdict": str(r.verdict)}
