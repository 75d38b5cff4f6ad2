"""The dials of a cut: which there are, then, one by one, the worst spare at their values and the ranges of its verdict.

1. Offers come from the scene alone. A number that everything depends on in a known way has ranges that are proven; of
   others only single values are told.
2. A face comes bit by bit: each yield says more than the one before, and what is not there yet has no verdict.
3. Ranges of a stick-out are those of `tightside stickout`, others those of `tightside whatif`; so are the values.
4. In the file lengths are in its units; here they are mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from app.jobs.dial_faces import CurvePoint, DialCell, DialFace, DialKind, DialOffer, DialRange, DialScope
from app.jobs.whatif import DialValue, cuts_of_tool, dial_ranges, dial_values, ranges_of
from app.jobs.whatif_choices import WordDial, screw_swap
from app.jobs.whatif_dials import Bench, Dial, fixture_turn, number_dial
from kinematics.answers.ranges import Range, worst_of
from kinematics.answers.stick_out import CutStickOuts, Lifts
from kinematics.answers.worst_room import CutName, cut_room
from kinematics.errors import TightsideError
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Scene
from kinematics.verdict import Verdict, worst

SCREW_HEADS = "screw heads"
FIXTURE_TURN = "fixture turn"
COARSE, FINE = 9, 33  # values of a curve, first and in the end
FINEST = 0.02  # mm, degrees; no end of a range is told nearer than this
PASSES = (48, 512)  # of the whole face; how near to an end ranges are told, first and in the end: less than a pixel
SAME_SPARE = 0.005  # mm; a range whose spares differ by no more is flat


@dataclass(frozen=True, slots=True)
class _Asked:
    """One dial as it is asked about."""

    bench: Bench
    offer: DialOffer
    dial: Dial
    only: frozenset[CutName] | None
    face: DialFace

    def value_of(self, shown: float | str) -> float | str:
        """The value of the dial in its own unit, for one that is shown."""
        if isinstance(shown, str):
            return shown
        if self.offer.key == FIXTURE_TURN:
            return shown - float(self.offer.now)  # counted from where it stands
        return shown * self.per_shown

    @property
    def per_shown(self) -> float:
        return self.bench.per_mm if self.offer.kind is DialKind.LENGTH else 1.0

    def shown(self, value: float) -> float:
        """What is shown for a value in the dial's own unit."""
        if self.offer.key == FIXTURE_TURN:
            return value + float(self.offer.now)
        return value / self.per_shown


def cuts_in(scene: Scene, scope: DialScope, focus: CutName) -> frozenset[CutName] | None:
    """The cuts whose worst spare counts; None: all of them."""
    match scope:
        case DialScope.CUT:
            return frozenset({focus})
        case DialScope.TOOL:
            return cuts_of_tool(scene, next(c.tool for o, c in scene.cuts() if (o.name, c.name) == focus))
        case DialScope.ALL:
            return None


def dial_face(bench: Bench, offer: DialOffer, scope: DialScope, focus: CutName) -> Iterator[DialFace]:
    """The face of a dial, more complete with each one. What can't be told at all comes as one face that says why."""
    scene = bench.scene
    keep_off = max(scene.keep_off.cutter, scene.keep_off.holder)
    only = cuts_in(scene, scope, focus)
    face = DialFace(offer.key, scope, keep_off)
    try:
        asked = _Asked(bench, offer, dial_of(bench, offer), only, face)
        if offer.kind is DialKind.CHOICE:
            yield from _cells(asked)
        elif offer.key == f"{offer.tool}/stick_out":
            yield from _stick_out(asked)
        else:
            yield from _number(asked)
    except TightsideError as error:
        yield replace(face, why=error.message)


def dial_of(bench: Bench, offer: DialOffer) -> Dial:
    """The dial behind an offer. Raises DialFault."""
    if offer.key == FIXTURE_TURN:
        return fixture_turn(bench)
    if offer.key == SCREW_HEADS:
        return screw_swap(bench)
    if offer.kind is DialKind.CHOICE:
        return WordDial(offer.key, "", str(offer.now), "it has single values only")
    return number_dial(bench, offer.key)


# ---- choices ---------------------------------------------------------------------------------------


