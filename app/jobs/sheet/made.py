"""A sheet's content from its facts: the verdict and the sentence that matters, the order, the turns, what is not known.

Every part of the sheet that has rules of its own has a module of its own; here they come together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from app.jobs.report import program
from app.jobs.results import Check, CutResult, MoveResult
from app.jobs.sheet.content import OrderRow, SheetContent
from app.jobs.sheet.facts import CutName, Facts
from app.jobs.sheet.lengths import NBSP, Lengths
from app.jobs.sheet.set_up import angles, part_zero, set_up
from app.jobs.sheet.tooling import tool_notes, tool_rows
from app.jobs.sheet.watching import BAD, MOST_NAMED, gap_of, move_short, pair_short, short, watch_list, why_text
from app.jobs.words import (
    CANNOT_REACH,
    cause,
    moves_tightest_first,
    name_of,
    nearest_bodies,
    second_opinion,
    side_phrase,
    tightest_first,
    verdict_word,
)
from kinematics.machine import control_coordinates
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import CutReport, SwingReport
from kinematics.scene import SetupErrors, Tool
from kinematics.verdict import Verdict

ACTIONS = {
    Verdict.CLEAR: "run",
    Verdict.TIGHT: "run, with the watch list",
    Verdict.NOT_CHECKED: "LOOK FIRST",
    Verdict.CAN_HIT: "DO NOT RUN",
    Verdict.HITS: "DO NOT RUN",
}
BEFORE = (
    "This sheet is an aid: measured tool lengths, stick-outs and part zero decide. Guards shut. First run: single "
    "block, low rapid. Turn the table only fully retracted. Follow the machine builder's manual, local rules and "
    "trained staff. If anything differs from this sheet: stop, ask."
)
PIN = (
    "Pin: fixture empty, spindle stopped, in the set-up mode and only as the machine builder's manual allows."
)  # fmt: skip
DEFAULT = "(default)"  # how a scene marks what its file did not say
ERROR_WORDS = ("location ", "body model ", "diameters ", "stick-out error ", "tilt error ")
SUM_DIGITS = 8  # of the checksum, enough to tell two versions apart by eye
MOST_TURNS = 6  # swings that are listed one by one
WORDS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


def sheet_content(
    facts: Facts, prepared: Prepared, L: Lengths, *, date: str, looks: Mapping[CutName, str] | None = None
) -> SheetContent:
    """All texts of a sheet.

    Parameters
    ----------
    date : as it is to be printed.
    looks : for cuts of the watch list, from where the gap is seen, where that is known.
    """
    check, scene = facts.check, facts.scene
    placed = {(p.orientation.name, p.cut.name): p for p in placed_cuts(prepared)}
    watch = watch_list(check, placed, looks or {}, L)
    return SheetContent(
        title=scene.title,
        machine=scene.machine.title,
        units=L.name,
        verdict=check.verdict,
        word=_word(check),
        action=ACTIONS[check.verdict],
        may_run=facts.may_run,
        sentences=tuple(_sentences(check, L)),
        set_up=set_up(facts, prepared, L),
        zero=part_zero(facts, prepared, L),
        tools=tool_rows(facts, L),
        tool_notes=tool_notes(facts),
        order=tuple(_order(facts, L)),
        turns=tuple(_turns(facts, L)),
        watch=watch,
        not_checked=tuple(f"{item.what}: {item.why}" for item in check.not_checked),
        not_modelled=", ".join(scene.machine.not_modelled) or "nothing is said",
        assumed=tuple(_assumed(facts, L)),
        pin=PIN,
        before=BEFORE,
        sign=_sign(facts, sum(bool(item.pin) for item in watch.items)),
        made=f"{date}   {program()}   inputs {_sum(check)}   (made from the files of that sum only)",
    )


def _sum(check: Check) -> str:
    text = check.scene_file.input_sha256[:SUM_DIGITS]
    return f"{text[:4]} {text[4:]}"


def _word(check: Check) -> str:
    """The verdict's word: out of travel alone is "cannot reach"."""
    hits = [verdict_word(c) for c in check.cuts if c.verdict is Verdict.HITS]
    moves = [m for m in (*check.links, *check.swings) if m.verdict is Verdict.HITS]
    if hits and not moves and set(hits) == {CANNOT_REACH}:
        return CANNOT_REACH
    return str(check.verdict)


