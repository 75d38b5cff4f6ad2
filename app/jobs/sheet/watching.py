"""The watch list: which places to watch, what is near what there, what stops the run. In words.

1. Tight places come in machining order, the three tightest at most; what is tight beyond them is named in a line.
2. Where something hits or can hit, those places stand there instead, and nothing is said of pins.
3. STOP is what set-up errors may use up of the gap: clearance less spare, rounded up. A pin lies between the two.
4. Contact is never a number that could be read as room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from app.jobs.results import Check, CutResult, MoveResult, name_of_move
from app.jobs.sheet.content import Watch, WatchList
from app.jobs.sheet.facts import CutName
from app.jobs.sheet.lengths import NBSP, Lengths, pin_between
from app.jobs.words import angles_text, cause, name_of, nearest_bodies, reason, side_phrase, tightest_first
from app.jobs.words import moves_tightest_first as moves_first
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Vector
from kinematics.report import CutReport, SwingReport
from kinematics.verdict import Verdict

MOST_WATCHED = 3
MOST_NAMED = 4
NEAREST = 3
SAME_PLACE = 0.05  # mm
BAD = (Verdict.HITS, Verdict.CAN_HIT)
BESIDE = {"below": "over", "above": "under"}
FROM_DOOR = "Seen from the door."


def watched(check: Check) -> tuple[CutResult, ...]:
    """The cuts to watch, in machining order: those that hit or can hit, else the tight ones, three at most."""
    wanted = BAD if check.verdict in BAD else (Verdict.TIGHT,)
    chosen = [c for c in tightest_first(check.cuts) if c.verdict in wanted][:MOST_WATCHED]
    return tuple(c for c in check.cuts if c in chosen)


def watch_list(
    check: Check, placed: Mapping[CutName, PlacedCut], looks: Mapping[CutName, str], L: Lengths
) -> WatchList:
    """The list. `looks`: from where a place is seen that is hidden from the door, "" for nowhere."""
    cuts = watched(check)
    moves = _watched_moves(check)[: MOST_WATCHED - len(cuts)]
    order = {o.name: float(i) for i, o in enumerate(check.scene_file.scene.orientations)}
    found = [(order[c.orientation], _cut_item(c, placed[(c.orientation, c.cut)], looks, L)) for c in cuts]
    found += [(_when(m, order), _move_item(m, L)) for m in moves]
    items = tuple(item for _, item in sorted(found, key=lambda one: one[0]))
    title = {Verdict.HITS: "WHAT HITS", Verdict.CAN_HIT: "WHAT CAN HIT"}.get(check.verdict, "WATCH HERE, in this order")
    title = title if items else "NEAREST, three of all cuts"
    return WatchList(title, items, _more(check, cuts, moves, L), _nearest(check, L))


def _when(move: MoveResult, order: Mapping[str, float]) -> float:
    """Where a move comes in machining order: a turn before the orientation that it leads to, home last."""
    if move.orientation is not None:
        return order.get(move.orientation, 0.0) + 0.5
    return order.get(move.end, float(len(order))) - 0.5


def _wanted(check: Check) -> tuple[Verdict, ...]:
    return BAD if check.verdict in BAD else (Verdict.TIGHT,)


def _watched_moves(check: Check) -> list[MoveResult]:
    return [m for m in moves_first((*check.links, *check.swings)) if m.verdict in _wanted(check)]


def _more(check: Check, cuts: Sequence[CutResult], moves: Sequence[MoveResult], L: Lengths) -> tuple[str, ...]:
    """What is as bad and has no place of its own on the list; on a sheet that must not be run also what is tight."""
    lines = []
    bad_cuts = [c for c in tightest_first(check.cuts) if c.verdict in BAD and c not in cuts]
    tight_cuts = [c for c in tightest_first(check.cuts) if c.verdict is Verdict.TIGHT and c not in cuts]
    rest = moves_first((*check.links, *check.swings))
    bad = [short(c, L) for c in bad_cuts] + [move_short(m, L) for m in rest if m.verdict in BAD and m not in moves]
    tight = [short(c, L) for c in tight_cuts]
    tight += [move_short(m, L) for m in rest if m.verdict is Verdict.TIGHT and m not in moves]
    for title, texts in (("As bad:", bad), ("Tight too:", tight)):
        if texts:
            lines.append(f"{title} {'; '.join(texts)}.")
    return tuple(lines)


def _nearest(check: Check, L: Lengths) -> str:
    clear = [
        c for c in tightest_first(check.cuts) if c.verdict is Verdict.CLEAR and isinstance(c, CutReport) and c.worst
    ]
    if check.verdict in BAD or not clear:
        return ""
    first = "" if check.verdict is Verdict.CLEAR else "Next: "
    return f"{first}{'; '.join(short(c, L) for c in clear[:NEAREST])}."


def short(cut: CutResult, L: Lengths) -> str:
    """One place in a few words: V6 drain drill, T6: nut to clamp screws L and R 3.8."""
    return f"{name_of(cut)}, {cut.tool}: {pair_short(cut)} {gap_of(cut, L)}".rstrip()


def pair_short(cut: CutResult) -> str:
    """The pair of the verdict, or what else it comes from."""
    if not isinstance(cut, CutReport):
        return "not checked"
    match cause(cut):
        case "depth":
            return "flute too short"
        case "travel" if cut.travel.verdict is not Verdict.CLEAR:
            return "cannot reach"
        case "unknown":
            return "not checked"
    if cut.worst is None:
        return "nothing near"
    return f"{cut.worst.between[0]} to {nearest_bodies(cut, cut.worst)}"


def gap_of(cut: CutResult, L: Lengths) -> str:
    """The gap of the pair in a few letters; "?" where it was not established, "" where the pair is not the matter."""
    if not isinstance(cut, CutReport) or cause(cut) == "unknown":
        return "?"
    if cut.worst is None or cause(cut) == "depth" or (cut.verdict is Verdict.HITS and cause(cut) == "travel"):
        return ""
    clearance = cut.worst.clearance
    if clearance is None:
        return "overlap" if cut.worst.contact else "?"
    if clearance.value < 0.0:
        return f"overlap {L.up(-clearance.value)}"
    return "touches" if clearance.at_least <= 0.0 else L.down(clearance.at_least)


def move_short(move: MoveResult, L: Lengths) -> str:
    """A swing or link in a few words."""
    if not isinstance(move, SwingReport) or move.between is None:
        return name_of_move(move)
    where = f" at {angles_text(move.at_angles_deg)}" if move.at_angles_deg else ""
    return f"{name_of_move(move)}: {move.between[0]} to {move.between[1]} {_move_gap(move, L)}{where}"


def _move_gap(move: SwingReport, L: Lengths) -> str:
    if move.contact or move.clearance is None:
        return "overlap"
    if move.clearance.at_least <= 0.0:
        return "touches"
    return L.down(move.clearance.at_least)


# --- one place ----------------------------------------------------------------------------------


def _cut_item(cut: CutResult, placed: PlacedCut, looks: Mapping[CutName, str], L: Lengths) -> Watch:
    key = (cut.orientation, cut.cut)
    name = f"{name_of(cut)}, {cut.tool} in {cut.holder}"
    report = cut if isinstance(cut, CutReport) else None
    pair = report.worst if report else None
    if report is None or pair is None or cause(cut) in ("depth", "travel", "unknown"):
        return Watch(key, name, "", "", "", why_text(cut, L), "", "", "", "", "", cut.verdict)
    gap = stop = pin = seen = ""
    if cut.verdict is Verdict.TIGHT and pair.clearance is not None and pair.spare is not None:
        room, used = pair.clearance.at_least, pair.clearance.at_least - pair.spare
        gap, stop = f"gap {L.unit(L.down(room))}", f"STOP under {L.unit(L.up(used))}"
        size = pin_between(used, room, L.units)
        unit = "inch" if L.units == "inch" else "mm"
        pin = f"{size}{NBSP}{unit} pin must pass" if size else "no half-millimetre pin lies between the two"
        seen = _seen(report, looks.get(key))
    elif cut.verdict is Verdict.CAN_HIT and pair.clearance is not None and pair.clearance.at_least > 0.0:
        used = _used(report, pair.clearance.at_least)
        gap = f"gap {L.unit(L.down(pair.clearance.at_least))}, but set-up errors can use up {L.unit(L.up(used))}"
    else:
        gap = _contact(report, L)
    beside = BESIDE.get(report.side or "", "beside") if cut.verdict is not Verdict.HITS else "into"
    return Watch(
        cut=key,
        name=name,
        place=place_words(placed, report),
        part=pair.between[0],
        beside=beside,
        bodies=nearest_bodies(report, pair),
        where=_where(report),
        gap=gap,
        stop=stop,
        pin=pin,
        seen=seen,
        verdict=cut.verdict,
    )


def _used(report: CutReport, room: float) -> float:
    pair = report.worst
    assert pair is not None, "asked of a pair"
    if pair.spare is not None:
        return room - pair.spare
    return pair.setup_error.total if pair.setup_error else room


def _contact(report: CutReport, L: Lengths) -> str:
    pair = report.worst
    assert pair is not None, "asked of a pair"
    if pair.contact == "inside":
        return "one stands inside the other"
    if pair.clearance is not None and pair.clearance.value < 0.0:
        return f"overlap {L.unit(L.up(-pair.clearance.value))}"
    return "overlap" if pair.contact else "they touch, or as good as"


def _where(report: CutReport) -> str:
    where = side_phrase(report) or ""
    if report.clock is None or len(report.ties) == 0 or report.worst is None:
        return where
    others = [b for a, b in report.ties if a == report.worst.between[0] and b != report.worst.between[1]]
    return f"{where} ({report.worst.between[1]})" if others else where


def _seen(report: CutReport, look: str | None) -> str:
    match report.is_hidden_from_operator:
        case False:
            return FROM_DOOR
        case True:
            if look == "":
                return "HIDDEN from the door and from either side."
            return f"HIDDEN from the door: look {look}." if look else "HIDDEN from the door."
    return "Whether it is seen from the door is not known."


def _move_item(move: MoveResult, L: Lengths) -> Watch:
    name = name_of_move(move)
    name = f"TABLE TURN {move.start} to {move.end}" if move.orientation is None else name
    if not isinstance(move, SwingReport) or move.between is None:
        return Watch(None, name, "", "", "", move.why or "", "", "", "", "", "", move.verdict)
    place = f"at {angles_text(move.at_angles_deg)}" if move.at_angles_deg else "at the lift"
    gap = ""
    if move.verdict is Verdict.HITS or move.clearance is None or move.clearance.at_least <= 0.0:
        gap = "overlap" if move.contact else "they touch, or as good as"
    else:
        gap = f"gap at least {L.unit(L.down(move.clearance.at_least))}"
        if move.spare is not None:
            gap += f", set-up errors can use up {L.unit(L.up(move.clearance.at_least - move.spare))}"
    part = f"{move.between[0]} of {move.tool}" if move.tool else move.between[0]
    return Watch(None, name, place, part, "to", move.between[1], move.side or "", gap, "", "", "", move.verdict)


def why_text(cut: CutResult, L: Lengths) -> str:
    """What is the matter where it is not a pair: flute, travel, or that it was not checked."""
    if isinstance(cut, CutReport):
        if cause(cut) == "depth" and cut.depth is not None:
            needs, has = L.unit(L.up(cut.depth.needs)), L.unit(L.down(cut.depth.has))
            return f"flute too short: {needs} needed, {has} there"
        if cause(cut) == "travel" and cut.travel.why:
            return f"cannot reach: {cut.travel.why}"
    return reason(cut)


# --- where in the cut ---------------------------------------------------------------------------


def place_words(placed: PlacedCut, report: CutReport) -> str:
    """Where the tool stands in its cut when it is nearest: at full depth, at the back. "" where that is not known."""
    if report.worst is None or report.worst.tip_W is None:
        return ""
    tip = np.asarray(report.worst.tip_W)
    points = np.concatenate([s.points for s in placed.move.feature])
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    is_level = high - low <= SAME_PLACE
    if tip[2] <= low + SAME_PLACE:
        words = ["at full depth" if is_level else "at its lowest"]
    elif tip[2] <= high + SAME_PLACE:
        words = ["on its way"]
    else:
        words = ["on the way out"]
    words += _side_of(points, tip, placed.prepared.scene.machine.operator)
    return ", ".join(words)


def _side_of(points: np.ndarray, tip: np.ndarray, operator: Vector) -> list[str]:
    """At which side of all tip positions this one is, as the operator stands; nothing for a single place."""
    right = np.cross((0.0, 0.0, 1.0), operator)
    found = []
    for axis, low_word, high_word in ((-np.asarray(operator), "at the front", "at the back"), (right, "left", "right")):
        along, at = points @ axis, float(tip @ axis)
        half = float(np.ptp(along)) / 2
        off = at - float(along.min()) - half
        if half > 1.0 and abs(off) > 0.9 * half:
            found.append(high_word if off > 0.0 else low_word)
    return found
