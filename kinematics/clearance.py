"""A scene's cuts, one report each: clearance, spare, verdict, depth, travel.

1. Every tool-side part is compared with every body, except what `pairs.py` leaves out with a reason.
2. Pairs are opened worst first, by proven lower bounds; what stays closed is proven to rank behind the
   pairs that are named.
3. A pair that could not be established makes the cut "not checked" unless something worse is proven;
   the other pairs are still reported.
4. Prepared pieces and trees are kept by shape, so that a cut costs only what is new about it.
"""

from __future__ import annotations

import math
from bisect import insort
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinematics.assembly import ToolAssembly
from kinematics.cut_opinion import CutOpinion
from kinematics.cut_pairs import TIE, CutPairs, Measured, Pair, Rank, rank
from kinematics.depth_rule import depth_report
from kinematics.engine.pair import (
    ROUNDING,
    Clear,
    Contact,
)
from kinematics.engine.sweep import PolyPiece
from kinematics.engine.triangle_tree import TriangleTree
from kinematics.errors import EngineError
from kinematics.machine import BED, HEAD, TABLE, W, bed_motion
from kinematics.moves.cuts import CutMove
from kinematics.placement import PlacedBody, PlacedZero
from kinematics.pose import Array, Pose, Vector, as_vector, direction_between, identity, shift
from kinematics.prepared import Prepared, current_state
from kinematics.report import ContactKind, CutReport, ErrorTerms, Interval, PairReport, SecondOpinion
from kinematics.scene import Cut, Orientation, Path, Scene
from kinematics.sides import clock, part_side, side_words
from kinematics.travel import travel_report
from kinematics.verdict import Verdict, verdict_of, worst
from kinematics.visibility import is_hidden

N_NEXT = 4  # pairs listed after the worst one
OPENED = ("door", "enclosure")  # bodies of the machine that the operator opens to look through


def check_cuts(scene: Scene, prepared: Prepared | None = None, *, second_opinion: bool = False) -> Iterator[CutReport]:
    """One report per cut, in machining order; `prepared` is made where none is given."""
    prepared = prepared or Prepared(scene)
    done: set[tuple[str, str]] = set()
    for orientation, cut in scene.cuts():
        yield check_cut(prepared, orientation, cut, frozenset(done), second_opinion=second_opinion)
        done.add((orientation.name, cut.name))


def check_cut(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    done: frozenset[tuple[str, str]],
    *,
    second_opinion: bool = False,
) -> CutReport:
    """The report of one cut; `done` are the cuts made before it, as (orientation, cut).

    `second_opinion` : compute what is found again, by other means; a pair on which the two disagree is not checked.
    """

    def report() -> CutReport:
        return _CutCheck(prepared, orientation, cut, done).report(second_opinion=second_opinion)

    if isinstance(cut.feature, Path):  # its points may be a million: too long a key
        return report()
    lift_to = prepared.lift_to(orientation, cut)
    tool = prepared.scene.tool(cut.tool)
    key = (orientation.name, orientation.angles_deg, cut, tool, done, lift_to, second_opinion)
    return replace(prepared.report_of(key, report), origin=cut.origin)


def check_body(
    prepared: Prepared, orientation: Orientation, cut: Cut, done: frozenset[tuple[str, str]], body: str
) -> PairReport | None:
    """The pair of a body, or of a part of the tool, that ranks first over a cut; None if it is compared with nothing.

    Every pair of it is worked out, however far it is; what could not be is told where nothing worse is certain.
    """
    check = _CutCheck(prepared, orientation, cut, done)
    found: list[tuple[Pair, PairReport]] = []
    unknown: list[PairReport] = []
    for pair in check.pairs.worst_first():
        if body not in pair.names:
            continue
        try:
            measured = check.pairs.measure(pair, math.inf)
        except EngineError as error:
            unknown.append(_unknown(pair, error.message))
            continue
        assert measured is not None, "nothing is farther than infinity"
        found.append((pair, _report(pair, measured)))
    ranked = [report for _, report in _ranked(found)]
    if unknown and not (ranked and ranked[0].verdict.severity > Verdict.NOT_CHECKED.severity):
        return unknown[0]
    return ranked[0] if ranked else None