def _cells(asked: _Asked) -> Iterator[DialFace]:
    words = [choice.word for choice in asked.offer.choices]
    cells = {word: DialCell(word, None) for word in words}
    for n, value in enumerate(_told(asked, words), 1):
        word = str(value.value)
        cells[word] = DialCell(word, value.verdict, _spare(value), _where(value))
        yield replace(
            asked.face,
            cells=tuple(cells.values()),
            is_never_clear=n == len(words) and all(c.verdict is not Verdict.CLEAR for c in cells.values()),
            n_done=n,
            n_all=len(words),
        )


def _told(asked: _Asked, shown: Sequence[float | str]) -> Iterator[DialValue]:
    """What the set-up leaves at values as they are shown."""
    values = [asked.value_of(v) for v in shown]
    for v, told in zip(shown, _values(asked, values), strict=True):
        yield replace(told, value=v)


def _values(asked: _Asked, values: Sequence[float | str]) -> Iterator[DialValue]:
    """A screw's standard that the scene has already is told as it is."""
    return dial_values(asked.bench.live, asked.dial, values, only=asked.only, bench=asked.bench)


def _spare(value: DialValue) -> float | None:
    pair = value.room.pair if value.room else None
    return None if pair is None else pair.spare


def _where(value: DialValue) -> str:
    """Which cut it is, and which two; what is wrong where there is no such scene."""
    room = value.room
    if room is None:
        return value.why or ""
    if room.why is not None:
        return room.why
    if room.pair is None:
        return "nothing near"
    return f"{room.orientation} {room.cut}: {', '.join(room.pair.between)}"


# ---- numbers ---------------------------------------------------------------------------------------


def _number(asked: _Asked) -> Iterator[DialFace]:
    """A curve of a few values, then the ranges, then a finer curve."""
    low, high = asked.offer.low, asked.offer.high
    curve: dict[float, DialValue] = {}
    made = replace(asked.face, n_all=len(PASSES), ranges=(DialRange(low, high, None),))
    for value in _told(asked, _spread(low, high, COARSE)):
        curve[float(value.value)] = value
        yield replace(made, curve=_curve(curve))
    if asked.dial.why_no_ranges is None:
        for made in _ranges(asked, curve):
            yield made
    else:
        made = replace(made, ranges=())
    yield from _finer(asked, made, curve)


def _ranges(asked: _Asked, curve: dict[float, DialValue]) -> Iterator[DialFace]:
    """Ranges as they come, from the lower end up: roughly, where what is not certain counts as worse, then finely."""
    ends = float(asked.value_of(asked.offer.low)), float(asked.value_of(asked.offer.high))
    rough: list[Range] = []
    for n_done, parts in enumerate(PASSES):
        finest = max(FINEST * asked.per_shown, (ends[1] - ends[0]) / parts)
        pieces: list[Range] = []
        told = dial_ranges(asked.bench.live, asked.dial, *ends, only=asked.only, finest=finest, bench=asked.bench)
        for piece in told:
            pieces.append(piece)
            yield _with_ranges(asked, [*pieces, *_beyond(rough, piece.end)], curve, n_done)
        rough = pieces
        yield _with_ranges(asked, pieces, curve, n_done + 1)


def _beyond(pieces: Sequence[Range], end: float) -> list[Range]:
    """What of the pieces lies over a value."""
    return [replace(p, start=max(p.start, end)) for p in pieces if p.end > end]


def _with_ranges(asked: _Asked, pieces: Sequence[Range], curve: dict[float, DialValue], n_done: int) -> DialFace:
    """The face with what is known of its ranges; the rest has no verdict."""
    known = ranges_of(pieces, asked.dial.unit)
    found = [DialRange(asked.shown(r.start), asked.shown(r.end), r.verdict) for r in known]
    end = found[-1].end if found else asked.offer.low
    if asked.offer.high - end > 1e-6 and n_done == 0:
        found.append(DialRange(end, asked.offer.high, None))
    clear = [r.start for r in found if r.verdict is Verdict.CLEAR]
    is_length = asked.offer.kind is DialKind.LENGTH
    return replace(
        asked.face,
        curve=_curve(curve),
        ranges=_told_ranges(found, curve),
        least_clear=clear[0] if clear and is_length and clear[0] > found[0].start else None,
        is_never_clear=n_done == len(PASSES) and not clear and not _has_clear(curve),
        n_done=n_done,
        n_all=len(PASSES),
    )


