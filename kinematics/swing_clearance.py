"""Swings and links of a scene, one report each: clearance, spare, verdict, where, the least lift.

1. In a swing everything that turns is compared with the tool at its lift, the head, and what stands on
   table and bed; what the last axis carries also with what the one before carries.
2. Left out, with the reason: two of the machine's own bodies that stand on the table or its axes, and
   pairs that do not move against each other.
3. `proven` stops as soon as the verdict is certain; `settled` goes on to a tolerance. Where the spare is
   used up it is told to the tolerance either way.
4. A swing that is not settled in the allowed number of distance queries is not checked, and neither is
   one with a pair that could not be established, unless something worse is certain.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kinematics.cut_pairs import Moves, crude_clearances, measured
from kinematics.cut_pairs import Target as CutTarget
from kinematics.engine.exact_pair import move_sets
from kinematics.engine.pair import (
    Clear,
    Contact,
)
from kinematics.engine.round_turning import Enough, RoundPair, least_over_any_turn
from kinematics.engine.sweep import Positions
from kinematics.engine.turning import MAX_QUERIES, Compared, TurnPair, TurnResult, Witness
from kinematics.errors import EngineError
from kinematics.least_lift import least_lift
from kinematics.machine import BED, W, frame_poses
from kinematics.moves.cuts import CutMove, motions_of_bed, seen_from_bed
from kinematics.moves.swings import Between
from kinematics.pairs import BUILDER
from kinematics.pose import Array, Pose, Vector, as_vector, direction_between, identity
from kinematics.prepared import BEHIND_TOOL, Part, Prepared
from kinematics.report import ErrorTerms, Interval, SecondOpinion, SwingReport
from kinematics.scene import Scene, Tool
from kinematics.setup_error import OtherErrors, stick_out_error
from kinematics.sides import clock, part_side, side_words
from kinematics.swing_opinion import swing_disagreement
from kinematics.swing_pairs import Names, SwingSetup, Target
from kinematics.verdict import Verdict, verdict_of

TOLERANCE = 0.01  # mm, of a settled swing
SURELY_APART = 1e-9  # mm; a crude bound of more than this says that two solids don't touch
SHARE = 0.01  # of the spare: a wide gap need not be known to the hundredth

AnyPair = TurnPair | RoundPair


@dataclass(frozen=True, slots=True)
class Settle:
    """How far a swing is worked out: None stops at a proven verdict; else a tolerance in mm.

    `lift_queries` : distance queries that the least lift may take; with fewer it may be told too high, never too low.
    """

    tolerance: float | None = None
    with_least_lift: bool = False
    lift_queries: int = MAX_QUERIES


PROVEN = Settle()


def check_links(
    scene: Scene, prepared: Prepared | None = None, *, second_opinion: bool = False
) -> Iterator[SwingReport]:
    """One report per link between two cuts of one orientation, in machining order.

    `second_opinion` : compute what is found again, by other means; where the two disagree, it is not checked.
    """
    prepared = prepared or Prepared(scene)
    for between in prepared.between()[0]:
        yield _checked(prepared, between, PROVEN, second_opinion=second_opinion)


def check_swings(
    scene: Scene, prepared: Prepared | None = None, settle: Settle = PROVEN, *, second_opinion: bool = False
) -> Iterator[SwingReport]:
    """One report per swing, in machining order, from home and back to it; `second_opinion` as for links."""
    prepared = prepared or Prepared(scene)
    for between in prepared.between()[1]:
        yield _checked(prepared, between, settle, second_opinion=second_opinion)


def _checked(prepared: Prepared, between: Between, settle: Settle, *, second_opinion: bool) -> SwingReport:
    """The report of one swing or link; taken over where the same was asked in the same surroundings."""

    def report() -> SwingReport:
        check = _Check(prepared, between, settle)
        return check.heard(check.report()) if second_opinion else check.report()

    tools = tuple(prepared.scene.tool(tool) for tool in between.tools)
    state = between.state_cut
    done = frozenset((o.name, c.name) for o, c in prepared.scene.cuts()[: between.n_done])
    key = (
        between.start, between.end, between.orientation.name if between.orientation else None, between.boxes,
        between.angles_deg, tools, state.workpiece, state.state, done, between.corners_W.tobytes(), between.gauge_z,
        settle, second_opinion,
    )  # fmt: skip
    return prepared.report_of(key, report)


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """The least spare of a group of pairs, and what attains it."""

    at_least: float
    at_most: float
    names: tuple[str, str]
    tool: str | None
    errors: OtherErrors
    clearance: Interval | None
    points_W: tuple[Array, Array] | None
    angles: tuple[float, ...]
    contact: str | None
    is_settled: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Standing:
    """Parts against bodies over one straight move; `is_compared` (n_parts, n_targets)."""

    parts: Sequence[Part]
    targets: list[Target]
    moves: Moves
    is_compared: NDArray[np.bool_]

    def left_out(self) -> Iterator[tuple[int, int, str, str]]:
        """What is not compared: places in the order of bodies and parts, and names of part and body."""
        for i, j in zip(*np.nonzero(~self.is_compared), strict=True):
            part, target = self.parts[i], self.targets[j]
            yield target.order, part.order, part.name, target.body.name


def _group(
    parts: Sequence[Part], targets: list[Target], positions: Positions, down: float, builders: set[str]
) -> _Standing:
    """Parts against bodies over one move; what `builders` names is not compared with the machine's own bodies."""
    is_own = np.array([target.body.is_machine for target in targets], dtype=bool)
    is_builders = np.array([part.name in builders for part in parts], dtype=bool)
    return _Standing(parts, targets, Moves(move_sets([positions]), down), ~np.outer(is_builders, is_own))


