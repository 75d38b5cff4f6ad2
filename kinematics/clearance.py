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
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.depth_rule import depth_report
from kinematics.engine.pair import (
    ROUNDING,
    Bound,
    Clear,
    Contact,
    Node,
    Obstacle,
    ObstaclePiece,
    lower_bound,
    pair_clearance,
    position_tree,
)
from kinematics.engine.sweep import PolyPiece, Positions
from kinematics.errors import EngineError
from kinematics.machine import BED, HEAD, TABLE, W, bed_motion, frame_poses
from kinematics.moves.cuts import CutMove, cut_move
from kinematics.pairs import BUILDER, FOLLOWS, reason_to_leave_out
from kinematics.placement import PlacedBody, PlacedZero
from kinematics.pose import Z_AXIS, Array, Pose, Vector, as_vector, direction_between, identity
from kinematics.prepared import BEHIND_TOOL, Part, Prepared, current_state
from kinematics.removed import above_plane, without_hole
from kinematics.report import ContactKind, CutReport, ErrorTerms, Interval, PairReport
from kinematics.scene import Cut, Hole, Orientation, Scene
from kinematics.setup_error import OtherErrors, largest_arm, other_errors, stick_out_error
from kinematics.sides import clock, part_side, side_words
from kinematics.solids import Triangles
from kinematics.tool_kinds import CUTTER, NECK, SHANK
from kinematics.travel import travel_report
from kinematics.verdict import Verdict, verdict_of, worst
from kinematics.visibility import is_hidden

TIE = 0.005  # mm; pairs whose spare over keep-off differs by no more are named together
N_NEXT = 4  # pairs listed after the worst one


@dataclass(frozen=True, slots=True, eq=False)
class _Target:
    """An obstacle at one orientation, with what applies to it."""

    obstacle: Obstacle
    body: PlacedBody
    order: int
    errors: OtherErrors
    is_own_workpiece: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    part: Part
    target: _Target
    keep_off: float
    exact: Node
    swept: Node
    bound: float

    @property
    def key(self) -> tuple[int, float]:
        """The worst rank that the pair can still have."""
        spare = self.bound - self.target.errors.total
        if self.bound > 0.0:
            return _rank(verdict_of(spare, self.keep_off), spare, self.keep_off)
        is_convex = all(p.piece.is_convex for p in self.target.obstacle.pieces)
        return _rank(Verdict.HITS, spare if is_convex else None, self.keep_off)

    def behind(self, last: tuple[int, float]) -> float:
        """The clearance from which on the pair is sure to rank behind `last` and not to tie with it."""
        severity = -last[0]
        named = self.keep_off + last[1] + TIE  # the spare at which it would rank like the last
        if severity == Verdict.CLEAR.severity:
            spare = max(named, self.keep_off)
        elif severity == Verdict.TIGHT.severity:
            spare = min(max(named, 0.0), self.keep_off)
        elif severity == Verdict.CAN_HIT.severity:
            spare = min(named, 0.0)
        else:
            spare = 0.0
        return spare + self.target.errors.total + ROUNDING

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.obstacle.name


def _rank(verdict: Verdict, spare: float | None, keep_off: float) -> tuple[int, float]:
    """Sorts worst first: verdict, then spare over keep-off; an overlap without a depth before every number."""
    return -verdict.severity, -math.inf if spare is None else spare - keep_off


def check_cuts(scene: Scene, prepared: Prepared | None = None) -> Iterator[CutReport]:
    """One report per cut, in machining order; `prepared` is made where none is given."""
    prepared = prepared or Prepared(scene)
    done: set[tuple[str, str]] = set()
    for orientation, cut in scene.cuts():
        yield check_cut(prepared, orientation, cut, frozenset(done))
        done.add((orientation.name, cut.name))


def check_cut(prepared: Prepared, orientation: Orientation, cut: Cut, done: frozenset[tuple[str, str]]) -> CutReport:
    """The report of one cut; `done` are the cuts made before it, as (orientation, cut)."""
    return _CutCheck(prepared, orientation, cut, done).report()