# --- the sentence that matters ------------------------------------------------------------------


def _sentences(check: Check, L: Lengths) -> Iterator[str]:
    if not check.cuts:
        yield "This set-up has no cut: nothing was checked."
        return
    match check.verdict:
        case Verdict.HITS | Verdict.CAN_HIT:
            yield from _bad_sentences(check, L)
        case Verdict.NOT_CHECKED:
            items = check.not_checked
            more = f" And {len(items) - 1} more, listed below." if len(items) > 1 else ""
            yield f"Not checked: {items[0].what}: {items[0].why}.{more}"
            if any(c.verdict is Verdict.TIGHT for c in check.cuts):
                yield from _tight_sentences(check, L)
        case Verdict.TIGHT:
            yield from _tight_sentences(check, L)
        case Verdict.CLEAR:
            first = tightest_first(check.cuts)[0]
            n = len(check.cuts)
            cuts = "The only cut keeps" if n == 1 else f"All {n} cuts keep"
            turns = ", and so does every turn of the table" if check.swings else ""
            yield f"{cuts} the room that was asked for{turns}. Least: {short(first, L)}{_unit_after(first, L)}."


def _unit_after(cut: CutResult, L: Lengths) -> str:
    gap = gap_of(cut, L)
    return f"{NBSP}{L.units}" if gap[:1].isdigit() and L.units != "both" else ""


def _bad_sentences(check: Check, L: Lengths) -> Iterator[str]:
    bad = [c for c in tightest_first(check.cuts) if c.verdict in BAD]
    for cut in bad[:2]:
        yield f"{name_of(cut)}: {_bad_cut(cut, L)}."
    moves = [m for m in moves_tightest_first((*check.links, *check.swings)) if m.verdict in BAD]
    for move in moves[: 1 if bad else 2]:
        yield f"{move_short(move, L)}."
    rest = len(bad[2:]) + len(moves[1 if bad else 2 :])
    if rest:
        yield f"{_counted(rest, 'place')} more, listed below."
    if check.not_checked:
        yield f"Not checked: {_counted(len(check.not_checked), 'thing').lower()}, listed below."


def _bad_cut(cut: CutResult, L: Lengths) -> str:
    if not isinstance(cut, CutReport) or cut.worst is None or cause(cut) != "pair":
        return why_text(cut, L)
    pair, bodies = cut.worst, nearest_bodies(cut, cut.worst)
    place = f", {where}" if (where := side_phrase(cut)) else ""
    if cut.verdict is Verdict.HITS:
        depth = pair.clearance.value if pair.clearance is not None else 0.0
        by = f" by {L.unit(L.up(-depth))}" if depth < 0.0 else ""
        return f"{pair.between[0]} of {cut.tool} and {bodies} overlap{by}{place}"
    if pair.clearance is None or pair.clearance.at_least <= 0.0:
        return f"{pair.between[0]} of {cut.tool} and {bodies} touch, or as good as{place}"
    gap = L.unit(L.down(pair.clearance.at_least))
    return f"gap {gap} ({pair.between[0]} of {cut.tool}, {bodies}), but set-up errors can use it up"


def _tight_sentences(check: Check, L: Lengths) -> Iterator[str]:
    tight = [c for c in tightest_first(check.cuts) if c.verdict is Verdict.TIGHT]
    moves = [m for m in moves_tightest_first((*check.links, *check.swings)) if m.verdict is Verdict.TIGHT]
    n = len(check.cuts)
    if tight:
        ordered = [c for c in check.cuts if c in tight[:MOST_NAMED]]
        names = _listed([name_of(c) for c in ordered] + _and_more(len(tight) - len(ordered)))
        places = "tight place" if len(tight) == 1 else "tight places"
        yield f"{_number(len(tight))} {places} of {n} {'cut' if n == 1 else 'cuts'}: {names}. {_passes(ordered, L)}"
    if moves:
        rest = f", and {len(moves) - 1} more" if len(moves) > 1 else ""
        yield f"Tight between cuts: {move_short(moves[0], L)}{rest}."
        if not tight:
            yield "Every cut keeps the room that was asked for."