class _Check:
    """One swing or link with everything placed."""

    def __init__(self, prepared: Prepared, between: Between, settle: Settle) -> None:
        self.prepared, self.between, self.settle = prepared, between, settle
        self.scene = prepared.scene
        self.machine = self.scene.machine
        self.keep_off = self.scene.keep_off.swing
        self.setup = SwingSetup(prepared, between)
        # facets of STEP parts lie off their faces: no interval gets narrower than by so much
        self.tolerance = (settle.tolerance or TOLERANCE) + self.setup.chord_error()
        self.unknown: dict[str, None] = {}  # why pairs could not be established
        self.n_queries = 0

    # ---- what is still against what is still ---------------------------------------------------

    def _standing(self, tool: Tool) -> list[_Standing]:
        """What moves in straight lines at the lift, against what does not turn: tool, head, bed."""
        assembly = self.prepared.assembly_of(tool)
        gauge = np.array([0.0, 0.0, assembly.gauge_length])
        positions = self.between.positions(assembly.gauge_length)
        by = stick_out_error(self.scene.setup_errors, tool)
        parts, bed_parts = self.prepared.parts(assembly), self.prepared.bed_parts()
        still = [t for t in self.setup.targets if not (self.between.boxes and self.setup.moving_axes(t.body))]
        on_bed = [t for t in still if t.body.carrier == BED]
        others = [t for t in still if t.body.carrier != BED]
        heads = {b.name for b in self.prepared.head_bodies}
        machine_bed = {b.name for b in self.prepared.placed.bodies if b.is_machine and b.carrier == BED}
        groups = [_group(parts, others, positions, by, set())] if others else []
        if on_bed:
            (relative,) = seen_from_bed(self.machine, [positions], gauge)
            groups.append(_group(parts, on_bed, relative, by, heads))
        if bed_parts and others:
            (of_bed,) = motions_of_bed(self.machine, [positions], gauge)
            groups.append(_group(bed_parts, others, of_bed, 0.0, machine_bed))
        left_out = sorted((left for group in groups for left in group.left_out()), key=lambda left: left[:2])
        self.setup.left_out += [(f"{part} - {body}", BUILDER) for _, _, part, body in left_out]
        return groups

    def _least_standing(self, tool: Tool) -> _Found | None:
        """The least spare of what does not turn, by the engine of the cuts, the nearest first."""
        poses = self.prepared.poses_at(self.between.angles_deg)
        placed: dict[int, CutTarget] = {}
        found: list[tuple[float, int, Part, Target, Moves]] = []
        for group in self._standing(tool):
            for target in group.targets:
                if target.order not in placed:
                    placed[target.order] = self._placed(target, poses)
            bounds = crude_clearances(group.parts, [placed[t.order] for t in group.targets], group.moves)
            bounds = bounds - np.array([t.errors.total for t in group.targets])
            rows, columns = np.nonzero(group.is_compared)
            found += [
                (bound, len(found) + k, group.parts[i], group.targets[j], group.moves)
                for k, (bound, i, j) in enumerate(
                    zip(bounds[rows, columns].tolist(), rows.tolist(), columns.tolist(), strict=True)
                )
            ]
        best: _Found | None = None
        for bound, _, part, target, moves in sorted(found, key=lambda one: one[:2]):
            limit = (math.inf if best is None else best.at_most) + target.errors.total
            clearance = bound + target.errors.total
            if clearance >= max(limit, SURELY_APART):
                continue
            try:  # what may touch is looked at even where a spare is used up already: contact is worse
                answer = measured(part, placed[target.order], moves, max(limit, 0.0))
            except EngineError as error:
                self.unknown[error.message] = None
                continue
            if answer is None:
                continue
            exact = answer.exact
            if target.body.carrier == BED:
                exact = self._in_W_from_bed(exact, tool)
            best = _lesser(best, _standing_found(part.name, tool, target, answer.swept, exact))
        return best

    def _placed(self, target: Target, poses: dict[str, Pose]) -> CutTarget:
        """A body that stands, as the engine of the cuts takes it."""
        body, prepared = target.body, self.prepared
        X_WG = (poses.get(body.carrier) or identity(W, body.carrier)) @ body.X_CG
        pieces, tree = prepared.pieces_of(body.shape), prepared.tree_of(body.shape)
        return CutTarget(body, pieces, tree, X_WG, target.order, target.errors, False, prepared)

    def _in_W_from_bed(self, answer: Clear | Contact, tool: Tool) -> Clear | Contact:
        """Points in W of a pair that was found as the bed sees it."""
        length = self.prepared.assembly_of(tool).gauge_length
        tip = CutMove((self.between.positions(length),), (), length).tip_for(self.machine, answer.tip)
        off = tip - answer.tip
        return replace(answer, tip=tip, p_tool=answer.p_tool + off, p_obstacle=answer.p_obstacle + off)

    # ---- searching ---------------------------------------------------------------------------

    def _enough(self) -> Enough:
        """When the verdict is certain, or the spare is known to the tolerance or used up."""
        if self.settle.tolerance is not None:
            return replace(self._narrow(), below=0.0)
        # a spare of just nothing, or of just the keep-off, is told by its bound
        return Enough(below=0.0, above=self.keep_off, between=(0.0, self.keep_off), tolerance=self.tolerance)

    def _narrow(self) -> Enough:
        """When an interval is narrow enough: the tolerance, or SHARE of the value if that is more."""
        return Enough(tolerance=self.tolerance, share=SHARE)

    def _fine(self, enough: Enough) -> Enough:
        """How finely the spare is told where that costs little."""
        return replace(self._narrow(), below=enough.below, about_zero=enough.about_zero)

    def _decided(self) -> Enough:
        """When it is certain whether there is contact."""
        # an interval about 0 that is as narrow as the facets are won't become narrower
        return Enough(between=(0.0, math.inf), about_zero=(TOLERANCE, 2 * self.tolerance))

    def _turn(self, pairs: Sequence[AnyPair], enough: Enough) -> TurnResult:
        result = least_over_any_turn(pairs, enough, self._fine(enough), self.prepared.joined)
        self.n_queries += result.n_queries
        self.unknown.update(dict.fromkeys(result.unknown))
        return result

    def _search(self, pairs: Sequence[tuple[AnyPair, Tool | None]], enough: Enough) -> _Found | None:
        """The least spare over all turning pairs."""
        if not pairs:
            return None
        of = {id(pair): tool for pair, tool in pairs}
        result = self._turn([pair for pair, _ in pairs], enough)
        if result.witness is None:
            return _Found(result.at_least, result.at_most, ("", ""), None, _NO_ERRORS, None, None, (), None, False)
        return self._found(result, result.witness, of[id(result.witness.pair)])

    def _found(self, result: TurnResult, witness: Witness, tool: Tool | None) -> _Found:
        target = next(t for t in self.setup.targets if t.body.name == witness.pair.names[1])
        errors = target.errors
        if self._is_carried(witness.pair):  # both lean together
            errors = replace(errors, tilt=0.0)
        if witness.pair.subtract > 0.0:  # what it is compared with may have an error of its own
            errors = replace(errors, location=errors.location + max(witness.pair.subtract - errors.total, 0.0))
        contact = witness.contact if witness.is_proven else None
        return _Found(
            at_least=result.at_least,
            at_most=result.at_most,
            names=witness.pair.names,
            tool=tool.id if tool else None,
            errors=errors,
            clearance=None if contact else Interval(result.at_least + witness.pair.subtract, witness.value),
            points_W=self._in_W(witness),
            angles=self._all_angles(witness),
            contact=contact,
            is_settled=result.is_settled,
        )

    def _is_carried(self, pair: Compared) -> bool:
        """Whether both bodies of a pair are carried: it was compared in the frame of the first axis."""
        is_on_tool = pair.order[1] < BEHIND_TOOL
        return len(self.setup.carriers) == 2 and not is_on_tool and pair.names[0] in self.setup.on_first_axis()

    def _all_angles(self, witness: Witness) -> tuple[float, ...]:
        """Angles of every table axis; an axis that does not matter is given at the start of its turn."""
        given = list(witness.angles_deg)
        box = self.between.boxes[0]
        if self._is_carried(witness.pair):
            return (box[0][0], given[0])
        return (*given, *(low for low, _ in box[len(given) :]))

    def _in_W(self, witness: Witness) -> tuple[Array, Array]:
        if self._is_carried(witness.pair):
            angles = dict(zip((a.name for a in self.machine.table_axes), self._all_angles(witness), strict=True))
            X_WT = frame_poses(self.machine, angles)[self.setup.carriers[0]]
            return X_WT.points(witness.p_still), X_WT.points(witness.p_turning)
        return witness.p_still, witness.p_turning

    # ---- the report --------------------------------------------------------------------------

    def report(self) -> SwingReport:
        found = self._least()
        if found is not None and found.contact:
            return self._reported(found, Verdict.HITS)
        if found is not None and found.at_most <= 0.0:
            return self._reported(found, Verdict.CAN_HIT)
        if self.unknown:
            return self._unknown("; ".join(self.unknown))
        if found is None:
            return self._unknown("nothing is compared")
        if not found.is_settled:
            interval = f"between {found.at_least:.2f} and {found.at_most:.2f}"
            return self._unknown(f"not settled in {self.n_queries} distance queries; the spare is {interval} mm")
        return self._reported(found, verdict_of(found.at_least, self.keep_off))

    def heard(self, report: SwingReport) -> SwingReport:
        """The report with a second opinion; not checked where that disagrees."""
        if report.between is None:
            return report
        why = swing_disagreement(self.setup, report, self.tolerance, SHARE)
        if why is None:
            return replace(report, second_opinion=SecondOpinion.AGREES)
        return replace(self._unknown(why), second_opinion=SecondOpinion.DISAGREES)

    def _least(self) -> _Found | None:
        """The least spare over all pairs. `contact` is set where contact is proven without any set-up error."""
        tools = [self.scene.tool(t) for t in self.between.tools]
        best: _Found | None = None
        for tool in tools:
            best = _lesser(best, self._least_standing(tool))
        if not self.between.boxes or (best is not None and best.contact):
            return best
        pairs: list[tuple[AnyPair, Tool | None]] = []
        for tool in tools:
            by = stick_out_error(self.scene.setup_errors, tool)
            pairs += [(p, tool) for p in self.setup.tool_pairs(tool, by, exact=False)]
        pairs += [(p, None) for p in self.setup.standing_pairs(exact=False)]
        pairs += [(p, None) for p in self.setup.carried_pairs(exact=False)]
        turned = self._search(pairs, self._enough())
        if turned is not None and turned.at_most <= 0.0:
            turned = self._hit_or_can_hit(tools, pairs, turned)
        elif turned is not None and turned.is_settled:
            turned = self._with_value(turned) if self.settle.tolerance is None else self._with_clearance(turned)
        return _lesser(best, turned)

    def _exact_pairs(self, tools: Sequence[Tool], only: Names | None = None) -> list[tuple[AnyPair, Tool | None]]:
        pairs: list[tuple[AnyPair, Tool | None]] = []
        for tool in tools:
            pairs += [(p, tool) for p in self.setup.tool_pairs(tool, 0.0, exact=True, only=only)]
        pairs += [(p, None) for p in self.setup.standing_pairs(exact=True, only=only)]
        pairs += [(p, None) for p in self.setup.carried_pairs(exact=True, only=only)]
        return pairs

    def _hit_or_can_hit(
        self, tools: Sequence[Tool], swept: Sequence[tuple[AnyPair, Tool | None]], turned: _Found
    ) -> _Found:
        """The spare is used up: is there contact without any set-up error? If not, by how much is it used up?"""
        pairs = self._exact_pairs(tools)
        of = {id(pair): tool for pair, tool in pairs}

        result = self._turn([pair for pair, _ in pairs], self._decided())
        witness = result.witness
        if witness is not None and witness.is_proven:
            return self._found(result, witness, of[id(witness.pair)])
        if turned.contact is None:
            again = self._search(swept, self._narrow())
            turned = again if again is not None and again.is_settled else turned
        if turned.contact is not None:
            return self._touching(pairs, swept, turned)
        return self._with_clearance(turned) if result.is_settled else turned

    def _touching(
        self,
        exact: Sequence[tuple[AnyPair, Tool | None]],
        swept: Sequence[tuple[AnyPair, Tool | None]],
        turned: _Found,
    ) -> _Found:
        """The swept tool touches, the nominal one does not: it comes nearer by its stick-out error at most."""
        lowered = []
        for (pair, tool), (with_errors, _) in zip(exact, swept, strict=True):
            by = stick_out_error(self.scene.setup_errors, tool) if tool else 0.0
            lowered.append(replace(pair, subtract=with_errors.subtract + by))
        of = {id(pair): origin for pair, origin in zip(lowered, swept, strict=True)}
        result = self._turn(lowered, self._narrow())
        witness = result.witness
        if witness is None or witness.is_proven or not result.is_settled:
            return replace(turned, contact=None)
        pair, tool = of[id(witness.pair)]
        told = self._found(result, replace(witness, pair=pair), tool)
        least = result.at_least + witness.pair.subtract
        return replace(
            told, at_most=min(told.at_most, 0.0), clearance=Interval(min(least, witness.value), witness.value)
        )

    def _same_pair(self, found: _Found) -> list[AnyPair]:
        """The pairs behind a finding, without any set-up error."""
        tools = [self.scene.tool(found.tool)] if found.tool else []
        return [pair for pair, tool in self._exact_pairs(tools, found.names) if bool(tool) == bool(tools)]

    def _with_clearance(self, found: _Found) -> _Found:
        """The clearance of the pair that has the least spare, to the tolerance."""
        result = self._turn(self._same_pair(found), self._narrow())
        witness = result.witness
        if witness is None or not result.is_settled:
            return found
        return replace(
            found,
            clearance=Interval(result.at_least, result.at_most),
            points_W=self._in_W(witness),
            angles=self._all_angles(witness),
        )

    def _with_value(self, found: _Found) -> _Found:
        """The clearance that the nominal tool has where the swept one was measured."""
        pairs = []
        for pair in self._same_pair(found):
            n = len(pair.box)
            angles = found.angles[-n:] if self._is_carried(pair) else found.angles[:n]
            pairs.append(replace(pair, box=tuple((a, a) for a in angles)))
        result = self._turn(pairs, self._narrow())
        if result.witness is None or found.clearance is None:
            return found
        low = max(found.at_least + found.errors.total, 0.0)
        return replace(
            found,
            clearance=Interval(min(low, result.at_most), result.at_most),
            points_W=self._in_W(result.witness),
        )

    def _reported(self, found: _Found, verdict: Verdict) -> SwingReport:
        clearance = None if verdict is Verdict.HITS and found.contact else found.clearance
        used = 0.0
        if clearance is not None and math.isfinite(found.at_least):
            used = max(clearance.at_least - found.at_least - found.errors.total, 0.0)
        e = found.errors
        points = None if found.points_W is None else (as_vector(found.points_W[0]), as_vector(found.points_W[1]))
        normal = None if found.points_W is None else direction_between(*found.points_W)
        named = tuple(zip((a.name for a in self.machine.table_axes), found.angles, strict=False))
        angles = self.between.angles_deg if not self.between.boxes else named
        lowest = None
        if self.settle.with_least_lift and self.between.boxes:
            lowest = least_lift(self.setup, self.keep_off, most_queries=self.settle.lift_queries)
        return SwingReport(
            start=self.between.start,
            end=self.between.end,
            orientation=self.between.orientation.name if self.between.orientation else None,
            verdict=verdict,
            is_proven_enough=self.settle.tolerance is None,
            keep_off=self.keep_off,
            clearance=clearance,
            spare=None if clearance is None or not math.isfinite(found.at_least) else found.at_least,
            contact="inside" if found.contact == "inside" else "overlap" if found.contact else None,
            setup_error=ErrorTerms(e.location, e.body_model, e.diameters, used, e.tilt),
            between=found.names,
            tool=found.tool,
            points_W=points,
            normal_W=normal,
            side=side_words(normal, self.machine.operator) if normal else None,
            clock=clock(normal, self.machine.operator) if normal else None,
            part_side=self._part_side(normal, angles),
            at_angles_deg=angles,
            lift_gauge_z=self.between.gauge_z,
            least_lift_gauge_z=lowest,
            n_queries=self.n_queries,
            left_out=tuple(dict.fromkeys(self.setup.left_out)),
        )

    def _part_side(self, normal: Vector | None, angles: tuple[tuple[str, float], ...]) -> str | None:
        if normal is None:
            return None
        zero = self.prepared.placed.zero_of(self.scene, self.scene.workpiece_of(self.between.state_cut))
        X_WC = self.prepared.poses_at(angles).get(zero.carrier) or identity(W, zero.carrier)
        return part_side((X_WC @ zero.X_CP).inverse().direction(normal))

    def _unknown(self, why: str) -> SwingReport:
        return SwingReport(
            start=self.between.start,
            end=self.between.end,
            orientation=self.between.orientation.name if self.between.orientation else None,
            verdict=Verdict.NOT_CHECKED,
            is_proven_enough=False,
            keep_off=self.keep_off,
            clearance=None,
            spare=None,
            contact=None,
            setup_error=None,
            between=None,
            tool=None,
            points_W=None,
            normal_W=None,
            side=None,
            clock=None,
            part_side=None,
            at_angles_deg=(),
            lift_gauge_z=self.between.gauge_z,
            least_lift_gauge_z=None,
            n_queries=self.n_queries,
            why=why,
            left_out=tuple(dict.fromkeys(self.setup.left_out)),
        )