class _CutCheck:
    """One cut at one orientation: everything placed in W, then compared."""

    def __init__(
        self, prepared: Prepared, orientation: Orientation, cut: Cut, done: frozenset[tuple[str, str]]
    ) -> None:
        self.prepared, self.orientation, self.cut = prepared, orientation, cut
        self.scene = scene = prepared.scene
        self.machine = scene.machine
        self.tool = scene.tool(cut.tool)
        self.assembly: ToolAssembly = prepared.assembly_of(self.tool)
        self.angles = dict(orientation.angles_deg)
        self.poses = prepared.poses_at(orientation.angles_deg)
        self.workpiece = scene.workpiece_of(cut)
        self.state = next(s for s in self.workpiece.states if s.name == cut.state)
        zero = prepared.placed.zero_of(scene, self.workpiece)
        self.X_WP = self._pose_in_W(zero)
        self.move: CutMove = prepared.move_of(cut, self.assembly, self.X_WP, prepared.lift_to(orientation, cut))
        self.premature = [c for c in self.state.after if c not in done]
        bodies = self._bodies(done)
        self.pairs = CutPairs(prepared, cut, self.tool, self.assembly, self.move, bodies, self.poses)
        self.targets, self.parts = self.pairs.targets, self.pairs.parts

    def _pose_in_W(self, zero: PlacedZero) -> Pose:
        if zero.carrier in self.poses:
            return self.poses[zero.carrier] @ zero.X_CP
        return identity(W, zero.carrier) @ zero.X_CP  # a part that stands on the bed

    def _bodies(self, done: frozenset[tuple[str, str]]) -> list[tuple[PlacedBody, bool]]:
        """Every obstacle, with whether it is the workpiece that is cut."""
        own = self.prepared.state_bodies(self.workpiece, self.state)
        bodies: list[tuple[PlacedBody, bool]] = [(b, True) for b in own]
        for other in self.scene.workpieces:
            if other is not self.workpiece:
                state = current_state(other, done)
                bodies += [(b, False) for b in self.prepared.state_bodies(other, state)]
        placed = sorted(self.prepared.placed.bodies, key=lambda b: b.is_machine)  # the scene's own first
        return bodies + [(b, False) for b in placed if b.carrier != HEAD]

    def _compared(self) -> tuple[list[tuple[Pair, PairReport]], list[tuple[Pair, PairReport]]]:
        """The pairs that rank first, fully worked out, worst first; and those that could not be."""
        found: list[tuple[Pair, PairReport]] = []
        unknown: list[tuple[Pair, PairReport]] = []
        ranks: list[Rank] = []
        least = math.inf
        for pair in self.pairs.worst_first():
            last = ranks[N_NEXT] if len(ranks) > N_NEXT else (0, math.inf)
            if pair.key > (last[0], last[1] + TIE) and pair.bound > least:
                # ranks behind all that is named, and is not the nearest either
                if pair.least_behind > least:
                    break  # nor is any that follows
                continue
            try:
                measured = self.pairs.measure(pair, max(pair.behind(last), least))
            except EngineError as error:
                unknown.append((pair, _unknown(pair, error.message)))
                continue
            if measured is None:
                continue
            report = _report(pair, measured)
            found.append((pair, report))
            insort(ranks, _report_rank(report))
            if report.clearance is not None:
                least = min(least, report.clearance.value)
        return _ranked(found), unknown

    def _heard(self, found: list[tuple[Pair, PairReport]], unknown: list[tuple[Pair, PairReport]]) -> SecondOpinion:
        """Ask for a second opinion of what was found; a pair on which the two disagree goes to `unknown`."""
        opinion = CutOpinion(self.pairs)
        answers = [(item, opinion.disagreement(*item)) for item in found]
        found[:] = [item for item, why in answers if why is None]
        unknown += [(pair, _unknown(pair, why)) for (pair, _), why in answers if why is not None]
        if not answers:
            return SecondOpinion.OFF
        return SecondOpinion.AGREES if len(found) == len(answers) else SecondOpinion.DISAGREES

    # ---- the report --------------------------------------------------------------------------

    def report(self, *, second_opinion: bool = False) -> CutReport:
        travel = travel_report(self.machine, self.move, self.cut.retract, self.scene.lift, self.angles)
        depth = depth_report(self.assembly, self.move.feature, self._material())
        found, unknown = self._compared()
        opinion = self._heard(found, unknown) if second_opinion else SecondOpinion.OFF
        first = found[0] if found else None
        verdicts = [travel.verdict]
        if depth is not None:
            verdicts.append(depth.verdict)
        if unknown or self.premature:
            verdicts.append(Verdict.NOT_CHECKED)
        if first is not None:
            verdicts.append(first[1].verdict)
        ties, following = _ties_and_next(found)
        seen = self._seen(first[1]) if first else _Seen()
        zero = self.X_WP.inverse()
        points = first[1].points_W if first else None
        tip = first[1].tip_W if first else None
        normal = first[1].normal_W if first else None
        return CutReport(
            orientation=self.orientation.name,
            cut=self.cut.name,
            workpiece=self.cut.workpiece or self.workpiece.name,
            tool=self.tool.id,
            holder=self.tool.holder.name,
            angles_deg=self.orientation.angles_deg,
            verdict=worst(verdicts),
            worst=first[1] if first else None,
            ties=ties,
            next=following,
            side=side_words(normal, self.machine.operator) if normal else None,
            clock=clock(normal, self.machine.operator) if normal else None,
            part_side=part_side(zero.direction(normal)) if normal else None,
            is_hidden_from_operator=seen.is_hidden,
            above_platter=seen.above_platter,
            points_P=(as_vector(zero.points(points[0])), as_vector(zero.points(points[1]))) if points else None,
            tip_P=as_vector(zero.points(tip)) if tip else None,
            depth=depth,
            travel=travel,
            not_checked=tuple(report for _, report in unknown),
            left_out=tuple(self.pairs.left_out),
            why=self._why(),
            origin=self.cut.origin,
            second_opinion=opinion,
        )

    def _why(self) -> str | None:
        if not self.premature:
            return None
        before = ", ".join("/".join(c) for c in self.premature)
        return f"the state {self.state.name} exists only after {before}, made later"

    def _material(self) -> list[tuple[TriangleTree, Pose]]:
        return [(t.tree.tree, t.X_WG) for t in self.targets if t.is_own_workpiece]

    def _seen(self, report: PairReport) -> _Seen:
        """What the operator sees of the tightest place, and how high it is over the platter."""
        if report.points_W is None or report.tip_W is None:
            return _Seen()
        a, b = (np.asarray(p) for p in report.points_W)
        platter = self.poses[self.machine.platter if self.machine.table_axes else TABLE]
        height = float(platter.inverse().points(b)[2])
        tip = np.asarray(report.tip_W)
        tool = [p for part in self.parts for p in part.real]
        return _Seen(is_hidden((a, b), self.machine.operator, tool, tip, self._in_the_way(tip)), height)

    def _in_the_way(self, tip: Array) -> Iterator[tuple[TriangleTree, Pose]]:
        """Every body with its pose in W while the tip is at `tip`; the bed goes where the spindle took it.

        The machine's door and enclosure are none: whoever looks, looks through the opening.
        """
        gauge = (0.0, 0.0, self.assembly.gauge_length)
        X_WW = shift(W, W, bed_motion(self.machine, as_vector(tip + gauge)))
        for target in self.targets:
            if not _is_opened(target.body):
                yield target.tree.tree, X_WW @ target.X_WG if target.body.carrier == BED else target.X_WG
        opened = {body.name for body in self.prepared.head_bodies if _is_opened(body)}
        for part in self.parts:
            for piece, _ in () if part.name in opened else part.outer:
                if isinstance(piece, PolyPiece):
                    yield self.prepared.tree_over(piece.outer), shift(W, "L", as_vector(tip))