def _and_more(n: int) -> list[str]:
    return [f"{n} more"] if n > 0 else []


def _passes(cuts: Sequence[CutResult], L: Lengths) -> str:
    """How near the tool passes what, in one go where it is the same bodies everywhere."""
    near = [(gap_of(c, L), nearest_bodies(c, c.worst)) for c in cuts if isinstance(c, CutReport) and c.worst]
    bodies = dict.fromkeys(b for _, b in near)
    if len(bodies) == 1:
        gaps = [L.unit(g) for g, _ in near] if L.units == "both" else [g for g, _ in near[:-1]] + [L.unit(near[-1][0])]
        return f"The tool passes {_listed(gaps)} from {next(iter(bodies))}."
    return f"The tool passes {_listed([f'{L.unit(g)} from {b}' for g, b in near])}."


def _number(n: int) -> str:
    return WORDS[n] if n < len(WORDS) else str(n)


def _counted(n: int, what: str) -> str:
    return f"{_number(n)} {what}" + ("" if n == 1 else "s")


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


# --- order and turns ----------------------------------------------------------------------------


def _order(facts: Facts, L: Lengths) -> Iterator[OrderRow]:
    counted = {o.orientation: o.angles_control for o in facts.check.work_offsets}
    for orientation in facts.scene.orientations:
        cuts = [c for c in facts.check.cuts if c.orientation == orientation.name]
        first = tightest_first(cuts)[0] if cuts else None
        yield OrderRow(
            name=orientation.name,
            angles=angles(counted.get(orientation.name, orientation.angles_deg)),
            cuts=", ".join(f"{c.tool} {c.cut}" for c in cuts) or "no cut",
            tightest=_tightest(first, len(cuts)) if first else "",
            gap=gap_of(first, L) if first else "",
            verdict=first.verdict if first else Verdict.CLEAR,
        )


def _tightest(cut: CutResult, n_cuts: int) -> str:
    side = (side_phrase(cut) or "").replace(" of the tool", "").replace(" the tool", "")
    where = f", {side}" if side and cause(cut) == "pair" else ""
    return (f"{cut.cut}: " if n_cuts > 1 else "") + pair_short(cut) + where


def _turns(facts: Facts, L: Lengths) -> Iterator[str]:
    scene, swings = facts.scene, facts.check.swings
    if not swings:
        if scene.machine.table_axes:
            yield "The table does not turn between the cuts of this set-up."
        return
    made = [s for s in swings if isinstance(s, SwingReport)]
    heights = sorted({s.lift_gauge_z for s in made})
    match scene.lift.kind:
        case "top":
            yield f"Only with the spindle at the top of Z: {_height(facts, scene.machine.z.limits[1], L)}."
        case "gauge_z" if heights:
            yield f"The program has to bring the spindle to {_height(facts, heights[0], L)} before every turn."
        case _:
            yield "The program leaves the tool at the retract of its last cut; from there the table turns."
    yield from _least(facts, made, L)
    if scene.lift.kind == "retract" and made:
        shown = made if len(made) <= MOST_TURNS else sorted(made, key=lambda s: s.lift_gauge_z)[:MOST_TURNS]
        rest = f"; {len(made) - len(shown)} more are higher" if len(shown) < len(made) else ""
        yield f"Gauge line at the turn: {'; '.join(_turn_text(s, L) for s in shown)}{rest}."
    unknown = [s for s in swings if s.verdict is Verdict.NOT_CHECKED]
    if unknown:
        yield f"NOT CHECKED: {', '.join(f'{s.start} to {s.end}' for s in unknown)}."


def _height(facts: Facts, gauge_z: float, L: Lengths) -> str:
    """A height of the gauge line over the table, and as the control counts it."""
    control = facts.scene.machine.control
    text = f"gauge line {L.unit(L.up(gauge_z))} over the table"
    if control is None:
        return text
    return f"{text}, Z {L.fine(control_coordinates(control, (0.0, 0.0, gauge_z))[2])} in the control"