class _CutCheck:
    """One cut at one orientation: everything placed in W, then compared."""

    def __init__(
        self, prepared: Prepared, orientation: Orientation, cut: Cut, done: frozenset[tuple[str, str]]
    ) -> None:
        self.prepared, self.orientation, self.cut = prepared, orientation, cut
        self.scene = scene = prepared.scene
        self.machine = scene.machine
        self.tool = scene.tool(cut.tool)
        self.assembly: ToolAssembly = tool_assembly(self.tool, self.machine.spindle_nose)
        self.angles = dict(orientation.angles_deg)
        self.poses = frame_poses(self.machine, self.angles)
        self.workpiece = scene.workpiece_of(cut)
        self.state = next(s for s in self.workpiece.states if s.name == cut.state)
        zero = prepared.placed.zero_of(scene, self.workpiece)
        self.X_WP = self._pose_in_W(zero)
        self.move: CutMove = cut_move(cut, self.assembly, self.X_WP, prepared.lift_to(orientation, cut))
        self.premature = [c for c in self.state.after if c not in done]
        self.own_bodies, self.targets = self._targets(done)
        self.parts = prepared.parts(self.assembly)
        self.left_out: list[tuple[str, str]] = []

    def _pose_in_W(self, zero: PlacedZero) -> Pose:
        if zero.carrier in self.poses:
            return self.poses[zero.carrier] @ zero.X_CP
        return identity(W, zero.carrier) @ zero.X_CP  # a part that stands on the bed

    def _frame(self, carrier: str) -> Pose:
        """The carrier's pose in the frame in which it is compared: W, or for the bed its own."""
        return self.poses.get(carrier) or identity(W, carrier)

    def _targets(self, done: frozenset[tuple[str, str]]) -> tuple[tuple[PlacedBody, ...], tuple[_Target, ...]]:
        own = self.prepared.state_bodies(self.workpiece, self.state)
        bodies: list[tuple[PlacedBody, bool]] = [(b, True) for b in own]
        for other in self.scene.workpieces:
            if other is not self.workpiece:
                state = current_state(other, done)
                bodies += [(b, False) for b in self.prepared.state_bodies(other, state)]
        placed = sorted(self.prepared.placed.bodies, key=lambda b: b.is_machine)  # the scene's own first
        bodies += [(b, False) for b in placed if b.carrier != HEAD]
        return own, tuple(self._target(body, order, is_own=is_own) for order, (body, is_own) in enumerate(bodies))

    def _target(self, body: PlacedBody, order: int, *, is_own: bool) -> _Target:
        X_WG = self._frame(body.carrier) @ body.X_CG
        posed = tuple(ObstaclePiece(p, X_WG, self.prepared.trees) for p in self.prepared.pieces_of(body.shape))

        def arm() -> float:
            return max(largest_arm(self.machine, p.vertices_W) for p in posed)

        errors = other_errors(self.scene.setup_errors, body, self.machine, arm)
        return _Target(Obstacle(body.name, posed), body, order, errors, is_own)

    # ---- pairs -------------------------------------------------------------------------------

    def _pairs(self) -> list[_Pair]:
        by = stick_out_error(self.scene.setup_errors, self.tool)
        trees = {False: self._trees(self.move.sets, by)}
        heads = frozenset(b.name for b in self.prepared.head_bodies)
        found = []
        for target in self.targets:
            is_bed = target.body.carrier == BED
            if is_bed and True not in trees:
                trees[True] = self._trees(self.move.against_bed(self.machine), by)
            exact_swept = trees[is_bed]
            for part in self.parts:
                reason = reason_to_leave_out(
                    part.name, self.assembly, target.body, is_own_workpiece=target.is_own_workpiece, head_parts=heads
                )
                against = self._as_cut(part, target, reason)
                if against is None:
                    self.left_out.append((f"{part.name} - {target.obstacle.name}", reason or FOLLOWS))
                    continue
                bound = min(
                    lower_bound(supports, piece, exact_swept[1])
                    for _, supports in part.outer
                    for piece in against.obstacle.pieces
                )
                found.append(_Pair(part, against, self._keep_off(part), *exact_swept, bound))
        found += self._bed_pairs()
        return sorted(found, key=lambda pair: pair.key)

    def _bed_pairs(self) -> list[_Pair]:
        """What the table carries against the bed, where linear axes move the table."""
        parts = self.prepared.bed_parts()
        found = []
        tree = position_tree(self.move.of_bed(self.machine)) if parts else None
        for part in parts:
            is_machine = any(b.name == part.name and b.is_machine for b in self.prepared.placed.bodies)
            for target in self.targets:
                if target.body.carrier == BED:
                    continue
                if is_machine and target.body.is_machine:
                    self.left_out.append((f"{part.name} - {target.obstacle.name}", BUILDER))
                    continue
                assert tree is not None, "made above where there is a part"
                bound = min(lower_bound(s, piece, tree) for _, s in part.outer for piece in target.obstacle.pieces)
                found.append(_Pair(part, target, self._keep_off(part), tree, tree, bound))
        return found

    def _trees(self, sets: tuple[Positions, ...], by: float) -> tuple[Node, Node]:
        exact = position_tree(sets)
        return exact, exact if by == 0.0 else position_tree([s.lowered(by) for s in sets])

    def _keep_off(self, part: Part) -> float:
        return self.scene.keep_off.cutter if part.name == CUTTER else self.scene.keep_off.holder

    def _as_cut(self, part: Part, target: _Target, reason: str | None) -> _Target | None:
        """The obstacle as the part meets it, without what the cutter takes; None where they are not compared."""
        is_hole = isinstance(self.cut.feature, Hole)
        if reason == FOLLOWS and self.cut.leave_to is not None and not is_hole:
            return self._above_cutter(target)
        if reason is not None:
            return None
        if target.is_own_workpiece and is_hole and part.name in (NECK, SHANK):
            return self._without_hole(target)
        return target

    def _without_hole(self, target: _Target) -> _Target:
        """The workpiece without what the cutter took; as it is where its mesh does not close."""
        tip, radius = self.move.feature[0].points[0], self.assembly.cutter_radius
        posed = []
        for p in target.obstacle.pieces:
            X_GW = p.X_WG.inverse()
            rest = without_hole(p.piece, X_GW.points(tip), X_GW.direction(Z_AXIS), radius)
            posed.append(p if rest is None else ObstaclePiece(rest, p.X_WG, self.prepared.trees))
        return replace(target, obstacle=Obstacle(target.obstacle.name, tuple(posed)))

    def _above_cutter(self, target: _Target) -> _Target | None:
        """What of the workpiece is above the cutter, which does not lift through it; None if nothing is."""
        lowest = min(float(s.points[:, 2].min()) for s in self.move.sets)
        height = max(s.z2 for s in self.assembly.slices_of(CUTTER)[0])
        p_W = np.array([0.0, 0.0, lowest + height])
        posed = []
        for p in target.obstacle.pieces:
            X_GW = p.X_WG.inverse()
            rest = above_plane(p.piece, X_GW.points(p_W), X_GW.direction(Z_AXIS))
            if rest is not None:
                posed.append(p if rest is p.piece else ObstaclePiece(rest, p.X_WG, self.prepared.trees))
        return replace(target, obstacle=Obstacle(target.obstacle.name, tuple(posed))) if posed else None

    def _compared(self) -> tuple[list[tuple[_Pair, PairReport]], list[tuple[_Pair, PairReport]]]:
        """The pairs that rank first, fully worked out, worst first; and those that could not be."""
        found: list[tuple[_Pair, PairReport]] = []
        unknown: list[tuple[_Pair, PairReport]] = []
        least = math.inf
        for pair in self._pairs():
            ranks = sorted(_report_rank(r) for _, r in found)
            last = ranks[N_NEXT] if len(ranks) > N_NEXT else (0, math.inf)
            if pair.key > (last[0], last[1] + TIE) and pair.bound > least:
                # ranks behind all that is named, and is not the nearest either
                continue
            try:
                report = self._pair_report(pair, last, least)
            except EngineError as error:
                unknown.append((pair, _unknown(pair, error.message)))
                continue
            if report is None:
                continue
            found.append((pair, report))
            if report.clearance is not None:
                least = min(least, report.clearance.value)
        return _ranked(found), unknown

    def _pair_report(self, pair: _Pair, last: tuple[int, float], least: float) -> PairReport | None:
        """The pair worked out; None once it is proven to rank behind `last` and beyond `least`."""
        trees = self.prepared.trees
        far = max(pair.behind(last), least)
        part, obstacle = pair.part, pair.target.obstacle
        swept = pair_clearance(part.outer, part.real, obstacle, pair.swept, trees, beyond=far)
        if isinstance(swept, Bound):
            return None
        exact = (
            swept if pair.exact is pair.swept else pair_clearance(part.outer, part.real, obstacle, pair.exact, trees)
        )
        assert not isinstance(exact, Bound), "no bound was asked for"
        return _report(pair, self._in_W(pair, exact), swept)

    def _in_W(self, pair: _Pair, answer: Clear | Contact) -> Clear | Contact:
        """Points and tip in W; those of a pair with the bed were found as the bed, or the table, sees them."""
        if pair.part.order >= BEHIND_TOOL:
            gauge = np.array([0.0, 0.0, self.assembly.gauge_length])
            sets = self.move.sets
            seen = np.array([bed_motion(self.machine, as_vector(s.points[0] + gauge)) for s in sets])
            return replace(answer, tip=sets[int(np.abs(seen - answer.tip).sum(axis=1).argmin())].points[0])
        if pair.target.body.carrier != BED:
            return answer
        tip = self.move.tip_for(self.machine, answer.tip)
        off = tip - answer.tip
        return replace(answer, tip=tip, p_tool=answer.p_tool + off, p_obstacle=answer.p_obstacle + off)

    # ---- the report --------------------------------------------------------------------------

    def report(self) -> CutReport:
        travel = travel_report(self.machine, self.move, self.cut.retract, self.scene.lift, self.angles)
        depth = depth_report(self.assembly, self.move.feature, self._material())
        found, unknown = self._compared()
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
            left_out=tuple(self.left_out),
            why=self._why(),
            origin=self.cut.origin,
        )

    def _why(self) -> str | None:
        if not self.premature:
            return None
        before = ", ".join("/".join(c) for c in self.premature)
        return f"the state {self.state.name} exists only after {before}, made later"

    def _material(self) -> list[Triangles]:
        own = [t for t in self.targets if t.is_own_workpiece]
        return [Triangles(p.vertices_W, p.piece.outer.faces) for t in own for p in t.obstacle.pieces]

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

    def _in_the_way(self, tip: Array) -> Iterator[Triangles]:
        """Every body as triangles in W while the tip is at `tip`; the bed goes where the spindle took it."""
        gauge = (0.0, 0.0, self.assembly.gauge_length)
        X_WB = np.asarray(bed_motion(self.machine, as_vector(tip + gauge)))
        for target in self.targets:
            off = X_WB if target.body.carrier == BED else np.zeros(3)
            for p in target.obstacle.pieces:
                yield Triangles(p.vertices_W + off, p.piece.outer.faces)
        for part in self.parts:
            for piece, _ in part.outer:
                if isinstance(piece, PolyPiece):
                    yield Triangles(piece.outer.vertices + tip, piece.outer.faces)