def _is_opened(body: PlacedBody) -> bool:
    """Whether a body is the machine's door, which stands open for whoever looks."""
    return body.is_machine and body.name.casefold() in OPENED


@dataclass(frozen=True, slots=True)
class _Seen:
    is_hidden: bool | None = None
    above_platter: float | None = None


def _report_rank(report: PairReport) -> Rank:
    return rank(report.verdict, report.spare, report.keep_off)


def _unknown(pair: Pair, why: str) -> PairReport:
    return PairReport(
        between=pair.names,
        verdict=Verdict.NOT_CHECKED,
        keep_off=pair.keep_off,
        clearance=None,
        spare=None,
        contact=None,
        setup_error=None,
        points_W=None,
        normal_W=None,
        tip_W=None,
        why=why,
    )


def _report(pair: Pair, measured: Measured) -> PairReport:
    """One pair: clearance from the exact move, spare from the move with the stick-out swept."""
    exact, swept = measured.exact, measured.swept
    errors = pair.target.errors
    clearance = _interval(exact)
    swept_least = _interval(swept)
    spare = None if swept_least is None else swept_least.at_least - errors.total
    contact: ContactKind | None = None
    if isinstance(exact, Contact) and exact.is_proven:
        verdict, contact = Verdict.HITS, exact.kind
    elif spare is None:
        verdict = Verdict.CAN_HIT
        contact = exact.kind if isinstance(exact, Contact) else None
    else:
        verdict = verdict_of(spare, pair.keep_off)
    used = 0.0 if clearance is None or swept_least is None else max(clearance.at_least - swept_least.at_least, 0.0)
    terms = ErrorTerms(errors.location, errors.body_model, errors.diameters, used, errors.tilt)
    return PairReport(
        between=pair.names,
        verdict=verdict,
        keep_off=pair.keep_off,
        clearance=clearance,
        spare=spare,
        contact=contact,
        setup_error=terms,
        points_W=(as_vector(exact.p_tool), as_vector(exact.p_obstacle)),
        normal_W=_normal(exact),
        tip_W=as_vector(exact.tip),
    )