def _turn_text(swing: SwingReport, L: Lengths) -> str:
    least = swing.least_lift_gauge_z
    return f"{swing.start} to {swing.end} {L.down(swing.lift_gauge_z)}" + (f" (least {L.up(least)})" if least else "")


def _least(facts: Facts, made: Sequence[SwingReport], L: Lengths) -> Iterator[str]:
    with_lift = [(height, s) for s in made if (height := _clear_height(s)) is not None]
    never = [s for s in made if _clear_height(s) is None and s.verdict is not Verdict.NOT_CHECKED]
    if with_lift:
        least, swing = max(with_lift, key=lambda pair: pair[0])
        tools = " and ".join(dict.fromkeys(_tools_of(facts, swing)))
        yield f"Least that is clear: {L.unit(L.up(least))} over the table ({swing.start} to {swing.end}, {tools})."
    if never:
        names = ", ".join(f"{s.start} to {s.end}" for s in never[:MOST_NAMED]) + (
            f" and {len(never) - MOST_NAMED} more" if len(never) > MOST_NAMED else ""
        )
        pair = never[0].between
        between = f" ({pair[0]} to {pair[1]})" if pair else ""
        wanted = L.unit(L.given(facts.scene.keep_off.swing))
        yield f"At no height is all of {wanted} spare there: {names}{between}."


def _clear_height(swing: SwingReport) -> float | None:
    """The least height that is known to be clear: where none lower is, that at which the program turns the table."""
    if swing.least_lift_gauge_z is None and swing.verdict is Verdict.CLEAR:
        return swing.lift_gauge_z
    return swing.least_lift_gauge_z


def _tools_of(facts: Facts, swing: MoveResult) -> list[str]:
    """The tools that a swing is checked with: of the last cut before it and of the first after it."""
    by_orientation = {o.name: o.cuts for o in facts.scene.orientations if o.cuts}
    found = []
    if swing.start in by_orientation:
        found.append(by_orientation[swing.start][-1].tool)
    if swing.end in by_orientation:
        found.append(by_orientation[swing.end][0].tool)
    return found


# --- what is not known, and who signs -----------------------------------------------------------


def _assumed(facts: Facts, L: Lengths) -> Iterator[str]:
    scene = facts.scene
    defaults = [t for t in scene.assumed if t.endswith(DEFAULT) and t.startswith(ERROR_WORDS)]
    yield _errors(scene.setup_errors, scene.tools, L, n_defaults=len(defaults))
    grouped: dict[str, list[str]] = {}
    for text in scene.assumed:
        if text in defaults:
            continue
        name, colon, what = text.partition(": ")
        grouped.setdefault(what if colon else text, []).append(name if colon else "")
    for what, names in grouped.items():
        owners = ", ".join(name for name in names if name)
        yield f"{owners}: {what}" if owners else what
    own = [b.name for b in scene.bodies if b.errors.location is not None or b.errors.body_model is not None]
    if own:
        yield f"errors of their own: {', '.join(own)}"
    yield from facts.check.scene_file.notes
    said = second_opinion(facts.check)
    yield f"second opinion {said}"


def _errors(errors: SetupErrors, tools: Sequence[Tool], L: Lengths, *, n_defaults: int) -> str:
    """The set-up errors, how many of them are the program's own, and what was measured."""
    measured = [t.id for t in tools if t.is_stick_out_measured]
    of_ours = {0: "", 5: " (defaults)"}.get(n_defaults, f" ({n_defaults} of these are defaults)")
    out = f"stick-out \u00b1{L.given(errors.stick_out)}"
    known = f"measured: {', '.join(measured)}" if measured else "nothing measured"
    return (
        f"part place {L.given(errors.location)}, models {L.given(errors.body_model)}, "
        f"diameters {L.given(errors.diameters)}, {out}, tilt {errors.tilt_deg:g}\u00b0{of_ours}; {known}"
    )


def _sign(facts: Facts, n_pins: int) -> tuple[str, ...]:
    if not facts.may_run:
        return ("not released, seen by", "date")
    first = ("set by", "tools by", "first part")
    gaps = tuple(f"gap {i}" for i in range(1, n_pins + 1))
    released = "released tight by" if facts.check.verdict is Verdict.TIGHT else "released by"
    return (*first, *gaps, released, "date")