@dataclass(frozen=True, slots=True)
class _Seen:
    is_hidden: bool | None = None
    above_platter: float | None = None


def _report_rank(report: PairReport) -> tuple[int, float]:
    return _rank(report.verdict, report.spare, report.keep_off)


def _unknown(pair: _Pair, why: str) -> PairReport:
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


def _report(pair: _Pair, exact: Clear | Contact, swept: Clear | Contact) -> PairReport:
    """One pair: clearance from the exact move, spare from the move with the stick-out swept."""
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


def _ranked(found: list[tuple[_Pair, PairReport]]) -> list[tuple[_Pair, PairReport]]:
    """Worst first. What ties with the worst, and elsewhere what differs by rounding only, is in file order."""
    rest = sorted(found, key=lambda item: _report_rank(item[1]))
    ranked: list[tuple[_Pair, PairReport]] = []
    within = TIE
    while rest:
        head = rest[0][1]
        n_same = sum(1 for _, report in rest if _is_tie(head, report, within))
        ranked += sorted(rest[:n_same], key=_in_file_order)
        rest, within = rest[n_same:], ROUNDING
    return ranked


def _in_file_order(item: tuple[_Pair, PairReport]) -> tuple[int, int]:
    return item[0].target.order, item[0].part.order


def _ties_and_next(
    found: list[tuple[_Pair, PairReport]],
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
