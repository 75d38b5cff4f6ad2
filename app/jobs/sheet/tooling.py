"""The tool table: what to set, what not to go under and what that guards, and which holder would be the wrong one.

1. A tool serves all its cuts: the length not to go under is the largest of theirs.
2. Where a cut hits, can hit or was not checked nobody is told what to set on a sheet that must not be run.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from app.jobs.sheet.content import ToolRow
from app.jobs.sheet.facts import Facts, Guard
from app.jobs.sheet.lengths import Lengths, signed
from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.scene import Holder, Scene, Tool
from kinematics.verdict import Verdict, worst

NEAR_END = 2.0  # mm; how near its end a range may end before the sheet says so
SAME = 1e-6  # mm


def tool_rows(facts: Facts, L: Lengths) -> tuple[ToolRow, ...]:
    """One row for each tool that is used, in the order in which it is first used."""
    return tuple(_row(facts, tool, L) for tool in used_tools(facts.scene))


def used_tools(scene: Scene) -> list[Tool]:
    return [scene.tool(name) for name in dict.fromkeys(cut.tool for _, cut in scene.cuts())]


def tool_notes(facts: Facts) -> tuple[str, ...]:
    scene = facts.scene
    notes = []
    if facts.may_run:
        groups: dict[tuple[str, Verdict], list[str]] = {}
        for wrong in facts.wrong_holders:
            groups.setdefault((wrong.holder, wrong.verdict), []).append(wrong.tool)
        for (name, verdict), tools in groups.items():
            holder = next(t.holder for t in scene.tools if t.holder.name == name)
            title = f" ({holder.title})" if holder.title else ""
            notes.append(f"{' or '.join(tools)} in {name}{title}: {str(verdict).upper()}.")
    used = {t.id for t in used_tools(scene)}
    if idle := [t.id for t in scene.tools if t.id not in used]:
        notes.append(f"Not used here: {', '.join(idle)}.")
    return tuple(notes)


def _row(facts: Facts, tool: Tool, L: Lengths) -> ToolRow:
    may_run = facts.may_run
    assembly = tool_assembly(tool, facts.scene.machine.spindle_nose)
    guards = [g for g in facts.guards if g.tool == tool.id]
    verdict = worst([c.verdict for c in facts.check.cuts if c.tool == tool.id])
    not_under, said = _not_under(tool, guards, verdict, L) if may_run else ("", _clear_from(guards, verdict, L))
    return ToolRow(
        id=tool.id,
        tool=tool_words(tool, assembly, L),
        holder=tool.holder.name,
        holder_title=tool.holder.title,
        set=L.given(tool.stick_out) if may_run else "",
        not_under=not_under,
        gauge_length=L.given(tool.stick_out + holder_length(tool.holder)) if may_run else "",
        slenderness=signed(f"{tool.stick_out / (2.0 * assembly.cutter_radius):.1f}"),
        guards=said,
        verdict=verdict,
    )


def holder_length(holder: Holder) -> float:
    return sum(step.length for step in holder.steps)


def tool_words(tool: Tool, assembly: ToolAssembly, L: Lengths) -> str:
    """Kind and diameter: end mill 10."""
    d = tool.d if tool.d is not None else 2.0 * assembly.cutter_radius
    return f"{tool.kind} {_short(L.given(d))}"


def _short(text: str) -> str:
    """A diameter without the decimal that says nothing: 10.0 is 10."""
    return text.removesuffix(".0") if "(" not in text else text


def _not_under(tool: Tool, guards: Sequence[Guard], verdict: Verdict, L: Lengths) -> tuple[str, str]:
    """The length not to go under, as printed, and what it guards; `verdict` : the worst of the tool's cuts."""
    is_unchecked = verdict is Verdict.NOT_CHECKED
    unknown = [g for g in guards if g.held is None]
    if unknown:
        return "?", f"{_cuts_of(unknown)}: {'not checked' if is_unchecked else unknown[0].why or 'not known'}"
    held = [(g, g.held) for g in guards if g.held is not None]
    least = max(h.least for _, h in held)
    dictating = [g for g, h in held if h.least >= least - SAME]
    return _up_to(least, tool.stick_out, L), "; ".join(_guarded(tool, dictating, held_all=guards, L=L))


def _up_to(least: float, now: float, L: Lengths) -> str:
    """The least length rounded up, but never over what is to be set."""
    text = L.up(least)
    step = 0.1 if L.units != "inch" else 0.0254
    return L.given(now) if least + step > now and least <= now and _rounds_over(text, now, L) else text


def _rounds_over(text: str, now: float, L: Lengths) -> bool:
    number = float(L.split(text)[0])
    return number * (25.4 if L.units == "inch" else 1.0) > now + SAME


def _guarded(tool: Tool, dictating: Sequence[Guard], *, held_all: Sequence[Guard], L: Lengths) -> Iterator[str]:
    first = dictating[0].held
    assert first is not None, "what dictates a length has one"
    names = _cuts_of(dictating)
    match first.limit:
        case "pair" if first.limited_by is not None:
            yield f"{names}: {' to '.join(first.limited_by)}"
        case "pair" | None:
            yield f"{names}: any shorter is worse" if first.limit is None else names
        case "tool":
            yield f"{names}: what cuts ends there"
        case "depth":
            yield f"{names}: flute for the depth"
        case _:
            yield f"{names}: {first.limit}"
    starts = [g.clear_from for g in held_all]
    if any(s is None for s in starts):
        yield "longer does not help"
    elif (best := max(s for s in starts if s is not None)) > tool.stick_out + SAME:
        yield f"clear from {L.up(best)}"
    held = [g.held for g in held_all if g.held is not None]
    shortest = min(held, key=lambda h: h.most)
    if shortest.most < tool.stick_out + NEAR_END:
        why = f" ({shortest.ended_by})" if shortest.ended_by else ""
        yield f"not over {L.down(shortest.most)}{why}"


def _cuts_of(guards: Sequence[Guard]) -> str:
    """Cuts by name; of several in as many orientations only these: V2, V3, V4."""
    if len(guards) == 1:
        return f"{guards[0].orientation} {guards[0].cut}"
    return ", ".join(dict.fromkeys(g.orientation for g in guards))


def _clear_from(guards: Sequence[Guard], verdict: Verdict, L: Lengths) -> str:
    """On a sheet that must not be run: from which length all cuts of the tool would be clear."""
    if verdict is Verdict.CLEAR:
        return "clear"
    starts = [g.clear_from for g in guards]
    known = [s for s in starts if s is not None]
    if not starts or len(known) < len(starts):
        names = ", ".join(f"{g.orientation} {g.cut}" for g in guards if g.clear_from is None)
        return f"no stick-out in this holder makes {names} clear"
    return f"would be clear from {L.unit(L.up(max(known)))} out"