def _interval(answer: Clear | Contact) -> Interval | None:
    if isinstance(answer, Clear):
        return Interval(answer.at_least, answer.value)
    if answer.depth is None:
        return None
    low, high = answer.depth
    return Interval(-high, -low)


def _normal(answer: Clear | Contact) -> Vector | None:
    """Unit direction from the tool to the obstacle."""
    if isinstance(answer, Contact):
        return None if answer.normal is None else as_vector(answer.normal)
    return direction_between(answer.p_tool, answer.p_obstacle)


def _ranked(found: list[tuple[Pair, PairReport]]) -> list[tuple[Pair, PairReport]]:
    """Worst first. What ties with the worst, and elsewhere what differs by rounding only, is in file order."""
    rest = sorted(found, key=lambda item: _report_rank(item[1]))
    ranked: list[tuple[Pair, PairReport]] = []
    within = TIE
    while rest:
        head = rest[0][1]
        n_same = sum(1 for _, report in rest if _is_tie(head, report, within))
        ranked += sorted(rest[:n_same], key=_in_file_order)
        rest, within = rest[n_same:], ROUNDING
    return ranked


def _in_file_order(item: tuple[Pair, PairReport]) -> tuple[int, int]:
    return item[0].target.order, item[0].part.order


def _ties_and_next(
    found: list[tuple[Pair, PairReport]],
) -> tuple[tuple[tuple[str, str], ...], tuple[PairReport, ...]]:
    """Names of the pairs that tie with the worst, and the next four with the one of least clearance."""
    if not found:
        return (), ()
    first = found[0][1]
    rest = [report for _, report in found[1:]]
    least = min((first, *rest), key=_report_rank)
    ties = tuple(r.between for r in rest if _is_tie(least, r, TIE))
    following = rest[:N_NEXT]
    numbers = [r for r in (first, *rest) if r.clearance is not None]
    if numbers:
        nearest = min(numbers, key=lambda r: r.clearance.at_least if r.clearance else math.inf)
        if nearest is not first and nearest not in following:
            following.append(nearest)
    return ties, tuple(following)


def _is_tie(first: PairReport, other: PairReport, within: float) -> bool:
    if first.verdict != other.verdict:
        return False
    if first.spare is None or other.spare is None:
        return first.spare is other.spare
    return abs((first.spare - first.keep_off) - (other.spare - other.keep_off)) <= within