def _finer(asked: _Asked, made: DialFace, curve: dict[float, DialValue]) -> Iterator[DialFace]:
    """More values for the curve, a few at a time: evenly, and at both sides of every end of a range."""
    low, high = (made.ranges[0].start, made.ranges[-1].end) if made.ranges else (asked.offer.low, asked.offer.high)
    more = [*_spread(low, high, FINE), *(r.start for r in made.ranges)]
    wanted = sorted({round(v, 6) for v in more} - {round(v, 6) for v in curve})
    for n, value in enumerate(_told(asked, wanted), 1):
        curve[float(value.value)] = value
        if n % 4 == 0 or n == len(wanted):
            yield replace(made, curve=_curve(curve), ranges=_told_ranges(made.ranges, curve))


def _spread(low: float, high: float, n: int) -> list[float]:
    return [round(low + (high - low) * k / (n - 1), 6) for k in range(n)]


def _curve(values: dict[float, DialValue]) -> tuple[CurvePoint, ...]:
    return tuple(CurvePoint(v, _spare(values[v])) for v in sorted(values))


def _has_clear(curve: dict[float, DialValue]) -> bool:
    return any(value.verdict is Verdict.CLEAR for value in curve.values())


def _told_ranges(ranges: Sequence[DialRange], curve: dict[float, DialValue]) -> tuple[DialRange, ...]:
    """Ranges with the least spare that was found in them, and where it is."""
    found = []
    for r in ranges:
        inside = [told for v, told in curve.items() if r.start <= v <= r.end and told.verdict is r.verdict]
        known = [(s, told) for told in inside if (s := _spare(told)) is not None]
        if not known or r.verdict is None:
            found.append(r)
            continue
        least, told = min(known, key=lambda item: item[0])
        most = max(s for s, _ in known)
        is_flat = len(known) > 2 and len(known) == len(inside) and most - least <= SAME_SPARE
        found.append(replace(r, spare=least, is_flat=is_flat, where=_where(told)))
    return tuple(found)


# ---- stick-outs ------------------------------------------------------------------------------------


def _stick_out(asked: _Asked) -> Iterator[DialFace]:
    """Ranges cut by cut, which together are those of the tool; then the curve."""
    prepared = Prepared(asked.bench.scene)
    cuts = [p for p in placed_cuts(prepared) if asked.only is None or (p.orientation.name, p.cut.name) in asked.only]
    own = [p for p in cuts if p.tool.id == asked.offer.tool]
    others = [p for p in cuts if p.tool.id != asked.offer.tool]
    rows: list[tuple[Range, ...]] = []
    lifts, curve = Lifts(prepared), dict[float, DialValue]()
    made = replace(asked.face, ranges=(DialRange(asked.offer.low, asked.offer.high, None),), n_all=len(own))
    for n, placed in enumerate(own, 1):
        answer = CutStickOuts(placed, lifts).answer(placed.tool.holder)
        if not answer.ranges:
            yield replace(made, ranges=(), n_done=n, why=f"{placed.orientation.name} {placed.cut.name}: {answer.why}")
            return
        rows.append(answer.ranges)
        made = _of_rows(made, rows, _constant(others) if n == len(own) else None, n_done=n)
        yield made
    yield from _finer(asked, made, curve)


def _constant(others: Sequence[PlacedCut]) -> Verdict | None:
    """What the cuts of other tools say whatever this one's stick-out."""
    return worst([cut_room(p).verdict for p in others]) if others else None


def _of_rows(made: DialFace, rows: Sequence[tuple[Range, ...]], others: Verdict | None, *, n_done: int) -> DialFace:
    """The face from the ranges of the cuts that are known; `others`: the verdict of cuts that do not depend on it."""
    if others is not None:
        rows = [*rows, (Range(rows[0][0].start, rows[0][-1].end, others),)]
    found = [DialRange(r.start, r.end, r.verdict) for r in worst_of(rows)]
    clear = [r.start for r in found if r.verdict is Verdict.CLEAR]
    is_done = n_done == made.n_all
    return replace(
        made,
        ranges=tuple(found),
        least_clear=clear[0] if clear and clear[0] > found[0].start else None,
        is_never_clear=is_done and not clear,
        n_done=n_done,
    )