_NO_ERRORS = OtherErrors(0.0, 0.0, 0.0, 0.0)


def _standing_found(part: str, tool: Tool, target: Target, swept: Clear | Contact, exact: Clear | Contact) -> _Found:
    """A pair in which nothing turns, as a finding."""
    at_least = -math.inf
    if isinstance(swept, Clear):
        at_least = swept.at_least - target.errors.total
    elif swept.depth is not None:
        at_least = -swept.depth[1] - target.errors.total
    is_hit = isinstance(exact, Contact) and exact.is_proven
    clearance = Interval(exact.at_least, exact.value) if isinstance(exact, Clear) else None
    return _Found(
        at_least=at_least,
        at_most=at_least,
        names=(part, target.body.name),
        tool=tool.id,
        errors=target.errors,
        clearance=clearance,
        points_W=(exact.p_tool, exact.p_obstacle),
        angles=(),
        contact=exact.kind if is_hit and isinstance(exact, Contact) else None,
        is_settled=True,
    )


def _lesser(a: _Found | None, b: _Found | None) -> _Found | None:
    """The finding that is worse: contact, a spare that is used up, the one that is not settled, the lesser spare."""
    if a is None or b is None:
        return a or b
    return min((a, b), key=lambda f: (f.contact is None, f.at_most > 0.0, f.is_settled, f.at_least))
